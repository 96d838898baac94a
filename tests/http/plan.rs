//! The coverage board and cells that did not run.

use serde_json::json;
use weighhouse_web::paths;

use crate::harness::{Client, House};
use crate::pieces::registers;

async fn with_cells(house: &House) -> Client {
    let owner = house.owner().await;
    registers(house).await;
    let empty = owner.get(&paths::plan("k")).await;
    assert_eq!((empty.status, empty.texts(".empty b")), (200, vec!["No cell yet".to_owned()]));
    let grid = [("do", "add"), ("tuning", "1"), ("scene", "1"), ("scene", "2"), ("setting", "1")];
    assert_eq!(owner.post(&paths::piece_cells("k"), &grid).await.status, 303);
    owner
}

#[tokio::test]
async fn the_board_shows_what_is_missing_and_names_the_low_it_shows() {
    let house = House::start().await;
    let owner = with_cells(&house).await;
    let page = owner.get(&paths::plan("k")).await;
    assert_eq!(page.texts("h1"), ["Plan"]);
    assert_eq!(page.texts(".board .mark-missing").len(), 6);
    assert_eq!(page.texts("summary"), ["Tarnwick Curlew, stock 6 passes"]);
    assert_eq!(page.texts(".switch b"), ["average frame rate"]);
    let low = owner.get(&paths::with_query(&paths::plan("k"), &[("show", "low")])).await;
    assert_eq!(low.texts(".switch b"), ["1% low: 99% of frames were faster than this rate"]);
    let twin = owner.get(&paths::api(&paths::plan("k"))).await.json();
    assert_eq!(twin["rows"][0]["spots"][0]["marks"].as_array().unwrap().len(), 3);
    assert_eq!(twin["measure"], "average_fps");
}

#[tokio::test]
async fn a_piece_before_any_register_leads_to_the_registers() {
    let house = House::start().await;
    let owner = house.owner().await;
    let fields = [("name", "First"), ("kind", "card"), ("deadline", ""), ("zone", "UTC")];
    let cells = owner.post(&paths::pieces(), &fields).await.location().to_owned();
    let plan = cells.replace("/cells", "/plan");
    for page in [owner.get(&cells).await, owner.get(&plan).await] {
        assert_eq!(page.texts(".empty b")[0], "The registers come first");
    }
}

#[tokio::test]
async fn a_cell_did_not_run_with_a_reason_and_runs_again() {
    let house = House::start().await;
    let owner = with_cells(&house).await;
    let path = paths::did_not_run("k");
    let said = [("cell", "1.1"), ("reason", "out of memory")];
    assert_eq!(owner.post(&path, &said).await.status, 303);
    let page = owner.get(&paths::plan("k")).await;
    assert_eq!(page.texts(".board .why"), ["out of memory"]);
    assert_eq!(page.texts("summary"), ["Tarnwick Curlew, stock 3 passes"]);
    let undo = ["cell", "version", "runs"]
        .map(|name| page.attribute(&format!(".flash input[name={name}]"), "value").unwrap());
    assert_eq!(undo, ["1", "2", "1"]);
    let stale = owner.post(&path, &[("cell", "1.1"), ("reason", "crashes")]).await;
    let both = vec!["crashes".to_owned(), "out of memory".to_owned()];
    assert_eq!((stale.status, stale.texts(".both dd")), (412, both));
    let back = json!({ "cell": 1, "version": 2, "runs": true });
    assert_eq!(owner.post_json(&paths::api(&path), &back).await.status, 201);
    assert_eq!(owner.get(&paths::plan("k")).await.texts(".board .why"), [""; 0]);
}

#[tokio::test]
async fn what_names_no_cell_or_gives_no_reason_is_refused() {
    let house = House::start().await;
    let owner = with_cells(&house).await;
    let path = paths::did_not_run("k");
    let none = owner.post(&path, &[("cell", "1.1"), ("reason", " ")]).await;
    assert_eq!((none.status, none.texts(".refused")), (422, vec!["Say why it did not run.".to_owned()]));
    assert_eq!(owner.post(&path, &[("cell", "one"), ("reason", "x")]).await.status, 422);
    assert_eq!(owner.post(&path, &[("cell", "9.1"), ("reason", "x")]).await.status, 404);
    assert_eq!(owner.post(&path, &[("cell", "1"), ("reason", "x")]).await.status, 428);
    let long = "x".repeat(201);
    assert_eq!(owner.post(&path, &[("cell", "1.1"), ("reason", &long)]).await.status, 422);
}
