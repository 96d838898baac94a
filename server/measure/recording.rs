//! What reading a segment of a capture gives: the one shape that every measure, screen and strip works on.

use serde::{Deserialize, Serialize};

/// Nanoseconds in a second.
pub const NS_PER_S: i64 = 1_000_000_000;

/// Whether a recording holds frames or only what was sampled beside them.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Kind {
    /// A row for each frame.
    Frames,
    /// Sensor or meter rows on their own clock.
    Companion,
}

/// What a column of a log is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Role {
    /// Time since some start of the logger's own.
    Elapsed,
    /// Date and time of day.
    WallClock,
    /// Duration of a frame.
    FrameTime,
    /// Instantaneous frame rate (never averaged: design, section 6).
    Rate,
    /// Time a processor worked on the frame.
    CpuWork,
    /// Time the card worked on the frame.
    CardWork,
    /// Delay from input or submission to the shown frame.
    Latency,
    /// Electrical power.
    Power,
    /// Clock of the part's core.
    Clock,
    /// Temperature.
    Temperature,
    /// Load, as a share.
    Load,
    /// Name of the program that drew the frame.
    Program,
    /// Running number.
    Counter,
    /// A number that never changes.
    Constant,
    /// Words.
    Text,
    /// A number with a header we know and no role that we use.
    Other,
}

/// Unit in which a column was written. Values in a [`Track`] are already in the base unit of its role.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub enum Unit {
    /// seconds
    #[serde(rename = "s")]
    Second,
    /// milliseconds
    #[serde(rename = "ms")]
    Millisecond,
    /// microseconds
    #[serde(rename = "us")]
    Microsecond,
    /// nanoseconds
    #[serde(rename = "ns")]
    Nanosecond,
    /// an ISO 8601 stamp
    #[serde(rename = "ISO 8601")]
    Iso8601,
    /// a time of day without a date
    #[serde(rename = "time of day")]
    TimeOfDay,
    /// frames per second
    #[serde(rename = "fps")]
    FramesPerSecond,
    /// watts
    #[serde(rename = "W")]
    Watt,
    /// milliwatts
    #[serde(rename = "mW")]
    Milliwatt,
    /// hertz
    #[serde(rename = "Hz")]
    Hertz,
    /// megahertz
    #[serde(rename = "MHz")]
    Megahertz,
    /// gigahertz
    #[serde(rename = "GHz")]
    Gigahertz,
    /// degrees Celsius
    #[serde(rename = "°C")]
    Celsius,
    /// per cent
    #[serde(rename = "%")]
    Percent,
    /// a plain number or words
    #[serde(rename = "")]
    None,
}

/// A column with role and unit, one value for each row of its recording.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Track {
    /// What it is.
    pub role: Role,
    /// The unit it was written in (for display; `values` are in the role's base unit).
    pub unit: Unit,
    /// Its header in the log, or `column N`.
    pub name: String,
    /// Base units: seconds, watts, hertz, degrees Celsius, load as a share of 1. `NaN` where the cell is empty.
    pub values: Vec<f64>,
}

/// A segment, read.
///
/// Frames: `at_ns[i]` is the start of frame `i`, `frame_ns[i]` (> 0) its duration. Companions: `at_ns[i]` is the
/// time of sample `i` and `frame_ns` is empty. Times are whole nanoseconds from the first row, so that sums
/// are exact; `at_ns` never decreases. Rows that could not be used (no duration, not a number, zero or negative)
/// are not in here; they are in the problems that reading returned.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Recording {
    /// Frames or companion.
    pub kind: Kind,
    /// UTC nanoseconds since 1970 of the first row, where the log has a wall clock.
    pub wall_start_ns: Option<i64>,
    /// Time of each row, ns from the first row.
    pub at_ns: Vec<i64>,
    /// Duration of each frame, ns; empty for companions.
    pub frame_ns: Vec<i64>,
    /// All other columns in use, each as long as `at_ns`.
    pub tracks: Vec<Track>,
}

impl Recording {
    /// Number of rows.
    pub fn rows(&self) -> usize {
        self.at_ns.len()
    }

    /// End of the last frame (or time of the last sample), ns from the first row; 0 when empty.
    pub fn span_ns(&self) -> i64 {
        let last = self.at_ns.last().copied().unwrap_or(0);
        last + self.frame_ns.last().copied().unwrap_or(0)
    }

    /// The window that takes in the whole recording.
    pub fn whole(&self) -> Window {
        Window { start_ns: 0, end_ns: self.span_ns() }
    }

    /// First track with this role.
    pub fn track(&self, role: Role) -> Option<&Track> {
        self.tracks.iter().find(|t| t.role == role)
    }
}

/// The part of a pass that counts: `[start_ns, end_ns)` from its first frame. A frame belongs to a window when it
/// *starts* in it (design, section 6).
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct Window {
    /// Included.
    pub start_ns: i64,
    /// Excluded.
    pub end_ns: i64,
}

impl Window {
    /// Row range of the rows that start in the window. `at_ns` must not decrease.
    pub fn rows(&self, at_ns: &[i64]) -> std::ops::Range<usize> {
        let from = at_ns.partition_point(|&t| t < self.start_ns);
        let to = at_ns.partition_point(|&t| t < self.end_ns);
        from..to.max(from)
    }

    /// Length in nanoseconds.
    pub fn length_ns(&self) -> i64 {
        self.end_ns - self.start_ns
    }
}

/// Where a companion's clock stands on its pass's clock.
///
/// Sample at companion time `t` happened at pass time `offset_ns + t + t * drift_ppb / 1e9`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Placing {
    /// Pass time of the companion's first row, ns.
    pub offset_ns: i64,
    /// Drift of the companion's clock, parts in 1e9.
    pub drift_ppb: i64,
}

/// A companion with its placing.
#[derive(Clone, Copy, Debug)]
pub struct Placed<'a> {
    /// The companion's rows.
    pub recording: &'a Recording,
    /// Where they stand in the pass.
    pub placing: Placing,
}

/// What could not be understood, and where: reading never fails silently.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Problem {
    /// Line in the file, from 1; 0 when it concerns the whole file.
    pub line: u64,
    /// Column of the table, from 1; 0 when it concerns the whole line.
    pub column: u32,
    /// In words, with the mend.
    pub says: String,
}
