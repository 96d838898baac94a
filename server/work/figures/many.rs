//! All numbers of a table at once: a figure of each, proposed.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use super::digest::rests_on;
use super::ledger::ledger;
use super::state::may_propose;
use super::steps::{Asked, Suggested, TRIES, overtaken, step_of, suggested};
use super::what::What;
use crate::chance::Chance;
use crate::store::audit;
use crate::store::figures::{self, Step};
use crate::store::{PieceId, Store, StoreError};
use crate::work::once::By;
use crate::work::{Error, Refusal, Result};

/// Numbers of a table that become figures at once, at most.
const MOST_AT_ONCE: usize = 500;

/// What became of the numbers of a table.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Many {
    /// Figures that were made.
    pub made: usize,
    /// Those that were proposed, with the digests that were proposed.
    pub proposed: Vec<Asked>,
    /// Figures that stood proposed or agreed before and were left so.
    pub stood: usize,
}

/// Makes a figure of each of these numbers that is none yet, and proposes all that may be, as they are now. Those that
/// have no value are refused, and then nothing is kept.
///
/// # Errors
/// Refused when there are none or too many, or one has no value.
pub async fn propose_many(
    store: &Store,
    chance: &Chance,
    by: impl Into<By>,
    piece: PieceId,
    whats: Vec<What>,
) -> Result<Many> {
    let by = by.into();
    if let Some(first) = by.first(store).await? {
        return Ok(first);
    }
    if !(1..=MOST_AT_ONCE).contains(&whats.len()) {
        let says = format!("1 to {MOST_AT_ONCE} numbers become figures at once.");
        return Err(Refusal::field("what", says).into());
    }
    // Numbers that stand twice in a table are one figure.
    let whats: BTreeMap<String, What> = whats.into_iter().map(|what| (what.json(), what)).collect();
    for _ in 0..TRIES {
        let read = ledger(store, piece).await?;
        let (seq, mut many, mut new, mut old) = (read.head.seq, Many::default(), Vec::new(), Vec::new());
        for what in whats.values() {
            let there = read.figures.iter().find(|seen| seen.what.json() == what.json());
            match there {
                Some(seen) if may_propose(&seen.state).is_err() => many.stood += 1,
                Some(seen) => {
                    let shown = seen.now.shown.clone();
                    let step = step_of(Step::Propose, &seen.fields, seen.valued.as_ref(), shown);
                    old.push((seen.figure.id, step));
                    many.proposed
                        .push(Asked { key: seen.figure.key.clone(), digest: seen.now.digest.clone() });
                }
                None => {
                    let Suggested { fields, valued, .. } = suggested(&read.evidence, what)?;
                    let (key, rests_on) = (chance.key()?, rests_on(&read.evidence, what));
                    let shown = Some(valued.shown(fields.places));
                    let step = step_of(Step::Propose, &rests_on, Some(&valued), shown);
                    many.proposed.push(Asked { key: key.clone(), digest: rests_on.digest() });
                    new.push((key, what.json(), fields, step));
                }
            }
        }
        many.made = new.len();
        let kept = by.clone().write(store, async move |tx| {
            if audit::head(tx).await.map_err(StoreError::from)?.seq != seq {
                return Err(overtaken().into());
            }
            for (key, what, fields, step) in &new {
                let id = figures::add(tx, key, piece, what, fields).await?;
                figures::take_step(tx, id, step).await?;
            }
            for (id, step) in &old {
                figures::take_step(tx, *id, step).await?;
            }
            Ok(many)
        });
        match kept.await {
            Err(Error::Refused(refusal)) if *refusal == overtaken() => {}
            done => return done,
        }
    }
    Err(overtaken().into())
}
