//! Two logs on one grid of time: the work of frames and the readings of a companion, averaged over stretches exactly.

use crate::recording::{Recording, Role};
use crate::stats::robust::median;

/// A quantity that was added up over time; straight between its points.
struct Running {
    at_ns: Vec<i64>,
    sum: Vec<f64>,
}

impl Running {
    /// Means over the `count` stretches of `cell_ns` from `from_ns` on.
    fn means(&self, from_ns: i64, cell_ns: i64, count: usize) -> Vec<f64> {
        let mut next = 0;
        let mut at = |t: i64| {
            while next < self.at_ns.len() && self.at_ns[next] <= t {
                next += 1;
            }
            match (next.checked_sub(1), self.at_ns.get(next)) {
                (None, _) => 0.0,
                (Some(last), None) => self.sum[last],
                (Some(before), Some(&to)) => {
                    let (from, step) = (self.at_ns[before], self.sum[next] - self.sum[before]);
                    self.sum[before] + step * ((t - from) as f64 / (to - from) as f64)
                }
            }
        };
        let mut before = at(from_ns);
        let mut end = from_ns;
        let mut mean = || {
            end += cell_ns;
            let now = at(end);
            let of = (now - before) / cell_ns as f64;
            before = now;
            of
        };
        (0..count).map(|_| mean()).collect()
    }
}

/// The work that frames did: how long the card was busy, else how many frames there were.
pub(super) struct Work {
    running: Running,
}

impl Work {
    /// `None` without frames.
    pub(super) fn of(frames: &Recording) -> Option<Self> {
        let card = frames.track(Role::CardWork).filter(|t| t.values.iter().any(|v| v.is_finite()));
        let (mut at_ns, mut sum) = (Vec::new(), Vec::new());
        let (mut end, mut done) = (*frames.at_ns.first()?, 0.0);
        at_ns.push(end);
        sum.push(done);
        for (i, (&at, &ns)) in frames.at_ns.iter().zip(&frames.frame_ns).enumerate() {
            if at > end {
                // Nothing is known of a pause: no work.
                at_ns.push(at);
                sum.push(done);
            }
            let busy = card.and_then(|t| t.values.get(i).copied()).unwrap_or(f64::NAN) * 1e9;
            done += match (card.is_some(), busy.is_finite()) {
                (false, _) => 1e9,
                (true, true) => busy.clamp(0.0, ns as f64),
                (true, false) => 0.0,
            };
            end = end.max(at + ns);
            at_ns.push(end);
            sum.push(done);
        }
        Some(Self { running: Running { at_ns, sum } })
    }

    /// End of the last frame, ns.
    pub(super) fn end_ns(&self) -> i64 {
        self.running.at_ns.last().copied().unwrap_or(0)
    }

    /// Work a time in the whole stretches between two times.
    pub(super) fn cells(&self, from_ns: i64, to_ns: i64, cell_ns: i64) -> Vec<f64> {
        let count = usize::try_from((to_ns - from_ns) / cell_ns).unwrap_or(0);
        self.running.means(from_ns, cell_ns, count)
    }
}

/// The readings of a companion, each standing for the time since the one before it.
pub(super) struct Held {
    running: Running,
    step_ns: i64,
}

impl Held {
    /// `None` where there are no such readings.
    pub(super) fn of(companion: &Recording, role: Role) -> Option<Self> {
        let values = &companion.track(role)?.values;
        let (mut at_ns, mut sum, mut steps) = (Vec::new(), Vec::new(), Vec::new());
        let mut done = 0.0;
        for (&at, &value) in companion.at_ns.iter().zip(values).filter(|(_, v)| v.is_finite()) {
            let before = at_ns.last().copied().unwrap_or(at);
            if at > before {
                steps.push((at - before) as f64);
                done += value * (at - before) as f64;
            } else if !at_ns.is_empty() {
                continue;
            }
            at_ns.push(at);
            sum.push(done);
        }
        let step_ns = super::to_ns(median(&steps));
        (steps.len() > 1 && step_ns > 0).then_some(Self { running: Running { at_ns, sum }, step_ns })
    }

    /// Usual time between readings, ns.
    pub(super) fn step_ns(&self) -> i64 {
        self.step_ns
    }

    /// Time of the last reading, ns.
    pub(super) fn span_ns(&self) -> i64 {
        self.running.at_ns.last().copied().unwrap_or(0)
    }

    /// Means over the whole stretches from its first row on.
    pub(super) fn cells(&self, cell_ns: i64) -> Vec<f64> {
        let count = usize::try_from(self.span_ns() / cell_ns).unwrap_or(0);
        self.running.means(0, cell_ns, count)
    }
}
