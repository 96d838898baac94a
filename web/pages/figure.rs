//! One figure: why this number, from the print value down to the passes and their captures.

use askama::Template;
use jiff::Timestamp;
use serde::Serialize;

use super::figures::FigureLine;
use super::readings::SittingWhy;
use super::{Field, Frame, Page};
use crate::format;
use crate::marks::Mark;
use crate::marks::Standing;

/// Why this number.
#[derive(Template, Serialize)]
#[template(path = "figure.html")]
pub struct Figure {
    /// Around the page.
    #[serde(skip)]
    pub frame: Frame,
    /// Key of its piece.
    pub piece: String,
    /// IANA name of the piece's zone.
    pub zone: String,
    /// As in the ledger.
    #[serde(flatten)]
    pub line: FigureLine,
    /// What it is: canonical JSON.
    pub what: String,
    /// The value in full; empty where there is none or it is hidden.
    pub value: String,
    /// How it is come by.
    pub method: String,
    /// What it crosses.
    pub marks: Vec<String>,
    /// Note.
    pub note: String,
    /// Decimal places in print.
    pub places: i64,
    /// For stale forms.
    pub version: i64,
    /// The same under other choices; empty where it has no value or is hidden.
    pub holds: Vec<Holds>,
    /// The cells it rests on.
    pub cells: Vec<CellWhy>,
    /// Or the readings.
    pub sittings: Vec<SittingWhy>,
    /// What it rests on: names and values, in order.
    pub fields: Vec<(String, String)>,
    /// The same as canonical text.
    #[serde(skip)]
    pub text: String,
    /// What people did with it, oldest first.
    pub history: Vec<FigureDone>,
    /// Head of the audit trail.
    pub head: String,
    /// Why the reader may not agree now; empty where they may.
    pub why_not: String,
    /// Whether an agreement asks for the password.
    #[serde(skip)]
    pub asks_password: bool,
}

/// A figure under another choice.
#[derive(Clone, Debug, Serialize)]
pub struct Holds {
    /// The choice.
    pub choice: String,
    /// Its value under it, as printed.
    pub shown: String,
    /// The interval.
    pub interval: String,
    /// What may be said then; empty where the figure is no ratio.
    pub verdict: String,
    /// Whether that is the same.
    pub holds: bool,
}

/// A cell beneath a figure.
#[derive(Clone, Debug, Serialize)]
pub struct CellWhy {
    /// In words.
    pub name: String,
    /// Its value with unit and interval.
    pub value: String,
    /// Its passes, by number.
    pub passes: Vec<PassWhy>,
}

/// A pass beneath a figure.
#[derive(Clone, Debug, Serialize)]
pub struct PassWhy {
    /// Key in addresses.
    pub key: String,
    /// Number within its cell.
    pub number: i64,
    /// How it stands.
    pub mark: Mark,
    /// Its own value with unit.
    pub value: String,
    /// Ruling and reason; empty where nobody ruled.
    pub ruling: String,
    /// Window, in words.
    pub window: String,
    /// File name of its capture.
    pub capture: String,
    /// SHA-256 of its capture.
    pub digest: String,
    /// Rig, driver and build.
    pub on: String,
}

/// What somebody did with a figure.
#[derive(Clone, Debug, Serialize)]
pub struct FigureDone {
    /// `propose`, `agree` or `withdraw`.
    pub step: String,
    /// Who.
    pub by: String,
    /// When.
    pub at: Timestamp,
    /// As it was printed.
    pub shown: String,
    /// Digest of what it rested on.
    pub digest: String,
    /// Agreed by the proposer working alone.
    pub alone: bool,
}

impl FigureDone {
    fn short(&self) -> &str {
        self.digest.get(..12).unwrap_or(&self.digest)
    }
}

impl PassWhy {
    fn short(&self) -> &str {
        self.digest.get(..12).unwrap_or(&self.digest)
    }
}

impl Figure {
    fn when(&self, done: &FigureDone) -> String {
        self.at(&done.at)
    }

    fn at(&self, moment: &Timestamp) -> String {
        format::moment(*moment, &self.zone)
    }
}

impl Page for Figure {
    fn title(&self) -> String {
        self.line.name.clone()
    }

    fn samples() -> Vec<Self> {
        let lines = FigureLine::samples();
        let page = |frame: Frame, line: FigureLine| {
            Figure {
            frame,
            piece: "k3v9".to_owned(),
            zone: "Europe/Berlin".to_owned(),
            what: r#"{"kind":"cell","measure":"average_fps","cell":4}"#.to_owned(),
            value: "1.2412".to_owned(),
            method: "average frame rate: ratio of geometric means over 7 kept passes; 95% interval by Student's t on logarithms.".to_owned(),
            marks: vec!["crosses builds of the game".to_owned()],
            note: "For the headline.".to_owned(),
            places: 1,
            version: 1,
            holds: [("with 1 pass that was ruled out put back", true), ("without any one of 7 passes", false)]
                .map(|(choice, holds)| Holds {
                    choice: choice.to_owned(),
                    shown: "+23.9%".to_owned(),
                    interval: "+22.0% to +25.8%".to_owned(),
                    verdict: "faster".to_owned(),
                    holds,
                })
                .to_vec(),
            cells: vec![CellWhy {
                name: "Curlew, Vellum Rally (hairpin), 2160p native".to_owned(),
                value: "124.0 fps".to_owned(),
                passes: [Mark::Sound, Mark::SetAside]
                    .into_iter()
                    .zip(1..)
                    .map(|(mark, number)| PassWhy {
                        key: format!("p{number}"),
                        number,
                        mark,
                        value: "124.0 fps".to_owned(),
                        ruling: "set aside by Iver Stroud: another program ran beside it".to_owned(),
                        window: "0.000 to 60.000 s".to_owned(),
                        capture: "curlew_hairpin_p1.csv".to_owned(),
                        digest: "cd".repeat(32),
                        on: "alder, driver 31.2, build 1.0.3".to_owned(),
                    })
                    .collect(),
            }],
            sittings: Vec::new(),
            fields: vec![("format".to_owned(), "1".to_owned())],
            text: "6:format=1:1\n".to_owned(),
            history: vec![FigureDone {
                step: "propose".to_owned(),
                by: "Maren Oake".to_owned(),
                at: Timestamp::UNIX_EPOCH,
                shown: "+24.1%".to_owned(),
                digest: "ab".repeat(32),
                alone: false,
            }],
            head: "812 abab".to_owned(),
            why_not: if line.may_agree { String::new() } else { "You proposed it; another person agrees.".to_owned() },
            asks_password: line.may_agree,
            line,
        }
        };
        let guest = || Frame::signed_in("Ada Fenn", "guest", "Pieces");
        let mut all: Vec<Figure> =
            lines.iter().map(|line| page(Frame::sample("Figures"), line.clone())).collect();
        all.extend(lines.into_iter().take(1).map(|line| page(guest(), line)));
        if let Some(last) = all.last_mut() {
            (last.cells, last.sittings) = (Vec::new(), SittingWhy::samples());
        }
        all
    }
}

/// The form for a new figure.
#[derive(Template, Serialize)]
#[template(path = "figure_new.html")]
pub struct FigureNew {
    /// Around the page.
    #[serde(skip)]
    pub frame: Frame,
    /// Key of the piece.
    pub piece: String,
    /// What it is: canonical JSON.
    pub what: String,
    /// As it would be printed.
    pub shown: String,
    /// Its interval in words; empty where none is known.
    pub interval: String,
    /// How it is come by.
    pub method: String,
    /// What it crosses.
    pub marks: Vec<String>,
    /// Name.
    pub name: Field,
    /// Decimal places.
    pub places: Field,
    /// Note.
    pub note: Field,
}

impl Page for FigureNew {
    fn title(&self) -> String {
        "Make a figure".to_owned()
    }

    fn samples() -> Vec<Self> {
        let page = |name| FigureNew {
            frame: Frame::sample("Figures"),
            piece: "k3v9".to_owned(),
            what: r#"{"kind":"cell","measure":"average_fps","cell":4}"#.to_owned(),
            shown: "124.0 fps".to_owned(),
            interval: "123.6 to 124.4 fps".to_owned(),
            method: "average frame rate: geometric mean over 3 kept passes.".to_owned(),
            marks: Vec::new(),
            name,
            places: Field::of("1"),
            note: Field::default(),
        };
        vec![
            page(Field::of("Curlew, Vellum Rally (hairpin), 2160p native: average frame rate")),
            page(Field::wrong("", "A name has 1 to 200 characters.")),
        ]
    }
}

/// The second look of who works alone.
#[derive(Template, Serialize)]
#[template(path = "figure_blind.html")]
pub struct FigureBlind {
    /// Around the page.
    #[serde(skip)]
    pub frame: Frame,
    /// Key of the piece.
    pub piece: String,
    /// Key of the figure.
    pub key: String,
    /// What it is called.
    pub name: String,
    /// Digest of what it rests on now.
    pub digest: String,
    /// The chart to read it from: SVG.
    pub chart: String,
    /// What is to be typed: `fps`, `%`.
    pub unit: String,
    /// Why it cannot be done now; empty where it can.
    pub why_not: String,
    /// What is wrong with what was typed.
    #[serde(skip)]
    pub refused: String,
    /// Whether an agreement asks for the password.
    #[serde(skip)]
    pub asks_password: bool,
}

impl Page for FigureBlind {
    fn title(&self) -> String {
        "Second look".to_owned()
    }

    fn samples() -> Vec<Self> {
        let page = |why_not: &str| FigureBlind {
            frame: Frame::sample("Figures"),
            piece: "k3v9".to_owned(),
            key: "f1".to_owned(),
            name: "Curlew, Vellum Rally (hairpin), 2160p native: average frame rate".to_owned(),
            digest: "ab".repeat(32),
            chart: crate::charts::samples::inline().into_iter().nth(2).unwrap_or_default(),
            unit: "fps".to_owned(),
            why_not: why_not.to_owned(),
            refused: String::new(),
            asks_password: why_not.is_empty(),
        };
        vec![
            page(""),
            page("Working alone, the second look is at least an hour after the first; come back later."),
        ]
    }
}
