//! Cluster of hitches: more hitches close together than the pass's own rate explains, or one stretch that loses
//! a material share of the time.
//!
//! A hitch is what [`hitch_rows`] takes for one. Single hitches belong to many scenes and are a measure, not a flag.
//! Whether a run of hitches is too dense is asked of a Poisson process with the rate of the rest of the pass (scan
//! statistic in the manner of Naus 1965, with the number of places as the multiplicity; recalled from memory).

use super::{Flag, FlagKind, Frames, moves_average, strength, words};
use crate::measures::pacing::hitch_rows;

/// Hitches no further apart than this, ns, are one run.
const RUN_NS: i64 = 1_500_000_000;
/// Fewest hitches in a cluster.
const FEWEST: usize = 4;
/// Least share of the window that a cluster loses.
const CLUSTER_LOST: f64 = 0.004;
/// Chance of a run as dense somewhere in the pass, below which it counts.
const CHANCE: f64 = 1e-3;
/// Share of the window lost in one stretch that is material whatever the count.
const MATERIAL_LOST: f64 = 0.01;
/// A material stretch loses this many times what the next worst stretch of the pass does.
const ALONE: f64 = 3.0;

/// A frame that lasts much longer than those around it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Hitch {
    /// Start of the frame, ns from the first frame of the pass.
    pub at_ns: i64,
    /// Its duration less the running median, ns.
    pub lost_ns: i64,
    /// Its duration, ns.
    pub frame_ns: i64,
}

/// The hitches among the frames, in order: those that the measures count.
pub(crate) fn hitches(frames: &Frames<'_>) -> Vec<Hitch> {
    let rows = hitch_rows(frames.frame_ns).into_iter();
    rows.filter_map(|(row, lost_ns)| {
        Some(Hitch { at_ns: *frames.at_ns.get(row)?, lost_ns, frame_ns: *frames.frame_ns.get(row)? })
    })
    .collect()
}

/// A run of hitches.
struct Run<'a> {
    hitches: &'a [Hitch],
    start_ns: i64,
    end_ns: i64,
    lost_ns: i64,
}

fn runs(hitches: &[Hitch]) -> Vec<Run<'_>> {
    hitches
        .chunk_by(|a, b| b.at_ns - (a.at_ns + a.frame_ns) <= RUN_NS)
        .filter_map(|run| {
            let (first, last) = (run.first()?, run.last()?);
            Some(Run {
                hitches: run,
                start_ns: first.at_ns,
                end_ns: last.at_ns + last.frame_ns,
                lost_ns: run.iter().map(|h| h.lost_ns).sum(),
            })
        })
        .collect()
}

/// Flags the clusters among the frames of a window.
pub(super) fn find(frames: &Frames<'_>) -> Vec<Flag> {
    let total_ns = frames.total_ns();
    if total_ns <= 0 {
        return vec![];
    }
    let all = hitches(frames);
    let runs = runs(&all);
    let flag = |run: &Run<'_>| {
        let share = run.lost_ns as f64 / total_ns as f64;
        let next =
            runs.iter().filter(|r| r.start_ns != run.start_ns).map(|r| r.lost_ns).max().unwrap_or(0).max(1);
        let alone = run.lost_ns as f64 >= ALONE * next as f64;
        let material = if alone { share / MATERIAL_LOST } else { 0.0 };
        let dense = dense(run, all.len(), total_ns).min(share / CLUSTER_LOST);
        let evidence = material.max(dense);
        (evidence >= 1.0).then(|| Flag {
            kind: FlagKind::HitchCluster,
            start_ns: run.start_ns,
            end_ns: run.end_ns,
            strength: strength(evidence),
            moves: Some(moves_average(share, f64::INFINITY)),
            says: says(run, all.len() - run.hitches.len(), share),
        })
    };
    runs.iter().filter_map(flag).collect()
}

/// How far a run is beyond chance: ln(chance) over ln of the threshold; 0 for too few hitches.
fn dense(run: &Run<'_>, all: usize, total_ns: i64) -> f64 {
    let count = run.hitches.len();
    if count < FEWEST {
        return 0.0;
    }
    let length_ns = (run.end_ns - run.start_ns).max(RUN_NS);
    let rest_ns = (total_ns - length_ns).max(RUN_NS);
    // One hitch more than was seen, so that a rate of nothing is not taken for certain.
    let rate = (all - count + 1) as f64 / rest_ns as f64;
    let places = total_ns as f64 / length_ns as f64;
    let chance = places.max(1.0) * poisson_at_least(count, rate * length_ns as f64);
    libm::log(chance.clamp(1e-300, 1.0)) / libm::log(CHANCE)
}

/// Chance of `count` or more events where `mean` are expected.
fn poisson_at_least(count: usize, mean: f64) -> f64 {
    // Summed upwards from `count`, so that small chances keep their digits.
    let mut term = libm::exp(count as f64 * libm::log(mean) - mean - libm::lgamma(count as f64 + 1.0));
    let mut sum = 0.0;
    let mut k = count as f64;
    while term > sum * 1e-16 && k < count as f64 + mean + 1e4 {
        sum += term;
        k += 1.0;
        term *= mean / k;
    }
    sum.min(1.0)
}

fn says(run: &Run<'_>, elsewhere: usize, share: f64) -> String {
    let longest = run.hitches.iter().map(|h| h.frame_ns).max().unwrap_or(0);
    if run.hitches.len() == 1 {
        return format!(
            "at {} one frame lasts {}: {} of the window's time is lost in it",
            words::seconds(run.start_ns),
            words::milliseconds(longest),
            words::percent(share)
        );
    }
    format!(
        "from {} to {} there are {} hitches (longest frame {}) that lose {} of the window's time; {} in the rest of it",
        words::seconds(run.start_ns),
        words::seconds(run.end_ns),
        run.hitches.len(),
        words::milliseconds(longest),
        words::percent(share),
        if elsewhere == 0 { "none".to_owned() } else { words::count(elsewhere) }
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(frame_ns: &[i64]) -> Vec<i64> {
        frame_ns
            .iter()
            .scan(0, |t, d| {
                let start = *t;
                *t += d;
                Some(start)
            })
            .collect()
    }

    /// A minute at 100 fps with frames of 60 ms at the given frame numbers.
    fn minute(hitches: &[usize]) -> Vec<i64> {
        let mut frame_ns: Vec<i64> = (0..6000).map(|i| 10_000_000 + (i % 7) * 100_000).collect();
        for &h in hitches {
            frame_ns[h] = 60_000_000;
        }
        frame_ns
    }

    fn flags(frame_ns: &[i64]) -> Vec<Flag> {
        find(&Frames { at_ns: &at(frame_ns), frame_ns })
    }

    #[test]
    fn single_hitches_are_no_cluster() {
        assert_eq!(flags(&minute(&[])), []);
        assert_eq!(flags(&minute(&[500, 1400, 2300, 3200, 4100, 5000])), []);
    }

    #[test]
    fn seven_hitches_in_a_second_are_one() {
        let found = flags(&minute(&[500, 3000, 3015, 3030, 3045, 3060, 3075, 3090]));
        assert_eq!(found.len(), 1);
        assert!((found[0].start_ns - 31_000_000_000).abs() < 500_000_000);
        assert!(found[0].says.contains("7 hitches (longest frame 60 ms)"), "{}", found[0].says);
        assert!(found[0].says.ends_with("one in the rest of it"), "{}", found[0].says);
    }

    #[test]
    fn one_long_freeze_is_flagged_by_the_time_it_loses() {
        let mut frame_ns = minute(&[500, 1400]);
        frame_ns[3000] = 2_000_000_000;
        let found = flags(&frame_ns);
        assert_eq!(found.len(), 1);
        assert!(found[0].says.contains("one frame lasts 2000 ms: 3.1 %"), "{}", found[0].says);
        // 1.99 of 63.9 s lost: 1 / (1 - 0.0311) - 1.
        assert!((found[0].moves.unwrap() - 0.0321).abs() < 0.0005);
    }

    #[test]
    fn poisson_tails_are_right() {
        // 1 - exp(-2) (1 + 2 + 2)
        assert!((poisson_at_least(3, 2.0) - (1.0 - 5.0 * libm::exp(-2.0))).abs() < 1e-12);
        assert!((poisson_at_least(0, 2.0) - 1.0).abs() < 1e-12);
    }
}
