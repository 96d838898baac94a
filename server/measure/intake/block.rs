//! Plain rows, cut many at once: as many cells in each as the table is wide, no quotes, a line end behind each.
//!
//! Nearly all rows of a log are plain. Cutting them in one go over the bytes, and reading their cells column by
//! column, costs a fraction of row by row; what is not plain stops a block and is read by itself (`lines.rs`).

use memchr::memchr;
use wide::u8x16;

use super::lines::{BLANKS, without_return};
use super::number::{self, Cell, Decimal, Marks};
use super::usual::{Usual, word_before};

/// Bytes of a block at most: with the places of its cells it stays in the nearest cache.
pub const BYTES: usize = 8 * 1024;
/// The end of a cell before the first: one more is nothing.
const BEFORE: u16 = u16::MAX;
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
    /// Behind [`BEFORE`] room for one in each byte, and for what is written ahead.
    ends: Vec<u16>,
    width: usize,
    rows: usize,
}

impl Block {
    /// An empty one for rows of `width` cells.
    pub fn new(width: usize) -> Self {
        let mut ends = vec![0; 1 + BYTES + 2 * STRETCH];
        ends[0] = BEFORE;
        Self { ends, width, rows: 0 }
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
        let (mut count, mut lines) = (1, 0);
        for (stretch, base) in
            stretches.iter().chain((!rest.is_empty()).then_some(&last)).zip((0..).step_by(STRETCH))
        {
            let (ends, line_ends) = places(stretch, delimiter, line_end);
            lines += line_ends.count_ones() as usize;
            count += note(&mut self.ends[count..], base, ends);
        }
        self.rows = self.plain_rows(text, &self.ends[1..count], line_end, lines);
        self.bounds(self.rows, 0).0
    }

    /// How many rows from the first on are plain, of cells that end in `ends`.
    fn plain_rows(&self, text: &[u8], ends: &[u16], line_end: u8, lines: usize) -> usize {
        let rows = ends.chunks_exact(self.width);
        let at_end = |end: &u16| text[usize::from(*end)] == line_end;
        let ended = |row: &&[u16]| row.last().is_some_and(at_end);
        // With as many line ends as rows there is none before the last cell.
        let plain = rows.clone().take_while(ended).count();
        if plain == lines {
            return plain;
        }
        rows.take_while(|row| row.iter().position(at_end) == Some(self.width - 1)).count()
    }

    /// From where to where a cell of a row stands in the text, blanks around it and a carriage return included.
    #[inline]
    fn bounds(&self, row: usize, column: usize) -> (usize, usize) {
        let place = row * self.width + column;
        (usize::from(self.ends[place].wrapping_add(1)), usize::from(self.ends[place + 1]))
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

    /// Reads one column, row by row, and adds what `of` makes of each cell.
    #[inline]
    pub fn read<T: Copy>(
        &self,
        text: &[u8],
        column: usize,
        marks: Marks,
        of: impl Fn(Cell) -> T,
        into: &mut Vec<T>,
    ) {
        into.reserve(self.rows);
        let end = into.len() + self.rows;
        if column >= self.width {
            return into.resize(end, of(Cell::Missing));
        }
        let mut usual = Usual::new(marks.decimal);
        while into.len() < end {
            let way = usual;
            let of = |cell| of(cell);
            let row = self.rows + into.len() - end;
            let cells = self.bounds_from(row, column);
            // A loop for each way of writing: nothing in it is asked anew for each row.
            match way.scale() {
                0 => run(cells, text, 0, Usual::whole, of, into),
                scale => run(cells, text, scale, |last, from, to| way.broken(text, last, from, to), of, into),
            }
            if into.len() < end {
                let row = self.rows + into.len() - end;
                into.push(of(unusual(&mut usual, self.cell(text, row, column), marks)));
            }
        }
    }

    /// The bounds of the cells of a column from a row on.
    #[inline(always)]
    fn bounds_from(&self, row: usize, column: usize) -> impl Iterator<Item = (usize, usize)> + '_ {
        let ends = &self.ends[row * self.width + column..=self.rows * self.width];
        let pairs = ends.windows(2).step_by(self.width);
        pairs.map(|ends| (usize::from(ends[0].wrapping_add(1)), usize::from(ends[1])))
    }
}

/// Reads cells that are written in one way, up to the first that is not. Most sensors are asked more seldom than frames
/// are drawn: what stands there again is not read again.
#[inline(always)]
fn run<T: Copy>(
    cells: impl Iterator<Item = (usize, usize)>,
    text: &[u8],
    scale: i32,
    read: impl Fn(u64, usize, usize) -> Option<i64>,
    of: impl Fn(Cell) -> T,
    into: &mut Vec<T>,
) {
    // The word, length and value of the cell before, where a word holds it; at first that of an empty cell.
    let (mut word, mut length, mut value) = (0, 0, of(Cell::Missing));
    for (from, to) in cells {
        let Some(last) = word_before(text, to) else { return };
        let long = to.wrapping_sub(from);
        let same = long == length && (last ^ word) >> ((64 - 8 * long) & 63) == 0;
        if !same {
            let Some(mantissa) = read(last, from, to) else { return };
            value = of(Cell::Number(Decimal { mantissa, scale }));
            (word, length) = (last, if long <= 8 { long } else { usize::MAX });
        }
        into.push(value);
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
fn note(room: &mut [u16], base: u16, bits: u64) -> usize {
    let count = bits.count_ones() as usize;
    let mut left = bits;
    for eight in room.as_chunks_mut::<8>().0.iter_mut().take(count.div_ceil(8)) {
        for place in eight {
            #[expect(clippy::cast_possible_truncation, reason = "at most 64")]
            let at = left.trailing_zeros() as u16;
            *place = base + at;
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
                block.read(text, column, marks, |cell| cell, &mut at_once);
                let by_cell: Vec<Cell> = want.iter().map(|row| number::parse(&row[column], marks)).collect();
                prop_assert_eq!(at_once, by_cell);
            }
        }
    }
}
