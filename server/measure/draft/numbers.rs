//! Numbers in digits and in words, without their units: `1,450`, 'ninety-four', 'fourteen fifty', 'two thirds', 'twice'.

use std::ops::Range;

use super::language::Language;
use super::tokens::{Token, What};

/// How a number is told.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Told {
    /// In digits.
    Digits,
    /// In words.
    Words,
    /// In words, as a pair: 'fourteen fifty'.
    Pair,
    /// As a part of a whole: 'two thirds'.
    Part,
    /// As a multiple in one word: 'twice'.
    Multiple,
}

/// A number without a unit.
#[derive(Clone, Debug, PartialEq)]
pub struct Phrase {
    /// Its tokens.
    pub tokens: Range<usize>,
    /// Its value.
    pub value: f64,
    /// One unit of its last place.
    pub step: f64,
    /// How it is told.
    pub told: Told,
}

/// The number that begins at token `at`.
pub fn phrase(tokens: &[Token], at: usize, words: &Language) -> Option<Phrase> {
    let token = tokens.get(at)?;
    if let What::Number { value, step } = token.what {
        let phrase = Phrase { tokens: at..at + 1, value, step, told: Told::Digits };
        return Some(and_part(tokens, phrase, words));
    }
    if token.what != What::Word {
        return None;
    }
    if let Some((_, value)) = words.multiples.iter().find(|(word, _)| token.is(word)) {
        return Some(Phrase { tokens: at..at + 1, value: *value, step: 1.0, told: Told::Multiple });
    }
    part(tokens, at, words).or_else(|| spoken(tokens, at, words).map(|p| and_part(tokens, p, words)))
}

fn lookup(table: &[(&str, u32)], token: Option<&Token>) -> Option<u32> {
    let token = token.filter(|token| token.what == What::Word)?;
    table.iter().find(|(word, _)| token.is(word)).map(|(_, value)| *value)
}

/// The token after `at`, a hyphen between two words left out.
fn next(tokens: &[Token], at: usize) -> usize {
    let hyphen =
        tokens.get(at).is_some_and(|t| t.is_dash() && t.glued) && tokens.get(at + 1).is_some_and(|t| t.glued);
    if hyphen { at + 1 } else { at }
}

/// 'a third', 'one third', 'two-thirds', 'half', 'a half'.
fn part(tokens: &[Token], at: usize, words: &Language) -> Option<Phrase> {
    let first = tokens.get(at)?;
    let made = |end: usize, value: f64| Phrase { tokens: at..end, value, step: 0.01, told: Told::Part };
    if first.is(words.half) {
        return Some(made(at + 1, 0.5));
    }
    let count = if first.is_in(words.articles) { Some(1) } else { lookup(words.small, Some(first)) }?;
    let then = next(tokens, at + 1);
    let second = tokens.get(then).filter(|t| t.sentence == first.sentence)?;
    if second.is(words.half) && count == 1 {
        return Some(made(then + 1, 0.5));
    }
    let of = lookup(words.parts, Some(second))?;
    (count < of).then(|| made(then + 1, f64::from(count) / f64::from(of)))
}

/// A number in words.
fn spoken(tokens: &[Token], at: usize, words: &Language) -> Option<Phrase> {
    let sentence = tokens.get(at)?.sentence;
    let token = |n: usize| tokens.get(n).filter(|t| t.sentence == sentence);
    let small = |n: usize| lookup(words.small, token(n)).or_else(|| lookup(words.tens, token(n)));
    let (mut total, mut current, mut pair) = (0u32, None::<u32>, false);
    let mut end = at;
    let mut n = at;
    if token(at).is_some_and(|t| t.is_in(words.articles)) {
        let big = token(at + 1).is_some_and(|t| t.is(words.hundred) || t.is(words.thousand));
        current = big.then_some(1);
        n += 1;
    }
    loop {
        if end > at {
            n = next(tokens, n);
        }
        let grew = current.is_some() || total > 0;
        if grew && token(n).is_some_and(|t| t.is(words.and)) {
            let after_big = current.is_some_and(|c| c % 100 == 0) || (current.is_none() && total > 0);
            if after_big && small(n + 1).is_some() && end == n {
                n += 1;
            } else {
                break;
            }
        }
        if token(n).is_some_and(|t| t.is(words.hundred)) && current.is_some_and(|c| c < 100) {
            current = current.map(|c| c * 100);
        } else if token(n).is_some_and(|t| t.is(words.thousand)) && current.is_some() {
            total = current.unwrap_or(1) * 1000;
            current = None;
        } else if let Some(value) = small(n) {
            match current {
                None => current = Some(value),
                Some(c) if c % 10 == 0 && c % 100 >= 20 && (1..10).contains(&value) => {
                    current = Some(c + value)
                }
                Some(c) if c % 100 == 0 && c > 0 => current = Some(c + value),
                Some(c) if !pair && (1..100).contains(&c) && value >= 10 => {
                    pair = true;
                    current = Some(c * 100 + value);
                }
                Some(_) => break,
            }
        } else {
            break;
        }
        n += 1;
        end = n;
    }
    if end == at || (total == 0 && current.is_none()) {
        return None;
    }
    let told = if pair { Told::Pair } else { Told::Words };
    let whole = f64::from(total + current.unwrap_or(0));
    let phrase = Phrase { tokens: at..end, value: whole, step: 1.0, told };
    Some(decimals(tokens, phrase, words))
}

/// 'thirty-eight point four'.
fn decimals(tokens: &[Token], mut phrase: Phrase, words: &Language) -> Phrase {
    let mut n = phrase.tokens.end;
    if !tokens.get(n).is_some_and(|t| t.is(words.point)) {
        return phrase;
    }
    n += 1;
    while let Some(digit) = lookup(words.small, tokens.get(n)).filter(|d| *d < 10) {
        phrase.step /= 10.0;
        phrase.value += f64::from(digit) * phrase.step;
        n += 1;
        phrase.tokens.end = n;
    }
    phrase
}

/// 'one and a half'.
fn and_part(tokens: &[Token], mut phrase: Phrase, words: &Language) -> Phrase {
    let end = phrase.tokens.end;
    let Some(last) = tokens.get(end.saturating_sub(1)) else { return phrase };
    let same = |t: &&Token| t.sentence == last.sentence;
    if phrase.value < 20.0
        && tokens.get(end).filter(same).is_some_and(|t| t.is(words.and))
        && tokens.get(end + 1).filter(same).is_some_and(|t| t.is_in(words.articles))
        && let Some(more) = part(tokens, end + 1, words)
    {
        phrase.value += more.value;
        phrase.step = 0.1;
        phrase.tokens.end = more.tokens.end;
    }
    phrase
}

#[cfg(test)]
mod tests {
    use super::super::words_en::ENGLISH;
    use super::super::{Form, text, tokens};
    use super::*;

    fn of(text: &str) -> Option<(f64, Told, usize)> {
        let tokens = tokens::tokens(&text::read(text, Form::Plain));
        phrase(&tokens, 0, &ENGLISH).map(|p| (p.value, p.told, p.tokens.end))
    }

    #[test]
    fn numbers_in_words() {
        let cases = [
            ("ninety-four frames", 94.0),
            ("one hundred and fifty fps", 150.0),
            ("a hundred and fifty fps", 150.0),
            ("fourteen hundred and fifty euros", 1450.0),
            ("one thousand four hundred and fifty euros", 1450.0),
            ("a thousand euros", 1000.0),
            ("thirty-eight point four percent", 38.4),
            ("one and a half times", 1.5),
            ("nine and ten", 9.0),
        ];
        for (text, want) in cases {
            let (value, told, _) = of(text).unwrap();
            assert!((value - want).abs() < 1e-9 && told == Told::Words, "{text}: {value} {told:?}");
        }
    }

    #[test]
    fn pairs_are_spoken_prices() {
        for (text, want) in
            [("fourteen fifty.", 1450.0), ("nine ninety-nine for", 999.0), ("twelve forty-nine in", 1249.0)]
        {
            assert_eq!(of(text).map(|(v, t, _)| (v, t)), Some((want, Told::Pair)), "{text}");
        }
    }

    #[test]
    fn parts_and_multiples() {
        assert_eq!(of("a third more"), Some((1.0 / 3.0, Told::Part, 2)));
        assert_eq!(of("two-thirds of"), Some((2.0 / 3.0, Told::Part, 3)));
        assert_eq!(of("half the"), Some((0.5, Told::Part, 1)));
        assert_eq!(of("twice as"), Some((2.0, Told::Multiple, 1)));
        assert_eq!(of("a card"), None);
    }
}
