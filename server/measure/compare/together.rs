//! Cells of several scenes told as one number: their geometric mean, each with a weight, and its interval.
//!
//! ln m = sum w_i ln m_i / sum w_i, with variance sum w_i^2 v_i / (sum w_i)^2 and Satterthwaite's degrees of freedom. It is
//! for tables that need a size beside a ratio (watts, joules, frames a second); how two parts differ is told by
//! [`super::overall`], scene by scene.

use super::Interval;
use super::cell::CellValue;
use super::ratio::satterthwaite;
use crate::stats::distributions::t_two_sided;
use crate::stats::moderation::Variance;
use crate::stats::sum::sum;
use serde::Serialize;

/// Several cells as one number.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Together {
    /// Geometric mean, in the cells' unit.
    pub value: f64,
    /// 95% interval; `None` where the spread of one is not known.
    pub interval: Option<Interval>,
    /// Kept passes in it.
    pub passes: usize,
}

/// Cells with the same weight; `None` of nothing.
pub fn together(cells: &[CellValue]) -> Option<Together> {
    weighted(&cells.iter().map(|cell| (1.0, cell.clone())).collect::<Vec<_>>())
}

/// Cells with weights above 0; `None` of nothing.
pub fn weighted(cells: &[(f64, CellValue)]) -> Option<Together> {
    let total = sum(cells.iter().map(|(weight, _)| *weight));
    if total <= 0.0 {
        return None;
    }
    let ln = sum(cells.iter().map(|(weight, cell)| weight * libm::log(cell.value))) / total;
    let errors = cells
        .iter()
        .map(|(weight, cell)| {
            let error = cell.ln_error()?;
            Some(Variance { s2: error.s2 * (weight / total) * (weight / total), ..error })
        })
        .collect::<Option<Vec<Variance>>>();
    let interval = errors
        .and_then(|errors| satterthwaite(&errors))
        .map(|error| Interval::of_logs(ln, t_two_sided(0.95, error.df) * error.s2.sqrt()));
    let passes = cells.iter().map(|(_, cell)| cell.passes).sum();
    Some(Together { value: libm::exp(ln), interval, passes })
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

    #[test]
    fn one_cell_is_itself_and_equal_cells_are_surer_together() {
        let one = cell_of(&[99.0, 100.0, 101.0]);
        let alone = together(std::slice::from_ref(&one)).unwrap();
        assert!((alone.value - one.value).abs() < 1e-9);
        let (a, b) = (alone.interval.unwrap(), one.interval.unwrap());
        assert!((a.low - b.low).abs() < 1e-9 && (a.high - b.high).abs() < 1e-9);
        let four = together(&[one.clone(), one.clone(), one.clone(), one]).unwrap();
        assert!(four.interval.unwrap().high < a.high);
        assert_eq!(four.passes, 12);
    }

    #[test]
    fn it_is_the_geometric_mean_by_weight() {
        let (a, b) = (cell_of(&[50.0, 50.1]), cell_of(&[200.0, 200.4]));
        let even = together(&[a.clone(), b.clone()]).unwrap();
        assert!((even.value / (a.value * b.value).sqrt() - 1.0).abs() < 1e-12);
        let heavy = weighted(&[(3.0, a.clone()), (1.0, b.clone())]).unwrap();
        assert!(
            (libm::log(heavy.value) - 0.75 * libm::log(a.value) - 0.25 * libm::log(b.value)).abs() < 1e-12
        );
        assert_eq!(together(&[a, cell_of(&[3.0])]).unwrap().interval, None);
        assert_eq!(together(&[]), None);
    }
}
