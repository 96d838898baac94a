//! The difference of two cells in their own unit, for what is told as an amount: milliseconds of delay, watts.
//!
//! Each cell is a geometric mean with a standard error on the log scale; by the delta method that of its value is value
//! times it. The difference b - a has the sum of both squares on Satterthwaite's degrees of freedom, and a Student
//! interval.

use super::Interval;
use super::cell::CellValue;
use super::ratio::satterthwaite;
use crate::stats::distributions::t_two_sided;
use crate::stats::moderation::Variance;
use serde::Serialize;

/// A difference with its 95% interval.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Difference {
    /// Second less first, in their unit.
    pub value: f64,
    /// `None` where the spread of one is not known.
    pub interval: Option<Interval>,
}

/// What `second` is more than `first`.
pub fn difference(first: &CellValue, second: &CellValue) -> Difference {
    let value = second.value - first.value;
    let errors = error(first).zip(error(second));
    let interval = errors.and_then(|(a, b)| satterthwaite(&[a, b])).map(|error| {
        let half = t_two_sided(0.95, error.df) * error.s2.sqrt();
        Interval { low: value - half, high: value + half }
    });
    Difference { value, interval }
}

/// Squared standard error of a cell's value in its unit, and its degrees of freedom.
fn error(cell: &CellValue) -> Option<Variance> {
    let of_ln = cell.ln_error()?;
    Some(Variance { s2: cell.value * cell.value * of_ln.s2, ..of_ln })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::compare::noise::Local;
    use crate::compare::{PassLog, cell};

    fn cell_of(values: &[f64]) -> CellValue {
        let logs: Vec<PassLog> = values.iter().map(|&v| PassLog::new(v, 1, 1, true).unwrap()).collect();
        cell::value(&logs, &Local::default()).unwrap()
    }

    /// By hand, as Welch on the values themselves: means 30 and 35 ms, s 0.1 and 0.2 of 3 passes each, so
    /// se = sqrt(0.01/3 + 0.04/3) = 0.129099 on 2.9412 degrees of freedom; t(0.975, 2.9412) = 3.2180.
    #[test]
    fn a_small_spread_gives_welchs_interval_of_the_values() {
        let found = difference(&cell_of(&[29.9, 30.0, 30.1]), &cell_of(&[34.8, 35.0, 35.2]));
        assert!((found.value - 5.0).abs() < 1e-3);
        let interval = found.interval.unwrap();
        assert!((interval.high - interval.low - 2.0 * 0.129_099 * 3.218).abs() < 2e-3, "{interval:?}");
    }

    #[test]
    fn one_pass_has_no_interval() {
        assert_eq!(difference(&cell_of(&[30.0]), &cell_of(&[34.0, 35.0])).interval, None);
    }
}
