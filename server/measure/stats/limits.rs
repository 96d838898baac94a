//! Two limits that cover a value.

use serde::{Deserialize, Serialize};

/// Limits that cover a value, low <= high, in its unit.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Interval {
    /// Lower limit.
    pub low: f64,
    /// Upper limit.
    pub high: f64,
}

impl Interval {
    /// exp(centre -+ half): an interval found on natural logarithms, in the unit of the value.
    pub fn of_logs(centre: f64, half: f64) -> Interval {
        Interval { low: libm::exp(centre - half), high: libm::exp(centre + half) }
    }

    /// Whether `x` lies in it, limits included.
    pub fn holds(&self, x: f64) -> bool {
        self.low <= x && x <= self.high
    }
}
