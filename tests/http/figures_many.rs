//! All numbers of a table: made and proposed at once, agreed to at once.

use weighhouse_web::paths;

use crate::figures::{PIECE, bench};
use crate::harness::{Answer, Client, House, PASSWORD};

#[tokio::test]
async fn a_whole_table_is_proposed_at_once_and_agreed_by_another() {
    let house = House::start().await;
    let owner = house.owner().await;
    let member = house.member(&owner).await;
    bench(&house, &owner, false).await;
    let (to, fields) = owner.get(&paths::against(PIECE)).await.form("form[action$='/figures/many']");
    let of = |names: &[&str]| -> Vec<(String, String)> {
        fields.iter().filter(|(name, _)| names.contains(&name.as_str())).cloned().collect()
    };
    let send = |client: &Client, with: &[(String, String)], all: &str| {
        let fields: Vec<(&str, &str)> =
            with.iter().map(|(n, t)| (n.as_str(), t.as_str())).chain([("do", all)]).collect();
        let (client, to) = (client.clone(), paths::api(&to));
        let fields: Vec<(String, String)> =
            fields.iter().map(|(n, t)| ((*n).to_owned(), (*t).to_owned())).collect();
        async move {
            let fields: Vec<(&str, &str)> = fields.iter().map(|(n, t)| (n.as_str(), t.as_str())).collect();
            client.post(&to, &fields).await
        }
    };
    let changes = send(&owner, &of(&["what", "value"]), "changes").await;
    assert_eq!(changes.status, 201, "{}", changes.body);
    let ratios = of(&["what"]).len();
    let says = |answer: &Answer| answer.json()["says"].as_str().unwrap().replace('\u{a0}', " ");
    assert!(
        says(&changes).starts_with(&format!("Proposed: {ratios} figures, {ratios} of them new")),
        "{}",
        says(&changes)
    );
    let all = send(&owner, &of(&["what", "value"]), "all").await;
    assert!(says(&all).ends_with(&format!("{ratios} figures stood already.")), "{}", says(&all));
    assert_eq!(send(&house.guest(&owner).await, &of(&["what"]), "changes").await.status, 403);
    assert_eq!(send(&owner, &[], "changes").await.status, 422);
    let strange = [("what".to_owned(), "{}".to_owned())];
    assert_eq!(send(&owner, &strange, "changes").await.status, 422);

    let page = member.get(&paths::with_query(&paths::figures(PIECE), &[("tick", "waiting")])).await;
    let (steps, ticked) = page.form("form[action$='/figures/steps']");
    let ticked: Vec<(&str, &str)> =
        ticked.iter().filter(|(name, _)| name == "figure").map(|(n, t)| (n.as_str(), t.as_str())).collect();
    assert!(ticked.len() > ratios, "{ticked:?}");
    let fields: Vec<(&str, &str)> =
        ticked.iter().copied().chain([("do", "agree"), ("password", PASSWORD)]).collect();
    assert_eq!(member.post(&steps, &fields).await.status, 303);
    let ledger = member.get(&paths::api(&paths::figures(PIECE))).await.json();
    let lines = ledger["figures"].as_array().unwrap();
    assert!(lines.iter().all(|line| line["standing"] == "agreed") && lines.len() == ticked.len(), "{ledger}");
}
