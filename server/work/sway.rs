//! How far figures hang on one pass: what leaving it out does to the values of its cell.

use weighhouse_measure::compare::PassLog;
use weighhouse_measure::compare::cell;
use weighhouse_measure::compare::noise::Local;
use weighhouse_measure::measures::Measure;

use super::evidence::{CellEvidence, Evidence, PassEvidence};

/// By how much leaving a pass out moves its cell's values: shares, never negative, since the direction would tell whom
/// a ruling helps. `None` where nothing would be left. Whether the pass counts now is no matter.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sway {
    /// Of the average frame rate.
    pub average: Option<f64>,
    /// Of the low that the piece declares.
    pub low: Option<f64>,
}

impl Sway {
    /// The larger of the two.
    pub fn most(self) -> Option<f64> {
        self.average.into_iter().chain(self.low).reduce(f64::max)
    }
}

/// What leaving the pass out does.
pub fn sway(evidence: &Evidence, cell: &CellEvidence, pass: &PassEvidence) -> Sway {
    let of = |measure| Some(libm::expm1(log_ratio(evidence, cell, pass, measure)?.abs()));
    Sway { average: of(Measure::AverageFps), low: of(evidence.low()) }
}

/// Which measure leaving the pass out moves most, and the ratio of it without the pass to it with the pass: to be told
/// only once the pass is ruled.
pub fn way(evidence: &Evidence, cell: &CellEvidence, pass: &PassEvidence) -> Option<(Measure, f64)> {
    let of = |measure| Some((measure, log_ratio(evidence, cell, pass, measure)?));
    let moved = [Measure::AverageFps, evidence.low()].into_iter().filter_map(of);
    let most = moved.max_by(|(_, a), (_, b)| a.abs().total_cmp(&b.abs()));
    most.filter(|(_, log)| *log != 0.0).map(|(measure, log)| (measure, libm::exp(log)))
}

/// Logarithm of the cell's value without the pass over that with it.
fn log_ratio(evidence: &Evidence, cell: &CellEvidence, pass: &PassEvidence, measure: Measure) -> Option<f64> {
    let others = cell.kept().filter(|one| one.row.id != pass.row.id);
    let mut logs: Vec<PassLog> = others.filter_map(|one| evidence.log(cell, one, measure)).collect();
    let centre = |logs: &[PassLog]| cell::value(logs, &Local::default()).map(|cell| cell.value);
    let without = centre(&logs)?;
    logs.push(evidence.log(cell, pass, measure)?);
    Some(libm::log(without / centre(&logs)?))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::work::made_up;

    fn of(averages: &[f64]) -> Option<f64> {
        let mut evidence = made_up::piece(1, 1);
        let id = made_up::add_cell(&mut evidence, 1, 1, averages);
        let cell = &evidence.cells[&id];
        sway(&evidence, cell, &cell.passes[0]).average
    }

    /// Geometric means by hand: 100 of (90, 100, 111.11..) against 105.41 of the last two.
    #[test]
    fn leaving_a_pass_out_moves_its_cell_by_so_much_whichever_way() {
        let low = of(&[90.0, 100.0, 1000.0 / 9.0]).unwrap();
        assert!((low - 0.054_092_553).abs() < 1e-8, "{low}");
        let high = of(&[1000.0 / 9.0, 100.0, 90.0]).unwrap();
        assert!((high - low).abs() < 1e-12, "the same for a fast pass: {high}");
        assert!(of(&[100.0, 100.0]).unwrap().abs() < 1e-12);
        assert_eq!(of(&[100.0]), None, "nothing would be left");
    }

    #[test]
    fn which_way_is_told_apart_from_how_much() {
        let way = |averages: &[f64]| {
            let mut evidence = made_up::piece(1, 1);
            let id = made_up::add_cell(&mut evidence, 1, 1, averages);
            let cell = &evidence.cells[&id];
            way(&evidence, cell, &cell.passes[0]).map(|(_, ratio)| ratio > 1.0)
        };
        assert_eq!(way(&[90.0, 100.0, 110.0]), Some(true), "a slow pass drags the cell down");
        assert_eq!((way(&[110.0, 100.0, 90.0]), way(&[100.0])), (Some(false), None));
    }
}
