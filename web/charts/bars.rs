//! Averages as bars from zero, the low as a notch in the bar, the interval as a line, values in columns beside them.

use serde::Serialize;

use super::canvas::{Anchor, Canvas, number};
use super::caption::{Caption, LABEL, SIDE, SMALL, axis_below};
use super::scale::{Scale, ticks};
use super::sheet::{Drawn, NARROWEST, Picture, Shape, Sheet, WIDTH, fitting, in_order};
use super::text;
use super::theme::{Paint, Theme};
use crate::format::{self, Unit};

const ROW: f64 = 24.0;
const THICK: f64 = 15.0;
/// As high as a row grows on a sheet with room to spare.
const HIGHEST_ROW: f64 = 40.0;
const NAMES: f64 = 150.0;
/// What long names take at most, of a column's width.
const MOST_NAMES: f64 = 0.4;
const COLUMN: f64 = 112.0;
/// Columns that many scenes are set in, side by side, at most.
const MOST_COLUMNS: usize = 4;
/// Between two of them.
const GAP: f64 = 36.0;
/// The shortest axis of several.
const LEAST_AXIS: f64 = 320.0;
/// The longest names that several leave room for.
const LONGEST_NAMES: f64 = 350.0;

/// The chart.
#[derive(Clone, Debug, Serialize)]
pub struct Bars {
    /// Words around it.
    pub caption: Caption,
    /// Name of the values at the axis, such as `average frame rate`.
    pub axis: String,
    /// How the low is computed, in full, such as `1% low: quantile`; empty where there is none.
    pub low: String,
    /// Unit of all values.
    pub unit: Unit,
    /// Scenes, or one group without a name.
    pub groups: Vec<BarGroup>,
}

/// Bars that belong together.
#[derive(Clone, Debug, Serialize)]
pub struct BarGroup {
    /// Scene and passage; may be empty.
    pub name: String,
    /// Its bars.
    pub bars: Vec<Bar>,
}

/// One bar.
#[derive(Clone, Debug, Serialize)]
pub struct Bar {
    /// Part and tuning.
    pub name: String,
    /// Which colour.
    pub series: usize,
    /// Average; `None`: did not run.
    pub average: Option<f64>,
    /// Its 95% interval.
    pub interval: Option<(f64, f64)>,
    /// Low, with half the width of its interval where that is known.
    pub low: Option<(f64, Option<f64>)>,
}

impl Picture for Bars {
    fn caption(&mut self) -> &mut Caption {
        &mut self.caption
    }

    fn drawn(&self, theme: &Theme, sheet: Sheet) -> Drawn {
        self.beside(theme, sheet, 1)
    }

    /// In as many columns as let its text come out largest.
    fn shaped(&self, theme: &Theme, shape: Shape) -> String {
        let Some(aspect) = shape.aspect() else { return self.svg(theme) };
        let most = self.groups.len().clamp(1, MOST_COLUMNS);
        let sheet = |n: usize| {
            let columns = n as f64;
            let column = self.widest_name().min(LONGEST_NAMES) + LEAST_AXIS + self.values();
            let several = columns * column + (columns - 1.0) * GAP + 2.0 * SIDE;
            let least = if n == 1 { NARROWEST } else { several.max(NARROWEST) };
            fitting(aspect, least, |sheet| self.beside(theme, sheet, n))
        };
        let best = (1..=most).map(|n| (sheet(n), n)).min_by(|(a, _), (b, _)| a.width.total_cmp(&b.width));
        let (sheet, n) = best.unwrap_or((Sheet::wide(WIDTH), 1));
        self.beside(theme, sheet, n).svg
    }

    fn keep(&mut self, scenes: &[String]) -> Option<usize> {
        let all = std::mem::take(&mut self.groups);
        let had = all.len();
        self.groups = in_order(all, scenes, |row| &row.name);
        Some(had)
    }
}

impl Bars {
    /// The picture as it stands in a page.
    pub fn svg(&self, theme: &Theme) -> String {
        self.drawn(theme, Sheet::wide(WIDTH)).svg
    }

    /// Draws it with its groups in so many columns, one below another in each.
    fn beside(&self, theme: &Theme, sheet: Sheet, columns: usize) -> Drawn {
        let mut canvas = Canvas::new(sheet, theme);
        let top = self.caption.above(&mut canvas, &[]) + 16.0;
        let runs: Vec<&[BarGroup]> = self.runs(columns);
        let rows = |run: &[BarGroup]| run.iter().map(BarGroup::rows).sum::<usize>();
        let most = runs.iter().map(|run| rows(run)).max().unwrap_or(1).max(1);
        let row = (ROW + sheet.spare / most as f64).min(HIGHEST_ROW);
        let wide = self.column(sheet.width, columns);
        let mut below = top;
        for (n, run) in runs.iter().enumerate() {
            let from = SIDE + n as f64 * (wide + GAP);
            below = below.max(self.draw_run(&mut canvas, run, (from, from + wide), (top, row)));
        }
        self.caption.below(canvas, below, "")
    }

    /// The groups cut into so many runs of about equal height, in their order.
    fn runs(&self, columns: usize) -> Vec<&[BarGroup]> {
        let all: usize = self.groups.iter().map(BarGroup::rows).sum();
        let (mut runs, mut rest, mut gone) = (Vec::with_capacity(columns), &self.groups[..], 0);
        for n in 1..=columns {
            let until = all * n / columns;
            let mut take = 0;
            while let Some(group) =
                rest.get(take).filter(|group| n == columns || gone + group.rows() / 2 < until)
            {
                gone += group.rows();
                take += 1;
            }
            let (run, left) = rest.split_at(take);
            runs.push(run);
            rest = left;
        }
        runs
    }

    /// Width of a column on a sheet.
    fn column(&self, sheet: f64, columns: usize) -> f64 {
        (sheet - 2.0 * SIDE - GAP * (columns - 1) as f64) / columns as f64
    }

    /// One column of groups with its axis, from `top` on; gives the place below it.
    fn draw_run(
        &self,
        canvas: &mut Canvas<'_>,
        run: &[BarGroup],
        (from, to): (f64, f64),
        (top, row): (f64, f64),
    ) -> f64 {
        let (left, right) = (from + self.names(to - from), to - self.values());
        let most = self.most();
        let scale = Scale::linear((0.0, most), (left, right));
        let bottom = top + run.iter().map(|group| group.height(row)).sum::<f64>();
        let (values, places) = ticks(0.0, most, ((right - left) / 70.0).clamp(2.0, 7.0));
        let marks: Vec<_> = values.iter().map(|v| (scale.at(*v), format::fixed(*v, places))).collect();
        let sign = self.unit.sign();
        let axis = format::sentence(&self.axis);
        let name = if sign.is_empty() { axis } else { format!("{axis} ({sign})") };
        let name = text::cut(&name, SMALL.size, false, to - left);
        let below = axis_below(canvas, (top, bottom), &marks, &name, left);
        self.heads(canvas, to, top - 6.0);
        let mut y = top;
        for group in run {
            if !group.name.is_empty() {
                // Nothing else stands in its row.
                let words = text::cut(&group.name, LABEL.size, true, to - from);
                canvas.text((from, y + row / 2.0 + 5.0), &words, LABEL.bold());
                y += row;
            }
            let start = y;
            for bar in &group.bars {
                bar.draw(canvas, (from, y + row / 2.0, to), (left - from, scale), self, &group.name);
                y += row;
            }
            canvas.line((left, start), (left, y), Paint::Ink, 1.5);
            y += 8.0;
        }
        below
    }

    fn heads(&self, canvas: &mut Canvas<'_>, last: f64, y: f64) {
        if self.low.is_empty() {
            canvas.text((last, y), "Average", SMALL.at(Anchor::End));
            return;
        }
        canvas.text((last - COLUMN, y), "Average", SMALL.at(Anchor::End));
        // How it is computed stands in full above the chart; beside the column there is room for its name.
        let name = self.low.split(':').next().unwrap_or_default();
        let words = text::cut(name, SMALL.size, false, COLUMN - 8.0);
        canvas.text((last, y), &words, SMALL.at(Anchor::End));
    }

    /// Decimal places of a column: those that its least certain value supports, so that points stand below points.
    fn places(&self, half_width: impl Fn(&Bar) -> Option<f64>) -> i32 {
        let bars = self.groups.iter().flat_map(|group| &group.bars);
        let places = bars.filter_map(half_width).map(|half| format::places(half, self.unit)).min();
        places.unwrap_or_else(|| format::places(f64::NAN, self.unit))
    }

    /// Width of the names in a column: what they need, within bounds.
    fn names(&self, width: f64) -> f64 {
        self.widest_name().min((width * MOST_NAMES).max(NAMES))
    }

    fn widest_name(&self) -> f64 {
        let bars = self.groups.iter().flat_map(|group| &group.bars);
        bars.map(|bar| LABEL.width(&bar.name) + 29.0).fold(NAMES, f64::max)
    }

    /// Width of the columns of values, with the space before them.
    fn values(&self) -> f64 {
        COLUMN * if self.low.is_empty() { 1.0 } else { 2.0 } + 12.0
    }

    fn most(&self) -> f64 {
        let all = self.groups.iter().flat_map(|group| &group.bars).flat_map(|bar| {
            [
                bar.average.unwrap_or(0.0),
                bar.interval.map_or(0.0, |(_, high)| high),
                bar.low.map_or(0.0, |(v, _)| v),
            ]
        });
        let most = all.filter(|v| v.is_finite()).fold(0.0_f64, f64::max);
        if most > 0.0 { most * 1.03 } else { 1.0 }
    }
}

impl BarGroup {
    fn rows(&self) -> usize {
        usize::from(!self.name.is_empty()) + self.bars.len()
    }

    fn height(&self, row: f64) -> f64 {
        row * self.rows() as f64 + 8.0
    }
}

impl Bar {
    fn half_width(&self) -> Option<f64> {
        self.interval.map(|(low, high)| (high - low) / 2.0)
    }

    fn draw(
        &self,
        canvas: &mut Canvas<'_>,
        (from, middle, to): (f64, f64, f64),
        (names, scale): (f64, Scale),
        of: &Bars,
        group: &str,
    ) {
        let name = text::cut(&self.name, LABEL.size, false, names - 28.0);
        canvas.text((from + 12.0, middle + 4.5), &name, LABEL);
        let end = to - if of.low.is_empty() { 0.0 } else { COLUMN };
        let Some(average) = self.average.filter(|v| v.is_finite()) else {
            canvas.text((end, middle + 4.5), "did not run", SMALL.at(Anchor::End));
            return;
        };
        let value = format::fixed(average, of.places(Bar::half_width));
        let low = self.low.map(|(v, _)| format::fixed(v, of.places(|bar| bar.low?.1)));
        let low = low.unwrap_or_else(|| format::NOTHING.to_owned());
        let mut says = format!("{group}, {}: average {value} {}", self.name, of.unit.sign());
        if !of.low.is_empty() {
            says.push_str(&format!(", {} {low}", of.low));
        }
        canvas.group(&says, |canvas| {
            let notch = self.low.map(|(v, _)| scale.within(v));
            canvas.area(&shape(scale.at(0.0), scale.at(average), middle, notch), Paint::Series(self.series));
            if let Some((low, high)) = self.interval {
                canvas.interval((scale.within(low), scale.within(high)), middle, 3.5, Paint::Ink, 1.4);
            }
            canvas.text((end, middle + 4.5), &value, LABEL.at(Anchor::End));
            if !of.low.is_empty() {
                canvas.text((to, middle + 4.5), &low, LABEL.at(Anchor::End));
            }
        });
    }
}

/// A bar from `zero` to `end` with a notch cut into it from above and below at `notch`.
fn shape(zero: f64, end: f64, middle: f64, notch: Option<f64>) -> String {
    let (top, bottom) = (middle - THICK / 2.0, middle + THICK / 2.0);
    let (deep, wide) = (THICK * 0.36, 4.5);
    let n = number;
    match notch.filter(|x| *x > zero + wide && *x < end - wide) {
        Some(x) => format!(
            "M{0} {1}H{2}L{3} {4}L{5} {1}H{6}V{7}H{5}L{3} {8}L{2} {7}H{0}Z",
            n(zero),
            n(top),
            n(x - wide),
            n(x),
            n(top + deep),
            n(x + wide),
            n(end),
            n(bottom),
            n(bottom - deep)
        ),
        None => format!("M{} {}H{}V{}H{}Z", n(zero), n(top), n(end), n(bottom), n(zero)),
    }
}

#[cfg(test)]
mod tests {
    use super::super::check;
    use super::*;

    fn chart(scenes: usize, parts: usize, most: f64) -> Bars {
        let bar = |n: usize, part: usize| {
            let average = most / (1.0 + n as f64 + part as f64 * 0.4);
            Bar {
                name: check::long_name(part),
                series: part,
                average: (n + part != 1).then_some(average),
                interval: Some((average * 0.98, average * 1.02)),
                low: (part != 2).then_some((average * 0.7, None)),
            }
        };
        let group = |n: usize| BarGroup {
            name: check::long_name(n),
            bars: (0..parts).map(|part| bar(n, part)).collect(),
        };
        Bars {
            caption: Caption {
                id: "b".into(),
                title: "Averages".into(),
                desc: "Bars".into(),
                ..Caption::default()
            },
            axis: "average frame rate".into(),
            low: "1% low: mean of the slowest 1% of frames".into(),
            unit: Unit::Fps,
            groups: (0..scenes).map(group).collect(),
        }
    }

    #[test]
    fn labels_keep_apart_with_3_to_24_scenes_and_names_of_40_letters() {
        for scenes in [1, 3, 24] {
            for most in [0.02, 173.0, 123_456.0] {
                check::sound(&chart(scenes, 3, most).svg(&Theme::DARK));
            }
        }
    }

    /// What tells two names apart may stand at their ends.
    #[test]
    fn long_names_are_whole_where_there_is_room_and_rows_grow_into_a_square() {
        let svg = chart(3, 3, 173.0).svg(&Theme::LIGHT);
        for part in 0..3 {
            assert!(svg.contains(&format!(">{}<", check::long_name(part))), "{part}");
        }
        let mut few = chart(1, 2, 173.0);
        few.groups[0].bars.iter_mut().for_each(|bar| bar.name = "Curlew".to_owned());
        assert_eq!(few.names(960.0), NAMES);
        let heights = [720.0, 900.0].map(|height| {
            let sheet = Sheet { width: 720.0, height: Some(height), spare: height - 400.0 };
            few.drawn(&Theme::LIGHT, sheet).svg
        });
        assert_ne!(heights[0].matches("<path").count(), 0);
        heights.iter().for_each(|svg| check::sound(svg));
    }

    #[test]
    fn many_scenes_stand_side_by_side_in_their_order() {
        let many = chart(24, 3, 173.0);
        for columns in 1..=4 {
            let runs = many.runs(columns);
            assert_eq!(runs.iter().map(|run| run.len()).collect::<Vec<_>>(), vec![24 / columns; columns]);
            let names = runs.concat().into_iter().map(|group| group.name);
            assert!(names.eq(many.groups.iter().map(|group| group.name.clone())));
        }
        let width = |chart: &Bars| {
            let svg = chart.shaped(&Theme::LIGHT, Shape::Wide);
            check::sound(&svg);
            svg.split(" width=\"").nth(1).unwrap().split('"').next().unwrap().parse::<f64>().unwrap()
        };
        assert!(width(&many) < 2600.0, "{}", width(&many));
        assert_eq!(chart(2, 3, 173.0).runs(4).iter().map(|run| run.len()).sum::<usize>(), 2);
    }

    #[test]
    fn bars_start_at_zero_and_end_at_their_value() {
        let scale = Scale::linear((0.0, 200.0), (100.0, 300.0));
        assert_eq!(shape(scale.at(0.0), scale.at(150.0), 10.0, None), "M100 2.5H250V17.5H100Z");
        let notched = shape(scale.at(0.0), scale.at(150.0), 10.0, Some(scale.at(98.0)));
        assert!(notched.contains("L198 7.9"), "the notch points at the low: {notched}");
    }

    #[test]
    fn nothing_measured_is_said() {
        let mut none = chart(1, 1, 100.0);
        none.groups[0].bars[0].average = None;
        let svg = none.svg(&Theme::LIGHT);
        check::sound(&svg);
        assert!(svg.contains("did not run"));
    }
}
