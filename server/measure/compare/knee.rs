//! The knee of a curve: where more watts begin to bring clearly less.
//!
//! Kneedle (Satopaa, Albrecht, Irwin & Raghavan 2011, ICDCS workshops): both axes scaled to 0..1, D = y - x; a local
//! maximum of D is a knee when D falls below D_max - S * mean step before the next local maximum. It depends on the
//! measured range: a longer range moves it. So it is called on the concave curve alone, on a fine grid, shown as a help
//! for the eye, and always said with the range.

use super::curve::Curve;
use serde::Serialize;

/// Sensitivity of the paper for data without noise.
const SENSITIVITY: f64 = 1.0;
/// Steps of the grid that a curve is looked at on.
const GRID: usize = 200;
/// A curve whose D stays below this is as good as straight, and no knee is named (our choice).
const LEAST_BEND: f64 = 0.03;

/// A knee, with what it was found in.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Knee {
    /// Where, W.
    pub watts: f64,
    /// First and last measured watts.
    pub range: (f64, f64),
}

/// The knee of a curve; `None` where it is as good as straight.
pub fn knee(curve: &Curve) -> Option<Knee> {
    let range = curve.range()?;
    let step = (range.1 - range.0) / GRID as f64;
    let mut grid: Vec<f64> = (0..GRID).map(|n| range.0 + n as f64 * step).collect();
    grid.extend(curve.corners.iter().map(|corner| corner.0));
    grid.sort_by(f64::total_cmp);
    grid.dedup();
    let points: Vec<(f64, f64)> = grid.into_iter().filter_map(|w| Some((w, curve.at(w)?))).collect();
    let distances = distances(&points)?;
    let bend = distances.iter().copied().fold(0.0, f64::max);
    if bend < LEAST_BEND {
        return None;
    }
    first(&points, SENSITIVITY).map(|watts| Knee { watts, range })
}

/// D of each point; `None` where an axis has no length.
fn distances(points: &[(f64, f64)]) -> Option<Vec<f64>> {
    let ends = |pick: fn(&(f64, f64)) -> f64| {
        let (low, high) = points
            .iter()
            .map(pick)
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| (low.min(v), high.max(v)));
        (high > low).then_some((low, high))
    };
    let (x, y) = (ends(|p| p.0)?, ends(|p| p.1)?);
    Some(points.iter().map(|p| (p.1 - y.0) / (y.1 - y.0) - (p.0 - x.0) / (x.1 - x.0)).collect())
}

/// x of the first knee of points that rise and bend to the right, x ascending.
pub fn first(points: &[(f64, f64)], sensitivity: f64) -> Option<f64> {
    let d = distances(points)?;
    let mean_step = 1.0 / (d.len() as f64 - 1.0);
    // At the ends a point is its own neighbour.
    let beside = |i: usize| (d[i.saturating_sub(1)], d[(i + 1).min(d.len() - 1)]);
    let mut open: Option<(usize, f64)> = None;
    for i in 0..d.len() - 1 {
        let (before, after) = beside(i);
        if d[i] >= before && d[i] >= after {
            open = Some((i, d[i] - sensitivity * mean_step));
        }
        if d[i] <= before && d[i] <= after {
            open = open.map(|(at, _)| (at, 0.0));
        }
        if let Some((at, threshold)) = open
            && d[i + 1] < threshold
        {
            return Some(points[at].0);
        }
    }
    None
}

#[cfg(test)]
mod tests {
    use super::super::curve::fit;
    use super::*;

    #[test]
    fn the_corner_is_found_whatever_the_number_of_points() {
        let bent = fit(&[(300.0, 60.0), (400.0, 90.0), (500.0, 95.0)]).unwrap();
        assert_eq!(knee(&bent).unwrap().watts, 400.0);
        let more = fit(&[(300.0, 60.0), (350.0, 75.0), (400.0, 90.0), (450.0, 92.5), (500.0, 95.0)]).unwrap();
        let found = knee(&more).unwrap();
        assert!((found.watts - 400.0).abs() < 1e-9);
        assert_eq!(found.range, (300.0, 500.0));
    }

    #[test]
    fn a_straight_or_level_curve_has_no_knee() {
        let straight = fit(&[(300.0, 60.0), (400.0, 70.0), (500.0, 80.2)]).unwrap();
        assert_eq!(knee(&straight), None);
        let level = fit(&[(300.0, 60.0), (400.0, 60.0), (500.0, 60.0)]).unwrap();
        assert_eq!(knee(&level), None);
    }
}
