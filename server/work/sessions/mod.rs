//! Bench sessions of a piece: what is missing, made into sessions for each rig, and the sessions that were run.
//!
//! A scene at a setting is run in the rig where most of its passes ran, so that like is compared with like. The control
//! scene is the one that most parts run at stock, a built-in run before a replay before one played by hand, and of
//! those the one that scatters least by the piece's noise prior.

pub mod board;
mod costs;
mod drifted;
pub mod ran;

use std::collections::{BTreeMap, BTreeSet};

use weighhouse_measure::compare::SceneKind;
use weighhouse_measure::measures::Measure;
use weighhouse_measure::plan::sessions::{self, Ask, Control, InRig, Need, Plan};

use super::cells::Axes;
use super::evidence::{CellEvidence, Evidence};
use super::once::By;
use super::people;
use super::pieces::{missing, wanted};
use super::plan::recording_ns;
use super::{Kind, Refusal, Result};
use crate::chance::{Chance, Token};
use crate::clock::US_PER_S;
use crate::store::bench::{self, Board, CostFields};
use crate::store::registers::rigs::{self, Rig};
use crate::store::registers::tunings::STOCK;
use crate::store::{BoardId, CellId, PartId, PieceId, RigId, SceneId, SettingId, Store, StoreError};
pub use costs::{COST_FIELDS, keep_costs, minutes, texts, typed_costs};
use costs::{planned, usual};
pub use drifted::drifted;
use ran::Ran;

/// A rig is warm for so long after a pass.
const WARM_US: i64 = 30 * 60 * US_PER_S;
/// A longer pause begins another stretch of work.
const STRETCH_US: i64 = 8 * 3600 * US_PER_S;
/// Length of a recording where nothing is recorded yet.
const USUAL_RECORDING_S: u32 = 60;

/// The bench of a piece.
#[derive(Clone, Debug)]
pub struct Bench {
    /// What it rests on.
    pub evidence: Evidence,
    /// The moment it was planned for, microseconds UTC.
    pub now_us: i64,
    /// What steps take.
    pub costs: CostFields,
    /// For stale forms; 0 while they are the program's own.
    pub costs_version: i64,
    /// The control scene.
    pub controls: Controls,
    /// Rigs with something to run, or where something ran.
    pub rigs: Vec<RigBench>,
    /// All rigs.
    pub all_rigs: Vec<Rig>,
    /// Boards that still open.
    pub boards: Vec<Board>,
}

/// The bench of one rig.
#[derive(Clone, Debug, PartialEq)]
pub struct RigBench {
    /// The rig.
    pub rig: RigId,
    /// Its name.
    pub name: String,
    /// What is to be run.
    pub plan: Plan,
    /// What was run.
    pub ran: Vec<Ran>,
}

/// The control scene, and its cell of each part at stock.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Controls {
    /// Scene and setting.
    pub row: Option<(SceneId, SettingId)>,
    cells: BTreeMap<PartId, CellId>,
}

impl Controls {
    /// The control cell of a part.
    pub fn of(&self, part: PartId) -> Option<CellId> {
        self.cells.get(&part).copied()
    }
}

/// Reads the bench of a piece.
///
/// # Errors
/// Refused when there is no such piece.
pub async fn read(store: &Store, piece: PieceId) -> Result<Bench> {
    let evidence = Evidence::of_piece(store, piece).await?.ok_or_else(|| Refusal::missing("piece", piece))?;
    let mut db = store.read().await?;
    let all_rigs = rigs::all(&mut db).await?;
    let kept = bench::costs(&mut db).await?;
    let boards = bench::boards_of(&mut db, piece).await?;
    drop(db);
    let costs = kept.map_or_else(usual, |kept| kept.fields);
    let now_us = store.clock().now_us();
    let controls = controls(&evidence);
    let rigs = of_rigs(&evidence, &all_rigs, &controls, costs, now_us);
    let costs_version = kept.map_or(0, |kept| kept.version);
    Ok(Bench { evidence, now_us, costs, costs_version, controls, rigs, all_rigs, boards })
}

fn is_stock(evidence: &Evidence, cell: &CellEvidence) -> bool {
    evidence.registers.tunings.get(&cell.cell.of.tuning_id).is_some_and(|t| t.fields.name == STOCK)
}

fn row_of(cell: &CellEvidence) -> (SceneId, SettingId) {
    (cell.cell.of.scene_id, cell.cell.of.setting_id)
}

/// The control scene of a piece.
pub fn controls(evidence: &Evidence) -> Controls {
    let mut rows: BTreeMap<(SceneId, SettingId), Vec<&CellEvidence>> = BTreeMap::new();
    for cell in evidence.cells.values().filter(|c| c.cell.did_not_run.is_empty() && is_stock(evidence, c)) {
        rows.entry(row_of(cell)).or_default().push(cell);
    }
    let kind = |cells: &[&CellEvidence]| {
        cells.first().map_or(3, |cell| match cell.kind {
            SceneKind::BuiltIn => 0,
            SceneKind::Replay => 1,
            SceneKind::ByHand => 2,
        })
    };
    // By the prior that was kept: what comes in during a session must not move its control scene.
    let scatter = |cells: &[&CellEvidence]| {
        let scene = cells.first().and_then(|cell| evidence.noise(cell, Measure::AverageFps).scene);
        scene.map_or(f64::INFINITY, |scene| scene.s2)
    };
    let best = rows.into_iter().min_by(|(a_row, a), (b_row, b)| {
        b.len()
            .cmp(&a.len())
            .then(kind(a).cmp(&kind(b)))
            .then(scatter(a).total_cmp(&scatter(b)))
            .then(a_row.cmp(b_row))
    });
    best.map_or_else(Controls::default, |(row, cells)| Controls {
        row: Some(row),
        cells: cells.iter().map(|cell| (cell.cell.part_id, cell.cell.id)).collect(),
    })
}

fn of_rigs(
    evidence: &Evidence,
    rigs: &[Rig],
    controls: &Controls,
    costs: CostFields,
    now_us: i64,
) -> Vec<RigBench> {
    let homes = Homes::of(evidence, rigs);
    let mut out = Vec::new();
    for rig in rigs {
        let ran = ran::of_rig(evidence, rig.id, controls);
        let plan = plan(evidence, &homes, rig.id, controls, &ran, (costs, now_us));
        if !ran.is_empty() || !plan.sessions.is_empty() || !plan.left_out.is_empty() {
            out.push(RigBench { rig: rig.id, name: rig.fields.name.clone(), plan, ran });
        }
    }
    out
}

/// In which rig each scene at a setting is run.
struct Homes {
    rows: BTreeMap<(SceneId, SettingId), RigId>,
    usual: Option<RigId>,
}

impl Homes {
    fn of(evidence: &Evidence, rigs: &[Rig]) -> Self {
        let mut counts: BTreeMap<(SceneId, SettingId), BTreeMap<RigId, usize>> = BTreeMap::new();
        let mut all: BTreeMap<RigId, usize> = BTreeMap::new();
        for cell in evidence.cells.values() {
            for pass in cell.kept() {
                *counts.entry(row_of(cell)).or_default().entry(pass.row.rig_id).or_default() += 1;
                *all.entry(pass.row.rig_id).or_default() += 1;
            }
        }
        // Of equal ones the rig that was entered first.
        let most = |counts: &BTreeMap<RigId, usize>| {
            counts.iter().max_by_key(|(rig, n)| (**n, std::cmp::Reverse(**rig))).map(|(rig, _)| *rig)
        };
        Homes {
            rows: counts.iter().filter_map(|(row, counts)| Some((*row, most(counts)?))).collect(),
            usual: most(&all).or_else(|| rigs.iter().map(|rig| rig.id).min()),
        }
    }

    fn of_row(&self, row: (SceneId, SettingId)) -> Option<RigId> {
        self.rows.get(&row).copied().or(self.usual)
    }
}

fn plan(
    evidence: &Evidence,
    homes: &Homes,
    rig: RigId,
    controls: &Controls,
    ran: &[Ran],
    (costs, now_us): (CostFields, i64),
) -> Plan {
    let baseline = evidence.piece.fields.baseline_part_id;
    let axes = Axes::of(evidence.cells.values().map(|cell| &cell.cell), baseline.map(|part| part.0));
    let wanted = wanted(&evidence.piece);
    let place = |cell: &CellEvidence| axes.rows.iter().position(|row| *row == row_of(cell)).unwrap_or(0);
    let needs: Vec<Need> = axes
        .columns
        .iter()
        .flat_map(|tuning| evidence.cells.values().filter(move |cell| cell.cell.of.tuning_id == *tuning))
        .filter(|cell| homes.of_row(row_of(cell)) == Some(rig))
        .filter_map(|cell| need(evidence, cell, place(cell), missing(cell, wanted)))
        .collect();
    let mut seen = BTreeSet::new();
    let parts: Vec<i64> = needs.iter().map(|need| need.part).filter(|part| seen.insert(*part)).collect();
    let control = |(part, cell): (&PartId, &CellId)| control(evidence, *part, evidence.cells.get(cell)?);
    let drivers: Vec<(i64, String)> = evidence
        .declared
        .iter()
        .filter_map(|(part, driver)| {
            Some((part.0, evidence.registers.drivers.get(driver)?.fields.name.clone()))
        })
        .collect();
    sessions::plan(&Ask {
        needs: &needs,
        parts: &parts,
        controls: &controls.cells.iter().filter_map(control).collect::<Vec<_>>(),
        drivers: &drivers,
        now: in_rig(ran, now_us).as_ref(),
        began: began(ran, now_us),
        places: axes.rows.len(),
        wanted: u32::try_from(wanted).unwrap_or(1),
        costs: planned(costs),
        left_s: evidence.piece.fields.deadline_us.map(|due_us| ((due_us - now_us) / US_PER_S).max(0)),
    })
}

fn need(evidence: &Evidence, cell: &CellEvidence, place: usize, missing: usize) -> Option<Need> {
    let passes = u32::try_from(missing).ok().filter(|passes| *passes > 0)?;
    Some(Need {
        cell: cell.cell.id.0,
        part: cell.cell.part_id.0,
        tuning: cell.cell.of.tuning_id.0,
        stock: is_stock(evidence, cell),
        loads: (cell.cell.of.scene_id.0, cell.cell.of.setting_id.0),
        place,
        done: done(cell),
        passes,
        recording_s: recording_s(evidence, cell),
    })
}

/// Passes are numbered on, those that were ruled out too.
fn done(cell: &CellEvidence) -> u32 {
    let last = cell.passes.iter().map(|pass| pass.row.number).max();
    u32::try_from(last.unwrap_or(0)).unwrap_or(0)
}

fn recording_s(evidence: &Evidence, cell: &CellEvidence) -> u32 {
    let ns = recording_ns(evidence, cell);
    ns.and_then(|ns| u32::try_from(ns / 1_000_000_000).ok()).unwrap_or(USUAL_RECORDING_S)
}

fn control(evidence: &Evidence, part: PartId, cell: &CellEvidence) -> Option<Control> {
    Some(Control {
        cell: cell.cell.id.0,
        part: part.0,
        tuning: cell.cell.of.tuning_id.0,
        loads: (cell.cell.of.scene_id.0, cell.cell.of.setting_id.0),
        done: done(cell),
        recording_s: recording_s(evidence, cell),
    })
}

/// What a rig holds, by the last session in it.
fn in_rig(ran: &[Ran], now_us: i64) -> Option<InRig> {
    let last = ran.last()?;
    let warm = now_us - last.to_us() < WARM_US;
    // Since the rig was last cold.
    let cold = last.passes.windows(2).rposition(|two| two[1].from_us - two[0].to_us >= WARM_US);
    let since = last.passes.get(cold.map_or(0, |at| at + 1)..).unwrap_or_default();
    let others = since.iter().any(|pass| !pass.control);
    Some(InRig {
        part: last.part.0,
        driver: last.drivers.iter().next_back().cloned().unwrap_or_default(),
        warm,
        control: since.iter().any(|pass| pass.control),
        ended: others && since.last().is_some_and(|pass| pass.control),
    })
}

/// The part that the present stretch of work began with.
fn began(ran: &[Ran], now_us: i64) -> Option<i64> {
    let mut next_us = now_us;
    let mut first = None;
    for session in ran.iter().rev() {
        if next_us - session.to_us() > STRETCH_US {
            break;
        }
        (first, next_us) = (Some(session.part.0), session.from_us());
    }
    first
}

/// Makes a board of a rig for a piece: its token, shown once.
///
/// # Errors
/// Refused when there is no such rig.
pub async fn make_board(
    store: &Store,
    chance: &Chance,
    by: impl Into<By>,
    piece: PieceId,
    rig: RigId,
) -> Result<Token> {
    people::secret(store, chance, by.into(), async move |tx, hash| {
        if rigs::by_id(tx, rig).await?.is_none() {
            return Err(
                Refusal::field("rig", format!("There is no rig {rig}: choose one of the list.")).into()
            );
        }
        bench::add_board(tx, piece, rig, hash).await?;
        Ok(())
    })
    .await
}

/// Takes a board back.
///
/// # Errors
/// Refused when it was taken back already.
pub async fn revoke_board(store: &Store, by: impl Into<By>, piece: PieceId, id: BoardId) -> Result<()> {
    by.into()
        .write(store, async move |tx| match bench::revoke_board(tx, piece, id).await {
            Err(StoreError::Stale) => Err(Refusal::new(
                Kind::Clash,
                "Nothing to take back",
                "This board was taken back already.",
                "Open the page again.",
            )
            .into()),
            other => Ok(other?),
        })
        .await
}

#[cfg(test)]
mod tests;
