//! How the rigs of a piece agree, or the units of its parts: which reads high, and how far they scatter beyond their
//! passes.
//!
//! Taken over the passes that count, on the driver that the piece declares for their part: a change of driver is no
//! matter of rigs. A rig is its base: the same machine with another processor is another one. Units of a part are held
//! against each other within one rig, by the same numbers.

use std::collections::BTreeMap;

use weighhouse_measure::compare::PassLog;
use weighhouse_measure::compare::rigs::{self, Agreement, Odd, Reading, RigCell};
use weighhouse_measure::measures::Measure;
use weighhouse_measure::stats::consistency::{Mandel, mandel};
use weighhouse_measure::stats::sum::mean;

use super::evidence::{CellEvidence, Evidence, PassEvidence};
use super::{Kind, Refusal, Result};
use crate::store::{CellId, PieceId, RigBaseId, Store};

/// What is held against what.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Among {
    /// Rigs, with whichever unit.
    #[default]
    Rigs,
    /// Units of one part, in one rig.
    Units,
}

/// How rigs or units agree in one measure. Where it says 'rig', a unit is meant when units are held against each other.
#[derive(Clone, Debug, PartialEq)]
pub struct RigCheck {
    /// Rigs or units.
    pub among: Among,
    /// In what.
    pub measure: Measure,
    /// The measures it could be.
    pub measures: Vec<Measure>,
    /// Names of the rigs that the piece's passes ran in, by base; of units, by their ids.
    pub rigs: BTreeMap<i64, String>,
    /// How each rig reads against the others; empty where no cell ran in two.
    pub readings: Vec<Reading>,
    /// Over all cells that ran in several rigs.
    pub agreement: Option<Agreement>,
    /// Those cells.
    pub cells: Vec<CellCheck>,
}

/// A cell that ran in several rigs.
#[derive(Clone, Debug, PartialEq)]
pub struct CellCheck {
    /// Which.
    pub cell: CellId,
    /// The rig in which its units ran; empty where rigs are held against each other.
    pub place: String,
    /// Its rigs.
    pub rigs: Vec<InRig>,
    /// The rig that stands out, said from five rigs on.
    pub odd: Option<Odd>,
}

/// A cell in one rig.
#[derive(Clone, Debug, PartialEq)]
pub struct InRig {
    /// The rig's base, or the unit.
    pub rig: i64,
    /// Geometric mean over its passes there, in the measure's unit.
    pub value: f64,
    /// Passes.
    pub passes: usize,
    /// Mandel's h of its mean.
    pub h: f64,
    /// Mandel's k of its spread; `None` with a single pass.
    pub k: Option<f64>,
}

/// How the rigs or units of a piece agree in the measure with this key (empty: the average).
///
/// # Errors
/// Refused when the piece has gone or does not compare this measure.
pub async fn show(
    store: &Store,
    piece: PieceId,
    among: Among,
    measure: &str,
) -> Result<(Evidence, RigCheck)> {
    let evidence = Evidence::of_piece(store, piece).await?.ok_or_else(|| Refusal::missing("piece", piece))?;
    let measure = match measure {
        "" => Measure::AverageFps,
        key => evidence.compared().into_iter().find(|m| m.key() == key).ok_or_else(|| {
            let says = format!("'{key}' is no measure of this piece.");
            Refusal::new(Kind::Invalid, "Not compared", says, "Choose one in the form of the page.")
        })?,
    };
    let check = check(&evidence, among, measure);
    Ok((evidence, check))
}

/// How the rigs or units agree in one measure.
pub fn check(evidence: &Evidence, among: Among, measure: Measure) -> RigCheck {
    let mut shared: Vec<(&CellEvidence, String, RigCell)> = Vec::new();
    for cell in evidence.cells.values() {
        let all = match among {
            Among::Rigs => vec![(String::new(), evidence.logs(cell, measure))],
            Among::Units => by_unit(evidence, cell, measure),
        };
        for (place, mut passes) in all {
            passes.retain(|pass| pass.declared_driver);
            if passes.iter().any(|pass| pass.rig != passes[0].rig) {
                shared.push((cell, place, RigCell { passes, noise: evidence.noise(cell, measure) }));
            }
        }
    }
    let logs: Vec<&[PassLog]> = shared.iter().map(|(.., rigs)| rigs.passes.as_slice()).collect();
    let cells: Vec<RigCell> = shared.iter().map(|(.., rigs)| rigs.clone()).collect();
    RigCheck {
        among,
        measure,
        measures: evidence.compared().to_vec(),
        rigs: names(evidence, among),
        readings: rigs::readings(&cells),
        agreement: rigs::agreement(&logs),
        cells: shared.iter().filter_map(|(cell, at, rigs)| cell_check(cell, at, &rigs.passes)).collect(),
    }
}

/// Kept passes of a cell by the rig they ran in, each told by its unit.
fn by_unit(evidence: &Evidence, cell: &CellEvidence, measure: Measure) -> Vec<(String, Vec<PassLog>)> {
    let mut rigs: BTreeMap<RigBaseId, (String, Vec<PassLog>)> = BTreeMap::new();
    for pass in cell.kept() {
        let Some(mut log) = evidence.log(cell, pass, measure) else { continue };
        log.rig = pass.row.unit_id.0;
        let of_rig = rigs.entry(pass.row.rig_base_id).or_insert_with(|| (pass.row.rig.clone(), Vec::new()));
        of_rig.1.push(log);
    }
    rigs.into_values().collect()
}

fn names(evidence: &Evidence, among: Among) -> BTreeMap<i64, String> {
    let mut names = BTreeMap::new();
    for cell in evidence.cells.values() {
        let part = evidence.registers.part_name(cell.cell.part_id);
        for PassEvidence { row, .. } in &cell.passes {
            match among {
                Among::Rigs => names.insert(row.rig_base_id.0, row.rig.clone()),
                Among::Units => names.insert(row.unit_id.0, format!("{part}, unit {}", row.unit)),
            };
        }
    }
    names
}

fn cell_check(cell: &CellEvidence, place: &str, passes: &[PassLog]) -> Option<CellCheck> {
    let mut by_rig: BTreeMap<i64, Vec<f64>> = BTreeMap::new();
    passes.iter().for_each(|pass| by_rig.entry(pass.rig).or_default().push(pass.ln()));
    let groups: Vec<&Vec<f64>> = by_rig.values().collect();
    let Mandel { h, k } = mandel(&groups)?;
    let mut rigs = Vec::with_capacity(by_rig.len());
    for ((rig, logs), (h, k)) in by_rig.iter().zip(h.into_iter().zip(k)) {
        rigs.push(InRig { rig: *rig, value: libm::exp(mean(logs)?), passes: logs.len(), h, k });
    }
    Some(CellCheck { cell: cell.cell.id, place: place.to_owned(), rigs, odd: rigs::odd(passes) })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::UnitId;
    use crate::work::made_up::{self, add_cell};

    /// Two scenes in two rigs, a third in one; the second rig reads 1% low.
    fn evidence() -> Evidence {
        let mut evidence = made_up::piece(1, 3);
        for (scene, level) in [(1, 100.0), (2, 240.0)] {
            let averages: Vec<f64> =
                [1.0, 1.001, 0.999, 0.99, 0.991, 0.989].map(|share| share * level).to_vec();
            let id = add_cell(&mut evidence, 1, scene, &averages);
            for pass in evidence.cells.get_mut(&id).unwrap().passes.iter_mut().skip(3) {
                pass.row.rig_base_id = RigBaseId(2);
                pass.row.rig = "birch".to_owned();
            }
        }
        add_cell(&mut evidence, 1, 3, &[60.0, 61.0]);
        evidence
    }

    #[test]
    fn the_rig_that_reads_low_is_named_with_its_interval() {
        let check = check(&evidence(), Among::Rigs, Measure::AverageFps);
        let birch = check.readings.iter().find(|r| check.rigs[&r.rig] == "birch").unwrap();
        assert!((birch.ratio - 0.99).abs() < 1e-4, "{}", birch.ratio);
        assert!(birch.bounds.unwrap().interval.high < 1.0);
        assert_eq!((birch.cells, birch.passes, check.cells.len()), (2, 6, 2));
        let agreement = check.agreement.unwrap();
        assert!((0.005..0.009).contains(&agreement.between), "{}", agreement.between);
        assert!(agreement.repeatability < 0.0015);
    }

    #[test]
    fn units_are_held_against_each_other_within_one_rig() {
        let mut evidence = evidence();
        let cell = evidence.cells.values_mut().next().unwrap();
        // Three passes in each rig: in the first rig the third one ran another unit, in the second rig all ran one.
        cell.passes[2].row.unit_id = UnitId(7);
        cell.passes[2].row.unit = "B".to_owned();
        let check = check(&evidence, Among::Units, Measure::AverageFps);
        assert_eq!(check.cells.len(), 1, "the other rig ran one unit, the other cells too");
        assert_eq!(check.cells[0].rigs.iter().map(|one| one.passes).collect::<Vec<_>>(), [2, 1]);
        assert!(check.rigs[&7].ends_with("unit B"), "{:?}", check.rigs);
        // 100 and 100.1 against 99.9 fps.
        let other = check.readings.iter().find(|reading| reading.rig == 7).unwrap();
        assert!((other.ratio - 99.9 / libm::sqrt(100.0 * 100.1)).abs() < 1e-9, "{}", other.ratio);
    }

    #[test]
    fn passes_on_another_driver_say_nothing_of_rigs() {
        let mut evidence = evidence();
        evidence.declared.clear();
        let check = check(&evidence, Among::Rigs, Measure::AverageFps);
        assert!(check.readings.is_empty() && check.cells.is_empty() && check.agreement.is_none());
    }
}
