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
