//! Passes that are to be run again: what is still to be recorded, and which newer pass took the place of which. A newer
//! pass is only proposed; a person says that it took the place. Both passes stay.

use std::collections::{BTreeMap, BTreeSet};

use super::evidence::{CellEvidence, Evidence, PassEvidence};
use super::once::By;
use super::{Error, Kind, Refusal, Result};
use crate::store::replacements::{self, Replacement};
use crate::store::rulings::Verdict;
use crate::store::{CellId, Conflict, PassId, PieceId, Store, StoreError, Tx, passes};

/// A pass to be recorded once more, or that was.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Rerun {
    /// Its cell.
    pub cell: CellId,
    /// Key of the pass.
    pub pass: String,
    /// The pass that took its place.
    pub replaced_by: Option<String>,
    /// Newer passes of the cell, of which each could be that one: of the same rig first, then the oldest.
    pub proposed: Vec<String>,
}

/// The passes of a piece that are to be run again, by cell and number.
///
/// # Errors
/// When the store fails.
pub async fn of_piece(store: &Store, evidence: &Evidence) -> Result<Vec<Rerun>> {
    let tied = replacements::of_piece(&mut *store.read().await?, evidence.piece.id).await?;
    Ok(reruns(evidence, &tied))
}

fn reruns(evidence: &Evidence, tied: &[Replacement]) -> Vec<Rerun> {
    let by: BTreeMap<PassId, PassId> = tied.iter().map(|one| (one.replaces_id, one.pass_id)).collect();
    let taken: BTreeSet<PassId> = tied.iter().map(|one| one.pass_id).collect();
    let of_cell = |cell: &CellEvidence| -> Vec<Rerun> {
        let again = cell.passes.iter().filter(|pass| pass.row.verdict == Some(Verdict::RunAgain));
        again.map(|pass| rerun(cell, pass, &by, &taken)).collect()
    };
    evidence.cells.values().flat_map(of_cell).collect()
}

fn rerun(
    cell: &CellEvidence,
    pass: &PassEvidence,
    by: &BTreeMap<PassId, PassId>,
    taken: &BTreeSet<PassId>,
) -> Rerun {
    let key = |id: &PassId| cell.passes.iter().find(|one| one.row.id == *id).map(|one| one.row.key.clone());
    let mut newer: Vec<&PassEvidence> = cell.passes.iter().filter(|one| may_replace(one, pass)).collect();
    newer.retain(|one| !taken.contains(&one.row.id));
    newer.sort_by_key(|one| (one.row.rig_id != pass.row.rig_id, one.row.number));
    let replaced_by = by.get(&pass.row.id).and_then(key);
    Rerun {
        cell: cell.cell.id,
        pass: pass.row.key.clone(),
        proposed: if replaced_by.is_some() {
            Vec::new()
        } else {
            newer.iter().map(|one| one.row.key.clone()).collect()
        },
        replaced_by,
    }
}

/// A pass that counts and came in after the ruling.
fn may_replace(one: &PassEvidence, pass: &PassEvidence) -> bool {
    one.row.kept()
        && pass.row.ruled_us.is_some_and(|ruled| one.row.made_us >= ruled)
        && one.row.id != pass.row.id
}

/// Says that a pass took the place of one that is to be run again, or takes that back.
///
/// # Errors
/// Refused when the passes are not of one cell of the piece, the older one is not to be run again, or one of them is
/// tied already.
pub async fn tie(
    store: &Store,
    by: impl Into<By>,
    piece: PieceId,
    (pass, replaces): (String, String),
    tied: bool,
) -> Result<()> {
    by.into()
        .write(store, async move |tx| {
            let all = passes::of_piece(tx, piece).await?;
            let found = |key: &str| {
                let row = all.iter().find(|row| row.key == key);
                row.ok_or_else(|| Error::from(Refusal::missing("pass", key)))
            };
            let (newer, older) = (found(&pass)?, found(&replaces)?);
            if !tied {
                return Ok(replacements::untie(tx, newer.id, older.id).await?);
            }
            if newer.cell_id != older.cell_id || newer.id == older.id {
                return Err(clash("Only another pass of the same cell can take its place.").into());
            }
            if older.verdict != Some(Verdict::RunAgain) {
                return Err(clash("The pass is not to be run again any more.").into());
            }
            keep(tx, newer.id, older.id).await
        })
        .await
}

async fn keep(tx: &mut Tx<'_>, newer: PassId, older: PassId) -> Result<()> {
    match replacements::tie(tx, newer, older).await {
        Err(StoreError::Conflict { kind: Conflict::Unique, .. }) => {
            Err(clash("One of the two passes is tied already.").into())
        }
        other => other.map(drop).map_err(Into::into),
    }
}

fn clash(says: &str) -> Refusal {
    Refusal::new(Kind::Clash, "Not tied", says, "Look at the plan again: somebody may have been faster.")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::{Actor, PersonId, ReplacementId, testing};
    use crate::work::made_up;
    use crate::work::rule::{self, NewRuling};

    #[test]
    fn a_newer_pass_of_the_same_rig_is_proposed_first_until_one_is_tied() {
        let mut evidence = made_up::piece(1, 1);
        let id = made_up::add_cell(&mut evidence, 1, 1, &[100.0; 4]);
        let passes = &mut evidence.cells.get_mut(&id).unwrap().passes;
        (passes[1].row.verdict, passes[1].row.ruled_us) = (Some(Verdict::RunAgain), Some(50));
        passes[2].row.made_us = 60;
        passes[2].row.rig_id.0 += 1;
        passes[3].row.made_us = 70;
        let (old, new) = (passes[1].row.id, passes[3].row.id);
        let keys: Vec<String> = passes.iter().map(|pass| pass.row.key.clone()).collect();
        let found = reruns(&evidence, &[]);
        assert_eq!(found.len(), 1);
        assert_eq!((&found[0].pass, &found[0].proposed), (&keys[1], &vec![keys[3].clone(), keys[2].clone()]));
        let tied = Replacement {
            id: ReplacementId(1),
            pass_id: new,
            replaces_id: old,
            person_id: PersonId(1),
            at_us: 0,
        };
        let found = reruns(&evidence, &[tied]);
        assert_eq!((found[0].replaced_by.as_ref(), found[0].proposed.len()), (Some(&keys[3]), 0));
    }

    #[tokio::test]
    async fn passes_of_one_cell_are_tied_once_and_untied() {
        let (_folder, store) = testing::store().await;
        let team = testing::team(&store).await;
        testing::pass(&store, team, "old").await;
        testing::pass(&store, team, "new").await;
        let by = team.person;
        let piece = store
            .write(Actor::Person(by), async move |tx| {
                use crate::store::{pieces, registers};
                let fields = pieces::PieceFields::usual("A piece", registers::parts::PartKind::Card);
                let piece = pieces::add(tx, "piece", &fields).await?;
                pieces::select(tx, piece, team.cell).await?;
                Ok::<_, StoreError>(piece)
            })
            .await
            .unwrap();
        let pair = |a: &str, b: &str| (a.to_owned(), b.to_owned());
        let early = tie(&store, by, piece, pair("new", "old"), true).await;
        assert!(early.unwrap_err().to_string().contains("not to be run again"));
        let again = NewRuling {
            verdict: Verdict::RunAgain,
            reason: "wrong passage".to_owned(),
            saw: Vec::new(),
            version: 0,
        };
        rule::rule(&store, by, "old", again).await.unwrap();
        assert!(tie(&store, by, piece, pair("old", "old"), true).await.is_err());
        assert!(tie(&store, by, piece, pair("x", "old"), true).await.is_err());
        tie(&store, by, piece, pair("new", "old"), true).await.unwrap();
        assert!(
            tie(&store, by, piece, pair("new", "old"), true)
                .await
                .unwrap_err()
                .to_string()
                .contains("already")
        );
        tie(&store, by, piece, pair("new", "old"), false).await.unwrap();
        tie(&store, by, piece, pair("new", "old"), true).await.unwrap();
    }
}
