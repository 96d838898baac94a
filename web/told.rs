//! What the check of a draft says: a verdict's word, how serious it is, and a sentence with what would be right.

use serde::Serialize;
use weighhouse_measure::draft::Verdict;

/// How serious a verdict is; its sign stands beside the word, so that colour never says it alone.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Tone {
    /// May be printed.
    Good,
    /// Something has to be done first.
    Open,
    /// Must not be printed.
    Bad,
}

impl Tone {
    /// Of a verdict.
    pub fn of(verdict: Verdict) -> Tone {
        match verdict {
            Verdict::Right => Tone::Good,
            Verdict::Wrong
            | Verdict::Turned
            | Verdict::OldEdition
            | Verdict::Contradicts
            | Verdict::Rounded
            | Verdict::Noise => Tone::Bad,
            Verdict::Lapsed
            | Verdict::NotAgreed
            | Verdict::Unsupported
            | Verdict::NoSource
            | Verdict::LowUnsaid
            | Verdict::BaselineUnsaid => Tone::Open,
        }
    }

    /// Its sign.
    pub fn sign(self) -> &'static str {
        match self {
            Tone::Good => "✓",
            Tone::Open => "?",
            Tone::Bad => "✗",
        }
    }

    /// Its class in the style sheet.
    pub fn class(self) -> &'static str {
        match self {
            Tone::Good => "told-good",
            Tone::Open => "told-open",
            Tone::Bad => "told-bad",
        }
    }
}

/// A verdict in a few words.
pub fn word(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Right => "agreed and right",
        Verdict::Lapsed => "lapsed",
        Verdict::NotAgreed => "right, not agreed",
        Verdict::Rounded => "rounded wrongly",
        Verdict::Wrong => "wrong",
        Verdict::Turned => "turned round",
        Verdict::LowUnsaid => "low not defined",
        Verdict::BaselineUnsaid => "baseline not said",
        Verdict::Noise => "inside the noise",
        Verdict::Unsupported => "unsupported",
        Verdict::NoSource => "no source",
        Verdict::OldEdition => "former value",
        Verdict::Contradicts => "counts differ",
    }
}

/// What is so, and what to do, in a sentence; `right` is what its figure says now (empty: nothing).
pub fn says(verdict: Verdict, right: &str, cents: bool) -> String {
    match verdict {
        Verdict::Right => format!("The figure says {right}."),
        Verdict::Lapsed => {
            format!("What the figure rests on has changed; it says {right} now. Agree on it anew first.")
        }
        Verdict::NotAgreed => format!("The figure says {right}, but nobody agreed on it yet."),
        Verdict::Rounded => {
            format!("The figure says {right}; this is another rounding than was agreed, or more digits.")
        }
        Verdict::Wrong if cents => {
            format!("A price spoken in a pair was written as cents; the figure says {right}.")
        }
        Verdict::Wrong => format!("The figure says {right}."),
        Verdict::Turned => format!("Turned round: told from this side the figure says {right}."),
        Verdict::LowUnsaid => {
            format!(
                "Right at {right}, but nowhere does the text say how this low is defined as it was agreed."
            )
        }
        Verdict::BaselineUnsaid => format!("Right at {right}, but over what is not said."),
        Verdict::Noise => {
            format!("At {right} the interval holds 'no change': it may not be sold as a difference.")
        }
        Verdict::Unsupported => {
            "No figure is behind it: choose one, make one, or leave the number alone.".to_owned()
        }
        Verdict::NoSource => format!("It is quoted ({right}) without a source: name one."),
        Verdict::OldEdition => {
            format!("This was agreed on in former times; the figure says {right} now.")
        }
        Verdict::Contradicts => format!("The text counts its scenes in several ways; they are {right}."),
    }
}
