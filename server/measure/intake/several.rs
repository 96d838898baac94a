//! Logs that hold more than one reading by themselves: rows of several programs, and rows marked as dropped.

use super::evidence::{Evidence, Verdict};
use super::layout::{Dropped, Layout, Only};
use super::proof::Pair;
use super::sample::{Column, Sample};
use super::shape::Shape;
use super::text;
use crate::recording::Role;

/// Programs that are told apart at most.
const MOST_PROGRAMS: usize = 8;
/// Rows that are fewer than this share of the most frequent program's are not offered.
const ENOUGH_ROWS: usize = 200;

/// The rows of one value of a column.
struct Rows {
    name: String,
    sample: Sample,
}

impl Evidence<'_> {
    /// The question which program is meant, where rows of several are mixed.
    pub(super) fn several_programs(&self) -> Option<Verdict> {
        let share = |pairs: &[Pair]| pairs.iter().map(|p| p.share).fold(0.0, f64::max);
        let all = share(&self.pairs);
        for column in self.places(|s| s == Shape::Words) {
            let distinct = self.sample.columns[column].distinct.len();
            if !(2..=MOST_PROGRAMS).contains(&distinct) {
                continue;
            }
            let rows = self.rows_by(column);
            let [first, _, ..] = rows.as_slice() else { continue };
            let alone = Evidence::gather(self.table, &first.sample);
            let parts = !alone.pairs.is_empty() && share(&alone.pairs) > all + 0.01;
            // Where rows of all programs follow one clock without a break, words of another kind stand there.
            if !parts && !self.hints[column].program {
                continue;
            }
            return Some(self.which_program(column, &rows));
        }
        None
    }

    /// Rows by the value of a column, the most frequent first.
    fn rows_by(&self, column: usize) -> Vec<Rows> {
        let words = &self.sample.columns[column];
        let mut rows: Vec<Rows> = words
            .distinct
            .iter()
            .enumerate()
            .map(|(k, name)| {
                let k = u8::try_from(k).ok();
                let keep: Vec<bool> = words.word.iter().map(|w| w.is_some() && *w == k).collect();
                let columns: Vec<Column> = self.sample.columns.iter().map(|c| c.only(&keep)).collect();
                let rows = keep.iter().filter(|k| **k).count();
                let name = text::words(name, self.table.encoding).into_owned();
                Rows { name, sample: Sample { columns, rows, ..self.sample.clone() } }
            })
            .collect();
        rows.sort_by_key(|r| std::cmp::Reverse(r.sample.rows));
        let most = rows.first().map_or(0, |r| r.sample.rows);
        rows.retain(|r| r.sample.rows * ENOUGH_ROWS >= most && r.sample.rows > 1);
        rows
    }

    fn which_program(&self, column: usize, rows: &[Rows]) -> Verdict {
        let index = u32::try_from(column + 1).unwrap_or(u32::MAX);
        let mut ways = Vec::new();
        for one in rows {
            let only = |mut layout: Layout| {
                layout.only = Some(Only { column: index, is: one.name.clone() });
                layout.columns[column].role = Role::Program;
                layout
            };
            match Evidence::gather(self.table, &one.sample).decide() {
                Verdict::Certain(layout) => ways.push((format!("the rows of '{}'", one.name), only(layout))),
                Verdict::Unsure { ways: of, .. } => ways.extend(
                    of.into_iter()
                        .take(2)
                        .map(|(says, layout)| (format!("the rows of '{}', {says}", one.name), only(layout))),
                ),
                Verdict::Untimed | Verdict::Backwards(_) | Verdict::Summary => {}
            }
        }
        if let (false, Verdict::Certain(layout)) = (self.pairs.is_empty(), self.decide()) {
            ways.push(("the rows of all programs together".to_owned(), layout));
        }
        let names: Vec<String> = rows.iter().map(|r| format!("'{}'", r.name)).collect();
        let why = format!(
            "Column {index} names {} programs: {}. Which one is meant?",
            rows.len(),
            names.join(", ")
        );
        let guess = ways.first().map_or_else(|| self.describe(), |(_, layout)| layout.clone());
        Verdict::Unsure { why, guess, ways }
    }

    /// The column that marks dropped frames, from its header and from holding nothing but yes and no.
    pub(super) fn dropped_column(&self) -> Option<usize> {
        (0..self.hints.len()).find(|&i| {
            let column = &self.sample.columns[i];
            let numbers = column.values.iter().all(|v| v.is_nan() || *v == 0.0 || *v == 1.0);
            self.hints[i].dropped && numbers && column.distinct.len() <= 2
        })
    }

    /// Asks what marked rows are, where a reading without that question is certain.
    pub(super) fn with_dropped(&self, verdict: Verdict) -> Verdict {
        let Some(column) = self.dropped_column() else { return verdict };
        let of = &self.sample.columns[column];
        let marked = of.values.iter().filter(|v| **v == 1.0).count()
            + of.word
                .iter()
                .flatten()
                .filter(|w| of.distinct.get(usize::from(**w)).is_some_and(|w| is_marked(w)))
                .count();
        match verdict {
            Verdict::Certain(layout) if marked > 0 => dropped_or_not(&layout, column),
            other => other,
        }
    }
}

/// The question whether marked rows count, as two ways to read.
pub(super) fn dropped_or_not(layout: &Layout, column: usize) -> Verdict {
    let index = u32::try_from(column + 1).unwrap_or(u32::MAX);
    let with = |counts| Layout { dropped: Some(Dropped { column: index, counts }), ..layout.clone() };
    Verdict::Unsure {
        why: format!("Column {index} marks rows as dropped: do they count as frames?"),
        guess: with(true),
        ways: vec![
            ("every row is a frame, dropped or not".to_owned(), with(true)),
            (
                "only frames that were shown count; the time of a dropped one goes to the frame before it"
                    .to_owned(),
                with(false),
            ),
        ],
    }
}

/// Whether a cell marks its row.
pub(super) fn is_marked(cell: &[u8]) -> bool {
    let no = ["", "0", "false", "no", "n", "f", "-", "nein", "non", "falsch", "faux", "ok", "shown"];
    !no.iter().any(|word| cell.eq_ignore_ascii_case(word.as_bytes()))
}
