//! What one column is by its own values: its shape, its steps, whether it varies, whether a quantity can be so large.

use super::number;
use super::sample::{Column, middle};
use crate::recording::{Role, Unit};

const YEAR_2000_S: f64 = 946_684_800.0;
const YEAR_2100_S: f64 = 4_102_444_800.0;

/// Rows of a log are no further apart than this: sensors are read once a minute at the least.
const LONGEST_STEP_S: f64 = 90.0;
/// Samplers that are left alone keep their period so well: the middle of the deviations from it, relative.
pub(super) const PERIOD_EXACT: f64 = 0.01;
/// A period as a sampler is set to: no further from a whole number, in its unit.
const PERIOD_WHOLE: f64 = 0.02;

/// What a column is by its own values.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Shape {
    Empty,
    Words,
    /// Dates and times of day, or times of day.
    Stamps(Unit),
    /// Unix time in this unit.
    Epoch(Unit),
    Counter,
    Rising,
    Falling,
    Constant,
    Positive,
    Numbers,
}

/// Judges a column; `partings` is how often rows that are no neighbours meet in it.
///
/// `timed` says that its header speaks of time: then what rises by one each row may be seconds.
pub(super) fn shape_of(column: &Column, partings: usize, timed: bool) -> Shape {
    let filled = column.numbers + column.stamps + column.words;
    if filled == 0 {
        return if column.values.is_empty() || column.not_finite == 0 {
            Shape::Empty
        } else {
            Shape::Numbers
        };
    }
    if column.stamps * 2 > filled {
        let dated = column.dated * 2 > column.stamps;
        return Shape::Stamps(if dated { Unit::Iso8601 } else { Unit::TimeOfDay });
    }
    if column.numbers * 2 <= filled {
        return Shape::Words;
    }
    let mut values = column.fine.iter().copied().filter(|v| v.is_finite());
    let Some(first) = values.next() else { return Shape::Numbers };
    let (mut before, mut steps, mut rises, mut falls, mut by_one) =
        (first, 0_usize, 0_usize, 0_usize, 0_usize);
    for value in values {
        steps += 1;
        rises += usize::from(value > before);
        falls += usize::from(value < before);
        by_one += usize::from(value - before == 1.0);
        before = value;
    }
    let whole = column.digits().is_none_or(|d| d.1 == 0);
    let positive = column.values.iter().filter(|v| **v > 0.0).count();
    match () {
        () if rises + falls == 0 && steps > 0 => Shape::Constant,
        () if rises * 2 > steps && falls * 50 <= steps => {
            match epoch_unit(column.first(), median_step(column)) {
                Some(unit) => Shape::Epoch(unit),
                None if whole && !timed && by_one + partings + 1 >= steps && by_one * 10 >= steps * 9 => {
                    Shape::Counter
                }
                None => Shape::Rising,
            }
        }
        () if steps > 8 && falls * 10 >= steps * 9 => Shape::Falling,
        () if positive * 2 > steps + 1 => Shape::Positive,
        () => Shape::Numbers,
    }
}

/// The unit in which a value is a date of this century and `step` no longer than rows are apart: microseconds since a rig
/// was started may be as large a number as seconds since 1970.
fn epoch_unit(value: f64, step: f64) -> Option<Unit> {
    [Unit::Second, Unit::Millisecond, Unit::Microsecond, Unit::Nanosecond].into_iter().find(|&unit| {
        let seconds = value * unit_s(unit);
        (YEAR_2000_S..YEAR_2100_S).contains(&seconds) && step * unit_s(unit) <= LONGEST_STEP_S
    })
}

/// Seconds in a unit of time; stamps are kept as seconds. 0 for other units.
pub(super) fn unit_s(unit: Unit) -> f64 {
    match unit {
        Unit::Iso8601 | Unit::TimeOfDay => 1.0,
        unit => number::exponent(unit).map_or(0.0, |e| 10_f64.powi(e - 9)),
    }
}

/// Frames (or rows) a second that a column of stamps gives in a unit: median step.
pub(super) fn stamps_fps(column: &Column, unit: Unit) -> f64 {
    1.0 / (median_step(column) * unit_s(unit))
}

/// Finite steps from row to row.
pub(super) fn steps(column: &Column) -> Vec<f64> {
    column.fine.windows(2).map(|w| w[1] - w[0]).filter(|s| s.is_finite() && *s >= 0.0).collect()
}

pub(super) fn median_step(column: &Column) -> f64 {
    middle(steps(column)).unwrap_or(f64::NAN)
}

/// Middle distance of the steps from their middle, relative to it.
pub(super) fn spread_of_steps(column: &Column) -> f64 {
    let steps = steps(column);
    let Some(centre) = middle(steps.clone()) else { return f64::NAN };
    middle(steps.into_iter().map(|s| (s - centre).abs()).collect()).unwrap_or(f64::NAN) / centre
}

/// Share of steps that are nothing.
pub(super) fn idle_steps(column: &Column) -> f64 {
    let steps = steps(column);
    steps.iter().filter(|s| **s == 0.0).count() as f64 / steps.len().max(1) as f64
}

/// Whether all steps are the same, to a part in a million or to the last digit written.
pub(super) fn even(column: &Column) -> bool {
    let steps: Vec<f64> = column.fine.windows(2).map(|w| w[1] - w[0]).filter(|s| s.is_finite()).collect();
    steps.first().is_some_and(|first| {
        let slack = (1e-6 * first.abs()).max(1.01 * column.step().min(0.02 * first.abs()));
        steps.iter().all(|s| (s - first).abs() <= slack)
    })
}

/// Whether rows keep a period so well, and one so round, that it may as well be a sampler's in a larger unit.
pub(super) fn kept_in_thousands(column: &Column) -> bool {
    let step = median_step(column);
    let round = [1.0, 1e3, 1e6]
        .into_iter()
        .map(|unit| step / unit)
        .any(|periods| (0.5..1e3).contains(&periods) && (periods - periods.round()).abs() <= PERIOD_WHOLE);
    round && spread_of_steps(column) < PERIOD_EXACT
}

/// By how much a column of whole numbers rises from row to row, where nine tenths of its steps are that.
pub(super) fn counts_by(column: &Column) -> Option<f64> {
    let whole = column.digits().is_none_or(|d| d.1 == 0);
    let (steps, by) = (steps(column), median_step(column));
    let alike = steps.iter().filter(|s| **s == by).count();
    (whole && steps.len() > 8 && alike * 10 >= steps.len() * 9).then_some(by)
}

/// Rows for which a value holds on average.
pub(super) fn run_length(column: &Column) -> f64 {
    let values: Vec<f64> = column.values.iter().copied().filter(|v| v.is_finite()).collect();
    let changes = values.windows(2).filter(|w| w[0] != w[1]).count();
    values.len() as f64 / (changes + 1) as f64
}

/// Frames a second that a column of durations (or of rates) gives in a unit.
pub(super) fn durations_fps(column: &Column, unit: Unit) -> f64 {
    let good = column.values.iter().filter(|v| **v > 0.0 && v.is_finite());
    let rate = unit == Unit::FramesPerSecond;
    let (count, sum) = good.fold((0_u32, 0.0), |(n, s), v| (n + 1, s + if rate { 1.0 / v } else { *v }));
    f64::from(count) / (sum * if rate { 1.0 } else { unit_s(unit) })
}

/// Whether less than nine tenths of the rows hold the middle value.
pub(super) fn varies(column: &Column) -> bool {
    let middle = column.median().unwrap_or(f64::NAN);
    let finite = column.values.iter().filter(|v| v.is_finite()).count();
    column.values.iter().filter(|v| **v == middle).count() * 10 < finite * 9
}

/// Whether the middle of a column is possible for a quantity in its unit.
pub(super) fn in_range(column: &Column, role: Role, unit: Option<Unit>) -> bool {
    let Some(middle) = column.median() else { return false };
    let scale = match unit {
        Some(Unit::Megahertz) => 1e6,
        Some(Unit::Gigahertz) => 1e9,
        Some(Unit::Milliwatt) => 1e-3,
        _ => 1.0,
    };
    match role {
        Role::Power => (0.0..=5000.0).contains(&(middle * scale)),
        Role::Clock => (0.0..=2e10).contains(&(middle * scale)),
        Role::Temperature => (-60.0..=150.0).contains(&middle),
        Role::Load => (0.0..=100.0).contains(&middle),
        _ => middle >= 0.0,
    }
}
