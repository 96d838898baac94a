//! Cadence: frames last long and short in turns of two, three or four, as generated or doubled frames do.
//!
//! Method: in each half second the logs of the durations are sorted by their place in turns of k frames; the share of
//! their sum of squares that the places explain (the correlation ratio of a one-way layout, eta squared) says how much
//! of the unevenness is cadence. Without one it is about (k - 1) / (n - 1) for n frames (our choice of method).
//!
//! Where a setting asks for generated frames a cadence is what was asked for: whoever knows the setting leaves it out.

use super::profile::block_rows;
use super::{Flag, FlagKind, Frames, strength, words};
use crate::stats::robust::median;

/// Turns that are looked for.
const TURNS: [usize; 3] = [2, 3, 4];
/// Least share of the unevenness of a half second that its places explain.
const EXPLAINED: f64 = 0.6;
/// Least root mean square of the places about their mean, log scale.
const SWING: f64 = 0.05;
/// Turns that a half second has to hold to be judged.
const FEWEST_TURNS: usize = 5;
/// Least share of the half seconds with a cadence.
const SHARE: f64 = 0.25;
/// Frames longer than this many medians are hitches and speak for nothing.
const HITCH: f64 = 4.0;

/// A half second with a cadence.
#[derive(Clone, Copy)]
struct Beat {
    turn: usize,
    /// Root mean square of the places, log scale.
    swing: f64,
}

/// Flags a cadence that holds over a good part of the window.
pub(super) fn find(frames: &Frames<'_>) -> Option<Flag> {
    let (first, last) = (frames.at_ns.first()?, frames.at_ns.last()?);
    let rows = block_rows(frames.at_ns, *first, last + 1);
    let beats: Vec<Option<Beat>> = rows.iter().map(|r| beat(&frames.frame_ns[r.clone()])).collect();
    let told: Vec<usize> = (0..beats.len()).filter(|&b| beats[b].is_some()).collect();
    let (from, to) = (*told.first()?, *told.last()?);
    let share = told.len() as f64 / beats.len() as f64;
    if share < SHARE {
        return None;
    }
    let of_turn = |k: &usize| beats.iter().flatten().filter(|b| b.turn == *k).count();
    let turn = TURNS.into_iter().max_by_key(of_turn)?;
    let swings: Vec<f64> = beats.iter().flatten().filter(|b| b.turn == turn).map(|b| b.swing).collect();
    let swing = median(&swings);
    let start_ns = *frames.at_ns.get(rows[from].start)?;
    let last_row = rows[to].end.checked_sub(1)?;
    Some(Flag {
        kind: FlagKind::Cadence,
        start_ns,
        end_ns: frames.at_ns.get(last_row)? + frames.frame_ns.get(last_row)?,
        strength: strength((share / SHARE).min(swing / SWING)),
        moves: None,
        says: format!(
            "frames last long and short in turns of {} in {} of the half seconds (about {} to either side of their middle): some seem to be generated or shown twice, and the rate is not that of rendered frames",
            words::count(turn),
            words::percent(share),
            words::percent(libm::exp(swing) - 1.0),
        ),
    })
}

/// The cadence of one half second: the shortest turn that explains nearly as much as the best.
fn beat(frame_ns: &[i64]) -> Option<Beat> {
    let durations: Vec<f64> = frame_ns.iter().map(|&d| d as f64).collect();
    let longest = HITCH * median(&durations);
    let logs: Vec<f64> = durations.iter().map(|d| libm::log(d.min(longest).max(1.0))).collect();
    let found: Vec<(f64, Beat)> = TURNS
        .into_iter()
        .filter(|turn| logs.len() >= FEWEST_TURNS * turn)
        .map(|turn| {
            let (explained, swing) = places(&logs, turn);
            (explained, Beat { turn, swing })
        })
        .collect();
    let best = found.iter().map(|(explained, _)| *explained).fold(0.0, f64::max);
    let (explained, beat) = found.into_iter().find(|(explained, _)| *explained >= best - 0.05)?;
    (explained >= EXPLAINED && beat.swing >= SWING).then_some(beat)
}

/// Share of the sum of squares that the places in turns of `turn` explain, and the root mean square of the places.
fn places(logs: &[f64], turn: usize) -> (f64, f64) {
    let whole = &logs[..logs.len() - logs.len() % turn];
    let mean = whole.iter().sum::<f64>() / whole.len() as f64;
    let all: f64 = whole.iter().map(|v| (v - mean) * (v - mean)).sum();
    let each = (whole.len() / turn) as f64;
    let between: f64 = (0..turn)
        .map(|place| {
            let of_place = whole.iter().skip(place).step_by(turn).sum::<f64>() / each;
            each * (of_place - mean) * (of_place - mean)
        })
        .sum();
    (between / all.max(1e-300), (between / whole.len() as f64).sqrt())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn flags(duration: impl Fn(usize) -> i64) -> Option<Flag> {
        let frame_ns: Vec<i64> = (0..3000).map(duration).collect();
        let at_ns: Vec<i64> = frame_ns
            .iter()
            .scan(0, |t, d| {
                *t += d;
                Some(*t - d)
            })
            .collect();
        find(&Frames { at_ns: &at_ns, frame_ns: &frame_ns })
    }

    fn noise(i: usize) -> i64 {
        i64::try_from(i * 7919 % 101).unwrap_or(0) * 10_000
    }

    #[test]
    fn turns_of_two_and_three_are_told() {
        let two = flags(|i| if i % 2 == 0 { 12_000_000 } else { 6_000_000 } + noise(i)).unwrap();
        assert!(two.says.starts_with("frames last long and short in turns of two in 100 %"), "{}", two.says);
        let three = flags(|i| if i % 3 == 0 { 14_000_000 } else { 7_000_000 } + noise(i)).unwrap();
        assert!(three.says.contains("turns of three"), "{}", three.says);
    }

    #[test]
    fn noise_and_pairs_of_a_limiter_are_none() {
        assert_eq!(flags(|i| 8_000_000 + 3 * noise(i)), None);
        // A limiter that is one per cent late and early in turn.
        assert_eq!(flags(|i| if i % 2 == 0 { 8_080_000 } else { 7_920_000 }), None);
    }

    /// Two places of 0 and 1: all is explained; correlation ratio by hand on 1, 2, 2, 3: 1 of 2.
    #[test]
    fn the_share_explained_is_the_correlation_ratio() {
        assert_eq!(places(&[0.0, 1.0, 0.0, 1.0], 2), (1.0, 0.5));
        assert_eq!(places(&[1.0, 2.0, 2.0, 3.0], 2), (0.5, 0.5));
    }
}
