//! What in a log speaks against a layout that was remembered for its header.

use super::describe::place;
use super::evidence::Evidence;
use super::layout::{Column as LayoutColumn, Layout};
use super::number;
use super::shape::durations_fps;
use super::text;
use crate::recording::{Kind, Role, Unit};

/// What in a log speaks against a layout; `None` when it fits.
pub(super) fn contradicts(layout: &Layout, evidence: &Evidence<'_>) -> Option<String> {
    let (table, sample) = (evidence.table, evidence.sample);
    if let Some(only) = &layout.only {
        let name = text::bytes(&only.is, table.encoding);
        if !sample.columns.get(place(only.column))?.distinct.contains(&name) {
            return Some(format!("column {} does not name the program '{}'.", only.column, only.is));
        }
        // What its rows say among those of other programs is no evidence.
        return None;
    }
    let timed = layout.column(Role::FrameTime).filter(|_| layout.kind == Kind::Frames);
    let clock = layout.clock.and_then(|c| layout.columns.get(place(c)));
    for column in timed.into_iter().chain(clock) {
        let values = &sample.columns[place(column.index)];
        let stamped = matches!(column.unit, Unit::Iso8601 | Unit::TimeOfDay);
        let usable = if stamped { values.stamps } else { values.numbers };
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
    let pair = evidence.best_pair();
    match (timed, clock, pair) {
        (Some(durations), _, Some(pair)) if !evidence.holds(place(durations.index)) => Some(format!(
            "column {}, not {}, is the differences of column {}.",
            pair.durations + 1,
            durations.index,
            pair.clock + 1
        )),
        (Some(durations), Some(clock), Some(pair))
            if (place(clock.index), place(durations.index)) == (pair.clock, pair.durations) =>
        {
            let unit_of = |c: &LayoutColumn| match c.unit {
                Unit::Iso8601 | Unit::TimeOfDay => Some(9),
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
