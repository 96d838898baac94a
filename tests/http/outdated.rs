//! After a late driver: what rests on the old one is listed, ruled to be run again in one go, and taken back; figures
//! that lapsed stand beside it.

use serde_json::Value;
use weighhouse::store::registers::parts::{self, DriverFields};
use weighhouse::store::{Actor, PartId, PersonId};
use weighhouse_web::paths;

use crate::figures::{PIECE, bench, cell_what, make, step};
use crate::harness::{Answer, Client, House};

/// A bench whose second part gets another driver, with an agreed figure of its cell.
async fn late(house: &House) -> (Client, Client) {
    let owner = house.owner().await;
    let cells = bench(house, &owner, false).await;
    let member = house.member(&owner).await;
    let key = make(&owner, &cell_what(cells[1]), "Curlew in the hairpin").await;
    for (who, next) in [(&owner, "propose"), (&member, "agree")] {
        assert_eq!(step(who, next, &key).await.status, 201);
    }
    let driver = house.store.write(Actor::Person(PersonId(1)), async move |tx| {
        let fields = DriverFields { part_id: PartId(2), name: "502.0".to_owned(), dated_us: 1 };
        parts::add_driver(tx, &fields).await
    });
    let driver = driver.await.unwrap();
    let page = owner.get(&paths::piece(PIECE)).await;
    let (_, fields) = page.form("main form");
    let fields: Vec<(String, String)> = fields
        .into_iter()
        .map(|(name, text)| if name == "driver_2" { (name, driver.to_string()) } else { (name, text) })
        .collect();
    let fields: Vec<(&str, &str)> =
        fields.iter().map(|(name, text)| (name.as_str(), text.as_str())).collect();
    let saved = owner.post(&paths::piece(PIECE), &fields).await;
    assert_eq!(saved.status, 303, "{}", saved.body);
    (owner, member)
}

async fn twin(client: &Client) -> Value {
    client.get(&paths::api(&paths::outdated(PIECE))).await.json()
}

async fn send(client: &Client, page: &Answer, reason: &str) -> Answer {
    let ticks = page.attributes("input[name=pass]", "value");
    let ticks = ticks.iter().map(|tick| ("pass", tick.as_str()));
    let fields: Vec<(&str, &str)> = ticks.chain([("reason", reason)]).collect();
    client.post(&paths::outdated(PIECE), &fields).await
}

#[tokio::test]
async fn nothing_is_out_of_date_on_one_driver_build_and_base() {
    let house = House::start().await;
    let owner = house.owner().await;
    bench(&house, &owner, false).await;
    let page = owner.get(&paths::outdated(PIECE)).await;
    assert_eq!(page.texts(".empty b"), ["All that counts ran in one state, and no figure lapsed"]);
    assert_eq!(house.anonymous().get(&paths::api(&paths::outdated(PIECE))).await.status, 401);
    assert_eq!(owner.get(&paths::outdated("none")).await.status, 404);
}

#[tokio::test]
async fn a_late_driver_lists_passes_to_run_again_and_figures_to_agree_anew() {
    let house = House::start().await;
    let (owner, member) = late(&house).await;
    let said = owner.get(&paths::piece(PIECE)).await.texts(".flash span");
    assert!(said[0].contains("2 passes and readings are out of date now"), "{said:?}");
    let page = member.get(&paths::outdated(PIECE)).await;
    assert_eq!(page.texts("h2"), ["Tarnwick Curlew", "Agree anew"]);
    let read = twin(&member).await;
    let group = &read["older"][0];
    assert_eq!((&group["from"], &group["to"]), (&"501.2".into(), &"502.0".into()));
    assert_eq!(group["cells"][0]["passes"].as_array().unwrap().len(), 2);
    let lapsed = &read["lapsed"][0];
    assert_eq!(lapsed["before"], lapsed["shown"], "the number did not move, what it rests on did");
    assert!(lapsed["changes"][0].as_str().unwrap().contains("501.2"), "{lapsed}");
    assert_eq!(
        house
            .guest(&owner)
            .await
            .get(&paths::outdated(PIECE))
            .await
            .attributes("input[name=pass]", "value")
            .len(),
        0
    );
}

#[tokio::test]
async fn all_are_ruled_at_once_with_a_reason_and_taken_back() {
    let house = House::start().await;
    let (owner, member) = late(&house).await;
    let page = member.get(&paths::outdated(PIECE)).await;
    let bare = send(&member, &page, "").await;
    assert_eq!(bare.status, 422);
    let says = "A reason is needed for 'run again': one sentence that a reader would accept.";
    assert_eq!(bare.texts(".refused"), [says]);
    let ruled = send(&member, &page, "driver 501.2 in place of 502.0").await;
    assert_eq!((ruled.status, ruled.location()), (303, paths::outdated(PIECE).as_str()), "{}", ruled.body);
    let after = member.get(&paths::outdated(PIECE)).await;
    assert!(after.texts(".flash span")[0].starts_with("To be run again: 2 passes, driver 501.2"));
    assert_eq!(twin(&owner).await["older"].as_array().unwrap().len(), 0);
    let plan = owner.get(&paths::api(&paths::plan(PIECE))).await.json();
    assert_eq!(plan["again"].as_array().unwrap().len(), 2);
    let (to, fields) = after.form(".flash form");
    let fields: Vec<(&str, &str)> =
        fields.iter().map(|(name, text)| (name.as_str(), text.as_str())).collect();
    assert_eq!(member.post(&to, &fields).await.status, 303);
    assert_eq!(twin(&owner).await["older"][0]["cells"][0]["passes"].as_array().unwrap().len(), 2);
}

#[tokio::test]
async fn a_form_that_is_older_than_a_ruling_or_names_no_pass_changes_nothing() {
    let house = House::start().await;
    let (owner, member) = late(&house).await;
    let none = member.post(&paths::outdated(PIECE), &[("reason", "late")]).await;
    assert_eq!(
        (none.status, none.texts(".refused")),
        (422, vec!["Tick the passes that are to be run again.".to_owned()])
    );
    let foreign = member.post(&paths::outdated(PIECE), &[("reason", "late"), ("pass", "nope.0")]).await;
    assert_eq!(foreign.status, 404);
    let wrong = member.post(&paths::outdated(PIECE), &[("reason", "late"), ("pass", "nope")]).await;
    assert_eq!(wrong.status, 422);
    let page = member.get(&paths::outdated(PIECE)).await;
    assert_eq!(send(&owner, &page, "late").await.status, 303);
    let same = send(&member, &page, "late").await;
    assert_eq!(same.status, 303, "two say the same: {}", same.body);
}

#[tokio::test]
async fn who_kept_a_pass_meanwhile_is_not_overruled() {
    let house = House::start().await;
    let (owner, member) = late(&house).await;
    let page = member.get(&paths::outdated(PIECE)).await;
    let key = twin(&owner).await["older"][0]["cells"][0]["passes"][0]["key"].as_str().unwrap().to_owned();
    let keep = [("do", "rule"), ("verdict", "keep"), ("reason", ""), ("version", "0")];
    assert_eq!(owner.post(&paths::pass_ruling(&key), &keep).await.status, 303);
    assert_eq!(send(&member, &page, "late").await.status, 303);
    let said = member.get(&paths::outdated(PIECE)).await.texts(".flash span");
    assert!(said[0].contains("On 1 pass another person’s ruling stands beside it"), "{said:?}");
}
