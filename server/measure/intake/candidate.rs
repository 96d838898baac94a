//! One way to cut the first lines of a log into a table: a delimiter, and how well its rows speak for it.

use super::lines::{BLANKS, Cells};
use super::number::{self, Cell, Marks};
use super::stamp;
use super::table::{is_aside, uncommented};

/// One cell in so many of a row has to be a value or empty.
const MOST_WORDS: usize = 8;
/// Lines on which torn cells are counted.
const TORN_LINES: usize = 40;
/// Lines after the first row of which at most one is no row, as far as there are so many.
const RUN: usize = 4;
pub(super) const DELIMITERS: [u8; 5] = [b',', b';', b'\t', b'|', BLANKS];

/// A table that a delimiter gives.
pub(super) struct Candidate {
    pub(super) delimiter: u8,
    pub(super) clean: f64,
    pub(super) columns: usize,
    /// Line of the header, by index.
    pub(super) header: Option<usize>,
    pub(super) first: usize,
}

/// A cell as a row of a log has them: a number with either mark, a stamp, or nothing.
pub(super) fn is_value(cell: &[u8]) -> bool {
    let number = |decimal| match number::parse(cell, Marks { decimal, grouped: true }) {
        Cell::Number(_) | Cell::NotFinite => Some(true),
        Cell::Missing => Some(false),
        Cell::Words => None,
    };
    number(b'.').or_else(|| number(b',')).unwrap_or_else(|| stamp::stamp(cell).is_some())
}

/// The table that a delimiter gives, where it gives any.
pub(super) fn candidate(lines: &[&[u8]], delimiter: u8) -> Option<Candidate> {
    let mut cells = Cells::default();
    let counts: Vec<(usize, usize, usize)> = lines
        .iter()
        .map(|line| {
            if is_aside(line) {
                return (0, 0, 0);
            }
            cells.split(line, delimiter);
            let (mut values, mut empty) = (0, 0);
            for cell in cells.all(line) {
                let value = is_value(cell);
                values += usize::from(value);
                empty += usize::from(!value && number::parse(cell, Marks::plain(b'.')) == Cell::Missing);
            }
            (cells.count(), values, empty)
        })
        .collect();
    // The width that most lines with a value have, over all of them: a table is the same width throughout.
    let width = *counts
        .iter()
        .filter(|(_, values, _)| *values > 0)
        .map(|(width, ..)| width)
        .max_by_key(|w| (counts.iter().filter(|(x, v, _)| x == *w && *v > 0).count(), **w))?;
    let is_row = |&(w, values, empty): &(usize, usize, usize)| {
        w == width && values > 0 && (values + empty) * MOST_WORDS >= w
    };
    // Where rows follow on each other: a line of the preamble may look like one by itself.
    let is_line = |i: &usize| counts[*i].0 > 0;
    let valued = valued(lines, &counts, is_row, delimiter);
    let mut fits = |i: usize| {
        cells.split(lines[i], delimiter);
        is_row(&counts[i])
            && !cells.all(lines[i]).zip(&valued).any(|(cell, valued)| *valued && is_words(cell))
    };
    let first = (0..counts.len()).find(|&i| {
        let run: Vec<usize> = (i + 1..counts.len()).filter(is_line).take(RUN).collect();
        let led = run.first().is_none_or(|&next| is_row(&counts[next]));
        let good = run.iter().filter(|&&j| is_row(&counts[j])).count();
        let named = run.iter().any(|&j| counts[j].1 == 0);
        led && !named && good + usize::from(run.len() == RUN) >= run.len() && fits(i)
    })?;
    // The header is the next line of names above; comments and blank lines may stand between.
    let names = |i: usize| {
        let comment = is_aside(lines[i]) && !lines[i].trim_ascii().is_empty();
        let (w, values, empty) = if comment { cells_of_comment(lines[i], delimiter) } else { counts[i] };
        w > 0 && w.abs_diff(width) <= 1 && values == 0 && empty < w
    };
    let header = (0..first).rev().find(|&i| names(i) || is_line(&i)).filter(|&i| names(i));
    let of_rows: Vec<_> = counts[first..].iter().filter(|c| is_row(c)).collect();
    // Sentences have numbers in them too, but not as many words in each.
    if of_rows.len() * 3 < counts[first..].iter().filter(|c| c.0 > 0).count() * 2 {
        return None;
    }
    let good: usize = of_rows.iter().map(|(_, v, e)| v + e).sum();
    let torn: usize =
        lines[first..].iter().take(TORN_LINES).map(|line| torn_cells(&mut cells, line, delimiter)).sum();
    let all: usize = counts[first..].iter().filter(|c| c.0 > 0).map(|c| c.0).sum();
    // What splits only a few lines into rows is not what stands between cells.
    let lines_split = of_rows.len() as f64 / counts.iter().filter(|c| c.0 > 0).count() as f64;
    let mut clean = good.saturating_sub(torn) as f64 / all.max(1) as f64 * lines_split;
    // A header of another width than its rows speaks against this delimiter.
    if let Some((header, _, empty)) = counts[..first].iter().rev().find(|c| c.0 > 1 || (c.0 == 1 && c.2 == 0))
    {
        clean *= match () {
            () if header.abs_diff(width) > 1 || (*header == 1 && width > 1) => 0.5,
            () if *header != width && header - empty != width => 0.9,
            () => 1.0,
        };
    }
    Some(Candidate { delimiter, clean, columns: width, header, first })
}

/// Whether a cell is neither a value nor empty.
fn is_words(cell: &[u8]) -> bool {
    !is_value(cell) && number::parse(cell, Marks::plain(b'.')) != Cell::Missing
}

/// For each column, whether most rows have a value there.
fn valued(
    lines: &[&[u8]],
    counts: &[(usize, usize, usize)],
    is_row: impl Fn(&(usize, usize, usize)) -> bool,
    delimiter: u8,
) -> Vec<bool> {
    let mut cells = Cells::default();
    let mut words: Vec<usize> = Vec::new();
    let rows: Vec<usize> = (0..lines.len()).filter(|&i| is_row(&counts[i])).collect();
    for &row in &rows {
        cells.split(lines[row], delimiter);
        words.resize(words.len().max(cells.count()), 0);
        words
            .iter_mut()
            .zip(cells.all(lines[row]))
            .for_each(|(words, cell)| *words += usize::from(is_words(cell)));
    }
    words.iter().map(|words| words * 2 < rows.len()).collect()
}

/// Cells of words that hold another delimiter with numbers beside it: they are several cells.
fn torn_cells(cells: &mut Cells, line: &[u8], delimiter: u8) -> usize {
    if is_aside(line) {
        return 0;
    }
    cells.split(line, delimiter);
    let torn = |cell: &[u8]| {
        !is_value(cell)
            && DELIMITERS.iter().filter(|d| **d != delimiter && cell.contains(d)).any(|&d| {
                // Words with a number among them are common: only what begins with a number is torn there.
                let parts = if d == BLANKS { 1 } else { usize::MAX };
                cell.split(|b| *b == d).take(parts).any(|part| !part.is_empty() && is_value(part))
            })
    };
    cells.all(line).filter(|cell| torn(cell)).count()
}

fn cells_of_comment(line: &[u8], delimiter: u8) -> (usize, usize, usize) {
    let mut cells = Cells::default();
    let bare = uncommented(line);
    cells.split(bare, delimiter);
    let values = cells.all(bare).filter(|c| is_value(c)).count();
    let empty = cells.all(bare).filter(|c| c.is_empty()).count();
    (cells.count(), values, empty)
}
