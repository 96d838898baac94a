//! Periods in the times of events, by folding.
//!
//! `Z^2_m = (2/N) sum_{k<=m} [(sum_j cos k phi_j)^2 + (sum_j sin k phi_j)^2]` with the phases `phi_j = 2 pi f t_j`
//! (Buccheri et al. 1983, Astron. Astrophys. 128:245-251, from memory; m = 1 is Rayleigh's test). Without a period it is
//! about chi-square with 2 m degrees of freedom. Single events are impulses: a periodogram of what lies between them
//! prefers harmonics, folding does not.

/// `Z^2_m` of event times (seconds) at a frequency (hertz); 0 without events.
pub fn z_squared(times: &[f64], frequency: f64, harmonics: u32) -> f64 {
    if times.is_empty() {
        return 0.0;
    }
    let of = |k: u32| {
        let (mut cos, mut sin) = (0.0, 0.0);
        for t in times {
            // Whole turns are taken off first: large angles cost digits.
            let turns = frequency * t * f64::from(k);
            let phase = std::f64::consts::TAU * (turns - turns.floor());
            cos += libm::cos(phase);
            sin += libm::sin(phase);
        }
        cos * cos + sin * sin
    };
    2.0 / times.len() as f64 * (1..=harmonics).map(of).sum::<f64>()
}

/// Chance of `Z^2_m` or more without a period: the upper tail of chi-square with 2 m degrees of freedom,
/// `exp(-z/2) sum_{k<m} (z/2)^k / k!`.
pub fn chance(z_squared: f64, harmonics: u32) -> f64 {
    let half = z_squared / 2.0;
    let (mut term, mut sum) = (1.0, 0.0);
    for k in 0..harmonics {
        sum += term;
        term *= half / f64::from(k + 1);
    }
    (libm::exp(-half) * sum).min(1.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn even_times_stand_at_one_phase_and_spread_ones_do_not() {
        let even: Vec<f64> = (0..20).map(|i| 0.3 + 0.75 * f64::from(i)).collect();
        // All at one phase: 2/N N^2 for each harmonic.
        assert!((z_squared(&even, 1.0 / 0.75, 2) - 80.0).abs() < 1e-9);
        // Ten phases, twice each: nothing.
        assert!(z_squared(&even, 0.1 / 0.75, 2).abs() < 1e-9);
        assert_eq!(z_squared(&[], 1.0, 2), 0.0);
    }
}
