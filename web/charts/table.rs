//! A table as a picture, for print and video: names, numbers below each other, and answers with their sign.

use serde::Serialize;

use super::canvas::{Anchor, Canvas};
use super::caption::{Caption, LABEL, SIDE, SMALL};
use super::sheet::{Drawn, Picture, Sheet, WIDTH};
use super::text;
use super::theme::{Paint, Theme};

const ROW: f64 = 26.0;
/// As high as a row grows on a sheet with room to spare.
const HIGHEST_ROW: f64 = 44.0;
/// Between two columns, at least.
const GAP: f64 = 22.0;
/// What a column of names is never narrower than.
const NAMES: f64 = 150.0;
/// From the left of an answer to its words: its sign stands there.
const SIGN: f64 = 17.0;

/// The picture.
#[derive(Clone, Debug, Serialize)]
pub struct Table {
    /// Words around it.
    pub caption: Caption,
    /// One below the other, each with columns of its own.
    pub blocks: Vec<Block>,
}

/// Rows under one line of heads.
#[derive(Clone, Debug, Serialize)]
pub struct Block {
    /// Its columns.
    pub columns: Vec<TableColumn>,
    /// A text for each column; what is missing is left empty.
    pub rows: Vec<Vec<Entry>>,
}

/// A column.
#[derive(Clone, Debug, Serialize)]
pub struct TableColumn {
    /// What stands above it.
    pub head: String,
    /// How its texts stand.
    pub stands: Stands,
    /// Whether it is left out where the sheet is too narrow for all.
    pub may_go: bool,
}

/// How the texts of a column stand.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub enum Stands {
    /// From the left, cut where there is no room.
    Name,
    /// To the right, never cut.
    Number,
    /// From the left behind a sign, cut after all names.
    Answer,
}

/// What stands in a place of the table.
#[derive(Clone, Debug, Default, Serialize)]
pub struct Entry {
    /// Its text.
    pub text: String,
    /// Of an answer: `up`, `down`, `level` or `open`; empty: no sign.
    pub way: &'static str,
}

impl From<String> for Entry {
    fn from(text: String) -> Self {
        Entry { text, way: "" }
    }
}

impl Picture for Table {
    fn caption(&mut self) -> &mut Caption {
        &mut self.caption
    }

    fn drawn(&self, theme: &Theme, sheet: Sheet) -> Drawn {
        let mut canvas = Canvas::new(sheet, theme);
        let mut y = self.caption.above(&mut canvas, &[]) + 4.0;
        let rows: usize = self.blocks.iter().map(|block| block.rows.len()).sum();
        let row = (ROW + sheet.spare / rows.max(1) as f64).min(HIGHEST_ROW);
        for block in &self.blocks {
            y = block.fitting(canvas.width - 2.0 * SIDE).draw(&mut canvas, y, row) + 14.0;
        }
        self.caption.below(canvas, y - 10.0, "")
    }
}

impl Table {
    /// The picture as it stands in a page.
    pub fn svg(&self, theme: &Theme) -> String {
        self.drawn(theme, Sheet::wide(WIDTH)).svg
    }
}

impl Block {
    /// The block with as many columns as fit: from the right, those that may go are left out.
    fn fitting(&self, most: f64) -> Block {
        let mut block = self.clone();
        while total(&block.widths(most)) > most {
            let Some(out) = block.columns.iter().rposition(|column| column.may_go) else { break };
            block.columns.remove(out);
            block.rows.iter_mut().filter(|row| out < row.len()).for_each(|row| {
                row.remove(out);
            });
        }
        block
    }

    fn draw(&self, canvas: &mut Canvas<'_>, top: f64, row: f64) -> f64 {
        let most = canvas.width - 2.0 * SIDE;
        let widths = self.widths(most);
        let gap = gap(&widths, most);
        let mut y = top + 18.0;
        let mut x = SIDE;
        for (column, wide) in self.columns.iter().zip(&widths) {
            let head = text::cut(&column.head, SMALL.size, false, *wide);
            match column.stands {
                Stands::Number => canvas.text((x + wide, y), &head, SMALL.at(Anchor::End)),
                Stands::Name | Stands::Answer => canvas.text((x, y), &head, SMALL),
            }
            x += wide + gap;
        }
        y += 7.0;
        canvas.line((SIDE, y), (canvas.width - SIDE, y), Paint::Series(0), 2.0);
        for (nth, entries) in self.rows.iter().enumerate() {
            if nth > 0 {
                canvas.line((SIDE, y), (canvas.width - SIDE, y), Paint::Line, 0.6);
            }
            self.draw_row(canvas, (&widths, gap), (y + row / 2.0, entries));
            y += row;
        }
        y
    }

    fn draw_row(
        &self,
        canvas: &mut Canvas<'_>,
        (widths, gap): (&[f64], f64),
        (middle, entries): (f64, &[Entry]),
    ) {
        let spoken = self.columns.iter().zip(entries).filter(|(_, entry)| !entry.text.is_empty());
        let spoken: Vec<String> =
            spoken.map(|(column, entry)| format!("{}: {}", column.head, entry.text)).collect();
        canvas.group(&spoken.join("; "), |canvas| {
            let (mut x, base) = (SIDE, middle + 4.5);
            for ((column, entry), wide) in self.columns.iter().zip(entries).zip(widths) {
                match column.stands {
                    Stands::Number => canvas.text((x + wide, base), &entry.text, LABEL.at(Anchor::End)),
                    Stands::Name => {
                        let look = if x > SIDE { LABEL } else { LABEL.bold() };
                        canvas.text((x, base), &text::cut(&entry.text, look.size, look.bold, *wide), look);
                    }
                    Stands::Answer => {
                        sign(canvas, (x + 5.0, middle), entry.way);
                        let words = text::cut(&entry.text, LABEL.size, false, wide - SIGN);
                        canvas.text((x + SIGN, base), &words, LABEL);
                    }
                }
                x += wide + gap;
            }
        });
    }

    /// Each column as wide as its widest text; names, then answers give way where that is too much.
    fn widths(&self, most: f64) -> Vec<f64> {
        let mut widths: Vec<f64> = (0..self.columns.len()).map(|nth| self.wanted(nth)).collect();
        let over = |widths: &[f64]| total(widths) - most;
        for stands in [Stands::Name, Stands::Answer] {
            // The widest gives way first: a short name beside a long one stays whole.
            while over(&widths) > 0.0 {
                let of_kind = self.columns.iter().zip(&mut widths).filter(|(c, _)| c.stands == stands);
                let widest = of_kind.map(|(_, wide)| wide).max_by(|a, b| a.total_cmp(b));
                match widest.filter(|wide| **wide > NAMES) {
                    Some(wide) => *wide = (*wide - 4.0).max(NAMES),
                    None => break,
                }
            }
        }
        widths
    }

    fn wanted(&self, nth: usize) -> f64 {
        let stands = self.columns[nth].stands;
        let look = if nth == 0 && stands == Stands::Name { LABEL.bold() } else { LABEL };
        let beside = if stands == Stands::Answer { SIGN } else { 0.0 };
        let texts = self.rows.iter().filter_map(|row| row.get(nth));
        let widest = texts.map(|entry| look.width(&entry.text) + beside).fold(0.0, f64::max);
        // A hair more than the text, so that rounding never cuts it.
        widest.max(SMALL.width(&self.columns[nth].head)) + 0.5
    }
}

/// What stands between two columns each, so that they fill the sheet evenly.
fn gap(widths: &[f64], most: f64) -> f64 {
    let gaps = widths.len().saturating_sub(1).max(1) as f64;
    GAP + (most - total(widths)).max(0.0) / gaps
}

/// Columns with the least that stands between them.
fn total(widths: &[f64]) -> f64 {
    widths.iter().sum::<f64>() + GAP * widths.len().saturating_sub(1) as f64
}

/// The sign of an answer, as pages have it: upward, downward, level or open.
fn sign(canvas: &mut Canvas<'_>, (x, y): (f64, f64), way: &str) {
    match way {
        "up" => canvas.marker((x, y), 4.8, 2, Paint::Series(0)),
        "down" => canvas.marker((x, y), 4.8, 4, Paint::Series(1)),
        "level" => {
            for line in [y - 2.2, y + 2.2] {
                canvas.line((x - 4.8, line), (x + 4.8, line), Paint::Ink, 1.6);
            }
        }
        "open" => canvas.text((x, y + 4.5), "?", LABEL.at(Anchor::Middle).bold()),
        _ => {}
    }
}

#[cfg(test)]
mod tests {
    use super::super::sheet::Shape;
    use super::super::{check, samples};
    use super::*;

    fn chart(rows: usize) -> Table {
        let mut table = samples::worth();
        for block in &mut table.blocks {
            let first = block.rows[0].clone();
            block.rows = (0..rows)
                .map(|n| {
                    let entries = block.columns.iter().zip(&first);
                    let text = |(column, entry): (&TableColumn, &Entry)| match column.stands {
                        Stands::Number => entry.clone(),
                        Stands::Name | Stands::Answer => {
                            Entry { text: check::long_name(n), way: ["up", "down", "level", "open"][n % 4] }
                        }
                    };
                    entries.map(text).collect()
                })
                .collect();
        }
        table
    }

    #[test]
    fn texts_keep_apart_with_3_to_24_rows_and_names_of_40_letters() {
        for rows in [1, 3, 24] {
            for (_, shape) in Shape::ALL {
                check::sound(&chart(rows).shaped(&Theme::DARK, shape));
            }
        }
    }

    #[test]
    fn numbers_are_whole_and_names_give_way() {
        let svg = chart(3).svg(&Theme::LIGHT);
        let numbers = samples::worth().blocks.into_iter().flat_map(|block| {
            let first = block.rows[0].clone();
            let each = block.columns.into_iter().zip(first);
            each.filter(|(column, _)| column.stands == Stands::Number).map(|(_, entry)| entry.text)
        });
        for number in numbers.filter(|number| !number.is_empty()) {
            assert!(svg.contains(&format!(">{number}<")), "{number}");
        }
        assert!(svg.contains("…<"), "a name of 40 letters is cut");
    }

    #[test]
    fn columns_are_evenly_spaced_and_fill_the_sheet() {
        let widths = [100.0, 60.0, 80.0];
        let most = 500.0;
        let between = gap(&widths, most);
        assert_eq!(widths.iter().sum::<f64>() + 2.0 * between, most);
        assert_eq!(gap(&widths, 100.0), GAP, "what is too narrow keeps its columns apart");
    }

    #[test]
    fn rows_grow_where_there_is_room() {
        let of = |shape| samples::worth().shaped(&Theme::LIGHT, shape);
        check::sound(&of(Shape::Square));
        assert!(of(Shape::Square).len() > 1000 && of(Shape::Page) != of(Shape::Square));
    }

    #[test]
    fn a_table_without_rows_has_its_words() {
        let mut table = samples::worth();
        table.blocks.clear();
        check::sound(&table.svg(&Theme::LIGHT));
    }
}
