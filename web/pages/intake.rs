//! Intake: logs come in, say what they are, and become passes of cells.

use askama::Template;
use jiff::Timestamp;
use serde::Serialize;
use weighhouse_measure::recording::{Kind, Problem, Role, Unit};

use super::{Field, Frame, Page};
use crate::logs::{self, Log};
use crate::{format, paths};

/// Logs that one form without script takes.
pub const MOST_BY_FORM: u64 = 50;

/// A log of this length may well hold several passes, s.
const LONG_S: f64 = 150.0;

/// What waits at a piece's intake.
#[derive(Template, Serialize)]
#[template(path = "intake.html")]
pub struct Intake {
    #[serde(skip)]
    /// Around the page.
    pub frame: Frame,
    /// Key of the piece.
    pub piece: String,
    #[serde(skip)]
    /// Rigs that an upload may be said to come from: row id and name.
    pub rigs: Vec<(i64, String)>,
    #[serde(skip)]
    /// A command that uploads a log.
    pub curl: String,
    /// Captures that a person has to say something about.
    pub asking: Vec<Asking>,
    /// Logs of frames without a pass.
    pub frames: Vec<Waiting>,
    /// Cells that they can be sent to, those that the plan misses first.
    pub cells: Vec<Destination>,
    /// Companions without a pass.
    pub companions: Vec<Waiting>,
    /// Companions of passes that are not placed.
    pub unplaced: Vec<Unplaced>,
    #[serde(skip)]
    /// Passes that a companion can be given to: key and words.
    pub passes: Vec<(String, String)>,
    #[serde(skip)]
    /// The form that makes passes.
    pub form: Assignment,
}

/// A log that waits for its pass.
#[derive(Clone, Debug, Serialize)]
pub struct Waiting {
    /// What was understood of it.
    #[serde(flatten)]
    pub log: Log,
    /// Who or what brought it.
    pub by: String,
    /// Version of its capture.
    pub version: i64,
    /// Start that somebody gave.
    pub start: Option<Timestamp>,
    #[serde(skip)]
    /// What is said of it alone, in the order of [`Assignment::own`]; empty: nothing.
    pub own: [String; 3],
    #[serde(skip)]
    /// Whether it is ticked in the form.
    pub ticked: bool,
    /// What it would become as chosen, or why nothing.
    pub becomes: Option<Becomes>,
}

impl Waiting {
    /// Whether something is said of it alone.
    fn is_apart(&self) -> bool {
        self.own.iter().any(|said| !said.is_empty())
    }
}

/// A cell that logs can be sent to.
#[derive(Clone, Debug, Serialize)]
pub struct Destination {
    /// Row id of its tuning.
    pub tuning: i64,
    /// Row id of its scene.
    pub scene: i64,
    /// Row id of its setting.
    pub setting: i64,
    /// Part and tuning in words.
    pub part: String,
    /// Scene and setting in words.
    pub at: String,
    /// Passes that it lacks.
    pub missing: u64,
    /// Waiting logs that would become passes of it.
    pub coming: u64,
    /// Why it did not run; empty where it does.
    pub did_not_run: String,
}

impl Destination {
    /// What it lacks and what comes.
    fn says(&self) -> String {
        let coming = format::plural(self.coming, "log comes", "logs come");
        match (self.missing, self.coming) {
            _ if !self.did_not_run.is_empty() => format!("did not run: {}", self.did_not_run),
            (0, 0) => "misses none".to_owned(),
            (0, _) => format!("misses none; {coming}"),
            (missing, 0) => format!("misses {}", format::count(missing)),
            (missing, _) => format!("misses {}; {coming}", format::count(missing)),
        }
    }
}

/// What a log would become.
#[derive(Clone, Debug, Serialize)]
pub enum Becomes {
    /// A pass: cell, rig, unit, driver and build in words.
    #[serde(rename = "pass")]
    Pass(String),
    /// A pass as far as that goes, but its name says one that is there already: what is asked.
    #[serde(rename = "asks")]
    Asks(String),
    /// Nothing, and why.
    #[serde(rename = "wrong")]
    Wrong(String),
}

/// A capture that asks.
#[derive(Clone, Debug, Serialize)]
pub struct Asking {
    /// Number of the capture.
    pub capture: i64,
    /// File name.
    pub file: String,
    /// Why it is not certain.
    pub why: String,
}

/// A companion that has its pass but no place on its clock.
#[derive(Clone, Debug, Serialize)]
pub struct Unplaced {
    /// Its file.
    pub file: String,
    /// Key of its pass.
    pub pass: String,
    /// The pass's file.
    pub frames: String,
    /// Number of the capture whose start is not known.
    pub capture: i64,
    /// That capture's file.
    pub wanting: String,
    /// That capture's version.
    pub version: i64,
}

/// The form that makes passes of what is ticked.
#[derive(Clone, Debug, Default)]
pub struct Assignment {
    /// What was refused, in a sentence; empty when nothing was.
    pub refused: String,
    /// File-name pattern.
    pub pattern: Field,
    /// Whether cells are added to the piece.
    pub add: bool,
    /// Whether logs that name a pass which is there already become passes of their own.
    pub twice: bool,
    /// What is chosen for all.
    pub selects: Vec<Select>,
    /// What can be said of one log alone: part and tuning, scene, setting; empty while the piece has no cells.
    pub own: Vec<Select>,
}

/// One of the things that are chosen.
#[derive(Clone, Debug)]
pub struct Select {
    /// Name of the field.
    pub name: &'static str,
    /// Its label.
    pub label: &'static str,
    /// What leaving it open means.
    pub usual: &'static str,
    /// What is chosen; empty: the usual.
    pub value: String,
    /// Groups of options.
    pub groups: Vec<Group>,
}

/// Options under one heading.
#[derive(Clone, Debug)]
pub struct Group {
    /// Heading; empty: none.
    pub label: String,
    /// Value and words.
    pub options: Vec<(String, String)>,
}

impl Intake {
    fn curl(&self) -> &str {
        &self.curl
    }

    fn started(waiting: &Waiting) -> String {
        let at = waiting.log.wall_start.or(waiting.start);
        at.map_or_else(|| "start not known".to_owned(), |at| format!("began {}", format::moment(at, "UTC")))
    }

    /// Digit that sends picked logs to the nth cell, while it has one.
    fn digit(nth: &usize) -> Option<usize> {
        (*nth <= 9).then_some(*nth)
    }

    fn clockless(&self) -> Vec<&Waiting> {
        self.frames.iter().chain(&self.companions).filter(|w| w.log.wall_start.is_none()).collect()
    }

    fn clockless_said(&self) -> String {
        let n = u64::try_from(self.clockless().len()).unwrap_or(u64::MAX);
        format!("Say when {} began", format::plural(n, "log", "logs"))
    }

    fn cuts(&self, segment: &i64) -> String {
        paths::in_piece(&paths::cuts(*segment), &self.piece)
    }

    /// A log that is long enough for two passes likely holds them.
    fn cut_says(log: &Log) -> &'static str {
        if log.seconds >= LONG_S { "Long: cut it into passes" } else { "Cut" }
    }

    fn most_by_form() -> String {
        format::count(MOST_BY_FORM)
    }

    fn upload() -> String {
        paths::upload("")
    }
}

impl Page for Intake {
    fn title(&self) -> String {
        "Intake".to_owned()
    }

    fn samples() -> Vec<Self> {
        let column = |index, name: &str, role, unit, why: &str| weighhouse_measure::intake::Column {
            index,
            name: name.to_owned(),
            role,
            unit,
            why: why.to_owned(),
        };
        let log = Log {
            segment: 7,
            capture: 5,
            file: "dunlin_hairpin_2160p_alder_p1.csv".to_owned(),
            kind: Kind::Frames,
            rows: 8243,
            seconds: 60.0,
            average_fps: Some(137.4),
            wall_start: None,
            says: String::new(),
            read: Vec::new(),
            layout: vec![column(
                1,
                "took (ms)",
                Role::FrameTime,
                Unit::Millisecond,
                "its header names quantity and unit",
            )],
            problems: vec![Problem {
                line: 812,
                column: 1,
                says: "'NaN' is not a duration; left out.".to_owned(),
            }],
        }
        .said();
        let nth = |segment| Log { segment, ..log.clone() };
        let waiting = |log: &Log, becomes, ticked| Waiting {
            log: log.clone(),
            by: "Maren Oake".to_owned(),
            version: 1,
            start: None,
            own: Default::default(),
            ticked,
            becomes,
        };
        let sensors = Log {
            segment: 8,
            file: "dunlin_hairpin_2160p_alder_p1_sensors.csv".to_owned(),
            kind: Kind::Companion,
            rows: 120,
            average_fps: None,
            wall_start: Some(Timestamp::UNIX_EPOCH),
            layout: vec![column(2, "board [W]", Role::Power, Unit::Watt, "its header names the unit")],
            problems: vec![],
            ..log.clone()
        }
        .said();
        let select = Select {
            name: "scene",
            label: "Scene",
            usual: "as the file's name says",
            value: String::new(),
            groups: vec![Group {
                label: "In this piece".to_owned(),
                options: vec![("3".to_owned(), "Vellum Rally, hairpin".to_owned())],
            }],
        };
        let empty = || Intake {
            frame: Frame::sample("Intake"),
            piece: "k3v9".to_owned(),
            rigs: vec![],
            curl: "curl -T FILE ADDRESS".to_owned(),
            asking: vec![],
            frames: vec![],
            cells: vec![],
            companions: vec![],
            unplaced: vec![],
            passes: vec![],
            form: Assignment { selects: vec![select.clone()], ..Assignment::default() },
        };
        let cell = |tuning, missing, coming, did_not_run: &str| Destination {
            tuning,
            scene: 3,
            setting: 1,
            part: "Tarnwick Dunlin, stock".to_owned(),
            at: "Vellum Rally, hairpin; 2160p native".to_owned(),
            missing,
            coming,
            did_not_run: did_not_run.to_owned(),
        };
        let sent = |log| Waiting { own: ["".into(), "3".into(), "".into()], ..waiting(log, None, true) };
        let full = Intake {
            rigs: vec![(1, "alder".to_owned())],
            asking: vec![Asking {
                capture: 9,
                file: "bench.csv".to_owned(),
                why: "Two columns could be the frame times.".to_owned(),
            }],
            frames: vec![
                waiting(
                    &log,
                    Some(Becomes::Pass("Tarnwick Dunlin, stock; Vellum Rally, hairpin".to_owned())),
                    true,
                ),
                waiting(&nth(9), Some(Becomes::Wrong("Choose the setting.".to_owned())), false),
                waiting(&nth(10), Some(Becomes::Asks("as above; its name says pass 1".to_owned())), true),
                waiting(&nth(11), None, false),
                sent(&nth(12)),
            ],
            cells: vec![
                cell(1, 3, 0, ""),
                cell(2, 2, 1, ""),
                cell(3, 0, 1, ""),
                cell(4, 0, 0, ""),
                cell(5, 0, 0, "out of memory"),
            ],
            companions: vec![waiting(&sensors, None, false)],
            unplaced: vec![Unplaced {
                file: "x_sensors.csv".to_owned(),
                pass: "p7".to_owned(),
                frames: "x.csv".to_owned(),
                capture: 4,
                wanting: "x.csv".to_owned(),
                version: 1,
            }],
            passes: vec![("p7".to_owned(), "x.csv, pass 2".to_owned())],
            form: Assignment {
                twice: false,
                refused: "Tick the logs that become passes.".to_owned(),
                pattern: Field::wrong("{part}{scene}", "Two words need some text between them, such as '_'."),
                add: true,
                selects: vec![select.clone()],
                own: vec![select.clone()],
            },
            ..empty()
        };
        let guest = Intake {
            frame: Frame::signed_in("Ada Fenn", "guest", "Pieces"),
            frames: vec![waiting(&log, None, false)],
            ..empty()
        };
        vec![empty(), full, guest]
    }
}
