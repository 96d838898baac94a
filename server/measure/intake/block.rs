//! Plain rows, cut many at once: as many cells in each as the table is wide, no quotes, a line end behind each.
//!
//! Nearly all rows of a log are plain. Cutting them in one go over the bytes, and reading their cells column by
//! column, costs a fraction of row by row; what is not plain stops a block and is read by itself (`lines.rs`).

use memchr::memchr;
use wide::u8x16;

use super::lines::{BLANKS, without_return};
use super::number::{self, Cell, Decimal, Marks, Usual};

/// Bytes of a block at most: with the places of its cells it stays in the nearest cache.
pub const BYTES: usize = 8 * 1024;
/// Bytes that are compared at once.
const STRETCH: usize = 64;

/// Where a row's cells are.
pub trait Row {
    /// Cell `column` (from 0), trimmed; empty where the row has fewer.
    fn cell(&self, column: usize) -> &[u8];

    /// Its place in the block that was read ahead, where it is of one.
    fn ahead(&self) -> Option<usize> {
        None
    }
}

/// Where the cells of some plain rows end in their text.
pub struct Block {
    /// Room for one in each byte, and for what is written ahead.
    ends: Vec<usize>,
    width: usize,
    rows: usize,
}

impl Block {
    /// An empty one for rows of `width` cells.
    pub fn new(width: usize) -> Self {
        Self { ends: vec![0; BYTES + 2 * STRETCH], width, rows: 0 }
    }

    /// Whether cells between such delimiters can be told by their bytes alone.
    pub fn cuts_at(delimiter: u8) -> bool {
        !matches!(delimiter, BLANKS | b'|')
    }

    /// Rows in it.
    pub fn rows(&self) -> usize {
        self.rows
    }

    /// Cuts the plain rows that `text` begins with; gives how many bytes they take with their line ends.
    pub fn cut(&mut self, text: &[u8], line_end: u8, delimiter: u8) -> usize {
        let text = &text[..text.len().min(BYTES)];
        let text = &text[..memchr(b'"', text).unwrap_or(text.len())];
        let (stretches, rest) = text.as_chunks::<STRETCH>();
        let mut last = [0; STRETCH];
        last[..rest.len()].copy_from_slice(rest);
        let (mut count, mut lines) = (0, 0);
        for (stretch, base) in
            stretches.iter().chain((!rest.is_empty()).then_some(&last)).zip((0..).step_by(STRETCH))
        {
            let (ends, line_ends) = places(stretch, delimiter, line_end);
            lines += line_ends.count_ones() as usize;
            count += note(&mut self.ends[count..], base, ends);
        }
        self.rows = self.plain_rows(text, &self.ends[..count], line_end, lines);
        if self.rows == 0 { 0 } else { self.ends[self.rows * self.width - 1] + 1 }
    }

    /// How many rows from the first on are plain, of cells that end in `ends`.
    fn plain_rows(&self, text: &[u8], ends: &[usize], line_end: u8, lines: usize) -> usize {
        let rows = ends.chunks_exact(self.width);
        let ended = |row: &&[usize]| row.last().is_some_and(|&end| text[end] == line_end);
        // With as many line ends as rows there is none before the last cell.
        let plain = rows.clone().take_while(ended).count();
        if plain == lines {
            return plain;
        }
        rows.take_while(|row| row.iter().position(|&end| text[end] == line_end) == Some(self.width - 1))
            .count()
    }

    /// From where to where a cell of a row stands in the text, blanks around it and a carriage return included.
    #[inline]
    fn bounds(&self, row: usize, column: usize) -> (usize, usize) {
        let place = row * self.width + column;
        (if place == 0 { 0 } else { self.ends[place - 1] + 1 }, self.ends[place])
    }

    /// A row without its line end.
    pub fn line<'t>(&self, text: &'t [u8], row: usize) -> &'t [u8] {
        let (from, to) = (self.bounds(row, 0).0, self.bounds(row, self.width - 1).1);
        without_return(&text[from..to])
    }

    /// One of its cells, trimmed; empty where rows have fewer.
    pub fn cell<'t>(&self, text: &'t [u8], row: usize, column: usize) -> &'t [u8] {
        if column >= self.width {
            return &[];
        }
        let (from, to) = self.bounds(row, column);
        text[from..to].trim_ascii()
    }

    /// One of its rows in its text.
    pub fn row<'a>(&'a self, text: &'a [u8], row: usize) -> RowOfBlock<'a> {
        RowOfBlock { block: self, text, row }
    }

    /// Gives what one column holds, row by row.
    #[inline]
    pub fn each(&self, text: &[u8], column: usize, marks: Marks, mut take: impl FnMut(Cell)) {
        let mut usual = Usual::new(marks.decimal);
        let mut row = 0;
        while row < self.rows {
            let way = usual;
            let number = |mantissa| Cell::Number(Decimal { mantissa, scale: way.scale() });
            // A loop for each way of writing: nothing in it is asked anew for each row.
            let mut go_on = |read: Option<i64>| read.map(|mantissa| take(number(mantissa))).is_some();
            row += match way.scale() {
                0 => self
                    .bounds_from(text, row, column)
                    .take_while(|&(from, to)| go_on(Usual::whole(text, from, to)))
                    .count(),
                _ => self
                    .bounds_from(text, row, column)
                    .take_while(|&(from, to)| go_on(way.broken(text, from, to)))
                    .count(),
            };
            if row < self.rows {
                take(unusual(&mut usual, self.cell(text, row, column), marks));
                row += 1;
            }
        }
    }

    /// Bounds of the cells of a column from a row on, without the carriage return of a line's end.
    #[inline(always)]
    fn bounds_from<'a>(
        &'a self,
        text: &'a [u8],
        row: usize,
        column: usize,
    ) -> impl Iterator<Item = (usize, usize)> + 'a {
        let last = column + 1 == self.width;
        let ends = &self.ends[row * self.width..self.rows * self.width];
        let mut line = if row == 0 { 0 } else { self.ends[row * self.width - 1] + 1 };
        ends.chunks_exact(self.width).map(move |ends| {
            let from = if column == 0 { line } else { ends[column - 1] + 1 };
            let mut to = ends[column];
            if last {
                to -= usize::from(text[from..to].ends_with(b"\r"));
            }
            line = ends[ends.len() - 1] + 1;
            (from, to)
        })
    }
}

/// A cell that is written in another way than those before it.
#[cold]
fn unusual(usual: &mut Usual, cell: &[u8], marks: Marks) -> Cell {
    let cell = number::parse(cell, marks);
    usual.note(cell);
    cell
}

/// A row of a block.
#[derive(Clone, Copy)]
pub struct RowOfBlock<'a> {
    block: &'a Block,
    text: &'a [u8],
    row: usize,
}

impl RowOfBlock<'_> {
    /// The byte that its line begins with.
    pub fn first_byte(&self) -> Option<u8> {
        self.text.get(self.block.bounds(self.row, 0).0).copied()
    }
}

impl Row for RowOfBlock<'_> {
    fn cell(&self, column: usize) -> &[u8] {
        self.block.cell(self.text, self.row, column)
    }

    fn ahead(&self) -> Option<usize> {
        Some(self.row)
    }
}

/// Where in a stretch cells end, by their delimiter or their line's end, and where lines end: a bit for each byte.
fn places(stretch: &[u8; STRETCH], delimiter: u8, line_end: u8) -> (u64, u64) {
    let (delimiter, line_end) = (u8x16::splat(delimiter), u8x16::splat(line_end));
    let (parts, _) = stretch.as_chunks::<16>();
    let (mut ends, mut line_ends) = (0, 0);
    for (part, shift) in parts.iter().zip((0..).step_by(16)) {
        let part = u8x16::new(*part);
        let ended = part.simd_eq(line_end);
        ends |= u64::from((part.simd_eq(delimiter) | ended).to_bitmask()) << shift;
        line_ends |= u64::from(ended.to_bitmask()) << shift;
    }
    (ends, line_ends)
}

/// Writes down the places of the ones among bits, eight at a time whether there are so many or not: a count that is
/// hard to foretell costs more than places that are written over. Gives how many there are.
#[inline]
fn note(room: &mut [usize], base: usize, bits: u64) -> usize {
    let count = bits.count_ones() as usize;
    let mut left = bits;
    for eight in room.as_chunks_mut::<8>().0.iter_mut().take(count.div_ceil(8)) {
        for place in eight {
            *place = base + left.trailing_zeros() as usize;
            left &= left.wrapping_sub(1);
        }
    }
    count
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;
    use proptest::test_runner::RngSeed;

    use super::super::lines::{Cells, Line, Lines};
    use super::*;

    /// Rows before the first that is not plain, one by one.
    fn one_by_one(text: &[u8], width: usize) -> Vec<Vec<Vec<u8>>> {
        let mut lines = Lines::new(text, b'\n');
        let (mut cells, mut rows) = (Cells::default(), Vec::new());
        while let Some(Line::Text(line, true)) = lines.advance().unwrap() {
            cells.split(line, b',');
            if line.contains(&b'"') || cells.count() != width {
                break;
            }
            rows.push(cells.all(line).map(<[u8]>::to_vec).collect());
        }
        rows
    }

    proptest! {
        #![proptest_config(ProptestConfig { rng_seed: RngSeed::Fixed(14), cases: 2048, ..ProptestConfig::default() })]

        #[test]
        fn rows_at_once_are_rows_one_by_one(
            rows in prop::collection::vec("(-?[0-9]{1,9}(\\.[0-9]{0,9})?|[0-9]e5| 7|[a-z]{0,9}|),(-?[0-9]{1,4}\\.[0-9]{3}|nan),(1|22|333)\r?", 1..40),
            odd in prop::option::of((0_usize..1000, "[,\n\"x\r. -]{1,3}")),
        ) {
            let mut text = rows.join("\n").into_bytes();
            if let Some((at, with)) = odd {
                let at = at % text.len();
                text.splice(at..at, with.bytes());
            }
            let mut block = Block::new(3);
            let taken = block.cut(&text, b'\n', b',');
            let want = one_by_one(&text, 3);
            prop_assert_eq!(block.rows(), want.len());
            let text = &text[..taken];
            for (i, want) in want.iter().enumerate() {
                let row = block.row(text, i);
                prop_assert_eq!(&(0..3).map(|c| row.cell(c).to_vec()).collect::<Vec<_>>(), want);
            }
            let marks = Marks { decimal: b'.', grouped: true };
            for column in 0..3 {
                let mut at_once = Vec::new();
                block.each(text, column, marks, |cell| at_once.push(cell));
                let by_cell: Vec<Cell> = want.iter().map(|row| number::parse(&row[column], marks)).collect();
                prop_assert_eq!(at_once, by_cell);
            }
        }
    }
}
