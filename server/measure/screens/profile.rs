//! The profile of a pass over time: median frame time and time lost to hitches, block by block.
//!
//! Passes of a cell share their scene, and a scene has levels of its own. Their profiles, laid beside each
//! other from the start of the window, show what is the scene's and what is one pass's alone.

use std::ops::Range;

use serde::{Deserialize, Serialize};

use super::{Frames, ScreenInput, hitch_cluster};
use crate::recording::Role;
use crate::stats::robust::median;

/// Length of a block, ns: half a second (methods: medians over 0.5 to 1 s take the frame-to-frame
/// correlation and single hitches out; short enough to place a change within a quarter of a second).
pub const BLOCK_NS: i64 = 500_000_000;

/// Frames that a block needs for a median of its own. Fewer than this in half a second is a freeze, which is a
/// matter of hitches and not of level.
const FEWEST_FRAMES: usize = 4;

/// Median frame times and lost time in blocks of [`BLOCK_NS`], counted from the start of the window.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Profile {
    /// Start of the first block, ns from the first frame of the pass.
    pub start_ns: i64,
    /// End of the window's last frame, ns from the first frame of the pass.
    pub end_ns: i64,
    /// Median duration of the frames that start in each block, ns. A block with fewer than four frames repeats the
    /// one before. A last block of less than half a length is left out.
    pub median_ns: Vec<i64>,
    /// Time lost to hitches that start in each block, ns (see [`hitch_cluster`]).
    pub lost_ns: Vec<i64>,
    /// Median time for which the processor worked on a frame in each block, ns; empty where the log does not tell.
    pub processor_ns: Vec<i64>,
}

impl Profile {
    /// The profile of a pass over its window.
    pub fn of(input: &ScreenInput<'_>) -> Self {
        let frames = Frames::of(input.recording, input.window);
        let start_ns = input.window.start_ns;
        let end_ns = match (frames.at_ns.last(), frames.frame_ns.last()) {
            (Some(at), Some(frame)) => at + frame,
            _ => start_ns,
        };
        let rows = block_rows(frames.at_ns, start_ns, end_ns);
        let median_ns = medians(&rows, frames.frame_ns).unwrap_or_else(|| vec![0; rows.len()]);
        let processor_ns = work_ns(input).and_then(|work| medians(&rows, &work)).unwrap_or_default();
        let mut lost_ns = vec![0; median_ns.len()];
        for hitch in hitch_cluster::hitches(&frames) {
            let block = usize::try_from((hitch.at_ns - start_ns) / BLOCK_NS).unwrap_or(0);
            if let Some(lost) = lost_ns.get_mut(block) {
                *lost += hitch.lost_ns;
            }
        }
        Self { start_ns, end_ns, median_ns, lost_ns, processor_ns }
    }

    /// Natural logs of the medians, in ln ns.
    pub fn ln_medians(&self) -> Vec<f64> {
        self.median_ns.iter().map(|&m| libm::log(m as f64)).collect()
    }

    /// Time of a block's edge, ns from the first frame of the pass; the end of the window for the last.
    pub(crate) fn edge_ns(&self, block: usize) -> i64 {
        if block >= self.median_ns.len() {
            return self.end_ns;
        }
        let blocks = i64::try_from(block).unwrap_or(i64::MAX / BLOCK_NS);
        self.start_ns + blocks * BLOCK_NS
    }

    /// Times of the edges of a stretch of blocks, ns; what reaches the last of the `judged` blocks reaches the end.
    pub(crate) fn edges_ns(&self, from: usize, to: usize, judged: usize) -> (i64, i64) {
        (self.edge_ns(from), self.edge_ns(if to >= judged { usize::MAX } else { to }))
    }

    /// `13.5 s`, or `the end`.
    pub(crate) fn end_in_words(&self, end_ns: i64) -> String {
        if end_ns >= self.end_ns { "the end".to_owned() } else { super::words::seconds(end_ns) }
    }

    /// Share of the profile's time that lies between two block edges.
    pub(crate) fn share(&self, from: usize, to: usize) -> f64 {
        let whole = (self.end_ns - self.start_ns).max(1);
        (self.edge_ns(to) - self.edge_ns(from)) as f64 / whole as f64
    }
}

/// Rows of the frames that start in each block; a last block of less than half a length is left out.
pub(super) fn block_rows(at_ns: &[i64], start_ns: i64, end_ns: i64) -> Vec<Range<usize>> {
    let mut blocks = Vec::new();
    let (mut row, mut from) = (0, start_ns);
    while from + BLOCK_NS / 2 <= end_ns {
        let to = row + at_ns[row..].partition_point(|&t| t < from + BLOCK_NS);
        blocks.push(row..to);
        row = to;
        from += BLOCK_NS;
    }
    blocks
}

/// Median of each block. One with too few frames repeats the one before; at the start the median of the whole stands
/// in. `None` where there are no values.
fn medians(blocks: &[Range<usize>], values: &[i64]) -> Option<Vec<i64>> {
    let mut last = median_of(values, 1)?;
    let each = blocks.iter().map(|rows| {
        last = median_of(values.get(rows.clone()).unwrap_or_default(), FEWEST_FRAMES).unwrap_or(last);
        last
    });
    Some(each.collect())
}

/// Processor work of the window's frames, ns; `None` where the log does not tell it of every frame.
fn work_ns(input: &ScreenInput<'_>) -> Option<Vec<i64>> {
    let track = input.recording.track(Role::CpuWork)?;
    let values = track.values.get(input.window.rows(&input.recording.at_ns))?;
    let ns = |seconds: &f64| (seconds.is_finite() && *seconds >= 0.0).then(|| whole_ns(*seconds));
    values.iter().map(ns).collect()
}

/// Seconds in whole ns.
#[expect(clippy::cast_possible_truncation, reason = "work on a frame is far below the 292 years of an i64")]
fn whole_ns(seconds: f64) -> i64 {
    libm::round(seconds * 1e9) as i64
}

/// Median of durations, rounded down to whole ns; `None` when there are fewer than `fewest` (at least 1).
fn median_of(frame_ns: &[i64], fewest: usize) -> Option<i64> {
    if frame_ns.len() < fewest {
        return None;
    }
    let mut sorted = frame_ns.to_vec();
    sorted.sort_unstable();
    let (low, high) = (sorted[(sorted.len() - 1) / 2], sorted[sorted.len() / 2]);
    Some(low + (high - low) / 2)
}

/// Block by block median over several log profiles, as far as all of them reach.
pub(crate) fn middle(profiles: &[&[f64]]) -> Vec<f64> {
    let blocks = profiles.iter().map(|p| p.len()).min().unwrap_or(0);
    (0..blocks).map(|b| median(&profiles.iter().map(|p| p[b]).collect::<Vec<_>>())).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::recording::{Kind, Recording, Window};

    fn pass(frame_ns: &[i64]) -> Recording {
        let mut at = 0;
        let at_ns = frame_ns
            .iter()
            .map(|d| {
                at += d;
                at - d
            })
            .collect();
        Recording {
            kind: Kind::Frames,
            wall_start_ns: None,
            at_ns,
            frame_ns: frame_ns.to_vec(),
            tracks: vec![],
        }
    }

    #[test]
    fn blocks_hold_the_frames_that_start_in_them() {
        // 50 frames of 10 ms, one of 1.2 s that spans two blocks, 30 of 10 ms.
        let mut frame_ns = vec![10_000_000; 50];
        frame_ns.push(1_200_000_000);
        frame_ns.extend(vec![10_000_000; 30]);
        let recording = pass(&frame_ns);
        let profile =
            Profile::of(&ScreenInput { recording: &recording, window: recording.whole(), companions: &[] });
        // 0-0.5: 10 ms; 0.5-1.0: only the long one; 1.0-1.5: none; 1.5-2.0: 10 ms.
        assert_eq!(profile.median_ns, [10_000_000; 4]);
        assert_eq!(profile.lost_ns[1], 1_190_000_000);
    }

    #[test]
    fn an_empty_window_has_no_blocks() {
        let recording = pass(&[10_000_000; 50]);
        let window = Window { start_ns: 900_000_000, end_ns: 950_000_000 };
        let profile = Profile::of(&ScreenInput { recording: &recording, window, companions: &[] });
        assert!(profile.median_ns.is_empty());
    }
}
