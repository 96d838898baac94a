//! Ruling on passes: keep, set aside, run again, or open again, by a person with a reason. A ruling that contradicts
//! another person's never replaces it: both stand, and what is built on the pass is disputed, until one who saw both
//! settles it with a reason.

use std::collections::BTreeSet;

use serde::{Deserialize, Serialize};
use weighhouse_measure::screens::FlagKind;

use super::once::By;
use super::{Internal, Kind, Refusal, Result};
use crate::store::passes::{self, PassRow};
use crate::store::rulings::{self, Verdict};
use crate::store::{PersonId, RulingId, Store, Tx, people};

/// Longest reason, characters.
const LONGEST: usize = 1000;

/// What a person decides on a pass.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NewRuling {
    /// The decision.
    pub verdict: Verdict,
    /// Why; needed to set a pass aside or run it again, and to settle.
    pub reason: String,
    /// Keys of the kinds of flag that the form showed: a kind that is not among them re-opens 'keep'.
    pub saw: Vec<String>,
    /// [`version()`] of the pass when the form was made.
    pub version: i64,
}

/// What became of a ruling.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Outcome {
    /// Key of the pass.
    pub pass: String,
    /// [`version()`] of the pass now, for taking it back.
    pub version: i64,
    /// Whether it stands beside another person's.
    pub disputed: bool,
    /// Whether it settled two that stood beside each other.
    pub settled: bool,
}

/// Tells a form whether another ruling came in between: the id of the newest ruling, 0 without one.
pub fn version(row: &PassRow) -> i64 {
    row.against_id.or(row.stands).map_or(0, |ruling| ruling.0)
}

/// Rules on the pass with this key.
///
/// # Errors
/// As [`rule_all`].
pub async fn rule(store: &Store, by: impl Into<By>, pass: &str, ruling: NewRuling) -> Result<Outcome> {
    let outcomes = rule_all(store, by, vec![(pass.to_owned(), ruling)]).await?;
    outcomes.into_iter().next().ok_or_else(|| Internal("a ruling without an outcome".to_owned()).into())
}

/// Rules on passes by their keys, all or none.
///
/// # Errors
/// Refused when there is no such pass, a reason is missing, a kind of flag is unknown, somebody whom this ruling
/// does not contradict ruled in between, or another person's ruling is to be opened.
pub async fn rule_all(
    store: &Store,
    by: impl Into<By>,
    rulings: Vec<(String, NewRuling)>,
) -> Result<Vec<Outcome>> {
    let saw = rulings.iter().map(|(_, ruling)| checked(ruling)).collect::<Result<Vec<_>>>()?;
    by.into()
        .write(store, async move |tx| {
            let mut outcomes = Vec::with_capacity(rulings.len());
            for ((pass, ruling), saw) in rulings.into_iter().zip(&saw) {
                let settled = keep(tx, &pass, &ruling, saw).await?;
                let row = found(tx, &pass).await?;
                outcomes.push(Outcome { version: version(&row), disputed: row.disputed(), settled, pass });
            }
            Ok(outcomes)
        })
        .await
}

/// Answers whether it settled two rulings.
async fn keep(tx: &mut Tx<'_>, pass: &str, new: &NewRuling, saw: &str) -> Result<bool> {
    let row = found(tx, pass).await?;
    let (verdict, reason) = (new.verdict, new.reason.as_str());
    let beside = beside(&row, new, tx.by.person());
    match beside {
        Beside::Replaces => rulings::rule(tx, row.id, verdict, reason, saw).await?,
        Beside::Settles if reason.trim().is_empty() => {
            let says = "Rulings of two people stand on this pass; say why yours settles it.";
            return Err(Refusal::field("reason", says).into());
        }
        Beside::Settles => rulings::settle(tx, row.id, verdict, reason, saw).await?,
        Beside::Contradicts(_) if verdict == Verdict::Open => return Err(not_yours(tx, &row).await?.into()),
        Beside::Contradicts(stands) => rulings::dispute(tx, row.id, stands, verdict, reason, saw).await?,
        Beside::TooLate => return Err(stale(tx, &row, words(verdict.as_str(), reason)).await?.into()),
    };
    Ok(beside == Beside::Settles)
}

/// What a new ruling is to those that stand on the pass.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Beside {
    /// None stands, or it is of the same person, says the same, or did not know all that is known now.
    Replaces,
    /// Two stand, and this one was made with both in view.
    Settles,
    /// Another person's says otherwise.
    Contradicts(RulingId),
    /// It was made without seeing what stands, and cannot stand beside it.
    TooLate,
}

fn beside(row: &PassRow, new: &NewRuling, me: Option<PersonId>) -> Beside {
    let seen = version(row) == new.version;
    let plain = if seen { Beside::Replaces } else { Beside::TooLate };
    if row.disputed() {
        return if seen { Beside::Settles } else { Beside::TooLate };
    }
    let Some(stands) = row.stands.filter(|_| row.verdict != Some(Verdict::Open)) else { return plain };
    if row.ruled_by == me {
        return plain;
    }
    let reopened =
        seen && row.verdict == Some(Verdict::Keep) && !new.saw.iter().all(|kind| saw(row).contains(kind));
    match row.verdict == Some(new.verdict) {
        true => Beside::Replaces,
        false if reopened => Beside::Replaces,
        false => Beside::Contradicts(stands),
    }
}

/// Keys of the kinds of flag that the ruling that stands saw.
pub(super) fn saw(row: &PassRow) -> BTreeSet<String> {
    row.saw.as_deref().and_then(|saw| serde_json::from_str(saw).ok()).unwrap_or_default()
}

/// Takes back the newest ruling on a pass: see [`undo_all`]. Answers with the verdict that stands now.
///
/// # Errors
/// As [`undo_all`].
pub async fn undo(store: &Store, by: impl Into<By>, pass: &str, version: i64) -> Result<Verdict> {
    let stands = undo_all(store, by, vec![(pass.to_owned(), version)]).await?;
    stands.first().copied().ok_or_else(|| Internal("nothing was taken back".to_owned()).into())
}

/// Takes back the newest ruling on each of these passes (of this [`version()`]), all or none: the one before it stands
/// again, with its reason and the kinds of flag that it saw; without one, none stands. Answers with the verdicts that
/// stand now.
///
/// # Errors
/// Refused when there is no such pass, somebody ruled in between, or the ruling is another person's or settled two.
pub async fn undo_all(store: &Store, by: impl Into<By>, passes: Vec<(String, i64)>) -> Result<Vec<Verdict>> {
    by.into()
        .write(store, async move |tx| {
            let mut stand = Vec::with_capacity(passes.len());
            for (pass, version) in &passes {
                stand.push(take_back(tx, pass, *version).await?);
            }
            Ok(stand)
        })
        .await
}

async fn take_back(tx: &mut Tx<'_>, pass: &str, seen: i64) -> Result<Verdict> {
    let row = found(tx, pass).await?;
    if version(&row) != seen {
        return Err(stale(tx, &row, "as it was before".to_owned()).await?.into());
    }
    let mut all = rulings::of_pass(tx, row.id).await?;
    if all.pop().is_some_and(|newest| Some(newest.person_id) != tx.by.person()) {
        return Err(not_yours(tx, &row).await?.into());
    }
    let former = all.last();
    if former.is_some_and(|former| former.against_id.is_some()) {
        let says = "This ruling settled two that contradicted each other.";
        let mend = "Rule on the pass once more instead, with a reason.";
        return Err(Refusal::new(Kind::Clash, "Settled", says, mend).into());
    }
    rulings::restore(tx, row.id, former).await?;
    Ok(former.map_or(Verdict::Open, |former| former.verdict))
}

async fn found(tx: &mut Tx<'_>, pass: &str) -> Result<PassRow> {
    passes::by_key(tx, pass).await?.ok_or_else(|| Refusal::missing("pass", pass).into())
}

async fn stale(tx: &mut Tx<'_>, row: &PassRow, yours: String) -> Result<Refusal> {
    let theirs = row.verdict.map_or("", Verdict::as_str);
    let theirs = words(theirs, row.reason.as_deref().unwrap_or(""));
    let by = who_ruled(tx, row).await?;
    let theirs = if by.is_empty() { theirs } else { format!("{theirs} ({by})") };
    Ok(Refusal::stale("the ruling", yours, theirs))
}

async fn not_yours(tx: &mut Tx<'_>, row: &PassRow) -> Result<Refusal> {
    let by = who_ruled(tx, row).await?;
    let says = format!("{by} made this ruling; only who made a ruling takes it back.");
    let mend = "Rule otherwise, with a reason: both stand then until they are settled.";
    Ok(Refusal::new(Kind::Clash, "Another person's ruling", says, mend))
}

async fn who_ruled(tx: &mut Tx<'_>, row: &PassRow) -> Result<String> {
    let Some(by) = row.against_by.or(row.ruled_by) else { return Ok(String::new()) };
    Ok(people::by_id(tx, by).await?.map_or_else(String::new, |person| person.name))
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
