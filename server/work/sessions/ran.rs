//! The sessions that were really run, read from the moments of their passes, and whether the rig drifted meanwhile.

use std::collections::BTreeSet;

use weighhouse_measure::measures::Measure;
use weighhouse_measure::plan::drift::{Drift, Scatter, drift};

use super::Controls;
use crate::store::{CellId, PartId, RigId};
use crate::work::evidence::{CellEvidence, Evidence, PassEvidence};

/// One part in a rig between two swaps, as it was run.
#[derive(Clone, Debug, PartialEq)]
pub struct Ran {
    /// The part.
    pub part: PartId,
    /// Label of its unit.
    pub unit: String,
    /// Names of its drivers.
    pub drivers: BTreeSet<String>,
    /// Its passes in their order.
    pub passes: Vec<RanPass>,
    /// Whether all moments are those of the logs; else some are those of their upload.
    pub by_clock: bool,
    /// What became of the control scene; none where it ran less than twice.
    pub drift: Option<Drift>,
    /// From the first to the last pass of the control scene, microseconds.
    pub control_us: i64,
}

/// A pass in the order that was run.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RanPass {
    /// Its cell.
    pub cell: CellId,
    /// Its key.
    pub key: String,
    /// Its number in the cell.
    pub number: i64,
    /// When it began, microseconds UTC.
    pub from_us: i64,
    /// When it ended.
    pub to_us: i64,
    /// Whether it is one of the control scene.
    pub control: bool,
}

impl Ran {
    /// When its first pass began.
    pub fn from_us(&self) -> i64 {
        self.passes.first().map_or(0, |pass| pass.from_us)
    }

    /// When its last pass ended.
    pub fn to_us(&self) -> i64 {
        self.passes.last().map_or(0, |pass| pass.to_us)
    }

    /// Whether the control scene says that the rig drifted.
    pub fn drifted(&self) -> bool {
        self.drift.is_some_and(|drift| drift.found == Some(true))
    }
}

/// The sessions of a rig, oldest first.
pub fn of_rig(evidence: &Evidence, rig: RigId, controls: &Controls) -> Vec<Ran> {
    let mut passes: Vec<(i64, &CellEvidence, &PassEvidence)> = evidence
        .cells
        .values()
        .flat_map(|cell| cell.passes.iter().map(move |pass| (began_us(pass), cell, pass)))
        .filter(|(.., pass)| pass.row.rig_id == rig)
        .collect();
    passes.sort_by_key(|(at_us, _, pass)| (*at_us, pass.row.id));
    passes
        .chunk_by(|(.., a), (.., b)| a.row.unit_id == b.row.unit_id)
        .filter_map(|session| ran(evidence, controls, session))
        .collect()
}

/// By the log's clock, else when it was made a pass.
fn began_us(pass: &PassEvidence) -> i64 {
    pass.row.wall_start_ns.map_or(pass.row.made_us, |ns| ns / 1000)
}

fn ran(
    evidence: &Evidence,
    controls: &Controls,
    session: &[(i64, &CellEvidence, &PassEvidence)],
) -> Option<Ran> {
    let (_, first, one) = session.first()?;
    let part = first.cell.part_id;
    let control = controls.of(part);
    let passes: Vec<RanPass> = session
        .iter()
        .map(|(from_us, cell, pass)| RanPass {
            cell: cell.cell.id,
            key: pass.row.key.clone(),
            number: pass.row.number,
            from_us: *from_us,
            to_us: from_us + pass.row.span_ns / 1000,
            control: control == Some(cell.cell.id),
        })
        .collect();
    let of_control = || passes.iter().filter(|pass| pass.control);
    let ends = of_control().next_back().zip(of_control().next());
    Some(Ran {
        part,
        unit: one.row.unit.clone(),
        drivers: session.iter().map(|(.., pass)| pass.row.driver.clone()).collect(),
        by_clock: session.iter().all(|(.., pass)| pass.row.wall_start_ns.is_some()),
        drift: drifted(evidence, control, session),
        control_us: ends.map_or(0, |(last, first)| last.to_us - first.from_us),
        passes,
    })
}

/// Passes that count, on one driver and build: what the last of them ran on.
fn drifted(
    evidence: &Evidence,
    control: Option<CellId>,
    session: &[(i64, &CellEvidence, &PassEvidence)],
) -> Option<Drift> {
    let cell = evidence.cells.get(&control?)?;
    let counting = || session.iter().filter(|(_, of, pass)| of.cell.id == cell.cell.id && pass.row.kept());
    let (.., last) = counting().next_back()?;
    let like = (last.row.driver_id, last.row.build_id, last.row.rig_base_id);
    let alike = counting().filter(|(.., p)| (p.row.driver_id, p.row.build_id, p.row.rig_base_id) == like);
    let logs: Vec<f64> =
        alike.filter_map(|(.., pass)| Some(evidence.log(cell, pass, Measure::AverageFps)?.ln())).collect();
    let spread = evidence.value(cell, Measure::AverageFps).and_then(|value| value.spread);
    drift(&logs, spread.map(|spread| Scatter { sd: spread.s2.sqrt(), df: spread.df }))
}
