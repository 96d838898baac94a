//! What `measure` says of one segment, as the keys of its JSON. A value that cannot be had is null, never 0.

use std::collections::BTreeMap;

use serde::Serialize;
use weighhouse_measure::intake::Layout;
use weighhouse_measure::measures::{FrameTimes, LowDefinition, Lows, Measure, PassMeasures, Tail, versions};
use weighhouse_measure::recording::{Kind, Problem, Recording, Role, Unit};
use weighhouse_measure::screens::Flag;

/// One segment of a log, or a log that gave none.
#[derive(Debug, Serialize)]
pub(super) struct Report {
    /// Path as it was given.
    pub(super) file: String,
    /// Name inside a container; empty for a plain file.
    pub(super) member: String,
    /// Number of the segment in its log, from 1.
    pub(super) segment: Option<usize>,
    /// Frames or companion.
    pub(super) kind: Option<Kind>,
    /// Number of frames.
    pub(super) frames: Option<usize>,
    /// Their time; the span of a companion.
    pub(super) seconds: Option<f64>,
    /// Frames divided by seconds.
    pub(super) average_fps: Option<f64>,
    /// Half the width of the average's interval from this pass alone.
    #[serde(skip)]
    pub(super) average_at_least: Option<f64>,
    /// The same of the 1% low, quantile.
    #[serde(skip)]
    pub(super) low_at_least: Option<f64>,
    /// The six lows.
    #[serde(flatten)]
    pub(super) lows: Lows<f64>,
    /// Percentiles of frame times.
    pub(super) frame_time_ms: Option<FrameTimes>,
    /// Mean power.
    pub(super) power_w: Option<f64>,
    /// Energy divided by frames.
    pub(super) joules_per_frame: Option<f64>,
    /// What the screens found.
    pub(super) flags: Vec<FlagReport>,
    /// What is good to know.
    pub(super) notices: Vec<String>,
    /// What could not be understood.
    pub(super) problems: Vec<Problem>,
    /// How the columns were read.
    pub(super) layout: Vec<ColumnReport>,
    /// Version of each measure.
    pub(super) methods: BTreeMap<&'static str, u32>,
    /// Why there is no measure.
    pub(super) error: Option<String>,
}

/// A flag, in seconds from the first frame.
#[derive(Debug, Serialize)]
pub(super) struct FlagReport {
    /// Key of its kind.
    pub(super) kind: &'static str,
    /// Where it begins.
    pub(super) start_s: f64,
    /// Where it ends.
    pub(super) end_s: f64,
    /// In words.
    pub(super) says: String,
}

/// How a column was read.
#[derive(Debug, Serialize)]
pub(super) struct ColumnReport {
    /// Its number, from 1.
    pub(super) column: u32,
    /// What it is.
    pub(super) role: Role,
    /// In which unit.
    pub(super) unit: Unit,
    /// Why.
    pub(super) why: String,
}

impl Report {
    /// A log that gave no segment.
    pub(super) fn without(file: &str, member: &str, error: String) -> Self {
        Self {
            file: file.to_owned(),
            member: member.to_owned(),
            segment: None,
            kind: None,
            frames: None,
            seconds: None,
            average_fps: None,
            average_at_least: None,
            low_at_least: None,
            lows: Lows::default(),
            frame_time_ms: None,
            power_w: None,
            joules_per_frame: None,
            flags: Vec::new(),
            notices: Vec::new(),
            problems: Vec::new(),
            layout: Vec::new(),
            methods: BTreeMap::new(),
            error: Some(error),
        }
    }

    /// A companion: its span, and how it was read.
    pub(super) fn companion(file: &str, member: &str, recording: &Recording) -> Self {
        Self {
            kind: Some(Kind::Companion),
            seconds: Some(recording.span_ns() as f64 / 1e9),
            error: None,
            ..Self::without(file, member, String::new())
        }
    }

    /// Frames with their measures and flags.
    pub(super) fn frames(file: &str, member: &str, measures: &PassMeasures, flags: Vec<Flag>) -> Self {
        let seconds = |ns: i64| ns as f64 / 1e9;
        let half = |measure| measures.interval(measure).map(|interval| (interval.high - interval.low) / 2.0);
        Self {
            kind: Some(Kind::Frames),
            frames: Some(measures.frames),
            seconds: measures.seconds,
            average_fps: measures.average_fps,
            average_at_least: half(Measure::AverageFps),
            low_at_least: half(Measure::Low(LowDefinition::Quantile, Tail::OnePercent)),
            lows: measures.lows,
            frame_time_ms: measures.frame_time_ms,
            power_w: measures.power_w,
            joules_per_frame: measures.joules_per_frame,
            flags: flags
                .into_iter()
                .map(|f| FlagReport {
                    kind: f.kind.key(),
                    start_s: seconds(f.start_ns),
                    end_s: seconds(f.end_ns),
                    says: f.says,
                })
                .collect(),
            methods: versions().collect(),
            error: None,
            ..Self::without(file, member, String::new())
        }
    }

    /// Adds which segment it is and how it was read.
    pub(super) fn read_as(mut self, segment: usize, layout: &Layout, problems: &[Problem]) -> Self {
        self.segment = Some(segment);
        self.problems = problems.to_vec();
        self.layout = layout
            .columns
            .iter()
            .map(|c| ColumnReport { column: c.index, role: c.role, unit: c.unit, why: c.why.clone() })
            .collect();
        self
    }
}
