//! How the columns of one kind of log are read: the layout, the question where it is not certain, and the answer.

use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

use super::text::Encoding;
use crate::recording::{Kind, Role, Unit};

/// Version of the layout's form.
pub const FORM: u16 = 1;

/// Whether a row's stamp was taken at the start of its frame or at its end.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum StampAt {
    /// At its start.
    Start,
    /// At its end.
    End,
}

/// One column: what it is and why we say so.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Column {
    /// Position in the table, from 1.
    pub index: u32,
    /// Header as written, or `column N`.
    pub name: String,
    /// What it is.
    pub role: Role,
    /// Unit in which it is written.
    pub unit: Unit,
    /// The proof, in words.
    pub why: String,
}

/// How the columns of a kind of log are read.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Layout {
    /// [`FORM`].
    pub form: u16,
    /// Frames or companion.
    pub kind: Kind,
    /// Character between cells.
    pub delimiter: char,
    /// Decimal mark.
    pub decimal: char,
    /// Encoding of the text.
    pub encoding: Encoding,
    /// Line of the header, from 1; 0 when there is none.
    pub header_line: u64,
    /// Position of the column whose stamps time the rows, from 1; `None` when the durations' running sum does.
    pub clock: Option<u32>,
    /// Where in its frame a row's stamp was taken.
    pub stamp_at: StampAt,
    /// All columns, in the order of the table.
    pub columns: Vec<Column>,
    /// Whether groups of three digits are set apart in its numbers.
    #[serde(default)]
    pub grouped: bool,
    /// The program whose rows are read, where several wrote into one log.
    #[serde(default)]
    pub only: Option<Only>,
    /// What is done with rows that are marked as dropped.
    #[serde(default)]
    pub dropped: Option<Dropped>,
}

/// The rows of one program.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Only {
    /// Column that names the program, from 1.
    pub column: u32,
    /// Its name there.
    pub is: String,
}

/// A column that marks frames which were made and not shown.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Dropped {
    /// Its position, from 1.
    pub column: u32,
    /// Whether a marked row counts as a frame; else its time goes to the frame before it.
    pub counts: bool,
}

impl Layout {
    /// What a log of this kind is known again by: SHA-256 (hex) of delimiter, number of columns and their names
    /// without case and extra spaces, each with its length before it.
    pub fn shape(&self) -> String {
        shape(self.delimiter, self.columns.iter().map(|c| c.name.as_str()))
    }

    /// First column with this role.
    pub fn column(&self, role: Role) -> Option<&Column> {
        self.columns.iter().find(|c| c.role == role)
    }

    /// The layout that a person's answer to a question gives: one role and unit for each column, and whether the
    /// rows are frames.
    ///
    /// # Errors
    /// In words, when the answer does not say how the rows are timed.
    pub fn answer(question: &Question, kind: Kind, chosen: &[(Role, Unit)]) -> Result<Self, String> {
        let guess = &question.guess;
        if chosen.len() != guess.columns.len() {
            return Err(format!(
                "The log has {} columns, the answer names {}: give one role and unit for each.",
                guess.columns.len(),
                chosen.len()
            ));
        }
        let mut layout = guess.clone();
        layout.kind = kind;
        for (column, &(role, unit)) in layout.columns.iter_mut().zip(chosen) {
            let timed = matches!(role, Role::Elapsed | Role::FrameTime);
            if timed && !super::headers::is_time(unit) {
                return Err(format!("Column {} ({}) needs a unit of time.", column.index, column.name));
            }
            if (column.role, column.unit) != (role, unit) {
                (column.role, column.unit) = (role, unit);
                "said by a person".clone_into(&mut column.why);
            }
        }
        let place = |role| layout.column(role).map(|c| c.index);
        let (durations, elapsed, wall) =
            (place(Role::FrameTime), place(Role::Elapsed), place(Role::WallClock));
        for role in [Role::FrameTime, Role::Elapsed] {
            if layout.columns.iter().filter(|c| c.role == role).count() > 1 {
                return Err("Only one column can hold the frame times, and only one the elapsed time.".into());
            }
        }
        let clock = guess.clock.filter(|c| Some(*c) == elapsed || Some(*c) == wall).or(elapsed).or(wall);
        if clock.is_none() && (durations.is_none() || kind == Kind::Companion) {
            return Err("No column times the rows: say which holds the elapsed time, the wall clock or the frame times.".into());
        }
        layout.clock = clock;
        Ok(layout)
    }
}

/// See [`Layout::shape`].
pub fn shape<'a>(delimiter: char, names: impl Iterator<Item = &'a str>) -> String {
    let names: Vec<String> =
        names.map(|n| n.split_whitespace().collect::<Vec<_>>().join(" ").to_lowercase()).collect();
    let mut digest = Sha256::new();
    digest.update(format!("layout {FORM} {} {}", u32::from(delimiter), names.len()));
    for name in &names {
        digest.update(format!(" {}:", name.len()));
        digest.update(name);
    }
    digest.finalize().iter().map(|b| format!("{b:02x}")).collect()
}

/// One way the log may be read, with what it would give.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Candidate {
    /// In words.
    pub says: String,
    /// The layout itself.
    pub layout: Layout,
    /// Frames (rows of a companion).
    pub frames: u64,
    /// Their time, seconds.
    pub seconds: f64,
    /// Frames divided by seconds.
    pub average_fps: f64,
}

impl Candidate {
    /// The way and what it would give, as a clause.
    pub fn in_words(&self) -> String {
        let Self { says, frames, seconds, .. } = self;
        match self.layout.kind {
            Kind::Frames => {
                format!("{says} ({frames} frames in {seconds:.3} s, {:.3} fps)", self.average_fps)
            }
            Kind::Companion => format!("{says} ({frames} samples over {seconds:.3} s)"),
        }
    }
}

/// What a person has to say before a log can be read.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Question {
    /// Why it is not certain, in words.
    pub why: String,
    /// First rows of the log, as written.
    pub rows: Vec<Vec<String>>,
    /// What is known or guessed of each column; the start for an answer.
    pub guess: Layout,
    /// Ways to read it, the likeliest first.
    pub candidates: Vec<Candidate>,
}
