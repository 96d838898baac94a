//! What people decided on the numbers of a text, kept when the text is edited.
//!
//! A decision knows the number as it was written and some words on both sides. It goes to the number of a later text
//! that is most like it: the words around it count more than the number itself, so that a corrected number keeps its
//! figure; below `LEAST` of what could agree it goes nowhere, and the number is suggested a figure anew.

use super::Number;

/// Words kept on either side.
const AROUND: usize = 6;
/// Least likeness, of 1.
const LEAST: f64 = 0.6;
/// Share of the likeness that the number itself makes up.
const SELF: f64 = 0.3;

/// What was decided on a number.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Decision {
    /// The number as written.
    pub number: String,
    /// Words before it.
    pub before: String,
    /// Words behind it.
    pub behind: String,
    /// The figure it quotes, as [`super::Link::text`] writes it; empty where it is left alone.
    pub link: String,
    /// Whether it is left alone.
    pub leave: bool,
}

/// What a decision keeps of a number in a text: itself, the words before and behind.
pub fn around(text: &str, span: &std::ops::Range<usize>) -> (String, String, String) {
    let (before, rest) = text.split_at_checked(span.start).unwrap_or((text, ""));
    let (own, behind) = rest.split_at_checked(span.len()).unwrap_or((rest, ""));
    let last: Vec<&str> = before.split_whitespace().rev().take(AROUND).collect();
    let before: Vec<&str> = last.into_iter().rev().collect();
    let behind: Vec<&str> = behind.split_whitespace().take(AROUND).collect();
    (own.to_owned(), before.join(" "), behind.join(" "))
}

/// Gives each number the decision that is most like it; each decision goes to one number, but 'leave alone' to all.
pub fn apply<'a>(
    text: &str,
    numbers: Vec<Number>,
    decisions: &'a [Decision],
) -> Vec<(Number, Option<&'a Decision>)> {
    let places: Vec<_> = numbers.iter().map(|n| around(text, &n.span)).collect();
    let mut pairs = Vec::new();
    for (at, place) in places.iter().enumerate() {
        for (which, decision) in decisions.iter().enumerate() {
            let like = likeness(place, decision);
            if like >= LEAST && (!decision.leave || place.0 == decision.number) {
                pairs.push((like, at, which));
            }
        }
    }
    pairs.sort_by(|a, b| b.0.total_cmp(&a.0));
    let mut given = vec![None; numbers.len()];
    let mut used = vec![false; decisions.len()];
    for (_, at, which) in pairs {
        if given[at].is_none() && (!used[which] || decisions[which].leave) {
            given[at] = Some(which);
            used[which] = true;
        }
    }
    numbers.into_iter().zip(given).map(|(number, which)| (number, which.map(|w| &decisions[w]))).collect()
}

fn likeness((number, before, behind): &(String, String, String), decision: &Decision) -> f64 {
    let own = if *number == decision.number { SELF } else { 0.0 };
    let side = |a: &str, b: &str, reverse: bool| {
        let words = |text: &str| -> Vec<String> {
            let all = text.split_whitespace().map(str::to_owned);
            if reverse { all.rev().collect() } else { all.collect() }
        };
        let (a, b) = (words(a), words(b));
        if a.is_empty() && b.is_empty() {
            return 1.0;
        }
        // Nearer words count more.
        let weight = |n: usize| (0..n).fold(1.0, |w, _| w * 0.8);
        let all: f64 = (0..a.len().max(b.len())).map(weight).sum();
        let same: f64 =
            (0..a.len()).filter(|n| b.get(*n) == a.get(*n) || b.contains(&a[*n])).map(weight).sum();
        (same / all).min(1.0)
    };
    own + (1.0 - SELF) * (side(before, &decision.before, true) + side(behind, &decision.behind, false)) / 2.0
}

#[cfg(test)]
mod tests {
    use super::super::{Form, check};
    use super::*;

    fn decided(text: &str, number: &str, leave: bool) -> Decision {
        let at = text.find(number).unwrap();
        let (number, before, behind) = around(text, &(at..at + number.len()));
        Decision { number, before, behind, link: String::new(), leave }
    }

    #[test]
    fn what_is_left_alone_stays_so_when_the_text_is_edited() {
        let first = "The chair by the bench costs 450 euros and is blue.";
        let left = [decided(first, "450 euros", true)];
        let later = "New first line. The old chair by the bench costs 450 euros and is blue. A lamp costs 450 euros in all shops.";
        let report = check(later, Form::Plain, &[], &left);
        assert_eq!((report.left.len(), report.numbers.len()), (1, 1));
        assert!(report.left[0].start < report.numbers[0].number.span.start);
    }

    #[test]
    fn a_corrected_number_keeps_its_decision() {
        let first = "Under load the Curlew draws 418 W in Vellum Rally.";
        let decisions = [decided(first, "418 W", false)];
        let later = "Under load the Curlew draws 432 W in Vellum Rally.";
        let numbers = check(later, Form::Plain, &[], &[]).numbers;
        let given = apply(later, numbers.into_iter().map(|c| c.number).collect(), &decisions);
        assert!(given[0].1.is_some());
    }
}
