//! The bench week of an invented team: a seed in, log files and their truth out.
//!
//! Everything is plain data; only the bytes of the logs are made on demand, by [`DemoPass::log`] and
//! [`DemoPass::sensors`]. The same seed and the same `now` give the same bytes on every machine, whatever the
//! order or the thread in which passes are asked for. No clock, files or network.

mod decided;
mod decisions;
mod earlier;
mod frames;
mod logs;
mod random;
mod readers;
mod readings;
mod registers;
mod soaks;
mod truth;
mod types;
mod week;

#[cfg(test)]
mod tests;

pub use decided::{Decision, DemoFigure, DemoQuote, FigureOf};
pub use earlier::Earlier;
pub use readings::{DemoReading, ReadingKind};
pub use soaks::{DemoSoak, THROTTLES_AFTER_S};
pub use truth::{CellTruth, Fault, FaultKind, Headline, PassTruth, Truth};
pub use types::{
    Base, Build, Demo, DemoCell, DemoPass, Driver, Notes, Part, Person, Piece, Price, Reader, Rig, Scene,
    Setting, Team, Tuning, Unit,
};

/// The whole week up to `now`: registers, cells, piece, passes and what is true of them.
pub fn bench_week(seed: u64, now: jiff::Timestamp) -> Demo {
    week::bench_week(seed, now)
}
