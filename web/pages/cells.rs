//! The cells that a piece selects: a grid to add, and the selected ones to take out.

use askama::Template;
use serde::Serialize;

use super::{Frame, Page};

/// The cells of a piece.
#[derive(Template, Serialize)]
#[template(path = "cells.html")]
pub struct Cells {
    #[serde(skip)]
    /// Around the page.
    pub frame: Frame,
    /// The piece's key.
    pub key: String,
    /// Parts with their tunings.
    pub parts: Vec<PartTunings>,
    /// Scenes.
    pub scenes: Vec<Choice>,
    /// Settings.
    pub settings: Vec<Choice>,
    /// Headings of the selected cells: part, tuning.
    pub columns: Vec<(String, String)>,
    /// The selected cells, a scene at a setting in each row.
    pub rows: Vec<CellRow>,
    /// What is wrong with the sent grid; empty when nothing is.
    #[serde(skip)]
    pub refused: String,
    /// Warning before cells with passes go; empty when there is none.
    #[serde(skip)]
    pub warned: String,
}

/// A part and how it is run.
#[derive(Clone, Debug, Serialize)]
pub struct PartTunings {
    /// The part's name.
    pub part: String,
    /// Its tunings.
    pub tunings: Vec<Choice>,
}

/// Something to tick.
#[derive(Clone, Debug, Serialize)]
pub struct Choice {
    /// Id.
    pub id: i64,
    /// Name.
    pub name: String,
    /// Whether it is ticked.
    pub on: bool,
}

/// The cells of a scene at a setting.
#[derive(Clone, Debug, Serialize)]
pub struct CellRow {
    /// Game and passage.
    pub scene: String,
    /// Setting.
    pub setting: String,
    /// One for each column; none where the piece has no such cell.
    pub cells: Vec<Option<Selected>>,
}

/// A selected cell.
#[derive(Clone, Debug, Serialize)]
pub struct Selected {
    /// Id.
    pub id: i64,
    /// Its passes, ruled out ones too.
    pub passes: u64,
    /// In words.
    pub label: String,
    /// Whether it is ticked to go.
    #[serde(skip)]
    pub on: bool,
}

impl Cells {
    fn none_to_choose(&self) -> bool {
        self.parts.is_empty() || self.scenes.is_empty() || self.settings.is_empty()
    }
}

impl Page for Cells {
    fn title(&self) -> String {
        "Cells".to_owned()
    }

    fn samples() -> Vec<Self> {
        let choice = |id, name: &str, on| Choice { id, name: name.to_owned(), on };
        let cell =
            |id, passes| Some(Selected { id, passes, label: format!("cell {id} in words"), on: passes > 0 });
        let full = |frame: Frame, warned: &str| Cells {
            frame,
            key: "k3v9".into(),
            parts: vec![PartTunings {
                part: "Tarnwick Curlew".into(),
                tunings: vec![choice(1, "stock", true), choice(2, "380 W", false)],
            }],
            scenes: vec![choice(1, "Vellum Rally, hairpin", true), choice(2, "Tin Comet, corridor", false)],
            settings: vec![choice(1, "2160p native", true)],
            columns: vec![
                ("Tarnwick Curlew".into(), "stock".into()),
                ("Tarnwick Curlew".into(), "380 W".into()),
            ],
            rows: vec![CellRow {
                scene: "Vellum Rally, hairpin".into(),
                setting: "2160p native".into(),
                cells: vec![cell(1, 3), None],
            }],
            refused: if warned.is_empty() { String::new() } else { "Tick at least one scene.".to_owned() },
            warned: warned.to_owned(),
        };
        let empty = Cells {
            parts: vec![],
            scenes: vec![],
            settings: vec![],
            columns: vec![],
            rows: vec![],
            ..full(Frame::sample(""), "")
        };
        let guest =
            Frame { person: Frame::signed_in("Ada Fenn", "guest", "Pieces").person, ..Frame::sample("") };
        vec![
            empty,
            full(Frame::sample(""), ""),
            full(guest, ""),
            full(Frame::sample(""), "3 cells have 9 passes."),
        ]
    }
}
