//! The form for a reading, or for what stands around the repeats of one.

use askama::Template;
use serde::Serialize;

use super::{Field, Frame, Page};
use crate::paths;

/// The form.
#[derive(Template, Serialize)]
#[template(path = "reading_new.html")]
pub struct ReadingNew {
    /// Around the page.
    #[serde(skip)]
    pub frame: Frame,
    /// Key of the piece.
    pub piece: String,
    /// The reading that is changed: its key and the version that was read.
    #[serde(skip)]
    pub changes: Option<(String, i64)>,
    /// Kinds: id and name with unit.
    pub kinds: Vec<(String, String)>,
    /// Parts as they are run: id and name.
    pub tunings: Vec<(String, String)>,
    /// Units: id and 'part, unit'.
    pub units: Vec<(String, String)>,
    /// Drivers: id and 'part, driver'.
    pub drivers: Vec<(String, String)>,
    /// Rigs: id and name.
    pub rigs: Vec<(String, String)>,
    /// What stands in the fields, by name.
    #[serde(skip)]
    pub fields: Vec<(&'static str, Field)>,
}

impl ReadingNew {
    pub(super) fn field(&self, name: &str) -> Field {
        self.fields.iter().find(|(of, _)| *of == name).map_or_else(Field::default, |(_, field)| field.clone())
    }

    fn action(&self) -> String {
        match &self.changes {
            Some((key, _)) => paths::reading_around(&self.piece, key),
            None => paths::readings(&self.piece),
        }
    }

    fn back(&self) -> String {
        match &self.changes {
            Some((key, _)) => paths::reading(&self.piece, key),
            None => paths::readings(&self.piece),
        }
    }
}

impl Page for ReadingNew {
    fn title(&self) -> String {
        if self.changes.is_some() { "What stands around a reading" } else { "New reading" }.to_owned()
    }

    fn samples() -> Vec<Self> {
        let one = |id: &str, name: &str| vec![(id.to_owned(), name.to_owned())];
        let page = |changes: Option<(String, i64)>, fields| ReadingNew {
            frame: Frame::sample("Readings"),
            piece: "k3v9".to_owned(),
            changes,
            kinds: one("1", "noise at 50 cm, dB(A)"),
            tunings: one("1", "Tarnwick Curlew"),
            units: one("1", "Tarnwick Curlew, A"),
            drivers: one("1", "Tarnwick Curlew, 31.2"),
            rigs: one("1", "birch"),
            fields,
        };
        let wrong = Field::wrong("41,2 loud", "Repeat 2, 'loud', is not a number.");
        vec![
            page(None, Vec::new()),
            page(None, vec![("repeats", wrong)]),
            page(Some(("r1".to_owned(), 2)), vec![("kind", Field::of("1"))]),
        ]
    }
}
