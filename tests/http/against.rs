//! Parts against a baseline, over HTTP: numbers against hand-computed logs, choices, roles, the noise prior.

use weighhouse::store::registers::{cells, parts, rigs, scenes, settings, tunings};
use weighhouse::store::{Actor, StoreError, Tx, passes, pieces, rulings};
use weighhouse::store::{
    BuildId, CellId, DriverId, PartId, PersonId, RigBaseId, SceneId, SegmentId, SettingId, UnitId,
};
use weighhouse::work::take_in::{TakeIn, Upload};
use weighhouse_measure::compare::SceneKind;
use weighhouse_web::paths;

use crate::harness::{Client, House, chart};

/// Frame times of the passes of each cell, ms: even frames, so that the average is 1000 over it.
const DUNLIN: [[f64; 2]; 2] = [[10.0, 10.1], [20.0, 20.2]];
const CURLEW: [[f64; 2]; 2] = [[8.0, 8.08], [16.0, 16.16]];

/// A log of 2 000 even frames; a start of its own makes each file another one.
fn log(frame_ms: f64, nth: usize) -> String {
    let mut text = String::from("time_s,frame time (ms)\n");
    let mut at_s = 0.5 + nth as f64 / 1000.0;
    for _ in 0..2000 {
        text.push_str(&format!("{at_s:.6},{frame_ms:.4}\n"));
        at_s += frame_ms / 1000.0;
    }
    text
}

/// What the piece is made of.
pub struct Ids {
    pub cells: Vec<CellId>,
    pub base: RigBaseId,
    pub parts: Vec<PartId>,
    pub units: Vec<UnitId>,
    pub drivers: Vec<DriverId>,
    pub scenes: Vec<SceneId>,
    pub builds: Vec<BuildId>,
    pub setting: SettingId,
}

/// Two cards, two scenes, one setting, four cells, and a piece 'k1' of them whose baseline is the first card.
async fn registers(tx: &mut Tx<'_>) -> Result<Ids, StoreError> {
    let rig = rigs::add(tx, &rigs::RigFields { name: "alder".into(), note: String::new() }).await?;
    let base = rigs::RigBaseFields {
        rig_id: rig,
        from_us: 0,
        board: "Quillon M1".into(),
        processor: "Osier 8".into(),
        memory: "32 GiB".into(),
        os_build: "26100".into(),
        firmware: "1.2".into(),
        cooling: "air".into(),
        enclosure: rigs::Enclosure::OpenBench,
        time_zone: "UTC".into(),
    };
    let base = rigs::add_base(tx, &base).await?;
    let setting = settings::SettingFields {
        name: "2160p native".into(),
        width_px: 3840,
        height_px: 2160,
        preset: "high".into(),
        ray_tracing: String::new(),
        upscaling: String::new(),
        generated: 1,
    };
    let setting = settings::add(tx, &setting).await?;
    let mut ids = Ids {
        cells: vec![],
        base,
        parts: vec![],
        units: vec![],
        drivers: vec![],
        scenes: vec![],
        builds: vec![],
        setting,
    };
    for (game, passage) in [("Vellum Rally", "hairpin"), ("Tin Comet", "corridor")] {
        let scene = scenes::SceneFields {
            game: game.into(),
            passage: passage.into(),
            kind: SceneKind::Replay,
            start_cue: String::new(),
            window_start_ns: 0,
            window_end_ns: None,
            tolerance_permille: None,
            note: String::new(),
        };
        let scene = scenes::add(tx, &scene).await?;
        let build = scenes::BuildFields { scene_id: scene, name: "1.0".into(), dated_us: 0 };
        ids.builds.push(scenes::add_build(tx, &build).await?);
        ids.scenes.push(scene);
    }
    let mut fields = pieces::PieceFields::usual("Is the Curlew worth it?", parts::PartKind::Card);
    for model in ["Dunlin", "Curlew"] {
        let part = parts::PartFields {
            maker: "Tarnwick".into(),
            model: model.into(),
            kind: parts::PartKind::Card,
            rated_power_w: None,
            memory_mib: None,
            note: String::new(),
        };
        let part = parts::add(tx, &part).await?;
        ids.parts.push(part);
        fields.baseline_part_id = fields.baseline_part_id.or(Some(part));
        let unit = parts::UnitFields::bought(part, "A");
        ids.units.push(parts::add_unit(tx, &unit).await?);
        let driver = parts::DriverFields { part_id: part, name: "31.2".into(), dated_us: 0 };
        ids.drivers.push(parts::add_driver(tx, &driver).await?);
        let all = tunings::all(tx).await?;
        let stock = all.into_iter().find(|tuning| tuning.fields.part_id == part).unwrap().id;
        for scene_id in &ids.scenes {
            let of = cells::CellOf { tuning_id: stock, scene_id: *scene_id, setting_id: setting };
            ids.cells.push(cells::ensure(tx, of).await?);
        }
    }
    let piece = pieces::add(tx, "k1", &fields).await?;
    for cell in &ids.cells {
        pieces::select(tx, piece, *cell).await?;
    }
    for (unit, driver) in ids.units.iter().zip(&ids.drivers) {
        let part = parts::units(tx).await?.into_iter().find(|u| u.id == *unit).unwrap().fields.part_id;
        pieces::declare(tx, piece, part, *driver).await?;
    }
    Ok(ids)
}

pub async fn segment(house: &House, name: String, text: String) -> SegmentId {
    let upload = Upload { name, rig_id: None, start_us: None, settings: None, key: None };
    let bytes = futures_util::stream::iter([Ok::<_, weighhouse::work::Error>(text.into_bytes())]);
    let taken = TakeIn::new(house.store.clone()).take_in(Actor::Server, upload, bytes).await.unwrap();
    taken.segments[0].id
}

/// The piece with two passes of each cell.
pub async fn piece(house: &House) -> Ids {
    let ids = house.store.write(Actor::Server, async |tx| registers(tx).await).await.unwrap();
    let cells = DUNLIN.into_iter().chain(CURLEW).enumerate();
    let each = cells.flat_map(|(at, passes)| passes.into_iter().enumerate().map(move |pass| (at, pass)));
    for (at, (nth, frame_ms)) in each {
        let segment_id = segment(house, format!("{at}-{nth}.csv"), log(frame_ms, 10 * at + nth)).await;
        let new = passes::NewPass {
            cell_id: ids.cells[at],
            segment_id,
            rig_base_id: ids.base,
            unit_id: ids.units[at / 2],
            driver_id: ids.drivers[at / 2],
            build_id: ids.builds[at % 2],
        };
        let key = format!("p{at}{nth}");
        house.store.write(Actor::Server, async move |tx| passes::add(tx, &key, &new).await).await.unwrap();
    }
    ids
}

async fn seen(client: &Client, query: &[(&str, &str)]) -> serde_json::Value {
    let answer = client.get(&paths::with_query(&paths::api(&paths::against("k1")), query)).await;
    assert_eq!(answer.status, 200, "{}", answer.body);
    answer.json()
}

/// By hand: cell = 1000 / sqrt(x y) fps for frames of x and y ms; ratio 1.25 in both scenes. ln of a pass differs from
/// its cell's mean by +-0.5 ln 1.01 = 0.00497517, so s^2 = 2 x 0.00497517^2 = 4.95046e-5 on 1 df in each cell,
/// se = sqrt(2 s^2 / 2) = 0.00703595 on 2 df; t(0.975, 2) = 4.30265 (any table of Student's t): 1.25 exp(-+0.0302732).
#[tokio::test]
async fn the_page_and_its_twin_show_numbers_that_logs_give_by_hand() {
    let house = House::start().await;
    let owner = house.owner().await;
    piece(&house).await;
    let told = seen(&owner, &[]).await["comparison"].clone();
    assert_eq!(told["baseline"], "Tarnwick Dunlin");
    let contender = &told["contenders"][0];
    assert_eq!(contender["name"], "Tarnwick Curlew");
    let near = |value: &serde_json::Value, wanted: f64| {
        let value = value.as_f64().unwrap();
        assert!((value / wanted - 1.0).abs() < 2e-6, "{value} {wanted}");
    };
    for (nth, average) in [(0, 1000.0 / 101.0_f64.sqrt()), (1, 500.0 / 101.0_f64.sqrt())] {
        // Scenes come in the register's order: Vellum Rally was made first.
        let line = &contender["scenes"][nth];
        near(&line["baseline"]["value"], average);
        near(&line["ratio"]["ratio"], 1.25);
        near(&line["ratio"]["interval"][0], 1.25 * (-0.030_273_2_f64).exp());
        near(&line["ratio"]["interval"][1], 1.25 * 0.030_273_2_f64.exp());
        assert_eq!(line["ratio"]["verdict"], "faster");
    }
    near(&contender["overall"]["these"]["ratio"], 1.25);
    let page = owner.get(&paths::against("k1")).await;
    let changes = page.texts("table.ledger tbody tr td:nth-child(4)");
    assert_eq!(changes, ["+25.0%", "+25.0%"]);
    assert_eq!(page.texts("table.ledger tbody .verdict").len(), 2);
    assert!(page.body.contains("<svg") && page.texts("figure.chart title").len() > 1);
}

/// Common practice, no source: 25% faster one way is 20% slower the other way.
#[tokio::test]
async fn another_baseline_and_another_measure_are_chosen_in_the_address() {
    let house = House::start().await;
    let owner = house.owner().await;
    piece(&house).await;
    let page = owner.get(&paths::against("k1")).await;
    let curlew = page.attribute("input[name=with]", "value").unwrap();
    let turned = seen(&owner, &[("baseline", &curlew)]).await["comparison"].clone();
    let line = &turned["contenders"][0]["scenes"][0]["ratio"];
    assert!((line["ratio"].as_f64().unwrap() - 0.8).abs() < 2e-6);
    assert_eq!(line["verdict"], "slower");
    let times = seen(&owner, &[("measure", "frame_time_p99_ms")]).await["comparison"].clone();
    assert_eq!(times["unit"], "ms");
    assert_eq!(times["contenders"][0]["scenes"][0]["ratio"]["verdict"], "lower");
    let energy = seen(&owner, &[("measure", "joules_per_frame")]).await["comparison"].clone();
    assert_eq!(energy["contenders"][0]["overall"], serde_json::Value::Null);
    assert_eq!(energy["left_out"].as_array().unwrap().len(), 2);
}

#[tokio::test]
async fn what_is_not_there_is_said_in_words_and_nobody_outside_reads() {
    let house = House::start().await;
    let owner = house.owner().await;
    piece(&house).await;
    let at = paths::against("k1");
    for (name, value, says) in [
        ("measure", "speed", "'speed' is no measure of this piece."),
        ("setting", "x", "'x' is no setting of this piece."),
        ("baseline", "99", "'99' is no baseline of this piece."),
        ("with", "<b>", "'<b>' is no contender of this piece."),
    ] {
        let answer = owner.get(&paths::with_query(&at, &[(name, value)])).await;
        assert_eq!(answer.status, 422);
        assert_eq!(answer.texts(".says"), [says]);
    }
    assert_eq!(owner.get(&paths::against("none")).await.status, 404);
    assert_eq!(owner.get(&paths::noise_prior("none")).await.status, 404);
    let nobody = house.anonymous();
    assert_eq!(nobody.get(&paths::api(&at)).await.status, 401);
    assert_eq!(nobody.get(&at).await.status, 303);
    assert_eq!(owner.get(&chart("ratios", &[("theme", "neon")])).await.status, 422);
    let svg = owner.get(&chart("ratios", &[("theme", "dark")])).await;
    assert_eq!((svg.status, svg.header("content-type")), (200, "image/svg+xml"));
    assert!(svg.body.starts_with("<svg") && svg.body.contains(">draft</text>"));
}

#[tokio::test]
async fn a_piece_without_cells_says_what_to_do() {
    let house = House::start().await;
    let owner = house.owner().await;
    let fields = pieces::PieceFields::usual("Empty", parts::PartKind::Card);
    house.store.write(Actor::Server, async move |tx| pieces::add(tx, "k0", &fields).await).await.unwrap();
    let page = owner.get(&paths::against("k0")).await;
    assert_eq!(page.status, 200, "{}", page.body);
    assert_eq!(page.texts(".empty b"), ["Nothing to compare yet"]);
}

#[tokio::test]
async fn a_noise_prior_is_shown_then_kept_by_a_member_once() {
    let house = House::start().await;
    let owner = house.owner().await;
    let guest = house.guest(&owner).await;
    piece(&house).await;
    let at = paths::noise_prior("k1");
    let page = owner.get(&at).await;
    assert_eq!(page.texts("h1"), ["Keep a noise prior"]);
    assert!(page.body.contains("This cannot be undone"));
    let shown = page.attribute("input[name=shown]", "value").unwrap();
    let once = page.attribute("input[name=once]", "value").unwrap();
    let fields = [("version", "0"), ("shown", shown.as_str()), ("once", once.as_str())];
    assert_eq!(guest.get(&at).await.status, 200);
    assert!(guest.get(&at).await.attribute("input[name=shown]", "value").is_none());
    assert_eq!(guest.post(&at, &fields).await.status, 403);
    assert_eq!(house.anonymous().post(&paths::api(&at), &fields).await.status, 401);
    assert_eq!(owner.post(&at, &[("shown", shown.as_str())]).await.status, 428);
    assert_eq!(owner.post(&at, &[("version", "0"), ("shown", "other")]).await.status, 412);
    let kept = owner.post(&at, &fields).await;
    assert_eq!((kept.status, kept.location()), (303, paths::against("k1").as_str()));
    let page = owner.get(&paths::against("k1")).await;
    assert_eq!(page.texts(".flash span"), ["Noise prior 1 is kept."]);
    assert!(page.body.contains("noise prior 1, kept by Maren Oake on 1 Mar 2026"));
    // The form sent twice keeps one; a form from before it is stale.
    assert_eq!(owner.post(&at, &fields).await.status, 303);
    assert_eq!(seen(&owner, &[]).await["prior"]["number"], 1);
    assert_eq!(owner.post(&at, &fields[..2]).await.status, 412);
}

#[tokio::test]
async fn what_was_not_shown_is_not_kept() {
    let house = House::start().await;
    let owner = house.owner().await;
    piece(&house).await;
    let at = paths::noise_prior("k1");
    let shown = owner.get(&at).await.attribute("input[name=shown]", "value").unwrap();
    house.store.write(Actor::Person(PersonId(1)), async |tx| set_aside(tx).await).await.unwrap();
    let late = owner.post(&at, &[("version", "0"), ("shown", &shown)]).await;
    assert_eq!(late.status, 412);
    assert!(late.body.contains("Somebody changed passes or the noise prior"));
}

async fn set_aside(tx: &mut Tx<'_>) -> Result<(), StoreError> {
    let pass = passes::by_key(tx, "p00").await?.unwrap();
    rulings::rule(tx, pass.id, rulings::Verdict::SetAside, "an updater ran", "[]").await?;
    Ok(())
}
