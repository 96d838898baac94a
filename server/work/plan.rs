//! The coverage board of a piece: what each cell has, what its value is by now, what is missing and how long it takes.

use std::collections::{BTreeMap, BTreeSet};

use weighhouse_measure::compare::cell::CellValue;
use weighhouse_measure::measures::Measure;
use weighhouse_measure::screens::notices::NoticeKind;

use super::cells::Axes;
use super::evidence::{CellEvidence, Evidence};
use super::pieces::{missing, wanted};
use super::reruns::{self, Rerun};
use super::{Refusal, Result};
use crate::store::{CellId, PieceId, Store};

/// Reasons why cells do not run: offered, never filled in.
pub const USUAL_REASONS: [&str; 5] = [
    "out of memory",
    "crashes at the start",
    "crashes during the pass",
    "the part lacks a feature of this setting",
    "the driver refuses the game",
];

/// The coverage board.
#[derive(Clone, Debug)]
pub struct Board {
    /// What it rests on.
    pub evidence: Evidence,
    /// The measure that is shown.
    pub measure: Measure,
    /// Columns and rows.
    pub axes: Axes,
    /// What each cell shows.
    pub spots: BTreeMap<CellId, Spot>,
    /// Notices that all cells with passes have: said once.
    pub said_once: Vec<NoticeKind>,
    /// Missing passes, in the order of the columns: a part is swapped once.
    pub missing: Vec<(CellId, usize)>,
    /// Passes that are to be run again, and what took their place.
    pub reruns: Vec<Rerun>,
    /// How long the missing passes take, ns, as long as those that are there; `None` where nothing is there.
    pub bench_ns: Option<i64>,
}

/// What a cell shows.
#[derive(Clone, Debug)]
pub struct Spot {
    /// Value of the measure over its kept passes.
    pub value: Option<CellValue>,
    /// Passes wanted further for the piece's precision: expected, and to be sure.
    pub more: Option<(u32, u32)>,
    /// Passes missing up to the wanted number.
    pub missing: usize,
    /// Notices on its kept passes.
    pub notices: BTreeSet<NoticeKind>,
    /// What its kept passes mix that should be alike.
    pub mixes: Vec<Mix>,
}

impl Spot {
    /// Whether no count of passes that anybody runs reaches the precision.
    pub fn out_of_reach(&self) -> bool {
        self.more.is_none() && self.value.as_ref().is_some_and(|value| value.spread.is_some())
    }
}

/// What the kept passes of a cell mix.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Mix {
    /// Some ran on a driver that is not the declared one.
    UndeclaredDriver,
    /// The piece declares no driver for the part.
    NoDriverDeclared,
    /// They ran on so many builds of the game.
    Builds(usize),
    /// They ran in so many rigs.
    Rigs(usize),
    /// One rig changed between them: so many of its bases.
    Bases(usize),
}

/// Reads the board of a piece for its low, or for the average frame rate.
///
/// # Errors
/// Refused when there is no such piece.
pub async fn read(store: &Store, piece: PieceId, low: bool) -> Result<Board> {
    let evidence = Evidence::of_piece(store, piece).await?.ok_or_else(|| Refusal::missing("piece", piece))?;
    let reruns = reruns::of_piece(store, &evidence).await?;
    Ok(Board { reruns, ..board(evidence, low) })
}

/// The board of this evidence, without its passes to run again.
pub fn board(evidence: Evidence, low: bool) -> Board {
    let measure = if low { evidence.low() } else { Measure::AverageFps };
    let baseline = evidence.piece.fields.baseline_part_id.map(|part| part.0);
    let axes = Axes::of(evidence.cells.values().map(|cell| &cell.cell), baseline);
    let mut spots: BTreeMap<CellId, Spot> =
        evidence.cells.iter().map(|(id, cell)| (*id, spot(&evidence, cell, measure))).collect();
    let said_once = shared(&spots);
    for spot in spots.values_mut() {
        spot.notices.retain(|kind| !said_once.contains(kind));
    }
    let missing: Vec<(CellId, usize)> = in_order(&evidence, &axes)
        .filter_map(|cell| Some((cell, spots.get(&cell)?.missing)).filter(|(_, passes)| *passes > 0))
        .collect();
    let bench_ns = bench(&evidence, &missing);
    Board { evidence, measure, axes, spots, said_once, missing, reruns: Vec::new(), bench_ns }
}

/// Cells by column, then by row.
fn in_order<'a>(evidence: &'a Evidence, axes: &'a Axes) -> impl Iterator<Item = CellId> + 'a {
    axes.columns.iter().flat_map(move |tuning| {
        let cells =
            axes.rows.iter().filter_map(move |(scene, setting)| evidence.cell_of(*tuning, *scene, *setting));
        cells.map(|cell| cell.cell.id)
    })
}

fn spot(evidence: &Evidence, cell: &CellEvidence, measure: Measure) -> Spot {
    let wanted_more = evidence.wanted(cell, measure);
    Spot {
        value: evidence.value(cell, measure),
        more: wanted_more.map(|wanted| (wanted.more_expected(), wanted.more_guaranteed())),
        missing: missing(cell, wanted(&evidence.piece)),
        notices: cell
            .kept()
            .flat_map(|pass| evidence.notices(cell, pass))
            .map(|notice| notice.kind)
            // Of lows alone.
            .filter(|kind| *kind != NoticeKind::FewFramesForLow || measure == evidence.low())
            .collect(),
        mixes: mixes(evidence, cell),
    }
}

fn mixes(evidence: &Evidence, cell: &CellEvidence) -> Vec<Mix> {
    let count =
        |of: fn(&super::evidence::PassEvidence) -> i64| cell.kept().map(of).collect::<BTreeSet<_>>().len();
    let mut found = Vec::new();
    match evidence.declared.get(&cell.cell.part_id) {
        Some(driver) if cell.kept().any(|p| !cell.declares(p) && p.row.driver_id != *driver) => {
            found.push(Mix::UndeclaredDriver)
        }
        None if cell.kept().next().is_some() => found.push(Mix::NoDriverDeclared),
        _ => {}
    }
    let (builds, rigs) = (count(|pass| pass.row.build_id.0), count(|pass| pass.row.rig_id.0));
    let bases = count(|pass| pass.row.rig_base_id.0);
    if builds > 1 {
        found.push(Mix::Builds(builds));
    }
    if rigs > 1 {
        found.push(Mix::Rigs(rigs));
    } else if bases > 1 {
        found.push(Mix::Bases(bases));
    }
    found
}

/// Notices that each cell with passes has; where there is one such cell, it says its own.
fn shared(spots: &BTreeMap<CellId, Spot>) -> Vec<NoticeKind> {
    let with: Vec<&Spot> = spots.values().filter(|spot| spot.value.is_some()).collect();
    let all = |kind: &NoticeKind| with.len() > 1 && with.iter().all(|spot| spot.notices.contains(kind));
    NoticeKind::ALL.into_iter().filter(all).collect()
}

/// Length of the missing passes.
fn bench(evidence: &Evidence, missing: &[(CellId, usize)]) -> Option<i64> {
    let mut ns = 0_i64;
    for (id, passes) in missing {
        let Some(cell) = evidence.cells.get(id) else { continue };
        let one = recording_ns(evidence, cell)?;
        ns = ns.saturating_add(one.saturating_mul(i64::try_from(*passes).unwrap_or(i64::MAX)));
    }
    evidence.passes().next().map(|_| ns)
}

/// How long a recording of a cell takes, ns: as its passes do, else its scene's, else all on average. `None` where
/// nothing is recorded yet.
pub fn recording_ns(evidence: &Evidence, cell: &CellEvidence) -> Option<i64> {
    let mean = |spans: Vec<i64>| {
        let n = i64::try_from(spans.len()).ok().filter(|n| *n > 0)?;
        Some(spans.iter().sum::<i64>() / n)
    };
    let scene = cell.cell.of.scene_id;
    mean(cell.passes.iter().map(|pass| pass.row.span_ns).collect())
        .or_else(|| {
            let of_scene = evidence.passes().filter(|pass| pass.row.scene_id == scene);
            mean(of_scene.map(|pass| pass.row.span_ns).collect())
        })
        .or_else(|| mean(evidence.passes().map(|pass| pass.row.span_ns).collect()))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::registers::cells::Cell;
    use crate::work::made_up;

    fn with(cells: &[(i64, i64, &[f64])]) -> (Evidence, Vec<CellId>) {
        let mut evidence = made_up::piece(2, 2);
        let ids = cells
            .iter()
            .map(|(part, scene, averages)| made_up::add_cell(&mut evidence, *part, *scene, averages));
        let ids = ids.collect();
        (evidence, ids)
    }

    #[test]
    fn what_is_missing_is_listed_part_by_part_and_not_where_it_did_not_run() {
        let (mut evidence, ids) = with(&[(1, 1, &[100.0]), (2, 1, &[]), (1, 2, &[]), (2, 2, &[])]);
        let last = evidence.cells.get_mut(&ids[3]).unwrap();
        last.cell = Cell { did_not_run: "out of memory".to_owned(), ..last.cell.clone() };
        let board = board(evidence, false);
        assert_eq!(board.missing, [(ids[0], 2), (ids[2], 3), (ids[1], 3)]);
        assert_eq!(board.spots[&ids[3]].missing, 0);
    }

    #[test]
    fn missing_passes_take_as_long_as_those_that_are_there() {
        let (mut evidence, ids) = with(&[(1, 1, &[100.0]), (2, 1, &[])]);
        evidence.cells.get_mut(&ids[0]).unwrap().passes[0].row.span_ns = 60_000_000_000;
        assert_eq!(board(evidence, false).bench_ns, Some(5 * 60_000_000_000));
        assert_eq!(board(with(&[(1, 1, &[])]).0, false).bench_ns, None);
    }

    #[test]
    fn a_cell_says_what_it_mixes() {
        let (mut evidence, ids) = with(&[(1, 1, &[100.0, 101.0, 102.0])]);
        let passes = &mut evidence.cells.get_mut(&ids[0]).unwrap().passes;
        passes[1].row.build_id.0 += 1;
        passes[2].row.rig_id.0 += 1;
        passes[2].row.rig_base_id.0 += 1;
        passes[2].row.driver_id.0 += 1;
        let mixes = |evidence: &Evidence| board(evidence.clone(), false).spots[&ids[0]].mixes.clone();
        assert_eq!(mixes(&evidence), [Mix::UndeclaredDriver, Mix::Builds(2), Mix::Rigs(2)]);
        evidence.declared.clear();
        assert_eq!(mixes(&evidence)[0], Mix::NoDriverDeclared);
    }

    #[test]
    fn a_notice_that_all_cells_have_is_said_once() {
        let (evidence, ids) = with(&[(1, 1, &[100.0]), (2, 1, &[120.0])]);
        let all = board(evidence, false);
        assert!(all.said_once.contains(&NoticeKind::OnePass));
        assert!(!all.spots[&ids[0]].notices.contains(&NoticeKind::OnePass));
        let (evidence, ids) = with(&[(1, 1, &[100.0]), (2, 1, &[120.0, 121.0])]);
        let some = board(evidence, false);
        assert_eq!(some.said_once.iter().filter(|kind| **kind == NoticeKind::OnePass).count(), 0);
        assert!(some.spots[&ids[0]].notices.contains(&NoticeKind::OnePass));
    }

    /// The half width that [`weighhouse_measure::compare::passes`] is tested against NIST and Stein.
    #[test]
    fn more_passes_are_wanted_where_they_scatter() {
        let (evidence, ids) = with(&[(1, 1, &[100.0, 104.0, 96.0]), (2, 1, &[100.0, 100.01, 99.99])]);
        let board = board(evidence, false);
        assert!(board.spots[&ids[0]].more.is_none_or(|(expected, sure)| expected > 0 && sure >= expected));
        assert_eq!(board.spots[&ids[1]].more, Some((0, 0)));
    }
}
