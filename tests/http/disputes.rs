//! Two people, one pass: both rulings stand until they are settled, and figures say so. What rests on rulings: whether
//! figures hold, and the plan's passes to run again.

use serde_json::json;
use weighhouse_web::paths;

use crate::figures::{PIECE, bench, cell_what, make, step};
use crate::harness::{Client, House};
use crate::review::{Bench, form, send};

async fn rule(who: &Client, pass: &str, verdict: &str, reason: &str) -> u16 {
    let now = who.get(&paths::api(&paths::pass(pass))).await.json();
    let version = now["ruling"]["version"].as_i64().unwrap();
    let body = json!({ "verdict": verdict, "reason": reason, "version": version, "saw": [] });
    who.post_json(&paths::api(&paths::pass_ruling(pass)), &body).await.status
}

#[tokio::test]
async fn a_figure_is_disputed_while_two_rulings_stand_and_agreed_again_once_they_are_settled() {
    let house = House::start().await;
    let owner = house.owner().await;
    let member = house.member(&owner).await;
    let cells = bench(&house, &owner, false).await;
    let key = make(&owner, &cell_what(cells[0]), "Dunlin in the hairpin").await;
    assert_eq!(step(&owner, "propose", &key).await.status, 201);
    assert_eq!(step(&member, "agree", &key).await.status, 201);
    assert_eq!(rule(&owner, "p01", "keep", "").await, 201);
    assert_eq!(rule(&member, "p01", "set aside", "an updater ran").await, 201, "it stands beside");

    let page = member.get(&paths::figure(&key)).await;
    let told = page.texts(".warning").concat();
    assert!(told.contains("Maren Oake ruled 'keep', Iver Stroud 'set aside' (an updater ran)"), "{told}");
    let twin = member.get(&paths::api(&paths::figure(&key))).await.json();
    assert_eq!(twin["standing"], "lapsed", "what was agreed is in question");
    assert_eq!(twin["shown"], twin["before"], "the first ruling counts meanwhile");
    let ledger = member.get(&paths::figures(PIECE)).await;
    assert!(ledger.texts("td b.error").contains(&"disputed".to_owned()), "{}", ledger.body);
    let pack = member.get(&paths::pack(PIECE)).await;
    assert!(pack.texts("section").concat().contains("1 disputed"), "{}", pack.body);
    let refused = step(&member, "agree", &key).await;
    assert_eq!(refused.status, 409);
    assert!(refused.body.contains("settle them first"), "{}", refused.body);

    assert_eq!(rule(&owner, "p01", "keep", "").await, 422, "settling has a reason");
    assert_eq!(rule(&owner, "p01", "keep", "the updater ran in the menu").await, 201);
    let again = member.get(&paths::api(&paths::figure(&key))).await.json();
    assert_eq!((&again["standing"], again["disputes"].as_array().map(Vec::len)), (&json!("agreed"), Some(0)));
    let history = member.get(&paths::pass("p01")).await.texts(".history").concat();
    for said in ["an updater ran", "the updater ran in the menu", "Iver Stroud"] {
        assert!(history.contains(said), "nothing is lost: {history}");
    }
}

#[tokio::test]
async fn figures_say_what_was_ruled_out_and_whether_they_hold() {
    let house = House::start().await;
    let owner = house.owner().await;
    let cells = bench(&house, &owner, false).await;
    let key = make(&owner, &cell_what(cells[0]), "Dunlin in the hairpin").await;
    assert_eq!(rule(&owner, "p01", "set aside", "an updater ran").await, 201);
    let twin = owner.get(&paths::api(&paths::figure(&key))).await.json();
    assert_eq!(twin["ruled_out"], "1 of 2 passes ruled out: an updater ran");
    let choices: Vec<String> =
        twin["holds"].as_array().unwrap().iter().map(|one| one["choice"].to_string()).collect();
    assert!(choices[0].contains("put back"), "{choices:?}");
    let page = owner.get(&paths::figure(&key)).await;
    assert_eq!(page.texts("#holds"), ["Does it hold?"]);
    let against = owner.get(&paths::against(PIECE)).await;
    assert!(against.body.contains("ruled out: an updater ran"), "the chart's foot says it: {}", against.body);
}

#[tokio::test]
async fn passes_to_run_again_are_on_the_plan_until_another_takes_their_place() {
    let house = House::start().await;
    let owner = house.owner().await;
    let member = house.member(&owner).await;
    let guest = house.guest(&owner).await;
    bench(&house, &owner, false).await;
    assert_eq!(rule(&owner, "p01", "run again", "wrong passage").await, 201);
    let page = member.get(&paths::plan(PIECE)).await;
    let row = page.texts("section:has(#again-head) tbody tr").concat();
    for word in ["alder", "Curlew", "Vellum Rally", "2160p native", "wrong passage", "pass 2"] {
        assert_eq!(row.contains(word), word != "Curlew", "{word}: {row}");
    }
    // The bench's passes came in at the moment of the ruling: the other one of the cell is proposed, not taken.
    let twin = member.get(&paths::api(&paths::plan(PIECE))).await.json();
    assert_eq!(twin["again"][0]["proposed"][0][0], "p00");
    let to = paths::replace(PIECE);
    let tie = [("pass", "p00"), ("replaces", "p01")];
    assert_eq!(guest.post(&to, &tie).await.status, 403);
    assert_eq!(member.post(&to, &[("pass", "p20"), ("replaces", "p01")]).await.status, 409, "another cell");
    assert_eq!(member.post(&to, &[("pass", "none"), ("replaces", "p01")]).await.status, 404);
    assert_eq!(member.post(&to, &tie).await.status, 303);
    assert_eq!(member.post(&to, &tie).await.status, 409, "tied already");
    let twin = member.get(&paths::api(&paths::plan(PIECE))).await.json();
    assert_eq!(twin["again"][0]["replaced_by"][0], "p00");
    let board = member.get(&paths::plan(PIECE)).await;
    assert_eq!(board.texts(".board .mark-run-again").len(), 1, "both stay");
    let older = member.get(&paths::pass("p01")).await.texts(".history").concat();
    assert!(older.contains("pass 1 took its place"), "{older}");
    let back = [("pass", "p00"), ("replaces", "p01"), ("do", "take back")];
    assert_eq!(member.post(&to, &back).await.status, 303);
}

#[tokio::test]
async fn two_people_who_disagree_both_stand_until_one_settles_with_a_reason() {
    let bench = Bench::start().await;
    let (one, other) = (bench.member().await, bench.other_member().await);
    let (mine, theirs) = (form(&one.get(&bench.review).await), form(&other.get(&bench.review).await));
    let kept = send(&one, &bench.review, &mine, &[("verdict", "keep")]).await;
    assert_eq!(kept.status, 303, "{}", kept.body);
    let late =
        send(&other, &bench.review, &theirs, &[("verdict", "run again"), ("usual", "wrong passage")]).await;
    assert_eq!(late.status, 303, "{}", late.body);
    let told = other.get(late.location()).await;
    let first = bench.week.team.people[1].name;
    assert!(
        told.texts(".flash span").concat().contains(&format!("{first} ruled 'keep' on it")),
        "{}",
        told.body
    );
    // Both stand, with names; the first one counts, and nobody's is lost.
    let contested = told.texts(".contested").concat();
    assert!(contested.contains(first) && contested.contains(bench.week.team.people[2].name), "{contested}");
    for name in bench.telling() {
        assert!(!contested.contains(&name), "it tells '{name}'");
    }
    let twin = other.get(&bench.twin()).await.json();
    let one = &twin["contested"][0];
    assert_eq!(
        (one["first"]["verdict"].as_str(), one["second"]["verdict"].as_str()),
        (Some("keep"), Some("run again"))
    );
    let pass = one["key"].as_str().unwrap();
    // Who would settle it without a reason, or without seeing both, is told so.
    let body = |version: &serde_json::Value, reason: &str| json!({ "pass": pass, "verdict": "keep", "reason": reason, "version": version, "saw": one["saw"] });
    assert_eq!(one_answer(&other, &bench, &body(&one["version"], "")).await, 422);
    assert_eq!(one_answer(&other, &bench, &body(&json!(0), "it is the scene")).await, 412);
    assert_eq!(one_answer(&other, &bench, &body(&one["version"], "it is the scene")).await, 201);
    let after = other.get(&bench.twin()).await.json();
    assert_eq!(after["contested"].as_array().map(Vec::len), Some(0));
    let page = other.get(&paths::pass(pass)).await;
    assert!(page.texts("section").concat().contains("it is the scene"), "{}", page.body);
}

async fn one_answer(client: &Client, bench: &Bench, body: &serde_json::Value) -> u16 {
    client.post_json(&bench.twin(), body).await.status
}

#[tokio::test]
async fn another_persons_ruling_is_not_taken_back() {
    let bench = Bench::start().await;
    let (one, other) = (bench.member().await, bench.other_member().await);
    let fields = form(&one.get(&bench.review).await);
    let ruled = send(&one, &bench.review, &fields, &[("verdict", "keep")]).await;
    let next = one.get(ruled.location()).await;
    let undo = |name: &str| next.attribute(&format!(".flash input[name='{name}']"), "value").unwrap();
    let fields = ["pass", "version", "do"].map(|name| (name, undo(name)));
    let theirs = send(&other, &bench.review, &fields, &[]).await;
    assert_eq!(theirs.status, 409, "{}", theirs.body);
    assert!(theirs.body.contains(bench.week.team.people[1].name), "{}", theirs.body);
}
