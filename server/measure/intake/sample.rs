//! Rows from the head, the middle and the tail of a log as columns of numbers: what the evidence is weighed on.

use std::io::{self, Read};

use super::block::Block;
use super::lines::{Cells, Line, Lines};
use super::number::{self, Cell, Decimal};
use super::stamp::{self, DAY_NS};
use super::table::Table;
use super::text;
use std::cell::OnceCell;

/// Rows of the head; a log that is not longer is weighed whole.
const HEAD: usize = 500;
/// Rows of the middle and of the tail.
const BLOCK: usize = 250;
/// Cells in the sample at most, so that many columns mean fewer rows.
const CELLS: usize = 1_000_000;
/// How many rows a person is shown.
const SHOWN: usize = 8;
/// Distinct words of a column are counted up to here.
const DISTINCT: usize = 16;
/// Digits after the mark that are told apart.
const SCALES: usize = 20;

/// One column of the sample.
#[derive(Clone, Debug, Default)]
pub struct Column {
    /// Numbers as written; stamps as seconds since the column's first. `NaN` where there is neither, and between
    /// rows that are no neighbours in the log.
    pub values: Vec<f64>,
    /// The same less the first value, taken exactly: what steps are worked out from.
    pub fine: Vec<f64>,
    /// Place in `distinct` of the words of each row; `None` where there are none.
    pub word: Vec<Option<u8>>,
    /// How many cells hold a number.
    pub numbers: usize,
    /// How many cells hold what is not finite.
    pub not_finite: usize,
    /// How many hold a date and time of day, or a time of day.
    pub stamps: usize,
    /// How many of those have a date.
    pub dated: usize,
    /// How many hold words.
    pub words: usize,
    /// How many stamps name their zone.
    pub zoned: usize,
    /// How many numbers have so many digits after the mark.
    scales: [usize; SCALES],
    /// Different words, up to a limit.
    pub distinct: Vec<Vec<u8>>,
    middle: OnceCell<Option<f64>>,
    first: Option<Decimal>,
    first_stamp_ns: Option<i64>,
    last_stamp_ns: i64,
}

impl Column {
    /// One of numbers that are known already, written with so many digits after the mark.
    pub fn of(values: Vec<f64>, digits: i32) -> Self {
        let numbers = values.len();
        let mut column = Self { fine: values.clone(), values, numbers, ..Self::default() };
        column.note_digits(digits);
        column
    }

    /// Takes what a cell holds, and where it is no number the cell itself.
    fn add<'c>(&mut self, holds: Cell, cell: impl FnOnce() -> &'c [u8]) {
        let mut word = None;
        let (value, fine) = match holds {
            Cell::Number(n) => {
                self.numbers += 1;
                self.note_digits(n.scale);
                let first = *self.first.get_or_insert(n);
                (n.value(), n.less(first))
            }
            Cell::Missing => (f64::NAN, f64::NAN),
            Cell::NotFinite => {
                self.not_finite += 1;
                (f64::NAN, f64::NAN)
            }
            Cell::Words => {
                let cell = cell();
                let seconds = stamp::stamp(cell).map(|stamp| self.add_stamp(stamp));
                if seconds.is_none() {
                    word = self.add_word(cell);
                }
                let seconds = seconds.unwrap_or(f64::NAN);
                (seconds, seconds)
            }
        };
        self.values.push(value);
        self.fine.push(fine);
        self.word.push(word);
    }

    fn note_digits(&mut self, scale: i32) {
        let scale = usize::try_from(scale).unwrap_or(0).min(SCALES - 1);
        self.scales[scale] += 1;
    }

    /// Fewest and most digits after the mark that are usual in it: a few cells may be written in another way.
    pub fn digits(&self) -> Option<(i32, i32)> {
        let all: usize = self.scales.iter().sum();
        let usual = |count: usize| count > 0 && (all < 4 || count * 50 > all && count > 1);
        let place = |at: Option<usize>| at.and_then(|at| i32::try_from(at).ok());
        let low = place(self.scales.iter().position(|c| usual(*c)));
        let high = place(self.scales.iter().rposition(|c| usual(*c)));
        low.zip(high)
    }

    fn add_stamp(&mut self, stamp: stamp::Stamp) -> f64 {
        self.stamps += 1;
        self.dated += usize::from(stamp.dated);
        self.zoned += usize::from(stamp.offset_s.is_some());
        self.note_digits(stamp.digits);
        let first = *self.first_stamp_ns.get_or_insert(stamp.ns());
        let mut ns = stamp.ns();
        // Past midnight a time of day begins again.
        if !stamp.dated && self.stamps > 1 && ns < self.last_stamp_ns.rem_euclid(DAY_NS) - DAY_NS / 2 {
            ns += DAY_NS;
        }
        self.last_stamp_ns = ns;
        (ns - first) as f64 / 1e9
    }

    fn add_word(&mut self, cell: &[u8]) -> Option<u8> {
        self.words += 1;
        let place = self.distinct.iter().position(|w| w == cell);
        if place.is_none() && self.distinct.len() < DISTINCT {
            self.distinct.push(cell.to_vec());
            return u8::try_from(self.distinct.len() - 1).ok();
        }
        place.and_then(|p| u8::try_from(p).ok())
    }

    /// Marks that the next value does not follow on the one before.
    fn part(&mut self) {
        self.values.push(f64::NAN);
        self.fine.push(f64::NAN);
        self.word.push(None);
    }

    /// The first number.
    pub fn first(&self) -> f64 {
        self.first.map_or(f64::NAN, Decimal::value)
    }

    /// Middle of the finite values.
    pub fn median(&self) -> Option<f64> {
        let work_out = || middle(self.values.iter().copied().filter(|v| v.is_finite()).collect());
        *self.middle.get_or_init(work_out)
    }

    /// Step of the last digit written, in the column's own unit.
    pub fn step(&self) -> f64 {
        10_f64.powi(-self.digits().map_or(0, |d| d.1))
    }

    /// The rows for which `keep` holds; what is counted of all rows stays.
    pub fn only(&self, keep: &[bool]) -> Self {
        fn of<T: Copy>(list: &[T], keep: &[bool]) -> Vec<T> {
            list.iter().zip(keep).filter(|(_, k)| **k).map(|(v, _)| *v).collect()
        }
        Self {
            values: of(&self.values, keep),
            fine: of(&self.fine, keep),
            word: of(&self.word, keep),
            middle: OnceCell::new(),
            ..self.clone()
        }
    }
}

/// The upper of the middle values; `None` of nothing.
pub fn middle(mut values: Vec<f64>) -> Option<f64> {
    let half = values.len() / 2;
    (half < values.len()).then(|| *values.select_nth_unstable_by(half, f64::total_cmp).1)
}

/// Rows from head, middle and tail of a log.
#[derive(Clone, Debug, Default)]
pub struct Sample {
    /// One a column of the table.
    pub columns: Vec<Column>,
    /// Rows in it.
    pub rows: usize,
    /// Bytes of text that its rows take.
    pub bytes: u64,
    /// Whether the log has no other rows.
    pub whole: bool,
    /// For each column, lines left out because they hold something else there.
    pub odd: Vec<usize>,
    /// Places where rows that are no neighbours meet.
    pub partings: usize,
    /// The very first rows, as written.
    pub shown: Vec<Vec<String>>,
}

impl Sample {
    /// An empty one for a table.
    pub fn new(table: &Table) -> Self {
        let columns = table.names.len();
        let rows = Self::head_rows(table) + 2 * Self::block_rows(table) + 2;
        let column = || Column {
            values: Vec::with_capacity(rows),
            fine: Vec::with_capacity(rows),
            word: Vec::with_capacity(rows),
            ..Column::default()
        };
        Self {
            columns: std::iter::repeat_with(column).take(columns).collect(),
            odd: vec![0; columns],
            ..Self::default()
        }
    }

    /// Rows to take of the head.
    pub fn head_rows(table: &Table) -> usize {
        HEAD.min(CELLS / 2 / table.names.len().max(1)).max(16)
    }

    /// Rows to take of the middle, and of the tail.
    pub fn block_rows(table: &Table) -> usize {
        BLOCK.min(CELLS / 4 / table.names.len().max(1)).max(8)
    }

    /// Takes the head from lines that stand at the beginning of the log's text.
    ///
    /// # Errors
    /// Those of the source.
    pub fn take_head<R: Read>(&mut self, mut lines: Lines<'_, R>, table: &Table) -> io::Result<()> {
        self.whole = self.take(&mut lines, table, table.first_row, Self::head_rows(table))?;
        Ok(())
    }

    /// Takes a block from lines that stand somewhere in the middle of a row.
    ///
    /// # Errors
    /// Those of the source.
    pub fn take_block<R: Read>(&mut self, mut lines: Lines<'_, R>, table: &Table) -> io::Result<()> {
        if lines.advance()?.is_none() {
            return Ok(());
        }
        self.partings += 1;
        self.columns.iter_mut().for_each(Column::part);
        self.take(&mut lines, table, 0, Self::block_rows(table)).map(drop)
    }

    /// Whether the lines ended.
    fn take<R: Read>(
        &mut self,
        lines: &mut Lines<'_, R>,
        table: &Table,
        from: u64,
        most: usize,
    ) -> io::Result<bool> {
        let mut block = Block::cuts_at(table.delimiter).then(|| Block::new(table.names.len()));
        let mut cells = Cells::default();
        let most = self.rows + most;
        while self.rows < most {
            let number = lines.number() + 1;
            if let Some(block) = block.as_mut().filter(|_| number >= from) {
                let text = lines.plain_rows(block, table.delimiter);
                if block.rows() > 0 {
                    if self.block(block, text, table, most) {
                        return Ok(true);
                    }
                    continue;
                }
            }
            let Some(Line::Text(line, ended)) = lines.advance()? else { return Ok(true) };
            // A last row without its line end may be cut in the middle of a number.
            if !ended && self.rows > 0 {
                return Ok(true);
            }
            if number >= from && self.line(line, &mut cells, table) {
                return Ok(true);
            }
        }
        Ok(false)
    }

    /// Takes rows of a block until there are `most`; whether another table begins.
    fn block(&mut self, block: &Block, text: &[u8], table: &Table, most: usize) -> bool {
        let digit = |byte: Option<u8>| byte.is_some_and(|b| b.is_ascii_digit());
        let of_header = table.header.first().and_then(|cell| cell.first().copied());
        // A line that begins with a digit, as no header does, is a row.
        if !digit(of_header) && (0..block.rows()).all(|row| digit(block.row(text, row).first_byte())) {
            self.plain(block, text, table, most);
            return false;
        }
        let mut cells = Cells::default();
        (0..block.rows()).any(|row| self.rows < most && self.line(block.line(text, row), &mut cells, table))
    }

    /// Takes rows of a block, column by column.
    fn plain(&mut self, block: &Block, text: &[u8], table: &Table, most: usize) {
        let width = self.columns.len();
        let mut held = Vec::with_capacity(block.rows() * width);
        let mut odd = vec![None; block.rows()];
        for column in 0..width {
            let first = held.len();
            block.read(text, column, table.marks, |cell| cell, &mut held);
            let takes_numbers = table.settled.takes_numbers(column);
            for (row, (odd, cell)) in odd.iter_mut().zip(&held[first..]).enumerate() {
                let usual = takes_numbers && matches!(cell, Cell::Number(_));
                if !usual && odd.is_none() && table.settled.odd_at(column, block.cell(text, row, column)) {
                    *odd = Some(column);
                }
            }
        }
        let mut taken = Vec::with_capacity(block.rows());
        for (row, odd) in odd.iter().enumerate() {
            if self.rows == most {
                break;
            }
            match odd {
                Some(column) => self.odd[*column] += 1,
                None => {
                    taken.push(row);
                    self.note(block.line(text, row), (0..width).map(|c| block.cell(text, row, c)), table);
                }
            }
        }
        for (column, (of, held)) in self.columns.iter_mut().zip(held.chunks_exact(block.rows())).enumerate() {
            for &row in &taken {
                of.add(held[row], || block.cell(text, row, column));
            }
        }
    }

    /// Takes a line where it is a row; whether another table begins.
    fn line(&mut self, line: &[u8], cells: &mut Cells, table: &Table) -> bool {
        if table.is_aside(line) {
            return false;
        }
        cells.split(line, table.delimiter);
        if table.is_other_header(line) {
            return true;
        }
        if cells.count() < table.names.len() || table.repeats_header(cells, line) {
            return false;
        }
        if let Some(column) = table.settled.odd(cells, line).next() {
            self.odd[column] += 1;
            return false;
        }
        for (i, column) in self.columns.iter_mut().enumerate() {
            let cell = cells.get(line, i);
            column.add(number::parse(cell, table.marks), || cell);
        }
        self.note(line, cells.all(line), table);
        false
    }

    /// Counts a row; the first ones are kept as written.
    fn note<'c>(&mut self, line: &[u8], cells: impl Iterator<Item = &'c [u8]>, table: &Table) {
        self.rows += 1;
        self.bytes += u64::try_from(line.len()).unwrap_or(0) + 1;
        if self.shown.len() < SHOWN {
            self.shown.push(cells.map(|c| text::words(c, table.encoding).into_owned()).collect());
        }
    }
}
