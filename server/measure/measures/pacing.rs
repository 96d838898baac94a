//! Frame pacing: the spread of successive frame times, and hitches.

use super::rates::NS_PER_MS;
use crate::stats::order::median_in_place;
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
pub const NEIGHBOURS: usize = 15;
/// A hitch lies this many robust standard deviations above its neighbourhood's median. Hampel's filter takes 3 to
/// clean a series; 5 marks for a reader only what stands apart.
pub const DEVIATIONS: f64 = 5.0;
/// It loses at least this much, ms, so that a frame barely late in a very even pass is none (our choice: less than
/// one refresh at 200 Hz is not seen as a hitch) ...
pub const FLOOR_MS: f64 = 5.0;
/// ... and at least this share of its neighbourhood's median (our choice).
pub const FLOOR_SHARE: f64 = 0.5;
/// Standard deviation of a normal distribution over its median absolute deviation.
const MAD_TO_SD: f64 = 1.4826;

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

/// Finds hitches by Hampel's filter (Hampel 1974; window cut at the ends) with floors: a frame longer than the median
/// of its neighbourhood by more than [`DEVIATIONS`] times 1.4826 median absolute deviations, by at least
/// [`FLOOR_MS`], and by at least [`FLOOR_SHARE`] of the median. `at_ns` and `frame_ns` are the window's rows,
/// `first_row` the place of the first of them in the recording. It marks; it never changes a measure of rate.
pub fn hitches(at_ns: &[i64], frame_ns: &[i64], first_row: usize) -> Hitches {
    let ms: Vec<f64> = frame_ns.iter().map(|&ns| ns as f64 / NS_PER_MS).collect();
    let shortest = ms.iter().copied().fold(f64::INFINITY, f64::min);
    let mut near = Vec::with_capacity(2 * NEIGHBOURS + 1);
    let mut found = Hitches::default();
    for (i, (&value, &start_ns)) in ms.iter().zip(at_ns).enumerate() {
        // No median is below the shortest frame: what cannot reach the floor needs no look at its neighbours.
        if value - shortest < FLOOR_MS {
            continue;
        }
        near.clear();
        near.extend_from_slice(&ms[i.saturating_sub(NEIGHBOURS)..ms.len().min(i + NEIGHBOURS + 1)]);
        let Some(lost_ms) = excess(value, &mut near) else { continue };
        found.list.push(Hitch { start_ns, frame: first_row + i, ms: value, lost_ms });
    }
    found.count = found.list.len();
    found.worst_ms = found.list.iter().map(|h| h.ms).max_by(f64::total_cmp);
    found.lost_ms = crate::stats::sum::sum(found.list.iter().map(|h| h.lost_ms));
    found
}

/// Excess of a hitch over its neighbourhood's median; `None` when it is no hitch.
fn excess(value: f64, near: &mut [f64]) -> Option<f64> {
    let median = median_in_place(near)?;
    let excess = value - median;
    if excess < FLOOR_MS.max(FLOOR_SHARE * median) {
        return None;
    }
    near.iter_mut().for_each(|v| *v = (*v - median).abs());
    let mad = median_in_place(near)?;
    (excess > DEVIATIONS * MAD_TO_SD * mad).then_some(excess)
}
