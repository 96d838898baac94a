//! How much evidence a screen must have before its flag is raised: its own threshold, or a multiple of it.
//!
//! The thresholds are calibrated to a budget of false alarms over all screens (see the crate's `screen_table`), so that
//! none is set below its own.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use super::{Flag, FlagKind, strength};

/// From how much evidence on a screen raises a flag.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub enum Strictness {
    /// From its own threshold on.
    #[default]
    #[serde(rename = "usual")]
    Usual,
    /// From twice the threshold on.
    #[serde(rename = "twice")]
    Twice,
    /// From four times the threshold on.
    #[serde(rename = "four times")]
    FourTimes,
    /// Never.
    #[serde(rename = "off")]
    Off,
}

impl Strictness {
    /// All, the strictest first.
    pub const ALL: [Self; 4] = [Self::Usual, Self::Twice, Self::FourTimes, Self::Off];

    /// Stable word for tables and addresses.
    pub fn key(self) -> &'static str {
        match self {
            Self::Usual => "usual",
            Self::Twice => "twice",
            Self::FourTimes => "four times",
            Self::Off => "off",
        }
    }

    /// The one with this word.
    pub fn from_key(key: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|one| one.key() == key)
    }

    /// Whether a flag of this strength is raised.
    fn raises(self, of: f64) -> bool {
        match self {
            Self::Usual => true,
            Self::Twice => of >= strength(2.0),
            Self::FourTimes => of >= strength(4.0),
            Self::Off => false,
        }
    }
}

/// A piece's choice for each screen; what is not named is as usual.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Strictnesses(BTreeMap<FlagKind, Strictness>);

impl Strictnesses {
    /// Of these; the usual is the same as naming nothing.
    pub fn of(all: impl IntoIterator<Item = (FlagKind, Strictness)>) -> Self {
        Self(all.into_iter().filter(|(_, how)| *how != Strictness::Usual).collect())
    }

    /// How strict one screen is.
    pub fn at(&self, kind: FlagKind) -> Strictness {
        self.0.get(&kind).copied().unwrap_or_default()
    }

    /// Whether a flag that a screen found is raised.
    pub fn raises(&self, flag: &Flag) -> bool {
        self.at(flag.kind).raises(flag.strength)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn flag(times_threshold: f64) -> Flag {
        Flag {
            kind: FlagKind::Gap,
            start_ns: 0,
            end_ns: 1,
            strength: strength(times_threshold),
            moves: None,
            says: String::new(),
        }
    }

    #[test]
    fn a_flag_is_raised_from_so_many_times_its_threshold_on() {
        let raised = |how, times| Strictnesses::of([(FlagKind::Gap, how)]).raises(&flag(times));
        assert!(raised(Strictness::Usual, 1.0));
        assert!(!raised(Strictness::Twice, 1.99) && raised(Strictness::Twice, 2.0));
        assert!(!raised(Strictness::FourTimes, 3.99) && raised(Strictness::FourTimes, 4.0));
        assert!(!raised(Strictness::Off, 100.0));
        let other = Strictnesses::of([(FlagKind::FrameCap, Strictness::Off)]);
        assert!(other.raises(&flag(1.0)), "another screen is as it was");
    }

    #[test]
    fn what_is_as_usual_is_not_named() {
        let chosen = Strictnesses::of([
            (FlagKind::Gap, Strictness::Usual),
            (FlagKind::OddInCell, Strictness::FourTimes),
        ]);
        let text = serde_json::to_string(&chosen).unwrap();
        assert_eq!(text, r#"{"odd_in_cell":"four times"}"#);
        assert_eq!(serde_json::from_str::<Strictnesses>(&text).unwrap(), chosen);
        for one in Strictness::ALL {
            assert_eq!(Strictness::from_key(one.key()), Some(one));
            assert_eq!(serde_json::to_string(&one).unwrap(), format!("\"{}\"", one.key()));
        }
    }
}
