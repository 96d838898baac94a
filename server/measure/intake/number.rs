//! Cells to numbers and times, exactly: decimal digits become integers and never pass through a float on their way
//! to nanoseconds.

use jiff::civil::Date;

use crate::recording::{NS_PER_S, Unit};

/// A decimal number as written: `mantissa / 10^scale`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Decimal {
    /// All digits, with the sign.
    pub mantissa: i64,
    /// How many of them stand after the mark (less than 0 for a large exponent).
    pub scale: i32,
}

/// What a cell holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Cell {
    /// A finite number.
    Number(Decimal),
    /// Nothing, or a word for nothing.
    Missing,
    /// Not a number, or infinite.
    NotFinite,
    /// Anything else.
    Words,
}

const POWERS: [i64; 19] = {
    let mut powers = [1; 19];
    let mut i = 1;
    while i < 19 {
        powers[i] = powers[i - 1] * 10;
        i += 1;
    }
    powers
};

/// Powers of ten that a double holds exactly.
const EXACT_POWERS: [f64; 23] = {
    let mut powers = [1.0; 23];
    let mut i = 1;
    while i < 23 {
        powers[i] = powers[i - 1] * 10.0;
        i += 1;
    }
    powers
};

fn power(exponent: u32) -> Option<i64> {
    POWERS.get(usize::try_from(exponent).ok()?).copied()
}

/// Reads a trimmed cell; `mark` is the decimal mark. Digits after the mark beyond what 63 bits hold are cut off.
pub fn parse(cell: &[u8], mark: u8) -> Cell {
    let (negative, digits) = match cell {
        [b'-', rest @ ..] => (true, rest),
        [b'+', rest @ ..] => (false, rest),
        rest => (false, rest),
    };
    if let Some(plain) = plain(digits, mark) {
        let mantissa = if negative { -plain.mantissa } else { plain.mantissa };
        return Cell::Number(Decimal { mantissa, ..plain });
    }
    let mut mantissa: i64 = 0;
    let mut scale = 0;
    let mut seen = false;
    let mut after_mark = false;
    for (i, &b) in digits.iter().enumerate() {
        match b {
            b'0'..=b'9' => {
                seen = true;
                match mantissa.checked_mul(10).and_then(|m| m.checked_add(i64::from(b - b'0'))) {
                    Some(m) => {
                        mantissa = m;
                        scale += i32::from(after_mark);
                    }
                    None if after_mark => {}
                    None => return Cell::Words,
                }
            }
            b if b == mark && !after_mark => after_mark = true,
            b'e' | b'E' if seen => {
                let exponent = std::str::from_utf8(&digits[i + 1..]).ok().and_then(|e| e.parse::<i32>().ok());
                match exponent {
                    Some(e) if e.abs() < 100 => scale -= e,
                    _ => return Cell::Words,
                }
                break;
            }
            _ => return other(cell),
        }
    }
    if !seen {
        return other(cell);
    }
    Cell::Number(Decimal { mantissa: if negative { -mantissa } else { mantissa }, scale })
}

/// Digits with at most one mark, too few of them to overflow: what nearly every cell of a log is.
fn plain(digits: &[u8], mark: u8) -> Option<Decimal> {
    if digits.len() > 18 {
        return None;
    }
    let mut mantissa: i64 = 0;
    let mut after = None;
    for (i, &b) in digits.iter().enumerate() {
        let digit = b.wrapping_sub(b'0');
        if digit < 10 {
            mantissa = mantissa * 10 + i64::from(digit);
        } else if b == mark && after.is_none() {
            after = Some(digits.len() - 1 - i);
        } else {
            return None;
        }
    }
    let marks = usize::from(after.is_some());
    (digits.len() > marks).then_some(Decimal { mantissa, scale: i32::try_from(after.unwrap_or(0)).ok()? })
}

fn other(cell: &[u8]) -> Cell {
    let bare = cell.strip_prefix(b"-").or_else(|| cell.strip_prefix(b"+")).unwrap_or(cell);
    let is = |words: &[&str]| words.iter().any(|w| bare.eq_ignore_ascii_case(w.as_bytes()));
    match () {
        () if bare.is_empty() || is(&["-", "na", "n/a", "null", "none", "--"]) => Cell::Missing,
        () if is(&["nan", "inf", "infinity", "1.#inf", "1.#ind", "1.#qnan"]) => Cell::NotFinite,
        () => Cell::Words,
    }
}

impl Decimal {
    /// The nearest double (exact to half a unit in the last place while the digits fit in 53 bits).
    pub fn value(self) -> f64 {
        let mantissa = self.mantissa as f64;
        if let Some(&power) = usize::try_from(self.scale).ok().and_then(|s| EXACT_POWERS.get(s)) {
            return mantissa / power;
        }
        if self.scale >= 0 { mantissa / 10_f64.powi(self.scale) } else { mantissa * 10_f64.powi(-self.scale) }
    }

    /// Whole nanoseconds, halves away from zero; `None` when they do not fit.
    pub fn nanoseconds(self, unit: Unit) -> Option<i64> {
        let shift = exponent(unit)? - self.scale;
        if let Ok(up) = u32::try_from(shift) {
            return if self.mantissa == 0 { Some(0) } else { self.mantissa.checked_mul(power(up)?) };
        }
        let Some(divisor) = power(shift.unsigned_abs()) else { return Some(0) };
        let (whole, rest) = (self.mantissa / divisor, self.mantissa % divisor);
        let away = if rest.unsigned_abs() >= divisor.unsigned_abs().div_ceil(2) {
            self.mantissa.signum()
        } else {
            0
        };
        Some(whole + away)
    }
}

/// Power of ten of a time unit in nanoseconds; `None` for what is not a time unit.
pub fn exponent(unit: Unit) -> Option<i32> {
    match unit {
        Unit::Second => Some(9),
        Unit::Millisecond => Some(6),
        Unit::Microsecond => Some(3),
        Unit::Nanosecond => Some(0),
        _ => None,
    }
}

/// The time unit with this power of ten in nanoseconds.
pub fn time_unit(exponent: i32) -> Option<Unit> {
    match exponent {
        9 => Some(Unit::Second),
        6 => Some(Unit::Millisecond),
        3 => Some(Unit::Microsecond),
        0 => Some(Unit::Nanosecond),
        _ => None,
    }
}

/// A date and time of day as written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Stamp {
    /// Nanoseconds since 1970-01-01 00:00 on the stamp's own clock face.
    pub face_ns: i64,
    /// Seconds by which that face is ahead of UTC; `None` when it names no zone.
    pub offset_s: Option<i32>,
}

impl Stamp {
    /// Nanoseconds for differences between stamps of one log: UTC where the zone is known.
    pub fn ns(self) -> i64 {
        self.face_ns - i64::from(self.offset_s.unwrap_or(0)) * NS_PER_S
    }
}

/// Reads `YYYY-MM-DD`, `T` or a space, `hh:mm:ss`, an optional fraction, and `Z`, `+hh:mm`, `+hhmm` or nothing
/// (ISO 8601-1:2019, section 5.4, extended format).
pub fn stamp(cell: &[u8]) -> Option<Stamp> {
    let [y1, y2, y3, y4, b'-', m1, m2, b'-', d1, d2, b'T' | b't' | b' ', rest @ ..] = cell else {
        return None;
    };
    let [h1, h2, b':', n1, n2, b':', s1, s2, rest @ ..] = rest else { return None };
    let two = |a: &u8, b: &u8| {
        (a.is_ascii_digit() && b.is_ascii_digit()).then(|| i64::from(a - b'0') * 10 + i64::from(b - b'0'))
    };
    let year = two(y1, y2)? * 100 + two(y3, y4)?;
    let (month, day) = (two(m1, m2)?, two(d1, d2)?);
    let (hour, minute, second) = (two(h1, h2)?, two(n1, n2)?, two(s1, s2)?);
    if hour > 23 || minute > 59 || second > 60 {
        return None;
    }
    let (fraction_ns, rest) = match rest {
        [b'.' | b',', digits @ ..] => {
            let end = digits.iter().position(|b| !b.is_ascii_digit()).unwrap_or(digits.len());
            let Cell::Number(fraction) = parse(digits.get(..end.min(9))?, b'.') else { return None };
            let scale = i32::try_from(end.min(9)).ok()?;
            (Decimal { scale, ..fraction }.nanoseconds(Unit::Second)?, &digits[end..])
        }
        rest => (0, rest),
    };
    let offset_s = match rest {
        [] => None,
        [b'Z' | b'z'] => Some(0),
        [sign @ (b'+' | b'-'), a, b, b':', c, d] | [sign @ (b'+' | b'-'), a, b, c, d] => {
            let seconds = i32::try_from(two(a, b)? * 3600 + two(c, d)? * 60).ok()?;
            Some(if *sign == b'-' { -seconds } else { seconds })
        }
        _ => return None,
    };
    let days =
        days_since_1970(i16::try_from(year).ok()?, i8::try_from(month).ok()?, i8::try_from(day).ok()?)?;
    let seconds = days * 86_400 + hour * 3600 + minute * 60 + second;
    Some(Stamp { face_ns: seconds.checked_mul(NS_PER_S)?.checked_add(fraction_ns)?, offset_s })
}

fn days_since_1970(year: i16, month: i8, day: i8) -> Option<i64> {
    let epoch = Date::new(1970, 1, 1).ok()?;
    let date = Date::new(year, month, day).ok()?;
    Some(date.duration_since(epoch).as_secs() / 86_400)
}
