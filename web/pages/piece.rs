//! A piece's own choices: what is wanted of it, how its low is computed, what must match.

use askama::Template;
use serde::Serialize;

use super::{Field, Frame, Page};

/// The form of a piece's choices.
#[derive(Template, Serialize)]
#[template(path = "piece.html")]
pub struct Piece {
    #[serde(skip)]
    /// Around the page.
    pub frame: Frame,
    /// Stable key.
    pub key: String,
    /// What it compares: `card`, `processor` or `device`.
    pub kind: String,
    /// For stale forms.
    pub version: i64,
    /// Name.
    pub name: Field,
    /// Local date and time; may be empty.
    pub deadline: Field,
    /// IANA name of the deadline's zone.
    pub zone: Field,
    /// Passes wanted for each cell.
    pub wanted: Field,
    /// `quantile`, `tail mean` or `time share`.
    pub low: Field,
    /// Tail share of the low, tenths of a per cent.
    pub tail: Field,
    /// Margin, per cent.
    pub margin: Field,
    /// Margin of scenes played by hand, per cent.
    pub hand_margin: Field,
    /// Precision target, per cent.
    pub precision: Field,
    /// Id of the part that others are compared with, or empty.
    pub baseline: Field,
    /// One person does it all.
    pub alone: bool,
    /// How many people beside the proposer agree to a figure.
    pub agreements: Field,
    /// Parts that can be the baseline: id and name.
    pub parts: Vec<(String, String)>,
    /// Declared driver of each part of its cells.
    pub drivers: Vec<Drivers>,
}

/// The drivers of a part and the declared one.
#[derive(Clone, Debug, Serialize)]
pub struct Drivers {
    /// The part's id.
    pub part_id: i64,
    /// The part's name.
    pub part: String,
    /// Id of the declared driver, or empty.
    pub declared: Field,
    /// Its drivers: id and name.
    pub drivers: Vec<(String, String)>,
}

impl Drivers {
    fn id(&self) -> String {
        format!("driver_{}", self.part_id)
    }
}

impl Piece {
    fn baselines(&self) -> Vec<(String, String)> {
        let none = (String::new(), "none yet".to_owned());
        std::iter::once(none).chain(self.parts.iter().cloned()).collect()
    }

    fn drivers_of(part: &Drivers) -> Vec<(String, String)> {
        let none = (String::new(), "none declared".to_owned());
        std::iter::once(none).chain(part.drivers.iter().cloned()).collect()
    }

    /// The definitions of a low, spelled out for this tail.
    fn lows(&self) -> [(&'static str, &'static str); 3] {
        if self.tail.is("1") {
            [
                ("quantile", "quantile: 99.9% of frames are faster than this rate"),
                ("tail mean", "tail mean: rate over the slowest 0.1% of frames"),
                ("time share", "time share: slower frames take 0.1% of the time"),
            ]
        } else {
            [
                ("quantile", "quantile: 99% of frames are faster than this rate"),
                ("tail mean", "tail mean: rate over the slowest 1% of frames"),
                ("time share", "time share: slower frames take 1% of the time"),
            ]
        }
    }
}

impl Page for Piece {
    fn title(&self) -> String {
        "Choices".to_owned()
    }

    fn samples() -> Vec<Self> {
        let page = |frame: Frame, alone| Piece {
            frame,
            key: "k3v9".into(),
            kind: "card".into(),
            version: 4,
            name: Field::of("Is the Curlew worth it?"),
            deadline: Field::of("2026-11-27T18:00"),
            zone: Field::of("Europe/Berlin"),
            wanted: Field::of("3"),
            low: Field::of("tail mean"),
            tail: Field::of(if alone { "1" } else { "10" }),
            margin: Field::of("2"),
            hand_margin: Field::of("3"),
            precision: Field::of("1"),
            baseline: Field::of("1"),
            alone,
            agreements: Field::of("1"),
            parts: vec![("1".into(), "Tarnwick Dunlin".into()), ("2".into(), "Tarnwick Curlew".into())],
            drivers: vec![Drivers {
                part_id: 1,
                part: "Tarnwick Dunlin".into(),
                declared: Field::of("7"),
                drivers: vec![("7".into(), "31.2".into()), ("8".into(), "31.4".into())],
            }],
        };
        let guest =
            Frame { person: Frame::signed_in("Ada Fenn", "guest", "Pieces").person, ..Frame::sample("") };
        let refused = Piece {
            wanted: Field::wrong("many", "Write a whole number of passes from 1 to 50."),
            drivers: vec![],
            ..page(Frame::sample(""), true)
        };
        vec![page(Frame::sample(""), false), page(guest, true), refused]
    }
}
