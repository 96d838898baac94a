//! How frame times are spread: shares of frames by duration, as a stepped outline or added up.

use serde::Serialize;

use super::canvas::{Anchor, Canvas, number};
use super::caption::{Caption, SIDE, SMALL, axis_below};
use super::scale::{Scale, ticks};
use super::sheet::{Drawn, Picture, Sheet, WIDTH};
use super::theme::{Paint, Theme};
use crate::format;

const HEIGHT: f64 = 240.0;
const LEFT: f64 = 64.0;

/// The chart.
#[derive(Clone, Debug, Serialize)]
pub struct Distribution {
    /// Words around it.
    pub caption: Caption,
    /// Edges of the classes in ms, rising, one more than counts.
    pub edges_ms: Vec<f64>,
    /// One for each pass or part.
    pub series: Vec<Histogram>,
    /// Added up: share of frames no longer than this.
    pub cumulative: bool,
}

/// Frames in each class.
#[derive(Clone, Debug, Serialize)]
pub struct Histogram {
    /// Name in the legend.
    pub name: String,
    /// One count for each class.
    pub counts: Vec<u64>,
    /// Frames longer than the last edge: said in the legend, so that the tail is not lost.
    pub beyond: u64,
}

impl Histogram {
    /// Shares of all its frames, in per cent.
    fn shares(&self, cumulative: bool) -> Vec<f64> {
        let total = self.counts.iter().sum::<u64>() + self.beyond;
        let mut sum = 0_u64;
        let share = |n: u64| if total == 0 { 0.0 } else { n as f64 * 100.0 / total as f64 };
        self.counts
            .iter()
            .map(|n| {
                sum += n;
                share(if cumulative { sum } else { *n })
            })
            .collect()
    }
}

impl Picture for Distribution {
    fn caption(&mut self) -> &mut Caption {
        &mut self.caption
    }

    fn drawn(&self, theme: &Theme, sheet: Sheet) -> Drawn {
        let mut canvas = Canvas::new(sheet, theme);
        let last = self.edges_ms.last().copied().unwrap_or(1.0);
        let legend: Vec<String> = self
            .series
            .iter()
            .map(|s| match s.beyond {
                0 => s.name.clone(),
                n => format!("{} ({} beyond {} ms)", s.name, format::count(n), format::fixed(last, 1)),
            })
            .collect();
        let top = self.caption.above(&mut canvas, &legend) + 22.0;
        let (left, right, bottom) = (SIDE + LEFT, sheet.width - SIDE - 12.0, top + HEIGHT + sheet.spare);
        let first = self.edges_ms.first().copied().unwrap_or(0.0);
        let x = Scale::linear((first, last), (left, right));
        let (values, places) = ticks(first, last, 10.0);
        let marks: Vec<_> = values.iter().map(|v| (x.at(*v), format::fixed(*v, places))).collect();
        let below = axis_below(&mut canvas, (top, bottom), &marks, "Frame time (ms)", left);
        let shares: Vec<Vec<f64>> = self.series.iter().map(|s| s.shares(self.cumulative)).collect();
        let most =
            if self.cumulative { 100.0 } else { shares.iter().flatten().copied().fold(0.0_f64, f64::max) };
        let y = Scale::linear((0.0, if most > 0.0 { most } else { 1.0 }), (bottom, top));
        let (values, places) = ticks(0.0, most, 5.0);
        for value in values {
            canvas.line((left, y.at(value)), (right, y.at(value)), Paint::Line, 0.6);
            let words = format!("{}%", format::fixed(value, places));
            canvas.text((left - 8.0, y.at(value) + 4.0), &words, SMALL.at(Anchor::End));
        }
        let name =
            if self.cumulative { "Share of frames no longer than this (%)" } else { "Share of frames (%)" };
        canvas.text((SIDE, top - 12.0), name, SMALL);
        for (series, shares) in shares.iter().enumerate() {
            canvas.path(&self.outline(shares, x, y), Paint::Series(series), 1.6);
            self.shape_on(&mut canvas, shares, x, y, series);
        }
        self.caption.below(canvas, below, "")
    }
}

impl Distribution {
    /// The picture as it stands in a page.
    pub fn svg(&self, theme: &Theme) -> String {
        self.drawn(theme, Sheet::wide(WIDTH)).svg
    }

    fn outline(&self, shares: &[f64], x: Scale, y: Scale) -> String {
        let mut d = String::new();
        for (edges, share) in self.edges_ms.windows(2).zip(shares) {
            let lead = if d.is_empty() {
                format!("M{} {}", number(x.at(edges[0])), number(y.at(0.0)))
            } else {
                String::new()
            };
            d.push_str(&format!("{lead}V{}H{}", number(y.at(*share)), number(x.at(edges[1]))));
        }
        d
    }

    /// The series' shape once on its line, at its highest class or where it crosses one half.
    fn shape_on(&self, canvas: &mut Canvas<'_>, shares: &[f64], x: Scale, y: Scale, series: usize) {
        let at = if self.cumulative {
            shares.iter().position(|share| *share >= 50.0)
        } else {
            (0..shares.len()).max_by(|a, b| shares[*a].total_cmp(&shares[*b]))
        };
        let Some(at) = at else { return };
        if let (Some(edges), Some(share)) = (self.edges_ms.get(at..at + 2), shares.get(at)) {
            canvas.dot((x.at(f64::midpoint(edges[0], edges[1])), y.at(*share)), 4.0, series);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::check;
    use super::*;

    fn chart(cumulative: bool) -> Distribution {
        let series = |n: usize| Histogram {
            name: check::long_name(n),
            counts: (0..40_u64).map(|c| (c * (40 - c)) / (n as u64 + 1)).collect(),
            beyond: 3 * n as u64,
        };
        Distribution {
            caption: Caption {
                id: "d".into(),
                title: "Frame times".into(),
                desc: "Spread".into(),
                ..Caption::default()
            },
            edges_ms: (0..=40_u8).map(|n| f64::from(n) * 0.5).collect(),
            series: (0..5).map(series).collect(),
            cumulative,
        }
    }

    #[test]
    fn both_kinds_are_sound() {
        check::sound(&chart(false).svg(&Theme::LIGHT));
        check::sound(&chart(true).svg(&Theme::LIGHT));
    }

    #[test]
    fn shares_are_of_all_frames_also_those_beyond() {
        let h = Histogram { name: String::new(), counts: vec![1, 2, 1], beyond: 4 };
        assert_eq!(h.shares(false), [12.5, 25.0, 12.5]);
        assert_eq!(h.shares(true), [12.5, 37.5, 50.0]);
        let none = Histogram { name: String::new(), counts: vec![0], beyond: 0 };
        assert_eq!(none.shares(true), [0.0]);
    }
}
