//! A kind of reader: the lead of one thing over another in what they play, weighted as they play it.
//!
//! lead = exp(sum w_i ln r_i / sum w_i) over the scenes and settings that they play and that both ran, with variance
//! sum w_i^2 v_i / (sum w_i)^2 and Satterthwaite's degrees of freedom: the weighted geometric mean of ratios, of which
//! the overall ratio is the case of equal weights. Weights are taken as exact: they say for whom, not how sure.

use super::ratio::Ratio;
use crate::stats::sum::sum;
use serde::Serialize;

/// A reader of whose play less than this share was measured gets no answer (our choice).
pub const LEAST_COVERED: f64 = 0.5;

/// The lead for a reader.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Lead {
    /// Over what was measured of their play; `None` where nothing was.
    pub ratio: Option<Ratio>,
    /// Share of their weights that was measured, 0 to 1.
    pub covered: f64,
}

/// The answer for a reader.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub enum Answer {
    /// The whole 95% interval of the lead is above what they ask for.
    Yes,
    /// The whole 95% interval of the lead is below it.
    No,
    /// The interval holds what they ask for, or is not known.
    NotSettled,
    /// Too little of what they play was measured.
    NotMeasured,
    /// What was measured is not like with like.
    NoVerdict,
}

impl Answer {
    /// In words.
    pub fn words(self) -> &'static str {
        match self {
            Answer::Yes => "yes",
            Answer::No => "no",
            Answer::NotSettled => "not settled",
            Answer::NotMeasured => "not measured",
            Answer::NoVerdict => "no verdict",
        }
    }
}

/// How long one refresh of a screen lasts, ms.
pub fn refresh_ms(hz: f64) -> f64 {
    1000.0 / hz
}

/// The lead over what a reader plays: weights (not negative) each with its ratio, `None` where it was not measured.
pub fn lead(plays: &[(f64, Option<Ratio>)]) -> Lead {
    let total = sum(plays.iter().map(|(weight, _)| *weight));
    let measured: Vec<(f64, Ratio)> = plays
        .iter()
        .filter(|(weight, _)| *weight > 0.0)
        .filter_map(|(weight, ratio)| Some((*weight, ratio.clone()?)))
        .collect();
    let there = sum(measured.iter().map(|(weight, _)| *weight));
    Lead { ratio: Ratio::weighted(&measured), covered: if total > 0.0 { there / total } else { 0.0 } }
}

impl Lead {
    /// Whether the lead is what a reader asks for (`asks`: a share of 1, 0.25 for a quarter more).
    pub fn answer(&self, asks: f64) -> Answer {
        let Some(ratio) = self.ratio.as_ref().filter(|_| self.covered >= LEAST_COVERED) else {
            return Answer::NotMeasured;
        };
        if !ratio.like_with_like() {
            return Answer::NoVerdict;
        }
        match ratio.bounds {
            Some(bounds) if bounds.interval.low > 1.0 + asks => Answer::Yes,
            Some(bounds) if bounds.interval.high < 1.0 + asks => Answer::No,
            _ => Answer::NotSettled,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::compare::PassLog;
    use crate::compare::noise::Local;
    use crate::compare::overall::overall;
    use crate::compare::ratio::in_scene;

    fn ratio(baseline: &[f64], contender: &[f64]) -> Ratio {
        let logs =
            |v: &[f64]| -> Vec<PassLog> { v.iter().map(|&v| PassLog::new(v, 1, 1, true).unwrap()).collect() };
        in_scene(&logs(baseline), &logs(contender), &Local::default(), None).unwrap()
    }

    fn three() -> [Ratio; 3] {
        [
            ratio(&[100.0, 101.0, 99.5], &[120.0, 121.0, 119.0]),
            ratio(&[60.0, 60.4, 59.9], &[90.0, 90.5, 89.6]),
            ratio(&[80.0, 80.1, 80.3], &[84.0, 84.4, 83.9]),
        ]
    }

    /// Common practice, no source: 60, 120, 144, 165 and 240 Hz are 16.67, 8.33, 6.94, 6.06 and 4.17 ms a refresh.
    #[test]
    fn refresh_rates_are_times() {
        for (hz, ms) in [(60.0, 16.67), (120.0, 8.33), (144.0, 6.94), (165.0, 6.06), (240.0, 4.17)] {
            assert!((refresh_ms(hz) - ms).abs() < 0.005, "{hz}");
        }
    }

    #[test]
    fn equal_weights_give_the_overall_ratio_and_its_interval() {
        let plays = three().map(|r| (2.0, Some(r)));
        let (found, all) = (lead(&plays).ratio.unwrap(), overall(&three()).unwrap().these);
        assert!((found.ln - all.ln).abs() < 1e-14);
        let (a, b) = (found.bounds.unwrap(), all.bounds.unwrap());
        assert!((a.se_ln - b.se_ln).abs() < 1e-15 && (a.df - b.df).abs() < 1e-9);
    }

    #[test]
    fn one_scene_is_that_scene_and_what_was_not_measured_is_told() {
        let [a, b, _] = three();
        let found = lead(&[(3.0, Some(a.clone())), (0.0, Some(b)), (1.0, None)]);
        assert!((found.covered - 0.75).abs() < 1e-15);
        let ratio = found.ratio.clone().unwrap();
        assert!((ratio.ln - a.ln).abs() < 1e-15);
        assert_eq!(
            (found.answer(0.1), found.answer(0.4), found.answer(0.2)),
            (Answer::Yes, Answer::No, Answer::NotSettled)
        );
    }

    #[test]
    fn of_what_was_hardly_measured_nothing_is_said() {
        let [a, ..] = three();
        assert_eq!(lead(&[(1.0, Some(a)), (3.0, None)]).answer(0.0), Answer::NotMeasured);
        assert_eq!(lead(&[(1.0, None)]).answer(0.0), Answer::NotMeasured);
        assert_eq!(lead(&[]).covered, 0.0);
    }
}
