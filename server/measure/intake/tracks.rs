//! The columns beside the times: read row by row into tracks in base units.

use super::block::{Block, Row};
use super::describe::place;
use super::layout::Layout;
use super::number::{self, Cell, Marks};
use crate::recording::{Role, Track, Unit};

struct TrackCells {
    column: usize,
    track: Track,
    factor: f64,
    waiting: f64,
    /// Values of a block of rows.
    ahead: Vec<f64>,
}

/// The tracks of the segment under way.
pub struct Tracks {
    marks: Marks,
    list: Vec<TrackCells>,
    /// Row of the block that was read last; else its values wait.
    read: Option<usize>,
    /// Rows of the block that are kept.
    kept: Vec<usize>,
}

impl Tracks {
    /// Those of a layout; with the marks of its numbers.
    pub fn of(layout: &Layout, marks: Marks) -> Self {
        let mut used: Vec<_> = layout.columns.iter().filter(|c| is_track(c.role)).collect();
        // A track is found by its role: what the processor takes stands after what the part takes.
        used.sort_by_key(|c| {
            c.name.to_lowercase().contains("cpu") || c.name.to_lowercase().contains("processor")
        });
        let list = used.into_iter().map(|c| TrackCells {
            column: place(c.index),
            track: Track { role: c.role, unit: c.unit, name: c.name.clone(), values: Vec::new() },
            factor: base_factor(c.unit),
            waiting: f64::NAN,
            ahead: Vec::new(),
        });
        Self { marks, list: list.collect(), read: None, kept: Vec::new() }
    }

    /// Columns that are read, from 0.
    pub fn columns(&self) -> impl Iterator<Item = usize> {
        self.list.iter().map(|t| t.column)
    }

    /// Makes room for so many rows.
    pub fn reserve(&mut self, rows: usize) {
        for t in &mut self.list {
            t.track.values.reserve(rows);
        }
    }

    /// Reads a row; its values wait until the row is known to be kept.
    pub fn read(&mut self, row: &impl Row) {
        self.read = row.ahead();
        if self.read.is_some() {
            return;
        }
        for t in &mut self.list {
            t.waiting = value(number::parse(row.cell(t.column), self.marks), t.factor);
        }
    }

    /// Reads a block of rows, column by column.
    #[inline(never)]
    pub fn read_ahead(&mut self, block: &Block, text: &[u8]) {
        for t in &mut self.list {
            t.ahead.clear();
            let factor = t.factor;
            block.read(text, t.column, self.marks, |cell| value(cell, factor), &mut t.ahead);
        }
    }

    /// Keeps the values that were read last.
    pub fn keep(&mut self) {
        match self.read {
            Some(row) => self.kept.push(row),
            None => {
                self.write_kept();
                self.list.iter_mut().for_each(|t| t.track.values.push(t.waiting));
            }
        }
    }

    /// The block is done with: what was read last waits on.
    pub fn end_block(&mut self) {
        self.write_kept();
        if let Some(row) = self.read.take() {
            self.list.iter_mut().for_each(|t| t.waiting = t.ahead[row]);
        }
    }

    /// Writes the rows of the block that are kept.
    fn write_kept(&mut self) {
        let (Some(&first), Some(&last)) = (self.kept.first(), self.kept.last()) else { return };
        for t in &mut self.list {
            if last - first + 1 == self.kept.len() {
                t.track.values.extend_from_slice(&t.ahead[first..=last]);
            } else {
                t.track.values.extend(self.kept.iter().map(|&row| t.ahead[row]));
            }
        }
        self.kept.clear();
    }

    /// Ends the segment and gives its tracks.
    pub fn take(&mut self) -> Vec<Track> {
        self.write_kept();
        let taken = self
            .list
            .iter_mut()
            .map(|t| Track { values: std::mem::take(&mut t.track.values), ..t.track.clone() });
        taken.collect()
    }
}

/// What a cell is in the base unit; `NaN` where it is no number.
#[inline]
fn value(cell: Cell, factor: f64) -> f64 {
    match cell {
        Cell::Number(n) => n.value() * factor,
        _ => f64::NAN,
    }
}

fn is_track(role: Role) -> bool {
    matches!(
        role,
        Role::CpuWork
            | Role::CardWork
            | Role::Latency
            | Role::Power
            | Role::Clock
            | Role::Temperature
            | Role::Load
    )
}

/// From the unit written to the base unit of a track.
fn base_factor(unit: Unit) -> f64 {
    match unit {
        Unit::Millisecond | Unit::Milliwatt => 1e-3,
        Unit::Microsecond => 1e-6,
        Unit::Nanosecond => 1e-9,
        Unit::Megahertz => 1e6,
        Unit::Gigahertz => 1e9,
        Unit::Percent => 1e-2,
        _ => 1.0,
    }
}
