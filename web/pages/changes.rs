//! What a change of driver, build or rig base did, in the cells that were measured under both.

use askama::Template;
use serde::Serialize;

use super::{Field, Frame, Page};
use crate::format::{self, NOTHING};

/// The changes of a piece.
#[derive(Template, Serialize)]
#[template(path = "changes.html")]
pub struct Changes {
    #[serde(skip)]
    /// Around the page.
    pub frame: Frame,
    /// The piece's key.
    pub key: String,
    /// Key of the measure.
    pub measure: Field,
    /// What can be chosen.
    #[serde(skip)]
    pub measures: Vec<(String, String)>,
    /// One for each change.
    pub changes: Vec<ChangeBlock>,
}

/// A change.
#[derive(Clone, Debug, Serialize)]
pub struct ChangeBlock {
    /// What changed: 'Driver', 'Build' or 'Rig'.
    pub what: &'static str,
    /// Of which part, scene or rig.
    pub of: String,
    /// Before.
    pub from: String,
    /// After.
    pub to: String,
    /// Cells that were measured under both.
    pub cells: Vec<ChangeRow>,
    /// Over these cells.
    pub overall: Option<ChangeRow>,
}

/// After over before.
#[derive(Clone, Debug, Serialize)]
pub struct ChangeRow {
    /// The cell.
    pub what: String,
    /// After over before.
    pub ratio: f64,
    /// 95% interval.
    pub interval: Option<(f64, f64)>,
    /// p of no change, by Holm over the cells.
    pub p: Option<f64>,
    /// Passes before and after.
    pub passes: (u64, u64),
    /// Verdict in words.
    pub verdict: String,
    /// `up`, `down`, `level` or `open`.
    pub way: &'static str,
    /// What else differs.
    pub marks: Vec<&'static str>,
}

impl ChangeRow {
    fn change(&self) -> String {
        self.interval.map_or_else(
            || format::change(self.ratio),
            |(low, high)| format::change_to(self.ratio, low, high),
        )
    }

    fn interval(&self) -> String {
        self.interval.map_or_else(|| NOTHING.to_owned(), |(low, high)| format::change_interval(low, high))
    }

    fn p(&self) -> String {
        self.p.map_or_else(|| NOTHING.to_owned(), format::p)
    }

    fn passes(&self) -> String {
        format!("{} → {}", format::count(self.passes.0), format::count(self.passes.1))
    }
}

impl Page for Changes {
    fn title(&self) -> String {
        "What a change did".to_owned()
    }

    fn samples() -> Vec<Self> {
        let row = |what: &str, ratio: f64, half: f64, way, verdict: &str| ChangeRow {
            what: what.into(),
            ratio,
            interval: Some((ratio - half, ratio + half)),
            p: Some(0.0004),
            passes: (3, 4),
            verdict: verdict.into(),
            way,
            marks: vec![],
        };
        let block = ChangeBlock {
            what: "Driver",
            of: "Tarnwick Curlew".into(),
            from: "581.0".into(),
            to: "581.2".into(),
            cells: vec![
                row("Tarnwick Curlew: Lamps, bridge, 2160p native", 1.0251, 0.006, "up", "faster"),
                ChangeRow {
                    interval: None,
                    p: None,
                    marks: vec!["crosses builds of the game"],
                    ..row(
                        "Tarnwick Curlew: Tin Quarry, haul, 2160p native",
                        1.001,
                        0.004,
                        "open",
                        "no verdict",
                    )
                },
            ],
            overall: Some(row("", 1.0062, 0.002, "level", "level (0.6% faster)")),
        };
        let page = |frame, changes| Changes {
            frame,
            key: "k3v9".into(),
            measure: Field::of("average_fps"),
            measures: vec![("average_fps".into(), "average frame rate".into())],
            changes,
        };
        vec![
            page(Frame::sample("Against"), vec![block.clone(), ChangeBlock { overall: None, ..block }]),
            page(Frame::signed_in("Ada Fenn", "guest", "Pieces"), vec![]),
        ]
    }
}
