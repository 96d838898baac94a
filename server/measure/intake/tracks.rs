//! The columns beside the times: read row by row into tracks in base units.

use super::describe::place;
use super::layout::Layout;
use super::lines::Cells;
use super::number::{self, Cell, Marks};
use crate::recording::{Role, Track, Unit};

struct TrackCells {
    column: usize,
    track: Track,
    factor: f64,
    waiting: f64,
}

/// The tracks of the segment under way.
pub struct Tracks {
    marks: Marks,
    list: Vec<TrackCells>,
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
        });
        Self { marks, list: list.collect() }
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
    pub fn read(&mut self, cells: &Cells, line: &[u8]) {
        for t in &mut self.list {
            t.waiting = match number::parse(cells.get(line, t.column), self.marks) {
                Cell::Number(n) => n.value() * t.factor,
                _ => f64::NAN,
            };
        }
    }

    /// Keeps the values that were read last.
    pub fn keep(&mut self) {
        for t in &mut self.list {
            t.track.values.push(t.waiting);
        }
    }

    /// Ends the segment and gives its tracks.
    pub fn take(&mut self) -> Vec<Track> {
        let taken = self
            .list
            .iter_mut()
            .map(|t| Track { values: std::mem::take(&mut t.track.values), ..t.track.clone() });
        taken.collect()
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
