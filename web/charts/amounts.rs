//! What was read of parts without a frame log: amounts as bars from zero, levels as dots, each with its interval.
//!
//! A level in decibels is no length from a zero: its axis begins where the readings do, and nothing is drawn from there.

use serde::Serialize;

use super::canvas::{Anchor, Canvas, Type};
use super::caption::{Caption, LABEL, SIDE, SMALL, axis_below};
use super::scale::{Scale, ticks};
use super::sheet::{Drawn, Picture, Sheet, WIDTH};
use super::text;
use super::theme::{Paint, Theme};
use crate::format;

const ROW: f64 = 38.0;
const THICK: f64 = 14.0;
/// As high as a row grows on a sheet with room to spare.
const HIGHEST_ROW: f64 = 56.0;
const NAMES: f64 = 250.0;
/// What long names take at most, of the sheet's width.
const MOST_NAMES: f64 = 0.42;
const COLUMN: f64 = 128.0;
/// The least that the axis of levels shows, dB.
const LEAST_SPAN: f64 = 6.0;

/// The chart.
#[derive(Clone, Debug, Serialize)]
pub struct Amounts {
    /// Words around it.
    pub caption: Caption,
    /// What was read, such as `noise at 50 cm`.
    pub axis: String,
    /// Unit of all values, as the team writes it; may be empty.
    pub unit: String,
    /// Whether they are levels in decibels.
    pub levels: bool,
    /// Decimal places of all values: those that the least certain one supports.
    pub places: i32,
    /// One for each part as it was run and read.
    pub rows: Vec<Amount>,
}

/// A value with its interval.
#[derive(Clone, Debug, Serialize)]
pub struct Amount {
    /// Part and tuning.
    pub name: String,
    /// Rig, how it stands, fan.
    pub note: String,
    /// Which colour and shape.
    pub series: usize,
    /// Mean of the repeats that count; `None`: none counts.
    pub value: Option<f64>,
    /// Its 95% interval.
    pub interval: Option<(f64, f64)>,
}

impl Picture for Amounts {
    fn caption(&mut self) -> &mut Caption {
        &mut self.caption
    }

    fn drawn(&self, theme: &Theme, sheet: Sheet) -> Drawn {
        let mut canvas = Canvas::new(sheet, theme);
        let top = self.caption.above(&mut canvas, &[]) + 8.0;
        let (left, right) = (SIDE + self.names(sheet.width), sheet.width - SIDE - COLUMN);
        let (from, to) = self.reach();
        let scale = Scale::linear((from, to), (left, right));
        let row = (ROW + sheet.spare / self.rows.len().max(1) as f64).min(HIGHEST_ROW);
        let bottom = top + row * self.rows.len() as f64;
        let (values, places) = ticks(from, to, 7.0);
        let marks: Vec<_> = values.iter().map(|v| (scale.at(*v), format::fixed(*v, places))).collect();
        let below = axis_below(&mut canvas, (top, bottom), &marks, &self.axis_name(), left);
        if !self.levels {
            let zero = scale.at(0.0);
            canvas.line((zero, top), (zero, bottom), Paint::Ink, 1.5);
        }
        for (n, amount) in self.rows.iter().enumerate() {
            let middle = top + row * (n as f64 + 0.5);
            amount.draw(&mut canvas, (middle, left - SIDE), scale, self);
        }
        self.caption.below(canvas, below, "")
    }
}

impl Amounts {
    /// The picture as it stands in a page.
    pub fn svg(&self, theme: &Theme) -> String {
        self.drawn(theme, Sheet::wide(WIDTH)).svg
    }

    fn axis_name(&self) -> String {
        let axis = format::sentence(&self.axis);
        if self.unit.is_empty() { axis } else { format!("{axis} ({})", self.unit) }
    }

    /// Width of the column of names: what they need, within bounds.
    fn names(&self, width: f64) -> f64 {
        let of = |row: &Amount| LABEL.width(&row.name).max(SMALL.width(&row.note)) + 29.0;
        let widest = self.rows.iter().map(of).fold(NAMES, f64::max);
        widest.min((width * MOST_NAMES).max(NAMES))
    }

    /// Ends of the axis: with amounts 0 is one of them, or between them.
    fn reach(&self) -> (f64, f64) {
        let ends = |row: &Amount| {
            let (low, high) = row.interval.unwrap_or((f64::NAN, f64::NAN));
            [low, high, row.value.unwrap_or(f64::NAN)]
        };
        let all: Vec<f64> = self.rows.iter().flat_map(ends).filter(|v| v.is_finite()).collect();
        let (low, high) =
            all.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| (l.min(*v), h.max(*v)));
        match (all.is_empty(), self.levels) {
            (true, _) => (0.0, 1.0),
            (false, true) => {
                let air = ((LEAST_SPAN - (high - low)) / 2.0).max(0.5);
                ((low - air).floor(), (high + air).ceil())
            }
            (false, false) => {
                let (low, high) = (low.min(0.0), high.max(0.0));
                let air = if high > low { (high - low) * 0.03 } else { 1.0 };
                (
                    if low < 0.0 { low - air } else { 0.0 },
                    if high > 0.0 || low == 0.0 { high + air } else { 0.0 },
                )
            }
        }
    }

    fn shown(&self, value: f64) -> String {
        let number = format::fixed(value, self.places);
        if self.unit.is_empty() { number } else { format!("{number}\u{a0}{}", self.unit) }
    }
}

impl Amount {
    fn draw(&self, canvas: &mut Canvas<'_>, (middle, names): (f64, f64), scale: Scale, of: &Amounts) {
        let cut = |words: &str, look: Type| text::cut(words, look.size, look.bold, names - 12.0);
        canvas.text((SIDE, middle - 2.0), &cut(&self.name, LABEL), LABEL);
        canvas.text((SIDE, middle + 13.0), &cut(&self.note, SMALL), SMALL);
        let end = (canvas.width - SIDE, middle + 4.5);
        let Some(value) = self.value.filter(|v| v.is_finite()) else {
            canvas.text(end, "no repeat counts", SMALL.at(Anchor::End));
            return;
        };
        let shown = of.shown(value);
        let says = format!("{}, {}: {shown}", self.name, self.note);
        canvas.group(&says, |canvas| {
            let at = scale.at(value);
            if !of.levels {
                let zero = scale.at(0.0);
                let (x, wide) = (zero.min(at), (at - zero).abs());
                canvas.rect((x, middle - THICK / 2.0), (wide, THICK), Paint::Series(self.series), 1.0);
            }
            if let Some((low, high)) = self.interval {
                let paint = if of.levels { Paint::Series(self.series) } else { Paint::Ink };
                canvas.interval((scale.within(low), scale.within(high)), middle, 4.0, paint, 1.6);
            }
            if of.levels {
                canvas.dot((at, middle), 5.5, self.series);
            }
            let words = text::cut(&shown, LABEL.size, false, COLUMN - 10.0);
            canvas.text(end, &words, LABEL.at(Anchor::End));
        });
    }
}

#[cfg(test)]
mod tests {
    use super::super::check;
    use super::*;

    fn chart(rows: usize, levels: bool, most: f64) -> Amounts {
        let row = |n: usize| {
            let value = most / (1.0 + n as f64 * 0.2);
            Amount {
                name: check::long_name(n),
                note: check::long_name(n + 100),
                series: n,
                value: (n != 1).then_some(value),
                interval: (n != 2).then_some((value * 0.98, value * 1.02)),
            }
        };
        Amounts {
            caption: Caption {
                id: "a".into(),
                title: "Noise".into(),
                desc: "Dots".into(),
                ..Caption::default()
            },
            axis: "noise at 50 cm".into(),
            unit: if levels { "dB(A)".into() } else { "W".into() },
            levels,
            places: 1,
            rows: (0..rows).map(row).collect(),
        }
    }

    #[test]
    fn labels_keep_apart_with_1_to_24_rows_and_names_of_40_letters() {
        for rows in [1, 3, 24] {
            for (levels, most) in [(true, 41.0), (false, 0.02), (false, -12.0), (false, 123_456.0)] {
                check::sound(&chart(rows, levels, most).svg(&Theme::DARK));
            }
        }
    }

    #[test]
    fn amounts_begin_at_zero_and_levels_where_they_are() {
        let amounts = chart(3, false, 62.0).reach();
        assert_eq!(amounts.0, 0.0);
        assert!(amounts.1 > 62.0 * 1.02);
        let below = chart(1, false, -12.0).reach();
        assert!(below.0 < -12.0 && below.1 == 0.0, "{below:?}");
        let levels = chart(1, true, 41.0).reach();
        assert!(levels.0 > 30.0 && levels.1 - levels.0 >= LEAST_SPAN, "{levels:?}");
        assert_eq!(chart(0, true, 41.0).reach(), (0.0, 1.0));
    }

    #[test]
    fn levels_are_dots_and_amounts_are_bars() {
        let (dots, bars) =
            (chart(1, true, 41.0).svg(&Theme::LIGHT), chart(1, false, 41.0).svg(&Theme::LIGHT));
        assert!(dots.contains("<circle") && !bars.contains("<circle"));
        assert!(bars.contains("41.0\u{a0}W") && dots.contains("41.0\u{a0}dB(A)"));
    }

    #[test]
    fn nothing_that_counts_is_said() {
        let mut none = chart(1, true, 41.0);
        none.rows[0].value = None;
        let svg = none.svg(&Theme::LIGHT);
        check::sound(&svg);
        assert!(svg.contains("no repeat counts"));
    }
}
