//! The rows of a log, streamed once through its layout into recordings.

use std::io::{self, Read};

use jiff::tz::TimeZone;

use super::Segment;
use super::block::{Block, Row, RowOfBlock};
use super::candidate::is_value;
use super::describe::place;
use super::held::Broken;
use super::layout::{Column as LayoutColumn, Layout};
use super::lines::{Cells, Line, Lines, RowOfLine, leaves_open};
use super::number::{self, Cell};
use super::rows::Rows;
use super::table::Table;
use crate::recording::Role;

/// What one pass over the rows gives.
#[derive(Debug)]
pub enum Assembled {
    /// It was read to its end.
    Read {
        /// Segments in the order of the log; each has rows.
        segments: Vec<Segment>,
        /// Rows that a column marks as dropped, where nobody said what they are.
        marked: usize,
        /// Where the proof of the layout no longer holds.
        broken: Option<Broken>,
    },
    /// A line is too long to be a row.
    TooLong(u64),
    /// More rows than one log may have.
    TooMany(u64),
}

/// What is done with a log besides its layout.
#[derive(Clone, Copy)]
pub struct Conditions<'a> {
    /// Zone of stamps that name none.
    pub zone: Option<&'a TimeZone>,
    /// Most rows that are taken.
    pub most_rows: usize,
    /// Rows to make room for.
    pub expected_rows: usize,
    /// By how much a step may differ from its duration for the digits written, ns.
    pub slack_ns: i64,
    /// Column that marks dropped frames, from 0.
    pub dropped: Option<usize>,
    /// Fewest digits of the last column's numbers, where all have as many.
    pub last_digits: Option<i32>,
    /// Lines of the text that stand before the first of the source.
    pub lines_added: u64,
}

/// Reads all rows. The lines stand at the beginning of the log's text. Only the columns in use are looked into.
///
/// # Errors
/// Those of the source.
pub fn assemble<R: Read>(
    mut lines: Lines<'_, R>,
    table: &Table,
    layout: &Layout,
    conditions: Conditions<'_>,
) -> io::Result<Assembled> {
    let mut reader = Reader::new(table, layout, conditions);
    let mut block = reader.may_read_blocks(layout).then(|| Block::new(reader.width));
    loop {
        let next = lines.number() + 1;
        if let Some(block) = block.as_mut().filter(|_| next >= table.first_row) {
            let text = lines.plain_rows(block, table.delimiter);
            if block.rows() > 0 {
                if let Some(ended) = reader.block(next, block, text) {
                    return Ok(reader.finish(ended));
                }
                continue;
            }
        }
        let Some(line) = lines.advance()? else { return Ok(reader.finish(Ended::Wholly)) };
        let ended = match line {
            Line::TooLong => Some(Ended::TooLong(reader.in_log(next))),
            Line::Text(line, has_end) => reader.line(next, line, has_end),
        };
        if let Some(ended) = ended {
            return Ok(reader.finish(ended));
        }
    }
}

/// Where reading ended.
enum Ended {
    Wholly,
    TooLong(u64),
    TooMany(u64),
    OtherHeader(u64),
}

/// What tells rows from other lines, and takes the rows.
struct Reader<'a> {
    table: &'a Table,
    conditions: Conditions<'a>,
    width: usize,
    rows: Rows<'a>,
    cells: Cells,
    /// Columns that tell a row from other lines: the first and those of times.
    used: Vec<usize>,
    /// Those of them that may hold something odd where the times are good.
    doubted: Vec<usize>,
    wanted: usize,
    count: usize,
}

impl<'a> Reader<'a> {
    fn new(table: &'a Table, layout: &Layout, conditions: Conditions<'a>) -> Self {
        let rows = Rows::new(layout, table.marks, conditions);
        let mut used: Vec<usize> = std::iter::once(0).chain(timing(layout)).collect();
        used.dedup();
        let wanted = rows.last_column().max(used.iter().copied().max().unwrap_or(0)) + 1;
        let width = layout.columns.len();
        // A good time is nothing odd among numbers, and neither is a first cell that begins with a digit.
        let sure = |c: usize| (c == 0 || timing(layout).any(|of| of == c)) && table.settled.takes_numbers(c);
        let doubted = used.iter().copied().filter(|&c| width > 1 && !sure(c)).collect();
        Self { table, conditions, width, rows, cells: Cells::default(), used, doubted, wanted, count: 0 }
    }

    /// Whether rows with good times can be told from all other lines without a look at each of their cells: the
    /// header, here or of another table, has no such times.
    fn may_read_blocks(&self, layout: &Layout) -> bool {
        let header = &self.table.header;
        Block::cuts_at(self.table.delimiter)
            && self.width > 0
            && timing(layout).any(|c| header.is_empty() || header.get(c).is_some_and(|name| !is_value(name)))
    }

    /// Number of a line in the log.
    fn in_log(&self, in_text: u64) -> u64 {
        in_text.saturating_sub(self.conditions.lines_added)
    }

    /// Takes a block of rows, the first of them on a line of the text.
    fn block(&mut self, first: u64, block: &Block, text: &[u8]) -> Option<Ended> {
        self.rows.read_ahead(block, text);
        for (place, in_text) in (0..block.rows()).zip(first..) {
            let row = block.row(text, place);
            if !self.is_plain(&row, place) {
                if let Some(ended) = self.line(in_text, block.line(text, place), true) {
                    return Some(ended);
                }
                continue;
            }
            let number = self.in_log(in_text);
            self.count += 1;
            if self.count > self.conditions.most_rows {
                return Some(Ended::TooMany(number));
            }
            self.rows.add(number, &row);
        }
        self.rows.end_block();
        None
    }

    /// Whether a row of a block is one beyond doubt: it is timed, and begins as no other line does.
    fn is_plain(&self, row: &RowOfBlock<'_>, place: usize) -> bool {
        let odd = |column: usize| self.width > 1 && self.table.settled.odd_at(column, row.cell(column));
        let begins_well = match row.first_byte() {
            Some(b'0'..=b'9') => true,
            Some(b) => b.is_ascii_alphabetic() && !odd(0),
            None => false,
        };
        begins_well && self.rows.is_timed(place) && !self.doubted.iter().any(|&column| odd(column))
    }

    /// Takes a line of the text; `has_end` says whether its end followed.
    fn line(&mut self, in_text: u64, line: &[u8], has_end: bool) -> Option<Ended> {
        let (table, width, number) = (self.table, self.width, self.in_log(in_text));
        if in_text < table.first_row {
            return None;
        }
        if table.is_aside(line) {
            // In a log of one column a blank line is a row without its cell.
            if width == 1 && line.is_empty() {
                self.rows.lost();
            }
            return None;
        }
        self.count += 1;
        if self.count > self.conditions.most_rows {
            return Some(Ended::TooMany(number));
        }
        self.cells.split_first(line, table.delimiter, if has_end { self.wanted } else { usize::MAX });
        let (cells, rows) = (&self.cells, &mut self.rows);
        if table.repeats_header(cells, line) {
            rows.restart();
        } else if table.is_other_header(line) {
            return Some(Ended::OtherHeader(number));
        } else if width > 1 && is_remark(cells, line, table, &self.used) {
            rows.problems.add(number, 0, || {
                "Words stand where the other rows have numbers: a remark or a summary, left out.".to_owned()
            });
            // It may have been a row all the same, and the end of the frame before it.
            rows.lost();
        } else if !has_end && is_cut(cells, line, width, table, self.conditions.last_digits) {
            rows.problems.add(number, 0, || {
                format!("The last row is cut: {} of {width} columns. It is read without; the recorder was stopped while it wrote.", cells.count())
            });
        } else if cells.count() < width {
            rows.problems.add(number, 0, || {
                format!("The row has {} of {width} columns and is left out.", cells.count())
            });
            rows.lost();
        } else {
            rows.add(number, &RowOfLine(cells, line));
        }
        None
    }

    fn finish(self, ended: Ended) -> Assembled {
        let header = match ended {
            Ended::TooLong(line) => return Assembled::TooLong(line),
            Ended::TooMany(line) => return Assembled::TooMany(line),
            Ended::OtherHeader(line) => Some(Broken::Header(line)),
            Ended::Wholly => None,
        };
        let (segments, marked, broken) = self.rows.finish();
        Assembled::Read { segments, marked, broken: header.or(broken) }
    }
}

/// Columns that time rows, from 0.
fn timing(layout: &Layout) -> impl Iterator<Item = usize> {
    let timing = |c: &&LayoutColumn| Some(c.index) == layout.clock || c.role == Role::FrameTime;
    layout.columns.iter().filter(timing).map(|c| place(c.index))
}

/// Whether a line holds something else than rows do, in its first cell or where times should be: a remark, or sums.
fn is_remark(cells: &Cells, line: &[u8], table: &Table, used: &[usize]) -> bool {
    if cells.count() < table.names.len() {
        return table.settled.is_short_remark(cells, line);
    }
    for &column in used {
        if table.settled.odd_at(column, cells.get(line, column)) {
            return true;
        }
    }
    false
}

/// Whether an unended last row misses cells, or digits of its last number.
fn is_cut(cells: &Cells, line: &[u8], width: usize, table: &Table, last_digits: Option<i32>) -> bool {
    cells.count() < width
        || leaves_open(line)
        || last_digits.is_some_and(|digits| {
            let last = cells.get(line, width - 1);
            matches!(number::parse(last, table.marks), Cell::Number(n) if n.scale < digits) || last.is_empty()
        })
}
