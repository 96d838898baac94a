//! What the columns of a log are, judged by what is in them.
//!
//! The rules, strongest first:
//!
//! 1. A column of durations that is the differences of a column of stamps fixes both roles at once ([`super::proof`]).
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
use super::sample::{Column, Sample};
use super::table::Table;
use super::text;
use crate::recording::{Kind, Role, Unit};

/// Frame rates that a pass can have on average, fps.
pub const LIKELY_FPS: std::ops::RangeInclusive<f64> = 1.0..=2000.0;
const YEAR_2000_S: f64 = 946_684_800.0;
const YEAR_2100_S: f64 = 4_102_444_800.0;

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

/// What a column is by its own values.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Shape {
    Empty,
    Words,
    Stamps,
    /// Unix time in this unit.
    Epoch(Unit),
    Counter,
    Rising,
    Constant,
    Positive,
    Numbers,
}

pub(super) fn shape_of(column: &Column) -> Shape {
    let filled = column.numbers + column.stamps + column.words;
    if filled == 0 {
        return if column.values.is_empty() { Shape::Empty } else { Shape::Numbers };
    }
    if column.stamps * 2 > filled {
        return Shape::Stamps;
    }
    if column.numbers * 2 <= filled {
        return Shape::Words;
    }
    let values: Vec<f64> = column.values.iter().copied().filter(|v| v.is_finite()).collect();
    let steps: Vec<f64> = values.windows(2).map(|w| w[1] - w[0]).collect();
    let rises = steps.iter().filter(|s| **s > 0.0).count();
    let falls = steps.iter().filter(|s| **s < 0.0).count();
    let positive = values.iter().filter(|v| **v > 0.0).count() * 2 > values.len();
    match () {
        () if rises + falls == 0 && values.len() > 1 => Shape::Constant,
        () if rises * 2 > steps.len() && falls * 50 <= steps.len() => match epoch_unit(values[0]) {
            Some(unit) => Shape::Epoch(unit),
            None if steps.iter().all(|s| *s == 1.0) => Shape::Counter,
            None => Shape::Rising,
        },
        () if positive => Shape::Positive,
        () => Shape::Numbers,
    }
}

fn epoch_unit(value: f64) -> Option<Unit> {
    [Unit::Second, Unit::Millisecond, Unit::Microsecond, Unit::Nanosecond].into_iter().find(|&unit| {
        let seconds = value * unit_s(unit);
        (YEAR_2000_S..YEAR_2100_S).contains(&seconds)
    })
}

/// Seconds in a unit of time; 0 for other units.
pub(super) fn unit_s(unit: Unit) -> f64 {
    number::exponent(unit).map_or(0.0, |e| 10_f64.powi(e - 9))
}

/// Frames (or rows) a second that a column of stamps gives in a unit: median step.
pub(super) fn stamps_fps(column: &Column, unit: Unit) -> f64 {
    1.0 / (median_step(column) * unit_s(unit))
}

pub(super) fn median_step(column: &Column) -> f64 {
    let mut steps: Vec<f64> =
        column.values.windows(2).map(|w| w[1] - w[0]).filter(|s| s.is_finite() && *s >= 0.0).collect();
    steps.sort_by(f64::total_cmp);
    steps.get(steps.len() / 2).copied().unwrap_or(f64::NAN)
}

pub(super) fn durations_fps(column: &Column, unit: Unit) -> f64 {
    let good = column.values.iter().filter(|v| **v > 0.0 && v.is_finite());
    let (count, sum) = good.fold((0_u32, 0.0), |(n, s), v| (n + 1, s + v));
    f64::from(count) / (sum * unit_s(unit))
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
    fn gather(table: &'a Table, sample: &'a Sample) -> Self {
        let hints: Vec<Hints> = table.names.iter().map(|n| headers::hints(n)).collect();
        let shapes: Vec<Shape> = sample.columns.iter().map(shape_of).collect();
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
        for clock in self.clocks() {
            for durations in self.places(|s| matches!(s, Shape::Positive | Shape::Constant | Shape::Rising)) {
                if clock != durations && self.may_be_durations(durations) {
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

/// Whether less than nine tenths of the rows hold the middle value.
fn varies(column: &Column) -> bool {
    let mut values: Vec<f64> = column.values.iter().copied().filter(|v| v.is_finite()).collect();
    values.sort_by(f64::total_cmp);
    let middle = values.get(values.len() / 2).copied().unwrap_or(f64::NAN);
    values.iter().filter(|v| **v == middle).count() * 10 < values.len() * 9
}

/// Position from 0 of a column numbered from 1.
pub(super) fn place(index: u32) -> usize {
    usize::try_from(index.saturating_sub(1)).unwrap_or(usize::MAX)
}

/// Whether the middle of a column is possible for a quantity in its unit.
fn in_range(column: &Column, role: Role, unit: Option<Unit>) -> bool {
    let mut values: Vec<f64> = column.values.iter().copied().filter(|v| v.is_finite()).collect();
    values.sort_by(f64::total_cmp);
    let Some(&middle) = values.get(values.len() / 2) else { return false };
    let hertz = match unit {
        Some(Unit::Megahertz) => 1e6,
        Some(Unit::Gigahertz) => 1e9,
        _ => 1.0,
    };
    match role {
        Role::Power => (0.0..=5000.0).contains(&middle),
        Role::Clock => (0.0..=2e10).contains(&(middle * hertz)),
        Role::Temperature => (-60.0..=150.0).contains(&middle),
        Role::Load => (0.0..=100.0).contains(&middle),
        _ => middle >= 0.0,
    }
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
