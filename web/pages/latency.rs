//! Delay against frame rate, for settings with generated frames.

use askama::Template;
use serde::Serialize;

use super::tuning::Measured;
use super::{Frame, Page};
use crate::charts::{Plane, Theme};
use crate::format::{self, Unit};
use crate::paths;

/// The page.
#[derive(Template, Serialize)]
#[template(path = "latency.html")]
pub struct Latency {
    /// Around the page.
    #[serde(skip)]
    pub frame: Frame,
    /// Key of the piece.
    #[serde(skip)]
    pub key: String,
    /// Scenes and settings in which delay was logged.
    pub blocks: Vec<DelayBlock>,
}

/// A scene at settings that differ in generated frames alone.
#[derive(Clone, Debug, Serialize)]
pub struct DelayBlock {
    /// Id of the scene.
    #[serde(skip)]
    pub scene_id: i64,
    /// Id of the setting with the fewest generated frames.
    #[serde(skip)]
    pub setting_id: i64,
    /// Name of the scene.
    pub scene: String,
    /// Name of the setting with the fewest generated frames.
    pub setting: String,
    /// By tuning, then by factor.
    pub rows: Vec<DelayRow>,
    /// The picture of it.
    #[serde(skip)]
    pub chart: Plane,
}

/// A part at one factor.
#[derive(Clone, Debug, Default, Serialize)]
pub struct DelayRow {
    /// The part as it is run.
    pub part: String,
    /// Frames shown for each rendered one.
    pub factor: i64,
    /// Frame rate as shown, fps.
    pub shown: Measured,
    /// Frame rate that was rendered, fps.
    pub rendered: Measured,
    /// Delay from input to the shown frame, ms.
    pub delay: Measured,
    /// What the step from the factor before costs, ms.
    pub step: Measured,
    /// What it costs in all against the smallest factor, ms.
    pub in_all: Measured,
    /// `on the front`, `not shown worse`, `shown worse`; empty without a delay.
    pub place: &'static str,
    /// Passes.
    pub passes: u64,
    /// What a figure of the shown rate would be.
    pub what_shown: String,
    /// What a figure of the delay would be.
    pub what_delay: String,
    /// What a figure of the step's cost would be; empty without one.
    pub what_step: String,
    /// What a figure of the cost in all would be; empty without one.
    pub what_in_all: String,
}

impl DelayRow {
    fn factor_says(&self) -> String {
        if self.factor == 1 { "none".to_owned() } else { format!("{} for 1", self.factor) }
    }

    /// `+5.0 ± 0.4 ms`.
    fn more(of: &Measured) -> String {
        match (of.value, of.interval) {
            (Some(value), Some((low, high))) => {
                let half = (high - low) / 2.0;
                let places = format::places(half, Unit::Ms);
                Unit::Ms.behind(&format!(
                    "{} ± {}",
                    format::signed(value, places),
                    format::fixed(half, places)
                ))
            }
            (Some(value), None) => Unit::Ms.behind(&format::signed(value, 1)),
            _ => format::NOTHING.to_owned(),
        }
    }

    /// `212 shown from 53 rendered, 10 ms more delay than without.`: keeps the three apart.
    pub fn says(&self) -> Option<String> {
        let (shown, rendered) = (self.shown.value?, self.rendered.value?);
        if self.factor == 1 {
            return None;
        }
        let whole = |value| format::fixed(value, 0);
        let said = format!(
            "{}, {} for 1: {} shown from {} rendered",
            self.part,
            self.factor,
            whole(shown),
            whole(rendered)
        );
        Some(match self.in_all.value {
            Some(more) if more < 0.0 => {
                format!(
                    "{said}, {} less delay than with the fewest generated frames.",
                    Unit::Ms.behind(&whole(-more))
                )
            }
            Some(more) => {
                format!(
                    "{said}, {} more delay than with the fewest generated frames.",
                    Unit::Ms.behind(&whole(more))
                )
            }
            None => format!("{said}; what it costs in delay was not measured."),
        })
    }
}

impl Latency {
    fn svg(block: &DelayBlock) -> String {
        block.chart.svg(&Theme::LIGHT)
    }

    fn asked(block: &DelayBlock) -> String {
        let (scene, setting) = (block.scene_id.to_string(), block.setting_id.to_string());
        paths::query(&[("of", "latency"), ("scene", &scene), ("setting", &setting)])
    }
}

impl Page for Latency {
    fn title(&self) -> String {
        "Latency".to_owned()
    }

    fn samples() -> Vec<Self> {
        let measured =
            |value: f64| Measured { value: Some(value), interval: Some((value * 0.98, value * 1.02)) };
        let row = |factor: i64, shown: f64, delay: f64, step: Measured| DelayRow {
            part: "Tarnwick Curlew".into(),
            factor,
            shown: measured(shown),
            rendered: measured(shown / factor as f64),
            delay: measured(delay),
            step,
            in_all: step,
            place: "on the front",
            passes: 3,
            what_shown: r#"{"kind":"cell"}"#.into(),
            what_delay: r#"{"kind":"cell"}"#.into(),
            what_step: r#"{"kind":"step"}"#.into(),
            what_in_all: r#"{"kind":"step"}"#.into(),
        };
        let block = DelayBlock {
            scene_id: 4,
            setting_id: 3,
            scene: "Orchard of Static, market rain".into(),
            setting: "2160p native, ray traced".into(),
            rows: vec![
                row(1, 67.0, 29.0, Measured::default()),
                row(2, 124.0, 34.0, measured(5.0)),
                row(4, 212.0, 28.5, Measured { value: Some(-0.5), interval: None }),
                DelayRow { part: "Ullmere Thole".into(), factor: 3, ..DelayRow::default() },
            ],
            chart: crate::charts::samples::plane(),
        };
        let unlogged =
            DelayRow { delay: Measured::default(), in_all: Measured::default(), ..block.rows[1].clone() };
        let other = DelayBlock {
            rows: vec![unlogged],
            chart: crate::charts::Plane {
                caption: crate::charts::Caption { id: "other".into(), ..block.chart.caption.clone() },
                ..block.chart.clone()
            },
            ..block.clone()
        };
        let page = |frame, blocks| Latency { frame, key: "k3v9".into(), blocks };
        vec![
            page(Frame::sample("Latency"), vec![]),
            page(Frame::sample("Latency"), vec![block.clone(), other]),
            page(Frame::signed_in("Ada Fenn", "guest", "Pieces"), vec![block]),
        ]
    }
}
