//! The value of a cell: what its kept passes say together, with its interval.
//!
//! A cell's measure is the geometric mean over its kept passes (mean of logs; frames are never pooled); with several
//! rigs it is the mean of the rigs' means, so that a rig with more passes does not count for more. Interval:
//! exp(mean -+ t_{0.975, df} s~ / k sqrt(sum 1/n_r)) over k rigs with n_r passes, s~ the moderated spread within rigs
//! ([`super::noise`]); with one rig that is Student's interval on s~/sqrt(n).

use super::noise::{Local, Spread, by_rig, within_rigs};
use super::{Interval, PassLog};
use crate::stats::distributions::t_two_sided;
use crate::stats::moderation::Variance;
use crate::stats::sum::{mean, sum};
use serde::Serialize;
use std::collections::BTreeMap;

/// What a cell's kept passes say for one measure.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct CellValue {
    /// Geometric mean, in the measure's unit.
    pub value: f64,
    /// Kept passes.
    pub passes: usize,
    /// Rigs they ran in.
    pub rigs: usize,
    /// Standard deviation of the logs within rigs, from its own passes alone: the coefficient of variation, as a
    /// share of 1, to well within its own uncertainty. `None` without two passes in one rig.
    pub own_spread: Option<f64>,
    /// The spread its interval rests on. `None`: nothing to borrow from.
    pub spread: Option<Spread>,
    /// 95% interval of `value`. `None` where there is no spread.
    pub interval: Option<Interval>,
}

impl CellValue {
    /// Whether the value must carry the mark 'one pass'.
    pub fn one_pass(&self) -> bool {
        self.passes == 1
    }

    /// Standard error of its logarithm; `None` where there is no spread.
    pub fn ln_se(&self) -> Option<f64> {
        self.ln_error().map(|error| error.s2.sqrt())
    }

    /// Squared standard error of its logarithm, with the degrees of freedom; `None` where there is no spread.
    pub(super) fn ln_error(&self) -> Option<Variance> {
        let (spread, interval) = (self.spread?, self.interval?);
        let se = libm::log(interval.high / interval.low) / 2.0 / t_two_sided(0.95, spread.df);
        Some(Variance { s2: se * se, df: spread.df })
    }
}

/// Value of a cell with these kept passes; `None` without any.
pub fn value(passes: &[PassLog], noise: &Local) -> Option<CellValue> {
    let rigs = by_rig(passes);
    let (centre, per) = mean_of_rigs(&rigs)?;
    let spread = noise.spread(passes);
    let interval = spread.map(|s| Interval::of_logs(centre, t_two_sided(0.95, s.df) * (s.s2 * per).sqrt()));
    Some(CellValue {
        value: libm::exp(centre),
        passes: passes.len(),
        rigs: rigs.len(),
        own_spread: within_rigs(passes).map(|v| v.s2.sqrt()),
        spread,
        interval,
    })
}

/// Mean of the rigs' means of logs, and the factor that makes the variance of one pass into that of the mean:
/// sum(1/n_r) / k^2. `None` without rigs.
pub(super) fn mean_of_rigs(rigs: &BTreeMap<i64, Vec<f64>>) -> Option<(f64, f64)> {
    let means: Vec<f64> = rigs.values().filter_map(|logs| mean(logs)).collect();
    let shares = sum(rigs.values().map(|logs| 1.0 / logs.len() as f64));
    let k = means.len() as f64;
    Some((mean(&means)?, shares / (k * k)))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn pass(value: f64, rig: i64) -> PassLog {
        PassLog::new(value, rig, 1, true).unwrap()
    }

    #[test]
    fn a_cell_is_the_geometric_mean_of_its_passes() {
        let cell = value(&[pass(50.0, 1), pass(200.0, 1)], &Local::default()).unwrap();
        assert!((cell.value - 100.0).abs() < 1e-12);
        assert!(cell.interval.unwrap().holds(100.0));
        assert_eq!((cell.passes, cell.rigs, cell.one_pass()), (2, 1, false));
    }

    #[test]
    fn rigs_count_alike_however_many_passes_they_hold() {
        let cell = value(&[pass(50.0, 1), pass(50.0, 1), pass(50.0, 1), pass(200.0, 2)], &Local::default());
        assert!((cell.unwrap().value - 100.0).abs() < 1e-12);
    }

    #[test]
    fn one_pass_is_marked_and_has_no_interval_of_its_own() {
        let cell = value(&[pass(88.0, 1)], &Local::default()).unwrap();
        assert!(cell.one_pass());
        assert_eq!((cell.own_spread, cell.interval), (None, None));
        assert_eq!(value(&[], &Local::default()), None);
    }
}
