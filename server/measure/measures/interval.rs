//! How sure the average and the lows are from one pass alone: percentile intervals of a stationary bootstrap.
//!
//! Politis & Romano 1994; block length by [`crate::stats::block`] on the logs of the frame times, because isolated
//! hitches hide the slow correlation of the load in the times themselves. The average and all lows share the same
//! resamples. Such an interval is a lower bound: it covers less than it says and knows nothing of the next pass.
//!
//! A resample is never written out. Its total comes from prefix sums over its blocks; its lows need only its slowest
//! frames, so only the pass's slowest frames are counted in it. Where too few of those were drawn, the same draw is
//! counted again over all frames. Both ways give the same integers, and so the same bits.

use super::catalogue::{INTERVAL_VERSION, LowDefinition, Tail};
use super::{Interval, Intervals, Lows, Seed, rates};
use crate::recording::Window;
use crate::stats::block::stationary_block_length;
use crate::stats::bootstrap::{Lengths, percentile_interval, resample};
use crate::stats::order::Share;
use crate::stats::rng::{Stream, Streams};
use rayon::prelude::*;

/// Resamples drawn for one pass.
pub const REPLICATES: u64 = 2000;

/// Share of resamples that an interval takes in.
pub const LEVEL: Share = Share::permille(950);

/// No interval is given from fewer frames: block lengths cannot be judged from them (our choice).
pub const FEWEST_FRAMES: usize = 100;

/// A low has no interval when fewer frames than this are in its tail.
pub const FEWEST_IN_TAIL: usize = 10;

/// Whether a pass of so many frames has an interval for a low of this tail.
pub fn has_interval(frames: usize, tail: Tail) -> bool {
    frames >= FEWEST_FRAMES
        && Share::permille(u32::from(tail.permille())).of_count(frames).0 >= FEWEST_IN_TAIL
}

/// Intervals of the average and of the lows of a window's frames.
pub fn intervals(frame_ns: &[i64], seed: Seed, window: Window) -> Intervals {
    let frames = frame_ns.len();
    let logs: Vec<f64> = frame_ns.iter().map(|&ns| libm::log(ns as f64)).collect();
    let Some(block_length) = stationary_block_length(&logs).filter(|_| frames >= FEWEST_FRAMES) else {
        return Intervals::default();
    };
    let resampler = Resampler::new(frame_ns, block_length, streams(seed, window));
    let replicates: Vec<Replicate> = (0..REPLICATES)
        .into_par_iter()
        .map_init(Scratch::default, |scratch, number| resampler.replicate(number, scratch))
        .collect();
    let mut column = Vec::with_capacity(replicates.len());
    let mut interval = |of: &dyn Fn(&Replicate) -> Option<f64>| {
        column.clear();
        column.extend(replicates.iter().map(|r| of(r).unwrap_or(f64::NAN)));
        percentile_interval(&mut column, LEVEL).map(|(low, high)| Interval { low, high })
    };
    Intervals {
        block_length: Some(block_length),
        average_fps: interval(&|r| r.average_fps),
        lows: Lows::of(|definition, tail| {
            has_interval(frames, tail).then(|| interval(&|r| r.lows.get(definition, tail))).flatten()
        }),
    }
}

/// The random numbers of this pass: by capture, segment, window and version of the interval.
fn streams(seed: Seed, window: Window) -> Streams {
    Streams::of(&[
        b"interval",
        &INTERVAL_VERSION.to_be_bytes(),
        &seed.digest,
        &seed.segment.to_be_bytes(),
        &window.start_ns.to_be_bytes(),
        &window.end_ns.to_be_bytes(),
    ])
}

/// The measures of one resample.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Replicate {
    average_fps: Option<f64>,
    lows: Lows<f64>,
}

/// Working room of a thread.
#[derive(Default)]
struct Scratch {
    counts: Vec<u32>,
    slowest_ns: Vec<i64>,
}

/// What all resamples of a pass share.
struct Resampler {
    /// Sum of the durations before each frame, ns; one more than there are frames.
    before_ns: Vec<i64>,
    /// The pass's slowest frames, enough for nearly every resample.
    slowest: Candidates,
    /// All frames, for the rest.
    all: Candidates,
    /// How many of its slowest frames a resample's lows look at.
    needed: usize,
    /// Tails whose lows have an interval.
    tails: Vec<Tail>,
    lengths: Lengths,
    streams: Streams,
}

impl Resampler {
    fn new(frame_ns: &[i64], block_length: f64, streams: Streams) -> Resampler {
        let frames = frame_ns.len();
        let tails: Vec<Tail> = Tail::ALL.into_iter().filter(|&tail| has_interval(frames, tail)).collect();
        let needed = tails.iter().map(|&tail| rates::frames_needed(frames, tail)).max().unwrap_or(0);
        let mut order: Vec<usize> = (0..frames).collect();
        order.sort_unstable_by_key(|&i| (std::cmp::Reverse(frame_ns[i]), i));
        let mut before_ns = Vec::with_capacity(frames + 1);
        before_ns.push(0);
        before_ns.extend(frame_ns.iter().scan(0, |sum, ns| {
            *sum += ns;
            Some(*sum)
        }));
        Resampler {
            before_ns,
            slowest: Candidates::new(frame_ns, &order[..margin(needed, block_length).min(frames)]),
            all: Candidates::new(frame_ns, &order),
            needed,
            tails,
            lengths: Lengths::new(block_length, frames),
            streams,
        }
    }

    /// Resample `number`.
    fn replicate(&self, number: u64, scratch: &mut Scratch) -> Replicate {
        let frames = self.before_ns.len() - 1;
        let mut total_ns = self.draw(&self.slowest, self.streams.stream(number), scratch);
        if scratch.slowest_ns.len() < self.needed {
            total_ns = self.draw(&self.all, self.streams.stream(number), scratch);
        }
        Replicate {
            average_fps: rates::average_fps(frames, total_ns),
            lows: Lows::of(|definition, tail| self.low(definition, tail, &scratch.slowest_ns, total_ns)),
        }
    }

    fn low(&self, definition: LowDefinition, tail: Tail, slowest_ns: &[i64], total_ns: i64) -> Option<f64> {
        let frames = self.before_ns.len() - 1;
        self.tails
            .contains(&tail)
            .then(|| rates::low_fps(definition, tail, slowest_ns, frames, total_ns))
            .flatten()
    }

    /// Draws a resample; leaves its slowest frames in `scratch` (as many as are needed, or fewer when the candidates
    /// do not give so many) and returns its total, ns.
    fn draw(&self, candidates: &Candidates, mut random: Stream, scratch: &mut Scratch) -> i64 {
        let Scratch { counts, slowest_ns } = scratch;
        counts.clear();
        counts.resize(candidates.ns.len(), 0);
        let mut total_ns = 0;
        resample(self.before_ns.len() - 1, &self.lengths, &mut random, |block| {
            total_ns += self.before_ns[block.end] - self.before_ns[block.start];
            for &rank in candidates.in_block(block) {
                counts[rank as usize] += 1;
            }
        });
        slowest_ns.clear();
        for (&ns, &count) in candidates.ns.iter().zip(counts.iter()) {
            if slowest_ns.len() >= self.needed {
                break;
            }
            slowest_ns.extend(std::iter::repeat_n(ns, count as usize));
        }
        total_ns
    }
}

/// How many candidates are kept. The count of slow frames in a resample scatters by about the root of their
/// number times the block length where slow frames come in runs; more margin costs more than a second count.
fn margin(needed: usize, block_length: f64) -> usize {
    let mut margin = needed;
    let scatter = needed as f64 * block_length;
    // The least whole number whose square is at least the scatter, without a cast from a double.
    while ((margin - needed) as f64).powi(2) < 4.0 * scatter {
        margin += 1;
    }
    margin
}

/// The slowest frames of a pass.
struct Candidates {
    /// Their durations from the longest down.
    ns: Vec<i64>,
    /// Their ranks in `ns`, in order of time.
    ranks: Vec<u32>,
    /// For each frame and the end: how many candidates come before it.
    before: Vec<u32>,
}

impl Candidates {
    /// From row numbers ordered by duration, longest first.
    fn new(frame_ns: &[i64], slowest_first: &[usize]) -> Candidates {
        let mut rank_at = vec![None; frame_ns.len()];
        for (rank, &row) in (0_u32..).zip(slowest_first) {
            rank_at[row] = Some(rank);
        }
        let mut before = Vec::with_capacity(frame_ns.len() + 1);
        let mut seen = 0;
        before.push(seen);
        before.extend(rank_at.iter().map(|rank| {
            seen += u32::from(rank.is_some());
            seen
        }));
        Candidates {
            ns: slowest_first.iter().map(|&row| frame_ns[row]).collect(),
            ranks: rank_at.into_iter().flatten().collect(),
            before,
        }
    }

    /// Ranks of the candidates among the frames of a block.
    fn in_block(&self, block: std::ops::Range<usize>) -> &[u32] {
        &self.ranks[self.before[block.start] as usize..self.before[block.end] as usize]
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::rng::below;

    const SEED: Seed = Seed { digest: [7; 32], segment: 0 };
    const WINDOW: Window = Window { start_ns: 0, end_ns: 1 };

    /// The resample written out, sorted, and measured like a pass.
    fn plain(frame_ns: &[i64], resampler: &Resampler, number: u64) -> Replicate {
        let mut drawn = Vec::new();
        resample(frame_ns.len(), &resampler.lengths, &mut resampler.streams.stream(number), |block| {
            drawn.extend_from_slice(&frame_ns[block]);
        });
        let total_ns = drawn.iter().sum();
        drawn.sort_unstable_by(|a, b| b.cmp(a));
        let low = |definition, tail| rates::low_fps(definition, tail, &drawn, drawn.len(), total_ns);
        Replicate {
            average_fps: rates::average_fps(drawn.len(), total_ns),
            lows: Lows::of(|d, t| has_interval(drawn.len(), t).then(|| low(d, t)).flatten()),
        }
    }

    /// Seeded frame times: noise of `grain` ns, and a slow stretch of `run` frames at 30 ms.
    fn series(n: usize, grain: i64, run: usize) -> Vec<i64> {
        let mut random = Streams::of(&[b"series"]).stream(n as u64);
        (0..n)
            .map(|i| {
                let noise = i64::try_from(below(random.bits(), 4_000)).unwrap() * 1000 / grain * grain;
                if (n / 2..n / 2 + run).contains(&i) { 30_000_000 + noise } else { 8_000_000 + noise }
            })
            .collect()
    }

    #[test]
    fn counting_the_slowest_equals_writing_the_resample_out() {
        let mut again = 0;
        for n in [100, 999, 1000, 1001, 10_001] {
            for (grain, run) in [(1, 0), (1_000_000, 0), (1, n / 40), (4_000_000, n / 3)] {
                let frame_ns = series(n, grain, run);
                for block_length in [1.0, 3.7, 60.0, 300.0] {
                    let resampler = Resampler::new(&frame_ns, block_length, streams(SEED, WINDOW));
                    let mut scratch = Scratch::default();
                    for number in 0..40 {
                        let fast = resampler.replicate(number, &mut scratch);
                        assert_eq!(fast, plain(&frame_ns, &resampler, number), "{n} {block_length} {number}");
                        resampler.draw(&resampler.slowest, resampler.streams.stream(number), &mut scratch);
                        again += u32::from(scratch.slowest_ns.len() < resampler.needed);
                    }
                }
            }
        }
        assert!(again > 0, "no resample needed the second count, so it was not tested");
    }

    #[test]
    fn a_low_with_few_frames_in_its_tail_has_no_interval() {
        let short = intervals(&series(999, 1, 0), SEED, WINDOW);
        assert!(short.average_fps.is_some());
        assert_eq!(short.lows, Lows::default());
        let longer = intervals(&series(1000, 1, 0), SEED, WINDOW);
        assert!(longer.lows.low_1_quantile_fps.is_some());
        assert_eq!(longer.lows.low_01_quantile_fps, None);
        assert_eq!(intervals(&series(99, 1, 0), SEED, WINDOW), Intervals::default());
    }

    #[test]
    fn intervals_hold_their_value_and_repeat() {
        let frame_ns = series(12_000, 1, 300);
        let got = intervals(&frame_ns, SEED, WINDOW);
        let average = rates::average_fps(frame_ns.len(), frame_ns.iter().sum()).unwrap();
        let limits = got.average_fps.unwrap();
        assert!(limits.low < average && average < limits.high, "{limits:?} {average}");
        assert_eq!(got, intervals(&frame_ns, SEED, WINDOW));
        assert_ne!(got, intervals(&frame_ns, SEED, Window { start_ns: 0, end_ns: 2 }));
    }

    #[test]
    fn one_thread_and_many_give_the_same_bits() {
        let frame_ns = series(2000, 1, 30);
        let one = rayon::ThreadPoolBuilder::new().num_threads(1).build().unwrap();
        let four = rayon::ThreadPoolBuilder::new().num_threads(4).build().unwrap();
        let run = || intervals(&frame_ns, SEED, WINDOW);
        assert_eq!(one.install(run), four.install(run));
    }

    #[test]
    fn equal_frames_have_an_interval_of_no_width() {
        let got = intervals(&[10_000_000; 1500], SEED, WINDOW);
        assert_eq!(got.average_fps, Some(Interval { low: 100.0, high: 100.0 }));
        assert_eq!(got.lows.low_1_tail_mean_fps, Some(Interval { low: 100.0, high: 100.0 }));
        assert_eq!(got.block_length, Some(1.0));
    }
}
