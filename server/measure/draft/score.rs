//! How well a figure fits a number: what stands around the number, and how much each agreement counts.

use super::judge::{Match, expected};
use super::link::Link;
use super::names::{Who, mention_at};
use super::sides::Context;
use super::tokens::{Token, What};
use super::{Kind, Known, Number, Sense};

/// What a number is about.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Topic {
    /// Frame rate.
    Rate,
    /// Power.
    Power,
    /// A power limit.
    Limit,
    /// Idle power.
    Idle,
    /// Latency.
    Latency,
    /// Memory.
    Memory,
    /// Price.
    Price,
    /// Energy.
    Energy,
    /// Temperature.
    Temperature,
    /// Clock.
    Clock,
    /// Noise.
    Noise,
    /// Generated frames.
    Generated,
    /// A frame.
    PerFrame,
}

impl Context<'_> {
    /// What a comparison is about: the nearest word behind it in its clause, else before it.
    pub fn topic(&self, number: &Number) -> Option<Topic> {
        let sentence = self.sentence(number);
        let of = |t: &Token| self.words.topics.iter().find(|(_, all)| t.is_in(all)).map(|(topic, _)| *topic);
        let plain =
            |topic: &Topic| !matches!(topic, Topic::Generated | Topic::PerFrame | Topic::Limit | Topic::Idle);
        let named = |at: usize| mention_at(self.seen, at).is_some();
        let clause = |t: &Token| !matches!(t.what, What::Sign(',' | ';' | ':' | '.' | '('));
        let behind = self.tokens.iter().enumerate().skip(number.tokens.end).take(6);
        let behind = behind.take_while(|(_, t)| t.sentence == sentence && clause(t));
        let found = behind.filter(|(at, _)| !named(*at)).filter_map(|(_, t)| of(t)).find(plain);
        found.or_else(|| {
            let before = self.tokens[..number.tokens.start].iter().enumerate().rev();
            let before = before.take_while(|(_, t)| t.sentence == sentence);
            let mut before = before.filter(|(at, _)| !named(*at)).filter_map(|(_, t)| of(t));
            before.find(plain)
        })
    }

    /// Whether a number is told as a low: the word stands before it, with no 'average' nearer, or right behind it.
    pub fn is_low(&self, number: &Number) -> bool {
        let sentence = self.sentence(number);
        let mut before =
            self.tokens[..number.tokens.start].iter().rev().take_while(|t| t.sentence == sentence);
        let nearest = before.find(|t| t.is_in(self.words.low) || t.is_in(self.words.average));
        if let Some(word) = nearest {
            return word.is_in(self.words.low);
        }
        let behind = self.tokens.iter().skip(number.tokens.end).take(4);
        let behind = behind.take_while(|t| t.sentence == sentence && !t.is_number() && !t.is(self.words.and));
        behind.take_while(|t| !matches!(t.what, What::Sign(_))).any(|t| t.is_in(self.words.low))
    }

    /// How well a figure fits an amount or a change; `None` where it cannot be.
    pub fn figure(&self, number: &Number, at: usize) -> Option<(f64, Match)> {
        let known = self.known.get(at)?;
        if !known.kind.fits(number.kind) {
            return None;
        }
        let expected = expected(self, Link::Figure(at), number)?;
        let found = expected.compare(number);
        let mut score = worth(found) + self.place(number, at);
        if known.kind.compares() {
            score += self.pair_of(number, self.names.of[at].part, self.names.of[at].baseline);
            score += match (self.topic(number), topic_of(known)) {
                (Some(said), own) if said == own => 0.5,
                (Some(_), _) => -5.0,
                (None, _) => 0.0,
            };
        } else {
            score += self.owner(number, self.names.of[at].part) + self.subject_words(number, known);
        }
        if known.low.is_some() != self.is_low(number) {
            score -= if known.low.is_some() { 2.0 } else { 3.0 };
        } else if known.low.is_some() {
            score += 3.0;
        }
        Some((score, found))
    }

    /// Whose it is.
    fn owner(&self, number: &Number, part: Option<usize>) -> f64 {
        let Some(part) = part else { return 0.0 };
        let sentence = self.sentence(number);
        let named = self.parts(sentence).any(|m| m.who == Who::Part(part));
        if self.is_paired(number) {
            return if named { 1.0 } else { 0.0 };
        }
        match self.part_of(number) {
            Some(Who::Part(said)) if said == part => 3.0,
            Some(_) if named => -1.5,
            Some(_) => -6.0,
            None => 0.0,
        }
    }

    /// Scene, setting and tuning.
    pub fn place(&self, number: &Number, at: usize) -> f64 {
        let (known, ids) = (&self.known[at], &self.names.of[at]);
        let sentence = self.sentence(number);
        let own_words = |words: &[String]| self.of(sentence).any(|t| words.contains(&t.lower));
        let mut score = match (self.scene_of(number), ids.scene) {
            (Some(said), Some(own)) if said == own => 3.0,
            (Some(_), Some(_)) => -6.0,
            (Some(_), None) if known.overall => -6.0,
            (None, _) if known.overall => {
                if self.says(sentence, self.words.overall) || self.says(sentence, self.words.scenes) {
                    3.0
                } else {
                    0.0
                }
            }
            (None, Some(_)) if known.kind.compares() && self.says(sentence, self.words.overall) => -3.0,
            (_, None) => 1.5,
            (None, Some(_)) => 0.0,
        };
        if !ids.extra.is_empty() {
            score += if own_words(&ids.extra) { 1.5 } else { -1.0 };
        }
        let others = self.names.of.iter().filter(|o| o.setting != ids.setting).flat_map(|o| &o.setting);
        let others: Vec<String> = others.filter(|word| !ids.setting.contains(word)).cloned().collect();
        let mine: Vec<String> = ids
            .setting
            .iter()
            .filter(|w| !self.names.of.iter().all(|o| o.setting.contains(w)))
            .cloned()
            .collect();
        score += f64::from(u8::from(own_words(&mine))) - f64::from(u8::from(own_words(&others)));
        score
    }

    /// Words of the sentence that go with what is measured.
    fn subject_words(&self, number: &Number, known: &Known) -> f64 {
        let sentence = self.sentence(number);
        let says =
            |topic: Topic| self.words.topics.iter().any(|(t, all)| *t == topic && self.says(sentence, all));
        let special = [(Topic::Limit, "limit"), (Topic::Idle, "idle"), (Topic::PerFrame, "per frame")];
        let mut score = if says(topic_of(known)) { 1.0 } else { 0.0 };
        for (topic, word) in special {
            let own = known.measure.contains(word);
            let wanted = topic != Topic::PerFrame || matches!(known.kind, Kind::Money(_));
            if wanted {
                score += match (own, says(topic)) {
                    (true, true) => 2.0,
                    (true, false) => -1.5,
                    (false, true) if topic != Topic::PerFrame && known.kind == Kind::W => -1.5,
                    _ => 0.0,
                };
            }
        }
        let own = known.measure.split_whitespace().filter(|w| w.len() > 5);
        let shared = own.filter(|w| self.of(sentence).any(|t| t.is(w))).count();
        score + if shared > 0 { 0.5 } else { 0.0 }
    }

    /// How well two parts are those that a comparison names.
    pub fn pair_of(&self, number: &Number, part: Option<usize>, baseline: Option<usize>) -> f64 {
        let sides = self.sides(number);
        let own = |who: Option<Who>| match who {
            None => None,
            Some(Who::Part(n)) => Some(Some(n) == part || Some(n) == baseline),
            Some(_) => Some(false),
        };
        match (own(sides.subject), own(sides.base)) {
            (Some(true), Some(true)) if sides.subject != sides.base => 5.0,
            (Some(false), _) | (_, Some(false)) => -6.0,
            (Some(true), _) | (_, Some(true)) => 2.0,
            (None, None) => 0.0,
        }
    }

    /// How well a pair of figures fits a comparison or a difference.
    pub fn derived(&self, number: &Number, link: Link, quoted: &[usize]) -> Option<(f64, Match)> {
        let (a, b) = link.pair()?;
        let (first, second) = (&self.known[a], &self.known[b]);
        let (own, other) = (&self.names.of[a], &self.names.of[b]);
        let found = expected(self, link, number)?.compare(number);
        let mut score = worth(found) + self.place(number, a).min(self.place(number, b)) - 1.5;
        let sides = self.sides(number);
        if own.part == other.part {
            score += self.owner(number, own.part).min(1.0);
            let grows = first.value > second.value;
            score += if grows == (number.sense != Sense::Less) { 0.5 } else { -3.0 };
        } else {
            let named = self.pair_of(number, own.part, other.part);
            score += if named == 0.0 && quoted.is_empty() { -4.0 } else { named };
            let turned = sides.base.is_some() && sides.base == own.part.map(Who::Part);
            let unsaid = sides.base.is_none() && sides.subject == other.part.map(Who::Part);
            score -= if turned || unsaid { 3.0 } else { 0.0 };
        }
        score += match quoted.iter().filter(|n| **n == a || **n == b).count() {
            2.. => 4.0,
            1 => 1.0,
            _ => 0.0,
        };
        if number.kind.compares() {
            score += match self.topic(number) {
                Some(said) if said == topic_of(first) => 1.5,
                Some(_) => -6.0,
                None => -1.0,
            };
        } else {
            score += if number.difference { 2.0 } else { -2.0 };
        }
        if first.low.is_some() != self.is_low(number) {
            score -= 3.0;
        }
        Some((score, found))
    }
}

/// What a match of values counts.
fn worth(found: Match) -> f64 {
    match found {
        Match::Right => 4.0,
        Match::Was | Match::Once => 3.5,
        Match::Cents | Match::Turned => 3.0,
        Match::Rounded => 2.5,
        Match::Wrong => 0.0,
    }
}

/// What a figure is about.
pub fn topic_of(known: &Known) -> Topic {
    match known.kind {
        Kind::W => Topic::Power,
        Kind::Ms => Topic::Latency,
        Kind::C => Topic::Temperature,
        Kind::MHz => Topic::Clock,
        Kind::GB => Topic::Memory,
        Kind::J => Topic::Energy,
        Kind::Db => Topic::Noise,
        Kind::Money(_) => Topic::Price,
        _ => {
            let all = [
                ("energy", Topic::Energy),
                ("power", Topic::Power),
                ("latency", Topic::Latency),
                ("price", Topic::Price),
                ("temperature", Topic::Temperature),
                ("clock", Topic::Clock),
                ("memory", Topic::Memory),
            ];
            let found = all.into_iter().find(|(word, _)| known.measure.contains(word));
            found.map_or(Topic::Rate, |(_, topic)| topic)
        }
    }
}

/// Whether what was found would be right, or wrong in a known way.
pub fn tells(found: Match) -> bool {
    found != Match::Wrong
}
