//! A pass beside the other passes of its cell: step, drift and hitch clusters, judged on what is not the scene's.
//!
//! Passes of a cell show the same scene from the same cue, so their block medians rise and fall together. The
//! series judged is the log of the pass's profile over the middle of its siblings' profiles:
//!
//! * three siblings or more: over the median of the siblings;
//! * two siblings: over the median of all three, so that one bad sibling does not make its fellows look bad;
//! * one sibling: over that one, with wider limits, and the sentence says that either may be the disturbed one.
//!
//! Where a person plays the scene, the same place comes a little sooner or later in each pass, and a change of
//! place would look like a fault. So frame times are held against the range of the middle within the scene's
//! [`Timing`], and only what lies outside of it counts; steps of three seconds or less must stand beside half a
//! second of slack even in scenes that run by themselves.
//!
//! How much such a ratio wanders without a fault is taken from all passes of the cell (the middle of their robust
//! scatters), so scenes that never run twice alike are judged with their own measure.

use serde::{Deserialize, Serialize};

use super::level_step::{self, Limits, Scatter, Step, steps};
use super::profile::{Profile, middle};
use super::slow_drift::{self, Drift, drift};
use super::{Flag, FlagKind, background_load, other_content, warm_up, words};

/// What a step is told against.
const THAN: &str = "than in the rest of the pass, beside the other passes of the cell";
/// Limits of a step beside three siblings or more.
const STEP: Limits = Limits { shift: 0.03, sds: 4.0, moves: 0.005 };
/// Limits of a step beside two siblings: the median of three is the pass itself in a third of the blocks, so the
/// scatter of the ratio comes out too small.
const STEP_OF_THREE: Limits = Limits { sds: 6.5, ..STEP };
/// Limits of a step beside one sibling.
const STEP_OF_TWO: Limits = Limits { shift: 0.15, sds: 6.0, moves: 0.02 };
/// Least change of a drift, log scale.
const DRIFT_CHANGE: f64 = 0.03;
/// Least change of a drift in standard deviations of the difference between halves.
const DRIFT_SDS: f64 = 2.0;
/// A sibling is compared when it reaches at least this share of the pass's blocks.
const REACH: f64 = 0.8;
/// A cluster of hitches is the scene's own when the middle sibling loses this share of its time in the same stretch.
const SCENES_OWN: f64 = 0.5;

/// Blocks of a short step: three seconds.
const SHORT: usize = 6;
/// A short step keeps this share of its size where half a second of slack is given.
const SHORT_KEEPS: f64 = 0.5;

/// How far apart in time the same place of a scene may lie in two passes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Timing {
    /// Built-in runs and replays: places come at the same time.
    Fixed,
    /// Played by hand: within a second.
    ByHand,
}

impl Timing {
    fn slack(self) -> usize {
        match self {
            Self::Fixed => 0,
            Self::ByHand => 2,
        }
    }

    /// Blocks by which a whole pass may lie sooner or later than another.
    pub(super) fn reach(self) -> usize {
        match self {
            Self::Fixed => 2,
            Self::ByHand => 6,
        }
    }
}

/// Judges a pass anew beside its siblings and returns all flags that stand, in order of their start.
///
/// `alone` is what [`super::screen_pass`] found for it. Without a sibling it is returned as it is.
pub fn screen_among(alone: &[Flag], own: &Profile, siblings: &[&Profile], timing: Timing) -> Vec<Flag> {
    let siblings: Vec<&Profile> = siblings.iter().copied().filter(|s| reaches(s, own)).collect();
    if siblings.is_empty() || own.median_ns.is_empty() {
        return alone.to_vec();
    }
    let mut flags: Vec<Flag> = alone
        .iter()
        .filter(|f| match f.kind {
            FlagKind::LevelStep | FlagKind::SlowDrift => false,
            FlagKind::HitchCluster | FlagKind::PeriodicHitching => !scenes_own(f, own, &siblings),
            _ => true,
        })
        .cloned()
        .collect();
    flags.extend(background_load::find(own, &siblings));
    let levels = levels(own, &siblings, timing);
    // What a step or a drift explains is no other content.
    flags.extend(other_content::find(own, &siblings, &levels.taken_out, timing));
    flags.extend(levels.flags);
    let all = flags.clone();
    flags.retain(|flag| !all.iter().any(|cause| explains(cause, flag)));
    flags.sort_by_key(|f| (f.start_ns, f.kind));
    flags
}

/// Whether a flag is but the trace of another that names a cause: levels that a cap, a throttling part, another program
/// or another passage make. One disturbance is one flag.
fn explains(cause: &Flag, flag: &Flag) -> bool {
    let causes = match flag.kind {
        FlagKind::LevelStep | FlagKind::SlowDrift => &[
            FlagKind::FrameCap,
            FlagKind::Throttling,
            FlagKind::BackgroundLoad,
            FlagKind::OtherContent,
            FlagKind::WarmUp,
        ][..],
        FlagKind::WarmUp => {
            &[FlagKind::FrameCap, FlagKind::Throttling, FlagKind::BackgroundLoad, FlagKind::OtherContent][..]
        }
        FlagKind::HitchCluster => &[FlagKind::PeriodicHitching],
        FlagKind::OtherContent => &[FlagKind::FrameCap, FlagKind::Throttling, FlagKind::BackgroundLoad],
        _ => &[],
    };
    let length_ns = |from: i64, to: i64| (to - from).max(0);
    let common = length_ns(cause.start_ns.max(flag.start_ns), cause.end_ns.min(flag.end_ns));
    let least = length_ns(flag.start_ns, flag.end_ns).min(length_ns(cause.start_ns, cause.end_ns));
    causes.contains(&cause.kind) && 2 * common >= least
}

/// What was found in the levels of a pass.
struct Levels {
    /// Steps, or a drift.
    flags: Vec<Flag>,
    /// What they add to the logs of the block medians.
    taken_out: Vec<f64>,
}

/// Steps or a drift, beside at least one sibling.
fn levels(own: &Profile, siblings: &[&Profile], timing: Timing) -> Levels {
    let logs: Vec<Vec<f64>> =
        std::iter::once(own).chain(siblings.iter().copied()).map(Profile::ln_medians).collect();
    let blocks = logs.iter().map(Vec::len).min().unwrap_or(0);
    let plain: Vec<Vec<f64>> = (0..logs.len()).map(|i| ratio(&logs, i, blocks, 0)).collect();
    let scatter = Scatter::middle(&plain.iter().map(|r| Scatter::of(r)).collect::<Vec<_>>());
    let limits = match siblings.len() {
        1 => STEP_OF_TWO,
        2 => STEP_OF_THREE,
        _ => STEP,
    };
    let mut found = steps(&ratio(&logs, 0, blocks, timing.slack()), &scatter, &limits);
    let slack = ratio(&logs, 0, blocks, timing.slack().max(1));
    found.retain(|s| s.to - s.from > SHORT || s.of(&slack).abs() >= SHORT_KEEPS * s.shift.abs());
    // Slack eats a part of a step: its size is told without.
    for step in &mut found {
        step.shift = step.of(&plain[0]);
    }
    let mut in_steps: Vec<f64> = (0..blocks)
        .map(|b| found.iter().find(|s| (s.from..s.to).contains(&b)).map_or(0.0, |step| step.shift))
        .collect();
    if siblings.len() == 1 {
        let flags = found.iter().map(|step| flag_of_two(own, step, blocks)).collect();
        return Levels { flags, taken_out: in_steps };
    }
    let creep = drift(&plain[0], &scatter, DRIFT_CHANGE, DRIFT_SDS).filter(|creep| match found.is_empty() {
        true => creep.by_order >= 1.0,
        false => line_fits_better(&plain[0], creep, &found),
    });
    let warm_up = warm_up::find(own, &plain[0], &scatter, &limits);
    match creep {
        Some(creep) => Levels {
            flags: vec![slow_drift::flag(own, &creep)],
            taken_out: (0..blocks).map(|b| creep.slope * b as f64).collect(),
        },
        None => {
            // A start that settles is no level: all that sets it apart is taken out.
            let settled = warm_up.as_ref().map_or(own.start_ns, |flag| flag.end_ns);
            let start = (0..blocks).take_while(|b| own.edge_ns(*b) < settled);
            start.for_each(|b| in_steps[b] = plain[0][b]);
            let steps = found.iter().map(|s| level_step::flag(own, s, blocks, THAN));
            Levels { flags: steps.chain(warm_up).collect(), taken_out: in_steps }
        }
    }
}

fn reaches(sibling: &Profile, own: &Profile) -> bool {
    sibling.median_ns.len() as f64 >= REACH * own.median_ns.len() as f64
}

/// Log ratio of pass `i` to the middle of the others, over the first `blocks` blocks: 0 where it lies within what
/// the middle reaches `slack` blocks sooner or later.
fn ratio(logs: &[Vec<f64>], i: usize, blocks: usize, slack: usize) -> Vec<f64> {
    let keep_own = logs.len() == 3;
    let others: Vec<&[f64]> =
        logs.iter().enumerate().filter(|(j, _)| keep_own || *j != i).map(|(_, log)| &log[..blocks]).collect();
    let middle = middle(&others);
    (0..blocks)
        .map(|b| {
            let near = &middle[b.saturating_sub(slack)..(b + slack + 1).min(blocks)];
            let low = near.iter().copied().fold(f64::INFINITY, f64::min);
            let high = near.iter().copied().fold(f64::NEG_INFINITY, f64::max);
            logs[i][b] - logs[i][b].clamp(low, high)
        })
        .collect()
}

/// Whether a straight line leaves less unexplained than level stretches do.
fn line_fits_better(series: &[f64], line: &Drift, steps: &[Step]) -> bool {
    if steps.is_empty() {
        return true;
    }
    let in_step = |i: usize| steps.iter().find(|s| (s.from..s.to).contains(&i));
    let rest: Vec<f64> = (0..series.len()).filter(|&i| in_step(i).is_none()).map(|i| series[i]).collect();
    let usual = rest.iter().sum::<f64>() / rest.len().max(1) as f64;
    let square = |v: f64| v * v;
    let (mut by_line, mut by_steps) = (0.0, 0.0);
    for (i, v) in series.iter().enumerate() {
        by_line += square(v - line.intercept - line.slope * i as f64);
        by_steps += square(v - usual - in_step(i).map_or(0.0, |s| s.shift));
    }
    by_line < by_steps
}

fn flag_of_two(own: &Profile, step: &Step, blocks: usize) -> Flag {
    let mut flag = level_step::flag(own, step, blocks, "");
    let to = own.end_in_words(flag.end_ns);
    flag.says = format!(
        "from {} to {to} the ratio of its frame times to those of the only other pass of its cell is {} away from what it is in the rest; either of the two may be the disturbed one",
        words::seconds(flag.start_ns),
        words::percent(libm::exp(step.shift.abs()) - 1.0)
    );
    flag
}

/// Whether the middle sibling loses at least half as much time to hitches in the same stretch, a block to each side.
fn scenes_own(cluster: &Flag, own: &Profile, siblings: &[&Profile]) -> bool {
    let lost_of = |p: &Profile, margin: usize| {
        let inside = |b: &usize| {
            let (from, to) = (own.edge_ns(b.saturating_sub(margin)), own.edge_ns(b + 1 + margin));
            from < cluster.end_ns && to > cluster.start_ns
        };
        (0..p.lost_ns.len()).filter(inside).map(|b| p.lost_ns[b] as f64).sum::<f64>()
    };
    let of_siblings: Vec<f64> = siblings.iter().map(|p| lost_of(p, 1)).collect();
    crate::stats::robust::median(&of_siblings) >= SCENES_OWN * lost_of(own, 0)
}

#[cfg(test)]
mod tests {
    use super::super::profile::BLOCK_NS;
    use super::*;

    /// A minute of a scene that swings by a third, with 0.7 % of scatter of the pass's own.
    fn pass(seed: i64, fault: impl Fn(i64) -> f64) -> Profile {
        let median_ns = (0..120)
            .map(|b| {
                let scene = 1.0 + 0.33 * libm::sin(b as f64 / 9.0) + if b > 70 { 0.5 } else { 0.0 };
                let own = 0.01 * libm::sin((b * (seed + 3)) as f64 * 1.7 + seed as f64);
                let ns = 1e7 * scene * (1.0 + own) * (1.0 + fault(b));
                // Whole ns by way of a decimal string: no lossy cast in tests either.
                format!("{ns:.0}").parse().unwrap()
            })
            .collect();
        Profile {
            start_ns: 0,
            end_ns: 120 * BLOCK_NS,
            median_ns,
            lost_ns: vec![0; 120],
            processor_ns: vec![],
        }
    }

    fn fault(b: i64) -> f64 {
        if (40..52).contains(&b) { 0.2 } else { 0.0 }
    }

    #[test]
    fn the_scene_is_not_a_fault() {
        let passes: Vec<Profile> = (0..4).map(|s| pass(s, |_| 0.0)).collect();
        for i in 0..4 {
            let others: Vec<&Profile> = (0..4).filter(|j| *j != i).map(|j| &passes[j]).collect();
            assert_eq!(screen_among(&[], &passes[i], &others, Timing::Fixed), [], "pass {i}");
        }
    }

    #[test]
    fn a_disturbed_pass_is_told_and_its_siblings_are_not() {
        for n in [3, 4, 5] {
            let passes: Vec<Profile> =
                (0..n).map(|s| pass(s, move |b| if s == 1 { fault(b) } else { 0.0 })).collect();
            for i in 0..passes.len() {
                let others: Vec<&Profile> =
                    (0..passes.len()).filter(|j| *j != i).map(|j| &passes[j]).collect();
                let found = screen_among(&[], &passes[i], &others, Timing::Fixed);
                if i == 1 {
                    assert_eq!(found.len(), 1, "{found:?}");
                    assert_eq!((found[0].start_ns, found[0].end_ns), (40 * BLOCK_NS, 52 * BLOCK_NS));
                    assert!(found[0].says.starts_with("from 20.0 s to 26.0 s frames take "));
                } else {
                    assert_eq!(found, [], "pass {i} of {n}");
                }
            }
        }
    }

    #[test]
    fn of_two_passes_either_may_be_the_bad_one() {
        let (good, bad) = (pass(0, |_| 0.0), pass(1, |b| 2.0 * fault(b)));
        for (own, other) in [(&good, &bad), (&bad, &good)] {
            let found = screen_among(&[], own, &[other], Timing::Fixed);
            assert_eq!(found.len(), 1);
            assert!(found[0].says.contains("either of the two"), "{}", found[0].says);
            assert!(!found[0].says.contains("longer") && !found[0].says.contains("shorter"));
        }
    }

    #[test]
    fn a_creep_is_a_drift_and_not_a_staircase() {
        let passes: Vec<Profile> =
            (0..4).map(|s| pass(s, move |b| if s == 2 { 0.1 * b as f64 / 119.0 } else { 0.0 })).collect();
        let found = screen_among(&[], &passes[2], &[&passes[0], &passes[1], &passes[3]], Timing::Fixed);
        assert_eq!(found.iter().map(|f| f.kind).collect::<Vec<_>>(), [FlagKind::SlowDrift]);
    }

    #[test]
    fn a_cluster_that_siblings_share_is_the_scenes_own() {
        let cluster = Flag {
            kind: FlagKind::HitchCluster,
            start_ns: 10 * BLOCK_NS,
            end_ns: 12 * BLOCK_NS,
            strength: 0.5,
            moves: None,
            says: String::new(),
        };
        let mut passes: Vec<Profile> = (0..3).map(|s| pass(s, |_| 0.0)).collect();
        passes[0].lost_ns[10] = 300_000_000;
        let alone = std::slice::from_ref(&cluster);
        assert_eq!(screen_among(alone, &passes[0], &[&passes[1], &passes[2]], Timing::Fixed).len(), 1);
        passes[1].lost_ns[11] = 250_000_000;
        passes[2].lost_ns[10] = 280_000_000;
        assert_eq!(screen_among(alone, &passes[0], &[&passes[1], &passes[2]], Timing::Fixed), []);
    }
}
