//! A text as tokens: words, numbers, and what is neither.

use std::ops::Range;

use super::text::Prose;

/// What a token is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum What {
    /// Letters.
    Word,
    /// Digits with a value; `step` is one unit of the last place written.
    Number {
        /// Value.
        value: f64,
        /// One unit of the last place.
        step: f64,
    },
    /// Digits and letters that are no number: `1440p`, `DDR5`, `3.1.4`, `18:00`.
    Mixed,
    /// Any other sign.
    Sign(char),
}

/// A token.
#[derive(Clone, Debug)]
pub struct Token {
    /// Its bytes.
    pub span: Range<usize>,
    /// In small letters, without a genitive.
    pub lower: String,
    /// Whether it begins with a capital.
    pub capital: bool,
    /// Whether nothing stands between it and the token before.
    pub glued: bool,
    /// What it is.
    pub what: What,
    /// Index of its sentence.
    pub sentence: usize,
    /// Number of its paragraph.
    pub paragraph: usize,
    /// Whether it stands in a heading.
    pub heading: bool,
}

impl Token {
    /// Whether it is this word or sign.
    pub fn is(&self, word: &str) -> bool {
        self.lower == word
    }

    /// Whether it is one of these.
    pub fn is_in(&self, words: &[&str]) -> bool {
        words.contains(&self.lower.as_str())
    }

    /// Whether it is a number in digits.
    pub fn is_number(&self) -> bool {
        matches!(self.what, What::Number { .. })
    }

    /// Whether it joins or parts: a dash.
    pub fn is_dash(&self) -> bool {
        matches!(self.what, What::Sign('-' | '–' | '—' | '‐' | '‑'))
    }
}

/// Letters that may stand right behind a number: units and signs of multiples.
const GLUED: [&str; 21] = [
    "fps", "w", "kw", "ms", "c", "mhz", "ghz", "hz", "gb", "gib", "mb", "mib", "tb", "j", "db", "x", "eur",
    "usd", "gbp", "v", "s",
];

/// The tokens of a text, in order.
pub fn tokens(prose: &Prose) -> Vec<Token> {
    let mut all = Vec::new();
    for (sentence, of) in prose.sentences.iter().enumerate() {
        let mut at = of.span.start;
        while at < of.span.end {
            let rest = &prose.text[at..of.span.end];
            let Some(first) = rest.chars().next() else { break };
            let (length, what) = if first.is_whitespace() {
                at += first.len_utf8();
                continue;
            } else if first.is_ascii_digit() {
                digits(rest)
            } else if first.is_alphabetic() {
                word(rest)
            } else {
                (first.len_utf8(), What::Sign(first))
            };
            let text = &rest[..length];
            let lower = text.to_lowercase();
            let glued = all.last().is_some_and(|before: &Token| before.span.end == at);
            all.push(Token {
                span: at..at + length,
                lower: genitive(&lower).to_owned(),
                capital: first.is_uppercase(),
                glued,
                what,
                sentence,
                paragraph: of.paragraph,
                heading: of.heading,
            });
            at += length;
        }
    }
    all
}

fn genitive(word: &str) -> &str {
    word.strip_suffix("'s").or_else(|| word.strip_suffix("’s")).unwrap_or(word)
}

fn word(rest: &str) -> (usize, What) {
    let mut end = 0;
    let mut mixed = false;
    let mut chars = rest.char_indices().peekable();
    while let Some((at, c)) = chars.next() {
        let letter = |next: Option<&(usize, char)>| next.is_some_and(|(_, c)| c.is_alphabetic());
        let inside = matches!(c, '\'' | '’') && letter(chars.peek());
        let dotted = c == '.' && mixed && chars.peek().is_some_and(|(_, c)| c.is_ascii_digit());
        if !(c.is_alphanumeric() || inside || dotted) {
            break;
        }
        mixed |= c.is_numeric();
        end = at + c.len_utf8();
    }
    (end, if mixed { What::Mixed } else { What::Word })
}

/// A number, or what only begins like one.
fn digits(rest: &str) -> (usize, What) {
    let chars: Vec<(usize, char)> = rest.char_indices().collect();
    let char_at = |n: usize| chars.get(n).map(|(_, c)| *c);
    let digit = |n: usize| char_at(n).is_some_and(|c| c.is_ascii_digit());
    let mut n = 0;
    while digit(n) || (char_at(n).is_some_and(|c| joins(c, &digit, n)) && digit(n + 1)) {
        n += 1;
    }
    let end = |n: usize| chars.get(n).map_or(rest.len(), |(at, _)| *at);
    let text = &rest[..end(n)];
    let letters = chars[n..].iter().take_while(|(_, c)| c.is_alphanumeric()).count();
    if letters > 0 {
        let tail = rest[end(n)..end(n + letters)].to_lowercase();
        if !GLUED.contains(&tail.as_str()) {
            return (end(n + letters), What::Mixed);
        }
    }
    match value(text) {
        Some((value, step)) => (end(n), What::Number { value, step }),
        None if text.matches('-').count() == 1 && !text.contains([':', '/']) => {
            // `160-170`: the first of two.
            let first = text.find('-').unwrap_or(text.len());
            let (value, step) = value(&text[..first]).unwrap_or((f64::NAN, 1.0));
            (first, if value.is_finite() { What::Number { value, step } } else { What::Mixed })
        }
        None => (end(n), What::Mixed),
    }
}

/// Whether a sign inside digits belongs to them; a space that does not break only before three of them.
fn joins(c: char, digit: &impl Fn(usize) -> bool, n: usize) -> bool {
    let three = digit(n + 1) && digit(n + 2) && digit(n + 3) && !digit(n + 4);
    match c {
        '.' | ',' | ':' | '-' | '/' => true,
        '\u{a0}' | '\u{202f}' | '\u{2009}' | '\'' => three,
        _ => false,
    }
}

/// `1,450` is 1 450, `38.4` has a step of 0.1; `3.1.4` and `18:00` have no value.
fn value(text: &str) -> Option<(f64, f64)> {
    let (whole, part) = text.split_once('.').unwrap_or((text, ""));
    let groups: Vec<&str> = whole.split([',', '\u{a0}', '\u{202f}', '\u{2009}', '\'']).collect();
    let grouped = groups.len() == 1
        || (groups.iter().skip(1).all(|g| g.len() == 3) && groups.first().is_some_and(|g| g.len() <= 3));
    if !grouped || !part.bytes().all(|b| b.is_ascii_digit()) || part.len() > 9 {
        return None;
    }
    let whole = groups.concat();
    if !whole.bytes().all(|b| b.is_ascii_digit()) || whole.len() > 12 {
        return None;
    }
    let read: f64 = format!("{whole}.{part}0").parse().ok()?;
    Some((read, part.bytes().fold(1.0, |step, _| step / 10.0)))
}

#[cfg(test)]
mod tests {
    use super::super::{Form, text};
    use super::*;

    fn of(text: &str) -> Vec<Token> {
        tokens(&text::read(text, Form::Plain))
    }

    #[test]
    fn numbers_have_values_and_steps() {
        let read = of("1,450 38.4% 150fps 0.78x 10\u{202f}000 160-170");
        let values: Vec<f64> = read
            .iter()
            .filter_map(|t| if let What::Number { value, .. } = t.what { Some(value) } else { None })
            .collect();
        assert_eq!(values, [1450.0, 38.4, 150.0, 0.78, 10_000.0, 160.0, 170.0]);
    }

    #[test]
    fn what_only_looks_like_a_number_is_none() {
        for text in
            ["1440p", "4K", "DDR5", "x16", "3840x2160", "3.1.4", "18:00", "16:9", "2025-11-02", "3rd", "v1.4"]
        {
            let read = of(text);
            assert!(read.len() == 1 && read[0].what == What::Mixed, "{text}: {read:?}");
        }
    }

    #[test]
    fn a_genitive_is_the_word_itself() {
        assert_eq!(of("the Curlew's low")[1].lower, "curlew");
    }
}
