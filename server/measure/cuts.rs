//! Cuts: where one long log holds several passes, with pauses, menus and loading screens between them.
//!
//! A person decides; [`propose`] only prepares. Time that no frame covers, and single frames of a second and more, end
//! a stretch (common practice, no source). What is left is cut where the level changes for good: PELT (Killick,
//! Fearnhead & Eckley 2012, see [`crate::stats::changepoint`]) on the logs of 0.5 s block medians. A scene has levels of
//! its own, so only changes by a factor of 1.6 and more count.

use crate::recording::{Kind, NS_PER_S, Recording, Track, Window};
use crate::stats::changepoint::{pelt, single};
use crate::stats::robust::median;

/// A hole between two frames, or one frame, of this length ends a stretch, ns.
const HANG_NS: i64 = NS_PER_S;
/// Length of a block, ns.
const BLOCK_NS: i64 = NS_PER_S / 2;
/// Blocks of one stretch at most: of hours, they are longer.
const MOST_BLOCKS: i64 = 4000;
/// Fewest blocks between two changes: two seconds.
const MIN_BLOCKS: usize = 4;
/// Standard deviation of a block's log median that the penalty reckons with: a scene's own movement.
const BLOCK_SD: f64 = 0.15;
/// Ratio of levels from which on a change is one between a passage and something else.
const LEAST_CHANGE: f64 = 1.6;
/// Shortest stretch that is shown, ns.
const SHORTEST_NS: i64 = 3 * NS_PER_S;
/// Shortest stretch that is taken for a pass, ns.
const SHORTEST_PASS_NS: i64 = 10 * NS_PER_S;

/// What a stretch of a log looks like.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Looks {
    /// A pass.
    Pass,
    /// Too short for one.
    Short,
    /// Something else: its frame rate is this many times that of the other stretches.
    Unlike(f64),
}

/// A stretch of a log.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stretch {
    /// As [`exact`].
    pub window: Window,
    /// Frames that start in it.
    pub frames: usize,
    /// Frames divided by their time.
    pub average_fps: f64,
    /// What it looks like.
    pub looks: Looks,
}

/// The window from the first row that starts in `window` to the end of the last one, or to the row after it where that
/// comes sooner: it holds the same rows. `None` where none starts in it.
pub fn exact(recording: &Recording, window: Window) -> Option<Window> {
    let rows = window.rows(&recording.at_ns);
    let last = rows.end.checked_sub(1).filter(|last| *last >= rows.start)?;
    let lasts_ns = recording.frame_ns.get(last).copied().unwrap_or(0).max(1);
    let ends_ns = recording.at_ns[last] + lasts_ns;
    let next_ns = recording.at_ns.get(rows.end).copied().unwrap_or(i64::MAX);
    Some(Window { start_ns: recording.at_ns[rows.start], end_ns: ends_ns.min(next_ns) })
}

/// The frames of a log that start in a window; none where no frame does.
pub fn stretch(recording: &Recording, window: Window) -> Option<Stretch> {
    let rows = window.rows(&recording.at_ns);
    let frame_ns = recording.frame_ns.get(rows.clone())?;
    let seconds = frame_ns.iter().sum::<i64>() as f64 / NS_PER_S as f64;
    Some(Stretch {
        window: exact(recording, window)?,
        frames: rows.len(),
        average_fps: rows.len() as f64 / seconds,
        looks: Looks::Pass,
    })
}

/// The stretches of a log of frames, in order of time; those under three seconds are left out. One that takes in the
/// whole log: nothing to cut. Empty for companions.
pub fn propose(recording: &Recording) -> Vec<Stretch> {
    if recording.kind != Kind::Frames || recording.frame_ns.len() != recording.at_ns.len() {
        return Vec::new();
    }
    let levels = unbroken(recording).into_iter().flat_map(|whole| by_level(recording, whole));
    let mut found: Vec<Stretch> = levels
        .filter(|window| window.length_ns() >= SHORTEST_NS)
        .filter_map(|window| stretch(recording, window))
        .collect();
    let usual = usual_rate(&found);
    for one in &mut found {
        let times = one.average_fps / usual;
        one.looks = if times >= LEAST_CHANGE || times <= 1.0 / LEAST_CHANGE {
            Looks::Unlike(times)
        } else if one.window.length_ns() < SHORTEST_PASS_NS {
            Looks::Short
        } else {
            Looks::Pass
        };
    }
    found
}

/// The frame rate in the middle of all time, where the stretches that are long enough for a pass have any.
fn usual_rate(found: &[Stretch]) -> f64 {
    let long = |one: &&Stretch| one.window.length_ns() >= SHORTEST_PASS_NS;
    let mut by_rate: Vec<&Stretch> = found.iter().filter(long).collect();
    if by_rate.is_empty() {
        by_rate = found.iter().collect();
    }
    by_rate.sort_by(|a, b| a.average_fps.total_cmp(&b.average_fps));
    let half = by_rate.iter().map(|one| one.window.length_ns()).sum::<i64>() / 2;
    let mut passed = 0;
    let middle = by_rate.iter().find(|one| {
        passed += one.window.length_ns();
        passed >= half
    });
    middle.map_or(f64::NAN, |one| one.average_fps)
}

/// The stretches between holes and hangs; a frame that hangs is in none.
fn unbroken(recording: &Recording) -> Vec<Window> {
    let (at, frame) = (&recording.at_ns, &recording.frame_ns);
    let mut found = Vec::new();
    let mut from: Option<usize> = None;
    let end = |row: usize| at[row] + frame[row];
    for row in 0..at.len() {
        let hangs = frame[row] >= HANG_NS;
        let after_hole = row > 0 && at[row] - end(row - 1) >= HANG_NS;
        if let Some(first) = from.filter(|_| hangs || after_hole) {
            found.push(Window { start_ns: at[first], end_ns: end(row - 1) });
            from = None;
        }
        if !hangs {
            from = from.or(Some(row));
        }
    }
    if let Some(first) = from {
        found.push(Window { start_ns: at[first], end_ns: recording.span_ns() });
    }
    found
}

/// The parts of an unbroken stretch between which the level changes for good.
fn by_level(recording: &Recording, whole: Window) -> Vec<Window> {
    let block_ns = BLOCK_NS.max(whole.length_ns() / MOST_BLOCKS);
    let levels = block_levels(recording, whole, block_ns);
    let penalty = 3.0 * BLOCK_SD * BLOCK_SD * (levels.len().max(2) as f64).ln();
    let mut start = 0;
    // Each part's first block, the one after its last, and its level.
    let mut parts: Vec<(usize, usize, f64)> = pelt(&levels, MIN_BLOCKS, penalty)
        .into_iter()
        .map(|end| (std::mem::replace(&mut start, end), end))
        .map(|(from, to)| (from, to, median(&levels[from..to])))
        .collect();
    // Neighbours that are not far apart are one, the nearest first.
    while let Some((n, apart)) = nearest(&parts) {
        if apart >= LEAST_CHANGE.ln() {
            break;
        }
        let (_, to, _) = parts.remove(n + 1);
        let from = parts[n].0;
        parts[n] = (from, to, median(&levels[from..to]));
    }
    let at = |block: usize| whole.start_ns + i64::try_from(block).unwrap_or(MOST_BLOCKS) * block_ns;
    let last = parts.len().saturating_sub(1);
    let mut from = whole.start_ns;
    let cut = parts.iter().enumerate().map(|(n, (_, end, _))| {
        let end_ns = if n == last { whole.end_ns } else { sharpened(recording, at(*end), 2 * block_ns) };
        Window { start_ns: std::mem::replace(&mut from, end_ns), end_ns }
    });
    cut.collect()
}

/// The first of the two neighbours whose levels are nearest to each other, and how far they are apart.
fn nearest(parts: &[(usize, usize, f64)]) -> Option<(usize, f64)> {
    let apart = parts.windows(2).map(|pair| (pair[0].2 - pair[1].2).abs());
    apart.enumerate().min_by(|a, b| a.1.total_cmp(&b.1))
}

/// The frame within `reach_ns` at which the level changes most clearly: least squares around a mean on either side.
fn sharpened(recording: &Recording, near_ns: i64, reach_ns: i64) -> i64 {
    let rows = Window { start_ns: near_ns - reach_ns, end_ns: near_ns + reach_ns }.rows(&recording.at_ns);
    let logs: Vec<f64> = recording.frame_ns[rows.clone()].iter().map(|&ns| libm::log(ns as f64)).collect();
    single(&logs).map_or(near_ns, |split| recording.at_ns[rows.start + split])
}

/// Natural logs of the blocks' median frame times; a block without a frame repeats the one before.
fn block_levels(recording: &Recording, whole: Window, block_ns: i64) -> Vec<f64> {
    let blocks = whole.length_ns() / block_ns;
    let mut levels: Vec<f64> = Vec::new();
    for block in 0..blocks {
        let start_ns = whole.start_ns + block * block_ns;
        let rows = Window { start_ns, end_ns: start_ns + block_ns }.rows(&recording.at_ns);
        let frames: Vec<f64> = recording.frame_ns[rows].iter().map(|&ns| ns as f64).collect();
        let own = (!frames.is_empty()).then(|| libm::log(median(&frames)));
        levels.push(own.or(levels.last().copied()).unwrap_or(0.0));
    }
    levels
}

/// The rows that start in a window, as a recording of its own that begins with the first of them. `None` where none does.
pub fn cut(recording: &Recording, window: Window) -> Option<Recording> {
    let rows = window.rows(&recording.at_ns);
    let start_ns = *recording.at_ns.get(rows.start).filter(|_| !rows.is_empty())?;
    let track = |track: &Track| Track { values: track.values[rows.clone()].to_vec(), ..track.clone() };
    Some(Recording {
        kind: recording.kind,
        wall_start_ns: recording.wall_start_ns.map(|ns| ns + start_ns),
        at_ns: recording.at_ns[rows.clone()].iter().map(|at| at - start_ns).collect(),
        frame_ns: recording.frame_ns.get(rows.clone()).map(<[i64]>::to_vec).unwrap_or_default(),
        tracks: recording.tracks.iter().map(track).collect(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::recording::{Role, Unit};

    /// Frames of `us` microseconds each, with a little movement, for `seconds`, after what is there.
    fn play(recording: &mut Recording, us: i64, seconds: i64) {
        let mut at = recording.span_ns();
        let until = at + seconds * NS_PER_S;
        let mut n = 0;
        while at < until {
            let ns = us * (1000 + 20 * (n % 5) + (n / 90) % 40);
            recording.at_ns.push(at);
            recording.frame_ns.push(ns);
            at += ns;
            n += 1;
        }
    }

    fn empty() -> Recording {
        Recording {
            kind: Kind::Frames,
            wall_start_ns: Some(5),
            at_ns: vec![],
            frame_ns: vec![],
            tracks: vec![],
        }
    }

    fn seconds(found: &[Stretch]) -> Vec<(f64, f64)> {
        let s = |ns: i64| (ns as f64 / 1e8).round() / 10.0;
        found.iter().map(|one| (s(one.window.start_ns), s(one.window.end_ns))).collect()
    }

    #[test]
    fn passes_between_menus_holes_and_hangs_are_proposed() {
        let mut log = empty();
        play(&mut log, 2000, 8); // a menu
        play(&mut log, 11000, 60);
        let hang = log.span_ns();
        log.at_ns.push(hang);
        log.frame_ns.push(4 * NS_PER_S); // loading
        play(&mut log, 12000, 60);
        // Logged nothing for a while.
        let resumes = log.span_ns() + 20 * NS_PER_S;
        log.at_ns.push(resumes);
        log.frame_ns.push(11_000_000);
        play(&mut log, 11500, 60);
        play(&mut log, 33300, 6);
        let found = propose(&log);
        let passes: Vec<Stretch> = found.iter().copied().filter(|one| one.looks == Looks::Pass).collect();
        assert_eq!(seconds(&passes), [(8.0, 68.0), (72.0, 132.0), (152.0, 212.0)]);
        let others: Vec<f64> = found
            .iter()
            .filter_map(|one| if let Looks::Unlike(times) = one.looks { Some(times) } else { None })
            .collect();
        assert_eq!(others.len(), 2);
        assert!(others[0] > 4.0 && others[1] < 0.5, "{others:?}");
    }

    #[test]
    fn an_ordinary_pass_is_left_whole() {
        let mut log = empty();
        play(&mut log, 8000, 30);
        play(&mut log, 11000, 30);
        let found = propose(&log);
        assert_eq!(found.len(), 1);
        assert_eq!(found[0].window, log.whole());
        assert_eq!(propose(&Recording { kind: Kind::Companion, frame_ns: vec![], ..log }), []);
        assert_eq!(propose(&empty()), []);
    }

    #[test]
    fn what_is_cut_out_is_a_recording_of_its_own() {
        let mut log = empty();
        play(&mut log, 10000, 5);
        let values = (0..log.rows()).map(|n| n as f64).collect();
        log.tracks.push(Track { role: Role::Power, unit: Unit::Watt, name: "board".to_owned(), values });
        let window = Window { start_ns: NS_PER_S, end_ns: 3 * NS_PER_S };
        let rows = window.rows(&log.at_ns);
        let out = cut(&log, window).unwrap();
        assert_eq!((out.at_ns[0], out.rows()), (0, rows.len()));
        assert_eq!(out.frame_ns, log.frame_ns[rows.clone()]);
        assert_eq!(out.wall_start_ns, Some(5 + log.at_ns[rows.start]));
        assert_eq!(out.tracks[0].values, log.tracks[0].values[rows.clone()]);
        let told = stretch(&log, window).unwrap();
        assert_eq!((told.frames, told.window.length_ns()), (rows.len(), out.span_ns()));
        assert_eq!(cut(&log, Window { start_ns: 99 * NS_PER_S, end_ns: 100 * NS_PER_S }), None);
    }
}
