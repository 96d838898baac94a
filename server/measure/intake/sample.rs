//! Rows of a log, most of them its first, as columns of numbers: what the evidence is weighed on.

use std::io::{self, Read};

use super::lines::{Cells, Line, Lines};
use super::number::{self, Cell};
use super::table::Table;
use super::text;

/// How many rows are passed over for the sample.
pub const ROWS: usize = 8192;
/// Rows from the start that are all in the sample: a short log is weighed whole.
const WHOLE: usize = 512;
/// Later on a block of this many rows stands for each [`EVERY`] rows: neighbours stay neighbours, since the steps
/// between rows are what is weighed.
const BLOCK: usize = 128;
const EVERY: usize = 2048;
/// How many rows a person is shown.
const SHOWN: usize = 8;
/// Distinct words of a column are counted up to here.
const DISTINCT: usize = 16;

/// One column of the sample.
#[derive(Clone, Debug, Default)]
pub struct Column {
    /// Numbers as written; stamps as seconds since the column's first. `NaN` where there is neither, and between
    /// rows that are no neighbours in the log.
    pub values: Vec<f64>,
    /// How many cells hold a number.
    pub numbers: usize,
    /// How many hold a date and time of day.
    pub stamps: usize,
    /// How many hold words.
    pub words: usize,
    /// How many stamps name their zone.
    pub zoned: usize,
    /// Fewest and most digits after the mark.
    pub digits: Option<(i32, i32)>,
    /// Different words, up to a limit.
    pub distinct: Vec<Vec<u8>>,
    /// Where stamps count from.
    pub first_stamp_ns: Option<i64>,
}

impl Column {
    fn add(&mut self, cell: &[u8], mark: u8) {
        let value = match number::parse(cell, mark) {
            Cell::Number(n) => {
                self.numbers += 1;
                let (low, high) = self.digits.unwrap_or((n.scale, n.scale));
                self.digits = Some((low.min(n.scale), high.max(n.scale)));
                n.value()
            }
            Cell::Missing | Cell::NotFinite => f64::NAN,
            Cell::Words => match number::stamp(cell) {
                Some(stamp) => {
                    self.stamps += 1;
                    self.zoned += usize::from(stamp.offset_s.is_some());
                    let scale = cell
                        .iter()
                        .rposition(|&b| b == b'.' || b == b',')
                        .map_or(0, |dot| cell[dot + 1..].iter().take_while(|b| b.is_ascii_digit()).count());
                    let scale = i32::try_from(scale).unwrap_or(9);
                    let (low, high) = self.digits.unwrap_or((scale, scale));
                    self.digits = Some((low.min(scale), high.max(scale)));
                    let first = *self.first_stamp_ns.get_or_insert(stamp.ns());
                    (stamp.ns() - first) as f64 / 1e9
                }
                None => {
                    self.words += 1;
                    if self.distinct.len() < DISTINCT && !self.distinct.iter().any(|w| w == cell) {
                        self.distinct.push(cell.to_vec());
                    }
                    f64::NAN
                }
            },
        };
        self.values.push(value);
    }

    /// Marks that the next value does not follow on the one before.
    fn part(&mut self) {
        self.values.push(f64::NAN);
    }

    /// Middle of the finite values.
    pub fn median(&self) -> Option<f64> {
        middle(self.values.iter().copied().filter(|v| v.is_finite()).collect())
    }

    /// Step of the last digit written, in the column's own unit.
    pub fn step(&self) -> f64 {
        10_f64.powi(-self.digits.map_or(0, |d| d.1))
    }
}

/// The upper of the middle values; `None` of nothing.
pub fn middle(mut values: Vec<f64>) -> Option<f64> {
    let half = values.len() / 2;
    (half < values.len()).then(|| *values.select_nth_unstable_by(half, f64::total_cmp).1)
}

/// Rows from the head of a log, and blocks of rows further on.
#[derive(Clone, Debug, Default)]
pub struct Sample {
    /// One a column of the table.
    pub columns: Vec<Column>,
    /// Rows in it.
    pub rows: usize,
    /// Rows passed over, those in it included.
    pub passed: usize,
    /// Bytes of text that the rows passed over take.
    pub bytes: u64,
    /// Places where rows that are no neighbours meet.
    pub partings: usize,
    /// The very first rows, as written.
    pub shown: Vec<Vec<String>>,
}

/// Takes the sample from a stream that stands at the beginning of the log's text.
///
/// # Errors
/// Those of the source.
pub fn take<R: Read>(source: R, table: &Table) -> io::Result<Sample> {
    let mut lines = Lines::new(source, table.line_end);
    let mut cells = Cells::default();
    let mut sample = Sample { columns: vec![Column::default(); table.names.len()], ..Sample::default() };
    while sample.passed < ROWS {
        let number = lines.number() + 1;
        let Some(Line::Text(line, ended)) = lines.advance()? else { break };
        // A last row without its line end may be cut in the middle of a number.
        if !ended && sample.rows > 0 {
            break;
        }
        if number < table.first_row || line.trim_ascii().is_empty() {
            continue;
        }
        let taken = sample.passed < WHOLE || sample.passed % EVERY < BLOCK;
        if taken {
            cells.split(line, table.delimiter);
            if cells.count() < table.names.len() {
                continue;
            }
            if sample.passed >= WHOLE && sample.passed.is_multiple_of(EVERY) {
                sample.partings += 1;
                sample.columns.iter_mut().for_each(Column::part);
            }
            sample.rows += 1;
        }
        sample.passed += 1;
        sample.bytes += u64::try_from(line.len()).unwrap_or(0) + 1;
        if !taken {
            continue;
        }
        for (i, column) in sample.columns.iter_mut().enumerate() {
            column.add(cells.get(line, i), table.mark);
        }
        if sample.shown.len() < SHOWN {
            sample.shown.push(cells.all(line).map(|c| text::words(c, table.encoding).into_owned()).collect());
        }
    }
    Ok(sample)
}
