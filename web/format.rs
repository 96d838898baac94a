//! The one home of how numbers, units, intervals, money and times are written; neither handlers nor templates round.
//!
//! Rule of digits (JCGM 100:2008, 7.2.6): at most two significant digits of uncertainty, and the value to the same
//! decimal place. What cannot be had is written as an en dash, never as 0.

mod times;

pub use times::*;
use weighhouse_measure::draft::Kind;

/// What stands for a value that cannot be had.
pub const NOTHING: &str = "–";
/// Narrow space that does not break: between groups of three digits.
const THIN: char = '\u{202f}';
/// Space that does not break: between a number and its unit.
const SPACE: char = '\u{a0}';
/// Decimal places beyond which no value is written.
const MOST_PLACES: i32 = 9;

/// A unit in which values are shown. Values are handed over in the unit itself, except where said.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, serde::Serialize)]
pub enum Unit {
    /// Frames per second.
    #[serde(rename = "fps")]
    Fps,
    /// Milliseconds.
    #[serde(rename = "ms")]
    Ms,
    /// Seconds.
    #[serde(rename = "s")]
    S,
    /// Watts.
    #[serde(rename = "W")]
    W,
    /// Joules.
    #[serde(rename = "J")]
    J,
    /// Megahertz.
    #[serde(rename = "MHz")]
    MHz,
    /// Degrees Celsius.
    #[serde(rename = "°C")]
    C,
    /// Per cent (the number before the sign, not a share).
    #[serde(rename = "%")]
    Percent,
    /// A pure number, such as a ratio.
    #[serde(rename = "1")]
    One,
}

impl Unit {
    /// The sign written behind the number; empty for a pure number.
    pub fn sign(self) -> &'static str {
        match self {
            Unit::Fps => "fps",
            Unit::Ms => "ms",
            Unit::S => "s",
            Unit::W => "W",
            Unit::J => "J",
            Unit::MHz => "MHz",
            Unit::C => "°C",
            Unit::Percent => "%",
            Unit::One => "",
        }
    }

    /// The unit with this sign; a pure number where there is none.
    pub fn of_sign(sign: &str) -> Unit {
        const ALL: [Unit; 8] =
            [Unit::Fps, Unit::Ms, Unit::S, Unit::W, Unit::J, Unit::MHz, Unit::C, Unit::Percent];
        ALL.into_iter().find(|unit| unit.sign() == sign).unwrap_or(Unit::One)
    }

    /// A value that people typed, without digits that say nothing: `2%`, `2.5%`.
    pub fn plain(self, value: f64) -> String {
        let text = fixed(value, self.places());
        self.behind(if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.') } else { &text })
    }

    /// Decimal places where no uncertainty is known.
    fn places(self) -> i32 {
        match self {
            Unit::Fps | Unit::W | Unit::C | Unit::Percent => 1,
            Unit::Ms | Unit::S | Unit::J => 2,
            Unit::MHz => 0,
            Unit::One => 3,
        }
    }

    /// `number` with this unit behind it: `124.0 fps`, `12.5%`, `1.077`.
    pub(crate) fn behind(self, number: &str) -> String {
        match self {
            Unit::One => number.to_owned(),
            Unit::Percent => format!("{number}%"),
            _ => format!("{number}{SPACE}{}", self.sign()),
        }
    }
}

/// `value` to `places` decimal places (negative: to tens, hundreds, ...), digits in groups of three from 10 000 on.
pub fn fixed(value: f64, places: i32) -> String {
    if !value.is_finite() {
        return NOTHING.to_owned();
    }
    let places = places.clamp(-MOST_PLACES, MOST_PLACES);
    let rounded = if places < 0 {
        let step = (0..-places).fold(1.0, |step, _| step * 10.0);
        format!("{:.0}", (value / step).round() * step)
    } else {
        format!("{value:.*}", usize::try_from(places).unwrap_or(0))
    };
    signed_digits(&rounded)
}

/// Decimal digits as text, grouped, with a true minus sign and none before a zero.
fn signed_digits(text: &str) -> String {
    let (minus, digits) = match text.strip_prefix('-') {
        Some(rest) => (rest.bytes().any(|b| (b'1'..=b'9').contains(&b)), rest),
        None => (false, text),
    };
    let (whole, part) = digits.split_once('.').map_or((digits, None), |(w, p)| (w, Some(p)));
    let mut out = String::with_capacity(text.len() + 8);
    if minus {
        out.push('−');
    }
    for (at, digit) in whole.chars().enumerate() {
        if at > 0 && whole.len() > 4 && (whole.len() - at).is_multiple_of(3) {
            out.push(THIN);
        }
        out.push(digit);
    }
    if let Some(part) = part {
        out.push('.');
        out.push_str(part);
    }
    out
}

/// Decimal places that an uncertainty supports: two significant digits of it (JCGM 100:2008, 7.2.6), counted after
/// rounding, so that 0.0995 is 0.10. `None` when it is zero, negative or no number.
pub fn places_for(uncertainty: f64) -> Option<i32> {
    if !(uncertainty.is_finite() && uncertainty > 0.0) {
        return None;
    }
    let text = format!("{uncertainty:.1e}");
    let exponent: i32 = text.split_once('e')?.1.parse().ok()?;
    Some((1 - exponent).clamp(-MOST_PLACES, MOST_PLACES))
}

/// A value with its unit, to the unit's usual places: for values whose uncertainty is not known.
pub fn value(value: f64, unit: Unit) -> String {
    maybe(Some(value), unit)
}

/// As [`value()`]; an en dash when there is none.
pub fn maybe(value: Option<f64>, unit: Unit) -> String {
    match value.filter(|v| v.is_finite()) {
        Some(v) => unit.behind(&fixed(v, unit.places())),
        None => NOTHING.to_owned(),
    }
}

/// The number alone, without its unit: for tables whose heading says the unit.
pub fn bare(value: Option<f64>, unit: Unit) -> String {
    value.map_or_else(|| NOTHING.to_owned(), |v| fixed(v, unit.places()))
}

/// The number alone to the digits that `uncertainty` supports, never finer than a tenth of the unit's usual place.
pub fn bare_to(value: f64, uncertainty: f64, unit: Unit) -> String {
    fixed(value, places(uncertainty, unit))
}

/// A value with its unit, to the digits that `uncertainty` (same unit) supports.
pub fn value_to(value: f64, uncertainty: f64, unit: Unit) -> String {
    if value.is_finite() { unit.behind(&bare_to(value, uncertainty, unit)) } else { NOTHING.to_owned() }
}

/// Decimal places for values of a unit with this uncertainty (same unit); the unit's usual ones where it is not
/// known. For columns: take the least over the rows.
pub fn places(uncertainty: f64, unit: Unit) -> i32 {
    // An exact zero spread, as of a capped pass, must not print nine places.
    places_for(uncertainty).map_or(unit.places(), |p| p.min(unit.places() + 2))
}

/// A value with its unit to the decimal places that a figure is printed with.
pub fn printed(value: f64, places: i32, unit: Unit) -> String {
    if value.is_finite() { unit.behind(&fixed(value, places)) } else { NOTHING.to_owned() }
}

/// `+24%`: what a ratio says against its baseline, to the decimal places that a figure is printed with.
pub fn change_printed(ratio: f64, places: i32) -> String {
    if ratio.is_finite() { format!("{}%", signed((ratio - 1.0) * 100.0, places)) } else { NOTHING.to_owned() }
}

/// A number as a text tells it, to these decimal places: `+28.2%`, `1.28 times`, `EUR 1450`, `150 fps`.
pub fn in_text(kind: Kind, value: f64, places: i32) -> String {
    match kind {
        Kind::Change => format!("{}%", signed(value, places)),
        Kind::Money(_) => text_in(kind.sign(), &fixed(value, places)),
        _ => text_in(&fixed(value, places), kind.sign()),
    }
}

/// Decimal places of a number that is written in these steps: 0.1 has one.
pub fn places_of(step: f64) -> i32 {
    (0..MOST_PLACES)
        .find(|places| step <= 0.0 || step * (0..*places).fold(1.0, |s, _| s * 10.0) > 0.999)
        .unwrap_or(0)
}

/// `124.01 ± 0.35 fps`: value and half the width of its interval.
pub fn give_or_take(value: f64, half_width: f64, unit: Unit) -> String {
    with_half_width(value, half_width, unit, " ± ")
}

/// `124.01 at least ± 0.35 fps`: the interval of one pass, which claims no more than a lower bound (methods 13.2).
pub fn at_least(value: f64, half_width: f64, unit: Unit) -> String {
    with_half_width(value, half_width, unit, " at least ± ")
}

/// `at least ± 0.35 fps`: half the width of the interval of one pass by itself, beside the value.
pub fn at_least_half(half_width: f64, unit: Unit) -> String {
    if !half_width.is_finite() {
        return NOTHING.to_owned();
    }
    format!("at least ± {}", unit.behind(&fixed(half_width, places(half_width, unit))))
}

fn with_half_width(value: f64, half_width: f64, unit: Unit, between: &str) -> String {
    if !value.is_finite() {
        return NOTHING.to_owned();
    }
    if !half_width.is_finite() {
        return self::value(value, unit);
    }
    let to = places(half_width, unit);
    unit.behind(&format!("{}{between}{}", fixed(value, to), fixed(half_width, to)))
}

/// `1.072 to 1.082 fps`: both ends of an interval, to the digits that half its width supports.
pub fn interval(low: f64, high: f64, unit: Unit) -> String {
    if !(low.is_finite() && high.is_finite()) {
        return NOTHING.to_owned();
    }
    let to = places((high - low) / 2.0, unit);
    unit.behind(&format!("{} to {}", fixed(low, to), fixed(high, to)))
}

/// `+24.1%`: what a ratio of rates says against its baseline, to one decimal place.
pub fn change(ratio: f64) -> String {
    if ratio.is_finite() { format!("{}%", signed((ratio - 1.0) * 100.0, 1)) } else { NOTHING.to_owned() }
}

/// `+24.1%` to the digits that the interval of the ratio supports, never finer than 0.01%.
pub fn change_to(ratio: f64, low: f64, high: f64) -> String {
    if ratio.is_finite() {
        format!("{}%", signed((ratio - 1.0) * 100.0, change_places(low, high)))
    } else {
        NOTHING.to_owned()
    }
}

/// `+23.2% to +25.0%`: an interval of a ratio of rates, as changes.
pub fn change_interval(low: f64, high: f64) -> String {
    if !(low.is_finite() && high.is_finite()) {
        return NOTHING.to_owned();
    }
    let places = change_places(low, high);
    format!("{}% to {}%", signed((low - 1.0) * 100.0, places), signed((high - 1.0) * 100.0, places))
}

/// Decimal places of a change in per cent that the interval of its ratio supports: 0 to 2.
pub fn change_places(low: f64, high: f64) -> i32 {
    places_for((high - low) / 2.0 * 100.0).unwrap_or(1).clamp(0, 2)
}

/// A number with its sign, also when it is positive; plain 0 without one.
pub fn signed(value: f64, places: i32) -> String {
    let text = fixed(value, places);
    let zero = !text.bytes().any(|b| (b'1'..=b'9').contains(&b));
    if value > 0.0 && !zero && value.is_finite() { format!("+{text}") } else { text }
}

/// A whole count, grouped: `9 041` is `9041`, `12 000` is grouped.
pub fn count(n: u64) -> String {
    signed_digits(&n.to_string())
}

/// Words as a sentence or a title begins: a measure's name is written small where it stands within one.
pub fn sentence(words: &str) -> String {
    let mut letters = words.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

/// `1 pass`, `3 passes`: a count with its word in the right number.
pub fn plural(n: u64, one: &str, many: &str) -> String {
    format!("{}{SPACE}{}", count(n), if n == 1 { one } else { many })
}

/// A whole number that a person entered, with its unit: `500 W`; an en dash when there is none.
pub fn whole(n: Option<i64>, unit: &str) -> String {
    n.map_or_else(|| NOTHING.to_owned(), |n| text_in(&signed_digits(&n.to_string()), unit))
}

/// An offset with its sign and unit: `+1500 MHz`; plain 0 without them.
pub fn offset(n: i64, unit: &str) -> String {
    let sign = if n > 0 { "+" } else { "" };
    if n == 0 { "0".to_owned() } else { format!("{sign}{}", whole(Some(n), unit)) }
}

/// Decimal text as it is kept, with its unit: `2.5 to 60 s`.
pub fn text_in(text: &str, unit: &str) -> String {
    format!("{text}{SPACE}{unit}")
}

/// The p of a test: `0.031`, `< 0.001`.
pub fn p(p: f64) -> String {
    if p < 0.001 { format!("<{SPACE}0.001") } else { fixed(p, 3) }
}

/// Reckoned money to the whole unit: `1 798 EUR`; without a currency the digits alone.
pub fn whole_money(decimal: &str, currency: &str) -> String {
    match decimal.parse() {
        Ok(amount) if currency.is_empty() => fixed(amount, 0),
        Ok(amount) => text_in(&fixed(amount, 0), currency),
        Err(_) => NOTHING.to_owned(),
    }
}

/// Money as the decimal text it is stored as, with its currency: `1 450.00 EUR`. Digits are never rounded.
pub fn money(decimal: &str, currency: &str) -> String {
    let well_formed = !decimal.is_empty()
        && decimal.bytes().all(|b| b.is_ascii_digit() || b == b'.' || b == b'-')
        && decimal.bytes().any(|b| b.is_ascii_digit());
    if !well_formed {
        return NOTHING.to_owned();
    }
    format!("{}{SPACE}{currency}", signed_digits(decimal))
}

/// A time inside a recording, nanoseconds as seconds: `21.300 s`.
pub fn at_ns(ns: i64) -> String {
    Unit::S.behind(&seconds_ns(ns))
}

/// A span inside a recording: `21.300 to 24.050 s`.
pub fn span_ns(start_ns: i64, end_ns: i64) -> String {
    Unit::S.behind(&format!("{} to {}", seconds_ns(start_ns), seconds_ns(end_ns)))
}

/// Nanoseconds as seconds with three places, without a unit.
pub fn seconds_ns(ns: i64) -> String {
    let ms = (i128::from(ns) + if ns < 0 { -500_000 } else { 500_000 }) / 1_000_000;
    let sign = if ms < 0 { "-" } else { "" };
    signed_digits(&format!("{sign}{}.{:03}", ms.abs() / 1000, ms.abs() % 1000))
}

/// A size: `412 bytes`, `1.3 MB` (powers of ten).
pub fn bytes(n: u64) -> String {
    const STEPS: [(u64, &str); 3] = [(1_000_000_000, "GB"), (1_000_000, "MB"), (1_000, "kB")];
    for (step, name) in STEPS {
        if n >= step {
            let tenths = n / (step / 10);
            return format!("{}.{}{SPACE}{name}", tenths / 10, tenths % 10);
        }
    }
    plural(n, "byte", "bytes")
}

#[cfg(test)]
mod tests {
    use jiff::{SignedDuration, Timestamp};
    use weighhouse_measure::draft::Currency;

    use super::*;

    fn spaced(text: &str) -> String {
        text.replace([THIN, SPACE], " ")
    }

    /// JCGM 100:2008, 7.2.6: 10.057 62 ohm with u = 27 milliohm is given as 10.058 ohm; 28.05 kHz is rounded to 28.
    #[test]
    fn digits_follow_the_guide_on_uncertainty() {
        assert_eq!(bare_to(10.057_62, 0.027, Unit::One), "10.058");
        assert_eq!(fixed(28.05, places_for(28.05).unwrap()), "28");
        assert_eq!(give_or_take(10.057_62, 0.027, Unit::One), "10.058 ± 0.027");
    }

    /// Carry: `'{:.2u}'.format(ufloat(y, 0.0995))` of the Python package uncertainties 3.2.3 prints 0.10.
    #[test]
    fn a_carry_keeps_two_digits_of_uncertainty() {
        assert_eq!(places_for(0.0995), Some(2));
        assert_eq!(spaced(&give_or_take(1.234_56, 0.0995, Unit::Fps)), "1.23 ± 0.10 fps");
    }

    #[test]
    fn places_of_large_small_and_senseless_uncertainties() {
        let cases = [(57.1, Some(0)), (570.0, Some(-1)), (5.7, Some(1)), (0.000_12, Some(5)), (0.0, None)];
        for (uncertainty, places) in cases {
            assert_eq!(places_for(uncertainty), places, "{uncertainty}");
        }
        for uncertainty in [f64::NAN, f64::INFINITY, -1.0] {
            assert_eq!(places_for(uncertainty), None, "{uncertainty}");
        }
        assert_eq!(give_or_take(12_345.0, 570.0, Unit::One), "12\u{202f}350 ± 570");
    }

    #[test]
    fn zero_and_missing_uncertainty_fall_back_to_the_units_places() {
        assert_eq!(spaced(&give_or_take(138.0, 0.0, Unit::Fps)), "138.0 ± 0.0 fps");
        assert_eq!(spaced(&give_or_take(138.0, f64::NAN, Unit::Fps)), "138.0 fps");
        assert_eq!(spaced(&give_or_take(138.0, 1e-9, Unit::Fps)), "138.000 ± 0.000 fps");
        assert_eq!(give_or_take(f64::NAN, 1.0, Unit::Fps), NOTHING);
    }

    #[test]
    fn units_and_their_usual_places() {
        let cases = [
            (Unit::Fps, 124.012, "124.0 fps"),
            (Unit::Ms, 8.0641, "8.06 ms"),
            (Unit::W, 348.27, "348.3 W"),
            (Unit::J, 2.8101, "2.81 J"),
            (Unit::MHz, 2745.4, "2745 MHz"),
            (Unit::MHz, 12_745.4, "12 745 MHz"),
            (Unit::C, 71.26, "71.3 °C"),
            (Unit::Percent, 12.49, "12.5%"),
            (Unit::One, 1.076_91, "1.077"),
        ];
        for (unit, v, want) in cases {
            assert_eq!(spaced(&value(v, unit)), want);
        }
        assert_eq!(maybe(None, Unit::W), NOTHING);
        assert_eq!(maybe(Some(f64::INFINITY), Unit::W), NOTHING);
        assert_eq!(bare(Some(348.27), Unit::W), "348.3");
        assert_eq!(spaced(&value_to(124.012, 0.35, Unit::Fps)), "124.01 fps");
    }

    /// Common practice, no source: an average of 173 against 221 fps is +28%; 28% one way is 21.9% the other way.
    #[test]
    fn changes_are_against_the_baseline_and_signed() {
        assert_eq!(change(221.0 / 173.0), "+27.7%");
        assert_eq!(change(1.0 / 1.28), "−21.9%");
        assert_eq!(change(1.0), "0.0%");
        assert_eq!(change(0.999_99), "0.0%");
        assert_eq!(change_to(1.0769, 1.0416, 1.1135), "+7.7%");
        assert_eq!(change_to(221.0 / 173.0, 1.0, 1.6), "+28%");
        assert_eq!(change_interval(1.0723, 1.0815), "+7.23% to +8.15%");
        assert_eq!(change_interval(0.9, 1.2), "−10% to +20%");
    }

    #[test]
    fn one_pass_claims_no_more_than_a_bound() {
        assert_eq!(spaced(&at_least(98.573, 1.26, Unit::Fps)), "98.6 at least ± 1.3 fps");
        assert_eq!(interval(1.0723, 1.0815, Unit::One), "1.0723 to 1.0815");
        assert_eq!(interval(f64::NAN, 1.0, Unit::One), NOTHING);
    }

    #[test]
    fn money_keeps_every_digit() {
        assert_eq!(spaced(&money("1450.00", "EUR")), "1450.00 EUR");
        assert_eq!(spaced(&money("12345.67", "EUR")), "12 345.67 EUR");
        assert_eq!(money("ten", "EUR"), NOTHING);
    }

    #[test]
    fn times_inside_a_recording() {
        assert_eq!(spaced(&at_ns(21_300_000_000)), "21.300 s");
        assert_eq!(spaced(&span_ns(999_600, 24_050_400_000)), "0.001 to 24.050 s");
        assert_eq!(seconds_ns(-1_500_000_000), "−1.500");
        assert_eq!(seconds_ns(-100), "0.000");
        assert_eq!(seconds_ns(i64::MAX).len(), "9\u{202f}223\u{202f}372\u{202f}036.855".len());
    }

    #[test]
    fn sizes_and_counts() {
        let cases = [
            (0, "0 bytes"),
            (1, "1 byte"),
            (999, "999 bytes"),
            (1_250_000, "1.2 MB"),
            (3_000_000_000, "3.0 GB"),
        ];
        for (n, want) in cases {
            assert_eq!(spaced(&bytes(n)), want);
        }
        assert_eq!(spaced(&count(2_000_000)), "2 000 000");
        assert_eq!(spaced(&plural(1, "pass", "passes")), "1 pass");
        assert_eq!(spaced(&plural(3, "pass", "passes")), "3 passes");
    }

    /// Zone rules: IANA time zone database (Europe/Berlin, summer time ended on 25 October 2026 at 01:00 UTC).
    #[test]
    fn moments_are_said_in_their_zone() {
        let at = |text: &str| -> Timestamp { text.parse().unwrap() };
        assert_eq!(moment(at("2026-11-27T17:00:00Z"), "Europe/Berlin"), "Fri 27 Nov 2026, 18:00 CET");
        assert_eq!(moment(at("2026-10-25T00:30:00Z"), "Europe/Berlin"), "Sun 25 Oct 2026, 02:30 CEST");
        assert_eq!(moment(at("2026-10-25T01:30:00Z"), "Europe/Berlin"), "Sun 25 Oct 2026, 02:30 CET");
        assert_eq!(moment(at("2026-11-27T17:00:00Z"), "No/Where"), "Fri 27 Nov 2026, 17:00 UTC");
        assert_eq!(day(at("2026-11-27T23:30:00Z"), "Europe/Berlin"), "28 Nov 2026");
    }

    #[test]
    fn what_is_left_is_cut_and_never_rounded_up() {
        let now: Timestamp = "2026-11-25T11:00:00Z".parse().unwrap();
        let hence = |minutes: i64| left(now + SignedDuration::from_mins(minutes), now);
        let cases = [
            (31 * 60 + 59, "31 h left"),
            (40, "40 min left"),
            (119, "119 min left"),
            (4 * 1440, "4 days left"),
            (-240, "4 h over"),
        ];
        for (minutes, want) in cases {
            assert_eq!(spaced(&hence(minutes)), want);
        }
        assert_eq!(ago(now, now), "just now");
        assert_eq!(spaced(&ago(now - SignedDuration::from_mins(12), now)), "12 min ago");
    }

    #[test]
    fn numbers_are_written_as_texts_tell_them() {
        assert_eq!(spaced(&in_text(Kind::Change, 28.24, 1)), "+28.2%");
        assert_eq!(spaced(&in_text(Kind::Times, 1.2824, 2)), "1.28 times");
        assert_eq!(spaced(&in_text(Kind::Money(Currency::Eur), 1450.0, 0)), "EUR 1450");
        assert_eq!(spaced(&in_text(Kind::Fps, 150.2, 0)), "150 fps");
        assert_eq!([1.0, 0.1, 0.01, 10.0, 0.0].map(places_of), [0, 1, 2, 0, 0]);
    }

    #[test]
    fn entered_numbers_keep_their_digits() {
        assert_eq!(spaced(&whole(Some(24_576), "MiB")), "24 576 MiB");
        assert_eq!(whole(None, "W"), NOTHING);
        assert_eq!(spaced(&offset(1500, "MHz")), "+1500 MHz");
        assert_eq!(spaced(&offset(-50, "mV")), "−50 mV");
        assert_eq!(offset(0, "mV"), "0");
        assert_eq!(spaced(&text_in("2.5 to 60", "s")), "2.5 to 60 s");
    }
}
