//! In which words a difference may be said.
//!
//! Two questions (Schuirmann 1987, J. Pharmacokinet. Biopharm. 15:657-680, for the second): does the 95% interval of
//! the ratio exclude 1, and does the 90% interval lie within the margin, 1/(1+m) to 1+m?
//!
//! | | not within the margin | within the margin |
//! |---|---|---|
//! | excludes 1 | faster / slower | level (1.2% faster) |
//! | includes 1 | not settled (n more passes) | level within 2% |
//!
//! Amounts (joules, milliseconds) are higher or lower. 'No difference' is never said: it cannot be shown.

use super::passes::{MOST, smallest};
use super::ratio::{Crossing, Ratio};
use crate::stats::distributions::t_two_sided;
use serde::Serialize;

/// How a measure's size is spoken of.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub enum Sense {
    /// Frame rates: faster, slower.
    Rate,
    /// Joules, milliseconds, watts: higher, lower.
    Amount,
}

/// Which way a ratio points.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[expect(missing_docs, reason = "each is its own word")]
pub enum Way {
    Faster,
    Slower,
    Higher,
    Lower,
}

impl Way {
    fn of(ratio: f64, sense: Sense) -> Way {
        match (sense, ratio < 1.0) {
            (Sense::Rate, false) => Way::Faster,
            (Sense::Rate, true) => Way::Slower,
            (Sense::Amount, false) => Way::Higher,
            (Sense::Amount, true) => Way::Lower,
        }
    }

    /// The word.
    pub fn as_str(self) -> &'static str {
        match self {
            Way::Faster => "faster",
            Way::Slower => "slower",
            Way::Higher => "higher",
            Way::Lower => "lower",
        }
    }
}

/// Passes that should settle it, if the difference and the spreads stay as they are.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub struct More {
    /// Passes still to run, over all cells in the comparison.
    pub passes: u32,
    /// Passes that each of these cells then has at least.
    pub each: u32,
}

/// What may be said of a ratio.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub enum Verdict {
    /// A difference, and not one within the margin.
    Differs(Way),
    /// A difference too small to matter.
    Level {
        /// Its direction.
        way: Way,
        /// Its size as a share of 1 of the baseline, not negative.
        by: f64,
    },
    /// No difference shown, and any there is lies within the margin.
    LevelWithin {
        /// The margin, a share of 1.
        margin: f64,
    },
    /// Neither question is answered yet.
    NotSettled {
        /// `None` where more passes would not tell: over [`MOST`] a cell, or all passes equal to the last digit.
        more: Option<More>,
    },
    /// Not like with like.
    None {
        /// What it crosses.
        marks: Vec<Crossing>,
    },
}

/// Verdict on a ratio with a margin (a share of 1, above 0).
pub fn verdict(ratio: &Ratio, margin: f64, sense: Sense) -> Verdict {
    if !ratio.like_with_like() {
        return Verdict::None { marks: ratio.marks.clone() };
    }
    let Some(bounds) = ratio.bounds else {
        return Verdict::NotSettled { more: passes_to_a_spread(ratio) };
    };
    let excludes_one = !bounds.interval.holds(1.0);
    let within = 1.0 / (1.0 + margin) <= bounds.interval90.low && bounds.interval90.high <= 1.0 + margin;
    let way = Way::of(ratio.ratio, sense);
    match (excludes_one, within) {
        (true, false) => Verdict::Differs(way),
        (true, true) => Verdict::Level { way, by: (ratio.ratio - 1.0).abs() },
        (false, true) => Verdict::LevelWithin { margin },
        (false, false) => Verdict::NotSettled { more: passes_to_settle(ratio, margin) },
    }
}

/// Passes until every cell has the two that show a spread; `None` where all have them.
fn passes_to_a_spread(ratio: &Ratio) -> Option<More> {
    let passes = missing(ratio, 2);
    (passes > 0).then_some(More { passes, each: 2 })
}

/// Smallest number of passes a cell with which either question has an answer: the half-width of the 95% interval falls
/// below |d|, or |d| plus that of the 90% interval below ln(1 + margin). With two cells of equal n the error is
/// sqrt(s_A^2 + s_B^2) / sqrt(n).
fn passes_to_settle(ratio: &Ratio, margin: f64) -> Option<More> {
    let (distance, limit) = (ratio.ln.abs(), libm::log1p(margin));
    let each = smallest(MOST, |n| {
        ratio.error_at(n).is_some_and(|e| {
            let half = |level| t_two_sided(level, e.df) * e.s2.sqrt();
            half(0.95) < distance || distance + half(0.9) <= limit
        })
    })?;
    Some(More { passes: missing(ratio, each), each })
}

fn missing(ratio: &Ratio, each: u32) -> u32 {
    ratio.terms.iter().map(|term| each.saturating_sub(term.passes)).sum()
}

impl Verdict {
    /// In words, for pages.
    pub fn words(&self) -> String {
        match self {
            Verdict::Differs(way) => way.as_str().to_owned(),
            Verdict::Level { way, by } if *by < 0.0005 => format!("level (under 0.1% {})", way.as_str()),
            Verdict::Level { way, by } => format!("level ({:.1}% {})", by * 100.0, way.as_str()),
            Verdict::LevelWithin { margin } => format!("level within {}%", tenths(*margin)),
            Verdict::NotSettled { more: None } => "not settled".to_owned(),
            Verdict::NotSettled { more: Some(More { passes: 1, .. }) } => {
                "not settled (1 more pass)".to_owned()
            }
            Verdict::NotSettled { more: Some(more) } => format!("not settled ({} more passes)", more.passes),
            Verdict::None { marks } => {
                let said: Vec<&str> = marks.iter().map(|mark| mark.words()).collect();
                format!("no verdict: {}", said.join(", "))
            }
        }
    }

    /// In words, for print: what is level is said without a number that readers would take for a result.
    pub fn words_for_print(&self) -> String {
        match self {
            Verdict::Level { .. } | Verdict::LevelWithin { .. } => {
                "level within our run-to-run spread".to_owned()
            }
            other => other.words(),
        }
    }
}

/// A share of 1 as per cent, with a tenth where there is one.
pub(super) fn tenths(share: f64) -> String {
    let text = format!("{:.1}", share * 100.0);
    text.strip_suffix(".0").map_or_else(|| text.clone(), str::to_owned)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::compare::PassLog;
    use crate::compare::noise::Local;
    use crate::compare::ratio::in_scene;

    fn ratio(baseline: &[f64], contender: &[f64]) -> Ratio {
        let passes =
            |v: &[f64]| -> Vec<PassLog> { v.iter().map(|&v| PassLog::new(v, 1, 1, true).unwrap()).collect() };
        in_scene(&passes(baseline), &passes(contender), &Local::default(), None).unwrap()
    }

    fn said(baseline: &[f64], contender: &[f64], sense: Sense) -> String {
        verdict(&ratio(baseline, contender), 0.02, sense).words()
    }

    #[test]
    fn each_answer_to_the_two_questions_has_its_words() {
        let base = [100.0, 100.1, 99.9, 100.0];
        assert_eq!(said(&base, &[124.0, 124.2, 123.9], Sense::Rate), "faster");
        assert_eq!(said(&base, &[84.0, 84.2, 83.9], Sense::Rate), "slower");
        assert_eq!(said(&base, &[124.0, 124.2, 123.9], Sense::Amount), "higher");
        assert_eq!(said(&base, &[84.0, 84.2, 83.9], Sense::Amount), "lower");
        assert_eq!(said(&base, &[101.2, 101.3, 101.1, 101.2], Sense::Rate), "level (1.2% faster)");
        assert_eq!(said(&base, &[98.8, 98.9, 98.7, 98.8], Sense::Amount), "level (1.2% lower)");
        assert_eq!(said(&base, &[100.05, 100.15, 99.9, 99.95], Sense::Rate), "level within 2%");
    }

    #[test]
    fn not_settled_says_how_many_more_and_they_do_settle_it() {
        let r = ratio(&[100.0, 103.0, 98.0], &[101.0, 105.0, 100.5]);
        let Verdict::NotSettled { more: Some(more) } = verdict(&r, 0.02, Sense::Rate) else {
            panic!("{:?}", verdict(&r, 0.02, Sense::Rate));
        };
        assert_eq!(more.passes, 2 * (more.each - 3));
        let half = |n| {
            let e = r.error_at(n).unwrap();
            t_two_sided(0.95, e.df) * e.s2.sqrt()
        };
        assert!(half(more.each) < r.ln.abs() && half(more.each - 1) >= r.ln.abs());
    }

    #[test]
    fn a_single_pass_each_asks_for_a_second_of_each() {
        let v = verdict(&ratio(&[100.0], &[110.0]), 0.02, Sense::Rate);
        assert_eq!(v.words(), "not settled (2 more passes)");
        assert_eq!(said(&[100.0, 100.0], &[110.0], Sense::Rate), "not settled (1 more pass)");
        assert_eq!(said(&[100.0, 100.0], &[110.0, 110.0], Sense::Rate), "not settled");
    }

    #[test]
    fn what_crosses_gets_no_verdict() {
        let pass = |v, rig| PassLog::new(v, rig, 1, true).unwrap();
        let (a, b) = ([pass(100.0, 1), pass(101.0, 1)], [pass(150.0, 2), pass(151.0, 2)]);
        let r = in_scene(&a, &b, &Local::default(), None).unwrap();
        assert_eq!(verdict(&r, 0.02, Sense::Rate).words(), "no verdict: crosses rigs");
    }

    #[test]
    fn print_says_level_without_a_number() {
        let level = Verdict::LevelWithin { margin: 0.025 };
        assert_eq!(level.words(), "level within 2.5%");
        assert_eq!(level.words_for_print(), "level within our run-to-run spread");
        assert_eq!(Verdict::Differs(Way::Faster).words_for_print(), "faster");
        let tiny = Verdict::Level { way: Way::Slower, by: 0.0002 };
        assert_eq!(tiny.words(), "level (under 0.1% slower)");
    }
}
