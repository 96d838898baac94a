//! Screens: tests run on passes that point a person at what could spoil a number. A screen never changes a measure.
//!
//! Three groups, by what a result rests on, so that each can be cached for as long as it stands:
//!
//! * [`screen_pass`]: the pass alone, with its window (cached by digest, window and [`FlagKind::version`]);
//! * [`among::screen_among`]: the pass beside the other passes of its cell, from their [`profile::Profile`]s
//!   (derived on reading: a new pass in the cell may change it);
//! * [`odd_in_cell::screen_cell`]: the measures of all passes of a cell, with the piece's noise prior; and
//!   [`other_settings::other_settings`]: the digests of their settings files.
//!
//! [`notices::notices`] says what is good to know and needs no ruling.
//!
//! Sentences never tell whether a pass came out faster or slower than its siblings as a whole: whoever rules must
//! not be able to choose by the result. What changes *within* a pass is told with its direction.

pub mod among;
pub mod background_load;
pub mod cadence;
pub mod frame_cap;
pub mod gap;
pub mod hitch_cluster;
pub mod level_step;
pub mod notices;
pub mod odd_in_cell;
pub mod other_content;
pub mod other_settings;
pub mod periodic_hitching;
pub mod profile;
mod sampled_blocks;
pub mod slow_drift;
mod strictness;
pub mod throttling;
pub mod unit_implausible;
pub mod warm_up;
mod words;

use serde::{Deserialize, Serialize};

use crate::recording::{Placed, Recording, Window};
pub use among::{Timing, screen_among};
pub use notices::{Notice, NoticeKind, notices};
pub use odd_in_cell::{CellPass, CellSpread, Spread, screen_cell};
pub use other_settings::{RanWith, other_settings};
pub use profile::Profile;
pub use strictness::{Strictness, Strictnesses};
pub(crate) use throttling::throttled;

/// What a flag is about.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum FlagKind {
    /// Many hitches close together, or one stretch that loses a material share of the time.
    HitchCluster,
    /// Frame times jump to another level, for good or for a while.
    LevelStep,
    /// Frame times creep one way over the whole window.
    SlowDrift,
    /// Frame times are held at one duration.
    FrameCap,
    /// Frame starts and durations disagree, or frames are missing from the log.
    Gap,
    /// A measure of the pass lies apart from the other passes of its cell.
    OddInCell,
    /// The processor works longer on the frames of a stretch, and the frames do not explain it.
    BackgroundLoad,
    /// The part's clock or power falls while its temperature stands at its top.
    Throttling,
    /// Frame times do not rise and fall with those of the other passes.
    OtherContent,
    /// The start stands at another level than the rest.
    WarmUp,
    /// Hitches come at even intervals.
    PeriodicHitching,
    /// Frames last long and short in turns.
    Cadence,
    /// A value that no such part reaches: its unit may have been read wrongly.
    UnitImplausible,
    /// The pass ran with another settings file than the others of its cell.
    OtherSettings,
}

impl FlagKind {
    /// All kinds, in the order in which they are listed.
    pub const ALL: [Self; 14] = [
        Self::HitchCluster,
        Self::LevelStep,
        Self::SlowDrift,
        Self::FrameCap,
        Self::Gap,
        Self::OddInCell,
        Self::BackgroundLoad,
        Self::Throttling,
        Self::OtherContent,
        Self::WarmUp,
        Self::PeriodicHitching,
        Self::Cadence,
        Self::UnitImplausible,
        Self::OtherSettings,
    ];

    /// Stable key for tables, addresses and digests.
    pub fn key(self) -> &'static str {
        match self {
            Self::HitchCluster => "hitch_cluster",
            Self::LevelStep => "level_step",
            Self::SlowDrift => "slow_drift",
            Self::FrameCap => "frame_cap",
            Self::Gap => "gap",
            Self::OddInCell => "odd_in_cell",
            Self::BackgroundLoad => "background_load",
            Self::Throttling => "throttling",
            Self::OtherContent => "other_content",
            Self::WarmUp => "warm_up",
            Self::PeriodicHitching => "periodic_hitching",
            Self::Cadence => "cadence",
            Self::UnitImplausible => "unit_implausible",
            Self::OtherSettings => "other_settings",
        }
    }

    /// The kind with this key, if there is one.
    pub fn from_key(key: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|k| k.key() == key)
    }

    /// Name in plain words, for pages.
    pub fn name(self) -> &'static str {
        match self {
            Self::HitchCluster => "cluster of hitches",
            Self::LevelStep => "step in level",
            Self::SlowDrift => "slow drift",
            Self::FrameCap => "frame cap",
            Self::Gap => "gap or clock jump",
            Self::OddInCell => "odd among the passes of its cell",
            Self::BackgroundLoad => "background load",
            Self::Throttling => "throttling",
            Self::OtherContent => "different content",
            Self::WarmUp => "warm-up",
            Self::PeriodicHitching => "periodic hitching",
            Self::Cadence => "cadence of frames",
            Self::UnitImplausible => "implausible unit",
            Self::OtherSettings => "another settings file",
        }
    }

    /// Version of the screen: raised whenever the same input may give another result.
    pub fn version(self) -> u32 {
        match self {
            Self::HitchCluster
            | Self::LevelStep
            | Self::SlowDrift
            | Self::FrameCap
            | Self::OtherContent
            | Self::BackgroundLoad
            | Self::PeriodicHitching => 2,
            Self::Gap | Self::OddInCell | Self::Throttling => 1,
            Self::WarmUp | Self::Cadence | Self::UnitImplausible | Self::OtherSettings => 1,
        }
    }
}

/// What a screen found that could move a figure: it needs a ruling.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Flag {
    /// What it is about.
    pub kind: FlagKind,
    /// Where it begins, ns from the first frame of the pass.
    pub start_ns: i64,
    /// Where it ends (excluded), ns from the first frame of the pass.
    pub end_ns: i64,
    /// 0: the evidence just reaches the screen's threshold; 1: four times the threshold or more.
    pub strength: f64,
    /// Share (not per cent, never negative) by which it moves the average frame rate of the pass, where that can be
    /// computed; for an odd pass, how far its average lies from the others.
    pub moves: Option<f64>,
    /// A plain sentence with where and how strongly.
    pub says: String,
}

/// What a pass-only screen works on.
#[derive(Clone, Copy, Debug)]
pub struct ScreenInput<'a> {
    /// The frames of the pass.
    pub recording: &'a Recording,
    /// The part that counts.
    pub window: Window,
    /// Companions with their placing.
    pub companions: &'a [Placed<'a>],
}

/// Frames of a pass that start in its window.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Frames<'a> {
    /// Start of each frame, ns.
    pub at_ns: &'a [i64],
    /// Duration of each frame, ns.
    pub frame_ns: &'a [i64],
}

impl<'a> Frames<'a> {
    /// The rows of the window; empty for a companion.
    pub(crate) fn of(recording: &'a Recording, window: Window) -> Self {
        let rows = window.rows(&recording.at_ns);
        let end = rows.end.min(recording.frame_ns.len());
        let start = rows.start.min(end);
        Self { at_ns: &recording.at_ns[start..end], frame_ns: &recording.frame_ns[start..end] }
    }

    /// Sum of the durations, ns.
    pub(crate) fn total_ns(&self) -> i64 {
        self.frame_ns.iter().sum()
    }
}

/// Runs every screen that needs nothing but the pass itself. Flags come in order of their start.
///
/// A step is judged strictly here and drift not at all, since a scene has levels of its own: see [`level_step`] and
/// [`slow_drift`]. Where siblings exist, pass the result on to [`screen_among`], which judges anew.
pub fn screen_pass(input: &ScreenInput<'_>) -> Vec<Flag> {
    let frames = Frames::of(input.recording, input.window);
    let profile = Profile::of(input);
    let mut flags = hitch_cluster::find(&frames);
    flags.extend(level_step::find_alone(&profile));
    flags.extend(frame_cap::find(&frames));
    flags.extend(gap::find(input.recording, input.window));
    flags.extend(throttling::find(input, &profile));
    flags.extend(periodic_hitching::find(&frames));
    flags.extend(cadence::find(&frames));
    flags.extend(unit_implausible::find(input));
    flags.sort_by_key(|f| (f.start_ns, f.kind));
    flags
}

/// Strength of a flag from its evidence in units of the threshold: 0 at 1, 1 from 4 on.
pub(crate) fn strength(times_threshold: f64) -> f64 {
    ((times_threshold - 1.0) / 3.0).clamp(0.0, 1.0)
}

/// Share by which the average frame rate changes when a stretch that takes `share` of the time has durations
/// `exp(shift)` times what they would be: frames stay, time shrinks to `1 - share (1 - exp(-shift))`.
pub(crate) fn moves_average(share: f64, shift: f64) -> f64 {
    let time = 1.0 - share * (1.0 - libm::exp(-shift));
    (1.0 / time - 1.0).abs()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn keys_are_unique_and_lead_back() {
        for kind in FlagKind::ALL {
            assert_eq!(FlagKind::from_key(kind.key()), Some(kind));
            assert_eq!(serde_json::to_string(&kind).unwrap(), format!("\"{}\"", kind.key()));
        }
        assert_eq!(FlagKind::from_key("nothing"), None);
    }

    #[test]
    fn a_quarter_of_the_time_at_double_durations_costs_an_eighth_of_the_time() {
        // 25 of 100 s at doubled durations would be 12.5 s: 87.5 s for the same frames, 1 / 0.875 - 1 more frames a second.
        assert!((moves_average(0.25, std::f64::consts::LN_2) - (1.0 / 0.875 - 1.0)).abs() < 1e-12);
    }
}
