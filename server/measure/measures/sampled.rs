//! What was sampled beside the frames: power, clock, temperature, load and work, over the window's frames.
//!
//! A column of the frame log itself holds for the duration of its frame (steps). A companion's samples are joined by
//! straight lines (trapezoids) over the same span, but never across a hole of more than [`LONGEST_HOLE_NS`].

use crate::recording::{Placed, Recording, Role};
use crate::stats::sum::Sum;
use std::ops::Range;

/// Two samples further apart than this are not joined: one missed reading of a logger that writes each second is
/// bridged, more is a hole (our choice).
pub const LONGEST_HOLE_NS: i64 = 2_500_000_000;

/// A value is given only when samples cover at least this share of the span (our choice), so that a mean over half a
/// pass is never taken for the pass's.
pub const LEAST_COVERAGE: f64 = 0.99;

/// Time-weighted mean and extremes over a span, in the base unit of the role.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sampled {
    /// Integral over covered time divided by covered time.
    pub mean: f64,
    /// Lowest value, at a sample or where the line between two enters or leaves the span.
    pub min: f64,
    /// Highest value, likewise.
    pub max: f64,
}

/// Collects pieces of covered time.
#[derive(Default)]
struct Integral {
    area: Sum,
    covered_ns: i128,
    extremes: Option<(f64, f64)>,
}

impl Integral {
    /// `value` on average over `ns`.
    fn add(&mut self, value: f64, ns: i64) {
        self.area.add(value * ns as f64);
        self.covered_ns += i128::from(ns);
    }

    fn saw(&mut self, value: f64) {
        let (min, max) = self.extremes.get_or_insert((value, value));
        *min = if value < *min { value } else { *min };
        *max = if value > *max { value } else { *max };
    }

    fn over(self, span_ns: i128) -> Option<Sampled> {
        let (min, max) = self.extremes?;
        let covered = self.covered_ns as f64;
        (covered > 0.0 && covered >= LEAST_COVERAGE * span_ns as f64).then(|| Sampled {
            mean: self.area.value() / covered,
            min,
            max,
        })
    }
}

/// The role over the frames `rows` of a recording: from the first placed companion that has such a track, else from
/// the frame log. `None` where nobody recorded it or where it covers too little of the span.
pub fn over_frames(
    role: Role,
    recording: &Recording,
    rows: Range<usize>,
    companions: &[Placed<'_>],
) -> Option<Sampled> {
    companions
        .iter()
        .find_map(|c| Some((c, &c.recording.track(role)?.values)))
        .map(|(companion, values)| from_companion(companion, values, span(recording, rows.clone())?))
        .unwrap_or_else(|| from_frames(&recording.track(role)?.values, recording, rows))
}

/// Mean of a column of the frame log over frames, each counting once (work per frame, seconds), with the same
/// demand on coverage, by frames.
pub fn mean_per_frame(role: Role, recording: &Recording, rows: Range<usize>) -> Option<f64> {
    let values = recording.track(role)?.values.get(rows)?;
    let mut sum = Sum::default();
    let seen = values.iter().filter(|v| v.is_finite()).map(|&v| sum.add(v)).count();
    (seen > 0 && seen as f64 >= LEAST_COVERAGE * values.len() as f64).then(|| sum.value() / seen as f64)
}

/// Start of the first frame and end of the last, ns.
fn span(recording: &Recording, rows: Range<usize>) -> Option<(i64, i64)> {
    let last = rows.end.checked_sub(1).filter(|&last| last >= rows.start)?;
    let end = recording.at_ns.get(last)? + recording.frame_ns.get(last)?;
    Some((*recording.at_ns.get(rows.start)?, end))
}

fn from_frames(values: &[f64], recording: &Recording, rows: Range<usize>) -> Option<Sampled> {
    let mut integral = Integral::default();
    let frames = recording.frame_ns.get(rows.clone())?;
    for (&value, &ns) in values.get(rows)?.iter().zip(frames).filter(|(v, _)| v.is_finite()) {
        integral.saw(value);
        integral.add(value, ns);
    }
    integral.over(frames.iter().map(|&ns| i128::from(ns)).sum())
}

fn from_companion(companion: &Placed<'_>, values: &[f64], (from, to): (i64, i64)) -> Option<Sampled> {
    let mut integral = Integral::default();
    let mut before: Option<(i64, f64)> = None;
    let samples = companion.recording.at_ns.iter().zip(values).filter(|(_, v)| v.is_finite());
    for (&t, &value) in samples {
        let at = pass_time(companion, t);
        if let Some((t0, v0)) = before.filter(|(t0, _)| at - t0 <= LONGEST_HOLE_NS) {
            let (a, b) = (t0.max(from), at.min(to));
            if a < b {
                let line = |t: i64| v0 + (value - v0) * ((t - t0) as f64 / (at - t0) as f64);
                let (va, vb) = (line(a), line(b));
                integral.saw(va);
                integral.saw(vb);
                integral.add((va + vb) / 2.0, b - a);
            }
        }
        before = Some((at, value));
    }
    integral.over(i128::from(to - from))
}

/// Pass time of companion time `t`, ns.
pub(crate) fn pass_time(companion: &Placed<'_>, t: i64) -> i64 {
    let drift = i128::from(t) * i128::from(companion.placing.drift_ppb) / 1_000_000_000;
    companion.placing.offset_ns + t + i64::try_from(drift).unwrap_or(0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::recording::{Kind, Placing, Track, Unit};

    fn track(role: Role, values: Vec<f64>) -> Track {
        Track { role, unit: Unit::Watt, name: "p".into(), values }
    }

    fn recording(kind: Kind, at_ns: Vec<i64>, frame_ns: Vec<i64>, values: Vec<f64>) -> Recording {
        Recording { kind, wall_start_ns: None, at_ns, frame_ns, tracks: vec![track(Role::Power, values)] }
    }

    fn frames(n: i64) -> Recording {
        let mut r = recording(
            Kind::Frames,
            (0..n).map(|i| i * 10_000_000).collect(),
            vec![10_000_000; usize::try_from(n).unwrap()],
            vec![],
        );
        r.tracks.clear();
        r
    }

    #[test]
    fn a_ramp_is_integrated_over_the_frames_alone() {
        // 100 W at 0 s rising 100 W a second; frames from 0 to 1 s: the mean is 150 W.
        let meter =
            recording(Kind::Companion, vec![0, 500_000_000, 2_000_000_000], vec![], vec![0.0, 50.0, 200.0]);
        let placed =
            [Placed { recording: &meter, placing: Placing { offset_ns: -1_000_000_000, drift_ppb: 0 } }];
        let got = over_frames(Role::Power, &frames(100), 0..100, &placed).unwrap();
        assert!((got.mean - 150.0).abs() < 1e-9, "{got:?}");
    }

    #[test]
    fn holes_and_short_companions_give_nothing() {
        let hole = recording(Kind::Companion, vec![0, 4_000_000_000], vec![], vec![100.0, 100.0]);
        let short = recording(Kind::Companion, vec![0, 900_000_000], vec![], vec![100.0, 100.0]);
        for meter in [&hole, &short] {
            let placed = [Placed { recording: meter, placing: Placing { offset_ns: 0, drift_ppb: 0 } }];
            assert_eq!(over_frames(Role::Power, &frames(100), 0..100, &placed), None);
        }
    }

    #[test]
    fn drift_moves_samples() {
        let meter = recording(Kind::Companion, vec![0, 1_000_000_000], vec![], vec![1.0, 1.0]);
        let placed = Placed { recording: &meter, placing: Placing { offset_ns: 5, drift_ppb: 1_000_000 } };
        assert_eq!(pass_time(&placed, 1_000_000_000), 1_001_000_005);
    }

    #[test]
    fn a_frame_logs_own_column_is_weighted_by_time() {
        let log = recording(Kind::Frames, vec![0, 10, 40], vec![10, 30, 10], vec![100.0, 200.0, f64::NAN]);
        let got = over_frames(Role::Power, &log, 0..2, &[]).unwrap();
        assert_eq!(got, Sampled { mean: 175.0, min: 100.0, max: 200.0 });
        assert_eq!(over_frames(Role::Power, &log, 0..3, &[]), None);
        assert_eq!(mean_per_frame(Role::Power, &log, 0..2), Some(150.0));
        assert_eq!(mean_per_frame(Role::Power, &log, 0..3), None);
        assert_eq!(over_frames(Role::Clock, &log, 0..2, &[]), None);
    }
}
