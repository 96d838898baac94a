//! Numbers that are left alone by rule: years, resolutions, versions, names, the share in '1% low', counts of things.

use super::language::Language;
use super::numbers::{Phrase, Told};
use super::tokens::{Token, What};
use super::{Currency, Kind};

/// Years that a bare number may be.
const YEARS: std::ops::Range<f64> = 1950.0..2050.0;
/// Largest share, in per cent, by which a low is named; or what is left of the whole: '99% of frames were faster'.
const LOW_SHARE: f64 = 5.0;

fn same(tokens: &[Token], at: usize, sentence: usize) -> Option<&Token> {
    tokens.get(at).filter(|t| t.sentence == sentence)
}

/// Whether a number with a unit, on tokens up to `end`, only names something.
pub fn names_something(
    tokens: &[Token],
    phrase: &Phrase,
    (kind, end): (Kind, usize),
    words: &Language,
) -> bool {
    let sentence = tokens[phrase.tokens.start].sentence;
    let after = |n: usize| same(tokens, end + n, sentence);
    let before = |n: usize| phrase.tokens.start.checked_sub(n).and_then(|at| same(tokens, at, sentence));
    match kind {
        Kind::Change => {
            let low = (0..3).any(|n| after(n).is_some_and(|t| t.is_in(words.low)));
            let frames = after(0).is_some_and(|t| t.is("of"))
                && (1..4).any(|n| after(n).is_some_and(|t| t.is("frames") || t.is("frame")));
            let slowest =
                (1..3).any(|n| before(n).is_some_and(|t| t.is_in(&["slowest", "worst", "lowest", "bottom"])));
            let points = after(0).is_some_and(|t| t.is("point") || t.is("points"));
            points
                || ((phrase.value <= LOW_SHARE || phrase.value >= 100.0 - LOW_SHARE)
                    && (low || frames || slowest))
        }
        Kind::W if (1..8).any(|n| before(n).is_some_and(|t| t.is_in(words.rig_before))) => true,
        Kind::GB | Kind::W => (0..4).any(|n| after(n).is_some_and(|t| t.is_in(words.rig) || begins_ddr(t))),
        Kind::MHz => before(1).is_some_and(begins_ddr),
        _ => false,
    }
}

fn begins_ddr(token: &Token) -> bool {
    token.lower.starts_with("ddr") || token.lower.starts_with("lpddr")
}

/// Whether a number without a unit may take that of another; `priced`: a word of price stands before it, `after_name`:
/// the name of a part or scene does.
pub fn may_be_bare(
    tokens: &[Token],
    phrase: &Phrase,
    (priced, after_name): (bool, bool),
    words: &Language,
) -> bool {
    let first = &tokens[phrase.tokens.start];
    let sentence = first.sentence;
    let after = same(tokens, phrase.tokens.end, sentence);
    let before = phrase.tokens.start.checked_sub(1).and_then(|at| same(tokens, at, sentence));
    if matches!(phrase.told, Told::Part | Told::Multiple)
        || (phrase.told == Told::Words && phrase.value < 13.0)
    {
        return false;
    }
    let plain_year = phrase.told == Told::Pair || (phrase.step >= 1.0 && first.span.len() == 4);
    if YEARS.contains(&phrase.value) && plain_year && !priced {
        return false;
    }
    if joined(tokens, phrase)
        || after.is_some_and(|t| t.is_in(words.months) || t.is("x") || t.is("×") || t.is("by"))
    {
        return false;
    }
    if let Some(t) = before {
        let named = t.is_in(words.names)
            || t.is_in(words.months)
            || matches!(t.what, What::Sign('#' | '§' | '×' | '/'));
        let second = phrase.tokens.start.checked_sub(2).and_then(|at| same(tokens, at, sentence));
        let size = (t.is("x") || t.is("by")) && second.is_some_and(Token::is_number);
        let titled = t.capital && second.is_some() && !t.glued && t.what == What::Word && !after_name;
        if named || size || titled || t.what == What::Mixed {
            return false;
        }
    }
    match after {
        None => true,
        Some(t) => t.is_in(words.follow) || (matches!(t.what, What::Sign(c) if !"%/°×*#$€£".contains(c))),
    }
}

/// Whether a hyphen ties it to a word: '16-core', 'DDR5-6000'.
fn joined(tokens: &[Token], phrase: &Phrase) -> bool {
    let dash = |at: usize| tokens.get(at).is_some_and(|t| t.is_dash() && t.glued);
    let word = |at: usize| tokens.get(at).is_some_and(|t| t.glued && t.what == What::Word);
    let before = phrase.tokens.start.checked_sub(1).is_some_and(|at| {
        let left = at.checked_sub(1).and_then(|n| tokens.get(n));
        dash(at)
            && left.is_some_and(|t| t.what != What::Word || t.glued)
            && !left.is_some_and(Token::is_number)
    });
    before && tokens[phrase.tokens.start].glued || (dash(phrase.tokens.end) && word(phrase.tokens.end + 1))
}

/// Kinds whose unit a bare number may take.
pub fn lends(kind: Kind) -> bool {
    !kind.compares() && kind != Kind::Scenes
}

/// Money of no said currency.
pub const MONEY: Kind = Kind::Money(Currency::Unsaid);
