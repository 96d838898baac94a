//! Step in level: frame times stand at another level for a stretch, or from some time on.
//!
//! Method: PELT (Killick, Fearnhead & Eckley 2012) on the logs of 0.5 s block medians, penalty `3 s^2 ln n` with `s^2`
//! the long-run variance, so that slow natural variation is not cut into steps. Neighbouring segments on one
//! side of the pass's usual level are told as one span: a disturbance that ends is one flag, not two.
//!
//! A scene has level changes of its own, so with siblings the series is the log ratio to their profile (see
//! [`super::among`]). Alone, only a stretch at twice the level or more on both of its sides is told.

use super::profile::Profile;
use super::{Flag, FlagKind, moves_average, strength, words};
use crate::stats::changepoint::pelt;
use crate::stats::robust::{MAD_TO_SD, mad, median};

/// Fewest blocks in a segment: one second.
const MIN_BLOCKS: usize = 2;
/// Least standard deviation of a block that the penalty reckons with (0.5 %), so that very even passes are not cut.
const LEAST_SD: f64 = 0.005;
/// Longest means, in blocks, whose variance is looked at: eight seconds.
const LONGEST: usize = 16;
/// Alone: natural log of the least ratio to the level before and after.
const ALONE_SHIFT: f64 = std::f64::consts::LN_2;

/// Natural scatter of a cell's log ratios: variances of means over 1, 2, 4, ... blocks.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Scatter {
    /// Variance of means over 1, 2, 4, ... blocks, at most [`LONGEST`].
    by_doubling: Vec<f64>,
}

impl Scatter {
    /// Scatter of one series: of all overlapping means of 1, 2, 4, ... blocks as long as six of them fit beside each
    /// other. Values beyond four robust deviations are drawn in, so that a freeze is not taken for natural. Means over
    /// a large part of a series stand close to its own mean; that is put right by the factor for independent values.
    pub(crate) fn of(series: &[f64]) -> Self {
        let n = series.len();
        let (centre, reach) = (median(series), 4.0 * MAD_TO_SD * mad(series));
        let drawn_in: Vec<f64> = series
            .iter()
            .map(|v| if reach > 0.0 { v.clamp(centre - reach, centre + reach) } else { *v })
            .collect();
        let mean = drawn_in.iter().sum::<f64>() / n.max(1) as f64;
        let mut by_doubling = Vec::new();
        let mut length = 1;
        while by_doubling.is_empty() || (length <= LONGEST && 6 * length <= n) {
            let squares: Vec<f64> = drawn_in
                .windows(length)
                .map(|w| w.iter().sum::<f64>() / w.len() as f64 - mean)
                .map(|d| d * d)
                .collect();
            let square = squares.iter().sum::<f64>() / squares.len().max(1) as f64;
            by_doubling.push(square / (1.0 - length as f64 / n.max(2) as f64).max(0.5));
            length *= 2;
        }
        Self { by_doubling }
    }

    /// The middle of several passes' scatters, so that one bad pass does not hide itself.
    pub(crate) fn middle(all: &[Self]) -> Self {
        let reach = all.iter().map(|s| s.by_doubling.len()).min().unwrap_or(0);
        let by_doubling =
            (0..reach).map(|k| median(&all.iter().map(|s| s.by_doubling[k]).collect::<Vec<_>>())).collect();
        Self { by_doubling }
    }

    /// Standard deviation of the difference between the means of `blocks` blocks and of the other ones of `all`.
    pub(crate) fn of_step(&self, blocks: usize, all: usize) -> f64 {
        let rest = all.saturating_sub(blocks).max(1);
        (self.long_run_variance() * (1.0 / blocks.max(1) as f64 + 1.0 / rest as f64)).sqrt()
    }

    /// Long-run variance of a block: the length times the variance of the mean, at the length where that is largest.
    fn long_run_variance(&self) -> f64 {
        let lengths = std::iter::successors(Some(1.0), |length| Some(2.0 * length));
        let scaled = lengths.zip(&self.by_doubling).map(|(length, variance)| length * variance);
        scaled.fold(LEAST_SD * LEAST_SD, f64::max)
    }
}

/// What a step must reach to be told.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Limits {
    /// Least change on the log scale.
    pub shift: f64,
    /// Least change in standard deviations of the mean over as many blocks.
    pub sds: f64,
    /// Least share by which the pass's average moves.
    pub moves: f64,
}

/// A stretch of blocks at another level.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Step {
    /// First block.
    pub from: usize,
    /// Block behind the last.
    pub to: usize,
    /// Log of its level over that of the rest.
    pub shift: f64,
    /// Smallest of its three ratios to the limits.
    pub evidence: f64,
}

impl Step {
    /// Mean of a series in the step less its mean in the rest.
    pub(crate) fn of(&self, series: &[f64]) -> f64 {
        let inside = series[self.from..self.to].iter().sum::<f64>() / (self.to - self.from) as f64;
        let rest = series[..self.from].iter().chain(&series[self.to..]).sum::<f64>();
        inside - rest / (series.len() - (self.to - self.from)).max(1) as f64
    }
}

/// Spans of `series` (logs, a value a block) that leave the usual level by more than the limits.
pub(crate) fn steps(series: &[f64], scatter: &Scatter, limits: &Limits) -> Vec<Step> {
    let n = series.len();
    if n < 4 * MIN_BLOCKS {
        return vec![];
    }
    let penalty = 3.0 * scatter.long_run_variance() * libm::log(n as f64);
    let segments = segments(series, penalty);
    let usual = usual_level(&segments);
    let side = |s: &Segment| {
        let limit = 0.5 * limits.shift.max(limits.sds * scatter.of_step(s.to - s.from, n));
        if s.level > usual + limit {
            1
        } else if s.level < usual - limit {
            -1
        } else {
            0
        }
    };
    let rest: Vec<f64> =
        segments.iter().filter(|s| side(s) == 0).flat_map(|s| series[s.from..s.to].iter().copied()).collect();
    let usual = if rest.is_empty() { usual } else { rest.iter().sum::<f64>() / rest.len() as f64 };
    let told = segments.chunk_by(|a, b| side(a) == side(b)).filter(|run| side(&run[0]) != 0);
    told.filter_map(|run| {
        let (from, to) = (run.first()?.from, run.last()?.to);
        let shift = series[from..to].iter().sum::<f64>() / (to - from) as f64 - usual;
        let moves = moves_average((to - from) as f64 / n as f64, shift);
        let by_shift = shift.abs() / limits.shift.max(limits.sds * scatter.of_step(to - from, n));
        let evidence = by_shift.min(moves / limits.moves);
        (evidence >= 1.0).then_some(Step { from, to, shift, evidence })
    })
    .collect()
}

/// A stretch that PELT found.
struct Segment {
    from: usize,
    to: usize,
    level: f64,
}

fn segments(series: &[f64], penalty: f64) -> Vec<Segment> {
    let mut from = 0;
    pelt(series, MIN_BLOCKS, penalty)
        .into_iter()
        .map(|to| {
            let level = series[from..to].iter().sum::<f64>() / (to - from) as f64;
            let segment = Segment { from, to, level };
            from = to;
            segment
        })
        .collect()
}

/// Median of the segments' levels, each weighing as much as it is long.
fn usual_level(segments: &[Segment]) -> f64 {
    let mut by_level: Vec<&Segment> = segments.iter().collect();
    by_level.sort_by(|a, b| a.level.total_cmp(&b.level));
    let all: usize = segments.iter().map(|s| s.to - s.from).sum();
    let mut passed = 0;
    for s in by_level {
        passed += s.to - s.from;
        if 2 * passed >= all {
            return s.level;
        }
    }
    f64::NAN
}

/// Flags stretches at twice the level of what stands before and behind them, or more: all that the pass alone
/// can tell.
pub(super) fn find_alone(profile: &Profile) -> Vec<Flag> {
    let series = profile.ln_medians();
    let differences: Vec<f64> = series.windows(2).map(|w| w[1] - w[0]).collect();
    let n = series.len();
    if n < 4 * MIN_BLOCKS {
        return vec![];
    }
    let sd = (mad(&differences) * MAD_TO_SD / std::f64::consts::SQRT_2).max(LEAST_SD);
    let segments = segments(&series, 9.0 * sd * sd * libm::log(n as f64));
    let mut flags = Vec::new();
    for at in 1..segments.len().saturating_sub(1) {
        let [before, here, after] = [&segments[at - 1], &segments[at], &segments[at + 1]];
        let (up, down) = (here.level - before.level, here.level - after.level);
        let shift = if up.abs() < down.abs() { up } else { down };
        if up > 0.0 && down > 0.0 && shift >= ALONE_SHIFT {
            let step = Step { from: here.from, to: here.to, shift, evidence: shift / ALONE_SHIFT };
            flags.push(flag(profile, &step, n, "than before and after"));
        }
    }
    flags
}

/// The flag for a step. `blocks` is how many blocks were judged; a step that ends with them lasts to the end.
pub(super) fn flag(profile: &Profile, step: &Step, blocks: usize, than: &str) -> Flag {
    let (start_ns, end_ns) = profile.edges_ns(step.from, step.to, blocks);
    let to = profile.end_in_words(end_ns);
    Flag {
        kind: FlagKind::LevelStep,
        start_ns,
        end_ns,
        strength: strength(step.evidence),
        moves: Some(moves_average(profile.share(step.from, step.to), step.shift)),
        says: format!(
            "from {} to {to} frames take {} {than}",
            words::seconds(start_ns),
            words::longer(step.shift)
        ),
    }
}

#[cfg(test)]
mod tests {
    use super::super::profile::BLOCK_NS;
    use super::*;

    const LIMITS: Limits = Limits { shift: 0.03, sds: 4.0, moves: 0.005 };

    /// 120 blocks that wobble by 1 % with a step of `shift` in the given blocks.
    fn series(shift: f64, blocks: std::ops::Range<usize>) -> Vec<f64> {
        (0..120)
            .map(|i| 0.01 * libm::sin(i as f64 * 2.4) + if blocks.contains(&i) { shift } else { 0.0 })
            .collect()
    }

    /// Scatter of a pass without a step, as it comes from the siblings.
    fn quiet() -> Scatter {
        Scatter::of(&series(0.0, 0..0))
    }

    #[test]
    fn a_step_that_returns_is_one_span() {
        let y = series(0.14, 17..25);
        let found = steps(&y, &quiet(), &LIMITS);
        assert_eq!(found.len(), 1);
        assert_eq!((found[0].from, found[0].to), (17, 25));
        assert!((found[0].shift - 0.14).abs() < 0.01);
    }

    #[test]
    fn a_lasting_step_reaches_the_end_and_its_longer_side_is_the_usual_one() {
        let y = series(-0.08, 70..120);
        let found = steps(&y, &quiet(), &LIMITS);
        assert_eq!(found.iter().map(|s| (s.from, s.to)).collect::<Vec<_>>(), [(70, 120)]);
    }

    #[test]
    fn small_or_short_changes_are_left_alone() {
        for y in [series(0.0, 0..0), series(0.02, 30..60), series(0.05, 30..33)] {
            assert_eq!(steps(&y, &quiet(), &LIMITS), []);
        }
    }

    #[test]
    fn alone_only_a_doubled_stretch_is_told() {
        let profile = |factor: i64| Profile {
            start_ns: 0,
            end_ns: 60 * BLOCK_NS,
            median_ns: (0..60)
                .map(|i| {
                    10_000_000 + (i * 7919 % 13) * 10_000 + if (20..28).contains(&i) { factor } else { 0 }
                })
                .collect(),
            lost_ns: vec![0; 60],
            processor_ns: vec![],
        };
        assert_eq!(find_alone(&profile(7_000_000)), []);
        let found = find_alone(&profile(14_000_000));
        assert_eq!(found.len(), 1);
        assert_eq!((found[0].start_ns, found[0].end_ns), (20 * BLOCK_NS, 28 * BLOCK_NS));
        assert!(found[0].says.starts_with("from 10.0 s to 14.0 s frames take 1"), "{}", found[0].says);
        assert!(found[0].says.ends_with("longer than before and after"));
    }
}
