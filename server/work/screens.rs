//! Which screens a piece runs and how strict: what a choice does to the flags of its passes, and keeping it.

use std::collections::{BTreeMap, BTreeSet};

use weighhouse_measure::screens::{FlagKind, Strictness, Strictnesses};

use super::evidence::{CellEvidence, Evidence, PassEvidence, Standing};
use super::once::By;
use super::{Internal, Refusal, Result};
use crate::store::{PieceId, Store, StoreError, piece_screens};

/// A choice beside the one that stands.
#[derive(Clone, Debug)]
pub struct Preview {
    /// As it stands.
    pub now: Evidence,
    /// As it would be.
    pub then: Evidence,
}

/// A pass whose flags differ.
#[derive(Clone, Debug)]
pub struct Changed<'a> {
    /// Its cell.
    pub cell: &'a CellEvidence,
    /// The pass as it stands.
    pub pass: &'a PassEvidence,
    /// Kinds of flag that would be raised no more.
    pub gone: Vec<FlagKind>,
    /// Kinds that would be raised.
    pub new: Vec<FlagKind>,
    /// How it would stand.
    pub then: Standing,
}

impl Preview {
    /// Reads the piece as it stands and with another choice.
    ///
    /// # Errors
    /// Refused when there is no such piece; when the store fails.
    pub async fn read(store: &Store, piece: PieceId, choice: Option<Strictnesses>) -> Result<Self> {
        let missing = || Refusal::missing("piece", piece);
        let now = Evidence::of_piece(store, piece).await?.ok_or_else(missing)?;
        let then = match choice.filter(|choice| *choice != now.screens) {
            Some(choice) => Evidence::screened(store, piece, choice).await?.ok_or_else(missing)?,
            None => now.clone(),
        };
        Ok(Self { now, then })
    }

    /// Passes that have a flag of each kind, now and then.
    pub fn counts(&self) -> Vec<(FlagKind, usize, usize)> {
        let with = |evidence: &Evidence, kind: FlagKind| {
            evidence.passes().filter(|pass| pass.flag_kinds().contains(kind.key())).count()
        };
        FlagKind::ALL.into_iter().map(|kind| (kind, with(&self.now, kind), with(&self.then, kind))).collect()
    }

    /// Passes that wait for a ruling, now and then.
    pub fn waiting(&self) -> (usize, usize) {
        (self.now.to_review().count(), self.then.to_review().count())
    }

    /// The passes whose flags differ.
    pub fn changed(&self) -> Vec<Changed<'_>> {
        let then: BTreeMap<_, _> = self.then.passes().map(|pass| (pass.row.id, pass)).collect();
        let mut changed = Vec::new();
        for cell in self.now.cells.values() {
            for pass in &cell.passes {
                let Some(then) = then.get(&pass.row.id) else { continue };
                let (was, is) = (pass.flag_kinds(), then.flag_kinds());
                let (gone, new) = (apart(&was, &is), apart(&is, &was));
                if !gone.is_empty() || !new.is_empty() {
                    changed.push(Changed { cell, pass, gone, new, then: then.standing });
                }
            }
        }
        changed
    }
}

/// What is in the first and not in the second.
fn apart(of: &BTreeSet<&'static str>, from: &BTreeSet<&'static str>) -> Vec<FlagKind> {
    of.difference(from).filter_map(|key| FlagKind::from_key(key)).collect()
}

/// The choice that forms send: one word for each screen; what is not named is as usual.
///
/// # Errors
/// Refused when a word is none.
pub fn read<'a>(word: impl Fn(&str) -> &'a str) -> Result<Strictnesses> {
    let mut all = Vec::new();
    for kind in FlagKind::ALL {
        let text = word(kind.key());
        let how = if text.is_empty() { Some(Strictness::Usual) } else { Strictness::from_key(text) };
        let wrong = || {
            Refusal::field("screens", format!("'{text}' says nothing about the screen '{}'.", kind.name()))
        };
        all.push((kind, how.ok_or_else(wrong)?));
    }
    Ok(Strictnesses::of(all))
}

/// Keeps a choice over the one of this version; the new version.
///
/// # Errors
/// Refused when somebody changed it in between.
pub async fn keep(
    store: &Store,
    by: impl Into<By>,
    piece: PieceId,
    version: i64,
    choice: &Strictnesses,
) -> Result<i64> {
    let body = serde_json::to_string(choice).map_err(|e| Internal(format!("a choice of screens: {e}")))?;
    by.into()
        .write(store, async move |tx| match piece_screens::keep(tx, piece, version, &body).await {
            Err(StoreError::Stale) => {
                let theirs = piece_screens::of_piece(tx, piece).await?.map(|kept| kept.body);
                Err(Refusal::stale("the choice of screens", body, theirs.unwrap_or_default()).into())
            }
            other => Ok(other?),
        })
        .await
}
