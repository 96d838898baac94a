//! Slow drift: frame times creep one way over the whole window, as when a part warms through.
//!
//! Method: Theil-Sen slope for the size, Mann-Kendall corrected for autocorrelation (Hamed & Rao 1998) for the
//! evidence, on the log ratio of block medians to the siblings' profile. Not judged on a pass alone: a scene
//! that gets heavier as it goes looks just the same.

use super::level_step::Scatter;
use super::profile::Profile;
use super::{Flag, FlagKind, strength, words};
use crate::stats::trend::{mann_kendall_autocorrelated, theil_sen};

/// Fewest blocks: five seconds.
const MIN_BLOCKS: usize = 10;
/// Least |Z| of the corrected test.
const LEAST_Z: f64 = 3.0;

/// A drift over a whole series.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Drift {
    /// Change a block, log scale.
    pub slope: f64,
    /// Value of the line at block 0.
    pub intercept: f64,
    /// Change from the first block to the last, log scale.
    pub change: f64,
    /// Its size in units of the limit, at least 1.
    pub by_size: f64,
    /// |Z| in units of the limit.
    pub by_order: f64,
}

/// The drift of `series` if it changes by at least `least` and by at least `sds` standard deviations of
/// the difference between its halves.
pub(crate) fn drift(series: &[f64], scatter: &Scatter, least: f64, sds: f64) -> Option<Drift> {
    let n = series.len();
    if n < MIN_BLOCKS {
        return None;
    }
    let line = theil_sen(series)?;
    let change = line.slope * (n - 1) as f64;
    // Between the middles of its halves a line climbs half of its whole change.
    let halves = 2.0 * scatter.of_step(n / 2, n);
    let by_size = change.abs() / least.max(sds * halves);
    if by_size < 1.0 {
        return None;
    }
    let by_order = mann_kendall_autocorrelated(series, n / 4).z.abs() / LEAST_Z;
    Some(Drift { slope: line.slope, intercept: line.intercept, change, by_size, by_order })
}

/// The flag for a drift over the whole window.
pub(super) fn flag(profile: &Profile, drift: &Drift) -> Flag {
    let end_ns = profile.edge_ns(usize::MAX);
    Flag {
        kind: FlagKind::SlowDrift,
        start_ns: profile.start_ns,
        end_ns,
        strength: strength(drift.by_size),
        // Beside a pass that stays as it begins.
        moves: Some((libm::exp(-drift.change / 2.0) - 1.0).abs()),
        says: format!(
            "from {} to the end frame times creep: at the end frames take {} than at the start, beside the other passes of the cell",
            words::seconds(profile.start_ns),
            words::longer(drift.change)
        ),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn creeping(change: f64) -> Vec<f64> {
        (0..120).map(|i| 0.01 * libm::sin(f64::from(i) * 2.4) + change * f64::from(i) / 119.0).collect()
    }

    #[test]
    fn a_creep_of_eight_per_cent_is_found_with_its_size() {
        let quiet = Scatter::of(&creeping(0.0));
        for change in [0.08, -0.08] {
            let found = drift(&creeping(change), &quiet, 0.03, 3.0).unwrap();
            assert!((found.change - change).abs() < 0.005, "{found:?}");
            assert!(found.by_order > 1.0, "{found:?}");
        }
    }

    #[test]
    fn a_creep_below_the_limit_or_a_wave_is_none() {
        let quiet = Scatter::of(&creeping(0.0));
        assert_eq!(drift(&creeping(0.02), &quiet, 0.03, 3.0), None);
        let wave: Vec<f64> = (0..120).map(|i| 0.1 * libm::sin(f64::from(i) / 19.1)).collect();
        assert!(drift(&wave, &quiet, 0.03, 3.0).is_none_or(|d| d.by_order < 1.0));
    }
}
