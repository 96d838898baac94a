//! Quoted numbers of a piece: what is printed though nobody measured it, each with its source.

use askama::Template;
use jiff::Timestamp;
use serde::Serialize;

use super::{Field, Frame, Page};
use crate::format;
use crate::paths;

/// The list, and a form that adds or changes one.
#[derive(Template, Serialize)]
#[template(path = "quotes.html")]
pub struct Quotes {
    /// Around the page.
    #[serde(skip)]
    pub frame: Frame,
    /// Key of the piece.
    pub key: String,
    /// In the order in which they were added.
    pub quotes: Vec<QuoteLine>,
    /// The one that is changed: its id and the version that was read.
    #[serde(skip)]
    pub changes: Option<(i64, i64)>,
    /// What it is called.
    #[serde(skip)]
    pub name: Field,
    /// Of which part.
    #[serde(skip)]
    pub part: Field,
    /// Parts: id and name.
    #[serde(skip)]
    pub parts: Vec<(String, String)>,
    /// The number.
    #[serde(skip)]
    pub value: Field,
    /// Its unit.
    #[serde(skip)]
    pub unit: Field,
    /// Units.
    #[serde(skip)]
    pub units: Vec<(String, String)>,
    /// Where it stands.
    #[serde(skip)]
    pub source: Field,
    /// Its address.
    #[serde(skip)]
    pub link: Field,
    /// When it was read.
    #[serde(skip)]
    pub dated: Field,
    /// Which one its change is told against.
    #[serde(skip)]
    pub over: Field,
    /// Others: id and name.
    #[serde(skip)]
    pub others: Vec<(String, String)>,
}

/// A quoted number.
#[derive(Clone, Debug, Serialize)]
pub struct QuoteLine {
    /// Row id.
    pub id: i64,
    /// For forms.
    pub version: i64,
    /// What it is called.
    pub name: String,
    /// Of which part; may be empty.
    pub part: String,
    /// The number with its unit.
    pub shown: String,
    /// Its change over another one.
    pub change: Option<String>,
    /// That other one; empty: none.
    pub over: String,
    /// Where it stands.
    pub source: String,
    /// Its address; may be empty.
    pub link: String,
    /// When it was read.
    pub dated: Timestamp,
}

impl QuoteLine {
    fn day(&self) -> String {
        format::day(self.dated, "UTC")
    }
}

impl Quotes {
    fn action(&self) -> String {
        self.changes.map_or_else(|| paths::quotes(&self.key), |(id, _)| paths::quote(id))
    }
}

impl Page for Quotes {
    fn title(&self) -> String {
        "Quoted numbers".to_owned()
    }

    fn samples() -> Vec<Self> {
        let line = |id: i64, name: &str, shown: &str, over: &str| QuoteLine {
            id,
            version: 1,
            name: name.to_owned(),
            part: "Tarnwick Curlew".to_owned(),
            shown: shown.to_owned(),
            change: (!over.is_empty()).then(|| "+33.3%".to_owned()),
            over: over.to_owned(),
            source: "the maker's data sheet".to_owned(),
            link: if id == 1 { "https://tarnwick.example/curlew".to_owned() } else { String::new() },
            dated: Timestamp::UNIX_EPOCH,
        };
        let options = |of: &[(&str, &str)]| -> Vec<(String, String)> {
            of.iter().map(|(id, name)| ((*id).to_owned(), (*name).to_owned())).collect()
        };
        let page = |quotes| Quotes {
            frame: Frame::sample("Pieces").in_piece(
                "k",
                "Is the Curlew worth it?",
                "30 h left".into(),
                "Figures",
                3,
            ),
            key: "k".to_owned(),
            quotes,
            changes: None,
            name: Field::default(),
            part: Field::default(),
            parts: options(&[("1", "Tarnwick Curlew")]),
            value: Field::default(),
            unit: Field::default(),
            units: options(&[("W", "W"), ("GB", "GB")]),
            source: Field::default(),
            link: Field::default(),
            dated: Field::of("2026-11-26"),
            over: Field::default(),
            others: options(&[("1", "memory of the Dunlin")]),
        };
        let two = vec![
            line(1, "memory of the Dunlin", "24 GB", ""),
            line(2, "memory", "32 GB", "memory of the Dunlin"),
        ];
        vec![
            page(Vec::new()),
            page(two.clone()),
            Quotes {
                changes: Some((2, 1)),
                name: Field::of("memory"),
                source: Field::wrong(String::new(), "Say where it stands.".to_owned()),
                ..page(two)
            },
        ]
    }
}
