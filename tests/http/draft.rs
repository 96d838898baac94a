//! The draft over HTTP: texts kept as versions, numbers found and judged, what people say of them remembered.

use serde_json::Value;
use weighhouse_web::paths;

use crate::figures::{PIECE, bench, cell_what, make, step};
use crate::harness::{Answer, Client, House};

async fn keep(client: &Client, version: &str, body: &str) -> Answer {
    let fields = [("form", "plain"), ("body", body), ("version", version)];
    client.post(&paths::draft(PIECE), &fields).await
}

async fn numbers(client: &Client) -> Vec<Value> {
    let page = client.get(&paths::api(&paths::draft(PIECE))).await;
    assert_eq!(page.status, 200, "{}", page.body);
    page.json()["numbers"].as_array().unwrap().clone()
}

async fn say(client: &Client, number: &Value, what: &str, link: &str) -> Answer {
    let text = |name: &str| number[name].as_str().unwrap().to_owned();
    let (own, before, behind) = (text("number"), text("before"), text("behind"));
    let fields =
        [("number", own.as_str()), ("before", &before), ("behind", &behind), ("do", what), ("link", link)];
    client.post(&paths::draft_numbers(PIECE), &fields).await
}

fn verdicts(numbers: &[Value]) -> Vec<&str> {
    numbers.iter().map(|n| n["verdict"].as_str().unwrap()).collect()
}

/// A house with an agreed figure, `Dunlin in the hairpin`; its key and how it is printed.
async fn agreed(house: &House) -> (Client, Client, String, String) {
    let owner = house.owner().await;
    let member = house.member(&owner).await;
    let cells = bench(house, &owner, false).await;
    let key = make(&owner, &cell_what(cells[0]), "Dunlin in the hairpin").await;
    assert_eq!(step(&owner, "propose", &key).await.status, 201);
    assert_eq!(step(&member, "agree", &key).await.status, 201);
    let ledger = owner.get(&paths::api(&paths::figures(PIECE))).await.json();
    let shown = ledger["figures"][0]["shown"].as_str().unwrap().replace('\u{a0}', " ");
    (owner, member, key, shown)
}

#[tokio::test]
async fn numbers_of_a_text_are_held_against_the_figures() {
    let house = House::start().await;
    let (owner, member, key, shown) = agreed(&house).await;
    let empty = owner.get(&paths::draft(PIECE)).await;
    assert!(empty.body.contains("No text yet"), "{}", empty.body);

    let text = format!(
        "In 2026 the Dunlin made {shown} in Vellum Rally at 2160p.\r\nThe Dunlin made 12 fps in Vellum Rally. A chair weighs 3 J."
    );
    assert_eq!(keep(&member, "0", &text).await.status, 303);
    let found = numbers(&owner).await;
    assert_eq!(verdicts(&found), ["right", "wrong", "unsupported"]);
    assert_eq!(found[0]["link"], key.as_str());
    assert!(found[1]["says"].as_str().unwrap().contains(&shown.replace(' ', "\u{a0}")), "{}", found[1]);
    let page = owner.get(&paths::draft(PIECE)).await;
    let marks = page.texts(".drafted .margin li");
    assert_eq!(marks.len(), 3, "{marks:?}");
    assert!(marks[1].contains('✗') && marks[1].contains("wrong"), "a sign and a word: {}", marks[1]);

    let table = owner.get(&paths::draft_table(PIECE)).await;
    assert_eq!(table.status, 200);
    assert!(table.body.lines().nth(1).unwrap().contains("Dunlin in the hairpin"), "{}", table.body);
    let notes = owner.get(&paths::draft_notes(PIECE)).await;
    assert!(notes.body.contains(&format!("{shown}[^1]")) && notes.body.contains("[^3]:"), "{}", notes.body);
}

#[tokio::test]
async fn what_people_say_of_a_number_outlives_an_edit_and_can_be_forgotten() {
    let house = House::start().await;
    let (owner, member, key, shown) = agreed(&house).await;
    let text = format!("The Dunlin made {shown} in Vellum Rally. The chair by the bench takes 40 W of heat.");
    keep(&owner, "0", &text).await;
    let found = numbers(&owner).await;
    assert_eq!(say(&member, &found[0], "quotes", &key).await.status, 303);
    assert_eq!(say(&member, &found[1], "leave", "").await.status, 303);
    let found = numbers(&owner).await;
    assert_eq!((found.len(), found[0]["confirmed"].as_bool()), (1, Some(true)));

    let edited = text.replace("The Dunlin", "All in all the Dunlin");
    assert_eq!(keep(&owner, "1", &edited).await.status, 303);
    let found = numbers(&owner).await;
    assert_eq!((found.len(), found[0]["confirmed"].as_bool()), (1, Some(true)), "remembered");
    let wrong = say(&member, &found[0], "quotes", "nothing").await;
    assert_eq!(wrong.status, 422, "{}", wrong.body);
    assert_eq!(say(&member, &found[0], "paint", "").await.status, 422);
}

#[tokio::test]
async fn a_text_is_checked_without_being_kept_and_kept_once_from_the_latest_version() {
    let house = House::start().await;
    let (owner, member, _, _) = agreed(&house).await;
    let guest = house.guest(&owner).await;
    let fields =
        [("form", "markdown"), ("body", "The Dunlin made 12 fps in Vellum Rally."), ("version", "0")];
    let checked = owner.post(&paths::api(&paths::draft_check(PIECE)), &fields).await;
    assert_eq!(checked.status, 200, "{}", checked.body);
    assert_eq!(checked.json()["numbers"][0]["verdict"], "wrong");
    assert_eq!(owner.get(&paths::api(&paths::draft(PIECE))).await.json()["version"], 0);
    assert_eq!(owner.get(&paths::draft_notes(PIECE)).await.status, 404, "nothing is kept yet");

    assert_eq!(keep(&owner, "0", "First.").await.status, 303);
    assert_eq!(keep(&owner, "1", "First.").await.status, 303);
    assert_eq!(owner.get(&paths::api(&paths::draft(PIECE))).await.json()["version"], 1, "the same text");
    assert_eq!(keep(&member, "1", "Second.").await.status, 303);
    let late = keep(&owner, "1", "Third.").await;
    assert_eq!(late.status, 412);
    assert!(late.body.contains("Third.") && late.body.contains("Second."), "{}", late.body);
    assert!(owner.get(&paths::draft_version(PIECE, 1)).await.body.contains("First."));
    assert_eq!(owner.get(&paths::draft_version(PIECE, 9)).await.status, 404);
    assert_eq!(guest.get(&paths::draft(PIECE)).await.status, 200);
    assert_eq!(keep(&guest, "2", "Mine.").await.status, 403);
    let odd = [("form", "rhyme"), ("body", "Roses"), ("version", "2")];
    let refused = owner.post(&paths::draft(PIECE), &odd).await;
    assert_eq!(refused.status, 422);
    assert!(refused.body.contains("Roses") && refused.body.contains("no form of text"), "nothing is lost");
}

#[tokio::test]
async fn a_long_script_is_taken_and_one_beyond_all_measure_is_not() {
    let house = House::start().await;
    let (owner, _, _, _) = agreed(&house).await;
    let long = "The Dunlin made 12 fps in Vellum Rally. ".repeat(4_000);
    assert_eq!(keep(&owner, "0", &long).await.status, 303);
    let endless = "x".repeat(5_000_000);
    assert_eq!(keep(&owner, "1", &endless).await.status, 413);
}
