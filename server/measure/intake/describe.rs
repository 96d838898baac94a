//! What each column is by itself, before it is decided what times the rows; and the words for that.

use super::evidence::{Evidence, LIKELY_FPS};
use super::layout::{Column as LayoutColumn, FORM, Layout, StampAt};
use super::shape::{Shape, durations_fps, in_range, stamps_fps};
use super::text;
use crate::recording::{Kind, Role, Unit};

impl Evidence<'_> {
    /// The layout before anything is decided: what each column is by itself.
    pub(super) fn describe(&self) -> Layout {
        let mut columns: Vec<LayoutColumn> =
            (0..self.table.names.len()).map(|i| self.describe_column(i)).collect();
        // One wall clock: the one that names its zone, else the first.
        let dated = |c: &&LayoutColumn| c.role == Role::WallClock && c.unit != Unit::TimeOfDay;
        let best = columns.iter().filter(dated).max_by_key(|c| {
            let column = &self.sample.columns[place(c.index)];
            (column.zoned > 0 || c.unit != Unit::Iso8601, std::cmp::Reverse(c.index))
        });
        if let Some(best) = best.map(|c| c.index) {
            columns.sort_by_key(|c| (c.index != best, c.index));
            columns[1..].iter_mut().filter(|c| c.role == Role::WallClock).for_each(|c| c.role = Role::Other);
            columns.sort_by_key(|c| c.index);
        }
        Layout {
            form: FORM,
            kind: Kind::Frames,
            delimiter: char::from(self.table.delimiter),
            decimal: char::from(self.table.marks.decimal),
            encoding: self.table.encoding,
            header_line: self.table.header_line,
            clock: None,
            stamp_at: StampAt::Start,
            columns,
            grouped: self.table.marks.grouped,
            only: None,
            dropped: None,
        }
    }

    fn describe_column(&self, i: usize) -> LayoutColumn {
        let hints = &self.hints[i];
        let (role, unit, why) = match self.shapes[i] {
            Shape::Empty => (Role::Other, Unit::None, "no values".to_owned()),
            Shape::Words => {
                let distinct = &self.sample.columns[i].distinct;
                let first = distinct.first().map(|w| text::words(w, self.table.encoding).into_owned());
                let role = if hints.program { Role::Program } else { Role::Text };
                (role, Unit::None, format!("words, first '{}'", first.unwrap_or_default()))
            }
            Shape::Stamps(Unit::TimeOfDay) => {
                (Role::WallClock, Unit::TimeOfDay, "times of day without a date".to_owned())
            }
            Shape::Stamps(unit) => (Role::WallClock, unit, "dates and times of day".to_owned()),
            Shape::Epoch(unit) => (Role::WallClock, unit, "time since 1970, in this century".to_owned()),
            Shape::Counter => (Role::Counter, Unit::None, "it counts the rows".to_owned()),
            Shape::Constant if hints.role.is_none() || hints.limit || self.has_other(i) => {
                (Role::Constant, hints.unit.unwrap_or(Unit::None), "it never changes".to_owned())
            }
            _ if hints.limit => (
                Role::Other,
                hints.unit.unwrap_or(Unit::None),
                "its header names a limit, not a reading".to_owned(),
            ),
            _ => match hints.role {
                Some(role) if in_range(&self.sample.columns[i], role, hints.unit) => (
                    role,
                    hints.unit.unwrap_or(if role == Role::Rate { Unit::FramesPerSecond } else { Unit::None }),
                    "its header names quantity and unit, its values are in their range".to_owned(),
                ),
                _ => (Role::Other, hints.unit.unwrap_or(Unit::None), "numbers without a use here".to_owned()),
            },
        };
        LayoutColumn {
            index: u32::try_from(i + 1).unwrap_or(u32::MAX),
            name: self.table.names[i].clone(),
            role,
            unit,
            why,
        }
    }

    /// Whether another column of the same quantity changes.
    fn has_other(&self, i: usize) -> bool {
        (0..self.hints.len()).any(|other| {
            other != i
                && self.hints[other].role == self.hints[i].role
                && self.shapes[other] != Shape::Constant
        })
    }

    /// Puts the ways whose average is a likely frame rate first, and drops the absurd ones where there are likely.
    pub(super) fn likely_first(&self, ways: Vec<(String, Layout)>) -> Vec<(String, Layout)> {
        let likely = |layout: &Layout| {
            let fps = layout.column(Role::FrameTime).map_or_else(
                || layout.clock.map_or(f64::NAN, |c| self.clock_fps(layout, c)),
                |c| durations_fps(&self.sample.columns[place(c.index)], c.unit),
            );
            LIKELY_FPS.contains(&fps)
        };
        let (first, rest): (Vec<_>, Vec<_>) = ways.into_iter().partition(|(_, l)| likely(l));
        if first.is_empty() { rest } else { first }
    }

    fn clock_fps(&self, layout: &Layout, index: u32) -> f64 {
        let column = &layout.columns[place(index)];
        stamps_fps(&self.sample.columns[place(index)], column.unit)
    }
}

/// Position from 0 of a column numbered from 1.
pub(super) fn place(index: u32) -> usize {
    usize::try_from(index.saturating_sub(1)).unwrap_or(usize::MAX)
}

/// A unit of time in words.
pub(super) fn name_of(unit: Unit) -> &'static str {
    match unit {
        Unit::Second => "seconds",
        Unit::Millisecond => "milliseconds",
        Unit::Microsecond => "microseconds",
        Unit::Nanosecond => "nanoseconds",
        _ => "its own unit",
    }
}
