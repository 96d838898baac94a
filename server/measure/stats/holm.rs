//! Several tests at once: Holm's step-down adjustment of their p (Holm 1979, Scand. J. Stat. 6:65-70).
//!
//! In ascending order p(i) (m - i + 1), then the running maximum, at most 1. With all adjusted p below 5% taken as
//! differences, a family of m tests names a difference that is not there in at most 5% of families.

/// Adjusted p, in the order given. What is no number (no test) keeps its place and does not count in m.
pub fn adjusted(p: &[f64]) -> Vec<f64> {
    let mut order: Vec<usize> = (0..p.len()).filter(|&i| p[i].is_finite()).collect();
    order.sort_by(|&a, &b| p[a].total_cmp(&p[b]));
    let m = order.len();
    let mut out = vec![f64::NAN; p.len()];
    let mut most = 0.0_f64;
    for (rank, &i) in order.iter().enumerate() {
        most = most.max(p[i] * (m - rank) as f64).min(1.0);
        out[i] = most;
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_test_is_left_as_it_is_and_no_test_counts_for_nothing() {
        assert_eq!(adjusted(&[0.03]), [0.03]);
        assert_eq!(adjusted(&[0.04, f64::NAN, 0.01])[..1], [0.04]);
        assert!(adjusted(&[0.04, f64::NAN, 0.01])[1].is_nan());
        assert_eq!(adjusted(&[0.9, 0.8]), [1.0, 1.0]);
    }
}
