//! Where a settling start ends: the truncation that leaves the mean of the rest best known.
//!
//! MSER (White 1997, Simulation 69:323-334; its batched form MSER-5: Spratt 1998; both from memory): of all cuts `d` in
//! the first half, the one with the least `sum_{i>=d} (y_i - mean_d)^2 / (n - d)^2`. On means of batches, such as blocks
//! of half a second, it is the batched form.

/// Number of leading values to leave out; the earliest of equals. 0 for fewer than four values.
pub fn mser(values: &[f64]) -> usize {
    let n = values.len();
    if n < 4 {
        return 0;
    }
    let statistic = |d: usize| {
        let rest = &values[d..];
        let count = rest.len() as f64;
        let mean = rest.iter().sum::<f64>() / count;
        rest.iter().map(|v| (v - mean) * (v - mean)).sum::<f64>() / (count * count)
    };
    let mut best = (f64::INFINITY, 0);
    for d in 0..=n / 2 {
        let s = statistic(d);
        if s < best.0 {
            best = (s, d);
        }
    }
    best.1
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_high_start_is_cut_where_it_ends() {
        let mut values = vec![5.0, 4.0, 3.0, 2.0];
        values.extend([1.0, 1.1, 0.9, 1.0, 1.1, 0.9, 1.0, 1.1, 0.9, 1.0, 1.1, 0.9]);
        assert_eq!(mser(&values), 4);
        assert_eq!(mser(&values[4..]), 0);
        assert_eq!(mser(&[3.0, 1.0, 1.0]), 0);
    }
}
