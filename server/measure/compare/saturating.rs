//! The saturating law y = b1 (1 - exp(-b2 x)): a second opinion on what more watts bring, by a form instead of a shape.
//!
//! For a given b2 the best b1 is known (the law is linear in it), so b2 alone is searched: a scan on a log scale, golden
//! section about the best, then Gauss-Newton steps on both for the last digits. It says nothing outside the measured
//! range: [`Law::at`] refuses.

use crate::stats::sum::sum;
use serde::Serialize;

/// Steps of the scan over twelve powers of e below and six above 1 / largest x.
const SCAN: usize = 360;
const GOLDEN: f64 = 0.618_033_988_749_894_8;

/// The law with its coefficients.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Law {
    /// What it approaches, in the unit of y.
    pub b1: f64,
    /// How fast, 1 / unit of x.
    pub b2: f64,
    /// Sum of squared misfits.
    pub squares: f64,
    /// Least and largest x that it was fitted to.
    pub range: (f64, f64),
}

/// The law nearest to the points; `None` below three points or where no such law comes near (y does not rise).
pub fn fit(points: &[(f64, f64)]) -> Option<Law> {
    let xs = || points.iter().map(|p| p.0);
    let range = (xs().fold(f64::INFINITY, f64::min), xs().fold(0.0, f64::max));
    if points.len() < 3 || range.0 < 0.0 || range.1 <= range.0 {
        return None;
    }
    let log_b2 = |n: usize| n as f64 / SCAN as f64 * 18.0 - 12.0 - libm::log(range.1);
    let best = (0..=SCAN).min_by(|a, b| {
        squares_at(points, libm::exp(log_b2(*a))).total_cmp(&squares_at(points, libm::exp(log_b2(*b))))
    })?;
    // At an end of the scan the law is a straight line or a step: nothing saturates within the range.
    if best == 0 || best == SCAN {
        return None;
    }
    let (mut low, mut high) = (log_b2(best - 1), log_b2(best + 1));
    for _ in 0..60 {
        let (a, b) = (high - GOLDEN * (high - low), low + GOLDEN * (high - low));
        if squares_at(points, libm::exp(a)) < squares_at(points, libm::exp(b)) {
            high = b;
        } else {
            low = a;
        }
    }
    let mut b2 = libm::exp((low + high) / 2.0);
    let mut b1 = scale_at(points, b2);
    for _ in 0..8 {
        (b1, b2) = stepped(points, b1, b2)?;
    }
    let misfits = points.iter().map(|(x, y)| y - b1 * rise(b2 * x));
    Some(Law { b1, b2, squares: sum(misfits.map(|r| r * r)), range })
}

/// 1 - exp(-t), exact for small t.
fn rise(t: f64) -> f64 {
    -libm::expm1(-t)
}

fn scale_at(points: &[(f64, f64)], b2: f64) -> f64 {
    sum(points.iter().map(|(x, y)| y * rise(b2 * x))) / sum(points.iter().map(|(x, _)| rise(b2 * x).powi(2)))
}

fn squares_at(points: &[(f64, f64)], b2: f64) -> f64 {
    let b1 = scale_at(points, b2);
    sum(points.iter().map(|(x, y)| (y - b1 * rise(b2 * x)).powi(2)))
}

/// One Gauss-Newton step; `None` where the two coefficients cannot be told apart.
fn stepped(points: &[(f64, f64)], b1: f64, b2: f64) -> Option<(f64, f64)> {
    let rows = || {
        points.iter().map(move |(x, y)| {
            let (d1, d2) = (rise(b2 * x), b1 * x * libm::exp(-b2 * x));
            (d1, d2, y - b1 * d1)
        })
    };
    let (a, b, c) =
        (sum(rows().map(|r| r.0 * r.0)), sum(rows().map(|r| r.0 * r.1)), sum(rows().map(|r| r.1 * r.1)));
    let (g1, g2) = (sum(rows().map(|r| r.0 * r.2)), sum(rows().map(|r| r.1 * r.2)));
    let determinant = a * c - b * b;
    (determinant > a * c * 1e-14)
        .then(|| (b1 + (c * g1 - b * g2) / determinant, b2 + (a * g2 - b * g1) / determinant))
}

impl Law {
    /// y at x; `None` outside the measured range: what lies beyond is not known.
    pub fn at(&self, x: f64) -> Option<f64> {
        self.within(x).then(|| self.b1 * rise(self.b2 * x))
    }

    /// What the next unit of x brings at x; `None` outside the measured range.
    pub fn marginal(&self, x: f64) -> Option<f64> {
        self.within(x).then(|| self.b1 * self.b2 * libm::exp(-self.b2 * x))
    }

    fn within(&self, x: f64) -> bool {
        self.range.0 <= x && x <= self.range.1
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_law_is_found_again_and_says_nothing_beyond_its_range() {
        let points: Vec<(f64, f64)> =
            [300.0, 350.0, 400.0, 450.0].map(|x| (x, 100.0 * rise(0.006 * x))).to_vec();
        let law = fit(&points).unwrap();
        assert!((law.b1 - 100.0).abs() < 1e-6 && (law.b2 - 0.006).abs() < 1e-10, "{law:?}");
        assert!((law.marginal(400.0).unwrap() - 0.6 * libm::exp(-2.4)).abs() < 1e-8);
        assert_eq!((law.at(299.0), law.at(451.0), law.marginal(500.0)), (None, None, None));
    }

    #[test]
    fn what_does_not_saturate_has_no_law() {
        assert_eq!(fit(&[(1.0, 1.0), (2.0, 2.0), (3.0, 3.0)]), None);
        assert_eq!(fit(&[(1.0, 1.0), (2.0, 2.0)]), None);
    }
}
