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

/// Powers of ten that 63 bits hold.
pub(super) const POWERS: [i64; 19] = {
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
#[inline]
pub fn parse(cell: &[u8], marks: Marks) -> Cell {
    match plain(cell, marks.decimal) {
        Some(number) => Cell::Number(number),
        None => parse_any(cell, marks),
    }
}

/// What is not just digits with a mark among them.
fn parse_any(cell: &[u8], marks: Marks) -> Cell {
    // No word for a number or for nothing begins with another letter than N or I.
    if let [first, ..] = cell
        && first.is_ascii_alphabetic()
        && !matches!(first, b'N' | b'n' | b'I' | b'i')
    {
        return Cell::Words;
    }
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

/// Digits with at most one mark, too few of them to overflow: what nearly every cell of a log is. Eight are taken at
/// once, in the places of one integer.
pub fn plain(digits: &[u8], mark: u8) -> Option<Decimal> {
    let length = digits.len();
    match length {
        4..=8 => {
            let (first, last) = (digits.first_chunk::<4>()?, digits.last_chunk::<4>()?);
            let last = u64::from(u32::from_le_bytes(*last)) << (8 * (length - 4));
            plain_short(u64::from(u32::from_le_bytes(*first)) | last, length, mark)
        }
        9..=16 => {
            let first = u64::from_le_bytes(*digits.first_chunk::<8>()?);
            let last = u64::from_le_bytes(*digits.last_chunk::<8>()?);
            // Where the mark stands; a whole number has it behind its last digit.
            let at = match (first_of(first, mark), first_of(last, mark)) {
                (Some(at), _) => at,
                (None, Some(at)) => length - 8 + at,
                (None, None) => return both(digits, first, last, length - 8, 0),
            };
            let after = length - 1 - at;
            if at > 8 || after > 8 {
                return plain_long(digits, mark);
            }
            both(digits, if at == 0 { ZEROS } else { right_aligned(first, at) }, last, after, after)
        }
        1..=3 => {
            let word = digits.iter().rev().fold(0, |word, b| word << 8 | u64::from(*b));
            plain_short(word, length, mark)
        }
        _ => plain_long(digits, mark),
    }
}

/// A number from a word of its first eight digits and one that ends in its last `after` ones.
#[inline]
fn both(digits: &[u8], first: u64, last: u64, after: usize, scale: usize) -> Option<Decimal> {
    debug_assert!(digits.len() >= 9 && after <= 8);
    let own = if after == 0 { 0 } else { u64::MAX << (8 * (8 - after)) };
    let mantissa = eight_digits(first)? * POWERS.get(after)? + eight_digits(last & own | ZEROS & !own)?;
    Some(Decimal { mantissa, scale: i32::try_from(scale).ok()? })
}

/// Up to eight bytes, the first one lowest in the word.
#[inline]
fn plain_short(word: u64, length: usize, mark: u8) -> Option<Decimal> {
    let (word, length, scale) = match first_of(word, mark) {
        Some(at) if at < length => {
            let below = word & !(u64::MAX << (8 * at));
            (below | (word >> (8 * at)) >> 8 << (8 * at), length - 1, length - 1 - at)
        }
        _ => (word, length, 0),
    };
    if length == 0 {
        return None;
    }
    let mantissa = eight_digits(right_aligned(word, length))?;
    Some(Decimal { mantissa, scale: i32::try_from(scale).ok()? })
}

/// A one in each byte.
const EACH: u64 = u64::MAX / 255;
/// Eight times the digit zero.
pub(super) const ZEROS: u64 = EACH * 0x30;

/// Where a byte first stands in a word, from its low end.
#[inline]
fn first_of(word: u64, byte: u8) -> Option<usize> {
    let other = word ^ (EACH * u64::from(byte));
    let found = other.wrapping_sub(EACH) & !other & (EACH << 7);
    (found != 0).then_some(found.trailing_zeros() as usize / 8)
}

/// The first `length` digits of a word, one to eight, with zeros written before them.
#[inline]
fn right_aligned(word: u64, length: usize) -> u64 {
    let free = 8 * (8 - length);
    word << free | (ZEROS & !(u64::MAX << free))
}

/// The number that eight digits are; they are put together in pairs, fours, eights.
#[inline]
fn eight_digits(word: u64) -> Option<i64> {
    together(word ^ ZEROS)
}

/// The number of eight digits from 0 to 9 in the bytes of a word, the last one highest; `None` where one is none.
#[inline]
pub(super) fn together(digits: u64) -> Option<i64> {
    if (digits | digits.wrapping_add(EACH * (0x7F - 9))) & (EACH << 7) != 0 {
        return None;
    }
    let pairs = digits.wrapping_mul(10).wrapping_add(digits >> 8);
    let of = |pairs: u64, factors: u64| (pairs & 0x0000_00FF_0000_00FF).wrapping_mul(factors);
    let sum = of(pairs, 0x000F_4240_0000_0064).wrapping_add(of(pairs >> 16, 0x0000_2710_0000_0001));
    Some((sum >> 32).cast_signed())
}

/// The same, digit by digit.
fn plain_long(digits: &[u8], mark: u8) -> Option<Decimal> {
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
    #[inline]
    pub fn value(self) -> f64 {
        let mantissa = self.mantissa as f64;
        if let Some(&power) = usize::try_from(self.scale).ok().and_then(|s| EXACT_POWERS.get(s)) {
            return mantissa / power;
        }
        if self.scale >= 0 { mantissa / 10_f64.powi(self.scale) } else { mantissa * 10_f64.powi(-self.scale) }
    }

    /// The difference to another, taken before it is rounded: large numbers differ by little.
    #[inline]
    pub fn less(self, other: Self) -> f64 {
        if let (true, Some(mantissa)) = (self.scale == other.scale, self.mantissa.checked_sub(other.mantissa))
        {
            return Self { mantissa, scale: self.scale }.value();
        }
        self.less_of_another_scale(other)
    }

    fn less_of_another_scale(self, other: Self) -> f64 {
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
        self.to_power(exponent(unit)?)
    }

    /// The number times ten to a power, whole, halves away from zero; `None` when it does not fit.
    #[inline]
    pub fn to_power(self, exponent: i32) -> Option<i64> {
        let shift = exponent - self.scale;
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
    use proptest::prelude::*;
    use proptest::test_runner::RngSeed;

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

    proptest! {
        #![proptest_config(ProptestConfig { rng_seed: RngSeed::Fixed(12), cases: 4096, ..ProptestConfig::default() })]

        /// The standard library reads the same number; digit by digit it is the same as all at once.
        #[test]
        fn digits_at_once_are_digits_one_by_one(cell in "[0-9]{0,10}[.,]?[0-9]{0,9}", spoilt in any::<Option<(u8, usize)>>()) {
            let mut cell = cell.into_bytes();
            if let Some((byte, at)) = spoilt.filter(|_| !cell.is_empty()) {
                let at = at % cell.len();
                cell[at] = byte;
            }
            for mark in [b'.', b','] {
                prop_assert_eq!(super::plain(&cell, mark), plain_long(&cell, mark));
            }
            let text = String::from_utf8_lossy(&cell);
            if let (Some(n), Ok(value)) = (super::plain(&cell, b'.'), text.parse::<f64>()) {
                prop_assert!(n.mantissa >= 1 << 53 || n.value() == value, "{}", text);
            }
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
