//! A soak: what a sensor log without frames shows of heat; and the form that says that a log is one.

use askama::Template;
use jiff::Timestamp;
use serde::Serialize;

use super::{Field, Frame, Page, ReadingNew};
use crate::format;

/// One soak.
#[derive(Template, Serialize)]
#[template(path = "soak.html")]
pub struct Soak {
    /// Around the page.
    #[serde(skip)]
    pub frame: Frame,
    /// Key of the piece.
    pub piece: String,
    /// IANA name of the piece's zone.
    pub zone: String,
    /// As in the list.
    #[serde(flatten)]
    pub line: SoakLine,
    /// File name of its log.
    pub file: String,
    /// Temperature, power, clock and load over time: SVG.
    #[serde(skip)]
    pub chart: String,
    /// What is told of it, a sentence each.
    pub told: Vec<String>,
    /// What stands around it: label and text.
    pub around: Vec<(String, String)>,
    /// Passes of the part in the rig within half a day of it: key and name.
    pub passes: Vec<(String, String)>,
    /// Address of the form that keeps the steady temperature as a reading; empty where it holds none.
    #[serde(skip)]
    pub as_reading: String,
    /// For taking it back.
    pub version: i64,
}

/// A soak in a list.
#[derive(Clone, Debug, Serialize)]
pub struct SoakLine {
    /// Key in addresses.
    pub key: String,
    /// The part as it was run.
    pub subject: String,
    /// Rig and how it stands.
    pub place: String,
    /// When it began; none where the log has no wall clock.
    pub began: Option<Timestamp>,
    /// Temperature that it holds; an en dash where it holds none.
    pub steady: String,
    /// From when on it is within a kelvin of that, in words: '6 min 20 s', 'not yet'.
    pub from: String,
    /// What else: throttling, gaps.
    pub notices: Vec<String>,
}

/// The form that says that a log is a soak.
#[derive(Template, Serialize)]
#[template(path = "soak_new.html")]
pub struct SoakNew {
    /// Around the page.
    #[serde(skip)]
    pub frame: Frame,
    /// Of which part, in which rig: the same choices as of a reading.
    #[serde(flatten)]
    pub run: ReadingNew,
    /// Row id of the log.
    pub log: i64,
    /// Its file name.
    pub file: String,
    /// Why it can be none; empty where it can.
    pub cannot: String,
}

impl Soak {
    fn began(&self) -> String {
        self.line.began.map_or_else(|| "not said".to_owned(), |at| format::moment(at, &self.zone))
    }
}

impl SoakLine {
    pub(super) fn sample(began: Option<Timestamp>) -> Self {
        SoakLine {
            key: "s1".to_owned(),
            subject: "Tarnwick Curlew".to_owned(),
            place: "birch, in a case".to_owned(),
            began,
            steady: "83.4 °C".to_owned(),
            from: "6 min 20 s".to_owned(),
            notices: vec!["throttles from 9 min 0 s: clock 7.8% lower".to_owned()],
        }
    }
}

impl Page for Soak {
    fn title(&self) -> String {
        format!("Soak: {}", self.line.subject)
    }

    fn samples() -> Vec<Self> {
        let page = |frame: Frame, line: SoakLine, as_reading: &str| Soak {
            frame,
            piece: "k3v9".to_owned(),
            zone: "Europe/Berlin".to_owned(),
            line,
            file: "curlew_birch_soak.csv".to_owned(),
            chart: crate::charts::samples::inline().into_iter().nth(2).unwrap_or_default(),
            told: vec!["It holds 83.4 °C from 6 min 20 s on.".to_owned()],
            around: vec![("Where".to_owned(), "birch, in a case".to_owned())],
            passes: vec![("p1".to_owned(), "Vellum Rally (hairpin), pass 2".to_owned())],
            as_reading: as_reading.to_owned(),
            version: 1,
        };
        let line = SoakLine::sample;
        let bare = SoakLine { notices: Vec::new(), ..line(None) };
        vec![
            page(Frame::sample("Readings"), line(Some(Timestamp::UNIX_EPOCH)), "?kind=1"),
            Soak { passes: Vec::new(), ..page(Frame::signed_in("Ada Fenn", "guest", "Pieces"), bare, "") },
        ]
    }
}

impl Page for SoakNew {
    fn title(&self) -> String {
        "A log that is a soak".to_owned()
    }

    fn samples() -> Vec<Self> {
        let wrong = vec![("tuning", Field::wrong("", "Choose the part."))];
        let runs = ReadingNew::samples().into_iter();
        let page = |run| SoakNew {
            frame: Frame::sample("Readings"),
            run,
            log: 7,
            file: "curlew_birch_soak.csv".to_owned(),
            cannot: String::new(),
        };
        let mut all: Vec<SoakNew> = runs.take(2).map(page).collect();
        if let Some(first) = all.first_mut() {
            "It has no column of temperatures.".clone_into(&mut first.cannot);
        }
        let one = ReadingNew::samples().into_iter().take(1);
        all.extend(one.map(|run| page(ReadingNew { fields: wrong.clone(), ..run })));
        all
    }
}
