//! Ratios against a baseline, scene by scene and overall: a dot with its interval on a log scale, a line at 1.

use serde::Serialize;

use super::canvas::{Anchor, Canvas, Type, number};
use super::caption::{Caption, LABEL, SIDE, SMALL, axis_below};
use super::scale::{Scale, step};
use super::sheet::{Drawn, Picture, Sheet, WIDTH, in_order};
use super::text;
use super::theme::{Paint, Theme};
use crate::format;

const ROW: f64 = 24.0;
/// As high as a row grows on a sheet with room to spare.
const HIGHEST_ROW: f64 = 40.0;
const NAMES: f64 = 250.0;
const VALUES: f64 = 190.0;

/// The chart.
#[derive(Clone, Debug, Serialize)]
pub struct Ratios {
    /// Words around it.
    pub caption: Caption,
    /// Name of the baseline, at the line at 1.
    pub baseline: String,
    /// Names of the contenders, in the order of their series.
    pub contenders: Vec<String>,
    /// What the axis shows, such as `average frame rate against Tarnwick Dunlin`.
    pub axis: String,
    /// One for each scene.
    pub rows: Vec<RatioRow>,
    /// Overall, one for each contender; empty where there is none.
    pub overall: Vec<Overall>,
}

/// A scene.
#[derive(Clone, Debug, Serialize)]
pub struct RatioRow {
    /// Name of the scene and its passage.
    pub name: String,
    /// What must be known beside it: `crosses rigs`, `played by hand`; may be empty.
    pub note: String,
    /// One for each contender; `None`: did not run, or cannot be compared; the note says why.
    pub ratios: Vec<Option<Ratio>>,
    /// The ratio that is asked for in this row, drawn as an upright mark.
    pub asked: Option<f64>,
}

/// A ratio to the baseline with its 95% interval.
#[derive(Clone, Copy, Debug, Serialize)]
pub struct Ratio {
    /// Above 0; 1 is equal.
    pub value: f64,
    /// Lower end; not a number where no interval is known.
    pub low: f64,
    /// Upper end; not a number where no interval is known.
    pub high: f64,
}

/// A geometric mean over the scenes with its two intervals (methods 13.6).
#[derive(Clone, Copy, Debug, Serialize)]
pub struct Overall {
    /// Over these scenes, with the interval of their mean.
    pub these: Ratio,
    /// Interval for another scene like these; `None` below three scenes.
    pub another: Option<(f64, f64)>,
}

impl Picture for Ratios {
    fn caption(&mut self) -> &mut Caption {
        &mut self.caption
    }

    fn drawn(&self, theme: &Theme, sheet: Sheet) -> Drawn {
        let mut canvas = Canvas::new(sheet, theme);
        let legend: &[String] = if self.contenders.len() > 1 { &self.contenders } else { &[] };
        let top = self.caption.above(&mut canvas, legend) + 18.0;
        let (left, right) = (SIDE + NAMES, sheet.width - SIDE - VALUES);
        let (low, high) = self.reach();
        let scale = Scale::log((low, high), (left + 8.0, right - 8.0));
        let row = (ROW + sheet.spare / self.lines().max(1.0)).min(HIGHEST_ROW);
        let bottom = top + self.height(row);
        let below = axis_below(
            &mut canvas,
            (top, bottom),
            &marks(scale, (low, high)),
            &format::sentence(&self.axis),
            left,
        );
        let one = scale.at(1.0);
        canvas.line((one, top - 4.0), (one, bottom), Paint::Ink, 1.5);
        let name = text::cut(&self.baseline, SMALL.size, false, right - left);
        let half = SMALL.width(&name) / 2.0;
        let x = one.clamp(left + half, right - half);
        canvas.text((x, top - 8.0), &name, Type { paint: Paint::Ink, ..SMALL }.at(Anchor::Middle));
        let mut y = top;
        for scene in &self.rows {
            y = scene.draw(&mut canvas, (y, row), scale, &self.contenders);
        }
        self.draw_overall(&mut canvas, (y, row), scale);
        self.caption.below(canvas, below, "")
    }

    fn keep(&mut self, scenes: &[String]) -> Option<usize> {
        let all = std::mem::take(&mut self.rows);
        let had = all.len();
        self.rows = in_order(all, scenes, |row| &row.name);
        Some(had)
    }
}

impl Ratios {
    /// The picture as it stands in a page.
    pub fn svg(&self, theme: &Theme) -> String {
        self.drawn(theme, Sheet::wide(WIDTH)).svg
    }

    /// Ends of the axis: all intervals and 1, with a little air.
    fn reach(&self) -> (f64, f64) {
        let of_rows = self
            .rows
            .iter()
            .flat_map(|row| row.ratios.iter().flatten())
            .flat_map(|r| [r.low, r.high, r.value]);
        let of_all = self.overall.iter().flat_map(|o| {
            let another = o.another.unwrap_or((o.these.low, o.these.high));
            [o.these.low, o.these.high, another.0, another.1]
        });
        let asked = self.rows.iter().filter_map(|row| row.asked);
        let all = of_rows.chain(of_all).chain(asked).filter(|v| v.is_finite() && *v > 0.0);
        let (low, high) = all.fold((1.0_f64, 1.0_f64), |(low, high), v| (low.min(v), high.max(v)));
        let air = (high / low - 1.0).max(0.02) * 0.06;
        (low / (1.0 + air), high * (1.0 + air))
    }

    /// Lines of the overall ratios.
    fn overall_lines(&self) -> f64 {
        self.overall.iter().map(|o| 1.0 + f64::from(u8::from(o.another.is_some()))).sum()
    }

    /// Lines of all.
    fn lines(&self) -> f64 {
        self.rows.iter().map(RatioRow::lines).sum::<f64>() + self.overall_lines()
    }

    fn height(&self, row: f64) -> f64 {
        let rows: f64 = self.rows.iter().map(|scene| scene.height(row)).sum();
        rows + if self.overall.is_empty() { 0.0 } else { 14.0 + row * self.overall_lines() }
    }

    fn draw_overall(&self, canvas: &mut Canvas<'_>, (y, row): (f64, f64), scale: Scale) {
        if self.overall.is_empty() {
            return;
        }
        // Ruled twice, as a sum is.
        canvas.line((SIDE, y + 4.0), (canvas.width - SIDE, y + 4.0), Paint::Ink, 1.0);
        canvas.line((SIDE, y + 7.0), (canvas.width - SIDE, y + 7.0), Paint::Ink, 1.0);
        let several = self.contenders.len() > 1;
        let indent = if several { SIDE + 18.0 } else { SIDE };
        let mut y = y + 14.0;
        for (series, overall) in self.overall.iter().enumerate() {
            let name = self.contenders.get(series).map_or("", String::as_str);
            let these = overall.these;
            let words = format!("{name}, overall, these scenes: {}", spoken(these));
            canvas.group(&words, |canvas| {
                let middle = y + row / 2.0;
                if several {
                    canvas.dot((SIDE + 5.0, middle), 4.5, series);
                }
                canvas.text((indent, middle + 4.5), "Overall, these scenes", LABEL.bold());
                bar(canvas, scale, (these.low, these.high), middle, series, 3.0);
                canvas.dot((scale.at(these.value), middle), 5.5, series);
                value_at(canvas, middle, &these, true);
            });
            y += row;
            if let Some((low, high)) = overall.another {
                let words =
                    format!("{name}, another scene like these: {}", format::change_interval(low, high));
                canvas.group(&words, |canvas| {
                    let middle = y + row / 2.0;
                    canvas.text((indent, middle + 4.5), "Another scene like these", LABEL);
                    bar(canvas, scale, (low, high), middle, series, 1.2);
                    let end = (canvas.width - SIDE, middle + 4.5);
                    canvas.text(end, &format::change_interval(low, high), SMALL.at(Anchor::End));
                });
                y += row;
            }
        }
    }
}

impl RatioRow {
    fn lines(&self) -> f64 {
        self.ratios.len().max(1) as f64
    }

    fn height(&self, row: f64) -> f64 {
        (row * self.lines()).max(self.words_height())
    }

    /// What its name and note need.
    fn words_height(&self) -> f64 {
        let lines = self.name_lines().len() as f64 + f64::from(u8::from(!self.note.is_empty()));
        lines * 16.0 + 8.0
    }

    fn name_lines(&self) -> Vec<String> {
        text::wrap_to(&self.name, LABEL.size, false, NAMES - 12.0, 2)
    }

    fn draw(
        &self,
        canvas: &mut Canvas<'_>,
        (y, row): (f64, f64),
        scale: Scale,
        contenders: &[String],
    ) -> f64 {
        let height = self.height(row);
        // Beside the first contender, where there is room for all words below.
        let mut line = y + 16.5 + ((row - ROW) / 2.0).min(height - self.words_height());
        for words in self.name_lines() {
            canvas.text((SIDE, line), &words, LABEL);
            line += 16.0;
        }
        let note = text::cut(&self.note, SMALL.size, false, NAMES - 12.0);
        canvas.text((SIDE, line), &note, SMALL);
        if let Some(asked) = self.asked {
            let x = scale.at(asked);
            canvas.line((x, y + 3.0), (x, y + height - 3.0), Paint::Ink, 1.2);
        }
        for (series, ratio) in self.ratios.iter().enumerate() {
            let middle = y + row * (series as f64 + 0.5);
            let who = contenders.get(series).map_or("", String::as_str);
            match ratio {
                Some(ratio) => canvas.group(&format!("{}, {who}: {}", self.name, spoken(*ratio)), |canvas| {
                    bar(canvas, scale, (ratio.low, ratio.high), middle, series, 1.6);
                    canvas.dot((scale.at(ratio.value), middle), 4.5, series);
                    value_at(canvas, middle, ratio, false);
                }),
                None => {
                    canvas.text((canvas.width - SIDE, middle + 4.5), "not compared", SMALL.at(Anchor::End))
                }
            }
        }
        canvas.line((SIDE, y + height), (canvas.width - SIDE, y + height), Paint::Line, 0.6);
        y + height
    }
}

/// An interval as a line with ends; nothing where it is not known.
fn bar(
    canvas: &mut Canvas<'_>,
    scale: Scale,
    (low, high): (f64, f64),
    middle: f64,
    series: usize,
    wide: f64,
) {
    if low.is_finite() && high.is_finite() {
        canvas.interval((scale.at(low), scale.at(high)), middle, 7.5, Paint::Series(series), wide);
    }
}

/// The change in one column and its interval in the next, both aligned at their ends.
fn value_at(canvas: &mut Canvas<'_>, middle: f64, ratio: &Ratio, bold: bool) {
    let look = if bold { LABEL.bold() } else { LABEL };
    let change = format::change_to(ratio.value, ratio.low, ratio.high);
    canvas.text((canvas.width - SIDE - 128.0, middle + 4.5), &change, look.at(Anchor::End));
    if ratio.low.is_finite() && ratio.high.is_finite() {
        let interval = format::change_interval(ratio.low, ratio.high);
        canvas.text((canvas.width - SIDE, middle + 4.5), &interval, SMALL.at(Anchor::End));
    }
}

fn spoken(ratio: Ratio) -> String {
    let change = format::change_to(ratio.value, ratio.low, ratio.high);
    if ratio.low.is_finite() && ratio.high.is_finite() {
        format!("{change}, 95% interval {}", format::change_interval(ratio.low, ratio.high))
    } else {
        change
    }
}

/// Round changes in per cent along the axis.
fn marks(scale: Scale, (low, high): (f64, f64)) -> Vec<(f64, String)> {
    let (from, to) = ((low - 1.0) * 100.0, (high - 1.0) * 100.0);
    let step = step(to - from, 8.0);
    let places = if step < 1.0 { 1 } else { 0 };
    let (ticks, _) = super::scale::ticks(from, to, 8.0);
    ticks
        .into_iter()
        .filter(|change| *change > -100.0)
        .map(|change| (scale.at(1.0 + change / 100.0), format!("{}%", format::signed(change, places))))
        .filter(|(x, _)| number(*x) != "NaN")
        .collect()
}

#[cfg(test)]
mod tests {
    use super::super::check;
    use super::*;

    pub(crate) fn chart(scenes: usize, contenders: usize, spread: f64) -> Ratios {
        let ratio = |n: usize| {
            let value = 1.0 + spread * (n as f64 / scenes as f64 - 0.3);
            Ratio { value, low: value * 0.985, high: value * 1.017 }
        };
        Ratios {
            caption: Caption {
                id: "r".into(),
                title: "Frame rate against the baseline at 2160p native, stock, with a title that runs on and on".into(),
                subtitle: "Dots: geometric mean over passes. Lines: 95% intervals from the spread between passes.".into(),
                desc: "Ratios".into(),
                foot: vec!["Average: frames / time; 3 to 5 passes a cell; rigs alder, birch; drivers 1.2 and 3.4.".into(); 2],
                draft: true,
            },
            baseline: check::long_name(0),
            contenders: (1..=contenders).map(check::long_name).collect(),
            axis: "average frame rate, change against the baseline (log scale)".into(),
            rows: (0..scenes)
                .map(|n| RatioRow {
                    name: check::long_name(n),
                    note: if n == 1 { "crosses rigs: no verdict".into() } else { String::new() },
                    ratios: (0..contenders).map(|c| (n + c != 2).then(|| ratio(n + c))).collect(),
                    asked: (n == 1).then_some(1.0 + 2.0 * spread),
                })
                .collect(),
            overall: (0..contenders)
                .map(|c| Overall { these: ratio(scenes / 2 + c), another: Some((0.9, 1.4 + spread / 2.0)) })
                .collect(),
        }
    }

    #[test]
    fn labels_keep_apart_with_3_to_24_scenes_and_names_of_40_letters() {
        for scenes in [1, 3, 8, 24] {
            for contenders in [1, 2, 5] {
                for spread in [0.01, 0.4, 3.0] {
                    check::sound(&chart(scenes, contenders, spread).svg(&Theme::LIGHT));
                }
            }
        }
    }

    #[test]
    fn it_is_the_same_twice_and_says_both_intervals_by_name() {
        let svg = chart(3, 2, 0.4).svg(&Theme::PRINT);
        assert_eq!(svg, chart(3, 2, 0.4).svg(&Theme::PRINT));
        assert!(svg.contains("Overall, these scenes") && svg.contains("Another scene like these"));
        assert!(svg.contains(">draft</text>"));
    }

    /// A doubling and a halving stand equally far from 1 on a log scale (Fleming & Wallace 1986: ratios multiply).
    #[test]
    fn the_baseline_stands_at_one() {
        let scale = Scale::log((0.5, 2.0), (0.0, 400.0));
        assert!((scale.at(1.0) - 200.0).abs() < 1e-9);
    }
}
