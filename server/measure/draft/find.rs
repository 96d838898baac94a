//! Finds the numbers of a text that have a meaning: those with a unit, and those that share the unit of another.

use std::ops::Range;

use super::hedges::{MULTIPLE_LOOSE, PART_LOOSE, hedge};
use super::language::Language;
use super::leave::{MONEY, lends, may_be_bare, names_something};
use super::names::{Mention, mention_at};
use super::numbers::{Phrase, Told, phrase};
use super::score::Topic;
use super::sense::{differs, sense};
use super::tokens::{Token, What};
use super::units::{Unit, behind};
use super::{Hedge, Kind, Known, Number};

/// Tokens between a bare number and one before it whose unit it takes.
const NEAR: usize = 16;
/// Tokens between a bare price and the word that says it is one.
const PRICE_NEAR: usize = 6;

/// A number with its unit, before all have been seen.
struct Typed {
    phrase: Phrase,
    /// `None`: without a unit so far.
    unit: Option<Unit>,
    /// From its sign or hedge to the end of its unit.
    tokens: Range<usize>,
}

/// The numbers with a meaning, in order.
pub fn numbers(tokens: &[Token], seen: &[Mention], known: &[Known], words: &Language) -> Vec<Number> {
    let mut all = scan(tokens, seen, words);
    share((tokens, seen), &mut all, known, words);
    all.retain(|one| one.unit.is_some());
    join(tokens, all, words)
}

fn scan(tokens: &[Token], seen: &[Mention], words: &Language) -> Vec<Typed> {
    let mut all = Vec::new();
    let mut at = 0;
    while at < tokens.len() {
        if let Some(mention) = mention_at(seen, at) {
            at = mention.tokens.end;
            continue;
        }
        let Some(phrase) = phrase(tokens, at, words) else {
            at += 1;
            continue;
        };
        let end = phrase.tokens.end;
        let read = typed(tokens, phrase, words);
        at = read.as_ref().map_or(end, |one| one.tokens.end.max(end));
        all.extend(read);
    }
    all
}

/// A number with its unit; `None` where it is left alone.
fn typed(tokens: &[Token], phrase: Phrase, words: &Language) -> Option<Typed> {
    let (start, end) = (phrase.tokens.start, phrase.tokens.end);
    let sentence = tokens[start].sentence;
    let with =
        |phrase: Phrase, unit: Unit, tokens: Range<usize>| Some(Typed { phrase, unit: Some(unit), tokens });
    let sign = start.checked_sub(1).and_then(|at| tokens.get(at)).filter(|t| t.sentence == sentence);
    if let Some((_, unit)) = sign.and_then(|t| words.before_money.iter().find(|(sign, _)| t.is(sign))) {
        return with(phrase, *unit, start - 1..end);
    }
    match phrase.told {
        Told::Multiple => {
            let follows =
                tokens.get(end).is_some_and(|t| t.sentence == sentence && t.is_in(words.after_times));
            return if follows { with(phrase, TIMES, start..end) } else { None };
        }
        Told::Part => return part(tokens, phrase, words),
        _ => {}
    }
    if let Some((unit, to)) = behind(tokens, end, words) {
        if names_something(tokens, &phrase, (unit.kind, to), words) {
            return None;
        }
        if unit.kind == Kind::Change && share_of(tokens, to, words) {
            return with(phrase, Unit { kind: Kind::Times, scale: 0.01 }, start..to);
        }
        return with(phrase, unit, start..to);
    }
    if let Some(to) = times(tokens, &phrase, words) {
        return (to > end).then_some(Typed { phrase, unit: Some(TIMES), tokens: start..to });
    }
    if let Some(to) = scenes(tokens, &phrase, words) {
        return with(phrase, Unit { kind: Kind::Scenes, scale: 1.0 }, start..to);
    }
    Some(Typed { phrase, unit: None, tokens: start..end })
}

const TIMES: Unit = Unit { kind: Kind::Times, scale: 1.0 };

/// 'of the frames of the Dunlin': what is told as a share of something.
fn share_of(tokens: &[Token], at: usize, words: &Language) -> bool {
    let Some(of) = tokens.get(at).filter(|t| t.is("of")) else { return false };
    let next = tokens.iter().skip(at + 1).take_while(|t| t.sentence == of.sentence).take(3);
    let mut next = next.skip_while(|t| t.is("the"));
    next.any(|t| t.is("what") || (t.capital && t.what == What::Word) || is_topic(t, words))
        && !next.any(|t| t.is_in(words.scenes))
}

fn is_topic(token: &Token, words: &Language) -> bool {
    words.topics.iter().any(|(_, all)| token.is_in(all))
}

/// 'a third more' is a change, 'a third of the power' a factor, 'a third card' neither.
fn part(tokens: &[Token], phrase: Phrase, words: &Language) -> Option<Typed> {
    let (start, end) = (phrase.tokens.start, phrase.tokens.end);
    let sentence = tokens[start].sentence;
    let at = |n: usize| tokens.get(end + n).filter(|t| t.sentence == sentence);
    let direction = |t: &Token| t.is_in(words.more) || t.is_in(words.less);
    let as_again =
        at(0).is_some_and(|t| t.is(words.like)) && (1..4).any(|n| at(n).is_some_and(|t| t.is(words.again)));
    let by = hedge(tokens, start, end, words).1.checked_sub(1).is_some_and(|n| tokens[n].is(words.by));
    let by = by && !at(0).is_some_and(|t| t.is_in(words.clock));
    let change = at(0).is_some_and(direction) || as_again || by;
    let unit = if change {
        Some(Unit { kind: Kind::Change, scale: 100.0 })
    } else {
        let opens = at(0).is_some_and(|t| t.is_in(&["of", "the", "as", "its", "that", "what"]));
        let about = (0..5).filter_map(at).any(|t| is_topic(t, words) || (t.capital && t.what == What::Word));
        let like = at(0).is_some_and(|t| t.is(words.like));
        let counted = (0..4).filter_map(at).any(|t| t.is_in(words.scenes));
        (opens && (about || like) && !counted).then_some(TIMES)
    };
    unit.map(|unit| Typed { tokens: start..end, phrase, unit: Some(unit) })
}

/// The end of '1.28 times', '0.78x'; the number's own end where it is left alone ('2x generated frames').
fn times(tokens: &[Token], phrase: &Phrase, words: &Language) -> Option<usize> {
    let end = phrase.tokens.end;
    let first = &tokens[phrase.tokens.start];
    let token = tokens.get(end).filter(|t| t.sentence == first.sentence)?;
    let hyphen = token.is_dash() && tokens.get(end + 1).is_some_and(|t| t.is_in(words.times));
    let end = if hyphen { end + 1 } else { end };
    let token = tokens.get(end)?;
    let cross = token.is("x") || token.is("×");
    if !(token.is_in(words.times) || cross) {
        return None;
    }
    let next = tokens.get(end + 1).filter(|t| t.sentence == first.sentence);
    if cross && next.is_some_and(Token::is_number) {
        return Some(phrase.tokens.end);
    }
    let broken = phrase.step < 1.0;
    let made = next.is_some_and(|t| t.is_in(words.made));
    let factor = broken || next.is_some_and(|t| t.is_in(words.after_times));
    Some(if factor && !made { end + 1 } else { phrase.tokens.end })
}

/// 'over nine scenes', 'all ten of our games', 'our nine-game average': the end where all scenes are counted. '7 of 9'
/// counts some of them, 'two out of three' none.
fn scenes(tokens: &[Token], phrase: &Phrase, words: &Language) -> Option<usize> {
    let (start, end) = (phrase.tokens.start, phrase.tokens.end);
    let sentence = tokens[start].sentence;
    let at = |n: usize| tokens.get(n).filter(|t| t.sentence == sentence);
    if phrase.step < 1.0 || !matches!(phrase.told, Told::Digits | Told::Words) {
        return None;
    }
    if at(end).is_some_and(|t| t.is_dash() && t.glued) && at(end + 1).is_some_and(|t| t.is_in(words.scene)) {
        return Some(end + 2);
    }
    let before: Vec<&Token> =
        tokens[..start].iter().rev().take_while(|t| t.sentence == sentence).take(2).collect();
    let out_of = before.iter().any(|t| t.is("out"));
    let some = at(end).is_some_and(|t| t.is("of") || t.is("out"))
        && (1..4).any(|n| at(end + n).is_some_and(|t| t.is_number() || lookup_small(t, words)));
    if out_of || some || !before.iter().any(|t| t.is_in(words.all_scenes)) {
        return None;
    }
    let within = tokens.iter().enumerate().skip(end).take(4);
    let mut within = within.take_while(|(_, t)| t.sentence == sentence && t.what == What::Word);
    within.find(|(_, t)| t.is_in(words.scenes)).map(|(at, _)| at + 1)
}

fn lookup_small(token: &Token, words: &Language) -> bool {
    words.small.iter().any(|(word, _)| token.is(word))
}

/// Gives bare numbers the unit of a number beside them, or of a price where the sentence speaks of one.
fn share((tokens, seen): (&[Token], &[Mention]), all: &mut [Typed], known: &[Known], words: &Language) {
    let named = |at: usize| mention_at(seen, at).is_some();
    for at in 0..all.len() {
        if all[at].unit.is_some() {
            continue;
        }
        let phrase = all[at].phrase.clone();
        let sentence = tokens[phrase.tokens.start].sentence;
        let price = price_near(tokens, &phrase, words);
        let after_name = phrase.tokens.start.checked_sub(1).is_some_and(named);
        if !may_be_bare(tokens, &phrase, (price.is_some(), after_name), words) {
            continue;
        }
        let of = |one: &Typed| tokens[one.tokens.start].sentence == sentence;
        let next = all.get(at + 1).filter(|one| of(one)).and_then(|one| {
            let between = phrase.tokens.end..one.tokens.start;
            let tied = (1..=5).contains(&between.len())
                && between.into_iter().all(|at| named(at) || ties(&tokens[at], words));
            one.unit.filter(|unit| tied && unit.kind != Kind::Scenes)
        });
        let before =
            all[..at].iter().rev().filter(|one| of(one)).find(|one| one.unit.is_some_and(|u| lends(u.kind)));
        let before = before.filter(|one| phrase.tokens.start - one.tokens.end <= NEAR);
        let nearer = price.filter(|p| before.is_none_or(|one| *p >= one.tokens.end));
        let pair =
            phrase.told == Told::Pair && before.is_none() && spoken_price(tokens, &phrase, known, words);
        all[at].unit = if next.is_some() {
            next
        } else if nearer.is_some() || pair {
            Some(Unit { kind: MONEY, scale: 1.0 })
        } else {
            before.and_then(|one| one.unit)
        };
    }
}

fn ties(token: &Token, words: &Language) -> bool {
    token.is_dash()
        || token
            .is_in(&["and", "or", "to", "instead", "of", "against", "versus", "vs", ",", "the", "for", "on"])
        || token.is(words.and)
}

/// Where the nearest word before it stands that says it is a price.
fn price_near(tokens: &[Token], phrase: &Phrase, words: &Language) -> Option<usize> {
    let sentence = tokens[phrase.tokens.start].sentence;
    let from = phrase.tokens.start.saturating_sub(PRICE_NEAR);
    let near = (from..phrase.tokens.start).rev().filter(|at| tokens[*at].sentence == sentence);
    let priced = |t: &Token| words.topics.iter().any(|(topic, all)| *topic == Topic::Price && t.is_in(all));
    near.into_iter().find(|at| priced(&tokens[*at]))
}

/// A pair in words is a price where its sentence speaks of prices or a figure of money has that value.
fn spoken_price(tokens: &[Token], phrase: &Phrase, known: &[Known], words: &Language) -> bool {
    let sentence = tokens[phrase.tokens.start].sentence;
    let mut own = tokens.iter().filter(|t| t.sentence == sentence);
    let priced = |t: &Token| words.topics.iter().any(|(topic, all)| *topic == Topic::Price && t.is_in(all));
    let money = |k: &Known| matches!(k.kind, Kind::Money(_)) && (k.value - phrase.value).abs() < 0.5;
    own.any(priced) || known.iter().any(money)
}

/// Joins the two ends of a span, and makes numbers of what was read.
fn join(tokens: &[Token], all: Vec<Typed>, words: &Language) -> Vec<Number> {
    let mut numbers: Vec<Number> = Vec::new();
    let mut all = all.into_iter().peekable();
    while let Some(one) = all.next() {
        let end = all.peek().filter(|next| spans(tokens, &one, next, words)).is_some();
        let upper = if end { all.next() } else { None };
        numbers.extend(number(tokens, &one, upper.as_ref(), words));
    }
    numbers
}

/// Whether two numbers are the ends of one span: '150 to 155 fps', '160–170', 'between 90 and 95'; not 'from 94 to 150'.
fn spans(tokens: &[Token], one: &Typed, next: &Typed, words: &Language) -> bool {
    let same = one.unit.map(|u| u.kind) == next.unit.map(|u| u.kind) && one.phrase.value < next.phrase.value;
    let Some([between]) = tokens.get(one.tokens.end..next.tokens.start) else { return false };
    let before = |n: usize| {
        one.tokens
            .start
            .checked_sub(n)
            .and_then(|at| tokens.get(at))
            .filter(|t| t.sentence == between.sentence)
    };
    let from =
        before(1).is_some_and(|t| t.is(words.from)) && !before(2).is_some_and(|t| t.is_in(words.spans));
    let moves = (1..4).filter_map(before).any(|t| t.is_in(words.more) || t.is_in(words.less));
    let to = between.is(words.until) && !from && !moves && one.tokens.end == one.phrase.tokens.end;
    let and = between.is(words.and) && (1..3).filter_map(before).any(|t| t.is(words.between));
    same && (to || and || between.is_dash())
}

fn number(tokens: &[Token], one: &Typed, upper: Option<&Typed>, words: &Language) -> Option<Number> {
    let unit = one.unit?;
    let end = upper.map_or(one.tokens.end, |u| u.tokens.end);
    let all = one.tokens.start..end;
    let (hedge, start) = if upper.is_some() || unit.kind == Kind::Scenes {
        (Hedge::None, one.tokens.start)
    } else {
        hedge(tokens, one.tokens.start, end, words)
    };
    let loose = match one.phrase.told {
        Told::Part => PART_LOOSE * if unit.kind == Kind::Change { 100.0 } else { 1.0 },
        Told::Multiple => MULTIPLE_LOOSE * one.phrase.value,
        _ => 0.0,
    };
    // A whole factor is told as roundly as one in a word: '2x' is no 1.6.
    let whole = unit == TIMES && one.phrase.step >= 1.0;
    let loose = if whole { MULTIPLE_LOOSE * one.phrase.value } else { loose };
    let round = whole || matches!(one.phrase.told, Told::Part | Told::Multiple);
    let low = one.phrase.value * unit.scale;
    Some(Number {
        span: tokens.get(all.start)?.span.start..tokens.get(end - 1)?.span.end,
        kind: unit.kind,
        low,
        high: upper.map_or(low, |u| u.phrase.value * unit.scale),
        step: if round { 0.0 } else { one.phrase.step * unit.scale },
        loose,
        hedge,
        sense: if unit.kind.compares() { sense(tokens, &all, start, words) } else { super::Sense::Unsaid },
        difference: !unit.kind.compares() && differs(tokens, &all, start, words),
        tokens: all,
    })
}
