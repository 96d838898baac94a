//! What a late change leaves to do: passes and readings to run again, figures to agree anew.

use askama::Template;
use serde::Serialize;

use super::figures::ticked;
use super::{FigureLine, Frame, Page};
use crate::format;
use crate::marks::Standing;

/// The page.
#[derive(Template, Serialize)]
#[template(path = "outdated.html")]
pub struct Outdated {
    /// Around the page.
    #[serde(skip)]
    pub frame: Frame,
    /// Key of the piece.
    pub piece: String,
    /// What is older than the present, change by change.
    pub older: Vec<OlderGroup>,
    /// Figures that lapsed.
    pub lapsed: Vec<FigureLine>,
    /// What is wrong with what was sent; empty: nothing is.
    #[serde(skip)]
    pub refused: String,
}

/// What one change left behind.
#[derive(Clone, Debug, Serialize)]
pub struct OlderGroup {
    /// What changed: 'Driver', 'Build' or 'Rig'.
    pub what: &'static str,
    /// Of which part, scene or rig.
    pub of: String,
    /// What it was.
    pub from: String,
    /// What holds now.
    pub to: String,
    /// Cells with their passes.
    pub cells: Vec<OlderCell>,
    /// Readings: key and name.
    pub readings: Vec<(String, String)>,
    /// Why they are run again, for the form.
    #[serde(skip)]
    pub reason: String,
}

/// A cell with passes that are out of date.
#[derive(Clone, Debug, Serialize)]
pub struct OlderCell {
    /// The cell in words.
    pub name: String,
    /// The passes.
    pub passes: Vec<OlderPass>,
}

/// A pass that is out of date.
#[derive(Clone, Debug, Serialize)]
pub struct OlderPass {
    /// Its key.
    pub key: String,
    /// Its number in the cell.
    pub number: i64,
    /// Its rig.
    pub rig: String,
    /// Version of its ruling, for stale forms.
    pub version: i64,
}

impl OlderPass {
    fn tick(&self) -> String {
        format!("{}.{}", self.key, self.version)
    }
}

impl OlderGroup {
    fn passes(&self) -> u64 {
        self.cells.iter().map(|cell| u64::try_from(cell.passes.len()).unwrap_or(u64::MAX)).sum()
    }

    fn caption(&self) -> String {
        match self.what {
            "Driver" => format!("Driver {}; the piece declares {}", self.from, self.to),
            "Build" => format!("Build {}; other passes of the scene ran on {}", self.from, self.to),
            _ => format!("Rig: {}; in other passes of these scenes {}", self.from, self.to),
        }
    }

    fn button(&self) -> String {
        format!("Run {} again", format::plural(self.passes(), "pass", "passes"))
    }
}

impl Outdated {
    /// The ledger with the lapsed ones ticked.
    fn agree(&self) -> String {
        ticked(&self.piece, "lapsed")
    }
}

impl Page for Outdated {
    fn title(&self) -> String {
        "Out of date".to_owned()
    }

    fn samples() -> Vec<Self> {
        let pass =
            |number: i64| OlderPass { key: format!("p{number}"), number, rig: "alder".into(), version: 3 };
        let cell = |name: &str, numbers: &[i64]| OlderCell {
            name: name.into(),
            passes: numbers.iter().map(|n| pass(*n)).collect(),
        };
        let group = OlderGroup {
            what: "Driver",
            of: "Tarnwick Curlew".into(),
            from: "612.18".into(),
            to: "615.02".into(),
            cells: vec![cell("Tarnwick Curlew, stock: Vellum Rally, hairpin, 2160p native", &[1, 2, 3])],
            readings: vec![("r1".into(), "Noise at 50 cm, Tarnwick Curlew, 27 Nov 2026".into())],
            reason: "driver 612.18 in place of 615.02".into(),
        };
        let build = OlderGroup {
            what: "Build",
            of: "Lamps, bridge".into(),
            from: "1.2".into(),
            to: "1.3".into(),
            cells: vec![cell("Ostrel Merrow, stock: Lamps, bridge, 2160p native", &[2])],
            readings: vec![],
            reason: "build 1.2 in place of 1.3".into(),
        };
        let rig = OlderGroup {
            what: "Rig",
            of: "birch".into(),
            from: "memory 32 GB".into(),
            to: "memory 64 GB".into(),
            cells: vec![],
            readings: vec![],
            ..build.clone()
        };
        let lapsed = FigureLine::samples().into_iter().filter(|line| line.standing == Standing::Lapsed);
        let page = |older, lapsed, refused: &str| Outdated {
            frame: Frame::sample("Plan"),
            piece: "k3v9".into(),
            older,
            lapsed,
            refused: refused.into(),
        };
        vec![
            page(vec![group, build, rig], lapsed.collect(), "Tick the passes that are to be run again."),
            page(vec![], vec![], ""),
        ]
    }
}
