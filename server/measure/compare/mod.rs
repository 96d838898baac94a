//! Comparisons: what a cell's passes say together, how two parts differ in a scene and over all scenes, and in which
//! words that may be said.
//!
//! The pass is the unit of replication and everything here works on natural logarithms of pass measures, so that a
//! ratio is a difference, an interval of a ratio stays above zero and swapping the parts turns x into 1/x. Data flow:
//! [`passes`] -> [`noise`] (how far passes scatter) -> [`cell`] -> [`ratio`] (one scene) -> [`overall`] ->
//! [`verdict`]. Of what an earlier piece left: [`carried`]. From ratios: [`worth`] (money), [`reader`] (for whom), [`ranks`]. From cells at several tunings or
//! settings: [`together`], [`curve`], [`knee`], [`saturating`], [`front`], [`difference`].
//!
//! Intervals and tail probabilities come from `statrs`; what is kept for a figure's digest (the noise prior) is
//! rounded to decimal strings first.

pub mod carried;
pub mod cell;
pub mod curve;
pub mod difference;
pub mod front;
pub mod knee;
pub mod money;
pub mod noise;
pub mod overall;
pub mod passes;
pub mod ranks;
pub mod ratio;
pub mod reader;
pub mod rigs;
pub mod saturating;
pub mod together;
pub mod verdict;
pub mod worth;

pub use crate::stats::limits::Interval;

use serde::{Deserialize, Serialize};

/// Version of everything in this module; rises when a result changes for the same input.
pub const VERSION: u32 = 1;

/// How the passage of a scene is driven; decides whose spreads are alike.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
pub enum SceneKind {
    /// The game's own run.
    #[serde(rename = "built-in")]
    BuiltIn,
    /// A recorded play, played again.
    #[serde(rename = "replay")]
    Replay,
    /// Played by a person each time.
    #[serde(rename = "by hand")]
    ByHand,
}

impl SceneKind {
    /// All kinds.
    pub const ALL: [SceneKind; 3] = [SceneKind::BuiltIn, SceneKind::Replay, SceneKind::ByHand];

    /// As the interface and the store write it.
    pub fn as_str(self) -> &'static str {
        match self {
            SceneKind::BuiltIn => "built-in",
            SceneKind::Replay => "replay",
            SceneKind::ByHand => "by hand",
        }
    }

    /// The kind that is written so.
    pub fn parse(text: &str) -> Option<SceneKind> {
        SceneKind::ALL.into_iter().find(|kind| kind.as_str() == text)
    }
}

/// A kept pass as a comparison sees it: the logarithm of one measure and what the pass was run on.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PassLog {
    ln: f64,
    /// What must match for two passes to be compared like with like: the id of the rig base where the part is a
    /// card; where the part is most of the rig, an id of what has to be the same.
    pub rig: i64,
    /// Id of the game's build.
    pub build: i64,
    /// Whether the pass ran on the driver that the piece declares for its part.
    pub declared_driver: bool,
}

impl PassLog {
    /// `None` unless `value` (in the measure's unit) is finite and above zero: nothing else has a logarithm, and such
    /// a measure is not compared by ratio.
    pub fn new(value: f64, rig: i64, build: i64, declared_driver: bool) -> Option<PassLog> {
        let sound = value.is_finite() && value > 0.0;
        sound.then(|| PassLog { ln: libm::log(value), rig, build, declared_driver })
    }

    /// Natural logarithm of the measure.
    pub fn ln(&self) -> f64 {
        self.ln
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_has_no_logarithm_is_no_pass_log() {
        for value in [0.0, -1.0, f64::NAN, f64::INFINITY] {
            assert_eq!(PassLog::new(value, 1, 1, true), None);
        }
        assert_eq!(PassLog::new(1.0, 1, 1, true).map(|p| p.ln()), Some(0.0));
    }

    #[test]
    fn scene_kinds_are_written_and_read_alike() {
        for kind in SceneKind::ALL {
            assert_eq!(SceneKind::parse(kind.as_str()), Some(kind));
            assert_eq!(serde_json::to_string(&kind).unwrap(), format!("\"{}\"", kind.as_str()));
        }
        assert_eq!(SceneKind::parse("other"), None);
    }
}
