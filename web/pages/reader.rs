//! A kind of reader: the form that adds or changes one.

use askama::Template;
use serde::Serialize;

use super::{Field, Frame, Page};
use crate::paths;

/// The form.
#[derive(Template, Serialize)]
#[template(path = "reader.html")]
pub struct Reader {
    /// Around the page.
    #[serde(skip)]
    pub frame: Frame,
    /// Key of the piece.
    #[serde(skip)]
    pub key: String,
    /// The reader that it changes, with the version that was read; `None`: it adds one.
    pub changes: Option<(i64, i64)>,
    /// Name.
    pub name: Field,
    /// Id of the part they own; empty: they buy new.
    pub owned: Field,
    /// Ids and names of parts.
    #[serde(skip)]
    pub parts: Vec<(String, String)>,
    /// `average` or `low`.
    pub judges_by: Field,
    /// What the piece's low is called.
    #[serde(skip)]
    pub low: String,
    /// The lead that they ask for, per cent.
    pub asks: Field,
    /// Refresh rate, Hz.
    pub refresh_hz: Field,
    /// Hours a week.
    pub hours_a_week: Field,
    /// Price of a kilowatt-hour.
    pub kwh_price: Field,
    /// Its currency.
    pub kwh_currency: Field,
    /// Weights of scenes.
    pub scenes: Vec<Weight>,
    /// Weights of settings.
    pub settings: Vec<Weight>,
    /// What is wrong with the weights; empty: nothing.
    #[serde(skip)]
    pub wrong_plays: String,
}

/// A weight.
#[derive(Clone, Debug, Serialize)]
pub struct Weight {
    /// Name of its field.
    pub name: String,
    /// Of what.
    pub of: String,
    /// As typed; empty: none.
    pub value: String,
}

impl Reader {
    fn action(&self) -> String {
        self.changes.map_or_else(|| paths::readers(&self.key), |(id, _)| paths::reader(id))
    }

    /// Where and with which version the reader is taken out; `None`: may not be.
    fn taken_out(&self) -> Option<(String, i64)> {
        let (id, version) = self.changes.filter(|_| self.frame.may_edit())?;
        Some((paths::reader_out(id), version))
    }

    fn owners(&self) -> Vec<(String, String)> {
        let new = (String::new(), "none, they buy new".to_owned());
        [new].into_iter().chain(self.parts.iter().cloned()).collect()
    }

    fn judging(&self) -> [(String, String); 2] {
        [("average".to_owned(), "average frame rate".to_owned()), ("low".to_owned(), self.low.clone())]
    }
}

impl Page for Reader {
    fn title(&self) -> String {
        if self.changes.is_some() { self.name.value.clone() } else { "Add a reader".to_owned() }
    }

    fn samples() -> Vec<Self> {
        let weight = |name: &str, of: &str, value: &str| Weight {
            name: name.into(),
            of: of.into(),
            value: value.into(),
        };
        let page = |frame, changes, wrong: &str| Reader {
            frame,
            key: "k3v9".into(),
            changes,
            name: Field::of("plays Orchard of Static daily"),
            owned: Field::of(""),
            parts: vec![("1".into(), "Tarnwick Dunlin".into())],
            judges_by: Field::of("low"),
            low: "1% low".into(),
            asks: if wrong.is_empty() { Field::of("25") } else { Field::wrong("", "The lead is missing.") },
            refresh_hz: Field::of("120"),
            hours_a_week: Field::of("20"),
            kwh_price: Field::of("0.35"),
            kwh_currency: Field::of("EUR"),
            scenes: vec![
                weight("scene_1", "Vellum Rally, hairpin", ""),
                weight("scene_4", "Orchard of Static, market rain", "7"),
            ],
            settings: vec![weight("setting_1", "2160p native", "1")],
            wrong_plays: wrong.into(),
        };
        let guest = Frame::signed_in("Ada Fenn", "guest", "Pieces");
        vec![
            page(Frame::sample("Worth"), None, "Give a weight to one scene at least."),
            page(Frame::sample("Worth"), Some((3, 2)), ""),
            page(guest, Some((3, 2)), ""),
        ]
    }
}
