//! Typed texts: read into values, field by field, with what is wrong and how to mend it; and written back.

use std::fmt::Display;
use std::ops::RangeInclusive;

use jiff::Timestamp;
use jiff::civil::{Date, DateTime};
use jiff::tz::TimeZone;

use crate::work::{Refusal, Result};

/// Names of fields with their texts.
pub type Texts = Vec<(&'static str, String)>;

/// Characters of a name, as the schema has it.
const NAME: usize = 80;
/// Characters of a note or any other free text.
const FREE: usize = 2_000;
/// Nanoseconds in a second.
const NS_PER_S: i64 = 1_000_000_000;
/// Digits of a nanosecond behind the point.
const NS_DIGITS: usize = 9;
/// Seconds of the longest window: a day.
const LONGEST_S: i64 = 86_400;

/// Reads fields and gathers what is wrong with them; a wrong one gives a stand-in, and [`Typed::done`] refuses.
pub struct Typed<'a> {
    text: &'a dyn Fn(&str) -> &'a str,
    wrong: Vec<(&'static str, String)>,
}

impl<'a> Typed<'a> {
    /// Over the texts of a form; what is not there is empty.
    pub fn new(text: &'a dyn Fn(&str) -> &'a str) -> Self {
        Self { text, wrong: Vec::new() }
    }

    /// The text of a field, without blanks around it.
    pub fn text(&self, field: &str) -> &'a str {
        (self.text)(field).trim()
    }

    /// Says that a field is wrong, and how to mend it.
    pub fn wrong(&mut self, field: &'static str, says: impl Into<String>) {
        self.wrong.push((field, says.into()));
    }

    /// # Errors
    /// Refused when a field was wrong.
    pub fn done(self) -> Result<()> {
        if self.wrong.is_empty() { Ok(()) } else { Err(Refusal::fields(self.wrong).into()) }
    }

    /// A name of 1 to 80 characters; `what` as in 'The rig'.
    pub fn name(&mut self, field: &'static str, what: &str) -> String {
        let text = self.text(field);
        let length = text.chars().count();
        if length == 0 {
            self.wrong(field, format!("{what} is missing; write 1 to {NAME} characters."));
        } else if length > NAME {
            self.wrong(field, format!("{what} has {length} characters; write at most {NAME}."));
        }
        text.to_owned()
    }

    /// Any text that is not endless.
    pub fn free(&mut self, field: &'static str) -> String {
        let text = self.text(field);
        let length = text.chars().count();
        if length > FREE {
            self.wrong(field, format!("This text has {length} characters; write at most {FREE}."));
        }
        text.to_owned()
    }

    /// One of several words; an empty text is the first.
    pub fn word<T: Copy + Display>(&mut self, field: &'static str, all: &[T], first: T) -> T {
        let text = self.text(field);
        if text.is_empty() {
            return first;
        }
        all.iter().copied().find(|one| one.to_string() == text).unwrap_or_else(|| {
            let words: Vec<String> =
                all.iter().map(ToString::to_string).filter(|word| !word.is_empty()).collect();
            self.wrong(field, format!("'{text}' is none of: {}.", words.join(", ")));
            first
        })
    }

    /// A whole number in a unit, or none; `unit` as in 'watts'.
    pub fn whole(&mut self, field: &'static str, unit: &str, within: RangeInclusive<i64>) -> Option<i64> {
        let text = self.text(field);
        if text.is_empty() {
            return None;
        }
        let number = text.replace('−', "-").parse().ok().filter(|number| within.contains(number));
        if number.is_none() {
            let (low, high) = (within.start(), within.end());
            self.wrong(field, format!("'{text}' is not a whole number of {unit} from {low} to {high}."));
        }
        number
    }

    /// A day, `2026-03-01`: its first microsecond UTC.
    pub fn day(&mut self, field: &'static str) -> i64 {
        let text = self.text(field);
        match text.parse::<Date>().ok().and_then(|day| day.to_zoned_datetime(TimeZone::UTC).ok()) {
            Some(start) => start.timestamp().as_microsecond(),
            None if text.is_empty() => {
                self.wrong(field, "The day is missing; write it as 2026-03-01.");
                0
            }
            None => {
                self.wrong(field, format!("'{text}' is not a day; write it as 2026-03-01."));
                0
            }
        }
    }

    /// A moment, `2026-03-01T14:30`, in UTC; empty: from the start of all time, 0.
    pub fn moment(&mut self, field: &'static str) -> i64 {
        let text = self.text(field);
        if text.is_empty() {
            return 0;
        }
        match text.parse::<DateTime>().ok().and_then(|at| at.to_zoned_datetime(TimeZone::UTC).ok()) {
            Some(at) => at.timestamp().as_microsecond(),
            None => {
                let says = format!("'{text}' is not a day and time; write it as 2026-03-01T14:30 (UTC).");
                self.wrong(field, says);
                0
            }
        }
    }

    /// IANA name of a time zone, as the list of zones spells it; empty: UTC.
    pub fn zone(&mut self, field: &'static str) -> String {
        let text = self.text(field);
        if text.is_empty() {
            return "UTC".to_owned();
        }
        if let Ok(zone) = TimeZone::get(text) {
            return zone.iana_name().unwrap_or(text).to_owned();
        }
        self.wrong(
            field,
            format!("There is no time zone '{text}'; write a name such as Europe/Berlin or UTC."),
        );
        text.to_owned()
    }

    /// Decimal seconds as whole nanoseconds, or none.
    pub fn seconds(&mut self, field: &'static str) -> Option<i64> {
        let text = self.text(field);
        if text.is_empty() {
            return None;
        }
        let read = ns_of_seconds(text);
        if read.is_none() {
            self.wrong(
                field,
                format!(
                    "'{text}' is not a time in seconds; write digits with a point, such as 12.5, up to a day."
                ),
            );
        }
        read
    }

    /// An amount of money: decimal digits with at most one point. Never rounded, never converted.
    pub fn amount(&mut self, field: &'static str) -> String {
        let text = self.text(field);
        let (whole, cents) = text.split_once('.').map_or((text, None), |(whole, cents)| (whole, Some(cents)));
        let digits = |text: &str| !text.is_empty() && text.bytes().all(|b| b.is_ascii_digit());
        if text.is_empty() {
            self.wrong(field, "The amount is missing; write digits, such as 1450.00.");
        } else if !digits(whole) || cents.is_some_and(|cents| !digits(cents)) || text.len() > 20 {
            let says = format!(
                "'{text}' is not an amount; write digits with a point before the cents and nothing else, such as 1450.00."
            );
            self.wrong(field, says);
        }
        text.to_owned()
    }

    /// Code of a currency: three letters.
    pub fn currency(&mut self, field: &'static str) -> String {
        let text = self.text(field).to_ascii_uppercase();
        if text.len() != 3 || !text.bytes().all(|b| b.is_ascii_uppercase()) {
            self.wrong(field, format!("'{text}' is not a currency; write its three letters, such as EUR."));
        }
        text
    }
}

/// Decimal seconds as nanoseconds, exactly; none for anything else, for more than nine digits behind the point and
/// for more than a day.
fn ns_of_seconds(text: &str) -> Option<i64> {
    let (whole, part) = text.split_once('.').unwrap_or((text, ""));
    let digits = |text: &str| text.bytes().all(|b| b.is_ascii_digit());
    if whole.is_empty() || !digits(whole) || !digits(part) || part.len() > NS_DIGITS {
        return None;
    }
    let seconds: i64 = whole.parse().ok().filter(|seconds| *seconds <= LONGEST_S)?;
    let ns: i64 = format!("{part:0<NS_DIGITS$}").parse().ok()?;
    Some(seconds * NS_PER_S + ns)
}

/// Nanoseconds as decimal seconds, exactly, without needless zeros.
pub fn seconds_of_ns(ns: i64) -> String {
    let part = format!("{:09}", (ns % NS_PER_S).unsigned_abs());
    let part = part.trim_end_matches('0');
    let whole = ns / NS_PER_S;
    if part.is_empty() { whole.to_string() } else { format!("{whole}.{part}") }
}

/// The day of a moment in UTC, as [`Typed::day`] reads it.
pub fn day_of(us: i64) -> String {
    in_utc(us).strftime("%Y-%m-%d").to_string()
}

/// A moment in UTC as [`Typed::moment`] reads it; the start of all time is empty.
pub fn moment_of(us: i64) -> String {
    if us == 0 { String::new() } else { in_utc(us).strftime("%Y-%m-%dT%H:%M").to_string() }
}

fn in_utc(us: i64) -> DateTime {
    TimeZone::UTC.to_datetime(Timestamp::from_microsecond(us).unwrap_or_default())
}

/// A number as a form shows it; none is empty.
pub fn number(value: Option<i64>) -> String {
    value.map_or_else(String::new, |value| value.to_string())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::work::Error;

    /// Reads one field of one text: what came of it, and what was said.
    fn one<T>(text: &str, read: impl FnOnce(&mut Typed<'_>) -> T) -> (T, String) {
        let text = move |_: &str| text;
        let mut typed = Typed::new(&text);
        let value = read(&mut typed);
        match typed.done() {
            Ok(()) => (value, String::new()),
            Err(Error::Refused(refusal)) => (value, refusal.wrong("f").to_owned()),
            Err(error) => panic!("{error}"),
        }
    }

    #[test]
    fn seconds_become_nanoseconds_without_a_float_in_between() {
        for (text, ns) in [
            ("0", 0),
            ("60", 60_000_000_000),
            ("21.3", 21_300_000_000),
            ("0.1", 100_000_000),
            ("8.64", 8_640_000_000),
            ("1234.000000001", 1_234_000_000_001),
        ] {
            assert_eq!(ns_of_seconds(text), Some(ns), "{text}");
            assert_eq!(seconds_of_ns(ns), text);
        }
        assert_eq!(ns_of_seconds("12."), Some(12_000_000_000));
        for text in ["", ".", "-1", "1,5", "1e3", "1.0000000001", "86401", "NaN", "+1", "1.2.3"] {
            assert_eq!(ns_of_seconds(text), None, "{text}");
        }
    }

    #[test]
    fn an_amount_is_kept_as_it_was_written_or_refused_with_the_mend() {
        for good in ["1450", "1450.00", "0.50", "890.5"] {
            assert_eq!(one(good, |t| t.amount("f")), (good.to_owned(), String::new()));
        }
        for bad in ["1 450", "1,450.00", "1450,00", "-5", "EUR 5", ".50", "5.", "1.2.3", "５"] {
            let (_, says) = one(bad, |t| t.amount("f"));
            assert!(says.contains(bad) && says.contains("1450.00"), "{bad}: {says}");
        }
        assert_eq!(one("eur", |t| t.currency("f")).0, "EUR");
        for bad in ["", "E", "EURO", "€"] {
            assert!(one(bad, |t| t.currency("f")).1.contains("three letters"), "{bad}");
        }
    }

    #[test]
    fn days_and_moments_are_utc_and_written_back_as_they_were_read() {
        // 2026-03-01 12:00 UTC is 1 772 366 400 s after 1970 (GNU date -u -d @1772366400).
        assert_eq!(one("2026-03-01T12:00", |t| t.moment("f")).0, 1_772_366_400_000_000);
        assert_eq!(moment_of(1_772_366_400_000_000), "2026-03-01T12:00");
        assert_eq!(one("2026-03-01", |t| t.day("f")).0, 1_772_323_200_000_000);
        assert_eq!(day_of(1_772_366_400_000_000), "2026-03-01");
        assert_eq!(one("", |t| t.moment("f")), (0, String::new()));
        assert_eq!(moment_of(0), "");
        for bad in ["2026-02-30", "yesterday", "03/01/2026"] {
            assert!(one(bad, |t| t.day("f")).1.contains(bad), "{bad}");
            assert!(one(bad, |t| t.moment("f")).1.contains("UTC"), "{bad}");
        }
    }

    #[test]
    fn names_numbers_and_zones_say_what_is_wrong() {
        assert!(one(" ", |t| t.name("f", "The rig")).1.starts_with("The rig is missing"));
        assert!(one(&"x".repeat(81), |t| t.name("f", "The rig")).1.contains("81 characters"));
        assert_eq!(one("−50", |t| t.whole("f", "MHz", -100..=100)).0, Some(-50));
        assert!(one("12.5", |t| t.whole("f", "watts", 1..=2000)).1.contains("whole number of watts"));
        assert!(one("3000", |t| t.whole("f", "watts", 1..=2000)).1.contains("from 1 to 2000"));
        assert_eq!(one("", |t| t.whole("f", "watts", 1..=2000)), (None, String::new()));
        assert_eq!(one("europe/berlin", |t| t.zone("f")).0, "Europe/Berlin");
        assert!(one("Berlin time", |t| t.zone("f")).1.contains("Europe/Berlin"));
        assert!(
            one("shelf", |t| t.word("f", &["case", "open bench"], "case")).1.contains("case, open bench")
        );
    }
}
