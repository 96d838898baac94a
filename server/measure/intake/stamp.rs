//! Dates and times of day as people write them, to whole nanoseconds.

use super::number::{self, Cell, Decimal, Marks};
use crate::recording::{NS_PER_S, Unit};

/// Nanoseconds in a day.
pub const DAY_NS: i64 = 86_400 * NS_PER_S;

/// A date and time of day as written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Stamp {
    /// Nanoseconds since 1970-01-01 00:00 on the stamp's own clock face; since midnight where it has no date.
    pub face_ns: i64,
    /// Seconds by which that face is ahead of UTC; `None` when it names no zone.
    pub offset_s: Option<i32>,
    /// Whether it has a date that can be read in one way only.
    pub dated: bool,
    /// Digits after the mark of the seconds.
    pub digits: i32,
}

/// Days from 1970-01-01 on which a log can have been written, to the year 2200: two stamps of them differ by what
/// nanoseconds can count.
const DAYS: std::ops::Range<i64> = 0..84_006;

impl Stamp {
    /// Nanoseconds for differences between stamps of one log: UTC where the zone is known.
    pub fn ns(self) -> i64 {
        self.face_ns - i64::from(self.offset_s.unwrap_or(0)) * NS_PER_S
    }

    /// The unit of a column of such stamps.
    pub fn unit(self) -> Unit {
        if self.dated { Unit::Iso8601 } else { Unit::TimeOfDay }
    }
}

/// Reads a date and time of day, or a time of day.
///
/// Dates: `YYYY-MM-DD` and `YYYYMMDD` (ISO 8601-1:2019, section 5.4), `YYYY/MM/DD`, `DD.MM.YYYY`. Where day and
/// month cannot be told apart (`1/2/2026`) the date is left aside. Times: `hh:mm:ss` or `mm:ss.f` with an optional
/// fraction, `AM` or `PM`, and `Z`, `+hh:mm`, `+hhmm` or nothing.
pub fn stamp(cell: &[u8]) -> Option<Stamp> {
    // Nearly every cell of a log is a number: they are out by their first bytes.
    if cell.len() < 7 || !cell[0].is_ascii_digit() {
        return None;
    }
    let (days, rest) = match date(cell) {
        Some((days, rest)) => (days, between(rest)?),
        None => (None, cell),
    };
    let (seconds, fraction_ns, digits, rest) = time(rest)?;
    let (seconds, rest) = half_day(seconds, rest)?;
    let offset_s = offset(rest)?;
    if !DAYS.contains(&days.unwrap_or(0)) {
        return None;
    }
    let face = days.unwrap_or(0).checked_mul(86_400)?.checked_add(seconds)?;
    let face_ns = face.checked_mul(NS_PER_S)?.checked_add(fraction_ns)?;
    Some(Stamp { face_ns, offset_s, dated: days.is_some(), digits })
}

/// Days since 1970 (`None` inside where day and month cannot be told apart) and what follows.
fn date(cell: &[u8]) -> Option<(Option<i64>, &[u8])> {
    let end = cell.iter().position(|b| !b.is_ascii_digit())?;
    if end == 8 && matches!(cell[8], b'T' | b't' | b' ') {
        let days = days(two4(&cell[..4])?, two4(&cell[4..6])?, two4(&cell[6..8])?)?;
        return Some((Some(days), &cell[8..]));
    }
    let sign = cell[end];
    if !matches!(sign, b'-' | b'/' | b'.') {
        return None;
    }
    let rest = &cell[end + 1..];
    let second = rest.iter().position(|b| !b.is_ascii_digit())?;
    if rest[second] != sign || !(1..=2).contains(&second) {
        return None;
    }
    let after = &rest[second + 1..];
    let third = after.iter().position(|b| !b.is_ascii_digit()).unwrap_or(after.len());
    let (a, b, c) = (two4(&cell[..end])?, two4(&rest[..second])?, two4(after.get(..third)?)?);
    let found = match (end, third) {
        (4, 1 | 2) => Some(days(a, b, c)?),
        (1 | 2, 4) if sign == b'.' => Some(days(c, b, a)?),
        (1 | 2, 4) => None,
        _ => return None,
    };
    Some((found, &after[third..]))
}

fn between(rest: &[u8]) -> Option<&[u8]> {
    match rest {
        [b',', b' ', rest @ ..] | [b'T' | b't' | b' ' | b'_', rest @ ..] => Some(rest),
        _ => None,
    }
}

/// Digits as a number; at most four of them.
fn two4(digits: &[u8]) -> Option<i64> {
    let good = (1..=4).contains(&digits.len()) && digits.iter().all(u8::is_ascii_digit);
    good.then(|| digits.iter().fold(0, |n, b| n * 10 + i64::from(b - b'0')))
}

/// Seconds since midnight, nanoseconds, digits of the fraction, what follows.
fn time(text: &[u8]) -> Option<(i64, i64, i32, &[u8])> {
    let mut parts = [0; 3];
    let (mut count, mut rest) = (0, text);
    if let [h1, h2, m1, m2, s1, s2, after @ ..] = text
        && [h1, h2, m1, m2, s1, s2].iter().all(|b| b.is_ascii_digit())
    {
        parts = [two4(&text[..2])?, two4(&text[2..4])?, two4(&text[4..6])?];
        (count, rest) = (3, after);
    } else {
        loop {
            let end = rest.iter().position(|b| !b.is_ascii_digit()).unwrap_or(rest.len());
            *parts.get_mut(count)? = two4(rest.get(..end)?)?;
            if count > 0 && end != 2 {
                return None;
            }
            count += 1;
            rest = &rest[end..];
            match rest {
                [b':', after @ ..] if count < 3 => rest = after,
                _ => break,
            }
        }
    }
    let (fraction_ns, digits, rest) = fraction(rest)?;
    let (hour, minute, second) = match count {
        3 => (parts[0], parts[1], parts[2]),
        // Minutes and seconds, only where a fraction tells them from hours and minutes.
        2 if digits > 0 => (0, parts[0], parts[1]),
        _ => return None,
    };
    let fits = hour <= 23 && minute <= 59 && second <= 60;
    fits.then_some((hour * 3600 + minute * 60 + second, fraction_ns, digits, rest))
}

fn fraction(text: &[u8]) -> Option<(i64, i32, &[u8])> {
    let [b'.' | b',', digits @ ..] = text else { return Some((0, 0, text)) };
    let end = digits.iter().position(|b| !b.is_ascii_digit()).unwrap_or(digits.len());
    let Cell::Number(fraction) = number::parse(digits.get(..end.min(9))?, Marks::plain(b'.')) else {
        return None;
    };
    let scale = i32::try_from(end.min(9)).ok()?;
    Some((Decimal { scale, ..fraction }.nanoseconds(Unit::Second)?, scale, &digits[end..]))
}

fn half_day(seconds: i64, text: &[u8]) -> Option<(i64, &[u8])> {
    let bare = text.trim_ascii_start();
    let Some(word) = bare.get(..2) else { return Some((seconds, text)) };
    let hour = seconds / 3600;
    let shift = if word.eq_ignore_ascii_case(b"am") {
        if hour == 12 { -12 } else { 0 }
    } else if word.eq_ignore_ascii_case(b"pm") {
        if hour < 12 { 12 } else { 0 }
    } else {
        return Some((seconds, text));
    };
    (1..=12).contains(&hour).then(|| (seconds + shift * 3600, &bare[2..]))
}

fn offset(text: &[u8]) -> Option<Option<i32>> {
    let two = |a: &u8, b: &u8| {
        (a.is_ascii_digit() && b.is_ascii_digit()).then(|| i32::from(a - b'0') * 10 + i32::from(b - b'0'))
    };
    Some(match text {
        [] => None,
        [b'Z' | b'z'] => Some(0),
        [sign @ (b'+' | b'-'), a, b, b':', c, d] | [sign @ (b'+' | b'-'), a, b, c, d] => {
            let seconds = two(a, b)? * 3600 + two(c, d)? * 60;
            Some(if *sign == b'-' { -seconds } else { seconds })
        }
        _ => return None,
    })
}

/// Days from 1970-01-01 of the Gregorian calendar: whole years of 365 days, leap days, then the day within its year.
fn days(year: i64, month: i64, day: i64) -> Option<i64> {
    let leap = year % 4 == 0 && (year % 100 != 0 || year % 400 == 0);
    let before = [0, 31, 59, 90, 120, 151, 181, 212, 243, 273, 304, 334, 365];
    let index = usize::try_from(month.checked_sub(1)?).ok()?;
    let (from, to) = (before.get(index)?, before.get(index + 1)?);
    let leap_day = i64::from(leap && month == 2);
    if !(1..=to - from + leap_day).contains(&day) {
        return None;
    }
    let past = year - 1;
    let leap_days = past.div_euclid(4) - past.div_euclid(100) + past.div_euclid(400);
    // 719 162 days lie between 0001-01-01 and 1970-01-01.
    Some(past * 365 + leap_days + from + i64::from(leap && month > 2) + day - 1 - 719_162)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ns(text: &str) -> Option<(i64, bool, Option<i32>)> {
        stamp(text.as_bytes()).map(|s| (s.ns(), s.dated, s.offset_s))
    }

    /// `date -u -d '2026-11-24 22:30:33.638' +%s%N` of GNU coreutils: 1795559433638000000.
    #[test]
    fn one_moment_in_all_its_forms() {
        let at = 1_795_559_433_638_000_000;
        for text in ["2026-11-24T22:30:33.638Z", "20261124T223033.638Z", "2026-11-24 23:30:33.638+01:00"] {
            let got = ns(text).map(|(ns, dated, zone)| (ns, dated, zone.is_some()));
            assert_eq!(got, Some((at, true, true)), "{text}");
        }
        for text in [
            "2026-11-24 22:30:33,638",
            "24.11.2026 22:30:33.638",
            "24.11.2026, 22:30:33,638",
            "2026/11/24 22:30:33.638",
            "24.11.2026 10:30:33.638 PM",
        ] {
            assert_eq!(ns(text), Some((at, true, None)), "{text}");
        }
    }

    /// Outside reference: the calendar of the `jiff` crate.
    #[test]
    fn days_are_those_of_the_calendar() {
        let epoch = jiff::civil::date(1970, 1, 1);
        for year in [0, 1, 1600, 1900, 1969, 1970, 1999, 2000, 2023, 2024, 2026, 2100, 9999] {
            for (month, day) in (0..=13).flat_map(|month| (0..=32).map(move |day| (month, day))) {
                let want = jiff::civil::Date::new(year, month, day)
                    .ok()
                    .map(|date| date.duration_since(epoch).as_secs() / 86_400);
                assert_eq!(days(year.into(), month.into(), day.into()), want, "{year}-{month}-{day}");
            }
        }
    }

    #[test]
    fn a_date_on_which_no_log_was_written_is_none() {
        for text in ["1970-01-01 00:00:00", "2199-12-31 23:59:59"] {
            assert!(ns(text).is_some(), "{text}");
        }
        for text in
            ["1969-12-31 23:59:59", "2200-01-01 00:00:00", "1677-09-21T00:12:44", "9999-12-31T00:00:00Z"]
        {
            assert_eq!(ns(text), None, "{text}");
        }
    }

    #[test]
    fn times_of_day_and_dates_that_can_be_read_in_two_ways_have_no_date() {
        let of_day = (22 * 3600 + 30 * 60 + 33) * NS_PER_S;
        for text in ["22:30:33", "10:30:33 pm", "1/2/2026 22:30:33", "1/2/2026 10:30:33 PM"] {
            assert_eq!(ns(text), Some((of_day, false, None)), "{text}");
        }
        assert_eq!(ns("02:03.5"), Some((123 * NS_PER_S + NS_PER_S / 2, false, None)));
        assert_eq!(ns("0:02:03.5"), Some((123 * NS_PER_S + NS_PER_S / 2, false, None)));
    }

    #[test]
    fn what_is_no_stamp() {
        for text in
            ["16.6667", "2026-11-24", "25:00:00", "12:61:00", "2026-13-01T00:00:00Z", "1:2:3", "a:b:c.d"]
        {
            assert_eq!(ns(text), None, "{text}");
        }
    }
}
