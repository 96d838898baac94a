//! What a frame costs: price per frame against the baseline, the price of equal value, and what running it costs.
//!
//! Prices are exact; what makes the answer uncertain is the ratio of the frame rates. So the value, frames for the same
//! money, is ratio / (price / baseline's price), and its interval is that of the ratio divided by the same number. Of
//! equal value is the price at which a frame costs as much as the baseline's: the baseline's price times the ratio.
//!
//! Worth has a margin of its own, [`MARGIN`]: prices move by more than that in a week.

use super::Interval;
use super::money::Amount;
use super::ratio::Ratio;
use serde::Serialize;

/// Within this share of the baseline's it is about the same value (methods: our choice).
pub const MARGIN: f64 = 0.05;
/// Weeks in a year, for hours a week.
const WEEKS: f64 = 52.0;

/// What may be said of the value of one thing against another.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub enum Verdict {
    /// More frames for the same money.
    Better,
    /// Fewer.
    Worse,
    /// The difference, if any, is within [`MARGIN`].
    Same,
    /// The frame rates are not known well enough.
    NotSettled,
    /// The ratio crosses what must be alike.
    None,
}

impl Verdict {
    /// In words.
    pub fn words(self) -> &'static str {
        match self {
            Verdict::Better => "better value",
            Verdict::Worse => "worse value",
            Verdict::Same => "about the same value",
            Verdict::NotSettled => "not settled",
            Verdict::None => "no verdict",
        }
    }
}

/// Value of a thing against the baseline.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Value {
    /// Price of a frame over the baseline's; below 1 is cheaper.
    pub per_frame: f64,
    /// Its 95% interval, which comes from the frame rates alone.
    pub per_frame_interval: Option<Interval>,
    /// Its price over the baseline's.
    pub price: f64,
    /// The price at which it is of equal value.
    pub break_even: Option<Amount>,
    /// 95% interval of that price.
    pub break_even_interval: Option<(Amount, Amount)>,
    /// What may be said.
    pub verdict: Verdict,
}

/// Value of what costs `price` and gives `ratio` times the baseline's frames, which costs `baseline`. Both in one
/// currency; `None` where a price is nothing.
pub fn value(ratio: &Ratio, price: Amount, baseline: Amount) -> Option<Value> {
    if price.is_zero() || baseline.is_zero() {
        return None;
    }
    let dearer = price.over(baseline);
    let turned = |interval: Interval| Interval { low: dearer / interval.high, high: dearer / interval.low };
    let bounds = ratio.bounds;
    let ends = bounds.map(|b| b.interval);
    Some(Value {
        per_frame: dearer / ratio.ratio,
        per_frame_interval: ends.map(turned),
        price: dearer,
        break_even: baseline.times(ratio.ratio),
        break_even_interval: ends.and_then(|i| Some((baseline.times(i.low)?, baseline.times(i.high)?))),
        verdict: verdict(ratio, dearer),
    })
}

/// Two questions, as of frame rates: does the 95% interval of frames for the same money exclude 1, and does its 90%
/// interval lie within the margin?
fn verdict(ratio: &Ratio, dearer: f64) -> Verdict {
    if !ratio.like_with_like() {
        return Verdict::None;
    }
    let Some(bounds) = ratio.bounds else { return Verdict::NotSettled };
    let (low, high) = (bounds.interval90.low / dearer, bounds.interval90.high / dearer);
    if 1.0 / (1.0 + MARGIN) <= low && high <= 1.0 + MARGIN {
        return Verdict::Same;
    }
    match (bounds.interval.low / dearer > 1.0, bounds.interval.high / dearer < 1.0) {
        (true, _) => Verdict::Better,
        (_, true) => Verdict::Worse,
        _ => Verdict::NotSettled,
    }
}

/// Price of a frame a second, in the currency of the price.
pub fn per_frame(price: Amount, fps: f64) -> f64 {
    price.value() / fps
}

/// Energy that `watts` for `hours` a week take in a year, kWh.
pub fn kwh_a_year(watts: f64, hours: f64) -> f64 {
    watts * hours * WEEKS / 1000.0
}

/// What this energy costs, to the cent.
pub fn running(kwh: f64, price_of_kwh: Amount) -> Option<Amount> {
    price_of_kwh.times(kwh)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::compare::PassLog;
    use crate::compare::noise::Local;
    use crate::compare::ratio::in_scene;

    fn ratio(baseline: &[f64], contender: &[f64]) -> Ratio {
        let logs =
            |v: &[f64]| -> Vec<PassLog> { v.iter().map(|&v| PassLog::new(v, 1, 1, true).unwrap()).collect() };
        in_scene(&logs(baseline), &logs(contender), &Local::default(), None).unwrap()
    }

    fn amount(text: &str) -> Amount {
        Amount::parse(text).unwrap()
    }

    /// Common practice, no source: +28% rate at +25% price is about the same value, 2.3% less a frame, and a price of
    /// 1 600 breaks even at 2 048.
    #[test]
    fn a_quarter_dearer_for_a_good_quarter_more_is_about_the_same_value() {
        let found =
            value(&ratio(&[100.0, 100.2, 99.8], &[128.0, 128.3, 127.7]), amount("2000"), amount("1600"))
                .unwrap();
        assert_eq!(found.verdict, Verdict::Same);
        assert!((found.per_frame - 0.976_56).abs() < 1e-4, "{found:?}");
        assert_eq!(found.break_even, Some(amount("2048")));
        let (low, high) = found.break_even_interval.unwrap();
        assert!(low < amount("2048") && amount("2048") < high);
        assert!(found.per_frame_interval.unwrap().holds(found.per_frame));
    }

    #[test]
    fn clear_differences_and_open_ones_have_their_words() {
        let fast = ratio(&[100.0, 100.2, 99.8], &[160.0, 160.3, 159.7]);
        assert_eq!(value(&fast, amount("1200"), amount("1000")).unwrap().verdict, Verdict::Better);
        assert_eq!(value(&fast, amount("2000"), amount("1000")).unwrap().verdict, Verdict::Worse);
        let open = ratio(&[100.0, 110.0, 95.0], &[128.0, 140.0, 118.0]);
        assert_eq!(value(&open, amount("1250"), amount("1000")).unwrap().verdict, Verdict::NotSettled);
        let once = ratio(&[100.0], &[128.0]);
        assert_eq!(value(&once, amount("1250"), amount("1000")).unwrap().verdict, Verdict::NotSettled);
        assert_eq!(value(&once, amount("1250"), amount("0")), None);
    }

    /// Common practice, no source: 125 W more, 20 h a week, 0.35 a kWh: 130 kWh and 45.50 a year.
    #[test]
    fn what_more_watts_cost_in_a_year() {
        let kwh = kwh_a_year(125.0, 20.0);
        assert!((kwh - 130.0).abs() < 1e-12);
        assert_eq!(running(kwh, amount("0.35")).unwrap().to_string(), "45.50");
    }

    /// Common practice, no source: 1 450 for 173 fps is 8.38 a frame.
    #[test]
    fn a_frame_has_a_price() {
        assert!((per_frame(amount("1450.00"), 173.0) - 8.3815).abs() < 1e-4);
    }
}
