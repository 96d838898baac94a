//! Strips of frame time on one time axis, companions below, with flags and remarks where they are.
//!
//! Drawn from what one pixel column holds (first, least, most and last value), so that two million frames cost no
//! more than a thousand, and a single hitch is never lost: Jugel et al. 2014, VLDB 7(10), 'M4' (from memory).

use std::fmt::Write as _;

use serde::Serialize;

use super::canvas::{Anchor, Canvas, number};
use super::caption::{Caption, LABEL, SIDE, SMALL, axis_below};
use super::scale::{Scale, ticks};
use super::sheet::{Drawn, Picture, Sheet};
use super::text;
use super::theme::{Paint, Theme};
use crate::format::{self, Unit};

const LEFT: f64 = 72.0;
const TALL: f64 = 92.0;
const SLIM: f64 = 48.0;
const HEAD: f64 = 22.0;
const SPANS: f64 = 18.0;
/// Columns over which the level of another pass is taken.
const LEVEL: usize = 12;

/// The picture.
#[derive(Clone, Debug, Serialize)]
pub struct Strip {
    /// Words around it.
    pub caption: Caption,
    /// Start of the shown stretch, ns from the first frame.
    pub from_ns: i64,
    /// Its end.
    pub to_ns: i64,
    /// Width of the whole picture in pixels, 320 to 4000.
    pub width: u32,
    /// Values of passes above this, in their unit, are cut off at the edge and marked there; `None`: all is shown.
    pub cut: Option<f64>,
    /// From above: passes, then companions.
    pub lanes: Vec<Lane>,
}

/// One track over the shown stretch.
#[derive(Clone, Debug, Serialize)]
pub struct Lane {
    /// `Pass 2`, `Power`.
    pub name: String,
    /// `set aside: updater at 21 s`; may be empty.
    pub note: String,
    /// Unit of the values; lanes of one unit share one range.
    pub unit: Unit,
    /// Which colour.
    pub series: usize,
    /// A companion: lower than a pass.
    pub slim: bool,
    /// The stretch in columns of equal length; `None` where nothing is.
    pub columns: Vec<Option<Column>>,
    /// The window that counts; what lies outside is shaded.
    pub window_ns: Option<(i64, i64)>,
    /// Flags and remarks.
    pub spans: Vec<Span>,
    /// The other passes of the cell, aligned in time: the level of each is drawn as a line over this one.
    #[serde(skip)]
    pub ghosts: Vec<Vec<Option<Column>>>,
}

/// What one column of pixels holds.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Column {
    /// First value in it.
    pub first: f64,
    /// Least.
    pub min: f64,
    /// Most.
    pub max: f64,
    /// Last.
    pub last: f64,
}

/// A stretch of time that something is said about.
#[derive(Clone, Debug, Serialize)]
pub struct Span {
    /// Who says it.
    pub kind: SpanKind,
    /// ns from the first frame.
    pub start_ns: i64,
    /// ns from the first frame.
    pub end_ns: i64,
    /// In a few words.
    pub says: String,
}

/// Who says something about a stretch of time.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum SpanKind {
    /// A screen: triangle.
    Flag,
    /// A person: diamond.
    Remark,
    /// Something that may become a pass of its own.
    Stretch,
}

impl Picture for Strip {
    fn caption(&mut self) -> &mut Caption {
        &mut self.caption
    }

    fn drawn(&self, theme: &Theme, sheet: Sheet) -> Drawn {
        let mut canvas = Canvas::new(sheet, theme);
        let width = sheet.width;
        let (left, right) = (SIDE + LEFT, width - SIDE - 16.0);
        let time = Scale::linear((self.from_ns as f64, self.to_ns as f64), (left, right));
        let mut y = self.caption.above(&mut canvas, &[]);
        let passes = self.lanes.iter().filter(|lane| !lane.slim).count();
        let more = sheet.spare / passes.max(1) as f64;
        let bottom = y + self.lanes.iter().map(|lane| lane.height(more)).sum::<f64>();
        let marks = self.time_marks(time, right - left);
        let below = axis_below(&mut canvas, (bottom, bottom + 4.0), &marks, "Time (s)", left);
        for lane in &self.lanes {
            let range = self.range(lane.unit);
            let plot = lane.plot_at(y, more);
            lane.grid(&mut canvas, plot, &marks);
            lane.draw(&mut canvas, (y, plot), time, range, (left, right));
            y += lane.height(more);
        }
        let attributes = format!(
            " data-left=\"{}\" data-right=\"{}\" data-from=\"{}\" data-to=\"{}\"",
            number(left),
            number(right),
            seconds(self.from_ns),
            seconds(self.to_ns)
        );
        self.caption.below(canvas, below, &attributes)
    }
}

impl Strip {
    /// How many columns a picture of this width shows: what to ask the store for.
    pub fn columns(width: u32) -> u32 {
        let width = width.clamp(320, 4000);
        width - 120
    }

    /// The picture as it stands in a page. Its root says where the plot stands (`data-left`, `data-right`, picture
    /// units) and which stretch it shows (`data-from`, `data-to`, seconds), for `strip.js`.
    pub fn svg(&self, theme: &Theme) -> String {
        self.drawn(theme, Sheet::wide(f64::from(self.width.clamp(320, 4000)))).svg
    }

    fn time_marks(&self, time: Scale, wide: f64) -> Vec<(f64, String)> {
        let (from, to) = (self.from_ns as f64 / 1e9, self.to_ns as f64 / 1e9);
        let (values, places) = ticks(from, to, (wide / 90.0).floor().max(2.0));
        values.into_iter().map(|v| (time.at(v * 1e9), format::fixed(v, places))).collect()
    }

    /// Range of all lanes of a unit: from zero for times and watts, else as far as the values go.
    fn range(&self, unit: Unit) -> (f64, f64) {
        let of_passes = self.lanes.iter().any(|lane| lane.unit == unit && !lane.slim);
        let cut = self.cut.filter(|_| of_passes);
        let lanes = self.lanes.iter().filter(|lane| lane.unit == unit);
        let columns = lanes.flat_map(|lane| lane.columns.iter().flatten());
        let ends = columns
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), c| (low.min(c.min), high.max(c.max)));
        let (low, high) = if ends.0.is_finite() && ends.1.is_finite() { ends } else { (0.0, 1.0) };
        match unit {
            Unit::Ms => (0.0, cut.filter(|cut| *cut < high).unwrap_or(high * 1.05)),
            Unit::W | Unit::J | Unit::S | Unit::Fps => (0.0, high * 1.05),
            _ => {
                let cut = cut.filter(|cut| *cut < high && *cut > low);
                let high = cut.unwrap_or(high);
                let air = ((high - low) * 0.08).max(high.abs() * 0.01).max(1e-9);
                // What is never negative gets no room below zero.
                let floor = if low >= 0.0 { 0.0 } else { f64::NEG_INFINITY };
                ((low - air).max(floor), cut.unwrap_or(high + air))
            }
        }
    }
}

/// Whole nanoseconds as plain decimal seconds, for attributes and addresses.
fn seconds(ns: i64) -> String {
    let sign = if ns < 0 { "-" } else { "" };
    format!("{sign}{}.{:09}", ns.unsigned_abs() / 1_000_000_000, ns.unsigned_abs() % 1_000_000_000)
}

impl Lane {
    /// `more`: how much higher than usual the plot of a pass is.
    fn plot(&self, more: f64) -> f64 {
        if self.slim { SLIM } else { TALL + more }
    }

    fn height(&self, more: f64) -> f64 {
        HEAD + if self.spans.is_empty() { 0.0 } else { SPANS } + self.plot(more) + 8.0
    }

    /// Top and bottom of the plot of a lane at `y`.
    fn plot_at(&self, y: f64, more: f64) -> (f64, f64) {
        let top = y + HEAD + if self.spans.is_empty() { 0.0 } else { SPANS };
        (top, top + self.plot(more))
    }

    fn grid(&self, canvas: &mut Canvas<'_>, (top, bottom): (f64, f64), marks: &[(f64, String)]) {
        for (x, _) in marks {
            canvas.line((*x, top), (*x, bottom), Paint::Line, 1.0);
        }
    }

    fn draw(
        &self,
        canvas: &mut Canvas<'_>,
        (y, (top, bottom)): (f64, (f64, f64)),
        time: Scale,
        range: (f64, f64),
        (left, right): (f64, f64),
    ) {
        let head = y + 15.0;
        let name = text::cut(&self.name, LABEL.size, true, (right - left) * 0.5);
        canvas.text((left, head), &name, LABEL.bold());
        let after = left + LABEL.bold().width(&name) + 12.0;
        let cut_off = self.cut_off(range.1, (left, right));
        let mut notes: Vec<String> = Some(self.note.clone()).into_iter().filter(|n| !n.is_empty()).collect();
        if !cut_off.is_empty() {
            notes.push(format!("^ at the top: beyond {}", format::value(range.1, self.unit)));
        }
        if !self.ghosts.is_empty() {
            notes.push("lines: the level of the other passes".to_owned());
        }
        let note = notes.join("; ");
        canvas.text((after, head), &text::cut(&note, SMALL.size, false, right - after), SMALL);
        let scale = Scale::linear(range, (bottom, top));
        self.shade(canvas, (top, bottom), time, (left, right));
        self.spans_on(canvas, y + HEAD, (top, bottom), time, (left, right));
        self.levels(canvas, range, scale, (left, right));
        canvas.group(&self.spoken(), |canvas| {
            canvas.path(&self.outline(scale, (left, right)), Paint::Series(self.series), 1.0);
        });
        for ghost in &self.ghosts {
            canvas.path(&level(ghost, scale, (left, right)), Paint::Ink, 0.9);
        }
        for x in cut_off {
            let d = format!("M{} {}l3.5-5l3.5 5", number(x - 3.5), number(top + 4.0));
            canvas.path(&d, Paint::Ink, 1.4);
        }
        canvas.line((left, bottom), (right, bottom), Paint::Soft, 1.0);
    }

    fn shade(
        &self,
        canvas: &mut Canvas<'_>,
        (top, bottom): (f64, f64),
        time: Scale,
        (left, right): (f64, f64),
    ) {
        let Some((start, end)) = self.window_ns else { return };
        let (start, end) = (time.within(start as f64), time.within(end as f64));
        for (from, to) in [(left, start), (end, right)] {
            if to > from {
                canvas.rect((from, top), (to - from, bottom - top), Paint::Line, 0.55);
            }
        }
        for x in [start, end].into_iter().filter(|x| *x > left && *x < right) {
            canvas.dashed((x, top), (x, bottom), Paint::Ink);
        }
    }

    fn spans_on(
        &self,
        canvas: &mut Canvas<'_>,
        row: f64,
        (top, bottom): (f64, f64),
        time: Scale,
        (left, right): (f64, f64),
    ) {
        let mut free = left - 4.0;
        for span in &self.spans {
            let (start, end) = (time.at(span.start_ns as f64), time.at(span.end_ns as f64));
            if end < left || start > right {
                continue;
            }
            let (start, end) = (start.max(left), end.min(right));
            let (series, word) = match span.kind {
                SpanKind::Flag => (2, "flag"),
                SpanKind::Remark => (3, "remark"),
                SpanKind::Stretch => (0, "stretch"),
            };
            let says = format!("{word}, {}: {}", format::span_ns(span.start_ns, span.end_ns), span.says);
            canvas.group(&says, |canvas| {
                let paint = match span.kind {
                    SpanKind::Flag => Paint::Series(1),
                    SpanKind::Remark => Paint::Series(3),
                    SpanKind::Stretch => Paint::Series(2),
                };
                canvas.rect((start, row + 2.0), ((end - start).max(2.0), bottom - row - 2.0), paint, 0.16);
                canvas.line((start, top), (start, bottom), paint, 1.0);
                if start > free {
                    canvas.marker((start + 5.0, row + 8.0), 4.2, series, paint);
                    let label = text::cut(&span.says, SMALL.size, false, (right - start - 14.0).min(180.0));
                    canvas.text((start + 13.0, row + 12.0), &label, SMALL);
                    free = start + 13.0 + SMALL.width(&label) + 8.0;
                }
            });
        }
    }

    fn levels(&self, canvas: &mut Canvas<'_>, range: (f64, f64), scale: Scale, (left, right): (f64, f64)) {
        let most = if self.slim { 2.0 } else { 4.0 };
        let (mut values, mut places) = ticks(range.0, range.1, most);
        if values.is_empty() {
            // A short range between two round numbers: the next finer step falls into it.
            (values, places) = ticks(range.0, range.1, most * 2.0);
        }
        let last = values.len().saturating_sub(1);
        for (n, value) in values.into_iter().enumerate() {
            canvas.line((left, scale.at(value)), (right, scale.at(value)), Paint::Line, 0.6);
            let words = format::fixed(value, places);
            let words = if n == last { format!("{words} {}", self.unit.sign()) } else { words };
            canvas.text((left - 6.0, scale.at(value) + 4.0), words.trim_end(), SMALL.at(Anchor::End));
        }
    }

    fn columns_at(&self, (left, right): (f64, f64)) -> impl Iterator<Item = (f64, Option<&Column>)> {
        let step = (right - left) / self.columns.len().max(1) as f64;
        self.columns
            .iter()
            .enumerate()
            .map(move |(n, column)| (left + step * (n as f64 + 0.5), column.as_ref()))
    }

    fn outline(&self, scale: Scale, ends: (f64, f64)) -> String {
        let mut d = String::with_capacity(self.columns.len() * 24);
        let mut drawing = false;
        for (x, column) in self.columns_at(ends) {
            let Some(column) = column else {
                drawing = false;
                continue;
            };
            let lead = if drawing { 'L' } else { 'M' };
            let place = |value: f64| number(scale.within(value));
            // Writing to a String cannot fail.
            let _ = write!(d, "{lead}{} {}", number(x), place(column.first));
            // The way down and up goes by the nearer end first; both ends of the column are drawn either way.
            for value in [column.min, column.max, column.last] {
                let _ = write!(d, "V{}", place(value));
            }
            drawing = true;
        }
        d
    }

    fn cut_off(&self, most: f64, ends: (f64, f64)) -> Vec<f64> {
        self.columns_at(ends).filter(|(_, c)| c.is_some_and(|c| c.max > most)).map(|(x, _)| x).collect()
    }

    fn spoken(&self) -> String {
        let most = self.columns.iter().flatten().map(|c| c.max).fold(f64::NAN, f64::max);
        format!("{} {}: at most {}", self.name, self.note, format::value(most, self.unit))
    }
}

/// The level of a pass as a line: the mean of what begins each column, over some columns; broken where nothing is.
fn level(columns: &[Option<Column>], scale: Scale, (left, right): (f64, f64)) -> String {
    let step = (right - left) / columns.len().max(1) as f64;
    let (mut d, mut drawing) = (String::new(), false);
    for (n, some) in columns.chunks(LEVEL).enumerate() {
        let values: Vec<f64> = some.iter().flatten().map(|column| column.first).collect();
        if values.is_empty() {
            drawing = false;
            continue;
        }
        let mean = values.iter().sum::<f64>() / values.len() as f64;
        let x = left + step * (n * LEVEL) as f64 + step * some.len() as f64 / 2.0;
        // Writing to a String cannot fail.
        let _ = write!(d, "{}{} {}", if drawing { 'L' } else { 'M' }, number(x), number(scale.within(mean)));
        drawing = true;
    }
    d
}

#[cfg(test)]
mod tests {
    use super::super::check;
    use super::*;

    fn lane(n: usize, unit: Unit) -> Lane {
        let column = |i: u32| {
            let base = 8.0 + f64::from(i % 7);
            (i % 50 != 3).then_some(Column {
                first: base,
                min: base - 1.0,
                max: base + f64::from(i % 90),
                last: base,
            })
        };
        let span = |start: i64, kind| Span {
            kind,
            start_ns: start * 1_000_000_000,
            end_ns: (start + 3) * 1_000_000_000,
            says: check::long_name(n),
        };
        Lane {
            name: check::long_name(n),
            note: "set aside: updater at 21 s".into(),
            unit,
            series: n,
            slim: unit != Unit::Ms,
            columns: (0..Strip::columns(960)).map(column).collect(),
            window_ns: Some((5_000_000_000, 55_000_000_000)),
            spans: (0..12)
                .map(|i| span(i * 5, if i % 3 == 0 { SpanKind::Remark } else { SpanKind::Flag }))
                .collect(),
            ghosts: vec![(0..Strip::columns(960)).map(column).collect(); n.min(2)],
        }
    }

    fn strip(width: u32, passes: usize) -> Strip {
        let mut lanes: Vec<Lane> = (0..passes).map(|n| lane(n, Unit::Ms)).collect();
        lanes.extend([Unit::W, Unit::MHz, Unit::C].map(|unit| lane(0, unit)));
        Strip {
            caption: Caption {
                id: "s".into(),
                title: "Passes".into(),
                desc: "Strip".into(),
                ..Caption::default()
            },
            from_ns: 0,
            to_ns: 60_000_000_000,
            width,
            cut: Some(60.0),
            lanes,
        }
    }

    #[test]
    fn labels_keep_apart_at_phone_and_desk_widths() {
        for width in [390, 960, 2000] {
            for passes in [0, 1, 5] {
                check::sound(&strip(width, passes).svg(&Theme::LIGHT));
            }
        }
        let mut close = strip(960, 1);
        (close.from_ns, close.to_ns) = (20_000_000_000, 20_000_400_000);
        check::sound(&close.svg(&Theme::DARK));
    }

    #[test]
    fn a_hitch_of_one_column_is_in_the_outline_and_a_gap_is_not_bridged() {
        let calm = Column { first: 8.0, min: 8.0, max: 8.0, last: 8.0 };
        let hitch = Column { max: 80.0, ..calm };
        let lane = Lane {
            columns: vec![Some(calm), Some(hitch), None, Some(calm)],
            spans: vec![],
            ..lane(0, Unit::Ms)
        };
        let d = lane.outline(Scale::linear((0.0, 100.0), (100.0, 0.0)), (0.0, 4.0));
        assert_eq!(d, "M0.5 92V92V92V92L1.5 92V92V20V92M3.5 92V92V92V92");
    }

    #[test]
    fn the_root_says_which_stretch_it_shows() {
        let svg = strip(960, 1).svg(&Theme::LIGHT);
        assert!(svg.contains("data-from=\"0.000000000\" data-to=\"60.000000000\""));
        assert_eq!(seconds(-1_500_000_000), "-1.500000000");
    }

    #[test]
    fn a_lane_between_two_round_numbers_still_has_numbers_at_its_axis() {
        let column = Column { first: 72.0, min: 71.3, max: 74.1, last: 73.0 };
        let mut warm = strip(960, 0);
        warm.lanes = vec![Lane { columns: vec![Some(column)], ..lane(0, Unit::C) }];
        let svg = warm.svg(&Theme::LIGHT);
        check::sound(&svg);
        assert!(svg.contains(">74 °C</text>"), "{svg}");
    }

    #[test]
    fn percents_of_frame_time_have_no_room_below_zero() {
        let column = Column { first: 100.0, min: 2.0, max: 3000.0, last: 100.0 };
        let mut long = strip(960, 0);
        long.cut = Some(180.0);
        long.lanes = vec![Lane { columns: vec![Some(column)], slim: false, ..lane(0, Unit::Percent) }];
        assert_eq!(long.range(Unit::Percent), (0.0, 180.0));
    }

    #[test]
    fn an_empty_strip_is_drawn() {
        let mut none = strip(960, 1);
        none.lanes.iter_mut().for_each(|lane| lane.columns.fill(None));
        check::sound(&none.svg(&Theme::LIGHT));
    }

    #[test]
    fn a_ghost_is_a_line_that_breaks_where_nothing_is() {
        let at = |value: f64| Some(Column { first: value, min: value, max: value, last: value });
        let mut columns = vec![at(10.0); 3 * LEVEL];
        columns[LEVEL..2 * LEVEL].fill(None);
        columns[0] = at(22.0);
        let d = level(&columns, Scale::linear((0.0, 20.0), (100.0, 0.0)), (0.0, 36.0));
        // (22 + 11 × 10) / 12 = 11 of 20 from below.
        assert_eq!(d, "M6 45M30 50");
    }
}
