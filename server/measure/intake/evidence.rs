//! What the columns of a log are, judged by what is in them.
//!
//! The rules, strongest first:
//!
//! 1. A column of durations that is the differences of a column of stamps fixes both roles at once (`proof.rs`).
//!    Where several fit, the one whose running sum misses the stamps least.
//! 2. A unit of time is taken when something other than the header's word for it speaks too: a date and time of day,
//!    the power of ten between stamps and durations, or the average frame rate, which has to lie in 1..2000 fps.
//!    Units of time are a factor of 1000 apart, so that range leaves one of them, which must be the header's.
//! 3. A number of seconds since 1970 in this century is a wall clock, and its size is its unit.
//! 4. Stamps alone are frame starts, unless power, clock, temperature or load stand beside them: rows at 20 ms and
//!    more are then samples of a companion, faster ones are asked about. A column beside the stamps that is not
//!    their differences is never the frame time, however likely it looks.
//! 5. Durations alone need their unit and the word 'frame' in the header, and no rival.
//! 6. Everything else is asked.

use super::headers::{self, Hints};
use super::layout::{Column as LayoutColumn, FORM, Layout, StampAt};
use super::number;
use super::proof::{self, Pair};
use super::sample::Sample;
use super::shape::{Shape, durations_fps, in_range, shape_of, stamps_fps, unit_s, varies};
use super::table::Table;
use super::text;
use crate::recording::{Kind, Role, Unit};

/// Frame rates that a pass can have on average, fps.
pub const LIKELY_FPS: std::ops::RangeInclusive<f64> = 1.0..=2000.0;
/// What the evidence says.
#[derive(Debug)]
pub enum Verdict {
    /// One layout.
    Certain(Layout),
    /// A person has to say; the layout is the guess, the others ways to read the log.
    Unsure {
        /// Why, in words.
        why: String,
        /// What is known of each column.
        guess: Layout,
        /// Ways to read it, with words for each.
        ways: Vec<(String, Layout)>,
    },
    /// Nothing in it times frames or samples.
    Untimed,
    /// Its rows are runs or events.
    Summary,
}

/// The evidence of one log.
pub(super) struct Evidence<'a> {
    pub table: &'a Table,
    pub sample: &'a Sample,
    pub hints: Vec<Hints>,
    pub shapes: Vec<Shape>,
    pub pair: Option<Pair>,
}

/// Weighs the sample.
pub fn judge(table: &Table, sample: &Sample) -> Verdict {
    let evidence = Evidence::gather(table, sample);
    let guess = evidence.describe();
    match evidence.pair {
        Some(pair) => evidence.by_pair(pair, guess),
        None if is_summary(sample) => Verdict::Summary,
        None => evidence.by_one(guess),
    }
}

impl<'a> Evidence<'a> {
    pub(super) fn gather(table: &'a Table, sample: &'a Sample) -> Self {
        let hints: Vec<Hints> = table.names.iter().map(|n| headers::hints(n)).collect();
        let shapes: Vec<Shape> = sample.columns.iter().map(|c| shape_of(c, sample.partings)).collect();
        let mut evidence = Self { table, sample, hints, shapes, pair: None };
        evidence.pair = evidence.best_pair();
        evidence
    }

    fn places(&self, fits: impl Fn(Shape) -> bool) -> Vec<usize> {
        (0..self.shapes.len()).filter(|&i| fits(self.shapes[i])).collect()
    }

    pub(super) fn clocks(&self) -> Vec<usize> {
        self.places(|s| matches!(s, Shape::Stamps | Shape::Epoch(_) | Shape::Rising))
    }

    fn best_pair(&self) -> Option<Pair> {
        let columns = &self.sample.columns;
        let mut pairs = Vec::new();
        let mut possible = self.places(|s| matches!(s, Shape::Positive | Shape::Constant | Shape::Rising));
        possible.retain(|&durations| self.may_be_durations(durations));
        for clock in self.clocks() {
            for &durations in &possible {
                if clock != durations {
                    pairs.extend(proof::pair((clock, &columns[clock]), (durations, &columns[durations])));
                }
            }
        }
        // The least miss wins; among equals the header's word 'frame', then the finer clock, then the first.
        let named = |p: &Pair| u8::from(!self.hints[p.durations].frame);
        let step = |p: &Pair| columns[p.clock].step() * self.known_unit(p.clock).map_or(1.0, unit_s);
        pairs.into_iter().min_by(|a, b| {
            let close = (a.miss - b.miss).abs() < 1e-5;
            let by_miss = if close { std::cmp::Ordering::Equal } else { a.miss.total_cmp(&b.miss) };
            by_miss.then(named(a).cmp(&named(b))).then(step(a).total_cmp(&step(b)))
        })
    }

    /// A column with a unit of another quantity is no duration; one without a unit has to vary, since whatever
    /// stays at 100 agrees with samples taken every 100 ms.
    fn may_be_durations(&self, column: usize) -> bool {
        match self.hints[column].unit {
            Some(unit) => headers::is_time(unit),
            None => varies(&self.sample.columns[column]),
        }
    }

    /// The unit of a clock that its own values prove, else its header's.
    pub(super) fn known_unit(&self, column: usize) -> Option<Unit> {
        match self.shapes[column] {
            Shape::Stamps => Some(Unit::Second),
            Shape::Epoch(unit) => Some(unit),
            _ => self.hints[column].unit.filter(|u| headers::is_time(*u)),
        }
    }

    fn by_pair(&self, pair: Pair, mut guess: Layout) -> Verdict {
        let clock_unit = self.known_unit(pair.clock).and_then(number::exponent);
        let from_durations =
            self.hints[pair.durations].unit.and_then(number::exponent).map(|e| e - pair.power);
        let fits = |e: &i32| {
            let unit = number::time_unit(e + pair.power)?;
            number::time_unit(*e)?;
            LIKELY_FPS.contains(&durations_fps(&self.sample.columns[pair.durations], unit)).then_some(*e)
        };
        let agreed = match (clock_unit, from_durations) {
            (Some(a), Some(b)) if a != b => None,
            (a, b) => a.or(b),
        };
        self.set_pair(&mut guess, pair, agreed.or_else(|| [9, 6, 3, 0].iter().find_map(fits)).unwrap_or(6));
        match agreed.as_ref().and_then(fits) {
            Some(_) => Verdict::Certain(guess),
            None => {
                let why = match (clock_unit, from_durations, agreed) {
                    (None, None, _) => format!(
                        "Columns {} and {} are stamps and durations, but neither says its unit.",
                        pair.clock + 1,
                        pair.durations + 1
                    ),
                    (.., None) => format!(
                        "The units that columns {} and {} name do not go together: their numbers are a factor of 10^{} apart.",
                        pair.clock + 1,
                        pair.durations + 1,
                        pair.power.abs()
                    ),
                    _ => format!(
                        "In the units that the header names, column {} gives a frame rate outside 1 to 2000 fps.",
                        pair.durations + 1
                    ),
                };
                let ways = [9, 6, 3, 0].into_iter().filter_map(|e| {
                    let (clock, durations) = (number::time_unit(e)?, number::time_unit(e + pair.power)?);
                    let mut layout = guess.clone();
                    self.set_pair(&mut layout, pair, e);
                    Some((
                        format!("stamps in {}, durations in {}", name_of(clock), name_of(durations)),
                        layout,
                    ))
                });
                Verdict::Unsure { why, ways: self.likely_first(ways.collect()), guess: guess.clone() }
            }
        }
    }

    fn set_pair(&self, layout: &mut Layout, pair: Pair, exponent: i32) {
        let clock = self.set_clock(layout, pair.clock, number::time_unit(exponent));
        let durations = &mut layout.columns[pair.durations];
        durations.role = Role::FrameTime;
        durations.unit = number::time_unit(exponent + pair.power).unwrap_or(Unit::Millisecond);
        durations.why = format!(
            "it is the differences of column {clock} in {:.1} % of the rows; its running sum follows column {clock} to {:.2} %",
            100.0 * pair.share,
            100.0 * pair.miss
        );
        layout.stamp_at = pair.at;
        layout.kind = Kind::Frames;
    }

    /// Makes a column the clock of the rows; gives its position from 1.
    pub(super) fn set_clock(&self, layout: &mut Layout, clock: usize, unit: Option<Unit>) -> u32 {
        let column = &mut layout.columns[clock];
        if self.shapes[clock] == Shape::Rising {
            column.role = Role::Elapsed;
            column.unit = unit.unwrap_or(Unit::Millisecond);
            "it rises from row to row".clone_into(&mut column.why);
        }
        layout.clock = Some(column.index);
        column.index
    }

    /// The layout before anything is decided: what each column is by itself.
    fn describe(&self) -> Layout {
        let columns = (0..self.table.names.len()).map(|i| self.describe_column(i)).collect();
        Layout {
            form: FORM,
            kind: Kind::Frames,
            delimiter: char::from(self.table.delimiter),
            decimal: char::from(self.table.mark),
            encoding: self.table.encoding,
            header_line: self.table.header_line,
            clock: None,
            stamp_at: StampAt::Start,
            columns,
        }
    }

    fn describe_column(&self, i: usize) -> LayoutColumn {
        let hints = &self.hints[i];
        let (role, unit, why) = match self.shapes[i] {
            Shape::Empty => (Role::Other, Unit::None, "no values".to_owned()),
            Shape::Words => {
                let distinct = &self.sample.columns[i].distinct;
                let first = distinct.first().map(|w| text::words(w, self.table.encoding).into_owned());
                (Role::Text, Unit::None, format!("words, first '{}'", first.unwrap_or_default()))
            }
            Shape::Stamps => (Role::WallClock, Unit::Iso8601, "dates and times of day".to_owned()),
            Shape::Epoch(unit) => (Role::WallClock, unit, "time since 1970, in this century".to_owned()),
            Shape::Counter => (Role::Counter, Unit::None, "it counts the rows".to_owned()),
            Shape::Constant if hints.role.is_none() => {
                (Role::Constant, hints.unit.unwrap_or(Unit::None), "it never changes".to_owned())
            }
            Shape::Rising | Shape::Constant | Shape::Positive | Shape::Numbers => match hints.role {
                Some(role) if in_range(&self.sample.columns[i], role, hints.unit) => (
                    role,
                    hints.unit.unwrap_or(Unit::None),
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
        let unit = if column.unit == Unit::Iso8601 { Unit::Second } else { column.unit };
        stamps_fps(&self.sample.columns[place(index)], unit)
    }
}

/// Whether the rows are runs or events rather than frames: few, each led by words that differ.
fn is_summary(sample: &Sample) -> bool {
    sample.rows <= 256
        && sample.columns.first().is_some_and(|c| c.words * 2 > sample.rows && c.distinct.len() > 1)
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
