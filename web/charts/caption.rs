//! The words around a chart: title and subtitle above, legend, method and passes in the foot, 'draft' across.

use serde::Serialize;

use super::canvas::{Anchor, Canvas, Type};
use super::sheet::Drawn;
use super::text;
use super::theme::Paint;

/// Space left and right of everything.
pub(super) const SIDE: f64 = 16.0;
/// Labels of rows and values.
pub(super) const LABEL: Type = Type::plain(13.0, Paint::Ink);
/// Numbers at axes and what is secondary.
pub(super) const SMALL: Type = Type::plain(11.5, Paint::Soft);
const TITLE: Type = Type::plain(18.0, Paint::Ink).bold();

/// What is said around a chart.
#[derive(Clone, Debug, Default, Serialize)]
pub struct Caption {
    /// Unique in its page, letters, digits and dashes.
    pub id: String,
    /// What the chart shows.
    pub title: String,
    /// What the marks and lines mean, setting and tuning.
    pub subtitle: String,
    /// The same in words, for who cannot see it.
    pub desc: String,
    /// Method, passes, rigs, drivers: one entry a line, wrapped.
    pub foot: Vec<String>,
    /// Whether what it shows was not agreed on: 'draft' stands across it.
    pub draft: bool,
}

impl Caption {
    /// Draws title, subtitle and legend; gives the place below them.
    pub(super) fn above(&self, canvas: &mut Canvas<'_>, legend: &[String]) -> f64 {
        let most = canvas.width - 2.0 * SIDE;
        let mut y = 12.0;
        for line in text::wrap_to(&self.title, TITLE.size, TITLE.bold, most, 3) {
            y += 22.0;
            canvas.text((SIDE, y - 4.0), &line, TITLE);
        }
        for line in text::wrap_to(&self.subtitle, LABEL.size, false, most, 3) {
            y += 18.0;
            canvas.text((SIDE, y - 3.0), &line, Type { paint: Paint::Soft, ..LABEL });
        }
        if legend.len() > 1 {
            y = legend_at(canvas, y + 8.0, legend);
        }
        y + 10.0
    }

    /// Draws the foot below `y` and finishes the picture; `attributes` are further ones of its root.
    pub(super) fn below(&self, mut canvas: Canvas<'_>, y: f64, attributes: &str) -> Drawn {
        let most = canvas.width - 2.0 * SIDE;
        let foot: Vec<String> =
            self.foot.iter().flat_map(|line| text::wrap(line, SMALL.size, false, most)).collect();
        // On a sheet of a fixed height the foot stands at its end.
        let rest = if foot.is_empty() { 14.0 } else { 18.0 + 16.0 * foot.len() as f64 };
        let mut y = (y + 8.0).max(canvas.height.map_or(0.0, |height| height - rest));
        if !self.foot.is_empty() {
            canvas.line((SIDE, y), (canvas.width - SIDE, y), Paint::Line, 1.0);
            y += 4.0;
        }
        for line in foot {
            y += 16.0;
            canvas.text((SIDE, y), &line, SMALL);
        }
        let height = y + 14.0;
        if self.draft {
            let size = (height * 0.55).min(canvas.width / 4.5);
            canvas.across("draft", (canvas.width / 2.0, height / 2.0 + size * 0.3), size);
        }
        Drawn { svg: canvas.finish(height, &self.id, &self.title, &self.desc, attributes), height }
    }
}

/// Shapes and names of the series, on as many lines as they need.
fn legend_at(canvas: &mut Canvas<'_>, y: f64, legend: &[String]) -> f64 {
    let (mut x, mut y) = (SIDE, y + 14.0);
    let most = canvas.width - 2.0 * SIDE;
    for (series, name) in legend.iter().enumerate() {
        let name = text::cut(name, LABEL.size, false, most - 18.0);
        let wide = 18.0 + LABEL.width(&name);
        if x > SIDE && x + wide > canvas.width - SIDE {
            x = SIDE;
            y += 20.0;
        }
        canvas.dot((x + 6.0, y - 4.5), 5.0, series);
        canvas.text((x + 18.0, y), &name, LABEL);
        x += wide + 24.0;
    }
    y + 4.0
}

/// A horizontal axis: lines up the plot, numbers below it where they do not touch, its name and unit below them.
/// Gives the place below.
pub(super) fn axis_below(
    canvas: &mut Canvas<'_>,
    (top, bottom): (f64, f64),
    marks: &[(f64, String)],
    name: &str,
    left: f64,
) -> f64 {
    let mut free = f64::NEG_INFINITY;
    for (x, words) in marks {
        canvas.line((*x, top), (*x, bottom), Paint::Line, 1.0);
        let half = SMALL.width(words) / 2.0;
        if x - half > free && x + half < canvas.width - 2.0 {
            canvas.text((*x, bottom + 15.0), words, SMALL.at(Anchor::Middle));
            free = x + half + 6.0;
        }
    }
    let name = text::cut(name, SMALL.size, false, canvas.width - SIDE - left);
    canvas.text((left, bottom + 32.0), &name, SMALL);
    bottom + 36.0
}
