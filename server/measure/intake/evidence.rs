//! What the columns of a log are, judged by what is in them.
//!
//! A reading says which column times the rows, which holds their durations, and in what units. The rule of decision:
//!
//! - *read* when one reading explains the data and the runner-up is far off: a column of durations is the
//!   differences of a column of stamps (`proof.rs`), which fixes both roles and the ratio of their units; or stamps
//!   beside columns that only frames have; or durations whose header names frame and unit, without a rival.
//! - A unit of time is taken when the average frame rate in it lies in 1..2000 fps, no other unit of time gives that,
//!   and the header names no other one. Units of time are a factor of 1000 apart: the range leaves one of them.
//! - *ask* when two readings fit: another pair of columns that belong together as well and give another sum; a rival
//!   that the digits written cannot tell from the first; stamps of sensor rows that might be frames; a header that
//!   names another column or unit than the numbers prove; several programs; rows that are marked as dropped.
//! - *refuse* when nothing times frames or samples, or the rows are results.
//!
//! The proof is kept with the layout and held over the whole log while it is read (`held.rs`).

use super::describe::name_of;
use super::headers::{self, Hints};
use super::layout::Layout;
use super::number;
use super::proof::{self, Pair};
use super::sample::Sample;
use super::shape::{Shape, durations_fps, shape_of, unit_s, varies};
use super::table::Table;
use crate::recording::{Kind, Role, Unit};

/// Frame rates that a pass can have on average, fps.
pub const LIKELY_FPS: std::ops::RangeInclusive<f64> = 1.0..=2000.0;

/// Share of rows in which a column that is named as a mean has to be the differences of the stamps.
const ALL_ROWS: f64 = 0.995;

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
    /// Its times run backwards; the column, from 1.
    Backwards(usize),
    /// Its rows are runs or events.
    Summary,
}

/// The evidence of one log.
pub(super) struct Evidence<'a> {
    pub table: &'a Table,
    pub sample: &'a Sample,
    pub hints: Vec<Hints>,
    pub shapes: Vec<Shape>,
    /// Durations beside stamps.
    pub pairs: Vec<Pair>,
    /// Frame rates beside stamps: `durations` is the column of the rates, in durations of seconds.
    pub by_rate: Vec<Pair>,
}

impl<'a> Evidence<'a> {
    /// Weighs the sample.
    pub(super) fn judge(&self) -> Verdict {
        let verdict = self.several_programs().unwrap_or_else(|| self.decide());
        self.with_dropped(verdict)
    }

    pub(super) fn gather(table: &'a Table, sample: &'a Sample) -> Self {
        let hints: Vec<Hints> = table.names.iter().map(|n| headers::hints(n)).collect();
        let shapes: Vec<Shape> = sample
            .columns
            .iter()
            .zip(&hints)
            .map(|(c, h)| shape_of(c, sample.partings, h.time || h.unit.is_some_and(headers::is_time)))
            .collect();
        let mut evidence = Self { table, sample, hints, shapes, pairs: Vec::new(), by_rate: Vec::new() };
        evidence.find_pairs();
        evidence
    }

    pub(super) fn decide(&self) -> Verdict {
        let guess = self.describe();
        match () {
            () if !self.pairs.is_empty() => self.by_pairs(guess),
            () if self.is_summary() => Verdict::Summary,
            () => self.by_one(guess),
        }
    }

    pub(super) fn places(&self, fits: impl Fn(Shape) -> bool) -> Vec<usize> {
        (0..self.shapes.len()).filter(|&i| fits(self.shapes[i])).collect()
    }

    pub(super) fn clocks(&self) -> Vec<usize> {
        let mut clocks = self.places(|s| matches!(s, Shape::Stamps(_) | Shape::Epoch(_) | Shape::Rising));
        clocks.retain(|&c| !self.hints[c].foreign && !self.hints[c].statistic);
        clocks
    }

    fn find_pairs(&mut self) {
        let columns = &self.sample.columns;
        let possible: Vec<usize> = self
            .places(|s| matches!(s, Shape::Positive | Shape::Constant | Shape::Rising))
            .into_iter()
            .filter(|&c| self.may_be_durations(c))
            .collect();
        let rates: Vec<_> = self
            .places(|s| s == Shape::Positive)
            .into_iter()
            .filter(|&c| self.hints[c].role == Some(Role::Rate) || self.hints[c] == Hints::default())
            .map(|c| (c, proof::from_rates(&columns[c])))
            .collect();
        let (mut pairs, mut by_rate) = (Vec::new(), Vec::new());
        for clock in self.clocks() {
            for &durations in possible.iter().filter(|d| **d != clock) {
                pairs.extend(proof::pair((clock, &columns[clock]), (durations, &columns[durations])));
            }
            for (rate, durations) in rates.iter().filter(|r| r.0 != clock) {
                by_rate.extend(proof::pair((clock, &columns[clock]), (*rate, durations)));
            }
        }
        // What little speaks needs the header beside it.
        pairs.retain(|p| {
            !p.loose || (self.hints[p.durations].frame && self.hints[p.durations].role.is_none())
        });
        by_rate.retain(|p| !p.loose);
        // A mean over rows follows coarse stamps as well, but not in every row.
        pairs.retain(|p| !self.hints[p.durations].statistic || (!p.coarse && p.share >= ALL_ROWS));
        (self.pairs, self.by_rate) = (pairs, by_rate);
    }

    /// A column with a unit of another quantity is no duration; one without a unit has to vary, since whatever
    /// stays at 100 agrees with samples taken every 100 ms.
    fn may_be_durations(&self, column: usize) -> bool {
        let hints = &self.hints[column];
        match hints.unit {
            Some(unit) => headers::is_time(unit),
            None => !hints.foreign && varies(&self.sample.columns[column]),
        }
    }

    /// The unit of a clock that its own values prove, else its header's.
    pub(super) fn known_unit(&self, column: usize) -> Option<Unit> {
        match self.shapes[column] {
            Shape::Stamps(unit) | Shape::Epoch(unit) => Some(unit),
            _ => self.hints[column].unit.filter(|u| headers::is_time(*u)),
        }
    }

    /// Whether its own values prove the unit of a clock.
    pub(super) fn proves_unit(&self, column: usize) -> bool {
        matches!(self.shapes[column], Shape::Stamps(_) | Shape::Epoch(_))
    }

    /// How much the words of a pair's headers speak for it.
    fn named(&self, pair: &Pair) -> i32 {
        let (clock, durations) = (&self.hints[pair.clock], &self.hints[pair.durations]);
        let timed = self.proves_unit(pair.clock) || clock.time || clock.unit.is_some_and(headers::is_time);
        let works = |h: &Hints| matches!(h.role, Some(Role::CpuWork | Role::CardWork | Role::Latency));
        i32::from(timed)
            + 2 * i32::from(durations.frame)
            + i32::from(durations.duration)
            + i32::from(durations.unit.is_some())
            - 3 * i32::from(works(durations))
            - 2 * i32::from(works(clock))
    }

    /// The pair to read by, and others that fit as well and give another result.
    fn ranked(&self) -> (Pair, Vec<Pair>) {
        let finer =
            |p: &Pair| self.sample.columns[p.clock].step() * self.known_unit(p.clock).map_or(1.0, unit_s);
        let order = |a: &Pair, b: &Pair| {
            let close = a.clock == b.clock && (a.miss - b.miss).abs() <= 3.0 * a.explained.max(b.explained);
            let by_miss = if close || a.clock != b.clock {
                std::cmp::Ordering::Equal
            } else {
                a.miss.total_cmp(&b.miss)
            };
            by_miss
                .then(self.named(b).cmp(&self.named(a)))
                .then(a.coarse.cmp(&b.coarse))
                .then(finer(a).total_cmp(&finer(b)))
        };
        let mut pairs = self.pairs.clone();
        pairs.sort_by(order);
        let best = pairs[0];
        let seconds = |p: &Pair| 1.0 / durations_fps(&self.sample.columns[p.durations], Unit::Second);
        let alike = |p: &Pair| {
            let ratio = seconds(p) / seconds(&best);
            let whole =
                [-9, -6, -3, 0, 3, 6, 9].into_iter().any(|e| (ratio / 10_f64.powi(e) - 1.0).abs() < 1e-7);
            p.durations == best.durations || whole
        };
        let rivals = pairs[1..].iter().copied().filter(|p| !alike(p)).filter(|p| {
            let told_apart =
                p.clock == best.clock && p.miss > best.miss + 3.0 * p.explained.max(best.explained);
            !told_apart && self.named(p) >= self.named(&best)
        });
        (best, rivals.collect())
    }

    /// The pair that the log would be read by.
    pub(super) fn best_pair(&self) -> Option<Pair> {
        (!self.pairs.is_empty()).then(|| self.ranked().0)
    }

    /// Whether a column is the differences of some stamps.
    pub(super) fn holds(&self, durations: usize) -> bool {
        self.pairs.iter().any(|p| p.durations == durations)
    }

    fn by_pairs(&self, mut guess: Layout) -> Verdict {
        let (pair, rivals) = self.ranked();
        let units = self.units_of(pair);
        let exponent = units.as_ref().map_or_else(|(_, e)| *e, |e| *e);
        let before = guess.clone();
        self.set_pair(&mut guess, pair, exponent);
        if let Err((why, _)) = units {
            let ways = [9, 6, 3, 0].into_iter().filter_map(|e| {
                let (clock, durations) = (number::time_unit(e)?, number::time_unit(e + pair.power)?);
                let mut layout = before.clone();
                self.set_pair(&mut layout, pair, e);
                Some((format!("stamps in {}, durations in {}", name_of(clock), name_of(durations)), layout))
            });
            return Verdict::Unsure { why, ways: self.likely_first(ways.collect()), guess };
        }
        if let Some(why) = self.speaks_against(pair, &rivals) {
            let mut ways = vec![(self.way(pair), guess.clone())];
            for rival in rivals {
                let mut layout = before.clone();
                let exponent = self.units_of(rival).unwrap_or_else(|(_, e)| e);
                self.set_pair(&mut layout, rival, exponent);
                ways.push((self.way(rival), layout));
            }
            let mut companion = before;
            self.set_clock(&mut companion, pair.clock, number::time_unit(exponent));
            companion.kind = Kind::Companion;
            ways.push((format!("samples timed by column {}", pair.clock + 1), companion));
            return Verdict::Unsure { why, guess, ways };
        }
        Verdict::Certain(guess)
    }

    fn way(&self, pair: Pair) -> String {
        format!("frame times in column {}, stamps in column {}", pair.durations + 1, pair.clock + 1)
    }

    /// What speaks against reading by a pair whose units are settled.
    fn speaks_against(&self, pair: Pair, rivals: &[Pair]) -> Option<String> {
        if let Some(rival) = rivals.first() {
            return Some(if rival.clock == pair.clock {
                format!(
                    "Columns {} and {} both follow column {} to the digits written.",
                    pair.durations + 1,
                    rival.durations + 1,
                    pair.clock + 1
                )
            } else {
                format!(
                    "Column {} is the differences of column {}, and column {} those of column {}: both may be frame times.",
                    pair.durations + 1,
                    pair.clock + 1,
                    rival.durations + 1,
                    rival.clock + 1
                )
            });
        }
        let hints = &self.hints[pair.durations];
        let works = matches!(hints.role, Some(Role::CpuWork | Role::CardWork | Role::Latency));
        let named =
            self.named_durations().into_iter().find(|&c| c != pair.durations && self.hints[c].role.is_none());
        if let (true, Some(other)) = (works, named) {
            return Some(format!(
                "Column {} is named as frame time, but column {} is the differences of column {}.",
                other + 1,
                pair.durations + 1,
                pair.clock + 1
            ));
        }
        let fps = 1.0
            / (super::shape::median_step(&self.sample.columns[pair.clock])
                * self.known_unit(pair.clock).map_or(f64::NAN, unit_s));
        let sampled =
            self.has_sensors() && !hints.frame && !self.frames_spoken_of() && (fps.is_nan() || fps <= 50.0);
        sampled.then(|| {
            format!(
                "Columns {} and {} are stamps and their differences beside sensor readings: frames or samples?",
                pair.clock + 1,
                pair.durations + 1
            )
        })
    }

    /// Power of ten, in ns, of the clock's unit; the error says why it is not certain, with a guess.
    fn units_of(&self, pair: Pair) -> Result<i32, (String, i32)> {
        let exponent_of = |unit: Unit| match unit {
            Unit::Iso8601 | Unit::TimeOfDay => Some(9),
            unit => number::exponent(unit),
        };
        let by_clock = self.known_unit(pair.clock).and_then(exponent_of);
        let by_durations = self.hints[pair.durations].unit.and_then(number::exponent).map(|e| e - pair.power);
        let fits: Vec<i32> = [9, 6, 3, 0]
            .into_iter()
            .filter(|e| {
                number::time_unit(e + pair.power).is_some_and(|unit| {
                    LIKELY_FPS.contains(&durations_fps(&self.sample.columns[pair.durations], unit))
                })
            })
            .collect();
        let guess = fits.first().copied().unwrap_or(6);
        let (clock, durations) = (pair.clock + 1, pair.durations + 1);
        match (by_clock, by_durations) {
            (Some(a), Some(b)) if a != b => Err((
                format!(
                    "The units that columns {clock} and {durations} name do not go together: their numbers are a factor of 10^{} apart.",
                    pair.power.abs()
                ),
                guess,
            )),
            (Some(e), _) | (_, Some(e)) if !fits.contains(&e) => Err((
                format!(
                    "In the units that the header names, column {durations} gives a frame rate outside 1 to 2000 fps."
                ),
                guess,
            )),
            (Some(e), Some(_)) => Ok(e),
            (Some(e), None) if self.proves_unit(pair.clock) => Ok(e),
            (Some(e), None) | (None, Some(e)) if fits == [e] => Ok(e),
            (None, None) if fits.len() == 1 => Ok(guess),
            _ => Err((
                format!(
                    "Columns {clock} and {durations} are stamps and durations, but several units of time give a likely frame rate."
                ),
                guess,
            )),
        }
    }

    fn set_pair(&self, layout: &mut Layout, pair: Pair, exponent: i32) {
        let clock = self.set_clock(layout, pair.clock, number::time_unit(exponent));
        let durations = &mut layout.columns[pair.durations];
        durations.role = Role::FrameTime;
        durations.unit = number::time_unit(exponent + pair.power).unwrap_or(Unit::Millisecond);
        durations.why = if pair.coarse {
            format!(
                "its running sum follows column {clock}, whose stamps are coarser than a frame, to {:.2} %",
                100.0 * pair.miss
            )
        } else {
            format!(
                "it is the differences of column {clock} in {:.1} % of the rows; its running sum follows column {clock} to {:.2} %",
                100.0 * pair.share,
                100.0 * pair.miss
            )
        };
        if pair.coarse {
            // Frames go on by their durations; the stamps only say when the first one was.
            layout.clock = None;
        }
        layout.stamp_at = pair.at;
        layout.kind = Kind::Frames;
    }

    /// Makes a column the clock of the rows; gives its position from 1.
    pub(super) fn set_clock(&self, layout: &mut Layout, clock: usize, unit: Option<Unit>) -> u32 {
        let column = &mut layout.columns[clock];
        if !self.proves_unit(clock) {
            column.role = Role::Elapsed;
            column.unit = unit.unwrap_or(Unit::Millisecond);
            "it rises from row to row".clone_into(&mut column.why);
        }
        layout.clock = Some(column.index);
        column.index
    }
}
