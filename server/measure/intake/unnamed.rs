//! The evidence where no word says what times the frames: everything that may is offered, nothing is taken.

use super::alone::{HELD_ROWS, UNITS};
use super::describe::name_of;
use super::evidence::{Evidence, Verdict};
use super::headers;
use super::layout::Layout;
use super::shape::{Shape, run_length, varies};
use crate::recording::{Kind, Role, Unit};

impl Evidence<'_> {
    /// Nothing is named as frame time and nothing has a unit or a word of time as a clock.
    pub(super) fn by_unnamed(&self, mut guess: Layout) -> Verdict {
        let other = |i: usize| {
            let hints = &self.hints[i];
            let quantity = hints.foreign || hints.sensor || hints.unit.is_some_and(|u| !headers::is_time(u));
            quantity && hints.role != Some(Role::Rate)
        };
        let mut possible: Vec<usize> = self.places(|s| matches!(s, Shape::Positive | Shape::Constant));
        possible.retain(|&i| {
            !other(i) && (self.hints[i].role.is_none() || self.hints[i].role == Some(Role::Rate))
        });
        // Nor is what is often zero or negative.
        possible.retain(|&i| {
            let finite = self.sample.columns[i].values.iter().filter(|v| v.is_finite());
            let (all, bad) = finite.fold((0, 0), |(all, bad), v| (all + 1, bad + usize::from(*v <= 0.0)));
            bad * 10 <= all
        });
        // What never changes is no frame time where something else does.
        if possible.iter().any(|&i| varies(&self.sample.columns[i])) {
            possible.retain(|&i| varies(&self.sample.columns[i]));
        }
        // What a header calls a rate or a frame is likelier than what nobody named.
        possible.sort_by_key(|&i| {
            let named = self.hints[i].role == Some(Role::Rate) || self.hints[i].frame;
            (!named, run_length(&self.sample.columns[i]) >= HELD_ROWS)
        });
        let mut rising = self.places(|s| s == Shape::Rising);
        rising.retain(|&i| !other(i) && self.hints[i].role.is_none());
        let mut ways: Vec<(String, Layout)> = Vec::new();
        for (&clock, unit) in rising.iter().flat_map(|c| UNITS.map(|u| (c, u))) {
            let mut layout = guess.clone();
            self.set_clock(&mut layout, clock, Some(unit));
            let companion = Layout { kind: Kind::Companion, ..layout.clone() };
            ways.push((
                format!("each row is the start of a frame, column {} in {}", clock + 1, name_of(unit)),
                layout,
            ));
            ways.push((
                format!("each row is a sample of a sensor log, column {} in {}", clock + 1, name_of(unit)),
                companion,
            ));
        }
        ways.extend(self.ways(&guess, &possible));
        let ways = self.likely_first(ways);
        let Some((_, first)) = ways.first() else { return Verdict::Untimed };
        let why = match (possible.as_slice(), rising.as_slice()) {
            ([one], []) if self.hints[*one].role == Some(Role::Rate) => format!(
                "Column {} holds frame rates, but nothing times the rows: a row for each frame, or samples?",
                one + 1
            ),
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

    /// What columns may be: frame times in any likely unit, or rates.
    pub(super) fn ways(&self, guess: &Layout, columns: &[usize]) -> Vec<(String, Layout)> {
        let ways = columns.iter().flat_map(|&c| {
            let rate = self.hints[c].role == Some(Role::Rate);
            let bare = self.hints[c].unit.is_none() && !self.hints[c].frame;
            let rates = (rate || bare).then(|| {
                let mut layout = guess.clone();
                self.set_durations(&mut layout, c, Unit::FramesPerSecond);
                "not proved".clone_into(&mut layout.columns[c].why);
                (format!("each row a frame, its rate in column {}", c + 1), layout)
            });
            let times = UNITS.into_iter().filter(move |_| !rate).map(move |unit| {
                let mut layout = guess.clone();
                self.set_durations(&mut layout, c, unit);
                "not proved".clone_into(&mut layout.columns[c].why);
                (format!("frame times in column {}, in {}", c + 1, name_of(unit)), layout)
            });
            times.chain(rates)
        });
        self.likely_first(ways.collect())
    }
}
