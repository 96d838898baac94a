//! What one column is by its own values: its shape, its steps, whether it varies, whether a quantity can be so large.

use super::number;
use super::sample::{Column, middle};
use crate::recording::{Role, Unit};

const YEAR_2000_S: f64 = 946_684_800.0;
const YEAR_2100_S: f64 = 4_102_444_800.0;

/// What a column is by its own values.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Shape {
    Empty,
    Words,
    Stamps,
    /// Unix time in this unit.
    Epoch(Unit),
    Counter,
    Rising,
    Constant,
    Positive,
    Numbers,
}

/// Judges a column; `partings` is how often rows that are no neighbours meet in it.
pub(super) fn shape_of(column: &Column, partings: usize) -> Shape {
    let filled = column.numbers + column.stamps + column.words;
    if filled == 0 {
        return if column.values.is_empty() { Shape::Empty } else { Shape::Numbers };
    }
    if column.stamps * 2 > filled {
        return Shape::Stamps;
    }
    if column.numbers * 2 <= filled {
        return Shape::Words;
    }
    let mut values = column.values.iter().copied().filter(|v| v.is_finite());
    let Some(first) = values.next() else { return Shape::Numbers };
    let (mut before, mut steps, mut rises, mut falls, mut by_one) =
        (first, 0_usize, 0_usize, 0_usize, 0_usize);
    let mut positive = usize::from(first > 0.0);
    for value in values {
        steps += 1;
        rises += usize::from(value > before);
        falls += usize::from(value < before);
        by_one += usize::from(value - before == 1.0);
        positive += usize::from(value > 0.0);
        before = value;
    }
    match () {
        () if rises + falls == 0 && steps > 0 => Shape::Constant,
        () if rises * 2 > steps && falls * 50 <= steps => match epoch_unit(first) {
            Some(unit) => Shape::Epoch(unit),
            None if by_one + partings >= steps => Shape::Counter,
            None => Shape::Rising,
        },
        () if positive * 2 > steps + 1 => Shape::Positive,
        () => Shape::Numbers,
    }
}

fn epoch_unit(value: f64) -> Option<Unit> {
    [Unit::Second, Unit::Millisecond, Unit::Microsecond, Unit::Nanosecond].into_iter().find(|&unit| {
        let seconds = value * unit_s(unit);
        (YEAR_2000_S..YEAR_2100_S).contains(&seconds)
    })
}

/// Seconds in a unit of time; 0 for other units.
pub(super) fn unit_s(unit: Unit) -> f64 {
    number::exponent(unit).map_or(0.0, |e| 10_f64.powi(e - 9))
}

/// Frames (or rows) a second that a column of stamps gives in a unit: median step.
pub(super) fn stamps_fps(column: &Column, unit: Unit) -> f64 {
    1.0 / (median_step(column) * unit_s(unit))
}

pub(super) fn median_step(column: &Column) -> f64 {
    let steps = column.values.windows(2).map(|w| w[1] - w[0]).filter(|s| s.is_finite() && *s >= 0.0);
    middle(steps.collect()).unwrap_or(f64::NAN)
}

pub(super) fn durations_fps(column: &Column, unit: Unit) -> f64 {
    let good = column.values.iter().filter(|v| **v > 0.0 && v.is_finite());
    let (count, sum) = good.fold((0_u32, 0.0), |(n, s), v| (n + 1, s + v));
    f64::from(count) / (sum * unit_s(unit))
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
    let hertz = match unit {
        Some(Unit::Megahertz) => 1e6,
        Some(Unit::Gigahertz) => 1e9,
        _ => 1.0,
    };
    match role {
        Role::Power => (0.0..=5000.0).contains(&middle),
        Role::Clock => (0.0..=2e10).contains(&(middle * hertz)),
        Role::Temperature => (-60.0..=150.0).contains(&middle),
        Role::Load => (0.0..=100.0).contains(&middle),
        _ => middle >= 0.0,
    }
}
