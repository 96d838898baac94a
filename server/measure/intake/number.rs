//! Cells to numbers and times, exactly: decimal digits become integers and never pass through a float on their way
//! to nanoseconds.

use crate::recording::Unit;

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

/// Marks inside numbers.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Marks {
    /// Between the whole part and the rest.
    pub decimal: u8,
    /// Whether groups of three digits are set apart.
    pub grouped: bool,
}

impl Marks {
    /// A decimal mark and no groups.
    pub const fn plain(decimal: u8) -> Self {
        Self { decimal, grouped: false }
    }
}

/// Reads a trimmed cell. Digits after the mark beyond what 63 bits hold are cut off.
pub fn parse(cell: &[u8], marks: Marks) -> Cell {
    match parse_plain(cell, marks.decimal) {
        Cell::Words if marks.grouped => {
            let mut room = [0; 40];
            ungrouped(cell, marks.decimal, &mut room)
                .map_or(Cell::Words, |digits| parse_plain(digits, marks.decimal))
        }
        read => read,
    }
}

/// The cell without the marks between groups of three digits; `None` where it is not grouped so.
fn ungrouped<'a>(cell: &[u8], decimal: u8, room: &'a mut [u8; 40]) -> Option<&'a [u8]> {
    let (mut length, mut in_group, mut mark) = (0, 0, None);
    let mut rest = cell;
    while let Some((&b, after)) = rest.split_first() {
        let group_mark = match rest {
            [0xC2, 0xA0, after @ ..] | [0xE2, 0x80, 0xAF | 0x99, after @ ..] => Some(after),
            [b' ' | b'\'' | b'.' | b',' | 0xA0 | 0x92, after @ ..] if b != decimal => Some(after),
            _ => None,
        };
        if let Some(after) = group_mark {
            let first = mark.is_none() && (1..=3).contains(&in_group);
            if *mark.get_or_insert(b) != b || !(first || in_group == 3) {
                return None;
            }
            (in_group, rest) = (0, after);
            continue;
        }
        if b == decimal {
            break;
        }
        in_group += usize::from(b.is_ascii_digit());
        *room.get_mut(length)? = b;
        length += 1;
        rest = after;
    }
    if mark.is_none() || in_group != 3 {
        return None;
    }
    let end = length + rest.len();
    room.get_mut(length..end)?.copy_from_slice(rest);
    room.get(..end)
}

fn parse_plain(cell: &[u8], mark: u8) -> Cell {
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
                    Some(e) if e > 0 => return Cell::NotFinite,
                    Some(_) => return Cell::Number(Decimal { mantissa: 0, scale: 0 }),
                    None => return Cell::Words,
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

    /// The difference to another, taken before it is rounded: large numbers differ by little.
    pub fn less(self, other: Self) -> f64 {
        let scale = self.scale.max(other.scale);
        let common = |n: Self| {
            let up = u32::try_from(scale - n.scale).ok()?;
            i128::from(n.mantissa).checked_mul(10_i128.checked_pow(up)?)
        };
        match common(self).zip(common(other)).and_then(|(a, b)| a.checked_sub(b)) {
            Some(difference) => difference as f64 / 10_f64.powi(scale),
            None => self.value() - other.value(),
        }
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

#[cfg(test)]
mod tests {
    use super::*;

    fn value(cell: &str, decimal: u8) -> Option<f64> {
        match parse(cell.as_bytes(), Marks { decimal, grouped: true }) {
            Cell::Number(n) => Some(n.value()),
            _ => None,
        }
    }

    #[test]
    fn groups_of_three_digits_are_set_apart_by_any_of_the_usual_marks() {
        for cell in [
            "1,234,567.5",
            "1 234 567.5",
            "1'234'567.5",
            "1\u{a0}234\u{a0}567.5",
            "1\u{202f}234\u{202f}567.5",
        ] {
            assert_eq!(value(cell, b'.'), Some(1_234_567.5), "{cell}");
        }
        assert_eq!(value("1.234,5", b','), Some(1234.5));
        assert_eq!(value("-1.234", b','), Some(-1234.0));
        for cell in ["12,34.5", "1,2345", "1,234'567", ",123", "1,,234"] {
            assert_eq!(value(cell, b'.'), None, "{cell}");
        }
    }

    #[test]
    fn exponents_that_no_double_holds_are_not_finite() {
        let plain = Marks::plain(b'.');
        assert_eq!(parse(b"1e999", plain), Cell::NotFinite);
        assert_eq!(parse(b"1e-999", plain), Cell::Number(Decimal { mantissa: 0, scale: 0 }));
        assert_eq!(parse(b"1e-3", plain), Cell::Number(Decimal { mantissa: 1, scale: 3 }));
    }
}
