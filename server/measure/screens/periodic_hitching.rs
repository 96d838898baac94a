//! Periodic hitching: hitches that come at even intervals, as a timer makes them.
//!
//! Method: the times of the hitches folded at trial periods, `Z^2_2` with its chance multiplied by the number of trials
//! (see [`crate::stats::periodicity`]). A burst folds well at any long period, and every other turn of half a period is
//! empty; so at least three turns in five must hold a hitch, and few turns more than one.

use super::hitch_cluster::{Hitch, hitches};
use super::{Flag, FlagKind, Frames, moves_average, strength, words};
use crate::stats::periodicity::{chance, z_squared};

/// Fewest hitches, and fewest turns from the first to the last.
const FEWEST: usize = 8;
/// Shortest period looked for, seconds: shorter ones are a matter of every frame.
const SHORTEST_S: f64 = 0.2;
/// Trial frequencies in each 1/T: fine enough to lose less than a tenth of the second harmonic's power between two.
const OVERSAMPLED: f64 = 8.0;
/// Harmonics that are added up.
const HARMONICS: u32 = 2;
/// Chance, over all trials, below which it counts.
const CHANCE: f64 = 1e-4;
/// Least share of the turns with a hitch in them.
const TURNS_HIT: f64 = 0.6;
/// Most hitches for each turn with one: the odd stray hitch is no second beat.
const PER_TURN: f64 = 1.35;
/// Least share of the window that these hitches lose.
const LOST: f64 = 0.003;

/// Hitches times trials at most: a timer shows in the first minutes of a pass of hours, and trying every period on all of
/// it would take as long.
const MOST_PRODUCTS: f64 = 4e6;

/// A period that hitches keep.
struct Beat {
    period_s: f64,
    chance: f64,
}

/// Flags hitches at even intervals among the frames of a window.
pub(super) fn find(frames: &Frames<'_>) -> Option<Flag> {
    let all = hitches(frames);
    let total_ns = frames.total_ns();
    let (first, last) = (all.first()?, all.last()?);
    let lost = all.iter().map(|h| h.lost_ns).sum::<i64>() as f64 / total_ns.max(1) as f64;
    if all.len() < FEWEST || lost < LOST {
        return None;
    }
    let beat = beat(&all)?;
    Some(Flag {
        kind: FlagKind::PeriodicHitching,
        start_ns: first.at_ns,
        end_ns: last.at_ns + last.frame_ns,
        strength: strength((libm::log(beat.chance.max(1e-300)) / libm::log(CHANCE)).min(lost / LOST)),
        moves: Some(moves_average(lost, f64::INFINITY)),
        says: format!(
            "from {} to {} a hitch comes every {:.2} s ({} hitches that lose {} of the window's time): a timer seems to set them off",
            words::seconds(first.at_ns),
            words::seconds(last.at_ns + last.frame_ns),
            beat.period_s,
            all.len(),
            words::percent(lost),
        ),
    })
}

/// As many of the times, from the first on, as can be tried.
fn tried(times: &[f64]) -> &[f64] {
    let first = times.first().copied().unwrap_or(0.0);
    let products = |n: usize| (times[n] - first) * OVERSAMPLED / SHORTEST_S * (n + 1) as f64;
    &times[..(0..times.len()).take_while(|n| products(*n) <= MOST_PRODUCTS).count()]
}

/// The period that the hitches keep best, if they keep one.
fn beat(all: &[Hitch]) -> Option<Beat> {
    let times: Vec<f64> = all.iter().map(|h| h.at_ns as f64 / 1e9).collect();
    let times = tried(&times);
    let span = times.last()? - times.first()?;
    let step = 1.0 / (OVERSAMPLED * span);
    // From FEWEST turns in the span to the shortest period.
    let lowest = FEWEST as f64 / span;
    let trials =
        std::iter::successors(Some(lowest), |f| Some(f + step)).take_while(|f| *f <= 1.0 / SHORTEST_S);
    let mut count = 0.0;
    let mut best: Option<(f64, f64)> = None;
    for frequency in trials {
        count += 1.0;
        let z = z_squared(times, frequency, HARMONICS);
        if best.is_none_or(|(most, _)| z > most) && keeps(times, frequency) {
            best = Some((z, frequency));
        }
    }
    let (z, frequency) = best?;
    let chance = count * chance(z, HARMONICS);
    (chance < CHANCE).then_some(Beat { period_s: 1.0 / frequency, chance })
}

/// Whether most turns from the first hitch to the last hold one hitch each.
fn keeps(times: &[f64], frequency: f64) -> bool {
    let from = times.first().copied().unwrap_or(0.0);
    // Turns are counted about the first hitch, so that jitter moves none into its neighbour.
    let mut turns: Vec<f64> = times.iter().map(|t| ((t - from) * frequency).round()).collect();
    let all = turns.last().copied().unwrap_or(0.0) + 1.0;
    turns.dedup();
    let hit = turns.len() as f64;
    hit >= TURNS_HIT * all && times.len() as f64 <= PER_TURN * hit
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Frames of 10 ms for a minute; a frame of 35 ms where one of `times` (seconds) falls.
    fn flags(times: &[f64]) -> Option<Flag> {
        let (mut at_ns, mut frame_ns, mut t, mut next) = (vec![], vec![], 0_i64, 0);
        while t < 60_000_000_000 {
            let due = times.get(next).is_some_and(|s| s * 1e9 <= t as f64);
            let d = if due { 35_000_000 } else { 10_000_000 + (t / 10_000_000 % 7) * 50_000 };
            next += usize::from(due);
            at_ns.push(t);
            frame_ns.push(d);
            t += d;
        }
        find(&Frames { at_ns: &at_ns, frame_ns: &frame_ns })
    }

    #[test]
    fn a_timer_is_found_with_its_period() {
        // Every 1.5 s, one in five missing, some jitter.
        let times: Vec<f64> = (0..40)
            .filter(|i| i % 5 != 3)
            .map(|i| 0.4 + 1.5 * f64::from(i) + 0.04 * libm::sin(f64::from(i * 7)))
            .collect();
        let found = flags(&times).unwrap();
        assert_eq!(found.kind, FlagKind::PeriodicHitching);
        assert!(found.says.contains("a hitch comes every 1.50 s (32 hitches"), "{}", found.says);
    }

    #[test]
    fn of_hours_the_first_minutes_are_tried_and_of_minutes_all() {
        let every_other_second: Vec<f64> = (0..8000).map(|n| 2.0 * f64::from(n)).collect();
        let part = tried(&every_other_second);
        assert!((200..1000).contains(&part.len()), "{}", part.len());
        assert_eq!(tried(&every_other_second[..60]).len(), 60);
        assert_eq!(tried(&[]), [0.0; 0]);
    }

    #[test]
    fn bursts_and_scattered_hitches_keep_no_period() {
        let burst: Vec<f64> = (0..16).map(|i| 20.0 + 0.11 * f64::from(i * i % 17)).collect();
        let mut burst = burst;
        burst.sort_by(f64::total_cmp);
        assert_eq!(flags(&burst), None);
        // Arrivals of a Poisson process, by the golden ratio's fractions.
        let mut t = 0.0;
        let scattered: Vec<f64> = (1..40)
            .map(|i| {
                t -= 1.4 * libm::log(1.0 - (f64::from(i) * 0.618_033_988_749).fract());
                t
            })
            .collect();
        assert_eq!(flags(&scattered), None);
    }
}
