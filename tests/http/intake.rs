//! Intake of a piece: logs become passes of cells, companions are paired and placed, questions are answered.

use std::fmt::Write as _;

use weighhouse::store::pieces::{self, PieceFields};
use weighhouse::store::registers::cells::{self, CellOf};
use weighhouse::store::registers::parts::{self, DriverFields, PartFields, PartKind, UnitFields};
use weighhouse::store::registers::rigs::{self, Enclosure, RigBaseFields};
use weighhouse::store::registers::scenes::{self, BuildFields, SceneFields};
use weighhouse::store::registers::settings::{self, SettingFields};
use weighhouse::store::registers::tunings;
use weighhouse::store::{Actor, StoreError};
use weighhouse_measure::compare::SceneKind;
use weighhouse_web::paths;

use crate::harness::{Client, House};
use crate::upload::log;

/// Rig alder with a base, part Tarnwick Curlew, scene Vellum Rally (hairpin) and setting 2160p native, each with number 1,
/// and a piece `k` that selects their cell.
pub async fn registers(house: &House) {
    let rig_id = house.rig().await;
    house
        .store
        .write(Actor::Server, async move |tx| {
            let text = |text: &str| text.to_owned();
            let base = RigBaseFields {
                rig_id,
                from_us: 0,
                board: text("Quillon M1"),
                processor: text("Osier 8"),
                memory: text("32 GiB"),
                os_build: text("26100"),
                firmware: text("1.2"),
                cooling: text("air"),
                enclosure: Enclosure::OpenBench,
                time_zone: text("UTC"),
            };
            rigs::add_base(tx, &base).await?;
            let part = PartFields {
                maker: text("Tarnwick"),
                model: text("Curlew"),
                kind: PartKind::Card,
                rated_power_w: Some(500),
                memory_mib: None,
                note: String::new(),
            };
            let part_id = parts::add(tx, &part).await?;
            let unit = UnitFields { serial: text("1"), ..UnitFields::bought(part_id, "A") };
            parts::add_unit(tx, &unit).await?;
            parts::add_driver(tx, &DriverFields { part_id, name: text("31.2"), dated_us: 0 }).await?;
            let scene = SceneFields {
                game: text("Vellum Rally"),
                passage: text("hairpin"),
                kind: SceneKind::Replay,
                start_cue: String::new(),
                window_start_ns: 0,
                window_end_ns: None,
                tolerance_permille: None,
                note: String::new(),
            };
            let scene_id = scenes::add(tx, &scene).await?;
            scenes::add_build(tx, &BuildFields { scene_id, name: text("1.0.3"), dated_us: 0 }).await?;
            let setting = SettingFields {
                name: text("2160p native"),
                width_px: 3840,
                height_px: 2160,
                preset: text("high"),
                ray_tracing: String::new(),
                upscaling: String::new(),
                generated: 1,
            };
            let setting_id = settings::add(tx, &setting).await?;
            let tuning_id = tunings::all(tx).await?[0].id;
            let cell = cells::ensure(tx, CellOf { tuning_id, scene_id, setting_id }).await?;
            let piece = pieces::add(tx, "k", &PieceFields::usual("Is it worth it?", PartKind::Card)).await?;
            pieces::select(tx, piece, cell).await?;
            Ok::<_, StoreError>(())
        })
        .await
        .unwrap();
}

/// Sensors on a wall clock from noon UTC of 1 March 2026.
fn sensors(rows: u32) -> String {
    let mut text = "at,board power [W],core clock [MHz]\n".to_owned();
    for i in 0..rows {
        let (s, ms) = (i / 20, i % 20 * 50);
        writeln!(text, "2026-03-01T12:00:{s:02}.{ms:03}+00:00,{}.5,{}", 240 + i % 13, 1900 + i % 7 * 15)
            .unwrap();
    }
    text
}

/// Uploads a log; the number of its capture.
pub async fn bring(client: &Client, name: &str, bytes: String) -> i64 {
    let made = client.put(&paths::upload(name), bytes).await;
    assert_eq!(made.status, 201, "{name}: {}", made.body);
    made.json()["capture"].as_i64().unwrap()
}

const PATTERN: &str = "{part}_{scene}_{setting}_{rig}_p{pass}";

#[tokio::test]
async fn logs_become_passes_by_their_names_and_are_taken_back() {
    let house = House::start().await;
    let owner = house.owner().await;
    registers(&house).await;
    for n in 1..=2_u32 {
        bring(&owner, &format!("Curlew_hairpin_2160p-native_alder_p{n}.csv"), log(2000, n)).await;
    }
    let odd = bring(&owner, "notes.csv", log(2000, 5)).await;
    bring(&owner, "Curlew_hairpin_2160p-native_alder_p1_sensors.csv", sensors(400)).await;

    let asked = paths::with_query(&paths::intake("k"), &[("pattern", PATTERN)]);
    let looked = owner.get(&asked).await;
    assert_eq!(looked.status, 200, "{}", looked.body);
    assert_eq!(looked.texts(".becomes").len(), 2);
    assert!(
        looked.texts(".becomes")[0].starts_with("becomes: Tarnwick Curlew, stock; Vellum Rally, hairpin")
    );
    assert_eq!(looked.texts(".error").len(), 1);
    let json = owner.get(&paths::api(&asked)).await.json();
    assert_eq!(json["frames"].as_array().unwrap().len(), 3);
    assert_eq!(json["frames"][2]["capture"], odd);

    let fields = [("pattern", PATTERN), ("segment", "1"), ("segment", "2"), ("once", "o1")];
    let made = owner.post(&paths::assign("k"), &fields).await;
    assert_eq!((made.status, made.location()), (303, paths::intake("k").as_str()), "{}", made.body);
    let again = owner.post(&paths::api(&paths::assign("k")), &fields).await;
    assert_eq!(again.status, 201, "{}", again.body);
    let page = owner.get(&paths::intake("k")).await;
    let said = page.texts(".flash span")[0].clone();
    assert!(said.starts_with("2 passes made. Paired but not placed"), "{said}");
    let keys: Vec<String> = {
        let mut db = house.store.read().await.unwrap();
        let piece = pieces::by_key(&mut db, "k").await.unwrap().unwrap().id;
        weighhouse::store::passes::of_piece(&mut db, piece)
            .await
            .unwrap()
            .into_iter()
            .map(|p| p.key)
            .collect()
    };
    assert_eq!(keys.len(), 2);

    // The sensors have a wall clock, the frames none: a start places them.
    let json = owner.get(&paths::api(&paths::intake("k"))).await.json();
    assert_eq!(json["unplaced"][0]["wanting"], "Curlew_hairpin_2160p-native_alder_p1.csv");
    let (capture, version) =
        (json["unplaced"][0]["capture"].to_string(), json["unplaced"][0]["version"].to_string());
    let start = |text: &'static str| {
        [("capture", capture.clone()), ("version", version.clone()), ("start", text.to_owned())]
    };
    let give = async |text: &'static str| {
        let fields = start(text);
        let fields: Vec<_> = fields.iter().map(|(name, text)| (*name, text.as_str())).collect();
        owner.post(&paths::give_start("k"), &fields).await
    };
    assert_eq!(give("at noon").await.status, 422);
    assert_eq!(give("2026-03-01T12:00:01Z").await.status, 303);
    assert_eq!(
        owner.get(&paths::intake("k")).await.texts(".flash span"),
        ["The start is kept; 1 companion placed by it."]
    );
    assert_eq!(give("2026-03-01T12:00:01Z").await.status, 412);

    let back: Vec<(&str, &str)> = keys.iter().map(|key| ("pass", key.as_str())).collect();
    assert_eq!(owner.post(&paths::take_back("k"), &back).await.status, 303);
    let json = owner.get(&paths::api(&paths::intake("k"))).await.json();
    assert_eq!(
        (json["frames"].as_array().unwrap().len(), json["companions"].as_array().unwrap().len()),
        (3, 1)
    );
    assert_eq!(owner.post(&paths::take_back("k"), &back).await.status, 404);
}

#[tokio::test]
async fn what_cannot_become_a_pass_is_said_and_nothing_is_made() {
    let house = House::start().await;
    let owner = house.owner().await;
    registers(&house).await;
    // With one rig alone that one is meant.
    assert_eq!(owner.post(&paths::rigs(), &[("name", "birch"), ("time_zone", "UTC")]).await.status, 303);
    bring(&owner, "run.csv", log(2000, 0)).await;
    let cell = [("tuning", "1"), ("scene", "1"), ("setting", "1"), ("segment", "1")];
    let assign = async |more: &[(&str, &str)]| {
        let fields: Vec<(&str, &str)> = more.iter().chain(&cell).copied().collect();
        owner.post(&paths::assign("k"), &fields).await
    };
    for (more, says) in [
        (("base", ""), "run.csv: No rig is known for it: choose the base of one."),
        (("unit", "9"), "No rig is known"),
        (("pattern", "{part}{scene}"), "Two words need some text between them"),
        (("pattern", "{part}_x"), "Its name does not fit the pattern"),
        (("scene", "one"), "'one' is no number of a scene."),
        (("segment", "99"), "Log segment 99 does not wait any more."),
    ] {
        let refused = assign(&[more]).await;
        assert_eq!(refused.status, 422, "{more:?}");
        let told = refused.texts(".refused").join(" ");
        assert!(told.contains(says), "{more:?}: {told}");
    }
    assert_eq!(owner.post(&paths::assign("k"), &cell[..3]).await.status, 422);
    assert_eq!(assign(&[("base", "1")]).await.status, 303);
    assert_eq!(
        owner.get(&paths::api(&paths::intake("k"))).await.json()["frames"].as_array().unwrap().len(),
        0
    );
    assert_eq!(assign(&[("base", "1")]).await.status, 422);
}

#[tokio::test]
async fn a_companion_is_paired_by_hand() {
    let house = House::start().await;
    let owner = house.owner().await;
    registers(&house).await;
    bring(&owner, "run.csv", log(2000, 0)).await;
    bring(&owner, "wall meter.csv", sensors(400)).await;
    let fields = [("tuning", "1"), ("scene", "1"), ("setting", "1"), ("base", "1"), ("segment", "1")];
    assert_eq!(owner.post(&paths::assign("k"), &fields).await.status, 303);
    let page = owner.get(&paths::intake("k")).await;
    let key = page.attribute("select[name=pass] option:nth-child(2)", "value").unwrap();
    let pair = async |pass: &str, segment: &str| {
        owner.post(&paths::pair("k"), &[("pass", pass), ("segment", segment)]).await.status
    };
    assert_eq!(pair("nothing", "2").await, 422);
    assert_eq!(pair(&key, "1").await, 409);
    assert_eq!(pair(&key, "2").await, 303);
    assert_eq!(pair(&key, "2").await, 409);
}

#[tokio::test]
async fn guests_and_strangers_change_nothing() {
    let house = House::start().await;
    let owner = house.owner().await;
    registers(&house).await;
    let guest = house.guest(&owner).await;
    assert_eq!(guest.get(&paths::intake("k")).await.status, 200);
    assert!(guest.get(&paths::intake("k")).await.texts("form.drop").is_empty());
    for path in [paths::assign("k"), paths::take_back("k"), paths::pair("k"), paths::give_start("k")] {
        assert_eq!(guest.post(&path, &[]).await.status, 403, "{path}");
        assert_eq!(house.anonymous().post(&path, &[]).await.status, 401, "{path}");
    }
    assert_eq!(owner.get(&paths::intake("none")).await.status, 404);
    assert_eq!(house.anonymous().get(&paths::intake("k")).await.status, 303);
    assert_eq!(owner.get(&paths::layout(99)).await.status, 404);
}

/// One column of numbers under a header that says nothing: durations in what unit?
pub fn vague(n: u32) -> String {
    let rows: Vec<String> = (0..300).map(|i| format!("{}", 8 + (i * n) % 5)).collect();
    format!("value\n{}\n", rows.join("\n"))
}

#[tokio::test]
async fn one_answer_reads_all_logs_of_its_shape() {
    let house = House::start().await;
    let owner = house.owner().await;
    registers(&house).await;
    let asked = owner.put(&paths::upload("v1.csv"), vague(1)).await;
    assert_eq!((asked.status, asked.json()["outcome"].as_str()), (201, Some("ask")), "{}", asked.body);
    let layout = asked.json()["layout"].as_str().unwrap().to_owned();
    bring(&owner, "v2.csv", vague(2)).await;
    assert_eq!(owner.get(&paths::intake("k")).await.texts("#asks + .body a").len(), 2);
    let page = owner.get(&layout).await;
    assert_eq!(page.texts("h1"), ["Columns of v1.csv"]);
    let answer = async |unit: &str| {
        let fields = [
            ("version", "1"),
            ("piece", "k"),
            ("kind", "frames"),
            ("role-1", "frame time"),
            ("unit-1", unit),
        ];
        owner.post(&layout, &fields).await
    };
    assert_eq!(answer("W").await.status, 422);
    let read = answer("ms").await;
    assert_eq!((read.status, read.location()), (303, paths::intake("k").as_str()), "{}", read.body);
    assert_eq!(owner.get(&paths::intake("k")).await.texts(".flash span"), ["Read as said: v1.csv, v2.csv."]);
    assert_eq!(answer("ms").await.status, 409);
    let next = owner.put(&paths::upload("v3.csv"), vague(3)).await;
    assert_eq!(next.json()["outcome"], "read");
}

#[tokio::test]
async fn two_logs_that_name_one_pass_are_asked_about() {
    let house = House::start().await;
    let owner = house.owner().await;
    registers(&house).await;
    bring(&owner, "Curlew_hairpin_2160p-native_alder_p1.csv", log(2000, 1)).await;
    bring(&owner, "Curlew_hairpin_2160p native_alder_p01.csv", log(2000, 2)).await;
    let asked = paths::with_query(&paths::intake("k"), &[("pattern", PATTERN)]);
    let shown = owner.get(&asked).await.texts(".becomes.asks");
    assert_eq!(shown.len(), 2);
    assert!(shown[0].contains("its name says pass 1 of this cell; Curlew_hairpin"), "{}", shown[0]);
    let assign = async |more: &[(&str, &str)]| {
        let fields: Vec<_> = [("pattern", PATTERN)].iter().chain(more).copied().collect();
        owner.post(&paths::assign("k"), &fields).await
    };
    let refused = assign(&[("segment", "1"), ("segment", "2")]).await;
    assert_eq!(refused.status, 422);
    assert!(refused.texts(".refused")[0].contains("says so too"), "{:?}", refused.texts(".refused"));
    assert_eq!(assign(&[("segment", "1")]).await.status, 303);
    // One of them is a pass now: the other is still asked about.
    let refused = assign(&[("segment", "2")]).await;
    assert_eq!(refused.status, 422);
    assert!(refused.texts(".refused")[0].contains("is pass 1 of it"), "{:?}", refused.texts(".refused"));
    assert_eq!(assign(&[("segment", "2"), ("twice", "1")]).await.status, 303);
}

#[tokio::test]
async fn many_logs_are_sent_to_another_cell_than_their_names_say() {
    let house = House::start().await;
    let owner = house.owner().await;
    registers(&house).await;
    let scene = [
        ("game", "Vellum Rally"),
        ("passage", "glasshouse"),
        ("kind", "replay"),
        ("build", "1.0.3"),
        ("build_dated", "2026-02-10"),
    ];
    assert_eq!(owner.post(&paths::scenes(), &scene).await.status, 303);
    let cell = [("do", "add"), ("tuning", "1"), ("scene", "2"), ("setting", "1")];
    assert_eq!(owner.post(&paths::piece_cells("k"), &cell).await.status, 303);
    for n in 1..=4_u32 {
        bring(&owner, &format!("Curlew_hairpin_2160p-native_alder_p{n}.csv"), log(2000, n)).await;
    }

    // Untouched, all go where their names say, and the cell without a log comes first.
    let json = owner.get(&paths::api(&paths::intake("k"))).await.json();
    let cells = |json: &serde_json::Value| {
        let all = json["cells"].as_array().unwrap();
        all.iter().map(|c| [&c["scene"], &c["missing"], &c["coming"]].map(|n| n.as_u64().unwrap())).collect()
    };
    let there: Vec<[u64; 3]> = cells(&json);
    assert_eq!(there, [[2, 3, 0], [1, 3, 4]]);

    let sent = [("pattern", PATTERN), ("scene-2", "2"), ("scene-3", "2"), ("scene-4", "2")];
    let asked = paths::with_query(&paths::intake("k"), &sent);
    let page = owner.get(&asked).await;
    let becomes = page.texts(".becomes");
    assert!(becomes[0].contains("hairpin; 2160p native; on alder"), "{}", becomes[0]);
    for says in &becomes[1..] {
        let wanted = "Vellum Rally, glasshouse; 2160p native, otherwise than its name says; on alder";
        assert!(says.contains(wanted), "{says}");
    }
    let now: Vec<[u64; 3]> = cells(&owner.get(&paths::api(&asked)).await.json());
    assert_eq!(now, [[1, 3, 1], [2, 3, 3]]);
    assert_eq!(page.attribute("select[name=scene-3] option[selected]", "value").as_deref(), Some("2"));
    assert_eq!(page.texts("li[data-log] > details[open] select").len(), 9);

    let all = ["1", "2", "3", "4"].map(|segment| ("segment", segment));
    let assign = async |more: &[(&str, &str)]| {
        let fields: Vec<_> = sent.iter().chain(more).copied().collect();
        owner.post(&paths::assign("k"), &fields).await
    };
    let odd = assign(&[("segment", "1"), ("setting-1", "x")]).await;
    assert_eq!((odd.status, odd.texts(".refused")[0].as_str()), (422, "'x' is no number of a setting."));
    assert_eq!(assign(&all).await.status, 303);
    let mut db = house.store.read().await.unwrap();
    let piece = pieces::by_key(&mut db, "k").await.unwrap().unwrap().id;
    let passes = weighhouse::store::passes::of_piece(&mut db, piece).await.unwrap();
    let mut at: Vec<_> = passes.iter().map(|pass| (pass.segment_id.0, pass.scene_id.0)).collect();
    at.sort_unstable();
    assert_eq!(at, [(1, 1), (2, 2), (3, 2), (4, 2)]);

    // A log that names pass 2 of the hairpin is asked about by no pass that was sent away from there.
    bring(&owner, "Curlew_hairpin_2160p native_alder_p02.csv", log(2000, 5)).await;
    let asked = paths::with_query(&paths::intake("k"), &[("pattern", PATTERN)]);
    assert_eq!(owner.get(&asked).await.texts(".becomes.asks"), Vec::<String>::new());
    // One whose name says nothing goes to a cell that is said of it alone.
    bring(&owner, "notes.csv", log(2000, 6)).await;
    let whole =
        [("pattern", PATTERN), ("segment", "6"), ("tuning-6", "1"), ("scene-6", "2"), ("setting-6", "1")];
    // With a second rig that one is asked for, and where it was sent is said.
    assert_eq!(owner.post(&paths::rigs(), &[("name", "birch"), ("time_zone", "UTC")]).await.status, 303);
    let refused = owner.post(&paths::assign("k"), &whole).await.texts(".refused").join(" ");
    let to = "To Tarnwick Curlew, stock; Vellum Rally, glasshouse; 2160p native: No rig is known for it";
    assert!(refused.contains(to), "{refused}");
    let whole: Vec<_> = whole.into_iter().chain([("base", "1")]).collect();
    assert_eq!(owner.post(&paths::assign("k"), &whole).await.status, 303);
}
