//! The state of a pass or a cell as a mark: a shape and a word, so that colour never says it alone.

use serde::Serialize;

/// What a mark says.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Mark {
    /// No flag.
    Sound,
    /// A screen found something, and somebody who saw that ruled 'keep'.
    Kept,
    /// A screen found something, and no ruling covers it.
    Flagged,
    /// Came in, not screened or not yet ruled where a ruling is wanted.
    NotRuled,
    /// Ruled out, with a reason.
    SetAside,
    /// Ruled to be recorded once more.
    RunAgain,
    /// Carried over from an earlier piece; fresh passes count in its place.
    Earlier,
    /// Wanted, not recorded.
    Missing,
    /// The cell could not be measured, with a reason.
    DidNotRun,
}

impl Mark {
    /// All of them, in the order of a legend.
    pub const ALL: [Mark; 9] = [
        Mark::Sound,
        Mark::Kept,
        Mark::Flagged,
        Mark::NotRuled,
        Mark::SetAside,
        Mark::RunAgain,
        Mark::Earlier,
        Mark::Missing,
        Mark::DidNotRun,
    ];

    /// Its word.
    pub fn word(self) -> &'static str {
        match self {
            Mark::Sound => "sound",
            Mark::Kept => "flagged, kept",
            Mark::Flagged => "flagged",
            Mark::NotRuled => "not ruled",
            Mark::SetAside => "set aside",
            Mark::RunAgain => "run again",
            Mark::Earlier => "earlier",
            Mark::Missing => "missing",
            Mark::DidNotRun => "did not run",
        }
    }

    /// Name of its shape among the symbols of `frame.html`, and of its class in the style sheet.
    pub fn shape(self) -> &'static str {
        match self {
            Mark::Sound => "sound",
            Mark::Kept => "kept",
            Mark::Flagged => "flagged",
            Mark::NotRuled => "not-ruled",
            Mark::SetAside => "set-aside",
            Mark::RunAgain => "run-again",
            Mark::Earlier => "earlier",
            Mark::Missing => "missing",
            Mark::DidNotRun => "did-not-run",
        }
    }
}

/// Where a figure stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Standing {
    /// Made, not yet proposed.
    Draft,
    /// Proposed by one person.
    Proposed,
    /// Agreed by another.
    Agreed,
    /// What it rests on has changed.
    Lapsed,
    /// Taken back.
    Withdrawn,
    /// From a data sheet or a maker.
    Quoted,
}

impl Standing {
    /// All of them, in the order of a legend.
    pub const ALL: [Standing; 6] = [
        Standing::Draft,
        Standing::Proposed,
        Standing::Agreed,
        Standing::Lapsed,
        Standing::Withdrawn,
        Standing::Quoted,
    ];

    /// Its word, also its class in the style sheet.
    pub fn word(self) -> &'static str {
        match self {
            Standing::Draft => "draft",
            Standing::Proposed => "proposed",
            Standing::Agreed => "agreed",
            Standing::Lapsed => "lapsed",
            Standing::Withdrawn => "withdrawn",
            Standing::Quoted => "quoted",
        }
    }
}
