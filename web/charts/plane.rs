//! Points on two axes with both their intervals, a curve through them with its band, and places along the lower axis.

use serde::Serialize;

use super::canvas::{Anchor, Canvas, Type, number};
use super::caption::{Caption, LABEL, SIDE, SMALL, axis_below};
use super::scale::{Scale, ticks};
use super::sheet::{Drawn, Picture, Sheet, WIDTH};
use super::text;
use super::theme::{Paint, Theme};
use crate::format;

/// Height of the plot itself.
const HEIGHT: f64 = 380.0;
/// Space for the numbers beside the upright axis.
const NUMBERS: f64 = 52.0;
/// From a dot to its name.
const AWAY: f64 = 9.0;
/// Air around what is shown, as a share of it.
const AIR: f64 = 0.08;

/// The chart.
#[derive(Clone, Debug, Default, Serialize)]
pub struct Plane {
    /// Words around it.
    pub caption: Caption,
    /// What the lower axis shows, with its unit.
    pub across: String,
    /// What the upright axis shows, with its unit.
    pub up: String,
    /// Kinds of points, each with its own shape and colour.
    pub series: Vec<Series>,
    /// Places along the lower axis.
    pub places: Vec<Place>,
}

/// Points of one kind.
#[derive(Clone, Debug, Default, Serialize)]
pub struct Series {
    /// Its name in the legend.
    pub name: String,
    /// Its points.
    pub points: Vec<Spot>,
    /// Corners of the curve through them; empty: none.
    pub line: Vec<(f64, f64)>,
    /// Across, and both ends of the curve's 95% interval there; empty: none.
    pub band: Vec<(f64, f64, f64)>,
}

/// A point.
#[derive(Clone, Debug, Default, Serialize)]
pub struct Spot {
    /// Its name, written beside it where there is room.
    pub name: String,
    /// Across.
    pub x: f64,
    /// Up.
    pub y: f64,
    /// 95% interval across.
    pub x_interval: Option<(f64, f64)>,
    /// 95% interval up.
    pub y_interval: Option<(f64, f64)>,
    /// It in words, for the pointer and for who cannot see it.
    pub says: String,
}

/// A place along the lower axis, such as the knee of a curve.
#[derive(Clone, Debug, Serialize)]
pub struct Place {
    /// Where.
    pub at: f64,
    /// 95% interval of where.
    pub interval: Option<(f64, f64)>,
    /// What is there, in few words.
    pub says: String,
}

/// A rectangle that a text takes: left, right, top, bottom.
type Taken = (f64, f64, f64, f64);

impl Picture for Plane {
    fn caption(&mut self) -> &mut Caption {
        &mut self.caption
    }

    fn drawn(&self, theme: &Theme, sheet: Sheet) -> Drawn {
        let mut canvas = Canvas::new(sheet, theme);
        let names: Vec<String> = self.series.iter().map(|series| series.name.clone()).collect();
        let top = self.caption.above(&mut canvas, &names) + 26.0;
        let (left, right, bottom) = (SIDE + NUMBERS, sheet.width - SIDE, top + HEIGHT + sheet.spare);
        let (x_ends, y_ends) = self.ends();
        let x = Scale::linear(x_ends, (left, right));
        let y = Scale::linear(y_ends, (bottom, top));
        axis_up(&mut canvas, (top, bottom), (left, right), y, y_ends, &self.up);
        let below = {
            let (round, places) = ticks(x_ends.0, x_ends.1, 10.0);
            let marks: Vec<(f64, String)> =
                round.into_iter().map(|v| (x.at(v), format::fixed(v, places))).collect();
            axis_below(&mut canvas, (top, bottom), &marks, &self.across, left)
        };
        let mut taken = Vec::new();
        for place in &self.places {
            place.draw(&mut canvas, x, (top, bottom), (left, right), &mut taken);
        }
        for (nth, series) in self.series.iter().enumerate() {
            series.draw_curve(&mut canvas, nth, x, y);
        }
        for (nth, series) in self.series.iter().enumerate() {
            for spot in &series.points {
                spot.draw(&mut canvas, nth, x, y);
            }
        }
        let lines: Vec<f64> = self.places.iter().map(|place| x.within(place.at)).collect();
        for (nth, series) in self.series.iter().enumerate() {
            for spot in &series.points {
                spot.name_it(
                    &mut canvas,
                    nth,
                    (x.at(spot.x), y.at(spot.y)),
                    (left, right, top, bottom),
                    &lines,
                    &mut taken,
                );
            }
        }
        self.caption.below(canvas, below, "")
    }
}

impl Plane {
    /// The picture as it stands in a page.
    pub fn svg(&self, theme: &Theme) -> String {
        self.drawn(theme, Sheet::wide(WIDTH)).svg
    }

    /// Ends of both axes: everything shown, with air.
    fn ends(&self) -> ((f64, f64), (f64, f64)) {
        let spots = || self.series.iter().flat_map(|series| &series.points);
        let both = |of: Option<(f64, f64)>| of.map_or([f64::NAN; 2], |(low, high)| [low, high]);
        let across = spots().flat_map(|spot| [spot.x].into_iter().chain(both(spot.x_interval)));
        let up = spots().flat_map(|spot| [spot.y].into_iter().chain(both(spot.y_interval)));
        let bands = self.series.iter().flat_map(|s| s.band.iter().flat_map(|(_, low, high)| [*low, *high]));
        (reach(across), reach(up.chain(bands)))
    }
}

fn reach(values: impl Iterator<Item = f64>) -> (f64, f64) {
    let (low, high) = values
        .filter(|v| v.is_finite())
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| (low.min(v), high.max(v)));
    if low > high {
        return (0.0, 1.0);
    }
    // A single value stands in the middle of a tenth of itself.
    let air = if high > low { (high - low) * AIR } else { (high.abs() * 0.05).max(0.5) };
    (low - air, high + air)
}

fn axis_up(
    canvas: &mut Canvas<'_>,
    (top, bottom): (f64, f64),
    (left, right): (f64, f64),
    y: Scale,
    ends: (f64, f64),
    name: &str,
) {
    let (round, places) = ticks(ends.0, ends.1, 8.0);
    for value in round {
        let at = y.at(value);
        canvas.line((left, at), (right, at), Paint::Line, 1.0);
        canvas.text((left - 8.0, at + 4.0), &format::fixed(value, places), SMALL.at(Anchor::End));
    }
    canvas.line((left, top), (left, bottom), Paint::Line, 1.0);
    canvas.text((SIDE, top - 10.0), &text::cut(name, SMALL.size, false, right - SIDE), SMALL);
}

impl Place {
    fn draw(
        &self,
        canvas: &mut Canvas<'_>,
        x: Scale,
        (top, bottom): (f64, f64),
        (left, right): (f64, f64),
        taken: &mut Vec<Taken>,
    ) {
        let at = x.within(self.at);
        canvas.group(&self.says, |canvas| {
            if let Some((low, high)) = self.interval {
                let (from, to) = (x.within(low), x.within(high));
                canvas.rect((from, top), (to - from, bottom - top), Paint::Soft, 0.08);
            }
            canvas.dashed((at, top), (at, bottom), Paint::Soft);
            let words = text::cut(&self.says, SMALL.size, false, right - left - 12.0);
            let wide = SMALL.width(&words);
            let start = (at + 6.0).min(right - wide - 2.0);
            canvas.text((start, bottom - 8.0), &words, Type { paint: Paint::Ink, ..SMALL });
            taken.push((start, start + wide, bottom - 20.0, bottom - 4.0));
        });
    }
}

impl Series {
    fn draw_curve(&self, canvas: &mut Canvas<'_>, nth: usize, x: Scale, y: Scale) {
        let at = |(across, up): (f64, f64)| format!("{} {}", number(x.at(across)), number(y.at(up)));
        if !self.band.is_empty() {
            let over = self.band.iter().map(|(across, _, high)| at((*across, *high)));
            let under = self.band.iter().rev().map(|(across, low, _)| at((*across, *low)));
            canvas.shade(
                &format!("M{}Z", over.chain(under).collect::<Vec<_>>().join("L")),
                Paint::Series(nth),
                0.16,
            );
        }
        if !self.line.is_empty() {
            let corners: Vec<String> = self.line.iter().map(|corner| at(*corner)).collect();
            canvas.path(&format!("M{}", corners.join("L")), Paint::Series(nth), 2.0);
        }
    }
}

impl Spot {
    fn draw(&self, canvas: &mut Canvas<'_>, nth: usize, x: Scale, y: Scale) {
        let (across, up) = (x.at(self.x), y.at(self.y));
        canvas.group(&self.says, |canvas| {
            if let Some((low, high)) = self.x_interval {
                canvas.interval((x.at(low), x.at(high)), up, 4.0, Paint::Series(nth), 1.4);
            }
            if let Some((low, high)) = self.y_interval {
                let (low, high) = (number(y.at(low)), number(y.at(high)));
                let (here, from, to) = (number(across), number(across - 4.0), number(across + 4.0));
                let d = format!("M{here} {low}V{high}M{from} {low}H{to}M{from} {high}H{to}");
                canvas.halo(&d, 3.4);
                canvas.path(&d, Paint::Series(nth), 1.4);
            }
            canvas.dot((across, up), 5.0, nth);
        });
    }

    /// Writes the name where it lies on no other: right, left, above or below the dot; nowhere where none is free. Where it
    /// can, it keeps off the upright lines of places.
    fn name_it(
        &self,
        canvas: &mut Canvas<'_>,
        nth: usize,
        (x, y): (f64, f64),
        (left, right, top, bottom): (f64, f64, f64, f64),
        lines: &[f64],
        taken: &mut Vec<Taken>,
    ) {
        let look = Type { paint: Paint::Series(nth), ..LABEL };
        let words = text::cut(&self.name, look.size, false, (right - left) / 2.0);
        let wide = look.width(&words);
        let spots = [
            (x + AWAY, y + 18.0),
            (x + AWAY, y - 8.0),
            (x - AWAY - wide, y - 8.0),
            (x - AWAY - wide, y + 18.0),
            (x - wide / 2.0, y + 26.0),
            (x - wide / 2.0, y - 16.0),
        ];
        let free = spots.into_iter().filter(|(from, base)| {
            let own = (*from - 2.0, from + wide + 2.0, base - 12.0, base + 4.0);
            let inside = own.0 >= left && own.1 <= right && own.2 >= top && own.3 <= bottom;
            inside && taken.iter().all(|t| own.1 <= t.0 || t.1 <= own.0 || own.3 <= t.2 || t.3 <= own.2)
        });
        let free: Vec<(f64, f64)> = free.collect();
        let off = |(from, _): &&(f64, f64)| lines.iter().all(|line| *line < *from || from + wide < *line);
        if let Some((from, base)) = free.iter().find(off).or(free.first()).copied() {
            canvas.text((from, base), &words, look);
            taken.push((from - 2.0, from + wide + 2.0, base - 12.0, base + 4.0));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::check;
    use super::*;

    fn chart(points: usize, spread: f64) -> Plane {
        let spot = |n: usize| Spot {
            name: check::long_name(n),
            x: 350.0 + 40.0 * spread * n as f64,
            y: 90.0 + 5.0 * spread * (n as f64).sqrt(),
            x_interval: Some((349.0 + 40.0 * spread * n as f64, 351.0 + 40.0 * spread * n as f64)),
            y_interval: (n != 1).then(|| (89.0 + 5.0 * spread * (n as f64).sqrt(), 91.0 + 6.0 * spread)),
            says: format!("point {n}"),
        };
        let series = |name: &str| Series {
            name: name.to_owned(),
            points: (0..points).map(spot).collect(),
            line: (0..points).map(spot).map(|s| (s.x, s.y)).collect(),
            band: (0..points).map(spot).map(|s| (s.x, s.y - 1.0, s.y + 1.0)).collect(),
        };
        Plane {
            caption: Caption {
                id: "p".into(),
                title: "Frame rate over watts".into(),
                draft: true,
                ..Caption::default()
            },
            across: "Mean measured power (W)".into(),
            up: "Average frame rate (fps)".into(),
            series: vec![series("stock clocks"), series("core +180 MHz")],
            places: vec![Place { at: 420.0, interval: Some((400.0, 440.0)), says: "knee at 420 W".into() }],
        }
    }

    #[test]
    fn labels_keep_apart_with_one_to_twelve_points_wide_or_crowded() {
        for points in [0, 1, 3, 12] {
            for spread in [0.0, 0.01, 1.0] {
                check::sound(&chart(points, spread).svg(&Theme::LIGHT));
            }
        }
    }

    #[test]
    fn it_is_the_same_twice_and_tells_each_point_in_words() {
        let svg = chart(3, 1.0).svg(&Theme::PRINT);
        assert_eq!(svg, chart(3, 1.0).svg(&Theme::PRINT));
        assert!(svg.contains("<title>point 2</title>") && svg.contains("knee at 420 W"));
        assert!(svg.contains(">draft</text>"));
    }
}
