//! Scales: values to places on the sheet, and the round numbers to write beside an axis.

/// A straight or logarithmic scale.
#[derive(Clone, Copy, Debug)]
pub(super) struct Scale {
    from: f64,
    to: f64,
    start: f64,
    end: f64,
    log: bool,
}

impl Scale {
    /// Values `from..to` on places `start..end` (either may run backwards).
    pub(super) fn linear((from, to): (f64, f64), (start, end): (f64, f64)) -> Self {
        Scale { from, to: if to == from { from + 1.0 } else { to }, start, end, log: false }
    }

    /// The same on a log scale; both values above 0.
    pub(super) fn log(values: (f64, f64), places: (f64, f64)) -> Self {
        Scale { log: true, ..Scale::linear(values, places) }
    }

    /// Place of a value, not cut off at the ends.
    pub(super) fn at(self, value: f64) -> f64 {
        let share = if self.log {
            libm::log(value / self.from) / libm::log(self.to / self.from)
        } else {
            (value - self.from) / (self.to - self.from)
        };
        self.start + share * (self.end - self.start)
    }

    /// Place of a value, kept within the ends.
    pub(super) fn within(self, value: f64) -> f64 {
        let place = self.at(value);
        place.clamp(self.start.min(self.end), self.start.max(self.end))
    }
}

/// Smallest step of 1, 2 or 5 times a power of ten that gives at most `most` steps over `span`.
pub(super) fn step(span: f64, most: f64) -> f64 {
    let raw = span / most.max(1.0);
    if !(raw.is_finite() && raw > 0.0) {
        return 1.0;
    }
    let mut power = 1.0;
    while power > raw {
        power /= 10.0;
    }
    while power * 10.0 <= raw {
        power *= 10.0;
    }
    [1.0, 2.0, 5.0, 10.0]
        .map(|n| n * power)
        .into_iter()
        .find(|s| *s >= raw * (1.0 - 1e-9))
        .unwrap_or(power * 10.0)
}

/// Round numbers within `from..=to`, about `most` at most, and the decimal places they need.
pub(super) fn ticks(from: f64, to: f64, most: f64) -> (Vec<f64>, i32) {
    let step = step(to - from, most);
    let mut places = 0;
    let mut rest = step;
    while places < 9 && (rest - rest.round()).abs() > 1e-6 {
        rest *= 10.0;
        places += 1;
    }
    let first = (from / step - 1e-9).ceil();
    let mut out = Vec::new();
    let mut n = first;
    while n * step <= to + step * 1e-9 && out.len() < 1000 {
        out.push(n * step);
        n += 1.0;
    }
    (out, places)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn places_are_linear_or_logarithmic() {
        let linear = Scale::linear((0.0, 10.0), (100.0, 200.0));
        assert_eq!(linear.at(2.5), 125.0);
        assert_eq!(linear.within(99.0), 200.0);
        let log = Scale::log((0.5, 2.0), (0.0, 100.0));
        assert!((log.at(1.0) - 50.0).abs() < 1e-9, "1 stands half-way between a half and two");
    }

    #[test]
    fn ticks_are_round_and_few() {
        assert_eq!(ticks(0.0, 173.0, 6.0).0, [0.0, 50.0, 100.0, 150.0]);
        let (small, places) = ticks(0.93, 1.31, 8.0);
        assert_eq!((small.len(), places), (8, 2));
        assert_eq!(ticks(3.0, 3.0, 5.0).0, [3.0]);
        for span in [1e-7, 0.3, 7.0, 12_345.0, 1e12] {
            let n = ticks(0.0, span, 8.0).0.len();
            assert!((2..=9).contains(&n), "{span}: {n}");
        }
    }
}
