//! Moderated variances: many small samples of alike origin lend each other degrees of freedom.
//!
//! Model (Smyth 2004, Stat. Appl. Genet. Mol. Biol. 3:3): s_i^2 | sigma_i^2 ~ sigma_i^2 chi^2_{d_i} / d_i and
//! 1 / sigma_i^2 ~ chi^2_{d0} / (d0 s0^2). The moderated variance is
//! (d0 s0^2 + d s^2) / (d0 + d) on d0 + d degrees of freedom. The two hyperparameters come from the moments of
//! e_i = ln s_i^2 - digamma(d_i / 2) + ln(d_i / 2), whose mean is ln s0^2 - digamma(d0 / 2) + ln(d0 / 2) and whose
//! variance is trigamma(d_i / 2) + trigamma(d0 / 2) (his section 6.2).
//!
//! Two departures, both so that a prior of a dozen cells does not claim more than it knows: zero variances enter
//! at the smallest positive one (their logarithm would be infinite), and d0 is capped at [`D0_CAP`].

use crate::stats::sum::{mean, sum};
use statrs::function::gamma::digamma;

/// Largest prior degrees of freedom that are believed.
pub const D0_CAP: f64 = 50.0;

/// Fewest variances from which a prior is made.
pub const FEWEST: usize = 5;

/// A variance with its degrees of freedom.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Variance {
    /// s^2, not negative.
    pub s2: f64,
    /// Degrees of freedom, above 0; not whole in general.
    pub df: f64,
}

/// What a family of variances says about the next one.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Prior {
    /// Prior degrees of freedom, infinite where the variances differ no more than chance makes them.
    pub d0: f64,
    /// Prior variance.
    pub s0_2: f64,
}

impl Prior {
    /// With d0 not above [`D0_CAP`].
    pub fn capped(self) -> Prior {
        Prior { d0: self.d0.min(D0_CAP), ..self }
    }

    /// The moderated variance of one sample (Smyth 2004, section 4). With infinite d0 it is s0^2.
    pub fn moderate(self, v: Variance) -> Variance {
        let df = self.d0 + v.df;
        if df.is_infinite() {
            return Variance { s2: self.s0_2, df };
        }
        Variance { s2: (self.d0 * self.s0_2 + v.df * v.s2) / df, df }
    }
}

/// d0 and s0^2 by the moments of ln s^2 (Smyth 2004, section 6.2), not capped.
///
/// Where the variances scatter no more than chance makes them, d0 is infinite and s0^2 their plain mean (the choice of
/// the `limma` package since 2017). `None` below two positive variances.
pub fn estimate(sample: &[Variance]) -> Option<Prior> {
    let smallest = sample.iter().map(|v| v.s2).filter(|&s2| s2 > 0.0).fold(f64::INFINITY, f64::min);
    if sample.len() < 2 || smallest.is_infinite() || sample.iter().any(|v| v.df.is_nan() || v.df <= 0.0) {
        return None;
    }
    let floored: Vec<f64> = sample.iter().map(|v| v.s2.max(smallest)).collect();
    let e: Vec<f64> = sample
        .iter()
        .zip(&floored)
        .map(|(v, s2)| libm::log(*s2) - digamma(v.df / 2.0) + libm::log(v.df / 2.0))
        .collect();
    let count = sample.len() as f64;
    let centre = mean(&e)?;
    let scatter = sum(e.iter().map(|x| (x - centre) * (x - centre))) / (count - 1.0);
    let chance = sum(sample.iter().map(|v| trigamma(v.df / 2.0))) / count;
    if scatter <= chance {
        return Some(Prior { d0: f64::INFINITY, s0_2: mean(&floored)? });
    }
    let half = trigamma_inverse(scatter - chance);
    Some(Prior { d0: 2.0 * half, s0_2: libm::exp(centre + digamma(half) - libm::log(half)) })
}

/// B_2, B_4, ... B_12 (Abramowitz & Stegun 1964, table 23.2).
const BERNOULLI: [f64; 6] = [1.0 / 6.0, -1.0 / 30.0, 1.0 / 42.0, -1.0 / 30.0, 5.0 / 66.0, -691.0 / 2730.0];

/// Where the asymptotic series are good to full precision.
const FAR: f64 = 16.0;

/// Second derivative of ln gamma, for x > 0: recurrence up to 16, then the series of Abramowitz & Stegun
/// 1964, 6.4.12.
pub fn trigamma(x: f64) -> f64 {
    let (mut x, mut near) = (x, 0.0);
    while x < FAR {
        near += 1.0 / (x * x);
        x += 1.0;
    }
    let square = 1.0 / (x * x);
    let mut power = square / x;
    let mut tail = 0.0;
    for b in BERNOULLI {
        tail += b * power;
        power *= square;
    }
    near + (1.0 / x + (0.5 * square + tail))
}

/// Third derivative of ln gamma, for x > 0 (Abramowitz & Stegun 1964, 6.4.13).
fn tetragamma(x: f64) -> f64 {
    let (mut x, mut near) = (x, 0.0);
    while x < FAR {
        near -= 2.0 / (x * x * x);
        x += 1.0;
    }
    let square = 1.0 / (x * x);
    let (mut power, mut order) = (square * square, 3.0);
    let mut tail = 0.0;
    for b in BERNOULLI {
        tail -= order * b * power;
        power *= square;
        order += 2.0;
    }
    near + (tail - square / x - square)
}

/// y with trigamma(y) = x, for x > 0: Newton's method on 1 / trigamma, which is nearly straight, so that it
/// converges from one side (Smyth 2004, appendix).
pub fn trigamma_inverse(x: f64) -> f64 {
    // Outside these the leading terms of trigamma are exact to double precision.
    if x > 1e7 {
        return 1.0 / x.sqrt();
    }
    if x < 1e-6 {
        return 1.0 / x;
    }
    let mut y = 0.5 + 1.0 / x;
    for _ in 0..50 {
        let here = trigamma(y);
        let step = here * (1.0 - here / x) / tetragamma(y);
        y += step;
        if -step / y < 1e-12 {
            break;
        }
    }
    y
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::PI;

    fn near(got: f64, want: f64, relative: f64) {
        assert!((got / want - 1.0).abs() <= relative, "{got} is not {want}");
    }

    #[test]
    fn trigamma_has_its_closed_values() {
        // Abramowitz & Stegun 1964, 6.4.2 and 6.4.4: pi^2/6 at 1, pi^2/2 at 1/2.
        near(trigamma(1.0), PI * PI / 6.0, 1e-14);
        near(trigamma(0.5), PI * PI / 2.0, 1e-14);
        near(trigamma(2.0), PI * PI / 6.0 - 1.0, 1e-14);
    }

    #[test]
    fn the_inverse_undoes_trigamma() {
        for y in [1e-4, 0.03, 0.5, 1.0, 2.7, 12.0, 400.0, 2e6] {
            near(trigamma_inverse(trigamma(y)), y, 1e-6);
        }
        for y in [0.03, 0.5, 1.0, 2.7, 12.0, 400.0] {
            near(trigamma_inverse(trigamma(y)), y, 1e-12);
        }
    }

    #[test]
    fn zero_variances_enter_at_the_smallest_positive_one() {
        let v = |s2| Variance { s2, df: 2.0 };
        let with_zero = [v(0.0), v(1e-6), v(4e-4), v(2e-5), v(9e-5), v(3e-3)];
        let with_floor = [v(1e-6), v(1e-6), v(4e-4), v(2e-5), v(9e-5), v(3e-3)];
        assert_eq!(estimate(&with_zero), estimate(&with_floor));
        assert_eq!(estimate(&[v(0.0), v(0.0)]), None);
        assert_eq!(estimate(&[v(1.0)]), None);
    }

    #[test]
    fn a_capped_prior_never_claims_more_than_the_cap() {
        let prior = Prior { d0: f64::INFINITY, s0_2: 2.0 };
        let v = Variance { s2: 4.0, df: 2.0 };
        assert_eq!(prior.moderate(v), Variance { s2: 2.0, df: f64::INFINITY });
        assert_eq!(prior.capped().moderate(v), Variance { s2: 108.0 / 52.0, df: 52.0 });
    }
}
