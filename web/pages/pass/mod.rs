//! One pass beside its siblings: strips, measures, window, flags and ruling, remarks, companions, history.

mod ledger;
mod remarks;
mod samples;
mod window;

use askama::Template;
use jiff::Timestamp;
use serde::Serialize;
use weighhouse_measure::recording::Role;

use super::{Field, Frame, Page};
use crate::marks::Mark;
use crate::{format, paths};

pub use ledger::{CellSays, Hitch, Row, Step};
pub use remarks::{NewRemark, Remark, RemarkSaid};
pub use window::Window;

/// The page.
#[derive(Template, Serialize)]
#[template(path = "pass.html")]
pub struct Pass {
    #[serde(skip)]
    /// Around the page.
    pub frame: Frame,
    /// Key in addresses.
    pub key: String,
    /// Number within its cell.
    pub number: i64,
    /// How it stands.
    pub mark: Mark,
    /// What it is a pass of, and what it ran on.
    pub about: About,
    /// Piece in whose context it is seen: key and name; none where no piece selects its cell.
    pub piece: Option<(String, String)>,
    /// The other pieces that select its cell.
    pub other_pieces: Vec<(String, String)>,
    /// All passes of the cell, by number.
    pub siblings: Vec<Sibling>,
    #[serde(skip)]
    /// The strips as SVG.
    pub strip: String,
    /// End of the longest pass of the cell, s, as plain decimal text.
    pub strip_end_s: String,
    /// Length of a step of the table beside the strips, ns.
    pub step_ns: i64,
    /// Its frames in steps of time.
    pub steps: Vec<Step>,
    /// The measures.
    pub ledger: Vec<Row>,
    /// Its hitches.
    pub hitches: Vec<Hitch>,
    /// Each measure and screen with its version.
    pub versions: Vec<(String, u32)>,
    #[serde(skip)]
    /// How frame times are spread, as SVG; empty without frames.
    pub spread: String,
    #[serde(skip)]
    /// The same added up.
    pub shares: String,
    /// What screens found.
    pub flags: Vec<Flag>,
    /// What is good to know.
    pub notices: Vec<String>,
    /// Cautions of a tuning past the maker's limits: its name; empty otherwise.
    pub past_limits: String,
    /// The ruling that stands, and the form.
    pub ruling: Ruling,
    /// Passes whose place it took or that took its: key, and which in words.
    pub places: Vec<(String, String)>,
    /// The window, and the form.
    pub window: Window,
    /// Remarks, oldest first.
    pub remarks: Vec<Remark>,
    #[serde(skip)]
    /// The form for one more.
    pub remark: NewRemark,
    /// Logs of other loggers.
    pub companions: Vec<Companion>,
    /// Who did what, oldest first.
    pub history: Vec<Event>,
}

/// What a pass is of and what it ran on.
#[derive(Clone, Debug, Default, Serialize)]
pub struct About {
    /// Maker and model.
    pub part: String,
    /// How it is run.
    pub tuning: String,
    /// Game and passage.
    pub scene: String,
    /// Resolution, preset and so on.
    pub setting: String,
    /// The rig.
    pub rig: String,
    /// The sample.
    pub unit: String,
    /// Driver of the part.
    pub driver: String,
    /// Whether the piece declares that driver for the part; true without a piece.
    pub declared: bool,
    /// Driver that the piece declares for the part, if any.
    pub declares: Option<String>,
    /// Build of the game.
    pub build: String,
    /// SHA-256 of the settings file, hexadecimal, where the rig sent it.
    pub settings: Option<String>,
    /// Row id of the capture.
    pub capture_id: i64,
    /// Its file name.
    pub capture: String,
    /// Its SHA-256, hexadecimal.
    pub digest: String,
    /// When it was recorded, where its log has a wall clock.
    pub recorded: Option<Timestamp>,
}

impl About {
    /// That it ran with another driver than the piece declares.
    fn other_driver(&self) -> Option<String> {
        let declares = self.declares.as_ref().filter(|_| !self.declared)?;
        let (driver, part) = (&self.driver, &self.part);
        Some(format!("It was run with driver {driver}; the piece declares {declares} for {part}."))
    }
}

/// A pass of the same cell.
#[derive(Clone, Debug, Serialize)]
pub struct Sibling {
    /// Key in addresses.
    pub key: String,
    /// Number within the cell.
    pub number: i64,
    /// How it stands.
    pub mark: Mark,
    /// Its rig.
    pub rig: String,
    /// Whether it is the pass of the page.
    pub this: bool,
}

/// What a screen found.
#[derive(Clone, Debug, Serialize)]
pub struct Flag {
    /// Key of its kind.
    pub kind: String,
    /// Its kind in words.
    pub name: String,
    /// A sentence.
    pub says: String,
    /// ns from the first frame.
    pub start_ns: i64,
    /// ns from the first frame.
    pub end_ns: i64,
}

/// The ruling that stands, and the form for another.
#[derive(Clone, Debug, Default, Serialize)]
pub struct Ruling {
    /// `keep`, `set aside`, `run again`; empty: none stands.
    pub verdict: String,
    /// Its reason.
    pub reason: String,
    /// Who made it.
    pub by: String,
    /// When.
    pub at: Option<Timestamp>,
    /// For stale forms.
    pub version: i64,
    /// What another person ruled otherwise, in a sentence: both stand until they are settled. Empty: nobody did.
    pub against: String,
    #[serde(skip)]
    /// The reason as written.
    pub written: Field,
    #[serde(skip)]
    /// Reasons that come up again and again.
    pub usual: Vec<String>,
}

/// A log of another logger.
#[derive(Clone, Debug, Serialize)]
pub struct Companion {
    /// Row id.
    pub id: i64,
    /// File name.
    pub capture: String,
    /// `wall clock`, `start time`, `hand`; empty: not placed.
    pub placed_by: String,
    /// Pass time of its first row, ns.
    pub offset_ns: Option<i64>,
    /// Rows.
    pub rows: i64,
    /// For stale forms.
    pub version: i64,
    /// Drift of its clock, parts in 1e9.
    pub drift_ppb: i64,
    /// Where it could stand, by what both logs saw; for one that is not placed.
    pub proposed: Option<Proposed>,
    /// Why nothing is proposed; empty: it is, or it is placed.
    pub not_proposed: String,
    /// Moves that a placed one is offered: by how many seconds, and to where.
    #[serde(skip)]
    pub nudges: Vec<(String, String)>,
    #[serde(skip)]
    /// Offset in seconds, as written.
    pub offset: Field,
}

/// A placing that both logs speak for.
#[derive(Clone, Debug, Serialize)]
pub struct Proposed {
    /// Pass time of its first row in seconds, exactly.
    pub offset: String,
    /// Drift of its clock, parts in 1e9.
    pub drift_ppb: i64,
    /// By power or by load.
    pub by: Role,
    /// The offset, ns.
    pub at_ns: i64,
    /// Correlation there.
    pub peak: f64,
    /// The highest one elsewhere.
    pub second: f64,
    /// Good to about this, ns.
    pub good_to_ns: i64,
}

impl Proposed {
    fn says(&self) -> String {
        let by = crate::logs::role_word(self.by);
        format!(
            "Its {by} follows the work of the frames best with its first row at {} (correlation {}, elsewhere {} at most; good to about {}).",
            format::at_ns(self.at_ns),
            format::fixed(self.peak, 2),
            format::fixed(self.second, 2),
            format::at_ns(self.good_to_ns),
        )
    }
}

/// A step in the history of a pass.
#[derive(Clone, Debug, Serialize)]
pub struct Event {
    /// When.
    pub at: Timestamp,
    /// Who.
    pub by: String,
    /// What, in a sentence.
    pub what: String,
}

impl Pass {
    /// Whether the reader wrote it.
    fn mine(&self, by: &str) -> bool {
        self.frame.person.as_ref().is_some_and(|person| person.name == by)
    }

    fn when(at: &Timestamp) -> String {
        format::moment(*at, "UTC")
    }

    fn href(&self, key: &str) -> String {
        self.staying(paths::pass(key))
    }

    fn in_piece(&self, piece: &str) -> String {
        paths::in_piece(&paths::pass(&self.key), piece)
    }

    /// An address of a pass, which leads back to the piece that one came from.
    fn staying(&self, path: impl AsRef<str>) -> String {
        paths::in_piece(path.as_ref(), self.piece.as_ref().map_or("", |(key, _)| key.as_str()))
    }

    fn log_href(&self) -> String {
        self.staying(paths::cuts(self.window.log))
    }

    fn strip_href(&self) -> String {
        self.staying(paths::pass_strip(&self.key))
    }

    fn step_length(&self) -> String {
        format::at_ns(self.step_ns)
    }

    fn hitches_said(&self) -> String {
        format::plural(self.hitches.len().try_into().unwrap_or(u64::MAX), "hitch", "hitches")
    }

    fn capture_href(&self) -> String {
        paths::capture(self.about.capture_id)
    }

    /// The sibling after this one, the first after the last.
    fn next(&self) -> Option<&Sibling> {
        let at = self.siblings.iter().position(|sibling| sibling.this)?;
        let next = self.siblings.get(at + 1).or(self.siblings.first())?;
        (!next.this).then_some(next)
    }

    /// The measures that a pass is judged by, or the others.
    fn rows(&self, first: bool) -> impl Iterator<Item = &Row> {
        self.ledger.iter().filter(move |row| row.comes_first() == first)
    }

    fn kinds(&self) -> Vec<&str> {
        let mut kinds: Vec<&str> = self.flags.iter().map(|flag| flag.kind.as_str()).collect();
        kinds.sort_unstable();
        kinds.dedup();
        kinds
    }
}

impl Flag {
    fn at(&self) -> String {
        format::span_ns(self.start_ns, self.end_ns)
    }
}

impl Ruling {
    fn made(&self) -> String {
        self.at.map_or_else(String::new, |at| Pass::when(&at))
    }
}

impl Companion {
    /// Whether a person has to say where it stands, or was refused.
    fn open(&self) -> bool {
        (self.offset_ns.is_none() && self.proposed.is_none()) || !self.offset.error.is_empty()
    }

    fn action(&self, pass: &str) -> String {
        paths::pass_companion(pass, self.id)
    }

    fn rows_said(&self) -> String {
        format::plural(self.rows.unsigned_abs(), "row", "rows")
    }

    fn stands(&self) -> String {
        match self.offset_ns {
            Some(ns) => format!("placed by {}, its first row at {}", self.placed_by, format::at_ns(ns)),
            None => "not placed: its power, clocks and temperatures are not used".to_owned(),
        }
    }

    fn field(&self) -> String {
        format!("offset-{}", self.id)
    }
}

impl Page for Pass {
    fn title(&self) -> String {
        format!("Pass {} of {}", self.number, self.about.scene)
    }

    fn samples() -> Vec<Self> {
        samples::all()
    }
}
