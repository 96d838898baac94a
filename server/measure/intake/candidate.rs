//! One way to cut the first lines of a log into a table: a delimiter, and how well its rows speak for it.

use std::collections::BTreeMap;

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
    // Whether each cell of each line is of words, and where those of a line begin.
    let (mut words, mut begin) = (Vec::new(), vec![0]);
    let mut counts: Vec<(usize, usize, usize)> = Vec::with_capacity(lines.len());
    for line in lines {
        let (mut values, mut empty) = (0, 0);
        let mut width = 0;
        if !is_aside(line) {
            cells.split(line, delimiter);
            width = cells.count();
            for cell in cells.all(line) {
                let value = is_value(cell);
                let missing = !value && number::parse(cell, Marks::plain(b'.')) == Cell::Missing;
                values += usize::from(value);
                empty += usize::from(missing);
                words.push(!value && !missing);
            }
        }
        counts.push((width, values, empty));
        begin.push(words.len());
    }
    let words_of = |i: usize| &words[begin[i]..begin[i + 1]];
    // The width that most lines with a value have, over all of them: a table is the same width throughout.
    let mut widths: BTreeMap<usize, usize> = BTreeMap::new();
    counts
        .iter()
        .filter(|(_, values, _)| *values > 0)
        .for_each(|(w, ..)| *widths.entry(*w).or_default() += 1);
    let width = widths.into_iter().map(|(width, lines)| (lines, width)).max()?.1;
    let is_row = |&(w, values, empty): &(usize, usize, usize)| {
        w == width && values > 0 && (values + empty) * MOST_WORDS >= w
    };
    // Where rows follow on each other: a line of the preamble may look like one by itself.
    let is_line = |i: &usize| counts[*i].0 > 0;
    let valued = valued((0..lines.len()).filter(|&i| is_row(&counts[i])).map(words_of));
    let fits = |i: usize| {
        is_row(&counts[i]) && !words_of(i).iter().zip(&valued).any(|(words, valued)| *valued && *words)
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
    // What is torn in these lines is torn in all.
    let looked = lines[first..].len().min(TORN_LINES);
    let torn = torn * lines[first..].len() / looked.max(1);
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

/// For each column, whether most rows have no words there.
fn valued<'a>(rows: impl Iterator<Item = &'a [bool]>) -> Vec<bool> {
    let (mut words, mut count): (Vec<usize>, _) = (Vec::new(), 0);
    for row in rows {
        count += 1;
        words.resize(words.len().max(row.len()), 0);
        words.iter_mut().zip(row).for_each(|(words, is)| *words += usize::from(*is));
    }
    words.iter().map(|words| words * 2 < count).collect()
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
