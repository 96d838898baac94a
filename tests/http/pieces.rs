//! Pieces, their choices and their cells.

use serde_json::json;
use weighhouse::store::pieces::{self, PieceFields};
use weighhouse::store::registers::parts::{self, DriverFields, PartFields, PartKind};
use weighhouse::store::registers::scenes::{self, SceneFields};
use weighhouse::store::registers::settings::{self, SettingFields};
use weighhouse::store::{Actor, StoreError};
use weighhouse_measure::compare::SceneKind;
use weighhouse_web::paths;

use crate::harness::{Answer, Client, House};

/// A part (1) with two drivers (1, 2) and tuning 'stock' (1), two scenes (1, 2), a setting (1), and a piece `k`.
pub async fn registers(house: &House) {
    house
        .store
        .write(Actor::Server, async move |tx| {
            let part = PartFields {
                maker: "Tarnwick".to_owned(),
                model: "Curlew".to_owned(),
                kind: PartKind::Card,
                rated_power_w: Some(500),
                memory_mib: None,
                note: String::new(),
            };
            let part_id = parts::add(tx, &part).await?;
            for name in ["31.2", "31.4"] {
                parts::add_driver(tx, &DriverFields { part_id, name: name.to_owned(), dated_us: 0 }).await?;
            }
            for game in ["Vellum Rally", "Tin Comet"] {
                let scene = SceneFields {
                    game: game.to_owned(),
                    passage: "corridor".to_owned(),
                    kind: SceneKind::Replay,
                    start_cue: String::new(),
                    window_start_ns: 0,
                    window_end_ns: None,
                    tolerance_permille: None,
                    note: String::new(),
                };
                scenes::add(tx, &scene).await?;
            }
            let setting = SettingFields {
                name: "2160p native".to_owned(),
                width_px: 3840,
                height_px: 2160,
                preset: "high".to_owned(),
                ray_tracing: String::new(),
                upscaling: String::new(),
                generated: 1,
            };
            settings::add(tx, &setting).await?;
            pieces::add(tx, "k", &PieceFields::usual("Is it worth it?", PartKind::Card)).await?;
            Ok::<_, StoreError>(())
        })
        .await
        .unwrap();
}

const NEW: [(&str, &str); 4] =
    [("name", "Quiet cases"), ("kind", "card"), ("deadline", "2026-03-27T18:00"), ("zone", "Europe/Berlin")];

#[tokio::test]
async fn a_piece_is_made_once_and_listed_with_what_is_left() {
    let house = House::start().await;
    let owner = house.owner().await;
    assert_eq!(owner.get(&paths::pieces()).await.texts(".empty b"), ["No piece yet"]);
    let once = [NEW.as_slice(), &[("once", "a key")]].concat();
    let made = owner.post(&paths::pieces(), &once).await;
    assert_eq!(made.status, 303, "{}", made.body);
    assert_eq!(
        owner.post(&paths::pieces(), &once).await.location(),
        made.location(),
        "sent twice, made once"
    );
    let list = owner.get(&paths::pieces()).await;
    assert_eq!(list.texts("tbody th"), ["Quiet cases"]);
    assert_eq!(list.texts("tbody td")[0], "26 days left Fri 27 Mar 2026, 18:00 CET");
    assert_eq!(list.attribute("input[name=zone]", "value").as_deref(), Some("Europe/Berlin"));
    let twin = owner.get(&paths::api(&paths::pieces())).await.json();
    assert_eq!(twin["pieces"][0]["passes_wanted"], 0);
}

#[tokio::test]
async fn what_cannot_be_a_piece_is_refused_field_by_field_and_typed_text_stays() {
    let house = House::start().await;
    let owner = house.owner().await;
    let bad = [("name", " "), ("kind", "boat"), ("deadline", "2026-02-30T18:00"), ("zone", "Europe/Nowhere")];
    let refused = owner.post(&paths::pieces(), &bad).await;
    assert_eq!((refused.status, refused.texts("form .error").len()), (422, 3));
    assert_eq!(refused.attribute("input[name=zone]", "value").as_deref(), Some("Europe/Nowhere"));
    let skipped =
        [("name", "A"), ("kind", "card"), ("deadline", "2026-03-29T02:30"), ("zone", "Europe/Berlin")];
    let says = owner
        .post_json(
            &paths::api(&paths::pieces()),
            &json!(skipped.into_iter().collect::<std::collections::BTreeMap<_, _>>()),
        )
        .await;
    assert_eq!(says.status, 422);
    assert!(says.json()["says"].as_str().unwrap().contains("skip"), "{}", says.body);
}

#[tokio::test]
async fn guests_read_and_strangers_see_nothing() {
    let house = House::start().await;
    let owner = house.owner().await;
    let guest = house.guest(&owner).await;
    registers(&house).await;
    for path in [paths::pieces(), paths::piece("k"), paths::piece_cells("k"), paths::plan("k")] {
        assert_eq!(guest.get(&path).await.status, 200, "{path}");
        assert_eq!(guest.get(&path).await.texts("button.main"), [""; 0], "{path}");
        assert_eq!(house.anonymous().get(&path).await.status, 303, "{path}");
        assert_eq!(house.anonymous().get(&paths::api(&path)).await.status, 401, "{path}");
    }
    for path in [paths::pieces(), paths::piece("k"), paths::piece_cells("k"), paths::did_not_run("k")] {
        assert_eq!(guest.post(&path, &NEW).await.status, 403, "{path}");
        assert_eq!(house.anonymous().post(&path, &NEW).await.status, 401, "{path}");
    }
    for path in [paths::piece("no"), paths::piece_cells("no"), paths::plan("no")] {
        assert_eq!(owner.get(&path).await.status, 404, "{path}");
    }
    for path in [paths::piece("no"), paths::piece_cells("no"), paths::did_not_run("no")] {
        assert_eq!(owner.post(&path, &[("version", "1")]).await.status, 404, "{path}");
    }
}

const CHOICES: [(&str, &str); 12] = [
    ("name", "Is it worth it?"),
    ("deadline", ""),
    ("zone", "UTC"),
    ("wanted", "4"),
    ("low", "tail mean"),
    ("tail", "1"),
    ("margin", "2.5"),
    ("hand_margin", "3"),
    ("agreements", "1"),
    ("precision", "1"),
    ("baseline", "1"),
    ("driver_1", "2"),
];

async fn choose(client: &Client, version: &str, other: &[(&str, &str)]) -> Answer {
    let rest = CHOICES.iter().filter(|(name, _)| !other.iter().any(|(n, _)| n == name));
    let fields: Vec<_> = rest.chain(other).copied().chain([("version", version)]).collect();
    client.post(&paths::piece("k"), &fields).await
}

#[tokio::test]
async fn choices_are_kept_shown_and_taken_back() {
    let house = House::start().await;
    let owner = house.owner().await;
    registers(&house).await;
    add(&owner).await;
    let saved = choose(&owner, "1", &[]).await;
    assert_eq!((saved.status, saved.location()), (303, "/pieces/k"), "{}", saved.body);
    let page = owner.get(&paths::piece("k")).await;
    assert_eq!(page.attribute("#margin", "value").as_deref(), Some("2.5"));
    assert_eq!(page.texts("#low option[selected]"), ["tail mean: rate over the slowest 0.1% of frames"]);
    assert_eq!(page.texts("#driver_1 option[selected]"), ["31.4"]);
    let undo: Vec<_> = ["wanted", "driver_1", "version"]
        .map(|name| page.attribute(&format!(".flash input[name={name}]"), "value").unwrap())
        .into();
    assert_eq!(undo, ["3", "", "2"]);
    assert_eq!(choose(&owner, &undo[2], &[("wanted", &undo[0]), ("driver_1", &undo[1])]).await.status, 303);
    let twin = owner.get(&paths::api(&paths::piece("k"))).await.json();
    assert_eq!((&twin["wanted"]["value"], &twin["version"]), (&json!("3"), &json!(3)));
    assert_eq!(twin["drivers"][0]["declared"]["value"], "");
}

#[tokio::test]
async fn choices_that_cannot_be_are_refused_and_the_slower_one_sees_both() {
    let house = House::start().await;
    let owner = house.owner().await;
    registers(&house).await;
    let bad = choose(&owner, "1", &[("wanted", "0"), ("margin", "2.55"), ("low", "mean")]).await;
    assert_eq!((bad.status, bad.texts("form .error").len()), (422, 3));
    assert_eq!(bad.attribute("#margin", "value").as_deref(), Some("2.55"), "typed text stays");
    assert_eq!(choose(&owner, "1", &[("driver_1", "99")]).await.status, 422);
    assert_eq!(choose(&owner, "", &[]).await.status, 428);
    assert_eq!(choose(&owner, "1", &[]).await.status, 303);
    let stale = choose(&owner, "1", &[("wanted", "9")]).await;
    assert_eq!(
        (stale.status, stale.texts(".both dd")),
        (412, vec!["wanted: 9".to_owned(), "wanted: 4".to_owned()])
    );
}

async fn add(client: &Client) -> Answer {
    let grid = [("do", "add"), ("tuning", "1"), ("scene", "1"), ("scene", "2"), ("setting", "1")];
    client.post(&paths::piece_cells("k"), &grid).await
}

#[tokio::test]
async fn a_grid_of_cells_is_added_once_and_taken_out_again() {
    let house = House::start().await;
    let owner = house.owner().await;
    registers(&house).await;
    let path = paths::piece_cells("k");
    assert_eq!(owner.get(&path).await.texts(".empty b"), ["No cell yet"]);
    assert_eq!(add(&owner).await.status, 303);
    let page = owner.get(&path).await;
    assert_eq!(page.texts(".flash span"), ["2 cells added."]);
    assert_eq!(
        page.texts("tbody th"),
        ["Vellum Rally, corridor 2160p native", "Tin Comet, corridor 2160p native"]
    );
    assert_eq!(add(&owner).await.status, 303);
    assert_eq!(owner.get(&path).await.texts(".flash span"), ["All of these were selected already."]);
    assert_eq!(owner.post(&path, &[("do", "take out"), ("cell", "2")]).await.status, 303);
    let page = owner.get(&path).await;
    assert_eq!(page.texts("tbody th").len(), 1);
    assert_eq!(page.attribute(".flash input[name=cell]", "value").as_deref(), Some("2"));
    assert_eq!(owner.post(&path, &[("do", "back"), ("cell", "2")]).await.status, 303);
    assert_eq!(owner.get(&path).await.texts("tbody th").len(), 2);
}

#[tokio::test]
async fn a_grid_without_a_side_or_of_what_is_not_there_is_refused() {
    let house = House::start().await;
    let owner = house.owner().await;
    registers(&house).await;
    let path = paths::piece_cells("k");
    let half = owner.post(&path, &[("do", "add"), ("tuning", "1"), ("setting", "1")]).await;
    assert_eq!((half.status, half.texts(".refused")), (422, vec!["Tick at least one scene.".to_owned()]));
    assert!(half.attribute("input[name=tuning][checked]", "value").is_some(), "ticks stay");
    let unknown = [("do", "add"), ("tuning", "1"), ("scene", "9"), ("setting", "1")];
    assert_eq!(owner.post(&path, &unknown).await.status, 404);
    let word = [("do", "add"), ("tuning", "one"), ("scene", "1"), ("setting", "1")];
    assert_eq!(owner.post(&path, &word).await.status, 422);
    assert_eq!(owner.post(&path, &[("do", "take out"), ("cell", "7")]).await.status, 422);
    assert_eq!(owner.post(&path, &[("do", "back"), ("cell", "7")]).await.status, 404);
    assert_eq!(owner.post(&path, &[("do", "burn")]).await.status, 422);
}
