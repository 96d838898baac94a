//! The proof of a reading, held over the whole log while its rows are read: evidence is weighed on a sample, and a log
//! may change half-way.

use super::describe::place;
use super::layout::Layout;
use super::number;
use super::sample::{Column, Sample, middle};
use crate::recording::{Role, Unit};

/// Rows that are judged together.
const BLOCK: usize = 256;
/// A last block of fewer rows is not judged.
const LEAST: usize = 64;
/// A segment of fewer rows is not judged by itself.
const LEAST_OF_SEGMENT: usize = 8;
/// Share of a block's rows in which steps and durations have to agree.
const HELD: f64 = 0.5;
/// Units of time are a factor of 1000 apart; no scene changes its middle frame time by this much.
const UNIT_APART: f64 = 200.0;

/// Where a proof no longer holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Broken {
    /// From this line on, durations are no longer the differences of the stamps.
    Apart(u64),
    /// From this line on, durations are about a thousand times larger or smaller.
    Unit(u64),
    /// On this line another header stands: what follows is another table.
    Header(u64),
}

/// Watches the durations of a log and, beside stamps, their steps.
#[derive(Default)]
pub struct Held {
    slack_ns: i64,
    rows: usize,
    agree: usize,
    /// Where the rows that part without a break began.
    apart_since: Option<u64>,
    first_apart: Option<u64>,
    bad_blocks: usize,
    bad_since: Option<u64>,
    /// Rows of the segment under way, those that agree, and the first that does not.
    segment: (usize, usize, Option<u64>),
    durations: Vec<f64>,
    began: u64,
    usual: Option<f64>,
    broken: Option<Broken>,
}

impl Held {
    /// `slack_ns` is by how much a step may differ from its duration for the digits written.
    pub fn new(slack_ns: i64) -> Self {
        Self { slack_ns, ..Self::default() }
    }

    /// A step of the stamps beside the duration it should be.
    #[inline]
    pub fn step(&mut self, line: u64, step_ns: i64, duration_ns: i64) {
        let slack = self.slack_ns.saturating_add(duration_ns / 1000);
        let agrees = step_ns.checked_sub(duration_ns).is_some_and(|d| d.saturating_abs() <= slack);
        self.segment.0 += 1;
        if agrees {
            self.agree += 1;
            self.segment.1 += 1;
            self.apart_since = None;
        } else {
            self.segment.2.get_or_insert(line);
            // A run that began in the block before goes on here.
            let began = *self.apart_since.get_or_insert(line);
            self.first_apart.get_or_insert(began);
        }
        self.rows += 1;
        if self.rows == BLOCK {
            self.judge_steps();
        }
    }

    fn judge_steps(&mut self) {
        let good = self.agree as f64 >= HELD * self.rows as f64;
        if good {
            (self.bad_blocks, self.bad_since) = (0, None);
        } else {
            self.bad_blocks += 1;
            self.bad_since = self.bad_since.or(self.first_apart);
            if let (true, Some(line)) = (self.bad_blocks > 1, self.bad_since) {
                self.broken.get_or_insert(Broken::Apart(line));
            }
        }
        (self.rows, self.agree, self.first_apart) = (0, 0, None);
    }

    /// A duration by itself.
    #[inline]
    pub fn duration(&mut self, line: u64, ns: i64) {
        if self.durations.is_empty() {
            self.began = line;
        }
        self.durations.push(ns as f64);
        if self.durations.len() == BLOCK {
            self.judge_durations();
        }
    }

    fn judge_durations(&mut self) {
        let now = middle(std::mem::take(&mut self.durations)).unwrap_or(f64::NAN);
        self.durations.reserve(BLOCK);
        let before = *self.usual.get_or_insert(now);
        if !(before / UNIT_APART..=before * UNIT_APART).contains(&now) {
            self.broken.get_or_insert(Broken::Unit(self.began));
        }
        self.usual = Some(now);
    }

    /// A segment ends: what follows may be another log, put behind it.
    pub fn part(&mut self) {
        let (rows, agree, apart) = std::mem::take(&mut self.segment);
        if let (true, Some(line)) = (rows >= LEAST_OF_SEGMENT && (agree as f64) < HELD * rows as f64, apart) {
            self.broken.get_or_insert(Broken::Apart(line));
        }
        if self.durations.len() >= LEAST_OF_SEGMENT {
            self.judge_durations();
        }
        self.durations.clear();
    }

    /// What the whole log says.
    pub fn end(mut self) -> Option<Broken> {
        if self.rows >= LEAST {
            self.bad_blocks += usize::from(self.bad_blocks > 0 || self.rows * 2 > BLOCK);
            self.judge_steps();
        }
        self.part();
        self.broken
    }
}

/// By how much steps of the stamps may differ from durations for the digits written, ns.
pub(super) fn slack_ns(layout: &Layout, sample: &Sample) -> i64 {
    let step_ns = |index: u32, unit: Unit| {
        let step = sample.columns.get(place(index)).map_or(0.0, Column::step);
        let exponent = match unit {
            Unit::Iso8601 | Unit::TimeOfDay => 9,
            unit => number::exponent(unit).unwrap_or(0),
        };
        step * 10_f64.powi(exponent)
    };
    let clock = layout.clock.and_then(|c| layout.columns.get(place(c)));
    let durations = layout.column(Role::FrameTime);
    let ns = clock.map_or(0.0, |c| 1.1 * step_ns(c.index, c.unit))
        + durations.map_or(0.0, |c| step_ns(c.index, c.unit));
    #[expect(clippy::cast_possible_truncation, reason = "at most some seconds")]
    let whole = ns.min(1e12).ceil() as i64;
    whole.saturating_add(1)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_proof_breaks_where_steps_and_durations_part() {
        let run = |parts_from: u64| {
            let mut held = Held::new(100);
            for line in 0..2000 {
                held.step(line, if line < parts_from { 16_000_000 } else { 4_000_000 }, 16_000_000);
            }
            held.end()
        };
        assert_eq!(run(2000), None);
        assert_eq!(run(700), Some(Broken::Apart(700)));
        assert_eq!(run(1990), None);
    }

    #[test]
    fn a_short_segment_is_held_to_the_proof_too() {
        let run = |rows: u64, step_ns: i64, duration_ns: i64| {
            let mut held = Held::new(100);
            (0..600).for_each(|line| {
                held.duration(line, 16_000_000);
                held.step(line, 16_000_000, 16_000_000);
            });
            held.part();
            (600..600 + rows).for_each(|line| {
                held.duration(line, duration_ns);
                held.step(line, step_ns, duration_ns);
            });
            held.end()
        };
        assert_eq!(run(40, 16_000_000, 16_000_000), None);
        assert_eq!(run(40, 4_000_000, 16_000_000), Some(Broken::Apart(600)));
        assert_eq!(run(40, 16_000, 16_000), Some(Broken::Unit(600)));
        assert_eq!(run(5, 4_000_000, 16_000_000), None);
    }

    #[test]
    fn a_unit_that_changes_half_way_is_located() {
        let mut held = Held::new(0);
        for line in 0..1024 {
            held.duration(line, if line < 512 { 16_000_000 } else { 16_000 });
        }
        assert_eq!(held.end(), Some(Broken::Unit(512)));
    }
}
