//! Whether a rig drifted during a session, by the passes of its control scene in the order in which they were run.
//!
//! From five passes on by Mann-Kendall at 5 %, with Theil-Sen's slope times the steps as the change (`stats::trend`
//! has the sources; below five no order is rare enough: 2 of 4! are 8 %). With two to four passes by what the last ones
//! differ from the first ones, against the scatter that is known from elsewhere (normal theory, two means).

use crate::compare::Interval;
use crate::stats::distributions::{normal_quantile, t_two_sided};
use crate::stats::sum::mean;
use crate::stats::trend::{mann_kendall, theil_sen};

/// Fewest passes for a test of their order alone.
const BY_ORDER: usize = 5;

/// Scatter of a pass: standard deviation of its logarithm, with its degrees of freedom.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Scatter {
    /// Standard deviation.
    pub sd: f64,
    /// Degrees of freedom.
    pub df: f64,
}

/// What became of the control scene during a session.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Drift {
    /// Passes of it.
    pub passes: usize,
    /// Its rate at the end over that at the start.
    pub change: f64,
    /// 95% interval of it; none where no scatter is known.
    pub interval: Option<Interval>,
    /// Mann-Kendall's z; none below five passes.
    pub z: Option<f64>,
    /// Whether it drifted; none where that cannot be told.
    pub found: Option<bool>,
}

/// Tests the control scene's passes, logarithms in the order in which they were run. `None` for fewer than two.
pub fn drift(logs: &[f64], scatter: Option<Scatter>) -> Option<Drift> {
    let passes = logs.len();
    let each = match passes {
        0 | 1 => return None,
        2 | 3 => 1,
        _ => passes / 2,
    };
    let ends = mean(logs.get(passes - each..)?)? - mean(logs.get(..each)?)?;
    let by_order = (passes >= BY_ORDER).then(|| mann_kendall(logs).z);
    let change = match by_order {
        Some(_) => theil_sen(logs)?.slope * (passes - 1) as f64,
        None => ends,
    };
    let half = scatter.map(|of| t_two_sided(0.95, of.df) * of.sd * (2.0 / each as f64).sqrt());
    let interval = half.filter(|half| half.is_finite()).map(|half| Interval::of_logs(ends, half));
    let by_scatter = interval.map(|interval| interval.low > 1.0 || interval.high < 1.0);
    let found = by_order.map(|z| z.abs() > normal_quantile(0.975)).or(by_scatter);
    Some(Drift { passes, change: libm::exp(change), interval, z: by_order, found })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// t_0.975 on 10 degrees of freedom is 2.228 (handbook table), on infinitely many 1.960.
    #[test]
    fn two_passes_are_held_against_the_scatter_that_is_known() {
        let scatter = Scatter { sd: 0.003, df: 10.0 };
        let half = 2.228_139 * 0.003 * 2.0_f64.sqrt();
        let found = |end: f64| drift(&[0.0, end], Some(scatter)).unwrap();
        let outside = found(-half - 1e-6);
        assert_eq!((outside.found, outside.passes, outside.z), (Some(true), 2, None));
        assert!((outside.interval.unwrap().low - libm::exp(-2.0 * half - 1e-6)).abs() < 1e-6);
        assert_eq!(found(-half + 1e-4).found, Some(false));
        assert_eq!(drift(&[0.0, -0.5], None).unwrap().found, None);
        assert_eq!(drift(&[0.0], Some(scatter)), None);
    }

    #[test]
    fn four_passes_are_two_means() {
        let scatter = Scatter { sd: 0.01, df: f64::INFINITY };
        let four = drift(&[0.0, 0.002, 0.01, 0.012], Some(scatter)).unwrap();
        assert!((four.change - libm::exp(0.01)).abs() < 1e-12);
        assert!((four.interval.unwrap().high - libm::exp(0.01 + 1.959_964 * 0.01)).abs() < 1e-6);
    }

    /// S of five passes that all fall is -10, its variance 5 * 4 * 15 / 18: z = -9 / sqrt(16.67) = -2.2045.
    #[test]
    fn five_passes_are_judged_by_their_order() {
        let falling = drift(&[0.0, -0.01, -0.02, -0.03, -0.04], None).unwrap();
        assert_eq!(falling.found, Some(true));
        assert!((falling.z.unwrap() + 2.204_541).abs() < 1e-6);
        assert!((falling.change - libm::exp(-0.04)).abs() < 1e-12);
        let mixed = drift(&[0.0, -0.02, -0.01, -0.03, -0.04], None).unwrap();
        assert_eq!(mixed.found, Some(false));
    }
}
