//! A new team is led from an empty store to its first pass, and then left alone.

use weighhouse_web::paths;

use crate::harness::{Client, House};
use crate::upload::log;

/// The step that is next, and those that are done.
async fn steps(client: &Client) -> (Vec<String>, usize) {
    let page = client.get(&paths::pieces()).await;
    (page.texts(".steps [aria-current]"), page.texts(".steps .unseen").len())
}

async fn send(client: &Client, to: &str, fields: &[(&str, &str)]) -> String {
    let answer = client.post(to, fields).await;
    assert_eq!(answer.status, 303, "{to}: {}", answer.body);
    answer.location().to_owned()
}

#[tokio::test]
async fn each_page_names_the_next_step_until_the_first_pass_stands() {
    let house = House::start().await;
    let owner = house.owner().await;
    assert_eq!(steps(&owner).await, (vec!["Rig".to_owned()], 0));
    send(&owner, &paths::rigs(), &[("name", "alder"), ("time_zone", "UTC")]).await;
    let part = [("maker", "Tarnwick"), ("model", "Curlew"), ("unit", "A")];
    send(&owner, &paths::parts(), &part).await;
    assert_eq!(steps(&owner).await, (vec!["Part with its driver".to_owned()], 1), "passes need a driver");
    send(&owner, &paths::drivers(1), &[("name", "501.2"), ("dated", "2026-02-10")]).await;
    let scene =
        [("game", "Vellum Rally"), ("passage", "hairpin"), ("build", "1"), ("build_dated", "2026-02-10")];
    send(&owner, &paths::scenes(), &scene).await;
    let setting = [("name", "2160p native"), ("width_px", "3840"), ("height_px", "2160")];
    send(&owner, &paths::settings(), &setting).await;
    assert_eq!(steps(&owner).await, (vec!["Piece".to_owned()], 4));
    let piece = [("name", "First"), ("kind", "card"), ("zone", "UTC")];
    let cells = send(&owner, &paths::pieces(), &piece).await;
    assert_eq!(owner.get(&cells).await.attribute(".steps [aria-current] a", "href"), Some(cells.clone()));
    send(&owner, &cells, &[("do", "add"), ("tuning", "1"), ("scene", "1"), ("setting", "1")]).await;
    assert_eq!(steps(&owner).await, (vec!["Logs".to_owned()], 6));

    let name = "curlew_hairpin_3840x2160_p1.csv";
    assert_eq!(owner.put(&paths::upload(name), log(2000, 1)).await.status, 201);
    let intake = cells.replace("/cells", "/intake");
    let page = owner.get(&intake).await;
    assert_eq!(page.attribute("#pattern", "value").unwrap(), "{part}_{scene}_{setting}_p{pass}");
    let becomes = page.texts(".becomes")[0].clone();
    assert!(becomes.contains("on alder as from the start"), "the only rig is meant: {becomes}");
    let pattern = "{part}_{scene}_{setting}_p{pass}";
    let made = [("segment", "1"), ("pattern", pattern), ("once", "o1")];
    send(&owner, &format!("{intake}/assign"), &made).await;
    let page = owner.get(&intake).await;
    assert!(page.texts(".steps").is_empty(), "the team knows the way now");
    let said = &page.texts(".flash span")[0];
    assert!(said.ends_with("declares these drivers from now on: Tarnwick Curlew 501.2."), "{said}");
}

#[tokio::test]
async fn guests_are_not_led_to_what_they_may_not_do() {
    let house = House::start().await;
    let owner = house.owner().await;
    let guest = house.guest(&owner).await;
    assert!(guest.get(&paths::pieces()).await.texts(".steps").is_empty());
}
