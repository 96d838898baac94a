//! The ledger column of a pass: each measure with what this pass says, what its cell says, and why where it says nothing.

use serde::Serialize;
use weighhouse_measure::measures::{Interval, Measure};

use crate::format::{self, Unit};

/// A measure.
#[derive(Clone, Debug, Serialize)]
pub struct Row {
    /// Which.
    pub measure: Measure,
    /// Spelled out; a low's says how it is computed.
    pub name: String,
    /// From this pass; none where it cannot be had.
    pub value: Option<f64>,
    /// From this pass only.
    pub interval: Option<Interval>,
    /// Why there is no value or no interval; empty where there are both, or none is given for this measure.
    pub why: String,
    /// Over the kept passes of the cell.
    pub cell: Option<CellSays>,
    /// Whether it is the low that the piece declares.
    pub declared: bool,
    #[serde(skip)]
    /// Where a figure is made of the cell's value; empty where none can be.
    pub figure: String,
}

/// What a cell's kept passes say.
#[derive(Clone, Debug, Serialize)]
pub struct CellSays {
    /// Geometric mean.
    pub value: f64,
    /// 95% interval.
    pub interval: Option<Interval>,
    /// Passes it rests on.
    pub passes: u64,
}

/// How a measure's values are shown.
enum Shown {
    /// In this unit, after multiplying.
    In(Unit, f64),
    /// A whole count.
    Count,
}

fn shown(measure: Measure) -> Shown {
    match (measure, measure.unit()) {
        (Measure::Frames | Measure::HitchCount, _) => Shown::Count,
        (Measure::LoadMean, _) => Shown::In(Unit::Percent, 100.0),
        (_, "fps") => Shown::In(Unit::Fps, 1.0),
        (_, "ms") => Shown::In(Unit::Ms, 1.0),
        (_, "s") => Shown::In(Unit::S, 1.0),
        (_, "W") => Shown::In(Unit::W, 1.0),
        (_, "J") => Shown::In(Unit::J, 1.0),
        (_, "Hz") => Shown::In(Unit::MHz, 1e-6),
        (_, "°C") => Shown::In(Unit::C, 1.0),
        _ => Shown::In(Unit::One, 1.0),
    }
}

impl Row {
    /// Whether it stands above the fold: rate, the piece's low, hitches, power.
    pub(super) fn comes_first(&self) -> bool {
        let main = [
            Measure::AverageFps,
            Measure::FrameTimeP50,
            Measure::HitchCount,
            Measure::HitchLostMs,
            Measure::PowerW,
            Measure::JoulesPerFrame,
        ];
        self.declared || main.contains(&self.measure)
    }

    /// This pass's value to the digits that its own interval supports.
    pub(super) fn own(&self) -> String {
        match (shown(self.measure), self.value, self.interval) {
            (_, None, _) => format::NOTHING.to_owned(),
            (Shown::Count, Some(value), _) => format::fixed(value, 0),
            (Shown::In(unit, by), Some(value), None) => format::value(value * by, unit),
            (Shown::In(unit, by), Some(value), Some(i)) => format::value_to(value * by, half(i) * by, unit),
        }
    }

    /// `at least ± 0.35 fps`, or why there is none.
    pub(super) fn how_sure(&self) -> String {
        match (shown(self.measure), self.interval) {
            (Shown::In(unit, by), Some(interval)) => format::at_least_half(half(interval) * by, unit),
            _ => self.why.clone(),
        }
    }

    /// The cell's value.
    pub(super) fn of_cell(&self) -> String {
        let Some(cell) = &self.cell else { return format::NOTHING.to_owned() };
        match (shown(self.measure), cell.interval) {
            (Shown::Count, _) => format::fixed(cell.value, 0),
            (Shown::In(unit, by), None) => format::value(cell.value * by, unit),
            (Shown::In(unit, by), Some(i)) => format::value_to(cell.value * by, half(i) * by, unit),
        }
    }

    /// `121.3 to 124.9 fps`, or why there is none.
    pub(super) fn cell_interval(&self) -> String {
        match (shown(self.measure), &self.cell) {
            (Shown::In(unit, by), Some(CellSays { interval: Some(i), .. })) => {
                format::interval(i.low * by, i.high * by, unit)
            }
            (_, Some(CellSays { passes: 1, .. })) => "one pass".to_owned(),
            (_, Some(_)) => "no spread known".to_owned(),
            (_, None) => String::new(),
        }
    }

    /// Passes that the cell's value rests on.
    pub(super) fn cell_passes(&self) -> String {
        self.cell.as_ref().map_or_else(String::new, |cell| format::count(cell.passes))
    }
}

fn half(interval: Interval) -> f64 {
    (interval.high - interval.low) / 2.0
}

/// A hitch.
#[derive(Clone, Debug, Serialize)]
pub struct Hitch {
    /// Where, ns from the first frame.
    pub start_ns: i64,
    /// Duration, ms.
    pub ms: f64,
    /// What it took beyond its neighbours, ms.
    pub lost_ms: f64,
}

impl Hitch {
    pub(super) fn at(&self) -> String {
        format::at_ns(self.start_ns)
    }

    pub(super) fn long(&self) -> String {
        format::value(self.ms, Unit::Ms)
    }

    pub(super) fn lost(&self) -> String {
        format::value(self.lost_ms, Unit::Ms)
    }
}

/// Frames that start in a stretch of time.
#[derive(Clone, Debug, Serialize)]
pub struct Step {
    /// Where it begins, ns.
    pub start_ns: i64,
    /// Frames divided by their time, fps; none without frames.
    pub average_fps: Option<f64>,
    /// The longest frame, ms.
    pub longest_ms: Option<f64>,
}

impl Step {
    pub(super) fn at(&self) -> String {
        format::at_ns(self.start_ns)
    }

    pub(super) fn rate(&self) -> String {
        format::maybe(self.average_fps, Unit::Fps)
    }

    pub(super) fn longest(&self) -> String {
        format::maybe(self.longest_ms, Unit::Ms)
    }
}
