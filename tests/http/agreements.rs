//! Who may agree to a figure: as many as the piece asks for, with their password, or alone with the value read blind.

use serde_json::json;
use weighhouse_web::paths;

use crate::figures::{PIECE, bench, cell_what, figure, make, step};
use crate::harness::{House, PASSWORD};

const HOUR_S: i64 = 60 * 60;

#[tokio::test]
async fn as_many_agree_as_the_piece_asks_for() {
    let house = House::start().await;
    let owner = house.owner().await;
    let member = house.member(&owner).await;
    let third = house.invited(&owner, "member", "Ada Fenn").await;
    let cells = bench(&house, &owner, false).await;
    let (_, choices) = owner.get(&paths::piece(PIECE)).await.form("main form");
    let choose = async |agreements: &str| {
        let kept = choices.iter().filter(|(name, _)| name != "agreements");
        let kept = kept.map(|(name, text)| (name.as_str(), text.as_str()));
        let fields: Vec<(&str, &str)> = kept.chain([("agreements", agreements)]).collect();
        owner.post(&paths::piece(PIECE), &fields).await
    };
    assert_eq!(choose("9").await.status, 422);
    assert_eq!(choose("2").await.status, 303);
    let key = make(&owner, &cell_what(cells[0]), "Dunlin in the hairpin").await;
    assert_eq!(step(&owner, "propose", &key).await.status, 201);
    assert_eq!(step(&member, "agree", &key).await.status, 201);
    let half = figure(&owner, &key).await;
    assert_eq!((&half["standing"], &half["agreed_by"]), (&json!("proposed"), &json!("Iver Stroud")));
    let page = owner.get(&paths::figures(PIECE)).await;
    assert!(page.body.contains("so far agreed by Iver Stroud"), "{}", page.body);
    assert_eq!(step(&member, "agree", &key).await.status, 409, "each agrees once");
    assert_eq!(step(&third, "agree", &key).await.status, 201);
    let agreed = figure(&owner, &key).await;
    assert_eq!(
        (&agreed["standing"], &agreed["agreed_by"]),
        (&json!("agreed"), &json!("Iver Stroud and Ada Fenn"))
    );
}

#[tokio::test]
async fn an_agreement_asks_for_the_password_after_five_minutes() {
    let house = House::start().await;
    let owner = house.owner().await;
    let member = house.member(&owner).await;
    let cells = bench(&house, &owner, false).await;
    let key = make(&owner, &cell_what(cells[0]), "Dunlin in the hairpin").await;
    assert_eq!(step(&owner, "propose", &key).await.status, 201);
    house.wait_s(5 * 60);
    let tick = format!("{key} {}", figure(&member, &key).await["digest"].as_str().unwrap());
    let with = async |password: &str| {
        let fields = [("do", "agree"), ("figure", tick.as_str()), ("password", password)];
        member.post(&paths::figure_steps(PIECE), &fields).await
    };
    let asked = with("").await;
    assert_eq!((asked.status, asked.texts("input[name=figure][checked]").len()), (422, 1), "still ticked");
    assert!(asked.texts(".refused")[0].starts_with("Type your password to agree"));
    assert_eq!(with("not it").await.status, 422);
    assert_eq!(figure(&owner, &key).await["standing"], "proposed");
    assert_eq!(with(PASSWORD).await.status, 303);
    assert_eq!(figure(&owner, &key).await["standing"], "agreed");
}

#[tokio::test]
async fn alone_one_agrees_an_hour_later_with_the_value_read_blind() {
    let house = House::start().await;
    let owner = house.owner().await;
    let cells = bench(&house, &owner, true).await;
    let key = make(&owner, &cell_what(cells[0]), "Dunlin in the hairpin").await;
    let shown = figure(&owner, &key).await["shown"].as_str().unwrap().to_owned();
    assert_eq!(step(&owner, "propose", &key).await.status, 201);
    let hidden = figure(&owner, &key).await;
    assert!(!hidden.to_string().contains(shown.split('\u{a0}').next().unwrap()), "{hidden}");
    let tick = format!("{key} {}", hidden["digest"].as_str().unwrap());
    let typing = async |typed: &str| {
        let fields = [("do", "agree"), ("figure", tick.as_str()), ("typed", typed), ("password", PASSWORD)];
        owner.post(&paths::figure_steps(PIECE), &fields).await
    };
    assert_eq!(typing(&shown).await.status, 409, "an hour has not gone by");
    house.wait_s(HOUR_S - 60);
    owner.get(&paths::figures(PIECE)).await;
    house.wait_s(60);
    let look = owner.get(&paths::figure_blind(&key)).await;
    assert_eq!((look.status, look.texts("label").len()), (200, 2), "{}", look.body);
    assert_eq!(typing("12").await.status, 422);
    assert_eq!(typing(&shown).await.status, 303);
    let agreed = figure(&owner, &key).await;
    assert_eq!((&agreed["standing"], &agreed["alone"]), (&json!("agreed"), &json!(true)));
}
