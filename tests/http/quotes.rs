//! Quoted numbers: with a source or not at all, known to the draft and in the pack.

use weighhouse_web::paths;

use crate::figures::{PIECE, bench};
use crate::harness::{Answer, Client, House};

async fn add(client: &Client, with: &[(&str, &str)]) -> Answer {
    let usual =
        [("value", "24"), ("unit", "GB"), ("source", "the maker's data sheet"), ("dated", "2026-02-10")];
    let fields: Vec<(&str, &str)> = with.iter().chain(&usual).copied().collect();
    client.post(&paths::api(&paths::quotes(PIECE)), &fields).await
}

#[tokio::test]
async fn a_number_with_its_source_is_quoted_changed_and_taken_out() {
    let house = House::start().await;
    let owner = house.owner().await;
    let guest = house.guest(&owner).await;
    bench(&house, &owner, false).await;

    assert_eq!(add(&guest, &[("name", "memory of the Dunlin")]).await.status, 403);
    let wrong = add(&owner, &[("name", "memory"), ("source", "")]).await;
    assert!(wrong.status == 422 && wrong.body.contains("Say where it stands"), "{}", wrong.body);
    assert_eq!(add(&owner, &[("name", "memory of the Dunlin"), ("part", "1")]).await.status, 201);
    let more = [("name", "memory of the Curlew"), ("value", "32"), ("part", "2"), ("over", "1")];
    assert_eq!(add(&owner, &more).await.status, 201);
    assert_eq!(add(&owner, &more).await.status, 409, "the name is taken");

    let page = guest.get(&paths::quotes(PIECE)).await;
    assert!(page.body.contains("+33.3%") && page.body.contains("data sheet"), "{}", page.body);
    let listed = guest.get(&paths::api(&paths::quotes(PIECE))).await.json();
    assert_eq!(listed["quotes"][1]["over"], "memory of the Dunlin");

    let text = "The Curlew has 32 GB of memory, a third more than the Dunlin.";
    let checked = owner
        .post(&paths::api(&paths::draft(PIECE)), &[("body", text), ("form", "plain"), ("version", "0")])
        .await;
    assert!(checked.status < 300, "{}", checked.body);
    let draft = owner.get(&paths::api(&paths::draft(PIECE))).await.json().to_string();
    assert!(draft.contains("memory of the Curlew, quoted"), "{draft}");

    let saved = [
        ("name", "memory of the Curlew"),
        ("value", "36"),
        ("unit", "GB"),
        ("source", "box"),
        ("dated", "2026-02-11"),
    ];
    let with =
        |version: &'static str| saved.iter().copied().chain([("version", version)]).collect::<Vec<_>>();
    assert_eq!(owner.post(&paths::quote(2), &with("1")).await.status, 303);
    assert_eq!(owner.post(&paths::quote(2), &with("1")).await.status, 412);
    assert_eq!(owner.get(&paths::quote(9)).await.status, 404);
    assert_eq!(owner.post(&paths::quote_out(2), &[("version", "2")]).await.status, 303);
    assert_eq!(owner.post(&paths::quote_out(1), &[("version", "1")]).await.status, 303);
    let listed = guest.get(&paths::api(&paths::quotes(PIECE))).await.json();
    assert_eq!(listed["quotes"].as_array().unwrap().len(), 0);
}
