//! The sheet that a chart is drawn on: as wide as a page, 16:9 for video, or square.

use super::caption::Caption;
use super::theme::Theme;

/// Width of the charts that stand in text.
pub(super) const WIDTH: f64 = 960.0;
/// The narrowest sheet of a fixed shape: a chart of few rows is drawn larger instead of standing in empty space.
pub(super) const NARROWEST: f64 = 720.0;
/// The widest one: it holds 24 scenes with three parts each, whose names are then read at 3840 pixels.
const WIDEST: u32 = 6000;
/// From one width that is tried to the next.
const STEP: u32 = 16;
/// Of these one in so many is tried first.
const LEAP: u32 = 8;

/// The shape of a picture.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Shape {
    /// As high as it comes out.
    Page,
    /// 16:9, the shape of video (ITU-R BT.709).
    Wide,
    /// As high as wide.
    Square,
}

impl Shape {
    /// All, each with its name in addresses.
    pub const ALL: [(&'static str, Shape); 3] =
        [("page", Shape::Page), ("16x9", Shape::Wide), ("square", Shape::Square)];

    /// Height over width; `None`: whatever comes out.
    pub(super) fn aspect(self) -> Option<f64> {
        match self {
            Shape::Page => None,
            Shape::Wide => Some(9.0 / 16.0),
            Shape::Square => Some(1.0),
        }
    }
}

/// Width of a sheet, and the height it is filled up to.
#[derive(Clone, Copy, Debug)]
pub struct Sheet {
    pub(super) width: f64,
    pub(super) height: Option<f64>,
    /// How much higher it is than what is on it: plots grow by so much.
    pub(super) spare: f64,
}

impl Sheet {
    /// A sheet of a width, as high as what is on it.
    pub(super) fn wide(width: f64) -> Self {
        Sheet { width, height: None, spare: 0.0 }
    }
}

/// A finished picture.
#[derive(Clone, Debug)]
pub struct Drawn {
    /// As SVG.
    pub svg: String,
    pub(super) height: f64,
}

/// What can be drawn on a sheet.
pub trait Picture {
    /// The words around it.
    fn caption(&mut self) -> &mut Caption;

    /// Draws it on a sheet: everything but the height follows from the width.
    fn drawn(&self, theme: &Theme, sheet: Sheet) -> Drawn;

    /// Keeps these of its scenes, in this order, where it has a row for each; says how many there were.
    fn keep(&mut self, _scenes: &[String]) -> Option<usize> {
        None
    }

    /// As SVG in a shape: on the narrowest sheet that holds all of it, so that text comes out as large as can be.
    fn shaped(&self, theme: &Theme, shape: Shape) -> String {
        let Some(aspect) = shape.aspect() else { return self.drawn(theme, Sheet::wide(WIDTH)).svg };
        self.drawn(theme, fitting(aspect, NARROWEST, |sheet| self.drawn(theme, sheet))).svg
    }
}

/// The narrowest sheet of an aspect (height over width), at least so wide, that holds what `draw` draws.
pub(super) fn fitting(aspect: f64, least: f64, draw: impl Fn(Sheet) -> Drawn) -> Sheet {
    let holds = |step: u32| {
        let width = least + f64::from(step * STEP);
        let spare = width * aspect - draw(Sheet::wide(width)).height;
        (spare >= 0.0).then_some((width, spare))
    };
    let mut far = (0..=WIDEST / STEP).step_by(LEAP as usize);
    let held = far.find(|step| holds(*step).is_some()).and_then(|step| {
        let from = (step + 1).saturating_sub(LEAP);
        (from..=step).find_map(holds)
    });
    let (width, spare) = held.unwrap_or((f64::from(WIDEST), 0.0));
    Sheet { width, height: Some(width * aspect), spare }
}

/// The rows of these names, in this order.
pub(super) fn in_order<Row>(rows: Vec<Row>, scenes: &[String], name: impl Fn(&Row) -> &str) -> Vec<Row> {
    let place = |row: &Row| scenes.iter().position(|scene| scene == name(row));
    let mut placed: Vec<(usize, Row)> =
        rows.into_iter().filter_map(|row| Some((place(&row)?, row))).collect();
    placed.sort_by_key(|(at, _)| *at);
    placed.into_iter().map(|(_, row)| row).collect()
}

#[cfg(test)]
mod tests {
    use super::super::{check, samples};
    use super::*;

    fn size(svg: &str) -> (f64, f64) {
        let root = svg.split('>').next().unwrap();
        let of = |name: &str| root.split(&format!(" {name}=\"")).nth(1).unwrap().split('"').next().unwrap();
        (of("width").parse().unwrap(), of("height").parse().unwrap())
    }

    #[test]
    fn rows_stand_in_the_order_of_the_scenes_that_are_kept() {
        let kept = ["Driftglass, arena", "gone", "Vellum Rally, hairpin"].map(str::to_owned);
        let rows = vec!["Vellum Rally, hairpin", "Tin Comet, corridor", "Driftglass, arena"];
        assert_eq!(in_order(rows, &kept, |row| row), ["Driftglass, arena", "Vellum Rally, hairpin"]);
        let mut ratios = samples::ratios();
        let all = ratios.rows.len();
        assert_eq!(ratios.keep(&kept), Some(all));
        assert_eq!(ratios.rows.iter().map(|row| row.name.as_str()).collect::<Vec<_>>(), [&kept[0], &kept[2]]);
    }

    #[test]
    fn each_kind_fits_each_shape_with_its_labels_apart() {
        let crowded = [3, 12, 24].into_iter().flat_map(samples::crowded);
        for (name, picture) in samples::pictures().into_iter().chain(crowded) {
            for (shape, aspect) in [(Shape::Wide, 9.0 / 16.0), (Shape::Square, 1.0)] {
                let svg = picture.shaped(&Theme::LIGHT, shape);
                let (width, height) = size(&svg);
                assert!((height - width * aspect).abs() < 0.01, "{name}: {width} x {height}");
                check::sound(&svg);
            }
        }
    }
}
