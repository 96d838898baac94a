//! The evidence where no column of durations is proved by stamps: stamps alone, durations alone, rates, or neither.

use super::describe::name_of;
use super::evidence::{Evidence, LIKELY_FPS, Verdict};
use super::headers;
use super::layout::{Layout, StampAt};
use super::proof::Pair;
use super::shape::{
    PERIOD_EXACT, Shape, counts_by, durations_fps, even, idle_steps, kept_in_thousands, median_step,
    run_length, spread_of_steps, stamps_fps, unit_s, varies,
};
use crate::recording::{Kind, Role, Unit};

/// Rows at least this far apart, beside sensor columns, are samples, seconds.
const SAMPLES_S: f64 = 0.045;
/// Samplers keep their period: the middle of the deviations from it, relative.
const PERIOD_KEPT: f64 = 0.25;
/// Rows for which a sensor's value holds where it was read less often than frames were written.
pub(super) const HELD_ROWS: f64 = 3.0;
/// Slower rows, beside numbers that nobody knows, may be samples of anything, rows a second.
const SURELY_FRAMES: f64 = 30.0;
/// Share of stamps that are no later than the one before, from which on they are too coarse to time frames: such
/// rows have no time, and the average rate loses as large a share.
const TOO_COARSE: f64 = 0.002;
pub(super) const UNITS: [Unit; 4] = [Unit::Second, Unit::Millisecond, Unit::Microsecond, Unit::Nanosecond];

impl Evidence<'_> {
    /// Decides without a pair.
    pub(super) fn by_one(&self, guess: Layout) -> Verdict {
        let durations = self.named_durations();
        let mut clocks = self.clocks();
        // A rising column that no word calls time may be anything: it is a clock only if there is nothing better.
        clocks.retain(|&c| (self.known_unit(c).is_some() || self.hints[c].time) && !self.rises_by_chance(c));
        clocks
            .retain(|&c| !matches!(self.hints[c].role, Some(Role::CpuWork | Role::CardWork | Role::Latency)));
        // Stamps that name their unit before those that do not, the finer ones first.
        clocks.sort_by(|&a, &b| {
            let unknown = |c: usize| self.known_unit(c).is_none();
            unknown(a).cmp(&unknown(b)).then(self.step_s(a).total_cmp(&self.step_s(b)))
        });
        let backwards = self.places(|s| s == Shape::Falling).into_iter().find(|&c| self.hints[c].time);
        match (clocks.first(), durations.as_slice(), backwards) {
            (None, [], Some(column)) => Verdict::Backwards(column + 1),
            (Some(&clock), [], _) => self.by_stamps(clock, guess),
            (Some(&clock), named, _) => self.contradiction(clock, named, guess),
            (None, [], None) => self.by_unnamed(guess),
            (None, named, _) => self.by_durations(named, guess),
        }
    }

    fn step_s(&self, clock: usize) -> f64 {
        self.sample.columns[clock].step() * self.known_unit(clock).map_or(1.0, unit_s)
    }

    /// Whether the rows are runs or events rather than frames: few, and led by words that differ or of results.
    pub(super) fn is_summary(&self) -> bool {
        let first = self.sample.columns.first();
        let led = first.is_some_and(|c| c.words * 2 > self.sample.rows && c.distinct.len() > 1);
        let results = self.hints.iter().filter(|h| h.statistic).count();
        let timed = self.clocks().iter().any(|&c| self.hints[c].time || self.proves_unit(c));
        self.sample.rows <= 256 && (led || (results > 0 && !timed))
    }

    /// Columns that can be durations and whose header says 'frame' and a unit or word of time.
    pub(super) fn named_durations(&self) -> Vec<usize> {
        (0..self.shapes.len())
            .filter(|&i| {
                let hints = &self.hints[i];
                let may = matches!(self.shapes[i], Shape::Positive | Shape::Constant | Shape::Numbers);
                let timed =
                    hints.unit.is_some_and(headers::is_time) || (hints.unit.is_none() && hints.duration);
                (may || self.rises_by_chance(i))
                    && hints.frame
                    && timed
                    && hints.role.is_none()
                    && !hints.statistic
            })
            .collect()
    }

    /// A few frame times can rise from row to row: then their sum gives a likely frame rate and their steps do not.
    fn rises_by_chance(&self, column: usize) -> bool {
        let (values, hints) = (&self.sample.columns[column], &self.hints[column]);
        let Some(unit) = hints.unit.filter(|u| headers::is_time(*u)) else { return false };
        self.shapes[column] == Shape::Rising
            && hints.frame
            && LIKELY_FPS.contains(&durations_fps(values, unit))
            && !LIKELY_FPS.contains(&stamps_fps(values, unit))
    }

    /// Columns of sensor readings.
    fn sensors(&self) -> impl Iterator<Item = usize> {
        (0..self.hints.len()).filter(|&i| {
            self.hints[i].sensor
                && !self.hints[i].limit
                && !matches!(self.shapes[i], Shape::Words | Shape::Empty)
        })
    }

    /// Whether there are sensor readings beside the times.
    pub(super) fn has_sensors(&self) -> bool {
        self.sensors().next().is_some()
    }

    /// Whether sensor values hold over several rows: rows that are written more often than sensors are read.
    fn sensors_hold(&self) -> bool {
        self.sensors().all(|i| run_length(&self.sample.columns[i]) >= HELD_ROWS)
    }

    /// Whether a header speaks of what only frames have.
    pub(super) fn frames_spoken_of(&self) -> bool {
        self.hints.iter().any(|h| {
            (h.frame && !h.statistic)
                || matches!(h.role, Some(Role::CpuWork | Role::CardWork | Role::Latency))
        })
    }

    /// Units of time in which stamps or durations give a likely frame rate.
    fn likely_units(&self, fps: impl Fn(Unit) -> f64) -> Vec<Unit> {
        UNITS.into_iter().filter(|u| LIKELY_FPS.contains(&fps(*u))).collect()
    }

    fn by_stamps(&self, clock: usize, mut guess: Layout) -> Verdict {
        let column = &self.sample.columns[clock];
        let fitting = self.likely_units(|u| stamps_fps(column, u));
        let rate = self.by_rate.iter().find(|p| p.clock == clock);
        let by_rate = rate.and_then(|p| crate::intake::number::time_unit(9 - p.power));
        let unit = self.known_unit(clock).or(by_rate).or_else(|| fitting.first().copied());
        let index = self.set_clock(&mut guess, clock, unit);
        if self.hints[clock].end {
            guess.stamp_at = StampAt::End;
        }
        let named = unit.map_or("no unit", name_of);
        let step_s = median_step(column) * unit.map_or(f64::NAN, unit_s);
        let mut companion = guess.clone();
        companion.kind = Kind::Companion;
        if self.sampled(clock, step_s) {
            companion.columns[clock].why +=
                &format!("; its rows are {:.0} ms apart, beside sensor readings", step_s * 1e3);
            return Verdict::Certain(companion);
        }
        let Some(why) = self.stamps_unproved(clock, unit, &fitting, rate) else {
            guess.columns[clock].why += &match rate {
                Some(rate) => {
                    guess.stamp_at = rate.at;
                    format!("; its steps are what the rates in column {} give", rate.durations + 1)
                }
                None => format!(
                    "; in {named} it gives {:.1} frames a second, and no other unit of time gives 1 to 2000",
                    1.0 / step_s
                ),
            };
            return Verdict::Certain(guess);
        };
        let mut ways = vec![
            (format!("each row is the start of a frame, timed by column {index}"), guess.clone()),
            (format!("each row is a sample of a sensor log, timed by column {index}"), companion),
        ];
        if !self.proves_unit(clock) {
            ways.extend(UNITS.into_iter().filter(|u| Some(*u) != unit).map(|u| {
                let mut layout = guess.clone();
                self.set_clock(&mut layout, clock, Some(u));
                (format!("each row is the start of a frame, column {index} in {}", name_of(u)), layout)
            }));
            if !self.has_sensors() && LIKELY_FPS.contains(&(1.0 / step_s)) {
                let samples = ways.remove(1);
                ways = self.likely_first(ways);
                ways.insert(1.min(ways.len()), samples);
            } else {
                ways = self.likely_first(ways);
            }
        }
        Verdict::Unsure { why, guess, ways }
    }

    /// Whether rows are samples of sensors beyond doubt.
    fn sampled(&self, clock: usize, step_s: f64) -> bool {
        let kept = spread_of_steps(&self.sample.columns[clock]) < PERIOD_KEPT;
        let known = self.proves_unit(clock) || self.hints[clock].unit.is_some();
        self.has_sensors() && known && kept && step_s >= SAMPLES_S && !self.frames_spoken_of()
    }

    /// Why stamps alone do not prove that each row is a frame; `None` when they do.
    fn stamps_unproved(
        &self,
        clock: usize,
        unit: Option<Unit>,
        fitting: &[Unit],
        rate: Option<&Pair>,
    ) -> Option<String> {
        let column = &self.sample.columns[clock];
        let index = clock + 1;
        let Some(unit) = unit else {
            return Some(format!(
                "Column {index} rises like a time, but in no unit gives it 1 to 2000 rows a second."
            ));
        };
        let step_s = median_step(column) * unit_s(unit);
        let fps = 1.0 / step_s;
        let slow = fps < SURELY_FRAMES && spread_of_steps(column) < PERIOD_EXACT;
        let even = (slow || even(column)) && self.sample.rows > 2;
        let named = self.hints[clock].unit.is_some();
        let others = (0..self.shapes.len()).any(|i| {
            i != clock
                && self.hints[i].role.is_none()
                && matches!(self.shapes[i], Shape::Positive | Shape::Numbers | Shape::Rising)
        });
        Some(match () {
            () if !LIKELY_FPS.contains(&fps) => {
                format!(
                    "In {} column {index} gives {fps:.3} rows a second, outside 1 to 2000 fps.",
                    name_of(unit)
                )
            }
            () if idle_steps(column) > TOO_COARSE => format!(
                "The stamps in column {index} are too coarse: {:.0} % of the rows are no later than the row before.",
                100.0 * idle_steps(column)
            ),
            () if rate.is_some_and(|r| {
                crate::intake::number::time_unit(9 - r.power) == Some(unit) || self.proves_unit(clock)
            }) =>
            {
                return None;
            }
            () if rate.is_some() => {
                format!("The unit that column {index} names does not go with the rates beside it.")
            }
            () if !self.proves_unit(clock) && fitting.len() > 1 => {
                format!("Column {index} gives a likely frame rate in several units of time.")
            }
            () if let Some((counter, by)) = self.counts_by_more(clock) => {
                format!(
                    "Column {} counts by {by} from row to row: is each row a frame, or was one of {by} written?",
                    counter + 1
                )
            }
            () if !named && !self.proves_unit(clock) && kept_in_thousands(column) => format!(
                "Column {index} keeps its step of {:.1} {}, and its header names no unit: frames, or samples a thousand times further apart?",
                median_step(column),
                name_of(unit)
            ),
            () if self.has_sensors()
                && !(self.frames_spoken_of() && (self.sensors_hold() || fps > SURELY_FRAMES))
                && !(fps > SURELY_FRAMES && self.sensors_hold() && !even) =>
            {
                format!(
                    "Column {index} times rows {:.1} ms apart beside sensor readings: frames or samples?",
                    step_s * 1e3
                )
            }
            () if even => {
                format!("The steps of column {index} are all the same: frames under a cap, or samples?")
            }
            () if self.frames_spoken_of() && (named || self.proves_unit(clock) || self.hints[clock].time) => {
                return None;
            }
            () if others || fps < SURELY_FRAMES => {
                format!(
                    "Column {index} times rows {:.1} ms apart, and no other column is one that only frames have: frames or samples?",
                    step_s * 1e3
                )
            }
            () => return None,
        })
    }

    /// A column without a unit that counts the rows by more than one, beside stamps that are not as even.
    fn counts_by_more(&self, clock: usize) -> Option<(usize, f64)> {
        let uneven = !even(&self.sample.columns[clock]);
        let mut rising = self.places(|s| s == Shape::Rising).into_iter().filter(|&c| c != clock && uneven);
        rising.find_map(|c| {
            let by = counts_by(&self.sample.columns[c]).filter(|by| *by > 1.0)?;
            self.hints[c].unit.is_none().then_some((c, by))
        })
    }

    fn contradiction(&self, clock: usize, named: &[usize], mut guess: Layout) -> Verdict {
        let before = guess.clone();
        let unit = self.known_unit(clock);
        self.set_clock(&mut guess, clock, unit);
        let why = format!(
            "Column {} is named as frame time, but it is not the differences of column {}: the rows look sampled, or the clock is another one.",
            named[0] + 1,
            clock + 1
        );
        let mut companion = guess.clone();
        companion.kind = Kind::Companion;
        let mut ways = vec![(format!("samples timed by column {}", clock + 1), companion)];
        let mut frames = vec![(
            format!("frames timed by column {}, column {} unused", clock + 1, named[0] + 1),
            guess.clone(),
        )];
        for &d in named {
            let column = &self.sample.columns[d];
            let own = self.hints[d].unit.filter(|u| headers::is_time(*u));
            let mut units = self.likely_units(|u| durations_fps(column, u));
            units.sort_by_key(|u| Some(*u) != own);
            for unit in units.into_iter().chain(own).take(2) {
                let mut layout = before.clone();
                self.set_durations(&mut layout, d, unit);
                frames.push((
                    format!(
                        "frame times in column {}, in {}, column {} unused",
                        d + 1,
                        name_of(unit),
                        clock + 1
                    ),
                    layout,
                ));
            }
        }
        frames.dedup_by(|a, b| a.0 == b.0);
        ways.splice(0..0, frames);
        Verdict::Unsure { why, guess, ways }
    }

    pub(super) fn set_durations(&self, layout: &mut Layout, column: usize, unit: Unit) {
        let fps = durations_fps(&self.sample.columns[column], unit);
        let column = &mut layout.columns[column];
        column.role = Role::FrameTime;
        column.unit = unit;
        column.why = format!(
            "its header names a frame time, and in {} it gives {fps:.1} frames a second",
            name_of(unit)
        );
    }

    /// A column of rates each of which is one over the duration beside it, times the power of ten of its unit.
    fn proved_by_rate(&self, durations: usize) -> Option<Unit> {
        let values = &self.sample.columns[durations].values;
        self.places(|s| s == Shape::Positive).into_iter().filter(|&r| r != durations).find_map(|rate| {
            let other = &self.sample.columns[rate];
            if self.hints[rate].unit.is_some_and(|u| u != Unit::FramesPerSecond) || !varies(other) {
                return None;
            }
            UNITS.into_iter().find(|&unit| {
                let both = values.iter().zip(&other.values).filter(|(d, r)| **d > 0.0 && **r > 0.0);
                let slack = other.step();
                let (mut all, mut agree) = (0_usize, 0_usize);
                for (d, r) in both {
                    all += 1;
                    let expected = 1.0 / (d * unit_s(unit));
                    let written = self.sample.columns[durations].step() / d * expected;
                    agree += usize::from((expected - r).abs() <= slack + 0.6 * written + 1e-9 * expected);
                }
                all > 8
                    && agree * 20 >= all * 19
                    && LIKELY_FPS.contains(&durations_fps(&self.sample.columns[durations], unit))
            })
        })
    }

    fn by_durations(&self, named: &[usize], mut guess: Layout) -> Verdict {
        let first = named[0];
        let column = &self.sample.columns[first];
        let proved = self.proved_by_rate(first);
        let fitting = self.likely_units(|u| durations_fps(column, u));
        let own = self.hints[first].unit;
        let unit = own.or(proved).or_else(|| fitting.first().copied()).unwrap_or(Unit::Millisecond);
        let fps = durations_fps(column, unit);
        let before = guess.clone();
        self.set_durations(&mut guess, first, unit);
        // Without one usable duration there is no rate to judge; reading will say so, line by line.
        let likely = LIKELY_FPS.contains(&fps) || fps.is_nan();
        let why = match () {
            () if named.len() > 1 => {
                "Several columns are named as frame time, and there are no stamps to hold them against."
                    .to_owned()
            }
            () if !likely => {
                format!("In {} column {} gives {fps:.3} fps, outside 1 to 2000.", name_of(unit), first + 1)
            }
            () if proved.is_some_and(|p| p != unit) => format!(
                "Column {} names {} as its unit, but the rates beside it say {}.",
                first + 1,
                name_of(unit),
                proved.map_or("another", name_of)
            ),
            () if proved.is_none() && fitting.len() > 1 => {
                format!("Column {} gives a likely frame rate in several units of time.", first + 1)
            }
            () if proved.is_none() && self.has_sensors() && !self.sensors_hold() && self.sample.rows > 8 => {
                format!(
                    "Column {} is named as frame time, but each row has sensor readings of its own and no stamp: frames, or samples of them?",
                    first + 1
                )
            }
            () => {
                if proved.is_some() {
                    guess.columns[first].why += ", which the rates beside it say row by row";
                }
                return Verdict::Certain(guess);
            }
        };
        Verdict::Unsure { why, ways: self.ways(&before, named), guess }
    }
}
