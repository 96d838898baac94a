//! What could be carried over into a piece: cells of other pieces that fit its scenes and settings.

use std::collections::{BTreeMap, BTreeSet};

use super::recorded_us;
use crate::store::carried;
use crate::store::pieces::{self, Piece};
use crate::store::{RigBaseId, SceneId, Store, TuningId};
use crate::work::Result;
use crate::work::evidence::{CellEvidence, Evidence};

/// A part as it is run that could be carried over.
#[derive(Clone, Debug)]
pub struct Offer {
    /// The part as it is run.
    pub tuning: TuningId,
    /// Its cells that fit.
    pub cells: usize,
    /// Names of the pieces that have them.
    pub pieces: BTreeSet<String>,
    /// On what its kept passes ran.
    pub ran: Ran,
}

/// On what passes ran.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Ran {
    /// Passes that count.
    pub passes: usize,
    /// When the newest was recorded, microseconds UTC.
    pub newest_us: Option<i64>,
    /// Drivers of the part.
    pub drivers: BTreeSet<String>,
    /// Builds of the games: game and build.
    pub builds: BTreeSet<String>,
    /// Rigs, with the base that they had.
    pub bases: BTreeMap<RigBaseId, String>,
}

impl Ran {
    /// Of these passes.
    pub fn of<'a>(
        evidence: &Evidence,
        passes: impl IntoIterator<Item = &'a crate::work::evidence::PassEvidence>,
    ) -> Ran {
        let mut ran = Ran::default();
        for row in passes.into_iter().map(|pass| &pass.row) {
            ran.passes += 1;
            ran.newest_us = ran.newest_us.max(Some(recorded_us(row)));
            ran.drivers.insert(row.driver.clone());
            ran.builds.insert(format!("{} {}", game(evidence, row.scene_id), row.build));
            let base = evidence.registers.bases.get(&row.rig_base_id);
            let os = base.map_or("", |base| base.fields.os_build.as_str());
            let words = if os.is_empty() { row.rig.clone() } else { format!("{} ({os})", row.rig) };
            ran.bases.insert(row.rig_base_id, words);
        }
        ran
    }
}

fn game(evidence: &Evidence, scene: SceneId) -> &str {
    evidence.registers.scenes.get(&scene).map_or("", |scene| scene.fields.game.as_str())
}

/// The evidence of the cells that are offered, of one tuning or of all; cells without a kept pass are left out.
///
/// # Errors
/// When the store fails.
pub(super) async fn evidence(store: &Store, piece: &Piece, tuning: Option<TuningId>) -> Result<Evidence> {
    let mut cells = carried::offered(&mut *store.read().await?, piece.id).await?;
    cells.retain(|cell| tuning.is_none_or(|tuning| cell.of.tuning_id == tuning));
    let mut evidence = Evidence::of_cells_in(store, piece.clone(), cells).await?;
    evidence.cells.retain(|_, cell| cell.kept().next().is_some());
    Ok(evidence)
}

/// Reads what is offered: parts in the order of the register.
///
/// # Errors
/// When the store fails.
pub async fn read(store: &Store, piece: &Piece) -> Result<Vec<Offer>> {
    let evidence = evidence(store, piece, None).await?;
    let mut by: BTreeMap<_, Vec<&CellEvidence>> = BTreeMap::new();
    for cell in evidence.cells.values() {
        by.entry((cell.cell.part_id, cell.cell.of.tuning_id)).or_default().push(cell);
    }
    let mut offers = Vec::new();
    let mut db = store.read().await?;
    for ((_, tuning), cells) in by {
        let mut names = BTreeSet::new();
        for cell in &cells {
            let of = pieces::selecting(&mut db, cell.cell.id).await?;
            names.extend(of.into_iter().filter(|other| other.id != piece.id).map(|other| other.fields.name));
        }
        let ran = Ran::of(&evidence, cells.iter().flat_map(|cell| cell.kept()));
        offers.push(Offer { tuning, cells: cells.len(), pieces: names, ran });
    }
    Ok(offers)
}
