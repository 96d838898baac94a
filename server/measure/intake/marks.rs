//! The marks inside a log's numbers: which one is decimal, and whether groups of three digits are set apart.

use super::lines::Cells;
use super::number::{self, Cell, Marks};

/// What the cells of one column show of one mark.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
struct Seen {
    /// Cells with the mark before exactly three digits, behind one to three that begin with no zero.
    three: usize,
    /// Cells that are numbers with the mark as the decimal one in any other way.
    other: usize,
    /// Cells of one to three digits without any mark.
    short: usize,
    /// Cells of more digits without any mark.
    long: usize,
}

impl Seen {
    fn add(&mut self, other: Self) {
        self.three += other.three;
        self.other += other.other;
        self.short += other.short;
        self.long += other.long;
    }
}

/// Where the point stands in a cell of digits with at most one point among them; `None` of any other cell.
fn plain_point(cell: &[u8]) -> Option<Option<usize>> {
    let number = cell.first()?.is_ascii_digit().then(|| number::plain(cell, b'.'))??;
    let after = usize::try_from(number.scale).ok()?;
    Some((after > 0 || cell.ends_with(b".")).then(|| cell.len() - 1 - after))
}

/// What [`look`] sees of such a cell.
fn of_plain(cell: &[u8], point: Option<usize>) -> Seen {
    let three =
        point.is_some_and(|before| (1..=3).contains(&before) && cell.len() == before + 4 && cell[0] != b'0');
    Seen {
        three: usize::from(three),
        other: usize::from(point.is_some() && !three),
        short: usize::from(point.is_none() && cell.len() <= 3),
        long: usize::from(point.is_none() && cell.len() > 3),
    }
}

/// Numbers too short for a group, beside those of three digits behind the mark: fewer may be faults.
const SHORT_ONE_IN: usize = 20;

/// Judges the marks on rows of a table.
pub fn of(rows: &[&[u8]], delimiter: u8) -> Marks {
    let mut cells = Cells::default();
    let mut columns: Vec<[Seen; 2]> = Vec::new();
    let mut apart = [0, 0];
    // Cells that are numbers with this decimal mark, without and with groups.
    let (mut plain, mut grouped_too) = ([0_usize; 2], [0_usize; 2]);
    for line in rows {
        cells.split(line, delimiter);
        columns.resize(columns.len().max(cells.count()), [Seen::default(); 2]);
        for (i, cell) in cells.all(line).enumerate() {
            // What nearly every cell of most logs is needs no look at the other marks.
            if let Some(point) = plain_point(cell) {
                let seen = of_plain(cell, point);
                columns[i][0].add(seen);
                plain[0] += 1;
                grouped_too[0] += 1;
                if point.is_none() {
                    columns[i][1].add(seen);
                    plain[1] += 1;
                }
                let may_be_group = point.is_none_or(|at| (1..=3).contains(&at) && cell.len() == at + 4);
                grouped_too[1] += usize::from(may_be_group);
                continue;
            }
            for (k, decimal) in [b'.', b','].into_iter().enumerate() {
                look(&mut columns[i][k], cell, decimal);
                let grouped = number::parse(cell, Marks { decimal, grouped: true });
                let bare = number::parse(cell, Marks::plain(decimal));
                plain[k] += usize::from(matches!(bare, Cell::Number(_)));
                grouped_too[k] += usize::from(matches!(grouped, Cell::Number(_)));
                let told = matches!(grouped, Cell::Number(_)) && bare == Cell::Words;
                // Written with both marks, or with a mark that is never decimal, it can only be grouped.
                let sure = cell.contains(&decimal)
                    || cell.iter().any(|b| !matches!(b, b'0'..=b'9' | b'.' | b',' | b'-' | b'+'))
                    || memchr::memchr_iter(other_mark(decimal), cell).count() > 1;
                apart[k] += usize::from(told && sure);
            }
        }
    }
    let sum = |k: usize, of: fn(&Seen) -> usize| columns.iter().map(|c| of(&c[k])).sum::<usize>();
    // A mark that stands before three digits always, and not in shorter numbers of its column, sets groups apart.
    let groups = |k: usize| {
        sum(k, |s| s.other) == 0
            && columns
                .iter()
                .any(|c| c[k].three > 0 && c[k].short * SHORT_ONE_IN > c[k].three && c[k].long == 0)
    };
    // Only with groups all cells are numbers that are so with one mark or the other.
    let needed = |k: usize| grouped_too[k] > grouped_too[1 - k].max(plain[0]).max(plain[1]) + rows.len() / 10;
    let (points, commas) = (sum(0, |s| s.three + s.other), sum(1, |s| s.three + s.other));
    match () {
        () if apart[1] > apart[0] => Marks { decimal: b',', grouped: true },
        () if apart[0] > 0 => Marks { decimal: b'.', grouped: true },
        () if needed(1) => Marks { decimal: b',', grouped: true },
        () if needed(0) => Marks { decimal: b'.', grouped: true },
        () if commas > points && groups(1) => Marks { decimal: b'.', grouped: true },
        () if points > commas && groups(0) => Marks { decimal: b',', grouped: true },
        () if commas > points => Marks::plain(b','),
        () => Marks::plain(b'.'),
    }
}

fn other_mark(decimal: u8) -> u8 {
    if decimal == b'.' { b',' } else { b'.' }
}

fn look(seen: &mut Seen, cell: &[u8], decimal: u8) {
    let bare = cell.strip_prefix(b"-").unwrap_or(cell);
    if !bare.is_empty() && bare.iter().all(u8::is_ascii_digit) {
        seen.short += usize::from(bare.len() <= 3);
        seen.long += usize::from(bare.len() > 3);
        return;
    }
    if !cell.contains(&decimal) || !matches!(number::parse(cell, Marks::plain(decimal)), Cell::Number(_)) {
        return;
    }
    let before = bare.iter().position(|b| *b == decimal).unwrap_or(0);
    let three = bare.len() == before + 4 && (1..=3).contains(&before) && bare[0] != b'0';
    seen.three += usize::from(three);
    seen.other += usize::from(!three);
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    proptest! {
        #[test]
        fn plain_cells_are_seen_as_any_other(cell in "[0-9]{1,5}(\\.[0-9]{0,4})?") {
            let cell = cell.as_bytes();
            let point = plain_point(cell).unwrap();
            prop_assert_eq!(point, memchr::memchr(b'.', cell));
            let mut seen = Seen::default();
            look(&mut seen, cell, b'.');
            prop_assert_eq!(of_plain(cell, point), seen);
        }
    }

    fn marks(lines: &[&str]) -> (char, bool) {
        let rows: Vec<&[u8]> = lines.iter().map(|l| l.as_bytes()).collect();
        let marks = of(&rows, b';');
        (char::from(marks.decimal), marks.grouped)
    }

    #[test]
    fn groups_are_told_from_decimals() {
        assert_eq!(marks(&["1.016,7;16,6", "1.033,3;16,6"]), (',', true));
        assert_eq!(marks(&["1'016.7;16.6", "1'033.3;16.6"]), ('.', true));
        assert_eq!(marks(&["2.523;5,23", "2.611;5,34"]), (',', true));
        assert_eq!(marks(&["983", "1.000", "1.016"]), (',', true));
        assert_eq!(marks(&["16.667", "16.666", "17.001"]), ('.', false));
        assert_eq!(marks(&["16.667", "16.5", "17"]), ('.', false));
        assert_eq!(marks(&["0,016;16,7", "0,033;16,6"]), (',', false));
    }
}
