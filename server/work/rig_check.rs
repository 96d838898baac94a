//! How the rigs of a piece agree: which reads high, and how far rigs scatter beyond their passes.
//!
//! Taken over the passes that count, on the driver that the piece declares for their part: a change of driver is no
//! matter of rigs. A rig is its base: the same machine with another processor is another one.

use std::collections::BTreeMap;

use weighhouse_measure::compare::PassLog;
use weighhouse_measure::compare::rigs::{self, Agreement, Odd, Reading, RigCell};
use weighhouse_measure::measures::Measure;
use weighhouse_measure::stats::consistency::{Mandel, mandel};
use weighhouse_measure::stats::sum::mean;

use super::evidence::{CellEvidence, Evidence};
use super::{Kind, Refusal, Result};
use crate::store::{CellId, PieceId, RigBaseId, Store};

/// How rigs agree in one measure.
#[derive(Clone, Debug, PartialEq)]
pub struct RigCheck {
    /// In what.
    pub measure: Measure,
    /// The measures it could be.
    pub measures: Vec<Measure>,
    /// Names of the rigs that the piece's passes ran in, by base.
    pub rigs: BTreeMap<RigBaseId, String>,
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
    /// Its rigs.
    pub rigs: Vec<InRig>,
    /// The rig that stands out, said from five rigs on.
    pub odd: Option<Odd>,
}

/// A cell in one rig.
#[derive(Clone, Debug, PartialEq)]
pub struct InRig {
    /// The rig.
    pub rig: RigBaseId,
    /// Geometric mean over its passes there, in the measure's unit.
    pub value: f64,
    /// Passes.
    pub passes: usize,
    /// Mandel's h of its mean.
    pub h: f64,
    /// Mandel's k of its spread; `None` with a single pass.
    pub k: Option<f64>,
}

/// How the rigs of a piece agree in the measure with this key (empty: the average).
///
/// # Errors
/// Refused when the piece has gone or does not compare this measure.
pub async fn show(store: &Store, piece: PieceId, measure: &str) -> Result<(Evidence, RigCheck)> {
    let evidence = Evidence::of_piece(store, piece).await?.ok_or_else(|| Refusal::missing("piece", piece))?;
    let measure = match measure {
        "" => Measure::AverageFps,
        key => evidence.compared().into_iter().find(|m| m.key() == key).ok_or_else(|| {
            let says = format!("'{key}' is no measure of this piece.");
            Refusal::new(Kind::Invalid, "Not compared", says, "Choose one in the form of the page.")
        })?,
    };
    let check = check(&evidence, measure);
    Ok((evidence, check))
}

/// How the rigs agree in one measure.
pub fn check(evidence: &Evidence, measure: Measure) -> RigCheck {
    let shared: Vec<(&CellEvidence, RigCell)> = evidence
        .cells
        .values()
        .map(|cell| (cell, declared(evidence, cell, measure)))
        .filter(|(_, rigs)| rigs.passes.iter().any(|pass| pass.rig != rigs.passes[0].rig))
        .collect();
    let logs: Vec<&[PassLog]> = shared.iter().map(|(_, rigs)| rigs.passes.as_slice()).collect();
    let cells: Vec<RigCell> = shared.iter().map(|(_, rigs)| rigs.clone()).collect();
    RigCheck {
        measure,
        measures: evidence.compared().to_vec(),
        rigs: evidence.passes().map(|pass| (pass.row.rig_base_id, pass.row.rig.clone())).collect(),
        readings: rigs::readings(&cells),
        agreement: rigs::agreement(&logs),
        cells: shared.iter().filter_map(|(cell, rigs)| cell_check(cell, &rigs.passes)).collect(),
    }
}

fn declared(evidence: &Evidence, cell: &CellEvidence, measure: Measure) -> RigCell {
    let logs = evidence.logs(cell, measure);
    RigCell {
        passes: logs.into_iter().filter(|pass| pass.declared_driver).collect(),
        noise: evidence.noise(cell, measure),
    }
}

fn cell_check(cell: &CellEvidence, passes: &[PassLog]) -> Option<CellCheck> {
    let mut by_rig: BTreeMap<i64, Vec<f64>> = BTreeMap::new();
    passes.iter().for_each(|pass| by_rig.entry(pass.rig).or_default().push(pass.ln()));
    let groups: Vec<&Vec<f64>> = by_rig.values().collect();
    let Mandel { h, k } = mandel(&groups)?;
    let mut rigs = Vec::with_capacity(by_rig.len());
    for ((rig, logs), (h, k)) in by_rig.iter().zip(h.into_iter().zip(k)) {
        rigs.push(InRig { rig: RigBaseId(*rig), value: libm::exp(mean(logs)?), passes: logs.len(), h, k });
    }
    Some(CellCheck { cell: cell.cell.id, rigs, odd: rigs::odd(passes) })
}

#[cfg(test)]
mod tests {
    use super::*;
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
        let check = check(&evidence(), Measure::AverageFps);
        let birch = check.readings.iter().find(|r| check.rigs[&RigBaseId(r.rig)] == "birch").unwrap();
        assert!((birch.ratio - 0.99).abs() < 1e-4, "{}", birch.ratio);
        assert!(birch.bounds.unwrap().interval.high < 1.0);
        assert_eq!((birch.cells, birch.passes, check.cells.len()), (2, 6, 2));
        let agreement = check.agreement.unwrap();
        assert!((0.005..0.009).contains(&agreement.between), "{}", agreement.between);
        assert!(agreement.repeatability < 0.0015);
    }

    #[test]
    fn passes_on_another_driver_say_nothing_of_rigs() {
        let mut evidence = evidence();
        evidence.declared.clear();
        let check = check(&evidence, Measure::AverageFps);
        assert!(check.readings.is_empty() && check.cells.is_empty() && check.agreement.is_none());
    }
}
