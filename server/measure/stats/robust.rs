//! Robust location and scale: median, median absolute deviation, and the local median of the Hampel identifier.
//!
//! Sources: Hampel 1974, J. Am. Stat. Assoc. 69:383-393 (median and MAD as the most robust pair); Davies & Gather 1993,
//! J. Am. Stat. Assoc. 88:782-792 (the Hampel identifier); both recalled from memory.
//! Reference: `scipy.stats.median_abs_deviation`, `scipy.ndimage.median_filter`.

/// Factor that makes a MAD estimate the standard deviation of normal data: 1 / the normal quantile at 0.75.
pub const MAD_TO_SD: f64 = 1.482_602_218_505_602;

/// Median; the mean of the two middle values for an even count. `NaN` for no values; values must not be `NaN`.
pub fn median(values: &[f64]) -> f64 {
    let mut sorted = values.to_vec();
    let n = sorted.len();
    if n == 0 {
        return f64::NAN;
    }
    let (low, mid, _) = sorted.select_nth_unstable_by(n / 2, f64::total_cmp);
    let mid = *mid;
    if n % 2 == 1 {
        return mid;
    }
    let below = low.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    below + (mid - below) / 2.0
}

/// Median absolute deviation from the median, in the unit of the values and unscaled. `NaN` for no values.
pub fn mad(values: &[f64]) -> f64 {
    let centre = median(values);
    median(&values.iter().map(|v| (v - centre).abs()).collect::<Vec<_>>())
}

/// Median of `values[i - half ..= i + half]`, the stretch cut at both ends of the data: for an even count the upper
/// of the two middle values. `i` is a place in the values.
pub fn local_median(values: &[i64], i: usize, half: usize) -> i64 {
    let mut stretch = values[i.saturating_sub(half)..(i + half + 1).min(values.len())].to_vec();
    let middle = stretch.len() / 2;
    *stretch.select_nth_unstable(middle).1
}

/// MAD (scaled to a standard deviation) of `values[i - half ..= i + half]` around `centre`.
pub fn local_sd(values: &[i64], i: usize, half: usize, centre: i64) -> f64 {
    let stretch = &values[i.saturating_sub(half)..(i + half + 1).min(values.len())];
    let deviations: Vec<f64> = stretch.iter().map(|&v| (v - centre).abs() as f64).collect();
    median(&deviations) * MAD_TO_SD
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn medians_of_odd_even_and_no_values() {
        assert_eq!(median(&[3.0, 1.0, 2.0]), 2.0);
        assert_eq!(median(&[4.0, 1.0, 2.0, 3.0]), 2.5);
        assert!(median(&[]).is_nan());
        assert_eq!(mad(&[1.0, 1.0, 2.0, 2.0, 4.0, 6.0, 9.0]), 1.0);
    }

    #[test]
    fn the_local_median_is_the_middle_of_its_stretch() {
        let values: Vec<i64> = (0..97).map(|i| (i * 37) % 53).collect();
        for half in [0, 1, 4, 60] {
            for i in 0..values.len() {
                let mut stretch = values[i.saturating_sub(half)..(i + half + 1).min(values.len())].to_vec();
                stretch.sort_unstable();
                assert_eq!(local_median(&values, i, half), stretch[stretch.len() / 2]);
            }
        }
    }
}
