//! The pattern page: each part of the pages in each of its states, to look at and to test.

use askama::Template;
use serde::Serialize;

use super::{Field, Flash, Frame, Page, Undo};
use crate::charts;
use crate::marks::{Mark, Standing};

/// Each part in each state.
#[derive(Template, Serialize)]
#[template(path = "pattern.html")]
pub struct Pattern {
    #[serde(skip)]
    /// Around the page.
    pub frame: Frame,
    /// A field as it comes.
    #[serde(skip)]
    pub plain: Field,
    /// A refused field.
    #[serde(skip)]
    pub wrong: Field,
    /// Sample charts as inline SVG.
    #[serde(skip)]
    pub charts: Vec<String>,
}

impl Pattern {
    /// The page with a frame around it.
    pub fn new(frame: Frame) -> Self {
        Pattern {
            frame,
            plain: Field::of("birch"),
            wrong: Field::wrong("", "Give the rig a name of 1 to 80 letters."),
            charts: charts::samples::inline(),
        }
    }
}

impl Page for Pattern {
    fn title(&self) -> String {
        "Patterns".to_owned()
    }

    fn samples() -> Vec<Self> {
        let frame = Frame {
            warnings: vec!["This page came over plain http: others on this network can read it.".into()],
            flash: Some(Flash {
                says: "Pass 3 of Vellum Rally, hairpin, is set aside: updater at 21 s.".into(),
                undo: Some(Undo {
                    action: crate::paths::pass_ruling("p7x2"),
                    fields: vec![("verdict".into(), "open".into())],
                }),
            }),
            ..Frame::sample("Review")
        };
        vec![Pattern::new(frame)]
    }
}
