//! The page of a pass, its strip, and what people change on it.

use std::fmt::Write as _;

use futures_util::stream;
use weighhouse::chance::Chance;
use weighhouse::store::companions::{self, PlacedBy};
use weighhouse::store::passes::NewPass;
use weighhouse::store::people;
use weighhouse::store::pieces::{self, PieceFields};
use weighhouse::store::registers::cells::{self, CellOf};
use weighhouse::store::registers::parts::{self, DriverFields, PartFields, PartKind, UnitFields};
use weighhouse::store::registers::rigs::{self, Enclosure, RigBaseFields};
use weighhouse::store::registers::scenes::{self, BuildFields, SceneFields};
use weighhouse::store::registers::settings::{self, SettingFields};
use weighhouse::store::registers::tunings::{self, TuningFields};
use weighhouse::store::{Actor, StoreError, passes};
use weighhouse::work::Error;
use weighhouse::work::assign::assign;
use weighhouse::work::take_in::{TakeIn, Upload};
use weighhouse_measure::compare::SceneKind;
use weighhouse_web::paths;

use crate::harness::{Client, House};

/// Two passes of a cell whose tuning is past the maker's limits; the first has a companion without a clock.
pub struct Bench {
    /// With the store.
    pub house: House,
    /// Signed in.
    pub owner: Client,
    /// Of the two passes.
    pub keys: Vec<String>,
    /// Beside the first.
    pub companion: i64,
}

/// 30 s of frames near 8 ms with a hitch at 20 s.
pub fn frames(seed: u32) -> Vec<u8> {
    let (mut text, mut at) = ("elapsed (s),frame time (ms)\n".to_owned(), 0.0);
    for i in 0..3750_u32 {
        let ms = if i == 2500 { 90.0 } else { 7.9 + f64::from((i * 7 + seed) % 11) * 0.02 };
        writeln!(text, "{at:.6},{ms:.3}").unwrap();
        at += ms / 1000.0;
    }
    text.into_bytes()
}

fn sensors() -> Vec<u8> {
    let mut text = "elapsed (s),board power (W),core clock (MHz)\n".to_owned();
    for i in 0..400_u32 {
        writeln!(text, "{:.1},{},{}", f64::from(i) * 0.1, 240 + i % 9, 2500 + i % 5).unwrap();
    }
    text.into_bytes()
}

impl Bench {
    /// Set up.
    pub async fn set_up() -> Self {
        Self::with(frames(1), sensors()).await
    }

    /// Set up with these logs for the first pass.
    pub async fn with(log: Vec<u8>, beside: Vec<u8>) -> Self {
        let house = House::start().await;
        let owner = house.owner().await;
        let rig = house.rig().await;
        let store = house.store.clone();
        let person = people::all(&mut store.read().await.unwrap()).await.unwrap()[0].id;
        let take_in = TakeIn::new(store.clone());
        let mut taken = Vec::new();
        for (name, bytes) in [("a_p1.csv", log), ("a_p2.csv", frames(5)), ("a_p1_sensors.csv", beside)] {
            let upload = Upload {
                name: name.to_owned(),
                rig_id: Some(rig),
                start_us: None,
                settings: None,
                key: None,
            };
            let body = stream::iter([Ok::<_, Error>(bytes)]);
            let got = take_in.take_in(Actor::Person(person), upload, body).await.unwrap();
            taken.push(got.segments[0].id);
        }
        let new = store.write(Actor::Person(person), async move |tx| {
            let base = RigBaseFields {
                rig_id: rig,
                from_us: 0,
                board: String::new(),
                processor: String::new(),
                memory: String::new(),
                os_build: String::new(),
                firmware: String::new(),
                cooling: String::new(),
                enclosure: Enclosure::OpenBench,
                time_zone: "UTC".into(),
            };
            let rig_base_id = rigs::add_base(tx, &base).await?;
            let part = PartFields {
                maker: "Tarnwick".into(),
                model: "Curlew".into(),
                kind: PartKind::Card,
                rated_power_w: Some(500),
                memory_mib: None,
                note: String::new(),
            };
            let part_id = parts::add(tx, &part).await?;
            let unit = UnitFields::bought(part_id, "A");
            let unit_id = parts::add_unit(tx, &unit).await?;
            let driver_id =
                parts::add_driver(tx, &DriverFields { part_id, name: "501.2".into(), dated_us: 0 }).await?;
            let tuning = TuningFields {
                name: "+100 W".into(),
                power_limit_w: Some(600),
                ..TuningFields::stock(part_id)
            };
            let tuning_id = tunings::add(tx, &tuning).await?;
            let scene = SceneFields {
                game: "Vellum Rally".into(),
                passage: "hairpin".into(),
                kind: SceneKind::Replay,
                start_cue: String::new(),
                window_start_ns: 0,
                window_end_ns: Some(25_000_000_000),
                tolerance_permille: None,
                note: String::new(),
            };
            let scene_id = scenes::add(tx, &scene).await?;
            let build = BuildFields { scene_id, name: "1.0.3".into(), dated_us: 0 };
            let build_id = scenes::add_build(tx, &build).await?;
            let setting = SettingFields {
                name: "2160p native".into(),
                width_px: 3840,
                height_px: 2160,
                preset: String::new(),
                ray_tracing: String::new(),
                upscaling: String::new(),
                generated: 1,
            };
            let setting_id = settings::add(tx, &setting).await?;
            let cell_id = cells::ensure(tx, CellOf { tuning_id, scene_id, setting_id }).await?;
            let piece =
                pieces::add(tx, "k3v9", &PieceFields::usual("Is it worth it?", PartKind::Card)).await?;
            pieces::select(tx, piece, cell_id).await?;
            Ok::<_, StoreError>(move |segment_id| NewPass {
                cell_id,
                segment_id,
                rig_base_id,
                unit_id,
                driver_id,
                build_id,
            })
        });
        let new = new.await.unwrap();
        let made =
            assign(&store, &Chance::system(), person, vec![new(taken[0]), new(taken[1])]).await.unwrap();
        let first = passes::by_key(&mut store.read().await.unwrap(), &made[0].key).await.unwrap().unwrap();
        let beside = companions::of_pass(&mut store.read().await.unwrap(), first.id).await.unwrap();
        assert_eq!((beside.len(), beside[0].placed_by), (1, PlacedBy::Nobody));
        let keys = made.into_iter().map(|made| made.key).collect();
        Self { house, owner, keys, companion: beside[0].id.0 }
    }

    /// Address of the first pass.
    pub fn page(&self) -> String {
        paths::pass(&self.keys[0])
    }

    /// Its twin.
    pub async fn json(&self) -> serde_json::Value {
        self.owner.get(&paths::api(&self.page())).await.json()
    }
}

#[tokio::test]
async fn the_page_shows_the_pass_beside_its_sibling() {
    let bench = Bench::set_up().await;
    let page = bench.owner.get(&bench.page()).await;
    assert_eq!(page.status, 200, "{}", page.body);
    assert_eq!(page.texts("h1"), ["Pass 1 of Vellum Rally, hairpin"]);
    assert_eq!(page.texts("nav[aria-labelledby=cell] a").len(), 2);
    assert!(page.texts(".caution").iter().any(|text| text.contains("+100 W")));
    let strip = page.texts(".strip svg").join(" ");
    assert!(strip.contains("Pass 1") && strip.contains("Pass 2"), "{strip}");
    let why = page.texts("#measures ~ .body td.soft");
    assert!(why.iter().any(|text| text == "companion not placed"), "{why:?}");
    assert!(why.iter().any(|text| text.starts_with("at least ±")), "{why:?}");
    assert!(
        page.attribute("#measures ~ .body a", "href").unwrap().starts_with("/pieces/k3v9/figures/new?what=")
    );
    let json = bench.json().await;
    let row = |key: &str| {
        json["ledger"].as_array().unwrap().iter().find(|row| row["measure"] == key).unwrap().clone()
    };
    assert_eq!(row("power_w")["value"], serde_json::Value::Null);
    assert_eq!(
        (&row("average_fps")["cell"]["passes"], &row("hitch_count")["value"]),
        (&2.into(), &1.0.into())
    );
    assert_eq!(json["steps"].as_array().unwrap().len(), 25);
}

#[tokio::test]
async fn a_pass_with_another_driver_than_the_declared_one_says_so() {
    let bench = Bench::set_up().await;
    let says = async || bench.owner.get(&bench.page()).await.texts("#flags ~ .body .notice").join(" ");
    assert!(!says().await.contains("It was run with"), "none is declared");
    let declared = bench.house.store.write(Actor::Server, async move |tx| {
        let part_id = parts::all(tx).await?[0].id;
        let newer = DriverFields { part_id, name: "502.0".into(), dated_us: 1 };
        let driver = parts::add_driver(tx, &newer).await?;
        let piece = pieces::by_key(tx, "k3v9").await?.unwrap().id;
        pieces::declare(tx, piece, part_id, driver).await?;
        Ok::<_, StoreError>(())
    });
    declared.await.unwrap();
    let told = says().await;
    let wanted = "It was run with driver 501.2; the piece declares 502.0 for Tarnwick Curlew.";
    assert!(told.contains(wanted), "{told}");
    let about = &bench.json().await["about"];
    assert_eq!((&about["declared"], &about["declares"]), (&false.into(), &"502.0".into()));
}

#[tokio::test]
async fn the_strip_zooms_as_picture_and_as_numbers() {
    let bench = Bench::set_up().await;
    let strip = paths::pass_strip(&bench.keys[0]);
    let near = paths::with_query(&strip, &[("from", "19.9"), ("to", "20.2"), ("width", "800")]);
    let picture = bench.owner.get(&near).await;
    assert_eq!((picture.status, picture.header("content-type")), (200, "image/svg+xml"));
    assert_eq!(picture.attribute("svg", "data-from").as_deref(), Some("19.900000000"));
    let json = bench.owner.get(&paths::api(&near)).await.json();
    let columns = json["lanes"][0]["columns"].as_array().unwrap();
    assert_eq!(columns.len(), 680);
    assert!(columns.iter().any(|column| column["max"] == 90.0));
    let wrong = bench.owner.get(&paths::with_query(&strip, &[("from", "5"), ("to", "5")])).await;
    assert_eq!(wrong.status, 422);
    let wrong = bench.owner.get(&paths::with_query(&strip, &[("from", "soon")])).await;
    assert!(wrong.body.contains("soon"), "{}", wrong.body);
}

#[tokio::test]
async fn a_ruling_is_kept_undone_and_told() {
    let bench = Bench::set_up().await;
    let to = paths::pass_ruling(&bench.keys[0]);
    let fields = [("verdict", "set aside"), ("reason", "an updater ran"), ("version", "0"), ("saw", "gap")];
    let answer = bench.owner.post(&to, &fields).await;
    assert_eq!((answer.status, answer.location()), (303, bench.page().as_str()), "{}", answer.body);
    let page = bench.owner.get(&bench.page()).await;
    assert!(page.texts("#history ~ .body li").iter().any(|text| text.contains("an updater ran Maren Oake")));
    let version = page.attribute(".flash input[name=version]", "value").unwrap();
    assert_eq!(bench.owner.post(&to, &fields).await.status, 412);
    bench.house.wait_s(1);
    let other = [("verdict", "keep"), ("reason", "it is short"), ("version", version.as_str())];
    assert_eq!(bench.owner.post(&to, &other).await.status, 303);
    let page = bench.owner.get(&bench.page()).await;
    let undo = |name: &str| page.attribute(&format!(".flash input[name={name}]"), "value").unwrap();
    let fields = ["do", "version", "once"].map(|name| (name, undo(name)));
    let fields = fields.each_ref().map(|(name, value)| (*name, value.as_str()));
    bench.house.wait_s(1);
    for _ in 0..2 {
        assert_eq!(bench.owner.post(&to, &fields).await.status, 303, "the ruling before stands again");
    }
    let json = bench.json().await;
    assert_eq!(
        (&json["ruling"]["verdict"], &json["ruling"]["reason"]),
        (&"set aside".into(), &"an updater ran".into())
    );
    let version = json["ruling"]["version"].to_string();
    let opened = bench.owner.post(&to, &[("verdict", "open"), ("version", &version)]).await;
    assert_eq!(opened.status, 303);
    assert_eq!(bench.json().await["ruling"]["verdict"], "");
    let json = bench.json().await;
    let version = json["ruling"]["version"].to_string();
    let bare = bench.owner.post(&to, &[("verdict", "run again"), ("version", &version)]).await;
    assert_eq!(bare.status, 422);
    assert!(bare.texts("#ruling-hint")[0].contains("reason"), "{}", bare.body);
    assert_eq!(bench.owner.post(&to, &[("verdict", "keep")]).await.status, 428);
    assert_eq!(bench.owner.post(&to, &[("verdict", "maybe"), ("version", &version)]).await.status, 422);
}

#[tokio::test]
async fn a_window_moves_with_a_reason_and_back_by_undo() {
    let bench = Bench::set_up().await;
    let to = paths::pass_window(&bench.keys[0]);
    let mut fields = vec![("from", "2.000000001"), ("to", "20"), ("version", "1")];
    let bare = bench.owner.post(&to, &fields).await;
    assert_eq!((bare.status, bare.attribute("#window-from", "value").as_deref()), (422, Some("2.000000001")));
    fields.push(("reason", "a menu at the start"));
    assert_eq!(bench.owner.post(&to, &fields).await.status, 303);
    let page = bench.owner.get(&bench.page()).await;
    assert_eq!(bench.json().await["window"]["start_ns"], 2_000_000_001_i64);
    assert_eq!(bench.owner.post(&to, &fields).await.status, 412);
    let version = page.attribute(".flash input[name=version]", "value").unwrap();
    assert_eq!(page.attribute(".flash input[name=do]", "value").as_deref(), Some("scene"));
    assert_eq!(bench.owner.post(&to, &[("do", "scene"), ("version", &version)]).await.status, 303);
    assert_eq!(bench.json().await["window"]["own"], false);
    // From a piece, all forms and undo lead back to it.
    let seen = paths::in_piece(&bench.page(), "k3v9");
    let page = bench.owner.get(&seen).await;
    let to = page.attribute("#window ~ .body form", "action").unwrap();
    assert_eq!(to, paths::in_piece(&paths::pass_window(&bench.keys[0]), "k3v9"));
    let fields = [("from", "3"), ("to", "20"), ("version", "3"), ("reason", "x")];
    assert_eq!(bench.owner.post(&to, &fields).await.location(), seen);
    let page = bench.owner.get(&seen).await;
    let undo = page.attribute(".flash form", "action").unwrap();
    let back = bench.owner.post(&undo, &[("do", "scene"), ("version", "4")]).await;
    assert_eq!((back.status, back.location()), (303, seen.as_str()));
    let wrong =
        bench.owner.post(&to, &[("from", "1,5"), ("to", "2"), ("version", "5"), ("reason", "x")]).await;
    assert!(wrong.status == 422 && wrong.texts("#window-from-error")[0].contains("1,5"));
}

#[tokio::test]
async fn remarks_and_companions() {
    let bench = Bench::set_up().await;
    let to = paths::pass_remark(&bench.keys[0]);
    let fields = [("says", "The gate opens late."), ("start", "3.5"), ("end", "4"), ("once", "k")];
    for _ in 0..2 {
        assert_eq!(bench.owner.post(&to, &fields).await.status, 303);
    }
    assert_eq!(bench.json().await["remarks"].as_array().unwrap().len(), 1);
    assert_eq!(bench.owner.post(&to, &[("says", "x"), ("start", "3")]).await.status, 422);
    assert_eq!(bench.owner.post(&to, &[("says", " ")]).await.status, 422);

    let to = paths::pass_companion(&bench.keys[0], bench.companion);
    let placed = bench.owner.post(&to, &[("offset", "-1.25"), ("version", "1")]).await;
    assert_eq!(placed.status, 303, "{}", placed.body);
    let json = bench.json().await;
    assert_eq!(json["companions"][0]["offset_ns"], -1_250_000_000_i64);
    let power =
        json["ledger"].as_array().unwrap().iter().find(|row| row["measure"] == "power_w").unwrap().clone();
    assert!((power["value"].as_f64().unwrap() - 244.0).abs() < 0.5, "{power}");
    let page = bench.owner.get(&bench.page()).await;
    assert!(page.texts(".strip svg").join(" ").contains("Power"));
    assert_eq!(bench.owner.post(&to, &[("offset", "2"), ("version", "1")]).await.status, 412);
    let back = bench.owner.post(&to, &[("do", "take back"), ("version", "2")]).await;
    assert_eq!(back.status, 303);
    assert_eq!(bench.json().await["companions"][0]["offset_ns"], serde_json::Value::Null);
    assert_eq!(bench.owner.post(&to, &[("offset", "soon"), ("version", "3")]).await.status, 422);
    let other = paths::pass_companion(&bench.keys[1], bench.companion);
    assert_eq!(bench.owner.post(&other, &[("offset", "2"), ("version", "3")]).await.status, 404);
}

#[tokio::test]
async fn who_may_not_and_what_is_not_there() {
    let bench = Bench::set_up().await;
    let guest = bench.house.guest(&bench.owner).await;
    let key = &bench.keys[0];
    let page = guest.get(&bench.page()).await;
    assert_eq!((page.status, page.texts("main form").len()), (200, 0));
    let posts = [
        paths::pass_ruling(key),
        paths::pass_window(key),
        paths::pass_remark(key),
        paths::pass_companion(key, bench.companion),
    ];
    for to in &posts {
        assert_eq!(guest.post(to, &[("version", "1")]).await.status, 403, "{to}");
        assert_eq!(bench.house.anonymous().post(&paths::api(to), &[]).await.status, 401, "{to}");
    }
    for to in [bench.page(), paths::pass_strip(key)] {
        assert_eq!(bench.house.anonymous().get(&paths::api(&to)).await.status, 401);
    }
    let full = [
        ("version", "0"),
        ("verdict", "keep"),
        ("from", "1"),
        ("to", "2"),
        ("reason", "x"),
        ("says", "x"),
        ("offset", "1"),
    ];
    for to in [
        paths::pass_ruling("x"),
        paths::pass_window("x"),
        paths::pass_remark("x"),
        paths::pass_companion("x", 1),
    ] {
        assert_eq!(bench.owner.post(&to, &full).await.status, 404, "{to}");
    }
    assert_eq!(bench.owner.get(&paths::pass("x")).await.status, 404);
    assert_eq!(bench.owner.get(&paths::pass_strip("x")).await.status, 404);
}

#[tokio::test]
async fn the_frame_under_the_pointer_is_named() {
    let bench = Bench::set_up().await;
    let at = |from: &str, to: &str| {
        paths::with_query(&paths::pass_frame(&bench.keys[0]), &[("from", from), ("to", to)])
    };
    let said = bench.owner.get(&at("0.1", "0.2")).await;
    assert_eq!(said.status, 200, "{}", said.body);
    assert!(said.body.starts_with("Frame ") && said.body.contains("the longest of"), "{}", said.body);
    let told = bench.owner.get(&paths::api(&at("0", "0.001"))).await.json();
    assert_eq!((&told["number"], &told["at_ns"], &told["of"]), (&1.into(), &0.into(), &1.into()));
    assert_eq!(bench.owner.get(&at("soon", "1")).await.status, 422);
    assert_eq!(bench.owner.get(&paths::pass_frame("none")).await.status, 404);
}
