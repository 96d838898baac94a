//! Readings of a piece: values without a frame log, and one with its repeats and files.

use askama::Template;
use jiff::Timestamp;
use serde::Serialize;

use super::{Field, Frame, Page, SoakLine};
use crate::charts::samples::amounts;
use crate::charts::{Amounts, Theme};
use crate::{format, paths};

/// All readings of the piece's parts, kind by kind.
#[derive(Template, Serialize)]
#[template(path = "readings.html")]
pub struct Readings {
    /// Around the page.
    #[serde(skip)]
    pub frame: Frame,
    /// Key of the piece.
    pub piece: String,
    /// IANA name of the piece's zone.
    pub zone: String,
    /// The part that others are held against; empty where the piece names none.
    pub baseline: String,
    /// Kinds, in the order in which they were defined.
    pub kinds: Vec<KindReadings>,
    /// Soaks of the piece's parts.
    pub soaks: Vec<SoakLine>,
}

/// A kind with its readings.
#[derive(Clone, Debug, Serialize)]
pub struct KindReadings {
    /// Row id.
    pub id: i64,
    /// Name.
    pub name: String,
    /// Unit.
    pub unit: String,
    /// How it is told: 'lower is better; energy mean'.
    pub told: String,
    /// How it is read; may be empty.
    pub method: String,
    /// What belongs together, a line each.
    pub groups: Vec<GroupLine>,
    /// Parts heard at equal temperatures, a sentence each.
    pub equal: Vec<String>,
    /// The groups side by side; none where nothing counts.
    #[serde(skip)]
    pub chart: Option<Amounts>,
}

/// Readings that belong together.
#[derive(Clone, Debug, Serialize)]
pub struct GroupLine {
    /// What the number is of.
    pub subject: String,
    /// Rig, how it stands, fan.
    pub place: String,
    /// Mean with its unit; an en dash where no repeat counts.
    pub value: String,
    /// 95% interval; empty where it is not known.
    pub interval: String,
    /// What it is beside the baseline's in the same place; none for the baseline, and where that was not read there.
    pub beside: Option<String>,
    /// '3 of 4 repeats'.
    pub counts: String,
    /// 'unit A: one sample'.
    pub sample: String,
    /// What to know before it is printed: another driver, too few repeats.
    pub notices: Vec<String>,
    /// The readings themselves.
    pub sittings: Vec<SittingLink>,
    /// What a figure of it would be, as JSON; empty where there is no value.
    pub figure: String,
}

/// A reading to go to.
#[derive(Clone, Debug, Serialize)]
pub struct SittingLink {
    /// Key in addresses.
    pub key: String,
    /// When it was read.
    pub at: Timestamp,
    /// Files beside it.
    pub proofs: usize,
}

/// A reading beneath a figure.
#[derive(Clone, Debug, Serialize)]
pub struct SittingWhy {
    /// Key in addresses.
    pub key: String,
    /// When it was read.
    pub at: Timestamp,
    /// Unit, rig and driver.
    pub on: String,
    /// What the instrument showed, in order.
    pub repeats: Vec<RepeatWhy>,
}

/// What an instrument showed.
#[derive(Clone, Debug, Serialize)]
pub struct RepeatWhy {
    /// Number within its reading.
    pub number: i64,
    /// What it showed, with its unit.
    pub value: String,
    /// Whether it counts.
    pub counts: bool,
    /// For stale forms.
    pub version: i64,
    /// Ruling, name and reason; empty where nobody ruled.
    pub ruling: String,
}

/// One reading.
#[derive(Template, Serialize)]
#[template(path = "reading.html")]
pub struct Reading {
    /// Around the page.
    #[serde(skip)]
    pub frame: Frame,
    /// Key of the piece.
    pub piece: String,
    /// IANA name of the piece's zone.
    pub zone: String,
    /// The reading.
    #[serde(flatten)]
    pub sitting: SittingWhy,
    /// Name of its kind.
    pub kind: String,
    /// What the number is of.
    pub subject: String,
    /// What its repeats say together, with those of its kind in the same place.
    pub value: String,
    /// 95% interval; empty where it is not known.
    pub interval: String,
    /// How it was come by.
    pub method: String,
    /// What stands around the repeats: label and text.
    pub around: Vec<(String, String)>,
    /// Files that show it.
    pub proofs: Vec<ProofLine>,
    /// Who entered it.
    pub by: String,
    /// When.
    pub made: Timestamp,
    /// What a figure of it would be, as JSON; empty where there is no value.
    pub figure: String,
    /// The team's own reasons.
    #[serde(skip)]
    pub reasons: Vec<String>,
    /// Further repeats as they were sent.
    #[serde(skip)]
    pub more: Field,
    /// What is wrong with a ruling or a file that was sent.
    #[serde(skip)]
    pub refused: String,
}

/// A file that shows a reading.
#[derive(Clone, Debug, Serialize)]
pub struct ProofLine {
    /// Row id.
    pub id: i64,
    /// Name.
    pub name: String,
    /// What it is, by its content.
    pub kind: String,
    /// Its length, with unit.
    pub size: String,
    /// SHA-256 of its bytes.
    pub digest: String,
    /// Who attached it.
    pub by: String,
}

impl Readings {
    fn day(&self, of: &SittingLink) -> String {
        format::moment(of.at, &self.zone)
    }

    fn began(&self, soak: &SoakLine) -> String {
        soak.began.map_or_else(|| "no wall clock".to_owned(), |at| format::moment(at, &self.zone))
    }

    fn svg(chart: &Amounts) -> String {
        chart.svg(&Theme::LIGHT)
    }

    fn asked(kind: &KindReadings) -> String {
        paths::query(&[("of", "readings"), ("kind", &kind.id.to_string())])
    }

    fn nothing_read(&self) -> bool {
        self.kinds.iter().all(|kind| kind.groups.is_empty())
    }

    fn add(&self, kind: &KindReadings) -> String {
        paths::with_query(&paths::reading_new(&self.piece), &[("kind", &kind.id.to_string())])
    }
}

impl Reading {
    fn at(&self, moment: &Timestamp) -> String {
        format::moment(*moment, &self.zone)
    }
}

impl ProofLine {
    fn short(&self) -> &str {
        self.digest.get(..12).unwrap_or(&self.digest)
    }
}

impl Page for Readings {
    fn title(&self) -> String {
        "Readings".to_owned()
    }

    fn samples() -> Vec<Self> {
        let group = |subject: &str, value: &str| GroupLine {
            subject: subject.to_owned(),
            place: "birch, in a case, maker's fan curve".to_owned(),
            value: value.to_owned(),
            interval: "40.7 to 41.9 dB(A)".to_owned(),
            beside: Some("3.2 dB more: 1.2 times as loud".to_owned()),
            counts: "3 of 4 repeats".to_owned(),
            sample: "unit A: one sample".to_owned(),
            notices: vec!["1 more repeat is wanted".to_owned()],
            sittings: vec![SittingLink { key: "r1".to_owned(), at: Timestamp::UNIX_EPOCH, proofs: 1 }],
            figure: r#"{"kind":"reading","reading":1,"tuning":1,"base":1}"#.to_owned(),
        };
        let kind = |groups| KindReadings {
            id: 1,
            name: "noise at 50 cm".to_owned(),
            unit: "dB(A)".to_owned(),
            told: "lower is better; energy mean".to_owned(),
            method: "meter class 2, in front".to_owned(),
            equal: vec!["At 70 °C of the part in alder: Dunlin 36.3 dB(A), Curlew 43.2 dB(A).".to_owned()],
            groups,
            chart: None,
        };
        let page = |frame: Frame, kinds| Readings {
            frame,
            piece: "k3v9".to_owned(),
            zone: "Europe/Berlin".to_owned(),
            baseline: "Tarnwick Dunlin".to_owned(),
            kinds,
            soaks: Vec::new(),
        };
        let none = GroupLine {
            value: format::NOTHING.to_owned(),
            interval: String::new(),
            beside: None,
            notices: Vec::new(),
            figure: String::new(),
            ..group("Tarnwick Dunlin", "")
        };
        let both = vec![group("Tarnwick Curlew", "41.3 dB(A)"), none];
        vec![
            Readings {
                soaks: vec![SoakLine::sample(Some(Timestamp::UNIX_EPOCH)), SoakLine::sample(None)],
                ..page(Frame::sample("Readings"), Vec::new())
            },
            page(Frame::sample("Readings"), Vec::new()),
            page(Frame::sample("Readings"), vec![kind(Vec::new())]),
            page(
                Frame::sample("Readings"),
                vec![
                    kind(both.clone()),
                    KindReadings { id: 2, ..kind(Vec::new()) },
                    KindReadings { id: 3, chart: Some(amounts(true)), ..kind(both.clone()) },
                ],
            ),
            page(Frame::signed_in("Ada Fenn", "guest", "Pieces"), vec![kind(both)]),
        ]
    }
}

impl SittingWhy {
    pub(super) fn samples() -> Vec<Self> {
        let repeat = |number: i64, value: &str, ruling: &str| RepeatWhy {
            number,
            value: value.to_owned(),
            counts: ruling.is_empty(),
            version: number,
            ruling: ruling.to_owned(),
        };
        vec![SittingWhy {
            key: "r1".to_owned(),
            at: Timestamp::UNIX_EPOCH,
            on: "unit A, birch, driver 31.2".to_owned(),
            repeats: vec![
                repeat(1, "41.2 dB(A)", ""),
                repeat(2, "48.0 dB(A)", "set aside by Iver Stroud: a door"),
            ],
        }]
    }
}

impl Page for Reading {
    fn title(&self) -> String {
        format!("{}: {}", self.kind, self.subject)
    }

    fn samples() -> Vec<Self> {
        let page = |frame: Frame, refused: &str| Reading {
            frame,
            piece: "k3v9".to_owned(),
            zone: "Europe/Berlin".to_owned(),
            sitting: SittingWhy::samples().remove(0),
            kind: "noise at 50 cm".to_owned(),
            subject: "Tarnwick Curlew".to_owned(),
            value: "41.2 dB(A)".to_owned(),
            interval: "40.7 to 41.9 dB(A)".to_owned(),
            method: "Noise at 50 cm, dB(A): energy mean of 3 kept repeats in 1 sitting.".to_owned(),
            around: vec![("Background".to_owned(), "30.1 dB(A)".to_owned())],
            proofs: vec![ProofLine {
                id: 1,
                name: "meter.jpg".to_owned(),
                kind: "JPEG".to_owned(),
                size: "2.1 MB".to_owned(),
                digest: "ab".repeat(32),
                by: "Maren Oake".to_owned(),
            }],
            by: "Maren Oake".to_owned(),
            made: Timestamp::UNIX_EPOCH,
            figure: r#"{"kind":"reading","reading":1,"tuning":1,"base":1}"#.to_owned(),
            reasons: vec!["a door".to_owned()],
            more: Field::default(),
            refused: refused.to_owned(),
        };
        vec![
            page(Frame::sample("Readings"), ""),
            page(Frame::sample("Readings"), "Say why it does not count."),
            Reading { proofs: Vec::new(), ..page(Frame::signed_in("Ada Fenn", "guest", "Pieces"), "") },
        ]
    }
}
