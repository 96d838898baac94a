//! Figures: made, proposed by one, agreed by another, lapsed by what they rest on and by nothing else.

use std::fmt::Write as _;

use serde_json::{Value, json};
use weighhouse::store::passes::{self, NewPass};
use weighhouse::store::pieces::{self, PieceFields};
use weighhouse::store::registers::cells::CellOf;
use weighhouse::store::registers::parts::{DriverFields, PartFields, PartKind, UnitFields};
use weighhouse::store::registers::rigs::{Enclosure, RigBaseFields};
use weighhouse::store::registers::scenes::{BuildFields, SceneFields};
use weighhouse::store::registers::settings::SettingFields;
use weighhouse::store::registers::{cells, parts, rigs, scenes, settings, tunings};
use weighhouse::store::rulings::{self, Verdict};
use weighhouse::store::{Actor, CellId, PersonId, SegmentId, StoreError};
use weighhouse_measure::compare::SceneKind;
use weighhouse_measure::recording::Window;
use weighhouse_web::paths;

use crate::harness::{Answer, Client, House};

pub(crate) const PIECE: &str = "piece";

/// 10 s at about `ms`, then 10 s a quarter slower: its average rests on its window.
pub(crate) fn log(ms: f64, salt: u32) -> String {
    let mut text = "elapsed (s),frame time (ms)\n".to_owned();
    let mut at = 0.0;
    for i in 0.. {
        let slow = if at < 10.0 { 1.0 } else { 1.25 };
        let frame = ms * slow + f64::from((i + salt) % 7) * 0.05;
        writeln!(text, "{at:.6},{frame:.3}").unwrap();
        at += frame / 1000.0;
        if at > 20.0 {
            return text;
        }
    }
    text
}

/// A piece with three cells: the baseline's and the contender's in one scene, the baseline's in another; two passes
/// each, with keys `p00` to `p21`.
pub(crate) async fn bench(house: &House, owner: &Client, working_alone: bool) -> [CellId; 3] {
    let rig = house.rig().await;
    let cells = house.store.write(Actor::Person(PersonId(1)), async move |tx| {
        let base = RigBaseFields {
            rig_id: rig,
            from_us: 0,
            board: "Quillon M1".to_owned(),
            processor: "Osier 8".to_owned(),
            memory: "32 GiB".to_owned(),
            os_build: "26100".to_owned(),
            firmware: "1.2".to_owned(),
            cooling: "air".to_owned(),
            enclosure: Enclosure::OpenBench,
            time_zone: "UTC".to_owned(),
        };
        rigs::add_base(tx, &base).await?;
        for model in ["Dunlin", "Curlew"] {
            let fields = PartFields {
                maker: "Tarnwick".to_owned(),
                model: model.to_owned(),
                kind: PartKind::Card,
                rated_power_w: None,
                memory_mib: None,
                note: String::new(),
            };
            let part_id = parts::add(tx, &fields).await?;
            parts::add_unit(tx, &UnitFields::bought(part_id, "A")).await?;
            parts::add_driver(tx, &DriverFields { part_id, name: "501.2".to_owned(), dated_us: 0 }).await?;
        }
        for game in ["Vellum Rally", "Driftglass"] {
            let fields = SceneFields {
                game: game.to_owned(),
                passage: "hairpin".to_owned(),
                kind: SceneKind::Replay,
                start_cue: String::new(),
                window_start_ns: 0,
                window_end_ns: None,
                tolerance_permille: None,
                note: String::new(),
            };
            let scene_id = scenes::add(tx, &fields).await?;
            scenes::add_build(tx, &BuildFields { scene_id, name: "1.0".to_owned(), dated_us: 0 }).await?;
        }
        let setting = SettingFields {
            name: "2160p native".to_owned(),
            width_px: 3840,
            height_px: 2160,
            preset: String::new(),
            ray_tracing: String::new(),
            upscaling: String::new(),
            generated: 1,
        };
        let setting_id = settings::add(tx, &setting).await?;
        let fields =
            PieceFields { working_alone, ..PieceFields::usual("Is the Curlew worth it?", PartKind::Card) };
        let piece = pieces::add(tx, PIECE, &fields).await?;
        let mut made = Vec::new();
        for (part, scene) in [(0, 0), (1, 0), (0, 1)] {
            let part = tunings::all(tx).await?[part].id;
            let scene_id = scenes::builds(tx).await?[scene].fields.scene_id;
            let cell = cells::ensure(tx, CellOf { tuning_id: part, scene_id, setting_id }).await?;
            pieces::select(tx, piece, cell).await?;
            made.push(cell);
        }
        for driver in parts::drivers(tx).await? {
            pieces::declare(tx, piece, driver.fields.part_id, driver.id).await?;
        }
        Ok::<_, StoreError>(made)
    });
    let cells: [CellId; 3] = cells.await.unwrap().try_into().unwrap();
    for (cell, ms) in [(0, 10.0), (1, 8.0), (2, 5.0)] {
        for n in 0..2_u32 {
            add_pass(house, owner, cells[cell], &format!("p{cell}{n}"), log(ms, n)).await;
        }
    }
    cells
}

pub(crate) async fn add_pass(house: &House, owner: &Client, cell: CellId, key: &str, log: String) {
    let to = paths::upload(&format!("{key}.csv"));
    add_sent(house, owner, cell, (key, &to), log.into_bytes()).await;
}

/// Adds a pass with this key, of a log that is sent to this address.
pub(crate) async fn add_sent(
    house: &House,
    owner: &Client,
    cell: CellId,
    (key, to): (&str, &str),
    log: Vec<u8>,
) {
    let sent = owner.put(to, log).await;
    assert_eq!(sent.status, 201, "{}", sent.body);
    let segment_id = SegmentId(sent.json()["segments"][0]["segment"].as_i64().unwrap());
    let key = key.to_owned();
    let made = house.store.write(Actor::Person(PersonId(1)), async move |tx| {
        let all = cells::all(tx).await?;
        let of = all.iter().find(|c| c.id == cell).unwrap();
        let new = NewPass {
            cell_id: cell,
            segment_id,
            rig_base_id: rigs::bases(tx).await?[0].id,
            unit_id: parts::units(tx).await?.iter().find(|u| u.fields.part_id == of.part_id).unwrap().id,
            driver_id: parts::drivers(tx).await?.iter().find(|d| d.fields.part_id == of.part_id).unwrap().id,
            build_id: scenes::builds(tx)
                .await?
                .iter()
                .find(|b| b.fields.scene_id == of.of.scene_id)
                .unwrap()
                .id,
        };
        passes::add(tx, &key, &new).await
    });
    made.await.unwrap();
}

/// Moves a pass's window to its faster half, as the person with this number.
async fn move_window(house: &House, person: i64, key: &'static str) {
    let moved = house.store.write(Actor::Person(PersonId(person)), async move |tx| {
        let row = passes::by_key(tx, key).await?.unwrap();
        let window = Window { start_ns: 0, end_ns: 10_000_000_000 };
        passes::set_window(tx, row.id, row.version, Some(window), "the second half is a menu").await
    });
    moved.await.unwrap();
}

async fn rule(house: &House, person: i64, key: &'static str, verdict: Verdict) {
    let ruled = house.store.write(Actor::Person(PersonId(person)), async move |tx| {
        let row = passes::by_key(tx, key).await?.unwrap();
        rulings::rule(tx, row.id, verdict, "an updater ran", "[]").await
    });
    ruled.await.unwrap();
}

pub(crate) fn cell_what(cell: CellId) -> String {
    format!(r#"{{"kind":"cell","measure":"average_fps","cell":{cell}}}"#)
}

/// Makes a figure; its key.
pub(crate) async fn make(client: &Client, what: &str, name: &str) -> String {
    let fields = [("what", what), ("name", name), ("places", "1"), ("note", "")];
    let made = client.post(&paths::api(&paths::figures(PIECE)), &fields).await;
    assert_eq!(made.status, 201, "{}", made.body);
    made.json()["location"].as_str().unwrap().rsplit('/').next().unwrap().to_owned()
}

pub(crate) async fn figure(client: &Client, key: &str) -> Value {
    let answer = client.get(&paths::api(&paths::figure(key))).await;
    assert_eq!(answer.status, 200, "{}", answer.body);
    answer.json()
}

/// Takes a step as the page shows the figure now.
pub(crate) async fn step(client: &Client, step: &str, key: &str) -> Answer {
    let now = figure(client, key).await;
    let tick = format!("{key} {}", now["digest"].as_str().unwrap());
    client.post(&paths::api(&paths::figure_steps(PIECE)), &[("do", step), ("figure", &tick)]).await
}

#[tokio::test]
async fn one_proposes_another_agrees_and_it_lapses_only_by_its_own_cells() {
    let house = House::start().await;
    let owner = house.owner().await;
    let member = house.member(&owner).await;
    let guest = house.guest(&owner).await;
    let cells = bench(&house, &owner, false).await;
    let form = owner.get(&paths::new_figure(PIECE, &cell_what(cells[0]))).await;
    assert_eq!(form.status, 200, "{}", form.body);
    let suggested = form.attribute("input[name=name]", "value");
    assert_eq!(
        suggested.as_deref(),
        Some("Dunlin, Vellum Rally (hairpin), 2160p native: average frame rate")
    );
    let key = make(&owner, &cell_what(cells[0]), "Dunlin in the hairpin").await;
    let other = make(&owner, &cell_what(cells[2]), "Dunlin in the arena").await;
    assert_eq!(make(&owner, &cell_what(cells[0]), "Again").await, key, "made once");
    assert_eq!(figure(&owner, &key).await["standing"], "draft");

    let early = step(&member, "agree", &key).await;
    assert_eq!(early.status, 409, "{}", early.body);
    for key in [&key, &other] {
        assert_eq!(step(&owner, "propose", key).await.status, 201);
    }
    let own = step(&owner, "agree", &key).await;
    assert_eq!(own.status, 409);
    assert!(own.json()["says"].as_str().unwrap().contains("You proposed it; another person agrees."));
    assert_eq!(step(&guest, "agree", &key).await.status, 403);
    for key in [&key, &other] {
        assert_eq!(step(&member, "agree", key).await.status, 201);
    }
    let agreed = figure(&guest, &key).await;
    assert_eq!((&agreed["standing"], &agreed["agreed_by"]), (&json!("agreed"), &json!("Iver Stroud")));
    assert_eq!(step(&member, "agree", &key).await.status, 409, "agreed already");

    move_window(&house, 2, "p00").await;
    let lapsed = figure(&owner, &key).await;
    assert_eq!(lapsed["standing"], "lapsed");
    assert_eq!(lapsed["before"], agreed["shown"]);
    assert_ne!(lapsed["shown"], agreed["shown"]);
    let says = lapsed["changes"][0].as_str().unwrap();
    assert!(
        says.starts_with("The window of Pass 1 of Dunlin") && says.ends_with("by Iver Stroud."),
        "{says}"
    );
    assert_eq!(figure(&owner, &other).await["standing"], "agreed", "another cell's figure stands");
    let page = owner.get(&paths::figures(PIECE)).await;
    let before = agreed["shown"].as_str().unwrap().replace('\u{a0}', " ");
    assert_eq!(page.texts("section[aria-labelledby=lapsed] s"), [before]);
    let pieces = owner.get(&paths::api(&paths::pieces())).await.json();
    let counts = ["figures", "agreed", "lapsed"].map(|name| pieces["pieces"][0][name].as_u64());
    assert_eq!(counts, [Some(2), Some(1), Some(1)]);
    assert_eq!(step(&member, "agree", &key).await.status, 409, "its value moved: propose it again");
    assert_eq!(step(&member, "propose", &key).await.status, 201);
    assert_eq!(step(&owner, "agree", &key).await.status, 201);
    assert_eq!(figure(&owner, &key).await["standing"], "agreed");
    assert_eq!(step(&owner, "withdraw", &key).await.status, 201);
    assert_eq!(figure(&owner, &key).await["standing"], "withdrawn");
    assert_eq!(step(&owner, "withdraw", &key).await.status, 409);
}

#[tokio::test]
async fn what_prints_the_same_is_agreed_anew_in_one_step() {
    let house = House::start().await;
    let owner = house.owner().await;
    let member = house.member(&owner).await;
    let cells = bench(&house, &owner, false).await;
    let key = make(&owner, &cell_what(cells[1]), "Curlew in the hairpin").await;
    assert_eq!(step(&owner, "propose", &key).await.status, 201);
    assert_eq!(step(&member, "agree", &key).await.status, 201);
    rule(&house, 2, "p10", Verdict::Keep).await;
    assert_eq!(figure(&owner, &key).await["standing"], "agreed", "a ruling that changes nothing");
    add_pass(&house, &owner, cells[1], "p12", log(8.0, 3)).await;
    let lapsed = figure(&member, &key).await;
    assert_eq!((&lapsed["standing"], &lapsed["before"]), (&json!("lapsed"), &lapsed["shown"]));
    assert!(lapsed["changes"][0].as_str().unwrap().contains("Pass 3 of Curlew"), "{}", lapsed["changes"]);
    assert_eq!(step(&member, "agree", &key).await.status, 201);
    assert_eq!(figure(&owner, &key).await["standing"], "agreed");
    rule(&house, 1, "p10", Verdict::SetAside).await;
    let why = figure(&owner, &key).await;
    assert!(
        why["changes"][0].as_str().unwrap().ends_with("was set aside by Maren Oake."),
        "{}",
        why["changes"]
    );
    assert_eq!(why["cells"][0]["passes"][0]["mark"], "set-aside");
}

#[tokio::test]
async fn a_ratio_is_a_figure_and_its_fields_give_its_digest() {
    let house = House::start().await;
    let owner = house.owner().await;
    let cells = bench(&house, &owner, false).await;
    let what = r#"{"kind":"ratio","measure":"average_fps","scene":1,"setting":1,"baseline":1,"contender":2}"#;
    let key = make(&owner, what, "Curlew over Dunlin").await;
    let ratio = figure(&owner, &key).await;
    assert_eq!(ratio["what"], what);
    // 10 against 8 ms, each a ninth longer for its slower half and 0.15 ms for its unevenness: 11.26 / 9.04.
    assert!(ratio["shown"].as_str().unwrap().starts_with("+24."), "{}", ratio["shown"]);
    assert_eq!(ratio["cells"].as_array().unwrap().len(), 2);
    let fields: Vec<(String, String)> = serde_json::from_value(ratio["fields"].clone()).unwrap();
    let fields = weighhouse::work::figures::digest::Fields(fields);
    assert_eq!(fields.digest(), ratio["digest"].as_str().unwrap());
    let page = owner.get(&paths::figure(&key)).await;
    assert!(page.attribute("a[href='/passes/p00']", "href").is_some(), "leads to the frames");
    let bad = [
        ("{}".to_owned(), "1", 422),
        (cell_what(CellId(99)), "1", 409),
        (cell_what(cells[0]), "7", 422),
        (cell_what(cells[0]), "x", 422),
    ];
    for (what, places, status) in bad {
        let fields = [("what", what.as_str()), ("name", "A"), ("places", places)];
        assert_eq!(owner.post(&paths::figures(PIECE), &fields).await.status, status, "{what} {places}");
    }
    assert_eq!(owner.get(&paths::figure("none")).await.status, 404);
    assert_eq!(house.anonymous().get(&paths::api(&paths::figure(&key))).await.status, 401);
    let renamed = [("name", "Curlew over Dunlin, rounded"), ("places", "0"), ("note", ""), ("version", "1")];
    assert_eq!(owner.post(&paths::figure(&key), &renamed).await.status, 303);
    assert_eq!(owner.post(&paths::figure(&key), &renamed).await.status, 412);
    assert_eq!(owner.post(&paths::figure(&key), &renamed[..3]).await.status, 428);
    assert_eq!(figure(&owner, &key).await["shown"], "+25%");
}

#[tokio::test]
async fn a_form_sent_twice_takes_one_step_and_a_stale_one_none() {
    let house = House::start().await;
    let owner = house.owner().await;
    let member = house.member(&owner).await;
    let cells = bench(&house, &owner, false).await;
    let mut ticks = Vec::new();
    for (n, cell) in cells.into_iter().enumerate() {
        let key = make(&owner, &cell_what(cell), &format!("Figure {n}")).await;
        ticks.push(format!("{key} {}", figure(&owner, &key).await["digest"].as_str().unwrap()));
    }
    let mut fields = vec![("do", "propose"), ("once", "k")];
    fields.extend(ticks.iter().map(|tick| ("figure", tick.as_str())));
    for _ in 0..2 {
        assert_eq!(owner.post(&paths::figure_steps(PIECE), &fields).await.status, 303);
    }
    let said = owner.get(&paths::figures(PIECE)).await.texts(".flash span");
    assert_eq!(said, ["Proposed: 3 figures."]);
    let key = ticks[0].split(' ').next().unwrap();
    assert_eq!(figure(&owner, key).await["history"].as_array().unwrap().len(), 1);

    move_window(&house, 1, "p00").await;
    let mut agree = vec![("do", "agree")];
    agree.extend(ticks.iter().map(|tick| ("figure", tick.as_str())));
    let stale = member.post(&paths::api(&paths::figure_steps(PIECE)), &agree).await;
    assert_eq!(stale.status, 412, "{}", stale.body);
    let second = ticks[1].split(' ').next().unwrap();
    assert_eq!(figure(&owner, second).await["standing"], "proposed", "all or none");
    let unseen =
        member.post(&paths::api(&paths::figure_steps(PIECE)), &[("do", "agree"), ("figure", second)]).await;
    assert_eq!(unseen.status, 428);
    for bad in [vec![("do", "crown")], vec![("do", "agree")]] {
        assert_eq!(member.post(&paths::figure_steps(PIECE), &bad).await.status, 422);
    }
}
