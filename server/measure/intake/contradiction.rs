//! What in a log speaks against a layout that was remembered for its header.

use super::evidence::{Evidence, place};
use super::layout::{Column as LayoutColumn, Layout};
use super::number;
use super::sample::Sample;
use super::shape::durations_fps;
use super::table::Table;
use crate::recording::{Kind, Role, Unit};

/// What in a log speaks against a layout; `None` when it fits.
pub fn contradicts(layout: &Layout, table: &Table, sample: &Sample) -> Option<String> {
    let evidence = Evidence::gather(table, sample);
    let timed = layout.column(Role::FrameTime).filter(|_| layout.kind == Kind::Frames);
    let clock = layout.clock.and_then(|c| layout.columns.get(place(c)));
    for column in timed.into_iter().chain(clock) {
        let values = &sample.columns[place(column.index)];
        let usable = if column.unit == Unit::Iso8601 { values.stamps } else { values.numbers };
        if usable * 2 < sample.rows {
            return Some(format!("column {} ({}) does not hold times.", column.index, column.name));
        }
    }
    if let Some(durations) = timed {
        let fps = durations_fps(&sample.columns[place(durations.index)], durations.unit);
        if !(0.1..=10_000.0).contains(&fps) {
            return Some(format!("column {} would give {fps:.4} fps.", durations.index));
        }
    }
    match (timed, clock, evidence.pair) {
        (Some(durations), _, Some(pair)) if place(durations.index) != pair.durations => Some(format!(
            "column {}, not {}, is the differences of column {}.",
            pair.durations + 1,
            durations.index,
            pair.clock + 1
        )),
        (Some(durations), Some(clock), Some(pair)) if place(clock.index) == pair.clock => {
            let unit_of = |c: &LayoutColumn| match c.unit {
                Unit::Iso8601 => Some(9),
                unit => number::exponent(unit),
            };
            let apart = unit_of(durations)? - unit_of(clock)?;
            (apart != pair.power).then(|| {
                format!("the units of columns {} and {} do not go together.", clock.index, durations.index)
            })
        }
        _ => None,
    }
}
