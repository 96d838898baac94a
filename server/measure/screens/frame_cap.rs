//! Frame cap: something else than the work of the frame decides how long it lasts.
//!
//! Under a cap the load may rise and fall while the level does not: block means of the duration stand at one value, and
//! hardly any lie below it. The value is named where it fits a refresh rate r, the cap just below it that displays
//! with a variable rate call for (r - r^2 / 3600: 116, 138, 157, 224 for 120, 144, 165, 240; common practice, no source),
//! a whole fraction of a refresh rate, or the 30 and 60 of menus and background windows.

use super::profile::BLOCK_NS;
use super::{Flag, FlagKind, Frames, strength, words};
use crate::stats::robust::median;

/// Refresh rates in hertz of displays in use.
const REFRESH: [f64; 14] =
    [50.0, 60.0, 75.0, 90.0, 100.0, 120.0, 144.0, 165.0, 175.0, 180.0, 240.0, 280.0, 360.0, 480.0];
/// Half-width of the band around one duration, as a share of it.
const BAND: f64 = 0.003;
/// A name fits when its rate is this near, as a share of it.
const NEAR: f64 = 0.004;
/// Blocks faster than the level by more than this share speak against a cap, ...
const FASTER: f64 = 0.006;
/// ... unless they are no more than this share of all.
const FEW_FASTER: f64 = 0.03;
/// A cap piles blocks up: as far above the band as this, as a share of the level, ...
const RING: f64 = 0.012;
/// ... there are at most this many blocks for each one in the band.
const RING_PER_HELD: f64 = 0.25;
/// Least share of blocks in the band, where the rate has a name.
const NAMED_SHARE: f64 = 0.15;
/// Least share of blocks in the band without a name.
const NAMELESS_SHARE: f64 = 0.25;
/// Fewest blocks: five seconds.
const MIN_BLOCKS: usize = 10;

/// Mean duration of the frames of a block that are no hitches, with the block's times.
struct Block {
    start_ns: i64,
    end_ns: i64,
    mean_ns: f64,
}

fn blocks(frames: &Frames<'_>) -> Vec<Block> {
    let Some(&first) = frames.at_ns.first() else { return vec![] };
    let rows = frames.at_ns.iter().zip(frames.frame_ns).collect::<Vec<_>>();
    rows.chunk_by(|a, b| (a.0 - first) / BLOCK_NS == (b.0 - first) / BLOCK_NS)
        .filter_map(|block| {
            let durations: Vec<f64> = block.iter().map(|(_, d)| **d as f64).collect();
            let middle = median(&durations);
            let usual: Vec<f64> = durations.into_iter().filter(|d| *d < 1.75 * middle).collect();
            let (start, last) = (block.first()?, block.last()?);
            (usual.len() >= 3).then(|| Block {
                start_ns: *start.0,
                end_ns: last.0 + last.1,
                mean_ns: usual.iter().sum::<f64>() / usual.len() as f64,
            })
        })
        .collect()
}

/// Flags a cap that holds a large share of the window.
pub(super) fn find(frames: &Frames<'_>) -> Option<Flag> {
    let blocks = blocks(frames);
    if blocks.len() < MIN_BLOCKS {
        return None;
    }
    let mut means: Vec<f64> = blocks.iter().map(|b| b.mean_ns).collect();
    means.sort_unstable_by(f64::total_cmp);
    let level = densest(&means);
    let all = means.len() as f64;
    let held = means.iter().filter(|m| in_band(**m, level)).count() as f64 / all;
    let faster = means.iter().filter(|m| **m < level * (1.0 - FASTER)).count() as f64 / all;
    let ring = means.iter().filter(|m| **m > level * (1.0 + BAND) && **m < level * (1.0 + RING)).count()
        as f64
        / all;
    let name = name(1e9 / level);
    let least = if name.is_some() { NAMED_SHARE } else { NAMELESS_SHARE };
    if held < least || faster > FEW_FASTER || ring > RING_PER_HELD * held {
        return None;
    }
    let inside = || blocks.iter().filter(|b| in_band(b.mean_ns, level));
    let start_ns = inside().map(|b| b.start_ns).min()?;
    let end_ns = inside().map(|b| b.end_ns).max()?;
    let rate = 1e9 / level;
    let named = name.map_or_else(|| "no refresh rate that we know".to_owned(), |n| n.to_string());
    Some(Flag {
        kind: FlagKind::FrameCap,
        start_ns,
        end_ns,
        // A share cannot reach four times its limit: half way to all of the window counts as much.
        strength: strength(1.0 + 3.0 * (held - least) / (1.0 - least)),
        moves: None,
        says: format!(
            "for {} of the window frames are held at {:.2} ms ({rate:.1} a second: {named}), and {} of it is faster",
            words::percent(held),
            level / 1e6,
            words::percent(faster)
        ),
    })
}

fn in_band(mean: f64, level: f64) -> bool {
    (mean / level - 1.0).abs() <= BAND
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
