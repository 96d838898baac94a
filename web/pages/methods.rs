//! The methods page of a pack: how the numbers were made, on what, and what was left out and why. It stands alone,
//! without the service around it, and prints well.

use askama::Template;
use jiff::Timestamp;
use serde::Serialize;

use super::Page;
use crate::format;

/// The methods page.
#[derive(Clone, Debug, Template, Serialize)]
#[template(path = "methods.html")]
pub struct Methods {
    /// Name of the piece.
    pub piece: String,
    /// The low, spelled out.
    pub low: String,
    /// Margin, tenths of a per cent.
    pub margin_permille: i64,
    /// Margin of scenes played by hand, tenths of a per cent.
    pub hand_margin_permille: i64,
    /// Passes wanted for each cell.
    pub passes_wanted: i64,
    /// Whether one person does it all.
    pub working_alone: bool,
    /// The noise prior, in a sentence.
    pub prior: String,
    /// Parts with their drivers.
    pub parts: Vec<PartRow>,
    /// Rigs with their bases.
    pub rigs: Vec<RigRow>,
    /// Scenes with their builds.
    pub scenes: Vec<SceneRow>,
    /// What the team says in its own words: a heading and a text each.
    pub notes: Vec<(String, String)>,
    /// What was carried over from earlier pieces.
    pub carried: Vec<CarriedRow>,
    /// What was read off instruments.
    pub readings: Vec<ReadRow>,
    /// What did not run, was set aside, is to be run again or is disputed.
    pub left_out: Vec<LeftOut>,
    /// Numbers that nobody here measured.
    pub quoted: Vec<QuotedRow>,
    /// What is not like with like.
    pub crossings: Vec<String>,
    /// Measures with their versions.
    pub versions: String,
    /// Head of the audit trail.
    pub head: String,
}

/// A number that nobody here measured.
#[derive(Clone, Debug, Serialize)]
pub struct QuotedRow {
    /// What it is called.
    pub name: String,
    /// The number with its unit.
    pub shown: String,
    /// Where it stands.
    pub source: String,
    /// Its address; may be empty.
    pub link: String,
    /// When it was read.
    pub dated: Timestamp,
}

/// A part that was carried over from an earlier piece.
#[derive(Clone, Debug, Serialize)]
pub struct CarriedRow {
    /// The part as it is run.
    pub name: String,
    /// Day of its newest earlier pass.
    pub recorded: String,
    /// Its driver then.
    pub driver: String,
    /// Its rigs then.
    pub rigs: String,
    /// Its cells.
    pub cells: u64,
    /// What the checks say together.
    pub says: String,
    /// The same counted.
    pub counted: String,
    /// What each check says.
    pub checks: Vec<String>,
    /// Why it was carried over; may be empty.
    pub reason: String,
}

/// A part.
#[derive(Clone, Debug, Serialize)]
pub struct PartRow {
    /// Maker and model.
    pub name: String,
    /// The declared driver.
    pub driver: String,
    /// Its date.
    pub dated: Option<Timestamp>,
    /// Units that ran.
    pub samples: u64,
    /// Whether one of them was lent.
    pub lent: bool,
    /// Passes that count.
    pub kept: u64,
    /// All passes.
    pub passes: u64,
}

/// A rig with one base.
#[derive(Clone, Debug, Serialize)]
pub struct RigRow {
    /// Name.
    pub name: String,
    /// Board, processor, memory and so on.
    pub base: String,
    /// Since when.
    pub from: Option<Timestamp>,
    /// Passes on it.
    pub passes: u64,
}

/// A kind of reading.
#[derive(Clone, Debug, Serialize)]
pub struct ReadRow {
    /// Name and unit.
    pub name: String,
    /// How it was read; may be empty.
    pub method: String,
    /// Where: rigs, how they stand, fans.
    pub places: String,
    /// Repeats that count.
    pub repeats: u64,
    /// How they were put together.
    pub told: String,
}

/// A scene.
#[derive(Clone, Debug, Serialize)]
pub struct SceneRow {
    /// Game.
    pub game: String,
    /// Passage.
    pub passage: String,
    /// How it is driven.
    pub kind: String,
    /// When the log is started.
    pub cue: String,
    /// Standard window, ns from the first frame.
    pub start_ns: i64,
    /// Its end; none: to the end of the pass.
    pub end_ns: Option<i64>,
    /// Builds that ran.
    pub builds: String,
}

/// Something left out, and why.
#[derive(Clone, Debug, Serialize)]
pub struct LeftOut {
    /// Which.
    pub what: String,
    /// Set aside, run again, did not run.
    pub how: String,
    /// Reason, as the person gave it.
    pub why: String,
}

impl Methods {
    fn window(scene: &SceneRow) -> String {
        match scene.end_ns {
            Some(end) => format::span_ns(scene.start_ns, end),
            None if scene.start_ns == 0 => "whole pass".to_owned(),
            None => format!("from {}", format::at_ns(scene.start_ns)),
        }
    }

    fn share(permille: i64) -> String {
        format!("{}%", format::fixed(permille as f64 / 10.0, i32::from(permille % 10 != 0)))
    }

    fn date(at: &Timestamp) -> String {
        format::day(*at, "UTC")
    }

    fn day(at: Option<Timestamp>) -> String {
        at.map_or_else(String::new, |at| format::day(at, "UTC"))
    }
}

impl Page for Methods {
    fn title(&self) -> String {
        format!("How we measured: {}", self.piece)
    }

    fn samples() -> Vec<Self> {
        let bare = Methods {
            piece: "Is the Curlew worth it?".to_owned(),
            low: "1% low: frame rate at the 99th percentile of frame times".to_owned(),
            margin_permille: 20,
            hand_margin_permille: 35,
            passes_wanted: 3,
            working_alone: true,
            prior: "None is kept yet: each interval rests on its own cell's passes.".to_owned(),
            parts: Vec::new(),
            rigs: Vec::new(),
            scenes: Vec::new(),
            notes: Vec::new(),
            carried: Vec::new(),
            readings: Vec::new(),
            left_out: Vec::new(),
            quoted: vec![QuotedRow {
                name: "memory of the Curlew".into(),
                shown: "32 GB".into(),
                source: "the maker's data sheet".into(),
                link: "https://tarnwick.example/curlew".into(),
                dated: Timestamp::UNIX_EPOCH,
            }],
            crossings: Vec::new(),
            versions: "average_fps 1".to_owned(),
            head: "0".to_owned(),
        };
        let day = Timestamp::from_second(1_795_000_000).ok();
        let out = |how: &str, why: &str| LeftOut {
            what: "Tarnwick Curlew, Vellum Rally (hairpin), 2160p native, pass 2".to_owned(),
            how: how.to_owned(),
            why: why.to_owned(),
        };
        let full = Methods {
            working_alone: false,
            parts: vec![PartRow {
                name: "Tarnwick Curlew".to_owned(),
                driver: "31.2".to_owned(),
                dated: day,
                samples: 1,
                lent: true,
                kept: 40,
                passes: 44,
            }],
            rigs: vec![RigRow {
                name: "alder".to_owned(),
                base: "board B, open bench".to_owned(),
                from: day,
                passes: 44,
            }],
            scenes: vec![SceneRow {
                game: "Vellum Rally".to_owned(),
                passage: "hairpin".to_owned(),
                kind: "replay".to_owned(),
                cue: "as the lights go out".to_owned(),
                start_ns: 2_000_000_000,
                end_ns: Some(28_000_000_000),
                builds: "1.4".to_owned(),
            }],
            notes: vec![("Disclosure".to_owned(), "The Curlew is lent by its maker.".to_owned())],
            carried: vec![CarriedRow {
                name: "Tarnwick Dunlin".to_owned(),
                recorded: "14 Oct 2026".to_owned(),
                driver: "30.1".to_owned(),
                rigs: "alder (26100)".to_owned(),
                cells: 8,
                says: "run again".to_owned(),
                counted: "2 hold, 1 run again".to_owned(),
                checks: vec!["Vellum Rally, hairpin, 2160p native: run again (6.0% slower)".to_owned()],
                reason: "back at its maker".to_owned(),
            }],
            readings: vec![ReadRow {
                name: "noise at 50 cm, dB(A)".to_owned(),
                method: "meter class 2".to_owned(),
                places: "birch, in a case, maker's fan curve".to_owned(),
                repeats: 3,
                told: "Energy mean; one sample of each part".to_owned(),
            }],
            left_out: vec![
                out("did not run", "out of memory"),
                out("set aside", "an updater woke up at 21 s"),
            ],
            crossings: vec!["Vellum Rally: builds 1.3 and 1.4".to_owned()],
            ..bare.clone()
        };
        vec![bare, full]
    }
}
