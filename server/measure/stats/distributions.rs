//! Student's t, F and the normal distribution: probabilities and quantiles for intervals and tests.
//!
//! Computed by the `statrs` crate, whose t is good to 1e-12 relative up to [`LARGE`] degrees of freedom and loses
//! digits above. There the expansions about the normal distribution are used, which are good to 1e-10: Abramowitz &
//! Stegun 1964, 26.7.5 for quantiles; Hill 1970 (CACM 13:617-619, algorithm 395) for probabilities.

use statrs::distribution::{ContinuousCDF, FisherSnedecor, Normal, StudentsT};

/// Degrees of freedom above which t is expanded about the normal distribution.
pub const LARGE: f64 = 1000.0;

/// Cumulative probability P(Z <= z) of the standard normal distribution.
pub fn normal_cdf(z: f64) -> f64 {
    Normal::standard().cdf(z)
}

/// z with P(Z <= z) = p. `NaN` unless 0 < p < 1.
pub fn normal_quantile(p: f64) -> f64 {
    if p > 0.0 && p < 1.0 { Normal::standard().inverse_cdf(p) } else { f64::NAN }
}

/// Cumulative probability P(T <= t) on `df` degrees of freedom (Student 1908). `NaN` unless df > 0.
pub fn t_cdf(t: f64, df: f64) -> f64 {
    if df > LARGE {
        // Hill's normal deviate, up to terms of 1/df^2.
        let a = df - 0.5;
        let y = a * libm::log1p(t * t / df);
        let z = y.sqrt() * (1.0 + (y + 3.0) / (48.0 * a * a));
        return normal_cdf(z.copysign(t));
    }
    StudentsT::new(0.0, 1.0, df).map_or(f64::NAN, |d| d.cdf(t))
}

/// One-sided quantile: t with P(T <= t) = p. `NaN` unless 0 < p < 1 and df > 0.
pub fn t_quantile(p: f64, df: f64) -> f64 {
    if df > LARGE {
        let z = normal_quantile(p);
        let y = z * z;
        let first = (y + 1.0) / 4.0;
        let second = ((5.0 * y + 16.0) * y + 3.0) / 96.0;
        let third = (((3.0 * y + 19.0) * y + 17.0) * y - 15.0) / 384.0;
        return z * (1.0 + (first + (second + third / df) / df) / df);
    }
    if !(p > 0.0 && p < 1.0) {
        return f64::NAN;
    }
    StudentsT::new(0.0, 1.0, df).map_or(f64::NAN, |d| d.inverse_cdf(p))
}

/// Two-sided quantile: t with P(|T| <= t) = level, e.g. level 0.95 gives t_{0.975}. `NaN` unless 0 < level < 1 and
/// df > 0.
pub fn t_two_sided(level: f64, df: f64) -> f64 {
    t_quantile(0.5 + level / 2.0, df)
}

/// Two-sided tail probability P(|T| >= |t|) on `df` degrees of freedom. `NaN` unless df > 0.
pub fn t_two_sided_p(t: f64, df: f64) -> f64 {
    2.0 * t_cdf(-t.abs(), df)
}

/// F with P(X <= F) = p on `df1` and `df2` degrees of freedom (Fisher, Snedecor). `NaN` unless 0 < p < 1 and both are
/// above 0.
pub fn f_quantile(p: f64, df1: f64, df2: f64) -> f64 {
    if !(p > 0.0 && p < 1.0) {
        return f64::NAN;
    }
    FisherSnedecor::new(df1, df2).map_or(f64::NAN, |d| d.inverse_cdf(p))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn impossible_arguments_give_not_a_number() {
        for bad in [t_quantile(0.0, 3.0), t_quantile(1.0, 3.0), t_quantile(0.5, 0.0), t_quantile(0.9, -1.0)] {
            assert!(bad.is_nan());
        }
        assert!(normal_quantile(1.0).is_nan());
        assert!(t_two_sided_p(1.0, f64::NAN).is_nan());
    }

    #[test]
    fn both_ways_to_compute_t_meet() {
        let (below, above) = (LARGE, LARGE + 1e-9);
        for p in [0.6, 0.975, 0.9995, 0.025] {
            assert!((t_quantile(p, above) / t_quantile(p, below) - 1.0).abs() < 1e-10);
        }
        for t in [-4.0, -0.5, 0.0, 2.0] {
            assert!((t_cdf(t, above) / t_cdf(t, below) - 1.0).abs() < 1e-10, "{t}");
        }
    }
}
