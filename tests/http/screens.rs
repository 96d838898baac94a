//! Which screens a piece runs: what a choice would do is shown on its own passes, and no figure rests on it.

use weighhouse_measure::screens::FlagKind;
use weighhouse_web::paths;

use crate::harness::Answer;
use crate::review::Bench;

fn address(bench: &Bench) -> String {
    paths::screens(bench.review.split('/').nth(2).unwrap())
}

/// Flagged passes of a screen, now and as they would be.
fn counts(answer: &Answer, key: &str) -> (u64, u64) {
    let twin = answer.json();
    let screen =
        twin["screens"].as_array().unwrap().iter().find(|screen| screen["key"] == key).unwrap().clone();
    (screen["now"].as_u64().unwrap(), screen["then"].as_u64().unwrap())
}

#[tokio::test]
async fn a_choice_shows_its_effect_before_it_is_kept_and_is_taken_back() {
    let bench = Bench::start().await;
    let member = bench.member().await;
    let at = address(&bench);
    let page = member.get(&at).await;
    assert_eq!(page.texts("#choice + form tbody tr").len(), FlagKind::ALL.len());
    let (found, _) = counts(&member.get(&paths::api(&at)).await, "gap");
    assert!(found > 0, "the planted gap is flagged");

    let tried = paths::with_query(&at, &[("gap", "off")]);
    let effect = member.get(&paths::api(&tried)).await;
    assert_eq!(counts(&effect, "gap"), (found, 0));
    let twin = effect.json();
    assert_eq!(twin["changes"].as_array().unwrap().len() as u64, found);
    assert_eq!(twin["changes"][0]["gone"][0], "gap or clock jump");
    let page = member.get(&tried).await;
    assert!(page.texts("#effect + .body p")[0].contains("for a ruling now; then"), "{}", page.body);
    for telling in bench.telling() {
        assert!(!page.texts("#effect + .body").join(" ").contains(&telling), "{telling}");
    }
    assert_eq!(counts(&member.get(&paths::api(&at)).await, "gap").0, found, "nothing is kept yet");

    let (to, mut fields) = page.form("#choice + form");
    assert_eq!(to, at);
    assert!(fields.contains(&("gap".to_owned(), "off".to_owned())));
    let fields: Vec<(&str, &str)> = fields.iter_mut().map(|(n, v)| (n.as_str(), v.as_str())).collect();
    assert_eq!(member.post(&at, &fields).await.status, 303);
    let kept = member.get(&at).await;
    assert_eq!(counts(&member.get(&paths::api(&at)).await, "gap").0, 0);
    assert!(!member.get(&bench.review).await.texts(".waiting").join(" ").contains("gap"));
    let stale: Vec<_> = fields.iter().copied().filter(|(name, _)| *name != "once").collect();
    assert_eq!(member.post(&at, &stale).await.status, 412);

    let (to, undo) = kept.form(".flash form");
    let undo: Vec<(&str, &str)> = undo.iter().map(|(n, v)| (n.as_str(), v.as_str())).collect();
    assert_eq!(member.post(&to, &undo).await.status, 303);
    assert_eq!(counts(&member.get(&paths::api(&at)).await, "gap").0, found);
}

#[tokio::test]
async fn guests_look_and_unknown_words_are_refused() {
    let bench = Bench::start().await;
    let (member, guest) = (bench.member().await, bench.guest().await);
    let at = address(&bench);
    assert_eq!(guest.get(&at).await.status, 200);
    assert_eq!(guest.post(&at, &[("version", "0")]).await.status, 403);
    assert_eq!(member.post(&at, &[("gap", "off")]).await.status, 428);
    assert_eq!(member.post(&at, &[("gap", "loud"), ("version", "0")]).await.status, 422);
    assert_eq!(member.get(&paths::with_query(&at, &[("gap", "loud")])).await.status, 422);
    assert_eq!(member.get(&paths::screens("none")).await.status, 404);
}
