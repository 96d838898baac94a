//! Automatic block length for bootstraps of dependent series.
//!
//! Politis & White 2004 (Econometric Rev. 23:53-70) with the correction of Patton, Politis & White 2009 (28:372-375),
//! in the form of `arch.bootstrap.optimal_block_length` 8.0.0, whose numbers it reproduces.

use super::sum::{dot, mean};

/// Mean block length for the stationary bootstrap of a series; at least 1.
///
/// `None` for fewer than 8 values or a value that is not finite. A constant series needs no blocks and gives 1.
pub fn stationary_block_length(series: &[f64]) -> Option<f64> {
    let n = series.len();
    let centre = mean(series).filter(|m| n >= 8 && m.is_finite())?;
    let deviations: Vec<f64> = series.iter().map(|v| v - centre).collect();
    let size = n as f64;
    let mut lags = Lags::of(&deviations);
    if lags.product(0) <= 0.0 {
        return Some(1.0);
    }
    let reach = lags.reach();
    let (mut slope, mut spectrum) = (0.0, lags.product(0) / size);
    for lag in 1..=reach {
        let (k, m) = (lag as f64, reach as f64);
        let taper = if k / m <= 0.5 { 1.0 } else { 2.0 * (1.0 - k / m) };
        let covariance = lags.product(lag) / size;
        slope += 2.0 * taper * k * covariance;
        spectrum += 2.0 * taper * covariance;
    }
    let length = libm::cbrt(slope * slope / (spectrum * spectrum)) * libm::cbrt(size);
    let longest = (3.0 * size.sqrt()).min(size / 3.0).ceil();
    Some(length.min(longest).max(1.0))
}

/// Lag products of a centred series, computed when first asked for.
struct Lags<'a> {
    deviations: &'a [f64],
    products: Vec<f64>,
}

impl Lags<'_> {
    fn of(deviations: &[f64]) -> Lags<'_> {
        Lags { deviations, products: Vec::new() }
    }

    /// Sum of e(t) e(t + lag).
    fn product(&mut self, lag: usize) -> f64 {
        let n = self.deviations.len();
        while self.products.len() <= lag {
            let k = self.products.len().min(n);
            self.products.push(dot(&self.deviations[k..], &self.deviations[..n - k]));
        }
        self.products[lag]
    }

    /// How many lags count: twice the lag where the first run of small autocorrelations begins.
    fn reach(&mut self) -> usize {
        let n = self.deviations.len();
        let size = n as f64;
        let run = 5.max(n.ilog10() as usize);
        let most = n.isqrt() + usize::from(n.isqrt().pow(2) < n) + run;
        let threshold = 2.0 * (libm::log10(size) / size).sqrt();
        let energy = self.product(0);
        let mut small = 0;
        // The library's norms leave out one value more than the lag: kept, so that the numbers agree.
        let (mut head, mut tail) = (0.0, 0.0);
        for lag in 0..most {
            head += self.deviations[lag] * self.deviations[lag];
            tail += self.deviations[n - 1 - lag] * self.deviations[n - 1 - lag];
            let norm = ((energy - head) * (energy - tail)).sqrt();
            small = if self.product(lag).abs() / norm < threshold { small + 1 } else { 0 };
            if small == run {
                return (2 * (lag + 1 - run).max(1)).min(most);
            }
        }
        most
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::rng::{Streams, unit};

    #[test]
    fn short_constant_and_broken_series() {
        assert_eq!(stationary_block_length(&[1.0; 7]), None);
        assert_eq!(stationary_block_length(&[2.5; 100]), Some(1.0));
        let mut broken = [1.0; 100];
        broken[50] = f64::NAN;
        assert_eq!(stationary_block_length(&broken), None);
    }

    #[test]
    fn slower_correlation_needs_longer_blocks() {
        let series = |memory: f64| -> Vec<f64> {
            let mut random = Streams::of(&[b"block"]).stream(0);
            let mut value = 0.0;
            let mut next = || {
                value = memory * value + unit(random.bits()) - 0.5;
                value
            };
            (0..2000).map(|_| next()).collect()
        };
        let [white, short, long] = [0.0, 0.5, 0.95].map(|memory| stationary_block_length(&series(memory)));
        assert!(white < short && short < long, "{white:?} {short:?} {long:?}");
    }
}
