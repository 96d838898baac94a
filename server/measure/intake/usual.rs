//! Numbers of a column that are written as the one before: read from the end of their cell, eight bytes at once.

use super::number::{Cell, Decimal, POWERS, ZEROS, together};

/// How the numbers of a column are mostly written: with so many digits after the mark.
///
/// Reads a cell from its end, two words of eight bytes: no branch depends on how long the whole part is, which changes
/// from row to row, and no byte is looked at by itself.
#[derive(Clone, Copy)]
pub struct Usual {
    mark: u8,
    scale: usize,
    written: i32,
    /// Eight times the scale.
    after_bits: usize,
    /// The bytes of a word that stand after the mark.
    after: u64,
    /// Ten to the power of the scale.
    power: i64,
}

impl Usual {
    /// Digits after the mark that fit in a word.
    const MOST: usize = 8;

    /// For numbers with a decimal mark; whole ones so far.
    pub fn new(mark: u8) -> Self {
        Self { mark, scale: 0, written: 0, after_bits: 0, after: 0, power: 1 }
    }

    /// Digits after the mark.
    pub fn scale(&self) -> i32 {
        self.written
    }

    /// The digits of the cell from `from` to `to` of a text as [`parse`] reads them, `last` being the word before its
    /// end; `None` where it is written in another way, or too near the beginning. For whole numbers.
    #[inline(always)]
    pub fn whole(last: u64, from: usize, to: usize) -> Option<i64> {
        digits_at_end(last, to.wrapping_sub(from))
    }

    /// The same for numbers with digits after the mark.
    #[inline(always)]
    pub fn broken(&self, text: &[u8], last: u64, from: usize, to: usize) -> Option<i64> {
        let mark = to.wrapping_sub(self.scale + 1);
        let whole = mark.wrapping_sub(from);
        let first = word_before(text, mark)?;
        if text[mark] != self.mark || whole.wrapping_sub(1) >= 8 {
            return None;
        }
        let free = 64 - 8 * whole;
        let after = (last ^ ZEROS) & self.after;
        if free >= self.after_bits {
            together((first ^ ZEROS) >> free << (free - self.after_bits) | after)
        } else {
            Some(digits_at_end(first, whole)? * self.power + together(after)?)
        }
    }

    /// Takes to the way in which another cell is written.
    pub fn note(&mut self, cell: Cell) {
        let Cell::Number(Decimal { scale: written, .. }) = cell else { return };
        if let Some(scale) = usize::try_from(written).ok().filter(|scale| *scale <= Self::MOST) {
            (self.scale, self.written, self.after_bits, self.power) =
                (scale, written, 8 * scale, POWERS[scale]);
            self.after = if scale == 0 { 0 } else { u64::MAX << (64 - self.after_bits) };
        }
    }
}

/// The eight bytes before a place.
#[inline]
pub fn word_before(text: &[u8], to: usize) -> Option<u64> {
    Some(u64::from_le_bytes(*text.get(..to)?.last_chunk::<8>()?))
}

/// The number that the last `length` bytes of a word are, one to eight.
#[inline]
fn digits_at_end(word: u64, length: usize) -> Option<i64> {
    if length.wrapping_sub(1) >= 8 {
        return None;
    }
    let free = 64 - 8 * length;
    together((word ^ ZEROS) >> free << free)
}
