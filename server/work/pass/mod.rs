//! One pass beside its siblings: what its page shows, and what people change on it.

mod edits;
mod propose;
mod strip;
mod threads;

use std::collections::BTreeMap;

use super::Result;
use super::evidence::{CellEvidence, Evidence, PassEvidence};
use super::reasons;
use crate::store::audit::{self, COMPANION, Entry, PASS};
use crate::store::passes;
use crate::store::pieces::{self, Piece};
use crate::store::remark_steps::{self, RemarkStep};
use crate::store::replacements::{self, Replacement};
use crate::store::rulings::{self, Remark, Ruling};
use crate::store::{CellId, PersonId, Store, people};

pub use edits::{FormerPlace, FormerWindow, Place, WindowChange, move_window, place, remark};
pub use propose::{Proposal, proposals};
pub use strip::{Beside, Lane, Strips, Value, longest, sampled, strips, zoom};
pub use threads::{settled, step};

/// A pass in its cell, in the context of a piece.
#[derive(Clone, Debug)]
pub struct Read {
    /// The piece's evidence; of the cell alone where no piece selects it.
    pub evidence: Evidence,
    /// All pieces that select the cell.
    pub pieces: Vec<Piece>,
    /// Rulings on it, oldest first.
    pub rulings: Vec<Ruling>,
    /// Remarks on it, oldest first.
    pub remarks: Vec<Remark>,
    /// What people did with them, oldest first.
    pub remark_steps: Vec<RemarkStep>,
    /// Audit entries of the pass and of its companions, oldest first.
    pub trail: Vec<Entry>,
    /// Which pass took its place, and whose place it took.
    pub replacements: Vec<Replacement>,
    /// The team's reasons for rulings.
    pub reasons: Vec<String>,
    /// Names of everybody.
    pub people: BTreeMap<PersonId, String>,
    cell: CellId,
    key: String,
}

impl Read {
    /// The pass with its cell; always there.
    pub fn pass(&self) -> Option<(&CellEvidence, &PassEvidence)> {
        let cell = self.evidence.cells.get(&self.cell)?;
        Some((cell, cell.passes.iter().find(|pass| pass.row.key == self.key)?))
    }
}

/// The piece in which a pass is seen: the named one, else the first that selects its cell; none where no piece does.
fn seen_in<'a>(selecting: &'a [Piece], piece: &str) -> Option<&'a Piece> {
    selecting.iter().find(|one| one.key == piece).or(selecting.first())
}

/// Reads what the page of a pass shows; `None`: no such pass.
///
/// # Errors
/// When the store fails.
pub async fn read(store: &Store, key: &str, piece: &str) -> Result<Option<Read>> {
    let mut db = store.read().await?;
    let Some(row) = passes::by_key(&mut db, key).await? else { return Ok(None) };
    let pieces = pieces::selecting(&mut db, row.cell_id).await?;
    drop(db);
    let evidence = match seen_in(&pieces, piece) {
        Some(piece) => Evidence::of_piece(store, piece.id).await?,
        None => Evidence::of_cell(store, row.cell_id).await?,
    };
    let Some(evidence) = evidence else { return Ok(None) };
    let reasons = reasons::read(store).await?.list;
    let mut db = store.read().await?;
    let mut trail = audit::of_row(&mut db, &PASS, row.id).await?;
    let companions = evidence.pass(key).map(|(_, pass)| pass.companions.clone()).unwrap_or_default();
    for companion in companions {
        trail.extend(audit::of_row(&mut db, &COMPANION, companion.id).await?);
    }
    trail.sort_by_key(|entry| entry.seq);
    let people = people::all(&mut db).await?.into_iter().map(|person| (person.id, person.name)).collect();
    Ok(Some(Read {
        rulings: rulings::of_pass(&mut db, row.id).await?,
        remarks: rulings::remarks(&mut db, row.id).await?,
        remark_steps: remark_steps::of_pass(&mut db, row.id).await?,
        replacements: replacements::of_pass(&mut db, row.id).await?,
        evidence,
        pieces,
        trail,
        people,
        reasons,
        cell: row.cell_id,
        key: key.to_owned(),
    }))
}
