//! What a piece carries over from earlier ones: how its passes stand, what the spot checks say, and what could be carried.
//!
//! A cell belongs to the store, so an earlier piece's passes are there as soon as a piece selects the cell. Carrying over says
//! that they are meant: from that moment on what was recorded before is *earlier*, what comes later *fresh*. As long as a
//! carried cell has no fresh pass its measure is that of the earlier ones, marked; as soon as one fresh pass counts, the fresh
//! ones alone are, since they are the present state: the two are never pooled. Which passes are which follows from moments
//! alone, so a figure on a carried cell rests on its own cells' passes and on no other cell's check.

pub mod keep;
pub mod offers;
pub mod said;

use std::collections::BTreeMap;

use weighhouse_measure::compare::carried::{Candidate, Check, Says, Together, Why, check, checks};
use weighhouse_measure::compare::cell::{CellValue, value};
use weighhouse_measure::compare::{PassLog, SceneKind};
use weighhouse_measure::measures::Measure;

use super::evidence::{CellEvidence, Evidence, PassEvidence};
use crate::store::carried::{self, Carried, CarriedCell};
use crate::store::passes::PassRow;
use crate::store::{CellId, Db, PieceId, StoreError, TuningId};

/// How far the clock of a rig may be behind, and how long before the moment of carrying a check may have been run.
const GRACE_US: i64 = 24 * 3600 * 1_000_000;

/// A part as it is run, carried over, with its cells.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct CarriedPart {
    /// The row.
    pub row: Carried,
    /// Its cells.
    pub cells: Vec<CarriedCell>,
}

/// How a cell is carried over.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct OfCell {
    /// The moment of carrying, microseconds UTC.
    pub from_us: i64,
    /// Whether it is to be run again as a spot check.
    pub spot_check: bool,
    /// Whether a check of its part says that all of the part's cells are to be run again.
    pub again: bool,
}

/// Where a pass stands to the moment of carrying.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Age {
    /// Its cell is not carried over.
    #[default]
    Own,
    /// Recorded before; it counts.
    Earlier,
    /// Recorded before; fresh passes of the cell count in its place.
    Replaced,
    /// Recorded since.
    Fresh,
}

impl Age {
    /// As a figure's digest has it; `None` where the cell is not carried over.
    pub fn word(self) -> Option<&'static str> {
        match self {
            Age::Own => None,
            Age::Earlier => Some("earlier"),
            Age::Replaced => Some("earlier, fresh passes count"),
            Age::Fresh => Some("fresh"),
        }
    }
}

/// Reads what a piece carries over.
pub(super) async fn of_piece(db: &mut Db, piece: PieceId) -> Result<Vec<CarriedPart>, StoreError> {
    let cells = carried::cells_of_piece(db, piece).await?;
    let of = |row: Carried| CarriedPart {
        cells: cells.iter().filter(|cell| cell.carried_id == row.id).copied().collect(),
        row,
    };
    Ok(carried::of_piece(db, piece).await?.into_iter().map(of).collect())
}

/// When a pass was recorded, microseconds UTC: by its log's clock, else when it came in.
pub fn recorded_us(row: &PassRow) -> i64 {
    row.wall_start_ns.map_or(row.made_us, |ns| ns / 1000)
}

/// It came in since, and its log's clock does not put it well before.
fn is_fresh(row: &PassRow, from_us: i64) -> bool {
    row.made_us > from_us && recorded_us(row) >= from_us.saturating_sub(GRACE_US)
}

/// Says of each pass of a carried cell where it stands.
pub(super) fn mark(cells: &mut BTreeMap<CellId, CellEvidence>, parts: &[CarriedPart]) {
    for (part, of) in parts.iter().flat_map(|part| part.cells.iter().map(move |cell| (part, cell))) {
        let Some(cell) = cells.get_mut(&of.cell_id) else { continue };
        let from_us = part.row.from_us;
        cell.carried = Some(OfCell { from_us, spot_check: of.spot_check, again: false });
        let any_fresh = cell.passes.iter().any(|pass| pass.row.kept() && is_fresh(&pass.row, from_us));
        for pass in &mut cell.passes {
            pass.age = match (is_fresh(&pass.row, from_us), any_fresh) {
                (true, _) => Age::Fresh,
                (false, false) => Age::Earlier,
                (false, true) => Age::Replaced,
            };
        }
    }
}

/// Marks the cells of parts whose checks say 'run again'. Nothing that is measured depends on it: it asks for passes.
pub(super) fn judge(evidence: &mut Evidence) {
    let again: Vec<CellId> = evidence
        .carried
        .iter()
        .filter(|part| together(evidence, part) == Together::RunAgain)
        .flat_map(|part| part.cells.iter().map(|cell| cell.cell_id))
        .collect();
    for id in again {
        if let Some(of) = evidence.cells.get_mut(&id).and_then(|cell| cell.carried.as_mut()) {
            of.again = true;
        }
    }
}

/// A spot check with what it rests on.
#[derive(Clone, Debug)]
pub struct Checked {
    /// What it says.
    pub check: Check,
    /// What the earlier passes in it say.
    pub earlier: Option<CellValue>,
    /// What the fresh passes in it say.
    pub fresh: Option<CellValue>,
    /// Fresh passes that are not in it, because they did not run in the present state.
    pub elsewhere: usize,
}

/// Holds a carried cell's fresh passes against its earlier ones, on the average frame rate.
pub fn checked(evidence: &Evidence, cell: &CellEvidence) -> Checked {
    let kept = |pass: &&PassEvidence| pass.row.kept();
    let is_earlier = |pass: &&PassEvidence| matches!(pass.age, Age::Earlier | Age::Replaced);
    let earlier = logs(cell.passes.iter().filter(kept).filter(is_earlier));
    let fresh = || cell.passes.iter().filter(kept).filter(|pass| pass.age == Age::Fresh);
    let now = logs(fresh().filter(|pass| is_present(evidence, &pass.row)));
    let noise = evidence.noise(cell, Measure::AverageFps);
    Checked {
        check: check(&earlier, &now, &noise, margin(evidence, cell.kind)),
        earlier: value(&earlier, &noise),
        fresh: value(&now, &noise),
        elsewhere: fresh().count() - now.len(),
    }
}

/// By rig, not by its base: that the base may have changed is part of what is asked.
fn logs<'a>(passes: impl Iterator<Item = &'a PassEvidence>) -> Vec<PassLog> {
    let one = |pass: &PassEvidence| {
        let value = pass.measures.value(Measure::AverageFps)?;
        PassLog::new(value, pass.row.rig_id.0, pass.row.build_id.0, true)
    };
    passes.filter_map(one).collect()
}

/// Whether a pass ran in the present state: the rig's newest base, the scene's newest build, the declared driver.
pub fn is_present(evidence: &Evidence, row: &PassRow) -> bool {
    let registers = &evidence.registers;
    let bases = registers.bases.values().filter(|base| base.fields.rig_id == row.rig_id);
    let base = bases.max_by_key(|base| (base.fields.from_us, base.id)).map(|base| base.id);
    let builds = registers.builds.values().filter(|build| build.fields.scene_id == row.scene_id);
    let build = builds.max_by_key(|build| (build.fields.dated_us, build.id)).map(|build| build.id);
    let driver = evidence.declared.get(&row.part_id);
    base.is_none_or(|base| base == row.rig_base_id)
        && build.is_none_or(|build| build == row.build_id)
        && driver.is_none_or(|driver| *driver == row.driver_id)
}

/// The piece's margin for a kind of scene, a share of 1.
fn margin(evidence: &Evidence, kind: SceneKind) -> f64 {
    let fields = &evidence.piece.fields;
    let permille = match kind {
        SceneKind::BuiltIn | SceneKind::Replay => fields.margin_permille,
        SceneKind::ByHand => fields.hand_margin_permille,
    };
    permille as f64 / 1000.0
}

/// The spot checks of a part, in the order of cells.
pub fn of_part<'a>(
    evidence: &'a Evidence,
    part: &'a CarriedPart,
) -> impl Iterator<Item = (&'a CellEvidence, Checked)> {
    let chosen = part.cells.iter().filter(|cell| cell.spot_check);
    chosen.filter_map(|cell| {
        let cell = evidence.cells.get(&cell.cell_id)?;
        Some((cell, checked(evidence, cell)))
    })
}

/// What all of them say together.
pub fn together(evidence: &Evidence, part: &CarriedPart) -> Together {
    let says: Vec<Says> = of_part(evidence, part).map(|(_, checked)| checked.check.says).collect();
    Together::of(&says)
}

/// The cells that tell most when they are run again, with why.
pub fn proposed(evidence: &Evidence, cells: &[CellId]) -> Vec<(CellId, Why)> {
    let candidate = |id: &CellId| {
        let cell = evidence.cells.get(id)?;
        let passes = cell.passes.iter().filter(|pass| pass.row.kept() && pass.age != Age::Fresh);
        let of = value(&logs(passes), &evidence.noise(cell, Measure::AverageFps))?;
        let (scene, kind) = (cell.cell.of.scene_id.0, cell.kind);
        Some((*id, Candidate { scene, kind, rate: of.value, se: of.ln_se(), margin: margin(evidence, kind) }))
    };
    let (ids, candidates): (Vec<CellId>, Vec<Candidate>) = cells.iter().filter_map(candidate).unzip();
    checks(&candidates).into_iter().filter_map(|(at, why)| Some((*ids.get(at)?, why))).collect()
}

/// What a piece carries over of a tuning.
pub fn of_tuning(evidence: &Evidence, tuning: TuningId) -> Option<&CarriedPart> {
    evidence.carried.iter().find(|part| part.row.tuning_id == tuning)
}

#[cfg(test)]
mod tests;
