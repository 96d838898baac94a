//! Cells that hold times: read to whole nanoseconds, or said what is wrong with them.

use jiff::tz::TimeZone;

use super::evidence::place;
use super::layout::Column;
use super::lines::Cells;
use super::number::{self, Cell};
use crate::recording::Unit;

/// Longest part of a cell that a sentence quotes, characters.
const QUOTED: usize = 40;

/// A column of times.
#[derive(Clone, Copy, PartialEq, Eq)]
pub struct Timed {
    /// Its place, from 0.
    pub column: usize,
    /// A unit of time, or [`Unit::Iso8601`].
    pub unit: Unit,
}

impl Timed {
    /// A column of a layout.
    pub fn of(column: &Column) -> Self {
        Self { column: place(column.index), unit: column.unit }
    }

    /// Its cell in nanoseconds; the error says what the cell holds instead.
    pub fn read(self, cells: &Cells, line: &[u8], mark: u8) -> Result<i64, String> {
        let cell = cells.get(line, self.column);
        if self.unit == Unit::Iso8601 {
            return number::stamp(cell)
                .map(number::Stamp::ns)
                .ok_or_else(|| format!("'{}' is not a date and time of day", shortened(cell)));
        }
        match number::parse(cell, mark) {
            Cell::Number(n) => {
                n.nanoseconds(self.unit).ok_or_else(|| format!("'{}' is out of range", shortened(cell)))
            }
            Cell::Missing => Err("the cell is empty".to_owned()),
            Cell::NotFinite => Err(format!("'{}' is not a finite number", shortened(cell))),
            Cell::Words => Err(format!("'{}' is not a number", shortened(cell))),
        }
    }

    /// Its cell as a wall clock, ns since 1970; `None` where it holds none or names no zone and `zone` is unknown.
    pub fn read_wall(self, cells: &Cells, line: &[u8], mark: u8, zone: Option<&TimeZone>) -> Option<i64> {
        if self.unit != Unit::Iso8601 {
            return self.read(cells, line, mark).ok();
        }
        let stamp = number::stamp(cells.get(line, self.column))?;
        match stamp.offset_s {
            Some(_) => Some(stamp.ns()),
            None => in_zone(stamp.face_ns, zone?),
        }
    }

    /// Its cell as a sentence quotes it.
    pub fn quote(self, cells: &Cells, line: &[u8]) -> String {
        shortened(cells.get(line, self.column))
    }
}

/// Nanoseconds as seconds, for sentences.
pub fn seconds(ns: i64) -> f64 {
    ns as f64 / 1e9
}

fn shortened(cell: &[u8]) -> String {
    let text = String::from_utf8_lossy(cell);
    if text.chars().count() > QUOTED {
        text.chars().take(QUOTED).collect::<String>() + "…"
    } else {
        text.into_owned()
    }
}

fn in_zone(face_ns: i64, zone: &TimeZone) -> Option<i64> {
    let face = TimeZone::UTC.to_datetime(jiff::Timestamp::from_nanosecond(face_ns.into()).ok()?);
    i64::try_from(zone.to_timestamp(face).ok()?.as_nanosecond()).ok()
}
