//! Units behind (and, of money, before) a number.

use super::language::Language;
use super::tokens::Token;
use super::{Currency, Kind};

/// A unit: what it counts, and by what a number in it is multiplied.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Unit {
    /// What it counts.
    pub kind: Kind,
    /// To the unit of `kind`.
    pub scale: f64,
}

impl Unit {
    const fn of(kind: Kind, scale: f64) -> Unit {
        Unit { kind, scale }
    }

    /// Frames per second.
    pub const FPS: Unit = Unit::of(Kind::Fps, 1.0);
    /// Watts.
    pub const W: Unit = Unit::of(Kind::W, 1.0);
    /// Kilowatts.
    pub const KW: Unit = Unit::of(Kind::W, 1000.0);
    /// Milliseconds.
    pub const MS: Unit = Unit::of(Kind::Ms, 1.0);
    /// Degrees Celsius.
    pub const C: Unit = Unit::of(Kind::C, 1.0);
    /// Megahertz.
    pub const MHZ: Unit = Unit::of(Kind::MHz, 1.0);
    /// Gigahertz.
    pub const GHZ: Unit = Unit::of(Kind::MHz, 1000.0);
    /// Gigabytes.
    pub const GB: Unit = Unit::of(Kind::GB, 1.0);
    /// Megabytes: 1 024 are a gigabyte of memory (common practice, no source).
    pub const MB: Unit = Unit::of(Kind::GB, 1.0 / 1024.0);
    /// Joules.
    pub const J: Unit = Unit::of(Kind::J, 1.0);
    /// Decibels.
    pub const DB: Unit = Unit::of(Kind::Db, 1.0);
    /// Per cent.
    pub const PERCENT: Unit = Unit::of(Kind::Change, 1.0);
    /// Euro.
    pub const EUR: Unit = Unit::of(Kind::Money(Currency::Eur), 1.0);
    /// Dollars.
    pub const USD: Unit = Unit::of(Kind::Money(Currency::Usd), 1.0);
    /// Pounds.
    pub const GBP: Unit = Unit::of(Kind::Money(Currency::Gbp), 1.0);
}

/// The unit that begins at token `at` of the same sentence, and the token after it. A hyphen may stand before it:
/// '575-watt limit'.
pub fn behind(tokens: &[Token], at: usize, words: &Language) -> Option<(Unit, usize)> {
    let joined = tokens.get(at).is_some_and(|t| t.is_dash() && t.glued)
        && tokens.get(at + 1).is_some_and(|t| t.glued && t.what == super::tokens::What::Word);
    let at = if joined { at + 1 } else { at };
    let sentence = tokens.get(at)?.sentence;
    let found = words.units.iter().find(|(unit, _)| starts(tokens, at, unit, sentence));
    found.map(|(unit, of)| (*of, at + unit.len()))
}

/// Whether these words stand at `at`, in this sentence.
pub fn starts(tokens: &[Token], at: usize, words: &[&str], sentence: usize) -> bool {
    words
        .iter()
        .enumerate()
        .all(|(n, word)| tokens.get(at + n).is_some_and(|t| t.sentence == sentence && t.is(word)))
}

/// Whether these words end right before `at`, in its sentence.
pub fn ends(tokens: &[Token], at: usize, words: &[&str]) -> bool {
    let Some(sentence) = tokens.get(at).map(|t| t.sentence) else { return false };
    at.checked_sub(words.len()).is_some_and(|from| starts(tokens, from, words, sentence))
}
