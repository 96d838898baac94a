//! Frame pacing: the spread of successive frame times, and hitches.

use super::rates::NS_PER_MS;
use crate::stats::robust::{local_median, local_sd};
use serde::{Deserialize, Serialize};

/// Root mean square of the differences between successive frame times, ms: the root of the mean square successive
/// difference (von Neumann, Kent, Bellinson & Hart 1941, Ann. Math. Stat. 12:153-162). It sees uneven pacing and is
/// blind to slow changes of load. `None` below two frames.
pub fn successive_ms(frame_ns: &[i64]) -> Option<f64> {
    let pairs = frame_ns.len().checked_sub(1).filter(|&n| n > 0)?;
    let squares: u128 = frame_ns.windows(2).map(|w| u128::from(w[1].abs_diff(w[0]))).map(|d| d * d).sum();
    Some((squares as f64 / pairs as f64).sqrt() / NS_PER_MS)
}

/// Frames on each side of a frame that make its neighbourhood (cut at the ends of the window).
pub const NEIGHBOURS: usize = 30;
/// A hitch lies this many robust standard deviations above its neighbourhood's median. Hampel's filter takes 3 to
/// clean a series; we mark for a reader only what stands far apart (our choice).
pub const DEVIATIONS: f64 = 8.0;
/// It lasts at least this many times its neighbourhood's median (our choice) ...
pub const RATIO: f64 = 1.75;
/// ... and loses at least this long, ns: shorter delays are not seen (common practice, no source).
pub const FLOOR_NS: i64 = 4_000_000;

/// A frame that took far longer than its neighbours.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Hitch {
    /// Start on the pass's clock, ns.
    pub start_ns: i64,
    /// Row in the recording.
    pub frame: usize,
    /// Duration, ms.
    pub ms: f64,
    /// Excess over the median of its neighbourhood, ms.
    pub lost_ms: f64,
}

/// Hitches of a window, in order of time.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Hitches {
    /// How many.
    pub count: usize,
    /// The longest, ms; `None` where there is none.
    pub worst_ms: Option<f64>,
    /// Sum of their excess, ms.
    pub lost_ms: f64,
    /// Each of them.
    pub list: Vec<Hitch>,
}

/// Rows of the hitches among the frames of a window, with their excess over the median of their neighbourhood, ns.
///
/// Hampel's filter (Hampel 1974; Davies & Gather 1993; window cut at the ends) with floors: a frame longer than its
/// neighbourhood's median by more than [`DEVIATIONS`] scaled median absolute deviations, at least [`RATIO`] times as long,
/// and longer by at least [`FLOOR_NS`]. It marks; no measure of rate ever leaves a frame out.
pub fn hitch_rows(frame_ns: &[i64]) -> Vec<(usize, i64)> {
    let lowest: Vec<i64> =
        frame_ns.chunks(NEIGHBOURS).map(|of| of.iter().copied().fold(i64::MAX, i64::min)).collect();
    let far = |ns: i64, usual: i64| ns - usual >= FLOOR_NS && ns as f64 >= RATIO * usual as f64;
    let mut hitches = Vec::new();
    for (stretch, of) in frame_ns.chunks(NEIGHBOURS).enumerate() {
        // No median of a neighbourhood is below the lowest of three stretches, and few frames are far from that.
        let about = stretch.saturating_sub(1)..(stretch + 2).min(lowest.len());
        let least = lowest[about].iter().copied().fold(i64::MAX, i64::min);
        for (row, &ns) in (stretch * NEIGHBOURS..).zip(of).filter(|(_, ns)| far(**ns, least)) {
            let median = local_median(frame_ns, row, NEIGHBOURS);
            let lost = ns - median;
            if far(ns, median) && lost as f64 > DEVIATIONS * local_sd(frame_ns, row, NEIGHBOURS, median) {
                hitches.push((row, lost));
            }
        }
    }
    hitches
}

/// Hitches of a window. `at_ns` and `frame_ns` are its rows, `first_row` the place of the first of them in the recording.
pub fn hitches(at_ns: &[i64], frame_ns: &[i64], first_row: usize) -> Hitches {
    let found = hitch_rows(frame_ns);
    let list: Vec<Hitch> = found
        .iter()
        .filter_map(|&(row, lost)| {
            let (start_ns, ns) = (*at_ns.get(row)?, *frame_ns.get(row)?);
            let [ms, lost_ms] = [ns, lost].map(|ns| ns as f64 / NS_PER_MS);
            Some(Hitch { start_ns, frame: first_row + row, ms, lost_ms })
        })
        .collect();
    Hitches {
        count: list.len(),
        worst_ms: list.iter().map(|h| h.ms).max_by(f64::total_cmp),
        lost_ms: found.iter().map(|&(_, lost)| lost).sum::<i64>() as f64 / NS_PER_MS,
        list,
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;
    use proptest::test_runner::RngSeed;

    use super::*;

    proptest! {
        #![proptest_config(ProptestConfig { rng_seed: RngSeed::Fixed(16), ..ProptestConfig::default() })]

        /// The rule as it is written, frame by frame.
        #[test]
        fn hitches_are_those_of_the_rule(frame_ns in prop::collection::vec(
            prop_oneof![9 => 8_000_000_i64..9_000_000, 1 => 1_000_000_i64..60_000_000], 0..300)
        ) {
            let rule = |row: usize| {
                let median = local_median(&frame_ns, row, NEIGHBOURS);
                let (ns, lost) = (frame_ns[row], frame_ns[row] - median);
                let far = lost >= FLOOR_NS && ns as f64 >= RATIO * median as f64;
                let apart = lost as f64 > DEVIATIONS * local_sd(&frame_ns, row, NEIGHBOURS, median);
                (far && apart).then_some((row, lost))
            };
            let want: Vec<_> = (0..frame_ns.len()).filter_map(rule).collect();
            prop_assert_eq!(hitch_rows(&frame_ns), want);
        }
    }

    #[test]
    fn successive_differences_of_even_uneven_and_short_passes() {
        assert_eq!(successive_ms(&[5_000_000; 10]), Some(0.0));
        assert_eq!(successive_ms(&[8_000_000, 12_000_000, 8_000_000, 12_000_000]), Some(4.0));
        assert_eq!(successive_ms(&[5_000_000]), None);
        assert_eq!(successive_ms(&[]), None);
    }

    fn at(frame_ns: &[i64]) -> Vec<i64> {
        frame_ns.iter().scan(0, |t, ns| Some(std::mem::replace(t, *t + ns))).collect()
    }

    #[test]
    fn a_late_frame_is_a_hitch_with_its_time_and_loss() {
        let mut frame_ns = vec![10_000_000; 200];
        frame_ns[120] = 45_000_000;
        frame_ns[150] = 13_900_000;
        let got = hitches(&at(&frame_ns), &frame_ns, 1000);
        let hitch = Hitch { start_ns: 1_200_000_000, frame: 1120, ms: 45.0, lost_ms: 35.0 };
        assert_eq!(got, Hitches { count: 1, worst_ms: Some(45.0), lost_ms: 35.0, list: vec![hitch] });
    }

    #[test]
    fn neither_noise_nor_a_step_is_a_hitch() {
        let noise: Vec<i64> = (0..400).map(|i| 20_000_000 + i * 7919 % 101 * 300_000).collect();
        let step: Vec<i64> = (0..400).map(|i| if i < 200 { 8_000_000 } else { 20_000_000 }).collect();
        for frame_ns in [noise, step, vec![]] {
            assert_eq!(hitches(&at(&frame_ns), &frame_ns, 0), Hitches::default());
        }
    }
}
