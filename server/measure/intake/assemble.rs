//! The rows of a log, streamed once through its layout into recordings.

use std::io::{self, Read};

use jiff::tz::TimeZone;

use super::Segment;
use super::describe::place;
use super::held::Broken;
use super::layout::{Column as LayoutColumn, Layout};
use super::lines::{Cells, Line, Lines, leaves_open};
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
    let mut cells = Cells::default();
    let mut rows = Rows::new(layout, table.marks, conditions);
    let width = layout.columns.len();
    let timing = |c: &&LayoutColumn| Some(c.index) == layout.clock || c.role == Role::FrameTime;
    let mut used: Vec<usize> =
        std::iter::once(0).chain(layout.columns.iter().filter(timing).map(|c| place(c.index))).collect();
    used.dedup();
    let wanted = rows.last_column().max(used.iter().copied().max().unwrap_or(0)) + 1;
    let (mut count, mut other_header) = (0_usize, None);
    loop {
        let in_text = lines.number() + 1;
        let number = in_text.saturating_sub(conditions.lines_added);
        let Some(line) = lines.advance()? else { break };
        let Line::Text(line, ended) = line else { return Ok(Assembled::TooLong(number)) };
        if in_text < table.first_row {
            continue;
        }
        if table.is_aside(line) {
            // In a log of one column a blank line is a row without its cell.
            if width == 1 && line.is_empty() {
                rows.lost();
            }
            continue;
        }
        count += 1;
        if count > conditions.most_rows {
            return Ok(Assembled::TooMany(number));
        }
        cells.split_first(line, table.delimiter, if ended { wanted } else { usize::MAX });
        if table.repeats_header(&cells, line) {
            rows.restart();
        } else if table.is_other_header(line) {
            other_header = Some(number);
            break;
        } else if width > 1 && is_remark(&cells, line, table, &used) {
            rows.problems.add(number, 0, || {
                "Words stand where the other rows have numbers: a remark or a summary, left out.".to_owned()
            });
            // It may have been a row all the same, and the end of the frame before it.
            rows.lost();
        } else if !ended && is_cut(&cells, line, width, table, conditions.last_digits) {
            rows.problems.add(number, 0, || {
                format!("The last row is cut: {} of {width} columns. It is read without; the recorder was stopped while it wrote.", cells.count())
            });
        } else if cells.count() < width {
            rows.problems.add(number, 0, || {
                format!("The row has {} of {width} columns and is left out.", cells.count())
            });
            rows.lost();
        } else {
            rows.add(number, &cells, line);
        }
    }
    let (segments, marked, broken) = rows.finish();
    let broken = other_header.map(Broken::Header).or(broken);
    Ok(Assembled::Read { segments, marked, broken })
}

/// Whether a line holds something else than rows do, in its first cell or where times should be: a remark, or sums.
fn is_remark(cells: &Cells, line: &[u8], table: &Table, used: &[usize]) -> bool {
    if cells.count() < table.names.len() {
        return table.settled.is_short_remark(cells, line);
    }
    for &column in used {
        if table.settled.odd_at(column, cells, line) {
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
