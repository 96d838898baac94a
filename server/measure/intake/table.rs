//! Where the table of a log is: delimiter, marks of its numbers, header line, first row, judged on the first lines.

use super::candidate::{Candidate, DELIMITERS, candidate, is_value};
use super::headers;
use super::lines::{BLANKS, Cells, LONGEST_LINE, Line, Lines};
use super::marks;
use super::number::Marks;
use super::settled::Settled;
use super::text::{self, Encoding};

/// How many lines the table is judged on.
pub const HEAD_LINES: usize = 300;
/// Rows on which the marks of the numbers are judged, and what the columns hold.
const JUDGED_ROWS: usize = 150;
/// Lines from which on the last one, where it may be cut, is not judged.
const FEW_LINES: usize = 8;
/// Columns that are weighed at most.
pub const MOST_COLUMNS: usize = 1024;

/// The table of a log.
#[derive(Clone, Debug)]
pub struct Table {
    /// Byte between cells; a blank stands for runs of blanks.
    pub delimiter: u8,
    /// Marks of its numbers.
    pub marks: Marks,
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
    /// Cells of the header as written; empty without one.
    pub header: Vec<Vec<u8>>,
    /// What its columns hold throughout.
    pub settled: Settled,
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
    /// More columns than can be weighed, on this line.
    TooWide(u64, usize),
    /// Commas between cells and inside numbers: the first row, columns of the header, cells of a row.
    SameComma(u64, usize, usize),
}

impl Table {
    /// Lines that are no rows wherever they stand: blank ones, comments, rules.
    pub fn is_aside(&self, line: &[u8]) -> bool {
        is_aside(line)
    }

    /// Judges what the columns hold on the first rows.
    fn settle(&self, lines: &[&[u8]]) -> Settled {
        let mut cells = Cells::default();
        let rows = lines.iter().copied().filter(|line| {
            cells.split(line, self.delimiter);
            !is_aside(line) && cells.count() >= self.names.len() && !self.repeats_header(&cells, line)
        });
        Settled::of(rows, self.names.len(), self.delimiter, self.marks)
    }

    /// Whether a line is the header of another table: as many names without a value, some of them those of this one,
    /// in other places.
    pub fn is_other_header(&self, line: &[u8]) -> bool {
        if self.header.len() < 2 || !line.iter().find(|b| !b.is_ascii_whitespace()).is_some_and(starts_name) {
            return false;
        }
        let mut cells = Cells::default();
        cells.split(line, self.delimiter);
        let named = |cell: &[u8]| !cell.is_empty() && self.header.iter().any(|name| name == cell);
        let known = cells.all(line).filter(|cell| named(cell)).count();
        cells.count().abs_diff(self.header.len()) <= 1
            && known * 2 >= self.header.len()
            && known >= 2
            && !cells.all(line).any(is_value)
            && !self.repeats_header(&cells, line)
    }

    /// Whether a line is the header once more.
    pub fn repeats_header(&self, cells: &Cells, line: &[u8]) -> bool {
        let first = cells.get(line, 0);
        !self.header.is_empty()
            && first.first() == self.header[0].first()
            && self.header.iter().zip(cells.all(line)).all(|(name, cell)| name == cell)
    }
}

/// Whether a byte may begin a name rather than a number.
fn starts_name(byte: &u8) -> bool {
    byte.is_ascii_alphabetic() || *byte >= 0x80 || *byte == b'"'
}

pub(super) fn is_aside(line: &[u8]) -> bool {
    let line = line.trim_ascii();
    match line.first() {
        None => true,
        Some(b'#' | b'%') => true,
        Some(b'/') => line.starts_with(b"//"),
        Some(b'-' | b'=' | b'|' | b'+') => {
            line.len() > 2 && line.iter().all(|b| matches!(b, b'-' | b'=' | b'|' | b'+' | b':' | b' '))
        }
        _ => false,
    }
}

/// A comment without its mark: headers stand in comments too.
pub(super) fn uncommented(line: &[u8]) -> &[u8] {
    let bare = line.trim_ascii_start();
    match bare.first() {
        Some(b'#' | b'%') => bare[1..].trim_ascii_start(),
        _ => line,
    }
}

/// The byte that ends lines: `\r` only where there is no `\n` but inside quotes.
pub fn line_end(head: &[u8]) -> u8 {
    let has = |byte| memchr::memchr(byte, head).is_some();
    if !has(b'\r') || (has(b'\n') && !has(b'"')) {
        return b'\n';
    }
    let mut inside = false;
    let feeds = head.iter().any(|b| {
        inside ^= *b == b'"';
        *b == b'\n' && !inside
    });
    if feeds { b'\n' } else { b'\r' }
}

/// Finds the table in the first bytes of a log (as UTF-8 or single bytes). `whole` says that there are no more.
///
/// # Errors
/// What stands there instead.
pub fn find(head: &[u8], whole: bool, encoding: Encoding) -> Result<Table, NoTable> {
    let line_end = line_end(head);
    let numbered = head_lines(head, whole, line_end)?;
    let lines: Vec<&[u8]> = numbered.iter().map(|(_, line)| line.as_slice()).collect();
    if lines.iter().all(|l| l.trim_ascii().is_empty()) {
        return Err(NoTable::Blank);
    }
    let number = |index: usize| numbered.get(index).map_or(1, |line| line.0);
    // A last line that may be cut says nothing of the width of the others: with one cell it would speak for one column.
    let cut = whole && lines.len() > FEW_LINES && head.last() != Some(&line_end);
    let judged = &lines[..lines.len() - usize::from(cut)];
    // Among equals the first delimiter of the list: a single column has none.
    let best = apart(judged).into_iter().filter_map(|d| candidate(judged, d)).reduce(|a, b| {
        if b.clean > a.clean + 1e-9 || (b.clean > a.clean - 1e-9 && b.columns > a.columns) { b } else { a }
    });
    let Some(mut best) = best else {
        let at = lines.iter().position(|l| !l.trim_ascii().is_empty()).unwrap_or(0);
        let columns = [b',', b';', b'\t'].map(|d| memchr::memchr_iter(d, lines[at]).count() + 1);
        return Err(NoTable::NoRows(number(at), columns.into_iter().max().unwrap_or(1)));
    };
    if best.columns > MOST_COLUMNS {
        return Err(NoTable::TooWide(number(best.first), best.columns));
    }
    if best.delimiter == b',' {
        match names_of_halves(&lines, &best) {
            Some(named) if named > 1 => {
                return Err(NoTable::SameComma(number(best.first), named, best.columns));
            }
            // One name or none, and a comma in each number: it is the decimal mark of a single column.
            named if named.is_some() || is_one_of_decimals(&lines, &best) => {
                (best.delimiter, best.columns) = (b'\t', 1)
            }
            _ => {}
        }
    }
    let rows = &lines[best.first..];
    let rows = &rows[..rows.len().min(JUDGED_ROWS)];
    let marks = marks::of(rows, best.delimiter);
    let (header, cells, names) = header(&lines, &best, encoding);
    let mut table = Table {
        delimiter: best.delimiter,
        marks,
        line_end,
        encoding,
        header_line: header.map_or(0, number),
        first_row: number(best.first),
        names,
        header: cells,
        settled: Settled::default(),
    };
    table.settled = table.settle(rows);
    Ok(table)
}

/// The delimiters that cut the lines in different ways: those that stand in none of them all leave single cells.
fn apart(lines: &[&[u8]]) -> Vec<u8> {
    let stands = |d| d == BLANKS || lines.iter().any(|line| memchr::memchr(d, line).is_some());
    let mut left = false;
    DELIMITERS.into_iter().filter(|&d| stands(d) || !std::mem::replace(&mut left, true)).collect()
}

/// Names in the header, where rows have twice as many cells and all of them are whole numbers.
fn names_of_halves(lines: &[&[u8]], best: &Candidate) -> Option<usize> {
    let mut cells = Cells::default();
    let above = lines[..best.first].iter().rfind(|l| !is_aside(l))?;
    cells.split(above, b',');
    // A unit after a comma is no name of its own.
    let named =
        cells.all(above).filter(|c| headers::unit_sign(&String::from_utf8_lossy(c)).is_none()).count();
    let values = cells.all(above).any(is_value);
    let whole = |line: &&[u8]| {
        let mut cells = Cells::default();
        cells.split(line, b',');
        cells.all(line).all(|c| c.iter().all(|b| b.is_ascii_digit() || *b == b'-'))
    };
    (!values && named * 2 == best.columns && lines[best.first..].iter().take(20).all(whole)).then_some(named)
}

/// Whether two cells of whole numbers without names are one number: behind the comma as many digits in every row, of
/// all kinds, and zeros before others.
fn is_one_of_decimals(lines: &[&[u8]], best: &Candidate) -> bool {
    if best.columns != 2 || best.header.is_some_and(|h| !is_aside(lines[h]) && lines[h].contains(&b',')) {
        return false;
    }
    let halves = |line: &&[u8]| {
        let (before, after) = line.trim_ascii().split_at(memchr::memchr(b',', line.trim_ascii())?);
        let whole = |part: &[u8]| !part.is_empty() && part.iter().all(u8::is_ascii_digit);
        (whole(before) && whole(&after[1..])).then(|| after[1..].to_vec())
    };
    let rows = lines[best.first..].iter().filter(|line| !is_aside(line));
    let (good, bad): (Vec<_>, Vec<_>) = rows.map(halves).partition(Option::is_some);
    let good: Vec<Vec<u8>> = good.into_iter().flatten().collect();
    let digits = good.first().map_or(0, Vec::len);
    let last: std::collections::HashSet<u8> = good.iter().filter_map(|d| d.last().copied()).collect();
    let padded = digits == 1 || good.iter().any(|d| d[0] == b'0');
    bad.len() * 10 < good.len() && last.len() >= 7 && padded && good.iter().all(|d| d.len() == digits)
}

/// Lines with the number of each; a row may take several.
fn head_lines(head: &[u8], whole: bool, line_end: u8) -> Result<Vec<(u64, Vec<u8>)>, NoTable> {
    let mut lines = Vec::new();
    let mut stream = Lines::held(head, line_end);
    while lines.len() < HEAD_LINES {
        let number = stream.number() + 1;
        match stream.advance() {
            // What is cut by the end of the head, not by the log's, is no line.
            Ok(Some(Line::Text(line, ended))) if ended || whole => lines.push((number, line.to_vec())),
            _ => break,
        }
    }
    if lines.is_empty() && head.len() >= LONGEST_LINE { Err(NoTable::TooLong(1)) } else { Ok(lines) }
}

type Header = (Option<usize>, Vec<Vec<u8>>, Vec<String>);

/// The line of the header (by index), its cells, and the columns' names.
fn header(lines: &[&[u8]], table: &Candidate, encoding: Encoding) -> Header {
    let numbered = |i: usize| format!("column {}", i + 1);
    let blank: Vec<String> = (0..table.columns).map(numbered).collect();
    let raw = |index: usize| -> Vec<Vec<u8>> {
        let mut cells = Cells::default();
        let line = uncommented(lines[index]);
        cells.split(line, table.delimiter);
        cells.all(line).map(<[u8]>::to_vec).collect()
    };
    let split = |index: usize| -> Option<Vec<String>> {
        let names: Vec<String> = raw(index).iter().map(|c| text::words(c, encoding).into_owned()).collect();
        let fits = names.len().abs_diff(table.columns) <= 1 && names.iter().any(|n| !n.is_empty());
        let extra_empty = names.get(table.columns).is_none_or(String::is_empty);
        (fits && extra_empty).then_some(names)
    };
    let Some(last) = table.header else { return (None, Vec::new(), blank) };
    let Some(mut names) = split(last) else { return (None, Vec::new(), blank) };
    let mut line = last;
    // A second line of nothing but unit signs belongs to the names above it, or below.
    let units = |names: &[String]| {
        let sign = |n: &String| headers::unit_sign(n.trim_matches(['[', ']', '(', ')'])).is_some();
        names.iter().all(|n| n.is_empty() || sign(n)) && names.iter().any(sign)
    };
    if units(&names)
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
    (Some(line), raw(line), names)
}
