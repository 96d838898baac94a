//! Editions: frozen when all is agreed, readable for ever, handed over by a link that ends.

use weighhouse_web::paths;

use crate::figures::{PIECE, bench, cell_what, make, step};
use crate::harness::{Client, House, PASSWORD};

async fn agreed(owner: &Client, member: &Client, key: &str) {
    assert_eq!(step(owner, "propose", key).await.status, 201);
    assert_eq!(step(member, "agree", key).await.status, 201);
}

async fn freeze(client: &Client, note: &str) -> crate::harness::Answer {
    client.post(&paths::api(&paths::editions(PIECE)), &[("note", note)]).await
}

#[tokio::test]
async fn what_is_agreed_is_frozen_and_stays_when_a_figure_changes() {
    let house = House::start().await;
    let owner = house.owner().await;
    let member = house.member(&owner).await;
    let guest = house.guest(&owner).await;
    let cells = bench(&house, &owner, false).await;

    let early = freeze(&member, "").await;
    assert_eq!(early.status, 409, "{}", early.body);
    assert!(early.body.contains("No figure is agreed yet."), "{}", early.body);

    let first = make(&owner, &cell_what(cells[0]), "Dunlin in the hairpin").await;
    let second = make(&owner, &cell_what(cells[2]), "Dunlin in the arena").await;
    agreed(&owner, &member, &first).await;
    assert_eq!(step(&owner, "propose", &second).await.status, 201);
    let waits = freeze(&member, "").await;
    assert!(
        waits.status == 409 && waits.body.contains("Dunlin in the arena: it is proposed"),
        "{}",
        waits.body
    );
    let page = member.get(&paths::editions(PIECE)).await;
    assert!(page.body.contains("Before the figures can be frozen"), "{}", page.body);
    assert_eq!(step(&member, "agree", &second).await.status, 201);

    assert_eq!(freeze(&guest, "").await.status, 403);
    assert_eq!(freeze(&member, &"x".repeat(401)).await.status, 422);
    let frozen = freeze(&member, "for the video").await;
    assert_eq!(frozen.status, 201, "{}", frozen.body);
    let address = paths::edition(PIECE, 1);
    let before = guest.get(&paths::api(&address)).await.json();
    assert_eq!(before["figures"].as_array().unwrap().len(), 2);
    assert_eq!(
        (before["note"].as_str(), before["by"].as_str()),
        (Some("for the video"), Some("Iver Stroud"))
    );
    assert_eq!(before["figures"][0]["name"], "Dunlin in the hairpin");
    assert!(guest.get(&paths::edition_methods(PIECE, 1)).await.body.contains("<h2>Numbers</h2>"));

    let same = freeze(&member, "again").await;
    assert!(same.status == 409 && same.body.contains("would say the same"), "{}", same.body);

    assert_eq!(step(&owner, "withdraw", &second).await.status, 201);
    let corrected = freeze(&owner, "corrected").await;
    assert_eq!(corrected.status, 201, "{}", corrected.body);
    assert_eq!(guest.get(&paths::api(&address)).await.json(), before, "the first stays as it was");
    let changes = guest.get(&paths::api(&paths::edition(PIECE, 2))).await.json()["changes"].clone();
    assert_eq!((changes.as_array().unwrap().len(), &changes[0]["name"]), (1, &"Dunlin in the arena".into()));
    assert_eq!(guest.get(&paths::edition(PIECE, 3)).await.status, 404);
    let listed = guest.get(&paths::api(&paths::editions(PIECE))).await.json();
    assert_eq!(listed["editions"][0]["number"], 2);
}

#[tokio::test]
async fn a_link_shows_one_edition_to_who_has_it_until_it_ends() {
    let house = House::start().await;
    let owner = house.owner().await;
    let member = house.member(&owner).await;
    let cells = bench(&house, &owner, false).await;
    let key = make(&owner, &cell_what(cells[0]), "Dunlin in the hairpin").await;
    agreed(&owner, &member, &key).await;
    assert_eq!(freeze(&member, "").await.status, 201);

    let links = paths::edition_links(PIECE, 1);
    assert_eq!(member.post(&links, &[("days", "0")]).await.status, 422);
    assert_eq!(member.post(&links, &[("days", "91")]).await.status, 422);
    assert_eq!(house.guest(&owner).await.post(&links, &[("days", "2")]).await.status, 403);
    let made = member.post(&paths::api(&links), &[("days", "2")]).await;
    assert_eq!(made.status, 201, "{}", made.body);
    let link = made.json()["link"].as_str().unwrap().strip_prefix(&member.base).unwrap().to_owned();

    let editor = house.anonymous();
    let page = editor.get(&link).await;
    assert_eq!((page.status, page.texts("h1").len()), (200, 1), "{}", page.body);
    assert!(page.body.contains("Dunlin in the hairpin"));
    assert_eq!(page.texts("nav"), [""; 0]);
    assert_eq!(editor.get(&format!("{link}/methods")).await.status, 200);
    assert_eq!(editor.get(&paths::edition(PIECE, 1)).await.status, 303);
    assert_eq!(editor.get("/handed/none").await.status, 404);
    let seen = member.get(&paths::api(&paths::edition(PIECE, 1))).await.json();
    assert!(!seen["links"][0]["opened"].is_null(), "{seen}");

    house.wait_s(2 * 24 * 3600);
    assert_eq!(editor.get(&link).await.status, 404, "it has ended");

    let member = house.anonymous();
    let fields = [("name", "Iver Stroud"), ("password", PASSWORD)];
    assert_eq!(member.post(&paths::sign_in(), &fields).await.status, 303);
    let made = member.post(&paths::api(&links), &[("days", "2")]).await;
    let link = made.json()["link"].as_str().unwrap().strip_prefix(&member.base).unwrap().to_owned();
    assert_eq!(editor.get(&link).await.status, 200);
    assert_eq!(member.post(&paths::edition_link_back(PIECE, 1, 2), &[]).await.status, 303);
    assert_eq!(
        (editor.get(&link).await.status, editor.get(&format!("{link}/methods")).await.status),
        (404, 404)
    );
    assert_eq!(member.post(&paths::edition_link_back(PIECE, 1, 2), &[]).await.status, 409);
}
