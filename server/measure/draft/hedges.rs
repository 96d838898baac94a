//! Hedges: what stands around a number, and how far the truth may then lie from it.
//!
//! Tolerances are our own rule (common practice, no source). `n` is the number as written, in its unit:
//!
//! | hedge | the figure lies in | of a change in per cent |
//! | --- | --- | --- |
//! | none | half a unit of the last written place around n | the same |
//! | about, around, roughly, some, or so | 5% of n, at least half a unit of its last place | 2 points, at least 5% of n |
//! | nearly, almost, just under | below n by at most 5% | by at most 3 points |
//! | under, below, less than | below n by at most 10% | by at most 10 points |
//! | over, above, more than | above n by at most 10% | by at most 10 points |
//! | just over, slightly more than | above n by at most 3% | by at most 2 points |
//! | at least | n or above by at most 10% | by at most 10 points |
//! | up to, at most | n or below by at most 5% | by at most 3 points |
//! | exactly | as it was agreed, to the last digit | the same |
//!
//! Parts and multiples in words ('a third', 'twice') are round by themselves: [`PART_LOOSE`], [`MULTIPLE_LOOSE`].

use super::language::Language;
use super::tokens::Token;
use super::units::{ends, starts};

/// How far a part of a whole in words may lie from the truth: one and a half hundredths.
pub const PART_LOOSE: f64 = 0.015;
/// How far a multiple in words may lie from the truth, as a share of it.
pub const MULTIPLE_LOOSE: f64 = 0.03;

/// A hedge.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Hedge {
    /// None.
    None,
    /// About.
    About,
    /// Nearly, just under.
    Nearly,
    /// Under.
    Under,
    /// Over.
    Over,
    /// Just over.
    JustOver,
    /// At least.
    AtLeast,
    /// Up to.
    UpTo,
    /// Exactly.
    Exactly,
}

impl Hedge {
    /// In a word.
    pub fn word(self) -> &'static str {
        match self {
            Hedge::None => "",
            Hedge::About => "about",
            Hedge::Nearly => "nearly",
            Hedge::Under => "under",
            Hedge::Over => "over",
            Hedge::JustOver => "just over",
            Hedge::AtLeast => "at least",
            Hedge::UpTo => "up to",
            Hedge::Exactly => "exactly",
        }
    }

    /// How far below and above `n` the truth may lie; `change` where it is per cent of change. `half` is half a unit of
    /// its last place together with what the words leave open.
    pub fn reach(self, n: f64, half: f64, change: bool) -> (f64, f64) {
        let n = n.abs();
        let far = |share: f64, points: f64| if change { points } else { (n * share).max(half) };
        match self {
            Hedge::None | Hedge::Exactly => (half, half),
            Hedge::About => {
                let about = if change { (n * 0.05).max(2.0) } else { n * 0.05 }.max(half);
                (about, about)
            }
            Hedge::Nearly => (far(0.05, 3.0), 0.0),
            Hedge::Under => (far(0.10, 10.0), 0.0),
            Hedge::Over => (0.0, far(0.10, 10.0)),
            Hedge::JustOver => (0.0, far(0.03, 2.0)),
            Hedge::AtLeast => (half, far(0.10, 10.0)),
            Hedge::UpTo => (far(0.05, 3.0), half),
        }
    }

    /// Whether it wants the truth on one side only.
    pub fn one_sided(self) -> bool {
        matches!(self, Hedge::Nearly | Hedge::Under | Hedge::Over | Hedge::JustOver)
    }
}

/// The hedge of a number on tokens `from..to`, and the first token of it where it stands before.
pub fn hedge(tokens: &[Token], from: usize, to: usize, words: &Language) -> (Hedge, usize) {
    for skipped in 0..=2 {
        let Some(at) = from.checked_sub(skipped) else { break };
        if skipped > 0 && !tokens.get(at).is_some_and(|t| t.is_in(words.fillers)) {
            break;
        }
        let found = words.before.iter().find(|(hedge, _)| ends(tokens, at, hedge));
        if let Some((phrase, hedge)) = found {
            let start = at - phrase.len();
            let rises = phrase.first() == Some(&"up");
            if rises && start.checked_sub(1).is_some_and(|n| tokens[n].is_in(words.risers)) {
                return (Hedge::None, from);
            }
            if compares(tokens, start, phrase, *hedge, words) {
                return (Hedge::None, from);
            }
            return (*hedge, start);
        }
    }
    let sentence = tokens.get(from).map_or(0, |t| t.sentence);
    let behind = words.behind.iter().find(|(hedge, _)| starts(tokens, to, hedge, sentence));
    (behind.map_or(Hedge::None, |(_, hedge)| *hedge), from)
}

/// Whether it is no hedge but compares two numbers: '9 ms above 31 ms', '28 % more than 450 W'.
fn compares(tokens: &[Token], start: usize, phrase: &[&str], hedge: Hedge, words: &Language) -> bool {
    if !hedge.one_sided() || phrase.len() > 2 {
        return false;
    }
    let Some((before, first)) =
        start.checked_sub(1).and_then(|at| Some((tokens.get(at)?, tokens.get(start)?)))
    else {
        return false;
    };
    before.sentence == first.sentence
        && (before.is_number()
            || words.parts.iter().any(|(part, _)| before.is(part))
            || words.units.iter().any(|(unit, _)| unit.last().is_some_and(|last| before.is(last))))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Tolerances as the table above says (common practice, no source).
    #[test]
    fn each_hedge_has_its_tolerance() {
        let close = |(a, b): (f64, f64), (c, d): (f64, f64)| (a - c).abs() < 1e-9 && (b - d).abs() < 1e-9;
        assert!(close(Hedge::None.reach(150.0, 0.5, false), (0.5, 0.5)));
        assert!(close(Hedge::About.reach(150.0, 0.5, false), (7.5, 7.5)));
        assert!(close(Hedge::About.reach(20.0, 0.5, true), (2.0, 2.0)));
        assert!(close(Hedge::Nearly.reach(150.0, 0.5, false), (7.5, 0.0)));
        assert!(close(Hedge::Over.reach(30.0, 0.5, true), (0.0, 10.0)));
        assert!(close(Hedge::JustOver.reach(220.0, 0.5, false), (0.0, 6.6)));
        assert!(close(Hedge::UpTo.reach(100.0, 0.5, false), (5.0, 0.5)));
    }
}
