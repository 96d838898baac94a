//! How the rigs of a piece agree, or the units of its parts: which reads high, and how far they scatter beyond their
//! passes.

use askama::Template;
use serde::Serialize;

use super::{Field, Frame, Page};
use crate::format::{self, NOTHING, Unit};

/// The page.
#[derive(Template, Serialize)]
#[template(path = "rig_check.html")]
pub struct RigCheck {
    /// Around the page.
    #[serde(skip)]
    pub frame: Frame,
    /// Key of the piece.
    #[serde(skip)]
    pub key: String,
    /// Whether units of a part are held against each other, within one rig: they stand where rigs do.
    pub units: bool,
    /// Key of the measure.
    pub measure: Field,
    /// Measures to choose from: key and name.
    #[serde(skip)]
    pub measures: Vec<(String, String)>,
    /// Unit of the measure.
    pub unit: Unit,
    /// How each rig reads.
    pub readings: Vec<RigReading>,
    /// Spreads over all cells that ran in several rigs.
    pub agreement: Option<RigSpreads>,
    /// Those cells.
    pub cells: Vec<RigCellLine>,
}

/// How a rig reads against the others.
#[derive(Clone, Debug, Serialize)]
pub struct RigReading {
    /// Name of the rig.
    pub rig: String,
    /// Its value over the other rigs'.
    pub ratio: f64,
    /// 95% interval of it.
    pub interval: Option<(f64, f64)>,
    /// Cells that it shares.
    pub cells: u64,
    /// Its passes in them.
    pub passes: u64,
}

/// Standard deviations as shares of 1.
#[derive(Clone, Copy, Debug, Serialize)]
pub struct RigSpreads {
    /// Cells that it rests on.
    pub cells: u64,
    /// Rigs in them.
    pub rigs: u64,
    /// s_r: once more in the same rig.
    pub repeatability: f64,
    /// s_L: from rig to rig.
    pub between: f64,
    /// s_R: in another rig.
    pub reproducibility: f64,
}

/// A cell that ran in several rigs.
#[derive(Clone, Debug, Serialize)]
pub struct RigCellLine {
    /// Part as it is run.
    pub part: String,
    /// Scene and setting.
    pub scene: String,
    /// Its rigs.
    pub rigs: Vec<InRigLine>,
    /// The rig that stands out, in words; empty where none does.
    pub odd: String,
}

/// A cell in one rig.
#[derive(Clone, Debug, Serialize)]
pub struct InRigLine {
    /// Name of the rig.
    pub rig: String,
    /// Value there.
    pub value: f64,
    /// Passes there.
    pub passes: u64,
    /// Mandel's h.
    pub h: f64,
    /// Mandel's k.
    pub k: Option<f64>,
}

impl RigCheck {
    fn one(&self) -> &'static str {
        if self.units { "unit" } else { "rig" }
    }

    fn several(&self) -> &'static str {
        if self.units { "units" } else { "rigs" }
    }

    fn choices() -> Vec<(String, String)> {
        [("rigs", "rigs"), ("units", "units of a part")].map(|(k, n)| (k.to_owned(), n.to_owned())).to_vec()
    }
}

impl RigReading {
    fn change(&self) -> String {
        self.interval.map_or_else(
            || format::change(self.ratio),
            |(low, high)| format::change_to(self.ratio, low, high),
        )
    }

    fn interval(&self) -> String {
        self.interval.map_or_else(|| NOTHING.to_owned(), |(low, high)| format::change_interval(low, high))
    }

    /// What may be said of it.
    fn says(&self) -> &'static str {
        match self.interval {
            Some((low, _)) if low > 1.0 => "reads high",
            Some((_, high)) if high < 1.0 => "reads low",
            Some(_) => "no difference shown",
            None => "one pass each: no interval",
        }
    }
}

impl RigSpreads {
    fn percent(share: &f64) -> String {
        Unit::Percent.behind(&format::fixed(share * 100.0, 2))
    }

    fn rests_on(&self, units: &bool) -> String {
        let cells = format::plural(self.cells, "cell", "cells");
        let (one, several) = if *units { ("unit", "units") } else { ("rig", "rigs") };
        format!("Over {cells} that {} ran.", format::plural(self.rigs, one, several))
    }
}

impl InRigLine {
    fn value(&self, unit: &Unit) -> String {
        format::value(self.value, *unit)
    }

    fn h(&self) -> String {
        format::signed(self.h, 2)
    }

    fn k(&self) -> String {
        self.k.map_or_else(|| NOTHING.to_owned(), |k| format::fixed(k, 2))
    }
}

impl Page for RigCheck {
    fn title(&self) -> String {
        format!("How the {} agree", self.several())
    }

    fn samples() -> Vec<Self> {
        let page = |frame, readings: Vec<RigReading>, cells: Vec<RigCellLine>| RigCheck {
            frame,
            key: "k3v9".into(),
            units: cells.len() == 1,
            measure: Field::of("average_fps"),
            measures: vec![("average_fps".into(), "average frame rate".into())],
            unit: Unit::Fps,
            agreement: (!readings.is_empty()).then_some(RigSpreads {
                cells: 12,
                rigs: 2,
                repeatability: 0.0031,
                between: 0.0069,
                reproducibility: 0.0076,
            }),
            readings,
            cells,
        };
        let reading = |rig: &str, ratio: f64, interval| RigReading {
            rig: rig.into(),
            ratio,
            interval,
            cells: 12,
            passes: 36,
        };
        let in_rig = |rig: &str, value, h, k| InRigLine { rig: rig.into(), value, passes: 3, h, k };
        let cell = RigCellLine {
            part: "Tarnwick Curlew".into(),
            scene: "Vellum Rally, hairpin, 2160p native".into(),
            rigs: vec![in_rig("alder", 148.2, 0.71, Some(1.12)), in_rig("birch", 146.7, -0.71, None)],
            odd: String::new(),
        };
        let units = RigCellLine {
            scene: "Vellum Rally, hairpin, 2160p native, in alder".into(),
            rigs: vec![in_rig("Tarnwick Curlew, unit A", 148.2, 0.71, Some(1.12))],
            ..cell.clone()
        };
        let odd = RigCellLine { odd: "birch scatters more than the others (outlier)".into(), ..cell.clone() };
        vec![
            page(
                Frame::sample("Against"),
                vec![
                    reading("alder", 1.0101, Some((1.008, 1.0122))),
                    reading("birch", 0.99, Some((0.9879, 0.9921))),
                    reading("cedar", 1.001, Some((0.9979, 1.0041))),
                    reading("dogwood", 1.001, None),
                ],
                vec![cell, odd],
            ),
            page(Frame::signed_in("Ada Fenn", "guest", "Pieces"), vec![], vec![]),
            page(
                Frame::sample("Against"),
                vec![reading("Tarnwick Curlew, unit A", 1.0021, Some((0.9991, 1.0051)))],
                vec![units],
            ),
        ]
    }
}
