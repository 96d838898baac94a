//! Frame rate over watts: the monotone concave curve nearest to the points, what ten watts more bring along it, and how
//! sure it is.
//!
//! More watts never make a part slower and each next watt brings no more than the one before; errors of measurement
//! hide that. Fit: a + sum_{j>=2} d_j (min(w, w_j) - w_1) with d_j >= 0 and a free, by weighted least squares; its
//! fitted values are the only nearest monotone concave ones (Hildreth 1954, J. Am. Stat. Assoc. 49:598-619). Points at
//! the same watts are averaged first. Between the first and last measured watts only: nothing is said beyond.
//!
//! Band: [`REFITS`] refits of points drawn anew about their values, rate and watts each log-normal with the spread that
//! makes its 95% interval (a parametric bootstrap over the passes' standard errors; Efron & Tibshirani 1993, ch. 6.5
//! [edition and chapter from memory]); 2.5% and 97.5% quantiles of what the refits say. Passes themselves are too few a
//! cell to be resampled.

use super::Interval;
use super::knee::knee;
use crate::stats::distributions::normal_quantile;
use crate::stats::nnls::nnls;
use crate::stats::rng::{Stream, Streams, unit};
use crate::stats::sum::sum;
use serde::Serialize;

/// Fewest different watts that make a curve: two are a line whatever they are.
pub const FEWEST: usize = 3;
/// Refits behind a band.
pub const REFITS: usize = 400;
/// Steps between the first and last watts at which a band is given.
const STEPS: usize = 40;

/// A tuning as it was measured.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Point {
    /// Mean power, W; above 0.
    pub watts: f64,
    /// Frame rate, fps; above 0.
    pub rate: f64,
    /// 95% interval of the watts; `None`: not known, taken as exact.
    pub watts_interval: Option<Interval>,
    /// 95% interval of the rate; `None`: not known, taken as exact.
    pub rate_interval: Option<Interval>,
}

/// A monotone concave curve: straight between its corners.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Curve {
    /// Corners: watts, ascending, each once, with the fitted rate in fps.
    pub corners: Vec<(f64, f64)>,
}

/// What is known of a curve's error.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Band {
    /// Watts and the 95% interval of the rate there.
    pub rates: Vec<(f64, Interval)>,
    /// Where the knee may be, W: 95% of the refits, out to the measured points next to them, as a fit turns at measured
    /// points alone; `None` where fewer than half the refits have a knee.
    pub knee: Option<Interval>,
}

/// The curve nearest to `points`, each with the same weight; `None` below [`FEWEST`] different watts.
pub fn fit(points: &[(f64, f64)]) -> Option<Curve> {
    let places = merged(points);
    let (first, last) = (places.first()?.0, places.last()?.0);
    if places.len() < FEWEST {
        return None;
    }
    let total = sum(places.iter().map(|p| p.2));
    // The constant is free: columns and rates are taken about their weighted means, which takes it out.
    let centred = |values: Vec<f64>| -> Vec<f64> {
        let mean = sum(values.iter().zip(&places).map(|(v, p)| v * p.2)) / total;
        values.into_iter().map(|v| v - mean).collect()
    };
    let span = last - first;
    let basis = |corner: f64| places.iter().map(|p| (p.0.min(corner) - first) / span).collect::<Vec<f64>>();
    let columns: Vec<Vec<f64>> = places[1..].iter().map(|p| centred(basis(p.0))).collect();
    let rates = centred(places.iter().map(|p| p.1).collect());
    let product = |a: &[f64], b: &[f64]| sum(a.iter().zip(b).zip(&places).map(|((a, b), p)| a * b * p.2));
    let gram: Vec<Vec<f64>> =
        columns.iter().map(|a| columns.iter().map(|b| product(a, b)).collect()).collect();
    let gains: Vec<f64> = columns.iter().map(|a| product(a, &rates)).collect();
    let slopes = nnls(&gram, &gains);
    let mean = sum(places.iter().map(|p| p.1 * p.2)) / total;
    let corners = places.iter().enumerate().map(|(at, place)| {
        (place.0, mean + sum(columns.iter().zip(&slopes).map(|(column, slope)| column[at] * slope)))
    });
    Some(Curve { corners: corners.collect() })
}

/// Different watts ascending, with the mean rate and how many points there are.
fn merged(points: &[(f64, f64)]) -> Vec<(f64, f64, f64)> {
    let mut sorted = points.to_vec();
    sorted.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut places: Vec<(f64, f64, f64)> = Vec::new();
    for (watts, rate) in sorted {
        match places.last_mut() {
            Some(place) if place.0 == watts => {
                place.1 += (rate - place.1) / (place.2 + 1.0);
                place.2 += 1.0;
            }
            _ => places.push((watts, rate, 1.0)),
        }
    }
    places
}

impl Curve {
    /// Rate at these watts, fps; `None` outside the measured range.
    pub fn at(&self, watts: f64) -> Option<f64> {
        let pair = self.corners.windows(2).find(|p| p[0].0 <= watts && watts <= p[1].0)?;
        let share = (watts - pair[0].0) / (pair[1].0 - pair[0].0);
        Some(pair[0].1 + share * (pair[1].1 - pair[0].1))
    }

    /// Frames a second that the next watt brings at these watts; at a corner, what it brings beyond it. `None` outside
    /// the measured range and at its end.
    pub fn marginal(&self, watts: f64) -> Option<f64> {
        let pair = self.corners.windows(2).find(|p| p[0].0 <= watts && watts < p[1].0)?;
        Some((pair[1].1 - pair[0].1) / (pair[1].0 - pair[0].0))
    }

    /// First and last measured watts.
    pub fn range(&self) -> Option<(f64, f64)> {
        Some((self.corners.first()?.0, self.corners.last()?.0))
    }

    /// An interval of watts out to the corners next to it.
    fn beside(&self, Interval { low, high }: Interval) -> Interval {
        let corners = || self.corners.iter().map(|corner| corner.0);
        let below = corners().filter(|watts| *watts < low).reduce(f64::max);
        let above = corners().filter(|watts| *watts > high).reduce(f64::min);
        Interval { low: below.unwrap_or(low), high: above.unwrap_or(high) }
    }

    fn clamped(&self, watts: f64) -> Option<f64> {
        let (first, last) = self.range()?;
        self.at(watts.clamp(first, last))
    }
}

/// The error of the curve through `points`; `None` where there is no curve. `of` names what the points are of, so that
/// the same points give the same band.
pub fn band(points: &[Point], of: &[u8]) -> Option<Band> {
    let fitted = fit(&values(points))?;
    let (first, last) = fitted.range()?;
    let streams = Streams::of(&[b"curve", of]);
    let refits: Vec<Curve> = (0..REFITS as u64)
        .filter_map(|nth| {
            let mut stream = streams.stream(nth);
            let drawn: Vec<(f64, f64)> = points
                .iter()
                .map(|p| {
                    (
                        drawn(p.watts, p.watts_interval, &mut stream),
                        drawn(p.rate, p.rate_interval, &mut stream),
                    )
                })
                .collect();
            fit(&drawn)
        })
        .collect();
    let rates = (0..=STEPS).filter_map(|step| {
        let watts = first + (last - first) * step as f64 / STEPS as f64;
        let said: Vec<f64> = refits.iter().filter_map(|curve| curve.clamped(watts)).collect();
        Some((watts, middle(said)?))
    });
    let knees: Vec<f64> = refits.iter().filter_map(|curve| Some(knee(curve)?.watts)).collect();
    let often = 2 * knees.len() >= refits.len();
    let knee = if often { middle(knees).map(|found| fitted.beside(found)) } else { None };
    Some(Band { rates: rates.collect(), knee })
}

/// The points without their errors.
pub fn values(points: &[Point]) -> Vec<(f64, f64)> {
    points.iter().map(|p| (p.watts, p.rate)).collect()
}

fn drawn(value: f64, interval: Option<Interval>, stream: &mut Stream) -> f64 {
    // Half a step above the grid of `unit`, so that 0 is never asked for.
    let z = normal_quantile(unit(stream.bits()) + 0.5 / (1_u64 << 53) as f64);
    let Some(Interval { low, high }) = interval else { return value };
    let spread = libm::log(high / low) / 2.0 / normal_quantile(0.975);
    value * libm::exp(spread * z)
}

/// The 2.5% and 97.5% quantiles, by the nearest rank.
fn middle(mut values: Vec<f64>) -> Option<Interval> {
    values.sort_by(f64::total_cmp);
    let skipped = values.len() / 40;
    Some(Interval { low: *values.get(skipped)?, high: *values.get(values.len() - 1 - skipped)? })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Common practice, no source: a card at 400, 450, 500 and 575 W gives 83, 88, 91 and 93 fps.
    const TRADE: [(f64, f64); 4] = [(400.0, 83.0), (450.0, 88.0), (500.0, 91.0), (575.0, 93.0)];

    #[test]
    fn points_that_are_monotone_and_concave_are_their_own_curve() {
        let curve = fit(&TRADE).unwrap();
        for (got, want) in curve.corners.iter().zip(TRADE) {
            assert!((got.1 - want.1).abs() < 1e-9, "{curve:?}");
        }
        // The gain falls off: 10 W bring 1.0, then 0.6, then under 0.3 frames a second.
        let tens: Vec<f64> = [400.0, 450.0, 500.0].map(|w| 10.0 * curve.marginal(w).unwrap()).to_vec();
        assert!((tens[0] - 1.0).abs() < 1e-9 && (tens[1] - 0.6).abs() < 1e-9 && tens[2] < 0.3, "{tens:?}");
        assert_eq!((curve.at(399.0), curve.marginal(575.0), curve.at(576.0)), (None, None, None));
    }

    #[test]
    fn a_point_that_falls_or_bends_the_wrong_way_is_drawn_onto_the_curve() {
        let curve = fit(&[(300.0, 80.0), (350.0, 79.0), (400.0, 95.0), (450.0, 94.0)]).unwrap();
        let slopes: Vec<f64> =
            curve.corners.windows(2).map(|p| (p[1].1 - p[0].1) / (p[1].0 - p[0].0)).collect();
        assert!(
            slopes.is_sorted_by(|a, b| *a >= *b - 1e-12) && slopes.iter().all(|s| *s >= -1e-12),
            "{slopes:?}"
        );
    }

    #[test]
    fn two_watts_make_no_curve_and_equal_ones_count_together() {
        assert_eq!(fit(&TRADE[..2]), None);
        assert_eq!(fit(&[(400.0, 83.0), (400.0, 85.0), (450.0, 88.0)]), None);
        let doubled = fit(&[(400.0, 82.0), (400.0, 84.0), (450.0, 88.0), (500.0, 91.0)]).unwrap();
        assert!((doubled.corners[0].1 - 83.0).abs() < 1e-9);
    }

    #[test]
    fn the_band_holds_the_curve_and_is_the_same_each_time() {
        let point = |(watts, rate): (f64, f64)| Point {
            watts,
            rate,
            watts_interval: Some(Interval { low: watts * 0.995, high: watts * 1.005 }),
            rate_interval: Some(Interval { low: rate * 0.99, high: rate * 1.01 }),
        };
        let points = TRADE.map(point);
        let found = band(&points, b"x").unwrap();
        let curve = fit(&TRADE).unwrap();
        for (watts, interval) in &found.rates {
            assert!(interval.holds(curve.at(*watts).unwrap()), "{watts} {interval:?}");
            assert!(interval.high - interval.low < 4.0);
        }
        assert_eq!(found, band(&points, b"x").unwrap());
        let exact = points.map(|p| Point { watts_interval: None, rate_interval: None, ..p });
        let found = band(&exact, b"x").unwrap();
        assert!(found.rates.iter().all(|(_, i)| i.high - i.low < 1e-9));
    }
}
