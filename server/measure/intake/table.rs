//! Where the table of a log is: delimiter, decimal mark, header line, first row, judged on the first lines.

use super::headers;
use super::lines::{Cells, LONGEST_LINE};
use super::number::{self, Cell};
use super::text::{self, Encoding};

/// How many lines the table is judged on.
pub const HEAD_LINES: usize = 300;

/// The table of a log.
#[derive(Clone, Debug)]
pub struct Table {
    /// Byte between cells.
    pub delimiter: u8,
    /// Decimal mark.
    pub mark: u8,
    /// Line end.
    pub line_end: u8,
    /// Encoding of names and words.
    pub encoding: Encoding,
    /// Line of the header, from 1; 0 when there is none.
    pub header_line: u64,
    /// Line of the first row, from 1.
    pub first_row: u64,
    /// Names of the columns; `column N` where the log gives none.
    pub names: Vec<String>,
}

/// Why no table was found.
#[derive(Debug, PartialEq, Eq)]
pub enum NoTable {
    /// Nothing but blank lines.
    Blank,
    /// One line is too long to be a row.
    TooLong(u64),
    /// Lines of words, and on which line a header may stand and of how many columns.
    NoRows(u64, usize),
}

struct Candidate {
    delimiter: u8,
    clean: f64,
    columns: usize,
    first: usize,
}

/// The byte that ends lines: `\r` only where there is no `\n`.
pub fn line_end(head: &[u8]) -> u8 {
    if memchr::memchr(b'\n', head).is_none() && memchr::memchr(b'\r', head).is_some() { b'\r' } else { b'\n' }
}

/// Finds the table in the first bytes of a log (as UTF-8 or single bytes). `whole` says that there are no more.
///
/// # Errors
/// What stands there instead.
pub fn find(head: &[u8], whole: bool, encoding: Encoding) -> Result<Table, NoTable> {
    let line_end = line_end(head);
    let lines = head_lines(head, whole, line_end)?;
    if lines.iter().all(|l| l.trim_ascii().is_empty()) {
        return Err(NoTable::Blank);
    }
    let best = [b',', b';', b'\t']
        .into_iter()
        .filter_map(|d| candidate(&lines, d))
        .max_by(|a, b| a.clean.total_cmp(&b.clean).then(a.columns.cmp(&b.columns)));
    let Some(best) = best else {
        let at = lines.iter().position(|l| !l.trim_ascii().is_empty()).unwrap_or(0);
        let columns = [b',', b';', b'\t'].map(|d| memchr::memchr_iter(d, lines[at]).count() + 1);
        return Err(NoTable::NoRows(line_number(at), columns.into_iter().max().unwrap_or(1)));
    };
    let mark = decimal_mark(&lines[best.first..], best.delimiter);
    let (header, names) = header(&lines[..best.first], &best, encoding);
    Ok(Table {
        delimiter: best.delimiter,
        mark,
        line_end,
        encoding,
        header_line: header.map_or(0, line_number),
        first_row: line_number(best.first),
        names,
    })
}

fn line_number(index: usize) -> u64 {
    u64::try_from(index).unwrap_or(u64::MAX).saturating_add(1)
}

fn head_lines(head: &[u8], whole: bool, line_end: u8) -> Result<Vec<&[u8]>, NoTable> {
    let mut lines = Vec::new();
    let mut rest = head;
    while lines.len() < HEAD_LINES && !rest.is_empty() {
        let end = memchr::memchr(line_end, rest);
        let line = &rest[..end.unwrap_or(rest.len())];
        if end.is_none() && !whole {
            // Cut by the end of the head, not by the log's.
            break;
        }
        lines.push(line.strip_suffix(b"\r").unwrap_or(line));
        rest = end.map_or(&[], |end| &rest[end + 1..]);
    }
    if lines.is_empty() && head.len() >= LONGEST_LINE { Err(NoTable::TooLong(1)) } else { Ok(lines) }
}

/// A cell as a row of a log has them: a number with either mark, a stamp, or nothing.
fn is_value(cell: &[u8]) -> bool {
    match number::parse(cell, b'.') {
        Cell::Number(_) | Cell::NotFinite => true,
        Cell::Missing => false,
        Cell::Words => matches!(number::parse(cell, b','), Cell::Number(_)) || number::stamp(cell).is_some(),
    }
}

fn candidate(lines: &[&[u8]], delimiter: u8) -> Option<Candidate> {
    let mut cells = Cells::default();
    let counts: Vec<(usize, usize, usize)> = lines
        .iter()
        .map(|line| {
            cells.split(line, delimiter);
            let values = cells.all(line).filter(|c| is_value(c)).count();
            let empty = cells.all(line).filter(|c| number::parse(c, b'.') == Cell::Missing).count();
            (cells.count(), values, empty)
        })
        .collect();
    // The width that most lines with a value have, over all of them: a table is the same width throughout.
    let width = *counts
        .iter()
        .filter(|(_, values, _)| *values > 0)
        .map(|(width, ..)| width)
        .max_by_key(|w| (counts.iter().filter(|(x, v, _)| x == *w && *v > 0).count(), **w))?;
    let is_row =
        |&(w, values, empty): &(usize, usize, usize)| w == width && values > 0 && (values + empty) * 3 >= w;
    // The first line of names with a row below it, else the first row: preamble lines may look like rows.
    let header = (0..counts.len()).find(|&i| {
        let (w, values, empty) = counts[i];
        w.abs_diff(width) <= 1 && values == 0 && empty < w && counts.get(i + 1).is_some_and(is_row)
    });
    let first = header.map_or_else(|| counts.iter().position(is_row), |i| Some(i + 1))?;
    let of_rows: Vec<_> = counts[first..].iter().filter(|c| is_row(c)).collect();
    let good: usize = of_rows.iter().map(|(_, v, e)| v + e).sum();
    let all: usize = counts[first..].iter().map(|c| c.0.max(1)).sum();
    let mut clean = good as f64 / all as f64;
    // A header of another width than its rows speaks against this delimiter.
    if let Some((header, ..)) = counts[..first].iter().rev().find(|c| c.0 > 1 || c.2 == 0)
        && (header.abs_diff(width) > 1 || (*header == 1 && width > 1))
    {
        clean /= 2.0;
    }
    Some(Candidate { delimiter, clean, columns: width, first })
}

fn decimal_mark(rows: &[&[u8]], delimiter: u8) -> u8 {
    let mut cells = Cells::default();
    let (mut commas, mut points) = (0, 0);
    for line in rows {
        cells.split(line, delimiter);
        for cell in cells.all(line) {
            let with = |mark| cell.contains(&mark) && matches!(number::parse(cell, mark), Cell::Number(_));
            commas += usize::from(with(b','));
            points += usize::from(with(b'.'));
        }
    }
    if commas > points { b',' } else { b'.' }
}

/// The line of the header (by index) and the columns' names.
fn header(before: &[&[u8]], table: &Candidate, encoding: Encoding) -> (Option<usize>, Vec<String>) {
    let numbered = |i: usize| format!("column {}", i + 1);
    let blank: Vec<String> = (0..table.columns).map(numbered).collect();
    let split = |index: usize| -> Option<Vec<String>> {
        let mut cells = Cells::default();
        let line = before.get(index)?;
        cells.split(line, table.delimiter);
        let names: Vec<String> = cells.all(line).map(|c| text::words(c, encoding).into_owned()).collect();
        let fits = names.len().abs_diff(table.columns) <= 1 && names.iter().any(|n| !n.is_empty());
        let extra_empty = names.get(table.columns).is_none_or(String::is_empty);
        (fits && extra_empty).then_some(names)
    };
    let Some(last) = before.iter().rposition(|l| !l.trim_ascii().is_empty()) else { return (None, blank) };
    let Some(mut names) = split(last) else { return (None, blank) };
    let mut line = last;
    // A second line of nothing but unit signs belongs to the names above it.
    let only_units = names
        .iter()
        .all(|n| n.is_empty() || headers::unit_sign(n.trim_matches(['[', ']', '(', ')'])).is_some());
    if only_units
        && last > 0
        && let Some(above) = split(last - 1)
    {
        for (name, unit) in above.into_iter().zip(&mut names) {
            let sign = unit.trim_matches(['[', ']', '(', ')']).to_owned();
            *unit = if sign.is_empty() { name } else { format!("{name} [{sign}]") };
        }
        line = last - 1;
    }
    names.resize(table.columns, String::new());
    for (i, name) in names.iter_mut().enumerate() {
        if name.is_empty() {
            *name = numbered(i);
        }
    }
    (Some(line), names)
}
