//! Implausible unit: a rate, power, clock or temperature that no part in use reaches.
//!
//! Limits are wide (common practice, no source): what lies outside is a column read in another unit or another column.

use super::{Flag, FlagKind, Frames, ScreenInput};
use crate::recording::Role;
use crate::stats::robust::median;

/// What is plausible for the median of a track, in its base unit, with its name in a sentence.
const PLAUSIBLE: [(Role, f64, f64, &str); 4] = [
    (Role::Power, 0.2, 3_000.0, "power"),
    (Role::Clock, 20e6, 12e9, "the clock"),
    (Role::Temperature, -40.0, 140.0, "the temperature"),
    (Role::Load, 0.0, 1.05, "the load"),
];
/// Plausible frame rates, frames a second.
const RATES: (f64, f64) = (1.0, 2_000.0);

/// Flags the first implausible value of a pass and its companions.
pub(super) fn find(input: &ScreenInput<'_>) -> Option<Flag> {
    let frames = Frames::of(input.recording, input.window);
    let total_ns = frames.total_ns();
    let (start_ns, end_ns) = (*frames.at_ns.first()?, frames.at_ns.last()? + frames.frame_ns.last()?);
    let rate = frames.frame_ns.len() as f64 * 1e9 / total_ns.max(1) as f64;
    let flag = |what: &str| Flag {
        kind: FlagKind::UnitImplausible,
        start_ns,
        end_ns,
        strength: 1.0,
        moves: None,
        says: format!(
            "{what} lies outside of what parts reach: its column may have been read in another unit, or be another column"
        ),
    };
    if !(RATES.0..=RATES.1).contains(&rate) {
        return Some(flag("the frame rate"));
    }
    let recordings = std::iter::once(input.recording).chain(input.companions.iter().map(|c| c.recording));
    recordings.flat_map(|recording| &recording.tracks).find_map(|track| {
        let (_, least, most, name) = PLAUSIBLE.iter().find(|(role, ..)| *role == track.role)?;
        let values: Vec<f64> = track.values.iter().copied().filter(|v| v.is_finite()).collect();
        let outside = !values.is_empty() && !(*least..=*most).contains(&median(&values));
        outside.then(|| flag(name))
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::recording::{Kind, Recording, Track, Unit};

    fn pass(frame_ns: i64, watts: f64) -> Option<Flag> {
        let at_ns: Vec<i64> = (0..100).map(|i| i * frame_ns).collect();
        let power =
            Track { role: Role::Power, unit: Unit::Watt, name: "power".to_owned(), values: vec![watts; 100] };
        let recording = Recording {
            kind: Kind::Frames,
            wall_start_ns: None,
            at_ns,
            frame_ns: vec![frame_ns; 100],
            tracks: vec![power],
        };
        find(&ScreenInput { recording: &recording, window: recording.whole(), companions: &[] })
    }

    #[test]
    fn milliwatts_read_as_watts_and_seconds_as_milliseconds_are_told() {
        assert_eq!(pass(10_000_000, 350.0), None);
        let power = pass(10_000_000, 350_000.0).unwrap();
        assert!(power.says.starts_with("power lies outside"), "{}", power.says);
        assert!(pass(10_000, 350.0).unwrap().says.starts_with("the frame rate"));
        assert!(pass(10_000_000_000, 350.0).unwrap().says.starts_with("the frame rate"));
    }
}
