//! What was understood of a log, in words: in the answer to its upload and on the intake page.

use jiff::Timestamp;
use serde::Serialize;
use weighhouse_measure::intake::Column;
use weighhouse_measure::recording::{Kind, NS_PER_S, Problem, Role, Unit};

use crate::format;

/// A segment of a log that was read.
#[derive(Clone, Debug, Serialize)]
pub struct Log {
    /// Number of the segment.
    pub segment: i64,
    /// Number of its capture.
    pub capture: i64,
    /// File name; with the file inside it and the number of the stretch, where there are several.
    pub file: String,
    /// Frames or companion.
    pub kind: Kind,
    /// Frames, or rows of a companion.
    pub rows: u64,
    /// Sum of the frames' durations; from the first to the last row of a companion.
    pub seconds: f64,
    /// Frames divided by their time.
    pub average_fps: Option<f64>,
    /// Time of the first row, where the log has a wall clock.
    pub wall_start: Option<Timestamp>,
    /// What was understood, in a sentence.
    pub says: String,
    /// Each column that is used, in full: `column 2 'frame_ms' frame time in ms`.
    pub read: Vec<String>,
    /// How each column was read, and why.
    pub layout: Vec<Column>,
    /// What could not be understood, and where.
    pub problems: Vec<Problem>,
}

impl Log {
    /// `3 problems`.
    pub fn problem_count(&self) -> String {
        format::plural(count(self.problems.len()), "problem", "problems")
    }

    /// How much it holds: `8243 frames over 60.0 s, 137.4 fps`.
    pub fn size(&self) -> String {
        size(self.kind, self.rows, self.seconds, self.average_fps)
    }

    /// Puts the sentence together: the other fields must stand.
    #[must_use]
    pub fn said(mut self) -> Self {
        let used: Vec<&Column> = self.layout.iter().filter(|column| is_used(column.role)).collect();
        let of =
            format!("{} of {}", used.len(), format::plural(count(self.layout.len()), "column", "columns"));
        let roles = read_words(&self.layout);
        let in_full =
            |column: &&Column| format!("column {} '{}' {}", column.index, column.name, read_as(column));
        self.read = used.iter().map(in_full).collect();
        let problems =
            if self.problems.is_empty() { String::new() } else { format!(" {}.", self.problem_count()) };
        self.says = format!("{}; read {of}: {}.{problems}", self.size(), roles);
        self
    }
}

/// `frame time in ms`.
pub fn read_as(column: &Column) -> String {
    let unit = unit_word(column.unit);
    let unit = if unit.is_empty() { String::new() } else { format!(" in {unit}") };
    format!("{}{unit}", role_word(column.role))
}

fn count(n: usize) -> u64 {
    u64::try_from(n).unwrap_or(u64::MAX)
}

/// `line 7, column 2: ...`; a problem of the whole line or file says less.
pub fn problem_words(problem: &Problem) -> String {
    match (problem.line, problem.column) {
        (0, _) => problem.says.clone(),
        (line, 0) => format!("line {}: {}", format::count(line), problem.says),
        (line, column) => format!("line {}, column {column}: {}", format::count(line), problem.says),
    }
}

/// Nanoseconds as seconds.
#[expect(
    clippy::cast_precision_loss,
    reason = "spans of logs are far below 2^53 ns; rounding is of the last bit"
)]
pub fn seconds(ns: i64) -> f64 {
    ns as f64 / NS_PER_S as f64
}

/// Frames divided by their time.
#[expect(clippy::cast_precision_loss, reason = "numbers of frames are far below 2^53")]
pub fn rate(frames: u64, seconds: f64) -> f64 {
    frames as f64 / seconds
}

/// All roles that a person may choose for a column, in the order of the form.
pub const ROLES: &[Role] = &[
    Role::FrameTime,
    Role::Elapsed,
    Role::WallClock,
    Role::Rate,
    Role::CpuWork,
    Role::CardWork,
    Role::Latency,
    Role::Power,
    Role::Clock,
    Role::Temperature,
    Role::Load,
    Role::Program,
    Role::Counter,
    Role::Constant,
    Role::Text,
    Role::Other,
];

/// All units, in the order of the form.
pub const UNITS: &[Unit] = &[
    Unit::None,
    Unit::Second,
    Unit::Millisecond,
    Unit::Microsecond,
    Unit::Nanosecond,
    Unit::Iso8601,
    Unit::TimeOfDay,
    Unit::FramesPerSecond,
    Unit::Watt,
    Unit::Milliwatt,
    Unit::Hertz,
    Unit::Megahertz,
    Unit::Gigahertz,
    Unit::Celsius,
    Unit::Percent,
];

/// What a column can be, and which of it is chosen.
pub fn roles(column: &Column) -> Vec<(&'static str, bool)> {
    ROLES.iter().map(|role| (role_word(*role), *role == column.role)).collect()
}

/// Its units, and which is chosen.
pub fn units(column: &Column) -> Vec<(&'static str, bool)> {
    UNITS.iter().map(|unit| (unit_word(*unit), *unit == column.unit)).collect()
}

/// How much a log holds: `8243 frames over 60.0 s, 137.4 fps`.
pub fn size(kind: Kind, rows: u64, seconds: f64, average_fps: Option<f64>) -> String {
    let time = format::value(seconds, format::Unit::S);
    match (kind, average_fps) {
        (Kind::Frames, Some(fps)) => {
            let frames = format::plural(rows, "frame", "frames");
            format!("{frames} over {time}, {}", format::value(fps, format::Unit::Fps))
        }
        (Kind::Frames, None) => format::plural(rows, "frame", "frames"),
        (Kind::Companion, _) => {
            format!("companion with {} over {time}", format::plural(rows, "row", "rows"))
        }
    }
}

/// What the used columns are, each kind once: `frame time in ms, power in W`.
pub fn read_words(columns: &[Column]) -> String {
    let mut roles: Vec<String> = Vec::new();
    for role in columns.iter().filter(|column| is_used(column.role)).map(read_as) {
        if !roles.contains(&role) {
            roles.push(role);
        }
    }
    roles.join(", ")
}

fn is_used(role: Role) -> bool {
    !matches!(role, Role::Counter | Role::Constant | Role::Text | Role::Other)
}

/// The role in words.
pub fn role_word(role: Role) -> &'static str {
    match role {
        Role::Elapsed => "elapsed time",
        Role::WallClock => "wall clock",
        Role::FrameTime => "frame time",
        Role::Rate => "frame rate",
        Role::CpuWork => "processor work",
        Role::CardWork => "card work",
        Role::Latency => "latency",
        Role::Power => "power",
        Role::Clock => "clock",
        Role::Temperature => "temperature",
        Role::Load => "load",
        Role::Program => "program",
        Role::Counter => "running number",
        Role::Constant => "constant",
        Role::Text => "words",
        Role::Other => "not used",
    }
}

/// The unit as it is written behind a number; empty for a plain number or words.
pub fn unit_word(unit: Unit) -> &'static str {
    match unit {
        Unit::Second => "s",
        Unit::Millisecond => "ms",
        Unit::Microsecond => "us",
        Unit::Nanosecond => "ns",
        Unit::Iso8601 => "ISO 8601",
        Unit::TimeOfDay => "time of day",
        Unit::FramesPerSecond => "fps",
        Unit::Watt => "W",
        Unit::Milliwatt => "mW",
        Unit::Hertz => "Hz",
        Unit::Megahertz => "MHz",
        Unit::Gigahertz => "GHz",
        Unit::Celsius => "°C",
        Unit::Percent => "%",
        Unit::None => "",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn column(index: u32, name: &str, role: Role, unit: Unit) -> Column {
        Column { index, name: name.to_owned(), role, unit, why: String::new() }
    }

    fn log(kind: Kind, average_fps: Option<f64>) -> Log {
        Log {
            segment: 1,
            capture: 1,
            file: "a.csv".to_owned(),
            kind,
            rows: 8243,
            seconds: 60.0,
            average_fps,
            wall_start: None,
            says: String::new(),
            read: Vec::new(),
            layout: vec![
                column(1, "n", Role::Counter, Unit::None),
                column(2, "took", Role::FrameTime, Unit::Millisecond),
            ],
            problems: vec![Problem { line: 9, column: 2, says: "not a number".to_owned() }],
        }
    }

    #[test]
    fn a_log_says_how_much_it_holds_and_how_it_was_read() {
        let says = log(Kind::Frames, Some(8243.0 / 60.0)).said().says;
        assert!(says.starts_with("8243\u{a0}frames over 60"), "{says}");
        assert!(says.contains("137.4"), "{says}");
        assert!(says.ends_with("read 1 of 2\u{a0}columns: frame time in ms. 1\u{a0}problem."), "{says}");
        let mut clocks = log(Kind::Frames, None);
        clocks.layout.extend([3, 4].map(|n| column(n, &format!("core {n}"), Role::Clock, Unit::Megahertz)));
        let clocks = clocks.said();
        assert!(
            clocks.says.contains("read 3 of 4\u{a0}columns: frame time in ms, clock in MHz."),
            "{}",
            clocks.says
        );
        assert_eq!(clocks.read[0], "column 2 'took' frame time in ms");
        assert_eq!(clocks.read.len(), 3);
        assert!(log(Kind::Companion, None).said().says.starts_with("companion with 8243"));
    }

    #[test]
    fn a_problem_names_line_and_column_where_there_are_such() {
        let at = |line, column| problem_words(&Problem { line, column, says: "x".to_owned() });
        assert_eq!(
            (at(0, 0), at(3, 0), at(3, 2)),
            ("x".into(), "line 3: x".into(), "line 3, column 2: x".into())
        );
    }

    /// The words stand for what JSON says too.
    #[test]
    fn units_are_written_as_they_are_stored() {
        for unit in UNITS {
            assert_eq!(serde_json::to_value(unit).unwrap(), unit_word(*unit));
        }
    }
}
