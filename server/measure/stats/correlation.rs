//! Rank correlation of two series, and how alike they stay when one is moved in time.
//!
//! Spearman's coefficient (Spearman 1904, Am. J. Psychol. 15:72-101; recalled from memory): Pearson's correlation of
//! the ranks, ties sharing their mean rank. Reference: `scipy.stats.spearmanr`.

use super::trend::average_ranks;

/// Spearman's rank correlation; `None` for fewer than three pairs or where one series is constant.
pub fn spearman(a: &[f64], b: &[f64]) -> Option<f64> {
    if a.len() != b.len() || a.len() < 3 {
        return None;
    }
    pearson(&average_ranks(a), &average_ranks(b))
}

/// Pearson's correlation; `None` where one series is constant or the lengths differ.
pub fn pearson(a: &[f64], b: &[f64]) -> Option<f64> {
    if a.len() != b.len() || a.is_empty() {
        return None;
    }
    let n = a.len() as f64;
    let (mean_a, mean_b) = (a.iter().sum::<f64>() / n, b.iter().sum::<f64>() / n);
    let (mut product, mut square_a, mut square_b) = (0.0, 0.0, 0.0);
    for (x, y) in a.iter().zip(b) {
        product += (x - mean_a) * (y - mean_b);
        square_a += (x - mean_a) * (x - mean_a);
        square_b += (y - mean_b) * (y - mean_b);
    }
    let scale = (square_a * square_b).sqrt();
    (scale > 0.0).then(|| product / scale)
}

/// Highest rank correlation of `a` with `b` moved by up to `most` places either way.
pub fn best_spearman(a: &[f64], b: &[f64], most: usize) -> Option<f64> {
    let n = a.len().min(b.len());
    let (a, b) = (&a[..n], &b[..n]);
    let shifts = (0..=most.min(n)).flat_map(|s| [(&a[s..], &b[..n - s]), (&a[..n - s], &b[s..])]);
    shifts.filter_map(|(a, b)| spearman(a, b)).max_by(f64::total_cmp)
}

/// One series moved against another, and how alike they are where they overlap.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Moved {
    /// By how many places the second series stands later than the first.
    pub by: i64,
    /// Pearson's correlation over the overlap; 0 where one of them is constant there.
    pub value: f64,
}

/// Correlation of the overlap at every move of `b` against `a` that leaves at least `least` places (at least two).
///
/// Reference: `numpy.corrcoef` of the overlapping slices at the lags of `scipy.signal.correlation_lags`. Work is the
/// product of both lengths.
pub fn moved(a: &[f64], b: &[f64], least: usize) -> Vec<Moved> {
    let least = least.max(2);
    if a.len() < least || b.len() < least {
        return Vec::new();
    }
    // Sums up to each place, of values less their mean so that little is lost.
    let centred = |y: &[f64]| -> Vec<f64> {
        let mean = y.iter().sum::<f64>() / y.len() as f64;
        y.iter().map(|v| v - mean).collect()
    };
    let (a, b) = (centred(a), centred(b));
    let sums = |y: &[f64]| -> Vec<(f64, f64)> {
        let mut sum = (0.0, 0.0);
        let mut all = vec![sum];
        all.extend(y.iter().map(|v| {
            sum = (sum.0 + v, sum.1 + v * v);
            sum
        }));
        all
    };
    let (of_a, of_b) = (sums(&a), sums(&b));
    let between = |s: &[(f64, f64)], from: usize, to: usize| (s[to].0 - s[from].0, s[to].1 - s[from].1);
    let early = (0..=b.len() - least).rev().map(|skip| (0, skip));
    let late = (1..=a.len() - least).map(|skip| (skip, 0));
    let at = |(skip_a, skip_b): (usize, usize)| {
        let n = (a.len() - skip_a).min(b.len() - skip_b);
        if n < least {
            return None;
        }
        let product: f64 = a[skip_a..skip_a + n].iter().zip(&b[skip_b..skip_b + n]).map(|(x, y)| x * y).sum();
        let (sum_a, square_a) = between(&of_a, skip_a, skip_a + n);
        let (sum_b, square_b) = between(&of_b, skip_b, skip_b + n);
        let count = n as f64;
        let (a2, b2) = (square_a - sum_a * sum_a / count, square_b - sum_b * sum_b / count);
        let flat =
            a2 <= 1e-9 * square_a.max(f64::MIN_POSITIVE) || b2 <= 1e-9 * square_b.max(f64::MIN_POSITIVE);
        let value = if flat { 0.0 } else { (product - sum_a * sum_b / count) / (a2 * b2).sqrt() };
        Some(Moved { by: i64::try_from(skip_a).ok()? - i64::try_from(skip_b).ok()?, value })
    };
    early.chain(late).filter_map(at).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn order_alone_counts() {
        let a = [1.0, 2.0, 3.0, 4.0, 5.0];
        assert_eq!(spearman(&a, &[1.0, 8.0, 27.0, 64.0, 1e6]), Some(1.0));
        assert_eq!(spearman(&a, &[5.0, 4.0, 3.0, 2.0, 1.0]), Some(-1.0));
        assert_eq!(spearman(&a, &[2.0; 5]), None);
        assert_eq!(spearman(&a[..2], &a[..2]), None);
    }

    #[test]
    fn a_move_in_time_is_found() {
        let wave =
            |shift: f64| -> Vec<f64> { (0..60).map(|i| libm::sin((f64::from(i) + shift) / 3.0)).collect() };
        assert!(best_spearman(&wave(0.0), &wave(3.0), 0).unwrap() < 0.7);
        assert!(best_spearman(&wave(0.0), &wave(3.0), 4).unwrap() > 0.99);
    }
}
