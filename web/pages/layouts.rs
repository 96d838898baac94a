//! The team's layouts: how each kind of log is read, why, how often; one of them with an example; and what follows
//! from reading its logs otherwise.

use askama::Template;
use jiff::Timestamp;
use serde::Serialize;
use weighhouse_measure::intake::Column;
use weighhouse_measure::recording::{Kind, Role, Unit};

use super::{Frame, Page};
use crate::marks::Standing;
use crate::{format, logs, paths};

/// All layouts that logs are read with.
#[derive(Template, Serialize)]
#[template(path = "layouts.html")]
pub struct Layouts {
    /// Around the page.
    #[serde(skip)]
    pub frame: Frame,
    /// When the page was made.
    pub now: Timestamp,
    /// Last seen first.
    pub layouts: Vec<LayoutLine>,
}

/// What a layout says beside its columns; what it has no say in is `None`.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize)]
pub struct Beyond {
    /// Whether stamps were taken at the end of their frames; without stamps nothing.
    pub at_end: Option<bool>,
    /// The program whose rows are read, empty: all; without a column of programs nothing.
    pub program: Option<String>,
    /// Whether rows that are marked as dropped count as frames; without such marks nothing.
    pub dropped_count: Option<bool>,
}

impl Beyond {
    /// Each thing with what is said of it: `stamps are taken`, `at the end of frames`.
    fn said(&self) -> [(&'static str, Option<String>); 3] {
        let end = |at_end: bool| if at_end { "at the end of frames" } else { "at the start of frames" };
        let program = |name: &String| if name.is_empty() { "any".to_owned() } else { name.clone() };
        let count = |counts: bool| if counts { "as frames" } else { "as time of the frame before" };
        [
            ("stamps are taken", self.at_end.map(|at_end| end(at_end).to_owned())),
            ("program", self.program.as_ref().map(program)),
            ("dropped frames count", self.dropped_count.map(|counts| count(counts).to_owned())),
        ]
    }

    fn ends(&self) -> Vec<(&'static str, &'static str, bool)> {
        let at_end = self.at_end.unwrap_or_default();
        vec![
            ("start", "at the start of their frames", !at_end),
            ("end", "at the end of their frames", at_end),
        ]
    }
}

/// One of them.
#[derive(Clone, Debug, Serialize)]
pub struct LayoutLine {
    /// Row id.
    pub id: i64,
    /// Frames or companion.
    pub kind: Kind,
    /// Its columns.
    pub columns: Vec<Column>,
    /// What it says beside them.
    pub beyond: Beyond,
    /// Version for its header, from 1.
    pub version: i64,
    /// Who said so; empty: its own numbers.
    pub by: String,
    /// Logs that are read with it.
    pub logs: u64,
    /// Passes that rest on those.
    pub passes: u64,
    /// When the newest of them came; none: no log is read with it.
    pub last: Option<Timestamp>,
    /// That log's file name.
    pub file: String,
    /// Whether logs with this header are read so from now on, because a person said it.
    pub remembered: bool,
}

impl LayoutLine {
    /// `Frames: frame time in ms, power in W`.
    pub fn name(&self) -> String {
        let kind = match self.kind {
            Kind::Frames => "Frames",
            Kind::Companion => "Companion",
        };
        format!("{kind}: {}", logs::read_words(&self.columns))
    }

    /// Names of its columns as written, the first ones where there are many.
    fn header(&self) -> String {
        const SHOWN: usize = 6;
        let shown: Vec<&str> = self.columns.iter().take(SHOWN).map(|column| column.name.as_str()).collect();
        match self.columns.len().checked_sub(SHOWN).and_then(|more| u64::try_from(more).ok()) {
            None | Some(0) => shown.join(" · "),
            Some(more) => format!("{} and {} more", shown.join(" · "), format::count(more)),
        }
    }

    /// Why it is read so.
    fn proof(&self) -> String {
        if self.by.is_empty() { "its numbers prove it".to_owned() } else { format!("said by {}", self.by) }
    }

    fn ago(&self, now: &Timestamp) -> String {
        self.last.map_or_else(|| format::NOTHING.to_owned(), |last| format::ago(last, *now))
    }
}

/// One layout: how its columns are read and why, an example, and the form to read its logs otherwise.
#[derive(Template, Serialize)]
#[template(path = "layout_read.html")]
pub struct LayoutRead {
    /// Around the page.
    #[serde(skip)]
    pub frame: Frame,
    /// The layout.
    pub layout: LayoutLine,
    /// Newest version of its header.
    pub newest: i64,
    /// First rows of the newest log, as written; empty where they cannot be shown.
    pub rows: Vec<Vec<String>>,
    /// Capture of that log; none: there is none.
    pub capture: Option<i64>,
    /// Other ways in which logs with the same header are or were read, newest first.
    pub versions: Vec<LayoutVersion>,
    /// What was refused; empty when nothing was.
    #[serde(skip)]
    pub refused: String,
}

impl LayoutRead {
    /// Where the newest log is got.
    fn bytes(&self) -> String {
        self.capture.map_or_else(String::new, paths::capture)
    }
}

/// A version of a layout.
#[derive(Clone, Debug, Serialize)]
pub struct LayoutVersion {
    /// The layout.
    #[serde(flatten)]
    pub layout: LayoutLine,
    /// Since when.
    pub made: Timestamp,
}

/// What follows from reading the logs of a layout otherwise, before it is done.
#[derive(Template, Serialize)]
#[template(path = "layout_sure.html")]
pub struct LayoutSure {
    /// Around the page.
    #[serde(skip)]
    pub frame: Frame,
    /// The layout as it is.
    pub layout: LayoutLine,
    /// Newest version of its header.
    pub newest: i64,
    /// Frames or companion from then on.
    pub kind: Kind,
    /// Its columns as they would be.
    pub columns: Vec<Column>,
    /// What would be said beside them.
    pub beyond: Beyond,
    /// What the newest logs give now and would give.
    pub anew: Vec<Anew>,
    /// Figures that would lapse.
    pub lapsing: Vec<Lapsing>,
}

/// A log read otherwise.
#[derive(Clone, Debug, Serialize)]
pub struct Anew {
    /// Its file.
    pub file: String,
    /// What it gives now.
    pub now: String,
    /// What it would give, or why it stays as it is.
    pub then: String,
    /// Whether it stays as it is.
    pub stays: bool,
}

/// A figure that would lapse.
#[derive(Clone, Debug, Serialize)]
pub struct Lapsing {
    /// Name of its piece.
    pub piece: String,
    /// Its key.
    pub figure: String,
    /// What it is called.
    pub name: String,
    /// As it is printed.
    pub shown: String,
    /// Where it stands.
    pub standing: Standing,
}

impl LayoutSure {
    /// Each column that is read otherwise: its heading, what it is, what it would be.
    fn changes(&self) -> Vec<(String, String, String)> {
        let pairs = self.layout.columns.iter().zip(&self.columns);
        let columns =
            pairs.filter(|(old, new)| (old.role, old.unit) != (new.role, new.unit)).map(|(old, new)| {
                (format!("{} {}", old.index, old.name), logs::read_as(old), logs::read_as(new))
            });
        let now = self.layout.beyond.said();
        let beyond = now.into_iter().zip(self.beyond.said()).filter(|((_, old), (_, new))| old != new);
        let words = |said: Option<String>| said.unwrap_or_else(|| format::NOTHING.to_owned());
        let beyond = beyond.map(|((what, old), (_, new))| (what.to_owned(), words(old), words(new)));
        columns.chain(beyond).collect()
    }

    fn what(&self) -> String {
        let (logs, passes) = (
            format::plural(self.layout.logs, "log", "logs"),
            format::plural(self.layout.passes, "pass", "passes"),
        );
        format!("{logs} are read again; {passes} rest on them.")
    }

    fn kind_word(&self) -> &'static str {
        if self.kind == Kind::Frames { "frames" } else { "companion" }
    }
}

impl Page for Layouts {
    fn title(&self) -> String {
        "Layouts".to_owned()
    }

    fn samples() -> Vec<Self> {
        let page = |role: &str, layouts| Layouts {
            frame: Frame::signed_in("Maren Oake", role, "Layouts"),
            now: Timestamp::UNIX_EPOCH,
            layouts,
        };
        let mut wide = sample();
        wide.columns.extend((4..12).map(|n| column(n, "core clock [MHz]", Role::Clock, Unit::Megahertz)));
        let unused =
            LayoutLine { logs: 0, passes: 0, last: None, by: "Maren Oake".to_owned(), ..without_more() };
        vec![page("owner", vec![sample(), wide, unused]), page("guest", vec![])]
    }
}

impl Page for LayoutRead {
    fn title(&self) -> String {
        self.layout.name()
    }

    fn samples() -> Vec<Self> {
        let page = |role: &str, refused: &str, rows, versions| LayoutRead {
            frame: Frame::signed_in("Maren Oake", role, "Layouts"),
            layout: if refused.is_empty() { sample() } else { without_more() },
            newest: 2,
            rows,
            capture: Some(5),
            versions,
            refused: refused.to_owned(),
        };
        let rows = vec![vec!["0.0".to_owned(), "8.1".to_owned(), "251".to_owned()]];
        let old = LayoutVersion {
            layout: LayoutLine { version: 1, by: "Iver Stroud".to_owned(), logs: 2, ..sample() },
            made: Timestamp::UNIX_EPOCH,
        };
        let bare = LayoutVersion { layout: without_more(), made: Timestamp::UNIX_EPOCH };
        vec![
            page("member", "", rows, vec![old, bare]),
            page("member", "Column 2 (took) needs a unit of time.", vec![], vec![]),
            page("guest", "", vec![], vec![]),
        ]
    }
}

impl Page for LayoutSure {
    fn title(&self) -> String {
        "Read these logs otherwise?".to_owned()
    }

    fn samples() -> Vec<Self> {
        let page = |layout: LayoutLine, beyond, anew, lapsing| {
            let mut columns = layout.columns.clone();
            columns[1].unit = Unit::Microsecond;
            LayoutSure {
                frame: Frame::signed_in("Maren Oake", "owner", "Layouts"),
                layout,
                newest: 2,
                kind: Kind::Frames,
                columns,
                beyond,
                anew,
                lapsing,
            }
        };
        let anew = |then: &str, stays| Anew {
            file: "a.csv".to_owned(),
            now: "500 frames over 44 s".to_owned(),
            then: then.to_owned(),
            stays,
        };
        let figure = Lapsing {
            piece: "Is the Curlew worth it?".to_owned(),
            figure: "f1".to_owned(),
            name: "Curlew in Vellum Rally, average".to_owned(),
            shown: "87.3 fps".to_owned(),
            standing: Standing::Agreed,
        };
        vec![
            page(
                sample(),
                Beyond { at_end: Some(true), ..sample().beyond },
                vec![anew("500 frames over 0.044 s", false), anew("it does not fit", true)],
                vec![figure],
            ),
            page(without_more(), Beyond::default(), vec![], vec![]),
        ]
    }
}

fn column(index: u32, name: &str, role: Role, unit: Unit) -> Column {
    let why = "its running sum follows column 1 to 0.02 %".to_owned();
    Column { index, name: name.to_owned(), role, unit, why }
}

/// The same with nothing to say beside its columns.
fn without_more() -> LayoutLine {
    LayoutLine { beyond: Beyond::default(), ..sample() }
}

fn sample() -> LayoutLine {
    LayoutLine {
        id: 3,
        kind: Kind::Frames,
        columns: vec![
            column(1, "at", Role::Elapsed, Unit::Second),
            column(2, "took", Role::FrameTime, Unit::Millisecond),
            column(3, "board [W]", Role::Power, Unit::Watt),
        ],
        beyond: Beyond {
            at_end: Some(false),
            program: Some("lamps.exe".to_owned()),
            dropped_count: Some(false),
        },
        version: 2,
        by: String::new(),
        logs: 120,
        passes: 118,
        last: Some(Timestamp::UNIX_EPOCH),
        file: "dunlin_hairpin_2160p_alder_p1.csv".to_owned(),
        remembered: false,
    }
}
