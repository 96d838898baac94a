//! Ruling on a pass: keep, set aside, run again, or open again, by a person with a reason.

use std::collections::BTreeSet;

use weighhouse_measure::screens::FlagKind;

use super::once::By;
use super::{Internal, Kind, Refusal, Result};
use crate::store::passes::{self, PassRow};
use crate::store::rulings::{self, Verdict};
use crate::store::{Store, Tx, people};

/// Reasons that come up again and again: offered, never filled in.
pub const USUAL_REASONS: [&str; 8] = [
    "another program ran beside it",
    "wrong passage",
    "shaders were built during the pass",
    "a frame cap was on",
    "the part throttled",
    "the log is damaged",
    "wrong driver or build",
    "the disturbance belongs to the scene",
];

/// Longest reason, characters.
const LONGEST: usize = 1000;

/// What a person decides on a pass.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NewRuling {
    /// The decision.
    pub verdict: Verdict,
    /// Why; needed to set a pass aside or run it again.
    pub reason: String,
    /// Keys of the kinds of flag that the form showed: a kind that is not among them re-opens 'keep'.
    pub saw: Vec<String>,
    /// [`version()`] of the pass when the form was made.
    pub version: i64,
}

/// Tells a form whether another ruling came in between: when the ruling that stands was made, 0 without one.
pub fn version(row: &PassRow) -> i64 {
    row.ruled_us.unwrap_or(0)
}

/// Rules on the pass with this key. Answers with its [`version()`] now.
///
/// # Errors
/// Refused when there is no such pass, a reason is missing, a kind of flag is unknown, or somebody ruled in between.
pub async fn rule(store: &Store, by: impl Into<By>, pass: &str, ruling: NewRuling) -> Result<i64> {
    let saw = checked(&ruling)?;
    let pass = pass.to_owned();
    by.into()
        .write(store, async move |tx| {
            keep(tx, &pass, &ruling, &saw).await?;
            Ok(tx.at_us)
        })
        .await
}

async fn keep(tx: &mut Tx<'_>, pass: &str, ruling: &NewRuling, saw: &str) -> Result<()> {
    let yours = words(ruling.verdict.as_str(), &ruling.reason);
    let row = unchanged(tx, pass, ruling.version, yours).await?;
    rulings::rule(tx, row.id, ruling.verdict, &ruling.reason, saw).await?;
    Ok(())
}

/// Takes back the ruling that stands (its [`version()`] is `version`): the one before it stands again, with its reason
/// and the kinds of flag that it saw; without one, none stands. Answers with the verdict that stands now.
///
/// # Errors
/// Refused when there is no such pass, or somebody ruled in between.
pub async fn undo(store: &Store, by: impl Into<By>, pass: &str, version: i64) -> Result<Verdict> {
    let pass = pass.to_owned();
    by.into()
        .write(store, async move |tx| {
            let row = unchanged(tx, &pass, version, "as it was before".to_owned()).await?;
            let all = rulings::of_pass(tx, row.id).await?;
            let former = all.iter().rev().nth(1);
            rulings::restore(tx, row.id, former).await?;
            Ok(former.map_or(Verdict::Open, |one| one.verdict))
        })
        .await
}

/// The pass, where the ruling that stands is still the one that the form was made from.
async fn unchanged(tx: &mut Tx<'_>, pass: &str, seen: i64, yours: String) -> Result<PassRow> {
    let row = passes::by_key(tx, pass).await?.ok_or_else(|| Refusal::missing("pass", pass))?;
    if version(&row) == seen {
        return Ok(row);
    }
    let theirs = row.verdict.map_or("", Verdict::as_str);
    let theirs = words(theirs, row.reason.as_deref().unwrap_or(""));
    let by = match row.ruled_by {
        Some(by) => people::by_id(tx, by).await?,
        None => None,
    };
    let theirs = by.map_or(theirs.clone(), |by| format!("{theirs} ({})", by.name));
    Err(Refusal::stale("the ruling", yours, theirs).into())
}

fn words(verdict: &str, reason: &str) -> String {
    if reason.is_empty() { verdict.to_owned() } else { format!("{verdict}: {reason}") }
}

/// JSON of the kinds that were seen, each once.
fn checked(ruling: &NewRuling) -> Result<String> {
    let needs_reason = matches!(ruling.verdict, Verdict::SetAside | Verdict::RunAgain);
    if needs_reason && ruling.reason.trim().is_empty() {
        let says =
            format!("A reason is needed for '{}': one sentence that a reader would accept.", ruling.verdict);
        return Err(Refusal::field("reason", says).into());
    }
    if ruling.reason.chars().count() > LONGEST {
        return Err(
            Refusal::field("reason", format!("The reason is longer than {LONGEST} characters.")).into()
        );
    }
    if let Some(unknown) = ruling.saw.iter().find(|kind| FlagKind::from_key(kind).is_none()) {
        return Err(Refusal::field("saw", format!("'{unknown}' is no kind of flag.")).into());
    }
    let kinds: BTreeSet<&String> = ruling.saw.iter().collect();
    serde_json::to_string(&kinds).map_err(|e| Internal(e.to_string()).into())
}

/// Reads the verdict of a form.
///
/// # Errors
/// Refused, naming the words there are.
pub fn verdict(text: &str) -> Result<Verdict> {
    Verdict::parse(text).ok_or_else(|| {
        let words = Verdict::ALL.iter().map(|v| v.as_str()).collect::<Vec<_>>().join(", ");
        let says = format!("'{text}' is no ruling; it is one of: {words}.");
        Refusal { kind: Kind::Invalid, ..Refusal::field("verdict", says) }.into()
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::Actor;
    use crate::store::testing;
    use crate::work::Error;
    use crate::work::once::Once;

    fn ruling(verdict: Verdict, reason: &str, version: i64) -> NewRuling {
        NewRuling {
            verdict,
            reason: reason.to_owned(),
            saw: vec!["gap".to_owned(), "gap".to_owned()],
            version,
        }
    }

    fn refused<T: std::fmt::Debug>(result: Result<T>) -> Refusal {
        let Err(Error::Refused(refusal)) = result else { panic!("{result:?}") };
        *refusal
    }

    #[tokio::test]
    async fn a_ruling_stands_until_the_next_one_and_a_form_made_before_it_is_stale() {
        let (_folder, store) = testing::store().await;
        let team = testing::team(&store).await;
        testing::pass(&store, team, "p").await;
        let by = team.person;
        rule(&store, by, "p", ruling(Verdict::SetAside, "an updater ran", 0)).await.unwrap();
        let row = passes::by_key(&mut store.read().await.unwrap(), "p").await.unwrap().unwrap();
        assert_eq!((row.verdict, row.saw.as_deref()), (Some(Verdict::SetAside), Some("[\"gap\"]")));
        let stale = refused(rule(&store, by, "p", ruling(Verdict::Keep, "", 0)).await);
        assert_eq!(stale.kind, Kind::Stale);
        assert_eq!(stale.both.unwrap().theirs, "set aside: an updater ran (Ada)");
        rule(&store, by, "p", ruling(Verdict::Open, "", version(&row))).await.unwrap();
        let row = passes::by_key(&mut store.read().await.unwrap(), "p").await.unwrap().unwrap();
        assert!(row.kept());
    }

    #[tokio::test]
    async fn undo_brings_back_the_ruling_before_with_its_reason_and_what_it_saw() {
        let (_folder, store) = testing::store().await;
        let team = testing::team(&store).await;
        testing::pass(&store, team, "p").await;
        let by = team.person;
        let now = async || passes::by_key(&mut store.read().await.unwrap(), "p").await.unwrap().unwrap();
        rule(&store, by, "p", ruling(Verdict::SetAside, "an updater ran", 0)).await.unwrap();
        let first = now().await;
        let other = NewRuling { saw: Vec::new(), ..ruling(Verdict::Keep, "it is short", version(&first)) };
        store.clock().advance(1);
        rule(&store, by, "p", other).await.unwrap();
        let seen = version(&now().await);
        let sent = Once { key: "k".into(), route: "/".into(), asked: vec![1] };
        let keyed = By::new(Actor::Person(by), Some(sent));
        store.clock().advance(1);
        // Sent twice, it is taken back once.
        for _ in 0..2 {
            let stands = undo(&store, keyed.clone(), "p", seen).await.unwrap();
            assert_eq!(stands, Verdict::SetAside);
        }
        let again = now().await;
        assert_eq!((&again.verdict, &again.reason, &again.saw), (&first.verdict, &first.reason, &first.saw));
        assert_eq!(refused(undo(&store, by, "p", seen).await).kind, Kind::Stale);
    }

    #[tokio::test]
    async fn undo_of_the_first_ruling_leaves_the_pass_open() {
        let (_folder, store) = testing::store().await;
        let team = testing::team(&store).await;
        testing::pass(&store, team, "p").await;
        rule(&store, team.person, "p", ruling(Verdict::RunAgain, "wrong passage", 0)).await.unwrap();
        let row = passes::by_key(&mut store.read().await.unwrap(), "p").await.unwrap().unwrap();
        let stands = undo(&store, team.person, "p", version(&row)).await.unwrap();
        assert_eq!(stands, Verdict::Open);
        assert_eq!(refused(undo(&store, team.person, "x", 0).await).kind, Kind::Missing);
    }

    #[tokio::test]
    async fn a_form_that_comes_twice_rules_once() {
        let (_folder, store) = testing::store().await;
        let team = testing::team(&store).await;
        let pass = testing::pass(&store, team, "p").await;
        let sent = Once { key: "k".into(), route: "/passes/p/ruling".into(), asked: vec![1] };
        let by = By::new(Actor::Person(team.person), Some(sent));
        for _ in 0..2 {
            let ruling = ruling(Verdict::RunAgain, "wrong passage", 0);
            rule(&store, by.clone(), "p", ruling).await.unwrap();
        }
        let all = rulings::of_pass(&mut store.read().await.unwrap(), pass).await.unwrap();
        assert_eq!(all.len(), 1);
    }

    #[tokio::test]
    async fn what_is_missing_is_named() {
        let (_folder, store) = testing::store().await;
        let team = testing::team(&store).await;
        let by = team.person;
        let none = refused(rule(&store, by, "x", ruling(Verdict::Keep, "", 0)).await);
        assert_eq!(none.kind, Kind::Missing);
        let bare = refused(rule(&store, by, "x", ruling(Verdict::SetAside, " ", 0)).await);
        assert!(bare.wrong("reason").contains("set aside"), "{bare}");
        let odd = NewRuling { saw: vec!["speed".into()], ..ruling(Verdict::Keep, "", 0) };
        assert!(refused(rule(&store, by, "x", odd).await).wrong("saw").contains("speed"));
        assert!(verdict("maybe").is_err());
    }
}
