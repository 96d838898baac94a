//! What the columns of a table hold throughout, and which lines are no rows because of it: remarks, sums, averages.

use super::headers;
use super::lines::Cells;
use super::number::{self, Cell, Marks};
use super::stamp;

/// What a column holds in nearly every row.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Holds {
    Numbers,
    Stamps,
    Words,
    /// Now this, now that: nothing can be told by it.
    Mixed,
}

/// Odd cells that a settled column may have: one row in so many, and one in a short log.
const ONE_ROW_IN: usize = 50;
/// A column of fewer filled cells settles only where none is odd.
const FEW: usize = 4;

/// What each column of a table holds.
#[derive(Clone, Debug, Default)]
pub struct Settled {
    holds: Vec<Holds>,
    marks: Option<Marks>,
}

/// Cells of a column by what they are.
#[derive(Clone, Copy, Default)]
struct Count {
    numbers: usize,
    stamps: usize,
    words: usize,
    results: usize,
}

/// How many odd cells are few beside all of a column.
fn few(odd: usize, of: usize) -> bool {
    odd * ONE_ROW_IN <= of || (odd == 1 && of >= FEW)
}

impl Settled {
    /// Judges the first rows of a table.
    pub fn of<'a>(rows: impl Iterator<Item = &'a [u8]>, columns: usize, delimiter: u8, marks: Marks) -> Self {
        let mut counts = vec![Count::default(); columns];
        let mut cells = Cells::default();
        for line in rows {
            cells.split(line, delimiter);
            for (i, (count, cell)) in counts.iter_mut().zip(cells.all(line)).enumerate() {
                count.add(cell, marks, i == 0);
            }
        }
        let holds = counts.iter().enumerate().map(|(i, count)| count.holds(i)).collect();
        Self { holds, marks: Some(marks) }
    }

    /// Columns in which a line of full width holds what no row holds there.
    pub fn odd<'a>(&'a self, cells: &'a Cells, line: &'a [u8]) -> impl Iterator<Item = usize> + 'a {
        (0..self.holds.len()).filter(|&i| self.odd_at(i, cells.get(line, i)))
    }

    /// Whether a cell of a line of full width is what no row holds in that column.
    #[inline]
    pub fn odd_at(&self, column: usize, cell: &[u8]) -> bool {
        self.holds.get(column).is_some_and(|holds| self.is_odd(*holds, cell))
    }

    /// Whether a number is nothing odd in a column.
    pub fn takes_numbers(&self, column: usize) -> bool {
        self.holds.get(column).is_none_or(|holds| matches!(holds, Holds::Numbers | Holds::Mixed))
    }

    /// Whether a line that is too short is led by words where rows have none.
    pub fn is_short_remark(&self, cells: &Cells, line: &[u8]) -> bool {
        let led = cells.get(line, 0);
        self.holds.first().is_some_and(|holds| self.is_odd(*holds, led) && letter(led))
    }

    #[inline]
    fn is_odd(&self, holds: Holds, cell: &[u8]) -> bool {
        // Most cells of a log are numbers in columns of numbers, or stamps in columns of stamps.
        let usual = match holds {
            Holds::Mixed => true,
            Holds::Numbers => !letter(cell),
            Holds::Stamps => !letter(cell) && memchr::memchr(b':', cell).is_some(),
            Holds::Words => false,
        };
        !usual && self.is_odd_after_all(holds, cell)
    }

    fn is_odd_after_all(&self, holds: Holds, cell: &[u8]) -> bool {
        let marks = self.marks.unwrap_or(Marks::plain(b'.'));
        match (holds, number::parse(cell, marks)) {
            (Holds::Numbers, Cell::Words) => stamp::stamp(cell).is_none(),
            (Holds::Stamps, Cell::Number(_)) => true,
            (Holds::Stamps, Cell::Words) => letter(cell) && stamp::stamp(cell).is_none(),
            (Holds::Words, Cell::Words) => headers::is_result(cell),
            _ => false,
        }
    }

    /// Takes back what too many rows of a sample contradict; whether there was such a column.
    pub fn unsettle(&mut self, odd: &[usize], rows: usize) -> bool {
        let mut any = false;
        for (holds, &odd) in self.holds.iter_mut().zip(odd) {
            if *holds != Holds::Mixed && odd > 0 && !few(odd, rows) {
                (*holds, any) = (Holds::Mixed, true);
            }
        }
        any
    }
}

impl Count {
    fn add(&mut self, cell: &[u8], marks: Marks, first: bool) {
        match number::parse(cell, marks) {
            Cell::Number(_) => self.numbers += 1,
            Cell::Missing | Cell::NotFinite => {}
            Cell::Words if stamp::stamp(cell).is_some() => self.stamps += 1,
            Cell::Words => {
                self.words += 1;
                self.results += usize::from(first && headers::is_result(cell));
            }
        }
    }

    /// Of words only the first column tells anything: lines that sum a log up are led by a word for it.
    fn holds(self, column: usize) -> Holds {
        let all = self.numbers + self.stamps + self.words;
        let settled = |of: usize| of > 0 && few(all - of, all);
        match () {
            () if settled(self.numbers) => Holds::Numbers,
            () if settled(self.stamps) => Holds::Stamps,
            () if column == 0 && settled(self.words) && few(self.results, all) => Holds::Words,
            () => Holds::Mixed,
        }
    }
}

fn letter(cell: &[u8]) -> bool {
    cell.first().is_some_and(|b| b.is_ascii_alphabetic() || *b >= 0x80)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn odd(rows: &[&str], line: &str) -> Option<usize> {
        let columns = line.split(';').count();
        let settled = Settled::of(rows.iter().map(|r| r.as_bytes()), columns, b';', Marks::plain(b'.'));
        let mut cells = Cells::default();
        cells.split(line.as_bytes(), b';');
        settled.odd(&cells, line.as_bytes()).next()
    }

    #[test]
    fn sums_and_remarks_are_no_rows() {
        let numbers = ["0.5;16.7", "0.6;16.6", "0.7;", "0.8;16.9", "0.9;nan"];
        assert_eq!(odd(&numbers, "average;16.7"), Some(0));
        assert_eq!(odd(&numbers, "1.0;scene two"), Some(1));
        assert_eq!(odd(&numbers, "1.0;inf"), None);
        let stamps = ["ok;22:30:33.1", "ok;22:30:33.2", "no;22:30:33.3"];
        assert_eq!(odd(&stamps, "ok;16.7"), Some(1));
        assert_eq!(odd(&["ok;1", "ok;2", "so;3", "ok;4"], "Mittelwert:;2"), Some(0));
    }

    #[test]
    fn a_column_of_both_tells_nothing() {
        let mixed = ["0.5;16.7", "0.6;off", "0.7;16.1", "0.8;off"];
        assert_eq!(odd(&mixed, "1.0;off"), None);
        assert_eq!(odd(&["max;1", "max;2", "max;3", "max;4"], "max;5"), None);
    }

    #[test]
    fn what_many_rows_contradict_is_taken_back() {
        let mut settled = Settled::of([&b"1"[..], b"2", b"3", b"4"].into_iter(), 1, b';', Marks::plain(b'.'));
        assert!(!settled.unsettle(&[1], 100));
        assert!(settled.unsettle(&[30], 100));
        let mut cells = Cells::default();
        cells.split(b"off", b';');
        assert_eq!(settled.odd(&cells, b"off").next(), None);
    }
}
