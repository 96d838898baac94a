//! Gap or clock jump: the log's frame starts and durations disagree, or its running number skips.
//!
//! Where a log carries both starts and durations, each frame should start when the one before it ends. A start that
//! comes later leaves time that no frame accounts for; one that comes earlier counts time twice. Single
//! breaks are told where they are; many small ones by their sum (common practice, no source).

use super::{Flag, FlagKind, strength, words};
use crate::recording::{Recording, Role, Window};
use crate::stats::robust::{MAD_TO_SD, median};

/// Least break that is told, ns, ...
const LEAST_NS: f64 = 5_000_000.0;
/// ... in median frames, ...
const LEAST_FRAMES: f64 = 1.5;
/// ... and in robust standard deviations of the log's usual disagreement.
const LEAST_SDS: f64 = 10.0;
/// Breaks no further apart than this, ns, are one flag.
const TOGETHER_NS: i64 = 1_000_000_000;
/// Least share of the window that all small breaks together leave out or count twice.
const LEAST_SUM: f64 = 0.01;

/// A break between a frame and the next.
#[derive(Clone, Copy, Debug)]
struct Break {
    /// Where the earlier frame ends by its duration, ns.
    at_ns: i64,
    /// Start of the next less that end, ns; negative where time is counted twice.
    missing_ns: i64,
    /// In units of the limit.
    evidence: f64,
}

/// Flags breaks inside the window.
pub(super) fn find(recording: &Recording, window: Window) -> Vec<Flag> {
    let rows = window.rows(&recording.at_ns);
    if recording.frame_ns.len() != recording.at_ns.len() || rows.len() < 3 {
        return vec![];
    }
    let at_ns = &recording.at_ns[rows.clone()];
    let frame_ns = &recording.frame_ns[rows.clone()];
    let missing: Vec<i64> =
        at_ns.windows(2).zip(frame_ns).map(|(pair, frame)| pair[1] - pair[0] - frame).collect();
    let usual = median(&missing.iter().map(|m| m.abs() as f64).collect::<Vec<_>>()) * MAD_TO_SD;
    let frame = median(&frame_ns.iter().map(|&f| f as f64).collect::<Vec<_>>());
    let limit = LEAST_NS.max(LEAST_FRAMES * frame).max(LEAST_SDS * usual);
    let breaks: Vec<Break> = (0..missing.len())
        .map(|i| Break {
            at_ns: at_ns[i] + frame_ns[i],
            missing_ns: missing[i],
            evidence: missing[i].abs() as f64 / limit,
        })
        .filter(|b| b.evidence >= 1.0)
        .collect();
    let spanned_ns = at_ns[at_ns.len() - 1] - at_ns[0];
    let mut flags: Vec<Flag> = breaks
        .chunk_by(|a, b| b.at_ns - a.at_ns <= TOGETHER_NS)
        .map(|run| flag(run, frame, spanned_ns))
        .collect();
    let told: i64 = breaks.iter().map(|b| b.missing_ns).sum();
    flags.extend(sum_of_small(window, missing.iter().sum::<i64>() - told, spanned_ns));
    flags.extend(skips(recording, rows));
    flags
}

fn flag(run: &[Break], frame: f64, spanned_ns: i64) -> Flag {
    let missing_ns: i64 = run.iter().map(|b| b.missing_ns).sum();
    let start_ns = run.iter().map(|b| b.at_ns.min(b.at_ns + b.missing_ns)).min().unwrap_or(0);
    let end_ns = run.iter().map(|b| b.at_ns.max(b.at_ns + b.missing_ns)).max().unwrap_or(0);
    let frames = (missing_ns.abs() as f64 / frame).round().max(1.0);
    let what = if missing_ns >= 0 {
        format!(
            "the log leaves {} out that no frame accounts for (room for {frames:.0} frames of the usual length)",
            words::milliseconds(missing_ns)
        )
    } else {
        format!(
            "the durations count {} twice: the clock was set back or frames overlap",
            words::milliseconds(-missing_ns)
        )
    };
    let breaks =
        if run.len() > 1 { format!(" in {} breaks", words::count(run.len())) } else { String::new() };
    Flag {
        kind: FlagKind::Gap,
        start_ns,
        end_ns: end_ns.max(start_ns + 1),
        strength: strength(run.iter().map(|b| b.evidence).fold(0.0, f64::max)),
        // The average is reckoned from durations, so what was left out is at most as many frames at the usual rate.
        moves: Some(missing_ns.abs() as f64 / spanned_ns.max(1) as f64),
        says: format!("at {} {what}{breaks}", words::seconds(start_ns)),
    }
}

fn sum_of_small(window: Window, missing_ns: i64, spanned_ns: i64) -> Option<Flag> {
    let share = missing_ns as f64 / spanned_ns.max(1) as f64;
    (share.abs() >= LEAST_SUM).then(|| Flag {
        kind: FlagKind::Gap,
        start_ns: window.start_ns,
        end_ns: window.end_ns,
        strength: strength(share.abs() / LEAST_SUM),
        moves: Some(share.abs()),
        says: if share > 0.0 {
            format!("durations add up to {} less than the time between the frames' starts, spread over many frames", words::percent(share))
        } else {
            format!("durations add up to {} more than the time between the frames' starts, spread over many frames", words::percent(share))
        },
    })
}

/// Skips of a running number that else goes up by one a frame.
fn skips(recording: &Recording, rows: std::ops::Range<usize>) -> Option<Flag> {
    let track = recording.track(Role::Counter)?;
    let numbers = track.values.get(rows.clone())?;
    let ahead: Vec<f64> = numbers.windows(2).map(|w| w[1] - w[0]).collect();
    let by_one = ahead.iter().filter(|&&d| d == 1.0).count();
    // A number that mostly does not go up by one counts something else.
    if 10 * by_one < 9 * ahead.len() {
        return None;
    }
    let skipped: Vec<usize> = (0..ahead.len()).filter(|&i| ahead[i] > 1.0).collect();
    let (first, last) = (*skipped.first()?, *skipped.last()?);
    let missing: f64 = skipped.iter().map(|&i| ahead[i] - 1.0).sum();
    let share = missing / (missing + numbers.len() as f64);
    (share >= LEAST_SUM / 2.0).then(|| Flag {
        kind: FlagKind::Gap,
        start_ns: recording.at_ns[rows.start + first],
        end_ns: recording.at_ns[rows.start + last + 1],
        strength: strength(2.0 * share / LEAST_SUM),
        moves: Some(share),
        says: format!(
            "the running number of the frames skips {missing:.0} of them, {} of the window's frames, first at {}",
            words::percent(share),
            words::seconds(recording.at_ns[rows.start + first])
        ),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::recording::{Kind, Track, Unit};

    /// 20 s at 100 fps, clock in whole microseconds, durations to 0.1 us.
    fn even() -> Recording {
        Recording {
            kind: Kind::Frames,
            wall_start_ns: None,
            at_ns: (0..2000).map(|i| i * 10_000_000 + (i * 7 % 10) * 100).collect(),
            frame_ns: vec![10_000_000; 2000],
            tracks: vec![],
        }
    }

    fn found(recording: &Recording) -> Vec<Flag> {
        find(recording, recording.whole())
    }

    #[test]
    fn rounding_of_the_clock_is_no_gap() {
        assert_eq!(found(&even()), []);
    }

    #[test]
    fn time_that_no_frame_accounts_for_is_told() {
        let mut recording = even();
        for at in &mut recording.at_ns[820..] {
            *at += 240_000_000;
        }
        let flags = found(&recording);
        assert_eq!(flags.len(), 1);
        assert_eq!(
            flags[0].says,
            "at 8.2 s the log leaves 240 ms out that no frame accounts for (room for 24 frames of the usual length)"
        );
        assert!((flags[0].moves.unwrap() - 0.24 / 20.23).abs() < 1e-4);
    }

    #[test]
    fn time_counted_twice_is_told() {
        let mut recording = even();
        recording.frame_ns[500] += 300_000_000;
        let flags = found(&recording);
        assert_eq!(flags.len(), 1);
        assert!(flags[0].says.contains("count 300 ms twice"), "{}", flags[0].says);
    }

    #[test]
    fn many_small_losses_are_told_by_their_sum() {
        let mut recording = even();
        for (i, at) in (0_i64..).zip(&mut recording.at_ns) {
            *at += i * 200_000;
        }
        let flags = found(&recording);
        assert_eq!(flags.len(), 1);
        assert!(flags[0].says.starts_with("durations add up to 2.0 % less"), "{}", flags[0].says);
    }

    #[test]
    fn a_running_number_that_skips_is_told() {
        let mut recording = even();
        let values = (0..2000).map(|i| f64::from(i) + if i > 700 { 60.0 } else { 0.0 }).collect();
        recording.tracks.push(Track { role: Role::Counter, unit: Unit::None, name: "n".into(), values });
        let flags = found(&recording);
        assert_eq!(flags.len(), 1);
        assert!(flags[0].says.starts_with("the running number of the frames skips 60 of them, 2.9 %"));
    }
}
