//! Whom and where a number is about: the part it is of, the two sides of a comparison, the scene.

use super::language::Language;
use super::names::{Mention, Names, Who};
use super::tokens::{Token, What};
use super::units::starts;
use super::{Kind, Known, Number};

/// What a text says, for finding the figure of a number in it.
pub struct Context<'a> {
    /// Its tokens.
    pub tokens: &'a [Token],
    /// The names in it.
    pub seen: &'a [Mention],
    /// The names of the figures.
    pub names: &'a Names,
    /// The figures.
    pub known: &'a [Known],
    /// The language.
    pub words: &'static Language,
}

/// An amount that stands this many tokens behind a part is its own, whatever else the sentence compares.
const NEAR: usize = 5;

/// The two sides of a comparison, as far as the text says.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sides {
    /// Who is faster or slower.
    pub subject: Option<Who>,
    /// Than whom.
    pub base: Option<Who>,
    /// Whether it is said than whom, by name or otherwise.
    pub base_said: bool,
}

impl Context<'_> {
    /// The sentence of a number.
    pub fn sentence(&self, number: &Number) -> usize {
        self.tokens.get(number.tokens.start).map_or(0, |t| t.sentence)
    }

    /// Tokens of a sentence, which stand together.
    pub fn of(&self, sentence: usize) -> impl Iterator<Item = &Token> {
        self.tokens[self.range(sentence)].iter()
    }

    fn range(&self, sentence: usize) -> std::ops::Range<usize> {
        let start = self.tokens.partition_point(|t| t.sentence < sentence);
        start..self.tokens.partition_point(|t| t.sentence <= sentence)
    }

    /// Whether a word of these stands in the sentence.
    pub fn says(&self, sentence: usize, words: &[&str]) -> bool {
        self.of(sentence).any(|t| t.is_in(words))
    }

    fn mentions(&self, sentence: usize) -> impl DoubleEndedIterator<Item = &Mention> {
        let of = |m: &Mention| self.tokens[m.tokens.start].sentence;
        let start = self.seen.partition_point(|m| of(m) < sentence);
        self.seen[start..self.seen.partition_point(|m| of(m) <= sentence)].iter()
    }

    /// Names before a sentence, nearest first, as far as its paragraph and its heading reach.
    fn earlier(&self, sentence: usize) -> impl Iterator<Item = &Mention> {
        let before = self.seen.partition_point(|m| self.tokens[m.tokens.start].sentence < sentence);
        self.seen[..before].iter().rev()
    }

    /// Parts named in a sentence.
    pub fn parts(&self, sentence: usize) -> impl DoubleEndedIterator<Item = &Mention> {
        self.mentions(sentence).filter(|m| !matches!(m.who, Who::Scene(_)))
    }

    /// Whom an amount is of: 'on the Dunlin' right behind it, else the part before, else the one after, else the one
    /// that the paragraph spoke of.
    pub fn part_of(&self, number: &Number) -> Option<Who> {
        let sentence = self.sentence(number);
        let mut behind = self.tokens.iter().enumerate().skip(number.tokens.end).take(6);
        let mut opened = false;
        while let Some((at, token)) = behind.next().filter(|(_, t)| t.sentence == sentence) {
            if let Some(m) = self.parts(sentence).find(|m| m.tokens.start == at) {
                if opened {
                    return Some(m.who);
                }
                break;
            }
            if token.is_number() || matches!(token.what, What::Sign(_)) {
                break;
            }
            opened |= token.is_in(self.words.of);
        }
        let told = || self.parts(sentence).rev().filter(|m| m.tokens.end <= number.tokens.start);
        // 'It is 28% faster than the Dunlin, an average of 130 fps': the rate is not the Dunlin's, unless it stands
        // right behind it.
        let beside = |m: &Mention| number.tokens.start - m.tokens.end < NEAR;
        let before = told().next().and_then(|last| {
            if !self.is_base(last) || beside(last) {
                return Some(last.who);
            }
            let own = told().find(|m| !self.is_base(m)).map(|m| m.who);
            own.or_else(|| self.part_before(sentence)).or(Some(last.who))
        });
        if before.is_some() {
            return before;
        }
        let after = self.parts(sentence).find(|m| m.tokens.start >= number.tokens.end);
        after.map(|m| m.who).or_else(|| self.part_before(sentence))
    }

    /// The part last spoken of in the paragraph before this sentence: not the one it was compared with, where there is
    /// another.
    fn part_before(&self, sentence: usize) -> Option<Who> {
        let paragraph = self.of(sentence).next()?.paragraph;
        let earlier = || {
            let all = self.earlier(sentence);
            let all = all.take_while(move |m| self.tokens[m.tokens.start].paragraph == paragraph);
            all.filter(|m| !matches!(m.who, Who::Scene(_)))
        };
        let last = self.tokens[earlier().next()?.tokens.start].sentence;
        let own = || earlier().filter(|m| self.tokens[m.tokens.start].sentence == last);
        let told = own().find(|m| !self.is_base(m)).or_else(|| earlier().find(|m| !self.is_base(m)));
        told.or_else(|| own().next()).map(|m| m.who)
    }

    /// Whether a part is named as what another is compared with.
    fn is_base(&self, mention: &Mention) -> bool {
        let at = mention.tokens.start;
        let from = at.saturating_sub(3);
        let sentence = self.tokens[at].sentence;
        let verbs: Vec<[&str; 1]> = self.words.beats.iter().map(|verb| [*verb]).collect();
        (from..at).any(|n| {
            let than = self.words.than.iter().take(self.words.strong).copied();
            let mut all = than.chain(verbs.iter().map(<[&str; 1]>::as_slice));
            all.any(|phrase| {
                starts(self.tokens, n, phrase, sentence)
                    && (n + phrase.len()..at).all(|n| self.tokens[n].is_in(self.words.to))
            })
        })
    }

    /// Whether a number is one of two of two parts: 'from 94 to 150', '432 instead of 353', '2.87 J against 3.75 J'.
    pub fn is_paired(&self, number: &Number) -> bool {
        let sentence = self.sentence(number);
        let at = |n: usize| self.tokens.get(n).filter(|t| t.sentence == sentence);
        let before = |n: usize| number.tokens.start.checked_sub(n).and_then(at);
        let from_to = before(1).is_some_and(|t| t.is(self.words.until))
            && (2..6).filter_map(before).any(|t| t.is(self.words.from));
        let from = before(1).is_some_and(|t| t.is(self.words.from))
            && (0..4).filter_map(|n| at(number.tokens.end + n)).any(|t| t.is(self.words.until));
        let next_is_number = (1..4).filter_map(|n| at(number.tokens.end + n)).any(Token::is_number);
        let last_is_number = (2..5).filter_map(before).any(Token::is_number);
        let instead = |t: Option<&Token>| t.is_some_and(|t| t.is_in(self.words.instead));
        let first = instead(at(number.tokens.end)) && next_is_number;
        let second = (instead(before(1)) || instead(before(2))) && last_is_number;
        from_to || from || first || second
    }

    /// Where a number was measured: the scene named nearest before it, else after it, else the paragraph's or heading's.
    pub fn scene_of(&self, number: &Number) -> Option<usize> {
        let sentence = self.sentence(number);
        let scene = |m: &Mention| if let Who::Scene(n) = m.who { Some(n) } else { None };
        let own = || self.mentions(sentence).filter_map(|m| Some((m.tokens.start, scene(m)?)));
        if let Some(found) = own().find(|(at, _)| self.right_behind(number, *at)).map(|(_, scene)| scene) {
            return Some(found);
        }
        let before = own().rfind(|(at, _)| *at < number.tokens.start);
        if let Some((_, found)) = before.or_else(|| own().next()) {
            return Some(found);
        }
        if self.says(sentence, self.words.overall) {
            return None;
        }
        let paragraph = self.of(sentence).next()?.paragraph;
        let earlier = self.earlier(sentence);
        let mut earlier = earlier.filter_map(|m| Some((&self.tokens[m.tokens.start], scene(m)?)));
        earlier.find(|(t, _)| t.paragraph == paragraph || t.heading).map(|(_, found)| found)
    }

    /// Whether a place begins at `at`, a few words behind a number: '60% faster in Vellum Rally'.
    fn right_behind(&self, number: &Number, at: usize) -> bool {
        let end = number.tokens.end;
        let Some(between) = self.tokens.get(end..at).filter(|between| between.len() <= 5) else {
            return false;
        };
        let placed = between.last().is_some_and(|t| t.is_in(self.words.places));
        placed && !between.iter().any(|t| t.is_number() || matches!(t.what, What::Sign(_)))
    }

    /// Who is compared with whom.
    pub fn sides(&self, number: &Number) -> Sides {
        let sentence = self.sentence(number);
        let (base, base_said) = self.base(number, sentence);
        let others = |bases: bool| {
            let all = self.parts(sentence).filter(move |m| Some(m.who) != base);
            all.filter(move |m| bases || !self.is_base(m))
        };
        let nearest = |bases: bool| {
            let before = others(bases).rfind(|m| m.tokens.end <= number.tokens.start);
            before.or_else(|| others(bases).next())
        };
        let named = self.named_behind(number, sentence).filter(|who| Some(*who) != base);
        let subject = named.or_else(|| nearest(false).or_else(|| nearest(true)).map(|m| m.who));
        let subject = subject.or_else(|| self.part_before(sentence).filter(|who| Some(*who) != base));
        Sides { subject, base, base_said }
    }

    /// The part behind 'than', 'against', 'beats', nearest behind the number or else before it; whether one is said.
    fn base(&self, number: &Number, sentence: usize) -> (Option<Who>, bool) {
        if let Some(who) = self.beaten(number, sentence) {
            return (Some(who), true);
        }
        let verbs: Vec<[&str; 1]> = self.words.beats.iter().map(|verb| [*verb]).collect();
        let strong = self.words.than.iter().take(self.words.strong).copied();
        let weak = self.words.than.iter().skip(self.words.strong).copied();
        let all = strong.chain(verbs.iter().map(<[&str; 1]>::as_slice)).chain(weak);
        for (n, phrase) in all.enumerate() {
            let behind = self.named_after(phrase, sentence, |at| at >= number.tokens.end);
            if let Some(who) = behind {
                return (Some(who), true);
            }
            let before = self.named_after(phrase, sentence, |at| at < number.tokens.start);
            if let Some(who) = before.filter(|_| n < self.words.strong + verbs.len()) {
                return (Some(who), true);
            }
        }
        if let Some(who) = self.moved_from(sentence).or_else(|| self.gained_on(number, sentence)) {
            return (Some(who), true);
        }
        if number.kind == Kind::Times {
            let of = self.named_after(&[], sentence, |at| at == number.tokens.end);
            let of = of.or_else(|| self.named_after(&["of"], sentence, |at| at >= number.tokens.end));
            if of.is_some() {
                return (of, true);
            }
        }
        (None, self.of(sentence).any(|t| t.is("than") || t.is("against") || t.is("versus")))
    }

    /// 'from the Dunlin to the Curlew': the first.
    fn moved_from(&self, sentence: usize) -> Option<Who> {
        let from = self.named_after(&[self.words.from], sentence, |_| true)?;
        let to = self.named_after(&[self.words.until], sentence, |_| true)?;
        (from != to).then_some(from)
    }

    /// 'gains 56 fps on the Dunlin', 'loses 22% to the Curlew'.
    fn gained_on(&self, number: &Number, sentence: usize) -> Option<Who> {
        let before = self.tokens[..number.tokens.start].iter().rev().take_while(|t| t.sentence == sentence);
        let gains = before.take(3).any(|t| t.is_in(self.words.gains));
        let on = self.words.gains_on.iter();
        let mut on = on.filter_map(|on| {
            self.named_after(&[*on], sentence, |at| at >= number.tokens.end && at < number.tokens.end + 3)
        });
        on.next().filter(|_| gains)
    }

    /// '33% more for the Curlew': the part a few words behind a number, after 'for' or 'on'.
    fn named_behind(&self, number: &Number, sentence: usize) -> Option<Who> {
        let end = number.tokens.end;
        let near = |at: usize| (end..end + 4).contains(&at);
        let mut found = ["for", "on"].iter().filter_map(|of| self.named_after(&[*of], sentence, near));
        found.next()
    }

    /// 'beats the Teal by 4.6% and the Dunlin by 38.4%': the part right before 'by'.
    fn beaten(&self, number: &Number, sentence: usize) -> Option<Who> {
        let from = number.tokens.start.saturating_sub(4);
        let by = (from..number.tokens.start).rev().find(|at| self.tokens[*at].is(self.words.by))?;
        let named = self.parts(sentence).find(|m| m.tokens.end == by)?;
        let before = self.tokens[..named.tokens.start].iter().rev().take_while(|t| t.sentence == sentence);
        before.into_iter().any(|t| t.is_in(self.words.beats)).then_some(named.who)
    }

    /// The part right behind a phrase, but for small words.
    fn named_after(&self, phrase: &[&str], sentence: usize, fits: impl Fn(usize) -> bool) -> Option<Who> {
        let places = self.range(sentence).filter(|at| fits(*at));
        for at in places.filter(|at| starts(self.tokens, *at, phrase, sentence)) {
            let mut next = at + phrase.len();
            while next < self.tokens.len() && self.tokens[next].sentence == sentence {
                if let Some(m) = self.parts(sentence).find(|m| m.tokens.start == next) {
                    return Some(m.who);
                }
                let token = &self.tokens[next];
                let unit =
                    token.is_number() || token.is("w") || token.is("gb") || token.is("ms") || token.is("fps");
                if !(token.is_in(self.words.to) || unit) {
                    break;
                }
                next += 1;
            }
        }
        None
    }
}
