//! Cells that hold times: read to whole nanoseconds, or said what is wrong with them.

use jiff::tz::TimeZone;

use super::block::{Block, Row};
use super::describe::place;
use super::layout::Column;
use super::number::{self, Cell, Decimal, Marks};
use super::stamp;
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

    /// A cell of it in nanoseconds; the error says what the cell holds instead.
    pub fn read(self, cell: &[u8], marks: Marks) -> Result<i64, String> {
        if matches!(self.unit, Unit::Iso8601 | Unit::TimeOfDay) {
            return stamp::stamp(cell)
                .filter(|stamp| stamp.dated == (self.unit == Unit::Iso8601))
                .map(stamp::Stamp::ns)
                .ok_or_else(|| match self.unit {
                    Unit::Iso8601 => format!("'{}' is not a date and time of day", shortened(cell)),
                    _ => format!("'{}' is not a time of day", shortened(cell)),
                });
        }
        match number::parse(cell, marks) {
            Cell::Number(n) => self.of_number(n).ok_or_else(|| match self.unit {
                Unit::FramesPerSecond => format!("'{}' is no frame rate", shortened(cell)),
                _ => format!("'{}' is out of range", shortened(cell)),
            }),
            Cell::Missing => Err("the cell is empty".to_owned()),
            Cell::NotFinite => Err(format!("'{}' is not a finite number", shortened(cell))),
            Cell::Words => Err(format!("'{}' is not a number", shortened(cell))),
        }
    }

    /// A number of it in nanoseconds; `None` where that is out of range.
    #[inline]
    fn of_number(self, number: Decimal) -> Option<i64> {
        if self.unit == Unit::FramesPerSecond {
            of_rate(number.value())
        } else {
            number.nanoseconds(self.unit)
        }
    }

    /// A cell of it as a wall clock, ns since 1970; `None` where it holds none or names no zone and `zone` is unknown.
    pub fn read_wall(self, cell: &[u8], marks: Marks, zone: Option<&TimeZone>) -> Option<i64> {
        if self.unit == Unit::TimeOfDay {
            return None;
        }
        if self.unit != Unit::Iso8601 {
            return self.read(cell, marks).ok();
        }
        let stamp = stamp::stamp(cell)?;
        match stamp.offset_s {
            Some(_) => Some(stamp.ns()),
            None => in_zone(stamp.face_ns, zone?),
        }
    }
}

/// The times of one column in a block of rows that was read ahead; `None` where [`Timed::read`] has to say more of one.
#[derive(Default)]
pub struct Ahead(Vec<Option<i64>>);

impl Ahead {
    /// Reads the column, where there is one.
    pub fn read(&mut self, timed: Option<Timed>, block: &Block, text: &[u8], marks: Marks) {
        self.0.clear();
        let Some(timed) = timed else { return };
        if matches!(timed.unit, Unit::Iso8601 | Unit::TimeOfDay) {
            let cells = (0..block.rows()).map(|row| block.cell(text, row, timed.column));
            return self.0.extend(cells.map(|cell| timed.read(cell, marks).ok()));
        }
        let of = |time: &dyn Fn(Decimal) -> Option<i64>, cell| match cell {
            Cell::Number(number) => time(number),
            _ => None,
        };
        match number::exponent(timed.unit) {
            // The power is the same for all rows: it is not asked for in each.
            Some(power) => {
                block.read(text, timed.column, marks, |cell| of(&|n| n.to_power(power), cell), &mut self.0);
            }
            None => {
                block.read(text, timed.column, marks, |cell| of(&|n| timed.of_number(n), cell), &mut self.0)
            }
        }
    }

    /// Whether the time of a row is known, or there is none to know.
    #[inline]
    pub fn knows(&self, timed: Option<Timed>, row: usize) -> bool {
        timed.is_none() || self.0[row].is_some()
    }

    /// The time of a row, read ahead or now; the error says what the cell holds instead.
    #[inline]
    pub fn time(&self, timed: Timed, row: &impl Row, marks: Marks) -> Result<i64, String> {
        match row.ahead().and_then(|place| self.0.get(place).copied().flatten()) {
            Some(ns) => Ok(ns),
            None => timed.read(row.cell(timed.column), marks),
        }
    }
}

/// Duration of a frame at a rate, ns.
fn of_rate(fps: f64) -> Option<i64> {
    let ns = (1e9 / fps).round();
    #[expect(clippy::cast_possible_truncation, reason = "within the range of i64")]
    (fps > 0.0 && ns < 1e18).then_some(ns as i64)
}

/// Nanoseconds as seconds, for sentences.
pub fn seconds(ns: i64) -> f64 {
    ns as f64 / 1e9
}

/// A cell as a sentence quotes it.
pub fn shortened(cell: &[u8]) -> String {
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
