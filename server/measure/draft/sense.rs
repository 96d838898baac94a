//! Which way a comparison goes, and whether an amount is told as a difference.

use std::ops::Range;

use super::Sense;
use super::language::Language;
use super::tokens::{Token, What};

/// How far behind and before a number its direction is looked for, in tokens.
const BEHIND: usize = 5;
const BEFORE: usize = 12;
/// Before a number these are hedges or places, no directions.
const ONLY_BEHIND: [&str; 7] = ["over", "above", "below", "under", "short", "again", "front"];

fn parts_clause(token: &Token) -> bool {
    matches!(token.what, What::Sign(',' | ';' | ':' | '(' | ')' | '|' | '.' | '–' | '—'))
}

fn of(token: &Token, words: &Language) -> Option<Sense> {
    if token.is_in(words.more) {
        Some(Sense::More)
    } else if token.is_in(words.less) {
        Some(Sense::Less)
    } else {
        None
    }
}

/// The direction of the number on these tokens; `start` is where its hedge begins.
pub fn sense(tokens: &[Token], number: &Range<usize>, start: usize, words: &Language) -> Sense {
    let Some(sentence) = tokens.get(number.start).map(|t| t.sentence) else { return Sense::Unsaid };
    let same = |t: &&Token| t.sentence == sentence;
    let signed = number.start.checked_sub(1).and_then(|at| tokens.get(at)).filter(same);
    if let Some(sign) = signed.filter(|_| tokens[number.start].glued) {
        match sign.what {
            What::Sign('+') => return Sense::More,
            What::Sign('−' | '-') if !sign.glued => return Sense::Less,
            _ => {}
        }
    }
    let behind = tokens.iter().skip(number.end).take_while(same);
    let behind = behind.take_while(|t| !parts_clause(t) && !t.is_number()).take(BEHIND);
    if let Some(found) = behind.filter_map(|t| of(t, words)).next() {
        return found;
    }
    let before = tokens[..start.min(tokens.len())].iter().rev().take_while(same).take(BEFORE);
    let mut before =
        before.take_while(|t| !matches!(t.what, What::Sign(';'))).filter(|t| !t.is_in(&ONLY_BEHIND));
    before.find_map(|t| of(t, words)).unwrap_or(Sense::Unsaid)
}

/// Whether an amount is told as a difference: '79 watts more', 'cost 9 ms', 'five degrees warmer'.
pub fn differs(tokens: &[Token], number: &Range<usize>, start: usize, words: &Language) -> bool {
    let Some(sentence) = tokens.get(number.start).map(|t| t.sentence) else { return false };
    let same = |t: &&Token| t.sentence == sentence;
    let behind = tokens.iter().skip(number.end).take_while(same).take(2).take_while(|t| !parts_clause(t));
    let mut behind = behind.filter(|t| !t.is_in(&ONLY_BEHIND));
    let mut before = tokens[..start.min(tokens.len())].iter().rev().take_while(same).take(3);
    behind.any(|t| of(t, words).is_some()) || before.any(|t| t.is_in(words.differs))
}
