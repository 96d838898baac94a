//! Remarks as threads: who answered, settled and opened them again.

use super::edits::{LONGEST_REMARK, found};
use crate::store::remark_steps::{self, Does, RemarkStep};
use crate::store::{RemarkId, Store, rulings};
use crate::work::once::By;
use crate::work::{Kind, Refusal, Result};

/// Whether a remark with these steps, oldest first, is settled.
pub fn settled(steps: &[&RemarkStep]) -> bool {
    let last = steps.iter().rev().find(|step| step.does != Does::Answer);
    last.is_some_and(|step| step.does == Does::Settle)
}

/// Answers, settles or opens a remark on a pass again.
///
/// # Errors
/// Refused when the pass has no such remark, an answer says nothing or too much, or it is settled or open already.
pub async fn step(
    store: &Store,
    by: impl Into<By>,
    pass: &str,
    remark: RemarkId,
    does: Does,
    says: &str,
) -> Result<()> {
    if does == Does::Answer && says.trim().is_empty() {
        return Err(Refusal::field("says", "The answer says nothing; write a sentence.").into());
    }
    if says.chars().count() > LONGEST_REMARK {
        let wrong = format!("The answer is longer than {LONGEST_REMARK} characters; write it shorter.");
        return Err(Refusal::field("says", wrong).into());
    }
    let (pass, says) = (pass.to_owned(), says.to_owned());
    by.into()
        .write(store, async move |tx| {
            let row = found(tx, &pass).await?;
            if !rulings::remarks(tx, row.id).await?.iter().any(|one| one.id == remark) {
                return Err(Refusal::missing("remark on this pass", remark).into());
            }
            let steps = remark_steps::of_pass(tx, row.id).await?;
            let own: Vec<&RemarkStep> = steps.iter().filter(|step| step.remark_id == remark).collect();
            let already = match does {
                Does::Answer => None,
                Does::Settle => settled(&own).then_some("It is settled already."),
                Does::Open => (!settled(&own)).then_some("It is open already."),
            };
            if let Some(already) = already {
                let mend = "Look at the remark again: somebody was faster.";
                return Err(Refusal::new(Kind::Clash, "Done already", already, mend).into());
            }
            remark_steps::add(tx, remark, does, &says).await?;
            Ok(())
        })
        .await
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::testing;
    use crate::work::Error;

    #[tokio::test]
    async fn a_remark_is_answered_settled_once_and_opened_again() {
        let (_folder, store) = testing::store().await;
        let team = testing::team(&store).await;
        testing::pass(&store, team, "p").await;
        let by = team.person;
        super::super::remark(&store, by, "p", None, "a hitch").await.unwrap();
        let did = async |does, says: &str| match step(&store, by, "p", RemarkId(1), does, says).await {
            Ok(()) => None,
            Err(Error::Refused(refusal)) => Some(refusal.kind),
            Err(error) => panic!("{error}"),
        };
        assert_eq!(did(Does::Open, "").await, Some(Kind::Clash));
        assert_eq!(did(Does::Answer, " ").await, Some(Kind::Invalid));
        assert_eq!(did(Does::Answer, &"x".repeat(4001)).await, Some(Kind::Invalid));
        assert_eq!(did(Does::Answer, "an updater").await, None);
        assert_eq!(did(Does::Settle, "").await, None);
        assert_eq!(did(Does::Settle, "").await, Some(Kind::Clash));
        assert_eq!(did(Does::Open, "it came back").await, None);
        let missing = step(&store, by, "p", RemarkId(9), Does::Answer, "x").await;
        assert!(matches!(missing, Err(Error::Refused(refusal)) if refusal.kind == Kind::Missing));
    }
}
