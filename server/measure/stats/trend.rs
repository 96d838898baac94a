//! Monotone trend of a series: Theil-Sen slope, Mann-Kendall test, and its correction for autocorrelation.
//!
//! Sources: Mann 1945, Econometrica 13:245-259; Kendall 1975, Rank Correlation Methods; Sen 1968, J. Am. Stat. Assoc.
//! 63:1379-1389; Hamed & Rao 1998, J. Hydrol. 204:182-196 (all recalled from memory).
//! Reference: `pymannkendall.original_test`, `pymannkendall.hamed_rao_modification_test`, `scipy.stats.theilslopes`.

use super::robust::median;

/// A straight line through a series, x counted in steps from 0.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Line {
    /// Change a step: the median of the slopes of all pairs.
    pub slope: f64,
    /// Value at step 0: median of the values less slope times the median step.
    pub intercept: f64,
}

/// Theil-Sen line through equally spaced values. `None` for fewer than two. O(n^2).
pub fn theil_sen(y: &[f64]) -> Option<Line> {
    if y.len() < 2 {
        return None;
    }
    let mut slopes = Vec::with_capacity(y.len() * (y.len() - 1) / 2);
    for i in 0..y.len() {
        for j in i + 1..y.len() {
            slopes.push((y[j] - y[i]) / (j - i) as f64);
        }
    }
    let slope = median(&slopes);
    Some(Line { slope, intercept: median(y) - slope * (y.len() - 1) as f64 / 2.0 })
}

/// Theil-Sen line through points at any places: the slope is the median of those of all pairs that differ in x, the
/// intercept the median of what is left at x = 0. `None` for fewer than two places. O(n^2).
pub fn theil_sen_at(points: &[(f64, f64)]) -> Option<Line> {
    let pairs = points.iter().enumerate().flat_map(|(i, p)| points[..i].iter().map(move |q| (p, q)));
    let slopes: Vec<f64> =
        pairs.filter(|(p, q)| p.0 != q.0).map(|(p, q)| (p.1 - q.1) / (p.0 - q.0)).collect();
    if slopes.is_empty() {
        return None;
    }
    let slope = median(&slopes);
    let left: Vec<f64> = points.iter().map(|(x, y)| y - slope * x).collect();
    Some(Line { slope, intercept: median(&left) })
}

/// Result of a Mann-Kendall test.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MannKendall {
    /// Pairs that rise less pairs that fall.
    pub s: f64,
    /// Variance of `s` without trend, ties taken into account.
    pub variance: f64,
    /// Standard normal without trend, with the continuity correction of one.
    pub z: f64,
}

impl MannKendall {
    fn new(s: f64, variance: f64) -> Self {
        let z = if s == 0.0 || variance <= 0.0 { 0.0 } else { (s - s.signum()) / variance.sqrt() };
        Self { s, variance, z }
    }
}

/// Mann-Kendall test of independent values. O(n^2).
pub fn mann_kendall(y: &[f64]) -> MannKendall {
    let mut s = 0.0;
    for i in 0..y.len() {
        for j in i + 1..y.len() {
            s += match y[j].total_cmp(&y[i]) {
                std::cmp::Ordering::Greater => 1.0,
                std::cmp::Ordering::Less => -1.0,
                std::cmp::Ordering::Equal => 0.0,
            };
        }
    }
    let term = |m: usize| (m * m.saturating_sub(1) * (2 * m + 5)) as f64;
    let mut sorted = y.to_vec();
    sorted.sort_unstable_by(f64::total_cmp);
    let ties: f64 = sorted.chunk_by(|a, b| a == b).map(|g| term(g.len())).sum();
    MannKendall::new(s, (term(y.len()) - ties) / 18.0)
}

/// Mann-Kendall test with the variance multiplied by Hamed and Rao's factor from the significant (5 %)
/// autocorrelations, up to `max_lag`, of the ranks of the series less its Theil-Sen line.
///
/// Differs from the paper in one point: a factor below one is taken as one, since negative correlation of block
/// medians is no reason to see trends more easily, and the factor can even come out negative.
pub fn mann_kendall_autocorrelated(y: &[f64], max_lag: usize) -> MannKendall {
    let plain = mann_kendall(y);
    let factor = hamed_rao_factor(y, max_lag).max(1.0);
    MannKendall::new(plain.s, plain.variance * factor)
}

/// The factor n/n* of Hamed and Rao 1998; 1 for fewer than four values.
pub fn hamed_rao_factor(y: &[f64], max_lag: usize) -> f64 {
    let n = y.len();
    let Some(line) = theil_sen(y).filter(|_| n >= 4) else { return 1.0 };
    let rest: Vec<f64> = y.iter().enumerate().map(|(i, v)| v - line.slope * (i + 1) as f64).collect();
    let ranks = average_ranks(&rest);
    // 97.5 % quantile of the normal over sqrt(n): the band within which an autocorrelation is taken as none.
    let band = 1.959_963_984_540_054 / (n as f64).sqrt();
    let mut sum = 0.0;
    for lag in 1..=max_lag.min(n - 1) {
        let r = autocorrelation(&ranks, lag);
        if r.abs() > band {
            let left = (n - lag) as f64;
            sum += left * (left - 1.0) * (left - 2.0) * r;
        }
    }
    let n = n as f64;
    1.0 + 2.0 / (n * (n - 1.0) * (n - 2.0)) * sum
}

/// Autocorrelation at one lag, both sums over the whole series' mean (divisor n).
pub fn autocorrelation(y: &[f64], lag: usize) -> f64 {
    let mean = y.iter().sum::<f64>() / y.len() as f64;
    let square: f64 = y.iter().map(|v| (v - mean) * (v - mean)).sum();
    let product: f64 = y.iter().zip(&y[lag.min(y.len())..]).map(|(a, b)| (a - mean) * (b - mean)).sum();
    if square > 0.0 { product / square } else { 0.0 }
}

/// Ranks from 1, ties share their mean rank.
pub fn average_ranks(y: &[f64]) -> Vec<f64> {
    let mut order: Vec<usize> = (0..y.len()).collect();
    order.sort_by(|&a, &b| y[a].total_cmp(&y[b]));
    let mut ranks = vec![0.0; y.len()];
    let mut before = 0;
    for group in order.chunk_by(|&a, &b| y[a] == y[b]) {
        let rank = before as f64 + (group.len() + 1) as f64 / 2.0;
        for &i in group {
            ranks[i] = rank;
        }
        before += group.len();
    }
    ranks
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_is_found_in_spite_of_one_wild_value() {
        let mut y: Vec<f64> = (0..20).map(|i| 3.0 + 0.5 * f64::from(i)).collect();
        y[7] = 900.0;
        let line = theil_sen(&y).unwrap();
        assert!((line.slope - 0.5).abs() < 1e-12);
        assert_eq!(theil_sen(&[1.0]), None);
    }

    #[test]
    fn s_counts_pairs_and_ties_shrink_its_variance() {
        // All 10 pairs rise: S = 10; n = 5: 5 * 4 * 15 / 18.
        let rising = mann_kendall(&[1.0, 2.0, 3.0, 4.0, 5.0]);
        assert_eq!((rising.s, rising.variance), (10.0, 300.0 / 18.0));
        // One tie of two: less 2 * 1 * 9 / 18.
        let tied = mann_kendall(&[1.0, 2.0, 2.0, 4.0, 5.0]);
        assert_eq!((tied.s, tied.variance), (9.0, (300.0 - 18.0) / 18.0));
        assert_eq!(mann_kendall(&[2.0; 6]).z, 0.0);
    }

    #[test]
    fn ties_share_their_rank() {
        assert_eq!(average_ranks(&[5.0, 1.0, 5.0, 0.0]), [3.5, 2.0, 3.5, 1.0]);
    }

    #[test]
    fn slow_waves_weaken_a_trend_and_alternation_does_not_strengthen_it() {
        let wave: Vec<f64> = (0..60).map(|i| libm::sin(f64::from(i) / 8.0) + 0.02 * f64::from(i)).collect();
        assert!(mann_kendall_autocorrelated(&wave, 20).z < 0.8 * mann_kendall(&wave).z);
        let zigzag: Vec<f64> =
            (0..60).map(|i| if i % 2 == 0 { 1.0 } else { -1.0 } + 0.02 * f64::from(i)).collect();
        assert_eq!(mann_kendall_autocorrelated(&zigzag, 20), mann_kendall(&zigzag));
    }
}
