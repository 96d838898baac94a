//! Which figure a number quotes: each candidate is scored, and the best above a bar is suggested.
//!
//! The score adds what the number's value says (right, right once, one place off, turned round) to what stands around
//! it: the part, the scene, both sides of a comparison, what is measured. A value that fits needs little else; one that
//! does not must name part and scene, so that a wrong number is told with the right one beside it.

use std::fmt;

use super::judge::Match;
use super::names::Ids;
use super::score::tells;
use super::sides::Context;
use super::{Kind, Known, Number};

/// Most figures suggested for a number.
const MOST: usize = 6;
/// Least score where the value fits, and where it does not.
const FITS: f64 = 3.0;
const FITS_NOT: f64 = 5.5;

/// What a number quotes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Link {
    /// A figure, by its place among the known ones.
    Figure(usize),
    /// One over another.
    Ratio(usize, usize),
    /// One less another.
    Difference(usize, usize),
}

impl Link {
    /// The two figures of one that is derived.
    pub fn pair(self) -> Option<(usize, usize)> {
        match self {
            Link::Figure(_) => None,
            Link::Ratio(a, b) | Link::Difference(a, b) => Some((a, b)),
        }
    }

    /// The figures that it rests on.
    pub fn figures(self) -> Vec<usize> {
        match self {
            Link::Figure(a) => vec![a],
            Link::Ratio(a, b) | Link::Difference(a, b) => vec![a, b],
        }
    }

    /// With the figures' keys: `k3`, `k3/k4`, `k3-k4`.
    pub fn text(self, known: &[Known]) -> String {
        let key = |at: usize| known.get(at).map_or("", |k| k.key.as_str());
        match self {
            Link::Figure(a) => key(a).to_owned(),
            Link::Ratio(a, b) => format!("{}/{}", key(a), key(b)),
            Link::Difference(a, b) => format!("{}-{}", key(a), key(b)),
        }
    }

    /// Reads what [`Link::text`] wrote; `None` where a figure is not known any more.
    pub fn parse(text: &str, known: &[Known]) -> Option<Link> {
        let at = |key: &str| known.iter().position(|k| k.key == key);
        if let Some(a) = at(text) {
            return Some(Link::Figure(a));
        }
        let pair = |sign: char| text.split_once(sign).and_then(|(a, b)| Some((at(a)?, at(b)?)));
        pair('/').map(|(a, b)| Link::Ratio(a, b)).or_else(|| pair('-').map(|(a, b)| Link::Difference(a, b)))
    }
}

impl fmt::Display for Link {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Link::Figure(a) => write!(f, "{a}"),
            Link::Ratio(a, b) => write!(f, "{a}/{b}"),
            Link::Difference(a, b) => write!(f, "{a}-{b}"),
        }
    }
}

/// Figures for each number, most likely first: amounts before comparisons, which lean on what their sentence quotes.
pub fn suggest(context: &Context<'_>, numbers: &[Number]) -> Vec<Vec<Link>> {
    let mut found: Vec<Vec<Link>> = vec![Vec::new(); numbers.len()];
    let order = |number: &Number| match number.kind {
        // Last: a count of scenes is told of the overall figure that its sentence quotes.
        Kind::Scenes => 4,
        kind => u8::from(kind.compares()) * 2 + u8::from(number.difference),
    };
    for round in 0..=4 {
        for (at, number) in numbers.iter().enumerate().filter(|(_, n)| order(n) == round) {
            let sentence = context.sentence(number);
            let same = |n: &Number| context.sentence(n) == sentence;
            let beside =
                found.iter().zip(numbers).enumerate().filter(|(n, (_, number))| *n != at && same(number));
            let quoted = beside.filter_map(|(_, (links, _))| links.first()).filter_map(|link| match link {
                Link::Figure(a) => Some(*a),
                _ => None,
            });
            let quoted: Vec<usize> = quoted.collect();
            found[at] = of(context, number, &quoted);
        }
    }
    found
}

fn of(context: &Context<'_>, number: &Number, quoted: &[usize]) -> Vec<Link> {
    if number.kind == Kind::Scenes {
        return counts(context, number, quoted);
    }
    let mut all: Vec<(f64, Link)> = Vec::new();
    let mut keep = |link: Link, scored: Option<(f64, Match)>| {
        if let Some((score, found)) = scored
            && score >= if tells(found) { FITS } else { FITS_NOT }
        {
            all.push((score, link));
        }
    };
    for at in 0..context.known.len() {
        keep(Link::Figure(at), context.figure(number, at));
    }
    for link in pairs(context, number) {
        let scored = context.derived(number, link, quoted);
        // A difference that does not come out says nothing of the two.
        keep(link, scored.filter(|(_, found)| tells(*found) || number.kind.compares()));
    }
    // The sort is stable: of equals the one that was made first.
    all.sort_by(|(a, _), (b, _)| b.total_cmp(a));
    all.into_iter().map(|(_, link)| link).take(MOST).collect()
}

/// Counts of scenes: the one that an overall figure of the sentence rests on; where it quotes none, the one that the
/// number says; else that of all scenes.
fn counts(context: &Context<'_>, number: &Number, quoted: &[usize]) -> Vec<Link> {
    let of = |at: usize| &context.names.of[at];
    let told_of = |count: usize, figure: usize| {
        let (count, figure) = (of(count), of(figure));
        let sides = |ids: &Ids| (ids.part, ids.baseline);
        sides(count) == sides(figure) && count.setting == figure.setting
    };
    let overall: Vec<usize> =
        quoted.iter().copied().filter(|figure| context.known[*figure].overall).collect();
    let rank = |count: usize| {
        let tied = overall.iter().any(|figure| told_of(count, *figure));
        let said = overall.is_empty() && (context.known[count].value - number.low).abs() < 0.5;
        (u8::from(!tied), u8::from(!said), u8::from(of(count).part.is_some()))
    };
    let mut all: Vec<usize> =
        (0..context.known.len()).filter(|at| context.known[*at].kind == Kind::Scenes).collect();
    all.sort_by_key(|count| rank(*count));
    all.into_iter().map(Link::Figure).take(MOST).collect()
}

/// Pairs of figures that a comparison or difference may be of, unless a ratio of the two is a figure itself.
fn pairs(context: &Context<'_>, number: &Number) -> Vec<Link> {
    let known = context.known;
    let mut found = Vec::new();
    for a in 0..known.len() {
        for b in (0..known.len()).filter(|b| *b != a) {
            let (first, second) = (&known[a], &known[b]);
            let alike = first.kind == second.kind && !first.kind.compares() && first.kind != Kind::Scenes;
            if !alike || !comparable(context, a, b) {
                continue;
            }
            if number.kind.compares() {
                if !ratio_known(context, a, b) {
                    found.push(Link::Ratio(a, b));
                }
            } else if first.kind.fits(number.kind) && first.value > second.value {
                found.push(Link::Difference(a, b));
            }
        }
    }
    found
}

/// The same measure of two parts in one place, or two measures of one part's delay in one place.
fn comparable(context: &Context<'_>, a: usize, b: usize) -> bool {
    let (first, second) = (&context.known[a], &context.known[b]);
    let (own, other) = (&context.names.of[a], &context.names.of[b]);
    let place = own.scene == other.scene;
    let two_parts = own.part != other.part && first.measure == second.measure && own.setting == other.setting;
    let one_part = own.part == other.part && first.kind == Kind::Ms && a != b;
    place && (two_parts || one_part)
}

fn ratio_known(context: &Context<'_>, a: usize, b: usize) -> bool {
    let (own, other) = (&context.names.of[a], &context.names.of[b]);
    let sides = |ids: &super::names::Ids| (ids.part, ids.baseline);
    context.known.iter().zip(&context.names.of).any(|(known, ids)| {
        let same = sides(ids) == (own.part, other.part) || sides(ids) == (other.part, own.part);
        known.kind.compares() && same && ids.scene == own.scene && known.measure == context.known[a].measure
    })
}
