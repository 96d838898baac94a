//! Bench sessions, the times that steps take, and boards beside the rigs.

use weighhouse_web::paths;

use crate::harness::{Client, House};
use crate::pass::frames;
use crate::pieces::registers;

async fn with_cells(house: &House) -> Client {
    let owner = house.owner().await;
    registers(house).await;
    house.rig().await;
    let grid = [("do", "add"), ("tuning", "1"), ("scene", "1"), ("scene", "2"), ("setting", "1")];
    assert_eq!(owner.post(&paths::piece_cells("k"), &grid).await.status, 303);
    owner
}

async fn board(owner: &Client, rig: &str) -> String {
    let made = owner.post(&paths::api(&paths::boards("k")), &[("rig", rig)]).await;
    assert_eq!(made.status, 201, "{}", made.body);
    let link = made.json()["link"].as_str().unwrap().to_owned();
    link.strip_prefix(&owner.base).unwrap().to_owned()
}

#[tokio::test]
async fn what_is_missing_becomes_a_session_of_the_rig() {
    let house = House::start().await;
    let owner = house.owner().await;
    registers(&house).await;
    let empty = owner.get(&paths::sessions("k")).await;
    assert_eq!((empty.status, empty.texts(".empty b")), (200, vec!["Nothing to run".to_owned()]));
    house.rig().await;
    let grid = [("do", "add"), ("tuning", "1"), ("scene", "1"), ("scene", "2"), ("setting", "1")];
    assert_eq!(owner.post(&paths::piece_cells("k"), &grid).await.status, 303);
    let page = owner.get(&paths::sessions("k")).await;
    assert_eq!(page.texts("h1"), ["Sessions"]);
    let twin = owner.get(&paths::api(&paths::sessions("k"))).await.json();
    let steps: Vec<&str> = twin["rigs"][0]["sessions"][0]["steps"]
        .as_array()
        .unwrap()
        .iter()
        .map(|step| step["what"].as_str().unwrap())
        .collect();
    // Swap, driver where one is declared, soak; three passes of each scene, the control scene at both ends.
    assert_eq!(steps.iter().filter(|what| what.starts_with("pass")).count(), 6, "{steps:?}");
    assert_eq!(steps[0], "swap");
    assert_eq!(twin["rigs"][0]["sessions"].as_array().unwrap().len(), 1);
    assert_eq!(owner.get(&paths::sessions("none")).await.status, 404);
}

#[tokio::test]
async fn times_are_the_teams_and_change_the_plan() {
    let house = House::start().await;
    let owner = with_cells(&house).await;
    let before = owner.get(&paths::sessions("k")).await;
    let (to, mut fields) = before.form("form[action$='/times']");
    for (name, text) in &mut fields {
        if name == "soak" {
            *text = "20.5".to_owned();
        }
    }
    let pairs: Vec<(&str, &str)> = fields.iter().map(|(n, t)| (n.as_str(), t.as_str())).collect();
    assert_eq!(owner.post(&to, &pairs).await.status, 303);
    let twin = owner.get(&paths::api(&paths::sessions("k"))).await.json();
    let steps = twin["rigs"][0]["sessions"][0]["steps"].as_array().unwrap().clone();
    let soak = steps.iter().find(|step| step["what"] == "soak").unwrap();
    assert_eq!(soak["takes_s"], 1230 + 90);
    let others: Vec<_> = pairs.iter().filter(|(name, _)| *name != "once").copied().collect();
    let stale = owner.post(&to, &others).await;
    assert_eq!((stale.status, stale.texts(".both dd").len()), (412, 2));
    let wrong: Vec<_> = others.iter().map(|(n, t)| (*n, if *n == "swap" { "soon" } else { *t })).collect();
    let refused = owner.post(&to, &wrong).await;
    assert_eq!((refused.status, refused.texts(".error").len()), (422, 1));
}

#[tokio::test]
async fn a_board_shows_the_next_pass_and_the_last_one_without_a_sign_in_until_it_is_taken_back() {
    let house = House::start().await;
    let owner = with_cells(&house).await;
    let link = board(&owner, "1").await;
    let phone = house.anonymous();
    let first = phone.get(&link).await;
    assert_eq!((first.status, first.texts("h1")), (200, vec!["Rig alder".to_owned()]));
    assert!(first.texts("code")[0].ends_with("_alder_p1"), "{:?}", first.texts("code"));
    assert!(first.texts(".checks label").iter().any(|text| text.starts_with("Resolution")));
    assert_eq!(first.texts("nav"), [""; 0]);
    assert_eq!(phone.get(&paths::api(&link)).await.json()["rig"], "alder");
    assert_eq!(phone.get(&paths::plan("k")).await.status, 303);

    let rig = house.with_key(&owner, weighhouse::store::RigId(1)).await;
    let sent = rig.put(&paths::upload("next.csv"), frames(1)).await;
    assert_eq!(sent.status, 201, "{}", sent.body);
    let second = phone.get(&link).await;
    let state = |answer: &crate::harness::Answer| answer.attribute("[data-state]", "data-state");
    assert_ne!(state(&first), state(&second));
    assert!(second.body.contains("next.csv"), "{}", second.body);
    assert!(second.body.contains("Waits at Intake"));

    assert_eq!(owner.post(&paths::board_back("k", 1), &[]).await.status, 303);
    assert_eq!((phone.get(&link).await.status, phone.get("/boards/none").await.status), (404, 404));
    assert_eq!(owner.post(&paths::board_back("k", 1), &[]).await.status, 409);
    assert_eq!(owner.post(&paths::boards("k"), &[("rig", "99")]).await.status, 422);
}
