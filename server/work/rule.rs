//! Ruling on a pass: keep, set aside, run again, or open again, by a person with a reason.

use std::collections::BTreeSet;

use weighhouse_measure::screens::FlagKind;

use super::once::{Once, once};
use super::{Kind, Refusal, Result};
use crate::store::passes::{self, PassRow};
use crate::store::rulings::{self, Verdict};
use crate::store::{Actor, PersonId, Store, Tx, people};

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

/// Rules on the pass with this key, once for each key of `sent`.
///
/// # Errors
/// Refused when there is no such pass, a reason is missing, a kind of flag is unknown, or somebody ruled in between.
pub async fn rule(
    store: &Store,
    by: PersonId,
    pass: &str,
    ruling: NewRuling,
    sent: Option<Once>,
) -> Result<()> {
    let saw = checked(&ruling)?;
    let pass = pass.to_owned();
    store
        .write(Actor::Person(by), async move |tx| {
            once(tx, sent.as_ref(), async |tx| {
                keep(tx, &pass, &ruling, &saw).await?;
                Ok(pass.clone())
            })
            .await
            .map(drop)
        })
        .await
}

async fn keep(tx: &mut Tx<'_>, pass: &str, ruling: &NewRuling, saw: &str) -> Result<()> {
    let row = passes::by_key(tx, pass).await?.ok_or_else(|| Refusal::missing("pass", pass))?;
    if version(&row) != ruling.version {
        let theirs = row.verdict.map_or("", Verdict::as_str);
        let theirs = words(theirs, row.reason.as_deref().unwrap_or(""));
        let by = match row.ruled_by {
            Some(by) => people::by_id(tx, by).await?,
            None => None,
        };
        let theirs = by.map_or(theirs.clone(), |by| format!("{theirs} ({})", by.name));
        return Err(
            Refusal::stale("the ruling", words(ruling.verdict.as_str(), &ruling.reason), theirs).into()
        );
    }
    rulings::rule(tx, row.id, ruling.verdict, &ruling.reason, saw).await?;
    Ok(())
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
    serde_json::to_string(&kinds).map_err(|e| super::Internal(e.to_string()).into())
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
    use crate::store::testing;
    use crate::work::Error;

    fn ruling(verdict: Verdict, reason: &str, version: i64) -> NewRuling {
        NewRuling {
            verdict,
            reason: reason.to_owned(),
            saw: vec!["gap".to_owned(), "gap".to_owned()],
            version,
        }
    }

    fn refused(result: Result<()>) -> Refusal {
        let Err(Error::Refused(refusal)) = result else { panic!("{result:?}") };
        *refusal
    }

    #[tokio::test]
    async fn a_ruling_stands_until_the_next_one_and_a_form_made_before_it_is_stale() {
        let (_folder, store) = testing::store().await;
        let team = testing::team(&store).await;
        testing::pass(&store, team, "p").await;
        let by = team.person;
        rule(&store, by, "p", ruling(Verdict::SetAside, "an updater ran", 0), None).await.unwrap();
        let row = passes::by_key(&mut store.read().await.unwrap(), "p").await.unwrap().unwrap();
        assert_eq!((row.verdict, row.saw.as_deref()), (Some(Verdict::SetAside), Some("[\"gap\"]")));
        let stale = refused(rule(&store, by, "p", ruling(Verdict::Keep, "", 0), None).await);
        assert_eq!(stale.kind, Kind::Stale);
        assert_eq!(stale.both.unwrap().theirs, "set aside: an updater ran (Ada)");
        rule(&store, by, "p", ruling(Verdict::Open, "", version(&row)), None).await.unwrap();
        let row = passes::by_key(&mut store.read().await.unwrap(), "p").await.unwrap().unwrap();
        assert!(row.kept());
    }

    #[tokio::test]
    async fn a_form_that_comes_twice_rules_once() {
        let (_folder, store) = testing::store().await;
        let team = testing::team(&store).await;
        let pass = testing::pass(&store, team, "p").await;
        let sent = Once { key: "k".into(), route: "/passes/p/ruling".into(), asked: vec![1] };
        for _ in 0..2 {
            let ruling = ruling(Verdict::RunAgain, "wrong passage", 0);
            rule(&store, team.person, "p", ruling, Some(sent.clone())).await.unwrap();
        }
        let all = rulings::of_pass(&mut store.read().await.unwrap(), pass).await.unwrap();
        assert_eq!(all.len(), 1);
    }

    #[tokio::test]
    async fn what_is_missing_is_named() {
        let (_folder, store) = testing::store().await;
        let team = testing::team(&store).await;
        let by = team.person;
        let none = refused(rule(&store, by, "x", ruling(Verdict::Keep, "", 0), None).await);
        assert_eq!(none.kind, Kind::Missing);
        let bare = refused(rule(&store, by, "x", ruling(Verdict::SetAside, " ", 0), None).await);
        assert!(bare.wrong("reason").contains("set aside"), "{bare}");
        let odd = NewRuling { saw: vec!["speed".into()], ..ruling(Verdict::Keep, "", 0) };
        assert!(refused(rule(&store, by, "x", odd, None).await).wrong("saw").contains("speed"));
        assert!(verdict("maybe").is_err());
    }
}
