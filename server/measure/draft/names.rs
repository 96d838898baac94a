//! The names of parts and scenes in a text: whom a number is about.

use std::ops::Range;

use super::text;
use super::tokens::{Token, What, tokens};
use super::words_en::ENGLISH;
use super::{Form, Known};

/// Whom a mention names.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Who {
    /// A part of the figures.
    Part(usize),
    /// A part that no figure is of: a known family with another number, a name with a number.
    Stranger,
    /// A scene of the figures.
    Scene(usize),
}

/// A name in a text.
#[derive(Clone, Debug)]
pub struct Mention {
    /// Its tokens.
    pub tokens: Range<usize>,
    /// Whom it names.
    pub who: Who,
}

/// The name of which token `at` is one, of names in order.
pub fn mention_at(seen: &[Mention], at: usize) -> Option<&Mention> {
    let after = seen.partition_point(|m| m.tokens.start <= at);
    seen.get(after.checked_sub(1)?).filter(|m| m.tokens.contains(&at))
}

/// Names of one figure.
#[derive(Clone, Debug, Default)]
pub struct Ids {
    /// Part, or contender.
    pub part: Option<usize>,
    /// Baseline.
    pub baseline: Option<usize>,
    /// Scene.
    pub scene: Option<usize>,
    /// Words of tuning and passage, in parentheses behind the names.
    pub extra: Vec<String>,
    /// Words of the setting.
    pub setting: Vec<String>,
}

/// The names of all figures.
#[derive(Clone, Debug, Default)]
pub struct Names {
    parts: Vec<Vec<String>>,
    scenes: Vec<Vec<String>>,
    /// Of each figure, in their order.
    pub of: Vec<Ids>,
}

fn split(name: &str) -> (Vec<String>, Vec<String>) {
    let words = |text: &str| -> Vec<String> {
        let read = tokens(&text::read(text, Form::Plain));
        read.into_iter().filter(|t| !matches!(t.what, What::Sign(_))).map(|t| t.lower).collect()
    };
    let (main, extra) = name.split_once('(').unwrap_or((name, ""));
    (words(main), words(extra))
}

fn id(all: &mut Vec<Vec<String>>, main: Vec<String>) -> Option<usize> {
    if main.is_empty() {
        return None;
    }
    if let Some(at) = all.iter().position(|one| *one == main) {
        return Some(at);
    }
    all.push(main);
    Some(all.len() - 1)
}

impl Names {
    /// The names of these figures.
    pub fn of(known: &[Known]) -> Names {
        let mut names = Names::default();
        for figure in known {
            let (part, mut extra) = split(&figure.part);
            let (baseline, more) = split(&figure.baseline);
            let (scene, passage) = split(&figure.scene);
            extra.extend(more.into_iter().chain(passage));
            let of = Ids {
                part: id(&mut names.parts, part),
                baseline: id(&mut names.parts, baseline),
                scene: id(&mut names.scenes, scene),
                extra,
                setting: split(&figure.setting).0,
            };
            names.of.push(of);
        }
        names
    }

    /// The names in a text, in order.
    pub fn seen(&self, tokens: &[Token]) -> Vec<Mention> {
        let mut found = Vec::new();
        let mut at = 0;
        while at < tokens.len() {
            let mention = self.at(tokens, at);
            at = mention.as_ref().map_or(at + 1, |m: &Mention| m.tokens.end);
            found.extend(mention);
        }
        found
    }

    fn at(&self, tokens: &[Token], at: usize) -> Option<Mention> {
        let length = |name: &Vec<String>| {
            let same = name.iter().enumerate().all(|(n, word)| {
                tokens.get(at + n).is_some_and(|t| t.sentence == tokens[at].sentence && t.is(word))
            });
            same.then_some(name.len())
        };
        let parts = self.parts.iter().enumerate().map(|(n, name)| (length(name), Who::Part(n)));
        let scenes = self.scenes.iter().enumerate().map(|(n, name)| (length(name), Who::Scene(n)));
        let best = parts.chain(scenes).filter_map(|(l, who)| Some((l?, who))).max_by_key(|(l, _)| *l);
        if let Some((length, who)) = best
            && tokens[at].capital
        {
            return Some(Mention { tokens: at..at + length, who });
        }
        self.stranger(tokens, at).then(|| Mention { tokens: at..at + 2, who: Who::Stranger })
    }

    /// A capitalised word with a whole number behind it that no unit follows.
    fn stranger(&self, tokens: &[Token], at: usize) -> bool {
        let Some((word, number)) = tokens.get(at).zip(tokens.get(at + 1)) else { return false };
        let What::Number { value, step } = number.what else { return false };
        let whole = step >= 1.0 && value < 10_000.0 && !(1990.0..2040.0).contains(&value);
        let family = self.parts.iter().any(|name| name.len() > 1 && name.first().is_some_and(|f| word.is(f)));
        let first = at.checked_sub(1).is_none_or(|before| tokens[before].sentence != word.sentence);
        let next = tokens.get(at + 2).filter(|t| t.sentence == word.sentence);
        let plain = next.is_none_or(|t| {
            t.what == What::Word && !t.is_in(ENGLISH.months)
                || matches!(t.what, What::Sign(',' | '.' | ';' | ':' | '!' | '?' | ')' | '\'' | '’'))
        });
        word.what == What::Word
            && word.capital
            && whole
            && plain
            && word.sentence == number.sentence
            && !word.is_in(ENGLISH.names)
            && !word.is_in(ENGLISH.months)
            && super::units::behind(tokens, at + 2, &ENGLISH).is_none()
            && !ENGLISH.before_money.iter().any(|(sign, _)| word.is(sign))
            && (family || !first)
    }
}
