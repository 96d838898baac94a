//! The evidence where no column of durations is proved by stamps: stamps alone, durations alone, or neither.

use super::evidence::{Evidence, LIKELY_FPS, Verdict, name_of};
use super::headers;
use super::layout::Layout;
use super::shape::{Shape, durations_fps, median_step, stamps_fps, unit_s};
use crate::recording::{Kind, Role, Unit};

/// Rows at least this far apart, beside sensor columns, are samples, seconds.
const SAMPLES_S: f64 = 0.02;
const UNITS: [Unit; 4] = [Unit::Second, Unit::Millisecond, Unit::Microsecond, Unit::Nanosecond];

impl Evidence<'_> {
    /// Decides without a pair.
    pub(super) fn by_one(&self, guess: Layout) -> Verdict {
        let durations = self.named_durations();
        let mut clocks = self.clocks();
        // A rising column without a unit of time may be anything: it is a clock only if there is nothing better.
        clocks.retain(|&c| self.known_unit(c).is_some() && !self.rises_by_chance(c));
        clocks.sort_by(|&a, &b| self.step_s(a).total_cmp(&self.step_s(b)));
        match (clocks.first(), durations.as_slice()) {
            (Some(&clock), []) => self.by_stamps(clock, guess),
            (Some(&clock), named) => self.contradiction(clock, named, guess),
            (None, []) => self.by_unnamed(guess),
            (None, named) => self.by_durations(named, guess),
        }
    }

    fn step_s(&self, clock: usize) -> f64 {
        self.sample.columns[clock].step() * self.known_unit(clock).map_or(1.0, unit_s)
    }

    /// Columns that can be durations and whose header says 'frame' and a unit of time.
    fn named_durations(&self) -> Vec<usize> {
        (0..self.shapes.len())
            .filter(|&i| {
                let hints = &self.hints[i];
                let may = matches!(self.shapes[i], Shape::Positive | Shape::Constant | Shape::Numbers);
                (may || self.rises_by_chance(i))
                    && hints.frame
                    && hints.role.is_none()
                    && hints.unit.is_some_and(headers::is_time)
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

    fn sensors(&self, layout: &Layout) -> bool {
        let sensor = [Role::Power, Role::Clock, Role::Temperature, Role::Load];
        layout.columns.iter().any(|c| sensor.contains(&c.role))
    }

    fn by_stamps(&self, clock: usize, mut guess: Layout) -> Verdict {
        let unit = self.known_unit(clock);
        let index = self.set_clock(&mut guess, clock, unit);
        let column = &self.sample.columns[clock];
        let step_s = median_step(column) * unit.map_or(f64::NAN, unit_s);
        let sensors = self.sensors(&guess);
        let as_frames = (format!("each row is the start of a frame, timed by column {index}"), guess.clone());
        let mut companion = guess.clone();
        companion.kind = Kind::Companion;
        if sensors && step_s >= SAMPLES_S {
            companion.columns[clock].why +=
                &format!("; its rows are {:.0} ms apart, beside sensor readings", step_s * 1e3);
            return Verdict::Certain(companion);
        }
        let as_samples =
            (format!("each row is a sample of a sensor log, timed by column {index}"), companion);
        let fps = unit.map_or(f64::NAN, |u| stamps_fps(column, u));
        let why = match () {
            () if sensors => {
                format!(
                    "Column {index} times rows {:.1} ms apart beside sensor readings: frames or samples?",
                    step_s * 1e3
                )
            }
            () if !LIKELY_FPS.contains(&fps) => format!(
                "In {} column {index} gives {fps:.3} rows a second, outside 1 to 2000 fps.",
                unit.map_or("no unit", name_of)
            ),
            () if even(&column.values) && self.sample.rows > 2 => {
                format!("The steps of column {index} are all the same: frames under a cap, or samples?")
            }
            () => {
                if self.hints[clock].end {
                    guess.stamp_at = super::layout::StampAt::End;
                }
                guess.columns[clock].why += &format!(
                    "; in {} it gives {fps:.1} frames a second, and no other unit of time gives 1 to 2000",
                    unit.map_or("no unit", name_of)
                );
                return Verdict::Certain(guess);
            }
        };
        let mut ways = vec![as_frames, as_samples];
        if !sensors && self.shapes[clock] == Shape::Rising {
            ways.extend(UNITS.into_iter().filter(|u| Some(*u) != unit).map(|u| {
                let mut layout = guess.clone();
                self.set_clock(&mut layout, clock, Some(u));
                (format!("each row is the start of a frame, column {index} in {}", name_of(u)), layout)
            }));
            ways = self.likely_first(ways);
        }
        Verdict::Unsure { why, guess, ways }
    }

    fn contradiction(&self, clock: usize, named: &[usize], mut guess: Layout) -> Verdict {
        self.set_clock(&mut guess, clock, self.known_unit(clock));
        let why = format!(
            "Column {} is named as frame time, but it is not the differences of column {}: the rows look sampled, or the clock is another one.",
            named[0] + 1,
            clock + 1
        );
        let mut ways = vec![(
            format!("frames timed by column {}, column {} unused", clock + 1, named[0] + 1),
            guess.clone(),
        )];
        let mut companion = guess.clone();
        companion.kind = Kind::Companion;
        ways.push((format!("samples timed by column {}", clock + 1), companion));
        ways.extend(named.iter().map(|&d| {
            let mut layout = guess.clone();
            layout.clock = None;
            self.set_durations(&mut layout, d, self.hints[d].unit.unwrap_or(Unit::Millisecond));
            (format!("frame times in column {}, column {} unused", d + 1, clock + 1), layout)
        }));
        Verdict::Unsure { why, guess, ways }
    }

    fn set_durations(&self, layout: &mut Layout, column: usize, unit: Unit) {
        let fps = durations_fps(&self.sample.columns[column], unit);
        let column = &mut layout.columns[column];
        column.role = Role::FrameTime;
        column.unit = unit;
        column.why = format!(
            "its header names frame and unit, and in {} it gives {fps:.1} frames a second",
            name_of(unit)
        );
    }

    fn by_durations(&self, named: &[usize], mut guess: Layout) -> Verdict {
        let unit = self.hints[named[0]].unit.unwrap_or(Unit::Millisecond);
        let fps = durations_fps(&self.sample.columns[named[0]], unit);
        let only = named.len() == 1;
        // Without one usable duration there is no rate to judge; reading will say so, line by line.
        let likely = LIKELY_FPS.contains(&fps) || fps.is_nan();
        let before = guess.clone();
        self.set_durations(&mut guess, named[0], unit);
        if only && likely {
            return Verdict::Certain(guess);
        }
        let why = if only {
            format!("In {} column {} gives {fps:.3} fps, outside 1 to 2000.", name_of(unit), named[0] + 1)
        } else {
            "Several columns are named as frame time, and there are no stamps to hold them against."
                .to_owned()
        };
        let columns = if only { &named[..1] } else { named };
        Verdict::Unsure { why, ways: self.ways(&before, columns), guess }
    }

    /// Nothing is named as frame time and nothing has a unit as a clock.
    fn by_unnamed(&self, mut guess: Layout) -> Verdict {
        let possible: Vec<usize> = (0..self.shapes.len())
            .filter(|&i| {
                let other = self.hints[i].unit.is_some_and(|u| !headers::is_time(u));
                matches!(self.shapes[i], Shape::Positive | Shape::Constant)
                    && !other
                    && self.hints[i].role.is_none()
            })
            .collect();
        let rising: Vec<usize> = (0..self.shapes.len())
            .filter(|&i| self.shapes[i] == Shape::Rising && self.hints[i].unit.is_none())
            .collect();
        let mut ways = self.ways(&guess, &possible);
        for &clock in &rising {
            ways.extend(UNITS.into_iter().map(|u| {
                let mut layout = guess.clone();
                self.set_clock(&mut layout, clock, Some(u));
                (format!("each row is the start of a frame, column {} in {}", clock + 1, name_of(u)), layout)
            }));
        }
        let ways = self.likely_first(ways);
        let Some((_, first)) = ways.first() else { return Verdict::Untimed };
        let why = match (possible.as_slice(), rising.as_slice()) {
            ([one], []) => {
                format!(
                    "Column {} may hold frame times, but nothing in the log proves what it is or its unit.",
                    one + 1
                )
            }
            _ => "Nothing in the log proves which column times the frames, or in what unit.".to_owned(),
        };
        guess.clone_from(first);
        Verdict::Unsure { why, guess, ways }
    }

    fn ways(&self, guess: &Layout, columns: &[usize]) -> Vec<(String, Layout)> {
        let ways = columns.iter().flat_map(|&c| {
            UNITS.into_iter().map(move |unit| {
                let mut layout = guess.clone();
                self.set_durations(&mut layout, c, unit);
                "not proved".clone_into(&mut layout.columns[c].why);
                (format!("frame times in column {}, in {}", c + 1, name_of(unit)), layout)
            })
        });
        self.likely_first(ways.collect())
    }
}

/// Whether all steps are the same to a part in a million.
fn even(values: &[f64]) -> bool {
    let steps: Vec<f64> = values.windows(2).map(|w| w[1] - w[0]).filter(|s| s.is_finite()).collect();
    steps.first().is_some_and(|first| steps.iter().all(|s| (s - first).abs() <= 1e-6 * first.abs()))
}
