//! Enums that are words in the tables, in JSON and in forms: the same word everywhere.

use weighhouse_measure::compare::SceneKind;
use weighhouse_measure::recording::Kind;

macro_rules! words {
    ($(#[$doc:meta])* $name:ident { $($(#[$about:meta])* $case:ident = $word:literal),+ $(,)? }) => {
        $(#[$doc])*
        #[derive(
            Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, serde::Serialize, serde::Deserialize,
            sqlx::Type,
        )]
        pub enum $name {
            $($(#[$about])* #[serde(rename = $word)] #[sqlx(rename = $word)] $case),+
        }

        impl $name {
            /// All of them.
            pub const ALL: &'static [$name] = &[$($name::$case),+];

            /// As tables, JSON and forms write it.
            pub fn as_str(self) -> &'static str {
                match self { $($name::$case => $word),+ }
            }

            /// The one that is written so.
            pub fn parse(text: &str) -> Option<Self> {
                Self::ALL.iter().copied().find(|one| one.as_str() == text)
            }
        }

        impl std::fmt::Display for $name {
            fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                f.write_str(self.as_str())
            }
        }
    };
}
pub(super) use words;

/// A word out of a column, on its way to an enum of the measure crate.
#[derive(sqlx::Type)]
#[sqlx(transparent)]
pub(super) struct Word(String);

impl TryFrom<Word> for SceneKind {
    type Error = String;
    fn try_from(word: Word) -> Result<Self, String> {
        SceneKind::parse(&word.0).ok_or_else(|| format!("no kind of scene: {}", word.0))
    }
}

impl TryFrom<Word> for Kind {
    type Error = String;
    fn try_from(word: Word) -> Result<Self, String> {
        match word.0.as_str() {
            "frames" => Ok(Kind::Frames),
            "companion" => Ok(Kind::Companion),
            other => Err(format!("no kind of segment: {other}")),
        }
    }
}

/// As the table writes it.
pub(super) fn kind_word(kind: Kind) -> &'static str {
    match kind {
        Kind::Frames => "frames",
        Kind::Companion => "companion",
    }
}
