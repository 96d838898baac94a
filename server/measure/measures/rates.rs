//! Average frame rate, the three lows and percentiles of frame times.
//!
//! Frame times are whole nanoseconds, so sums, ranks and shares are exact; each value is rounded at the end only.

use super::catalogue::{LowDefinition, Tail};
use crate::stats::order::{Share, type_7_position};
use serde::{Deserialize, Serialize};

/// `numerator / denominator`, each rounded once on its way to a double.
fn ratio(numerator: i128, denominator: i128) -> f64 {
    numerator as f64 / denominator as f64
}

/// Nanoseconds in a second.
const NS_PER_S: i128 = 1_000_000_000;

/// Nanoseconds in a millisecond.
pub const NS_PER_MS: f64 = 1e6;

/// Frames divided by seconds, fps: the harmonic mean of the instantaneous rates (Hoefler & Belli 2015, sec. 3.1.1,
/// rule 3). `None` without frames.
pub fn average_fps(frames: usize, total_ns: i64) -> Option<f64> {
    (frames > 0 && total_ns > 0).then(|| ratio(frames as i128 * NS_PER_S, i128::from(total_ns)))
}

fn share_of(tail: Tail) -> Share {
    Share::permille(u32::from(tail.permille()))
}

/// How many of the slowest frames the lows of a tail look at: what the type 7 quantile needs, which is never less
/// than what the other two need.
pub fn frames_needed(frames: usize, tail: Tail) -> usize {
    let quick = Share::permille(1000 - u32::from(tail.permille()));
    frames - type_7_position(frames, quick).0.min(frames)
}

/// Frames of which fewer are put in order altogether.
const FEW: usize = 64;

/// Durations from the longest down as far as the lows and [`frame_times`] look: the slowest twentieth, and the two
/// beside the median. The others stand somewhere between, which takes a tenth of the time of a whole order.
pub fn slowest_first(frame_ns: &[i64]) -> Vec<i64> {
    let mut times = frame_ns.to_vec();
    let down = |a: &i64, b: &i64| b.cmp(a);
    if times.len() < FEW {
        times.sort_unstable_by(down);
        return times;
    }
    let tail = times.len() - type_7_position(times.len(), Share::permille(950)).0;
    times.select_nth_unstable_by(tail, down);
    times[..tail].sort_unstable_by(down);
    let rest = &mut times[tail..];
    let above_median = frame_ns.len() - 2 - type_7_position(frame_ns.len(), Share::permille(500)).0 - tail;
    let (_, _, below) = rest.select_nth_unstable_by(above_median, down);
    if let Some(next) = (0..below.len()).max_by_key(|&place| below[place]) {
        below.swap(0, next);
    }
    times
}

/// A low, fps, from the slowest frames.
///
/// `slowest_ns`: durations from the longest down, at least [`frames_needed`] of them; `frames` and `total_ns`: count
/// and sum of *all* frames of the window. `None` without frames or when too few of the slowest are given.
pub fn low_fps(
    definition: LowDefinition,
    tail: Tail,
    slowest_ns: &[i64],
    frames: usize,
    total_ns: i64,
) -> Option<f64> {
    match definition {
        LowDefinition::Quantile => quantile_low(tail, slowest_ns, frames),
        LowDefinition::TailMean => tail_mean_low(tail, slowest_ns, frames),
        LowDefinition::TimeShare => time_share_low(tail, slowest_ns, total_ns),
    }
}

/// Type 7 quantile of durations sorted from the longest down, in thousandths of a nanosecond. `frames` is the count
/// of all, of which `slowest_ns` may hold only the first ones.
fn quantile_thousandths(permille: u32, slowest_ns: &[i64], frames: usize) -> Option<i128> {
    let (lower, way) = type_7_position(frames, Share::permille(permille));
    let from_top = frames.checked_sub(1 + lower)?;
    let low = i128::from(*slowest_ns.get(from_top)?);
    if way == 0 {
        return Some(1000 * low);
    }
    let high = i128::from(*slowest_ns.get(from_top.checked_sub(1)?)?);
    Some(1000 * low + i128::from(way) * (high - low))
}

/// The rate at the type 7 quantile of frame times (Hyndman & Fan 1996): the quantile of times, then inverted, because
/// the quantile of rates is another number.
fn quantile_low(tail: Tail, slowest_ns: &[i64], frames: usize) -> Option<f64> {
    let thousandths = quantile_thousandths(1000 - u32::from(tail.permille()), slowest_ns, frames)?;
    (thousandths > 0).then(|| ratio(1000 * NS_PER_S, thousandths))
}

/// The rate of the mean duration of the slowest `n p` frames, the last by its fraction (expected shortfall: Acerbi &
/// Tasche 2002): the mean of times, then inverted.
fn tail_mean_low(tail: Tail, slowest_ns: &[i64], frames: usize) -> Option<f64> {
    let (whole, part) = share_of(tail).of_count(frames);
    let sum: i64 = slowest_ns.get(..whole)?.iter().sum();
    let last = if part > 0 { i128::from(*slowest_ns.get(whole)?) } else { 0 };
    let thousandths_ns = 1000 * i128::from(sum) + i128::from(part) * last;
    let thousandths_frames = frames as i128 * i128::from(tail.permille());
    (thousandths_ns > 0).then(|| ratio(thousandths_frames * NS_PER_S, thousandths_ns))
}

/// The rate at the first frame, from the slowest down, where they have used the share `p` of the time (weighted
/// quantile, inverted distribution function).
fn time_share_low(tail: Tail, slowest_ns: &[i64], total_ns: i64) -> Option<f64> {
    let thousandths = i128::from(total_ns) * i128::from(tail.permille());
    let target = i64::try_from((thousandths + 999) / 1000).ok()?;
    let mut used = 0;
    let at = slowest_ns.iter().find(|&&ns| {
        used += ns;
        used >= target
    })?;
    (*at > 0).then(|| ratio(NS_PER_S, i128::from(*at)))
}

/// Percentiles of frame times, ms, type 7 (Hyndman & Fan 1996).
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct FrameTimes {
    /// Median.
    pub p50: f64,
    /// 95th percentile.
    pub p95: f64,
    /// 99th percentile.
    pub p99: f64,
    /// 99.9th percentile.
    pub p99_9: f64,
}

/// Percentiles of durations in the order of [`slowest_first`]; `None` of nothing.
pub fn frame_times(slowest_first_ns: &[i64]) -> Option<FrameTimes> {
    let at = |permille| {
        let thousandths = quantile_thousandths(permille, slowest_first_ns, slowest_first_ns.len())?;
        Some(ratio(thousandths, NS_PER_S))
    };
    Some(FrameTimes { p50: at(500)?, p95: at(950)?, p99: at(990)?, p99_9: at(999)? })
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;
    use proptest::test_runner::RngSeed;

    use super::*;
    use crate::measures::Lows;

    proptest! {
        #![proptest_config(ProptestConfig { rng_seed: RngSeed::Fixed(15), ..ProptestConfig::default() })]

        #[test]
        fn as_much_order_as_is_looked_at_tells_the_same(frame_ns in prop::collection::vec(1_i64..400, 0..900)) {
            let told = |times: &[i64]| {
                let total = frame_ns.iter().sum();
                let low = |definition, tail| low_fps(definition, tail, times, frame_ns.len(), total);
                (Lows::of(low), frame_times(times))
            };
            let mut sorted = frame_ns.clone();
            sorted.sort_unstable_by(|a, b| b.cmp(a));
            prop_assert_eq!(told(&slowest_first(&frame_ns)), told(&sorted));
        }
    }
}
