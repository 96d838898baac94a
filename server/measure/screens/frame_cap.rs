//! Frame cap: something else than the work of the frame decides how long it lasts.
//!
//! Under a cap the load may rise and fall while the shortest duration does not: many frames last the same, and
//! hardly any is shorter. A clean pass has no such edge: where few frames are shorter, few are near. A limiter may hit its
//! mark in each frame, in pairs of frames (one late, the next early), or only over half a second; so the edge is
//! looked for in frames, in pairs and in blocks. The duration is named where it fits a refresh rate r, the cap just
//! below it that displays with a variable rate call for (r - r^2 / 3600: 116, 138, 157, 224 for 120, 144, 165, 240;
//! common practice, no source), a whole fraction of a refresh rate, or the 30 and 60 of menus and background windows.
//!
//! A rate that has no name is not told: it would tell the level of the pass.

use super::profile::{BLOCK_NS, block_rows};
use super::{Flag, FlagKind, Frames, strength, words};
use crate::stats::robust::median;

/// Refresh rates in hertz of displays in use.
const REFRESH: [f64; 14] =
    [50.0, 60.0, 75.0, 90.0, 100.0, 120.0, 144.0, 165.0, 175.0, 180.0, 240.0, 280.0, 360.0, 480.0];
/// Half-width of the band around one duration, as a share of it.
const BAND: f64 = 0.003;
/// A name fits when its rate is this near, as a share of it.
const NEAR: f64 = 0.004;
/// What is shorter than the level by more than this share speaks against a cap, ...
const SHORTER: f64 = 0.006;
/// ... unless it is no more than this share of all.
const FEW_SHORTER: f64 = 0.03;
/// A cap piles durations up: as far above the band as this, as a share of the level, ...
const RING: f64 = 0.012;
/// ... there is at most this much for each one in the band.
const RING_PER_HELD: f64 = 0.25;
/// Least share in the band, where the rate has a name.
const NAMED_SHARE: f64 = 0.15;
/// Least share in the band without a name.
const NAMELESS_SHARE: f64 = 0.25;
/// Fewest blocks: five seconds.
const MIN_BLOCKS: usize = 10;
/// A duration of this many times the median is a hitch and left out of the means.
const HITCH: f64 = 1.75;

/// Durations that are looked at together, with the time at which each began, ns.
struct Durations {
    at_ns: Vec<i64>,
    ns: Vec<f64>,
}

impl Durations {
    /// Of single frames; none where the log's own steps are too coarse to tell an edge from rounding.
    fn of_frames(frames: &Frames<'_>) -> Option<Self> {
        let mut sorted = frames.frame_ns.to_vec();
        sorted.sort_unstable();
        sorted.dedup();
        let step_ns = sorted.windows(2).map(|w| w[1] - w[0]).min()?;
        let ns: Vec<f64> = frames.frame_ns.iter().map(|&d| d as f64).collect();
        (step_ns as f64 <= BAND * median(&ns)).then(|| Self { at_ns: frames.at_ns.to_vec(), ns })
    }

    /// Means of two frames each.
    fn of_pairs(single: &Self) -> Self {
        Self {
            at_ns: single.at_ns.chunks_exact(2).map(|pair| pair[0]).collect(),
            ns: single.ns.chunks_exact(2).map(|pair| (pair[0] + pair[1]) / 2.0).collect(),
        }
    }

    /// Means of half seconds, without hitches.
    fn of_blocks(frames: &Frames<'_>) -> Self {
        let mut blocks = Self { at_ns: vec![], ns: vec![] };
        for rows in blocks_of(frames) {
            let durations: Vec<f64> = frames.frame_ns[rows.clone()].iter().map(|&d| d as f64).collect();
            let middle = median(&durations);
            let usual: Vec<f64> = durations.into_iter().filter(|d| *d < HITCH * middle).collect();
            if usual.len() >= 3 {
                blocks.at_ns.push(frames.at_ns[rows.start]);
                blocks.ns.push(usual.iter().sum::<f64>() / usual.len() as f64);
            }
        }
        blocks
    }
}

fn blocks_of(frames: &Frames<'_>) -> Vec<std::ops::Range<usize>> {
    let Some((first, last)) = frames.at_ns.first().zip(frames.at_ns.last()) else { return vec![] };
    block_rows(frames.at_ns, *first, last + 1)
}

/// An edge: a duration that many last and hardly any falls below.
#[derive(Clone, Copy, Debug)]
struct Edge {
    level_ns: f64,
    held: f64,
    shorter: f64,
    name: Option<Name>,
    /// Share of what is held over its least, 0 where it just suffices and 1 where all is held.
    beyond: f64,
}

fn edge(durations: &Durations) -> Option<Edge> {
    let mut sorted = durations.ns.clone();
    sorted.sort_unstable_by(f64::total_cmp);
    if sorted.len() < MIN_BLOCKS {
        return None;
    }
    let level_ns = densest(&sorted);
    let all = sorted.len() as f64;
    let below = |ratio: f64| sorted.partition_point(|d| *d < level_ns * ratio) as f64 / all;
    let held = below(1.0 + BAND) - below(1.0 - BAND);
    let shorter = below(1.0 - SHORTER);
    let ring = below(1.0 + RING) - below(1.0 + BAND);
    let name = name(1e9 / level_ns);
    let least = if name.is_some() { NAMED_SHARE } else { NAMELESS_SHARE };
    let stands = held >= least && shorter <= FEW_SHORTER && ring <= RING_PER_HELD * held;
    stands.then(|| Edge { level_ns, held, shorter, name, beyond: (held - least) / (1.0 - least) })
}

/// Flags a cap that holds a large share of the window.
pub(super) fn find(frames: &Frames<'_>) -> Option<Flag> {
    if blocks_of(frames).len() < MIN_BLOCKS {
        return None;
    }
    let blocks = Durations::of_blocks(frames);
    let single = Durations::of_frames(frames);
    let pairs = single.as_ref().map(Durations::of_pairs);
    let looked_at = [single, pairs, Some(blocks)];
    let edges = looked_at.iter().flatten().filter_map(|d| Some((d, edge(d)?)));
    let (durations, edge) = edges.max_by(|a, b| a.1.held.total_cmp(&b.1.held))?;
    let (start_ns, end_ns) = stretch(frames, durations, &edge)?;
    let named = match edge.name {
        Some(name) => format!("{:.0} a second, {name}", 1e9 / edge.level_ns),
        None => "no refresh rate that we know".to_owned(),
    };
    Some(Flag {
        kind: FlagKind::FrameCap,
        start_ns,
        end_ns,
        // A share cannot reach four times its limit: half way to all of the window counts as much.
        strength: strength(1.0 + 3.0 * edge.beyond),
        moves: None,
        says: format!(
            "{} of the frames last equally long ({named}), and {}: something holds them",
            words::percent(edge.held),
            if edge.shorter == 0.0 {
                "none is shorter".to_owned()
            } else {
                format!("only {} are shorter", words::percent(edge.shorter))
            },
        ),
    })
}

/// From the first block that holds at least half as much as the whole window does to the last one.
fn stretch(frames: &Frames<'_>, durations: &Durations, edge: &Edge) -> Option<(i64, i64)> {
    let held = |ns: f64| (ns / edge.level_ns - 1.0).abs() <= BAND;
    let first = *frames.at_ns.first()?;
    let block = |at: i64| (at - first) / BLOCK_NS;
    let rows: Vec<(i64, f64)> = durations.at_ns.iter().copied().zip(durations.ns.iter().copied()).collect();
    let full: Vec<i64> = rows
        .chunk_by(|a, b| block(a.0) == block(b.0))
        .filter(|b| b.iter().filter(|(_, ns)| held(*ns)).count() as f64 >= 0.5 * edge.held * b.len() as f64)
        .filter_map(|b| Some(block(b.first()?.0)))
        .collect();
    let end = frames.at_ns.last()? + frames.frame_ns.last()?;
    Some((first + full.first()? * BLOCK_NS, (first + (full.last()? + 1) * BLOCK_NS).min(end)))
}

/// Middle of the band that holds most of the sorted values.
fn densest(sorted: &[f64]) -> f64 {
    let mut best = (0, 0);
    for from in 0..sorted.len() {
        let to = sorted.partition_point(|v| *v <= sorted[from] * (1.0 + 2.0 * BAND));
        if to - from > best.1 - best.0 {
            best = (from, to);
        }
    }
    median(&sorted[best.0..best.1])
}

/// What a rate in frames per second is the cap of.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Name {
    /// 30 or 60 a second.
    Menu(f64),
    /// A refresh rate in hertz.
    Refresh(f64),
    /// The cap just below a refresh rate.
    Below(f64),
    /// A whole fraction of a refresh rate.
    Fraction(f64, f64),
}

impl std::fmt::Display for Name {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Menu(r) => write!(f, "the {r:.0} of menus, background windows and slow displays"),
            Self::Refresh(r) => write!(f, "a display at {r:.0} Hz"),
            Self::Below(r) => write!(f, "the cap just below a display at {r:.0} Hz"),
            Self::Fraction(r, k) => write!(f, "every {k:.0} refreshes of a display at {r:.0} Hz"),
        }
    }
}

fn name(rate: f64) -> Option<Name> {
    let near = |wanted: f64| (rate / wanted - 1.0).abs() <= NEAR;
    let menu = [30.0, 60.0].into_iter().find(|r| near(*r)).map(Name::Menu);
    let refresh = || REFRESH.into_iter().find(|r| near(*r)).map(Name::Refresh);
    let below = || REFRESH.into_iter().find(|r| near(r - r * r / 3600.0)).map(Name::Below);
    let fraction = || {
        [2.0, 3.0]
            .into_iter()
            .find_map(|k| REFRESH.into_iter().find(|r| near(r / k)).map(|r| Name::Fraction(r, k)))
    };
    menu.or_else(refresh).or_else(below).or_else(fraction)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 30 s; the work of a frame swings between 9 and 13 ms; a cap holds it at `cap_ns` or more.
    fn pass(cap_ns: i64) -> (Vec<i64>, Vec<i64>) {
        let (mut at_ns, mut frame_ns, mut t) = (vec![], vec![], 0_i64);
        while t < 30_000_000_000 {
            let swing = (t / 1_000_000) % 8000 - 4000;
            let work = 9_000_000 + swing.abs() * 1000;
            let jitter = if at_ns.len() % 2 == 0 { 60_000 } else { -60_000 };
            let d = if work > cap_ns { work } else { cap_ns + jitter };
            at_ns.push(t);
            frame_ns.push(d);
            t += d;
        }
        (at_ns, frame_ns)
    }

    fn found(cap_ns: i64) -> Option<Flag> {
        let (at_ns, frame_ns) = pass(cap_ns);
        find(&Frames { at_ns: &at_ns, frame_ns: &frame_ns })
    }

    #[test]
    fn an_uncapped_swing_is_no_cap() {
        assert_eq!(found(0), None);
    }

    #[test]
    fn caps_are_named() {
        for (cap_ns, named) in [
            (16_666_667, "the 60 of menus"),
            (13_333_333, "a display at 75 Hz"),
            (14_524_000, "no refresh rate"),
            // 90 - 8100 / 3600 = 87.75 a second, in force for about 60 % of the time.
            (11_396_000, "the cap just below a display at 90 Hz"),
        ] {
            let flag = found(cap_ns).unwrap_or_else(|| panic!("no cap found at {cap_ns} ns"));
            assert!(flag.says.contains(named), "{}", flag.says);
        }
    }

    #[test]
    fn caps_just_below_are_those_of_practice() {
        for (refresh, cap) in [(120.0, 116.0), (144.0, 138.2), (165.0, 157.4), (240.0, 224.0)] {
            assert_eq!(name(cap), Some(Name::Below(refresh)));
        }
        assert_eq!(name(72.0), Some(Name::Fraction(144.0, 2.0)));
        assert_eq!(name(101.0), None);
    }
}
