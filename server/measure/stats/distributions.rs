//! Student's t and the normal distribution: probabilities and quantiles for intervals and tests.
//!
//! Computed by the `statrs` crate. Its t quantile is good to 1e-12 relative up to a few hundred degrees of freedom
//! but loses digits far above; beyond [`NORMAL_BEYOND`] the normal distribution is used, which there differs
//! from t by less than 1.5e-5 relative (Abramowitz & Stegun 1964, 26.7.8: the leading term is (z^3 + z) / 4 df).

use statrs::distribution::{ContinuousCDF, Normal, StudentsT};

/// Degrees of freedom above which Student's t is taken as normal.
pub const NORMAL_BEYOND: f64 = 1e5;

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
    if df > NORMAL_BEYOND {
        return normal_cdf(t);
    }
    StudentsT::new(0.0, 1.0, df).map_or(f64::NAN, |d| d.cdf(t))
}

/// One-sided quantile: t with P(T <= t) = p. `NaN` unless 0 < p < 1 and df > 0.
pub fn t_quantile(p: f64, df: f64) -> f64 {
    if df > NORMAL_BEYOND {
        return normal_quantile(p);
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
    fn both_sides_of_the_change_to_the_normal_agree() {
        let (t, z) = (t_two_sided(0.95, NORMAL_BEYOND), t_two_sided(0.95, NORMAL_BEYOND * 1.001));
        assert!(z < t && (t / z - 1.0) < 1.5e-5, "{t} {z}");
    }
}
