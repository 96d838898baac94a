//! How many passes bring a cell to a wanted precision.
//!
//! *Expected*: the smallest n with t_{0.975, df(n)} s / sqrt(n) <= x, iterated on n because t depends on it (as NIST/
//! SEMATECH e-Handbook 7.2.2.2 advises over the normal quantile). df(n) = df + (n - done): each further pass adds a
//! degree of freedom to the spread as it is known now. It takes s as known, so it falls short about half the time.
//!
//! *Guaranteed*: Stein 1945 (Ann. Math. Stat. 16:243-258): n = max(done, ceil((t_{0.975, df} s / x)^2)) with t on the
//! degrees of freedom behind s; then the interval of that half-width holds the truth in at least 95% of cases.

use super::noise::Spread;
use crate::stats::distributions::t_two_sided;
use serde::Serialize;

/// More passes than anybody runs: beyond this the answer is 'too many'.
pub const MOST: u32 = 1000;

/// Passes wanted in all, done ones included.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub struct Wanted {
    /// If the spread is what it seems.
    pub expected: u32,
    /// Whatever the spread really is.
    pub guaranteed: u32,
    done: u32,
}

impl Wanted {
    /// Further passes expected.
    pub fn more_expected(&self) -> u32 {
        self.expected.saturating_sub(self.done)
    }

    /// Further passes that guarantee it.
    pub fn more_guaranteed(&self) -> u32 {
        self.guaranteed.saturating_sub(self.done)
    }
}

/// Passes that bring the 95% interval of a cell to +- `target` (a share of 1, above 0; on the log scale, where 1% is
/// 0.01 to a hundredth of itself) after `done` passes with this spread. `None` where it takes more than [`MOST`].
///
/// Fewer than two are never wanted: one pass alone shows no fault.
pub fn wanted(spread: Spread, done: u32, target: f64) -> Option<Wanted> {
    let s = spread.s2.sqrt();
    let expected =
        smallest(MOST, |n| t_two_sided(0.95, df_at(spread.df, done, n)) * s / f64::from(n).sqrt() <= target)?;
    let stein = (t_two_sided(0.95, spread.df) * s / target).powi(2);
    // Counting up to the ceiling keeps the conversion exact; `MOST` bounds it.
    let guaranteed = smallest(MOST, |n| f64::from(n) >= stein)?.max(done);
    Some(Wanted { expected, guaranteed, done })
}

/// Degrees of freedom of a spread that has `df` after `done` passes, once there are `n`.
pub(super) fn df_at(df: f64, done: u32, n: u32) -> f64 {
    df + f64::from(n) - f64::from(done)
}

/// Smallest n in 2..=most for which `enough` holds, which once true must stay true; `None` where it never holds.
pub(super) fn smallest(most: u32, enough: impl Fn(u32) -> bool) -> Option<u32> {
    let (mut low, mut high) = (2, most);
    if !enough(high) {
        return None;
    }
    while low < high {
        let middle = low + (high - low) / 2;
        if enough(middle) {
            high = middle;
        } else {
            low = middle + 1;
        }
    }
    Some(low)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::compare::noise::Source;

    fn spread(s: f64, df: f64) -> Spread {
        Spread { s2: s * s, df, source: Source::Own }
    }

    #[test]
    fn passes_done_are_taken_off() {
        let w = wanted(spread(0.021, 4.0), 5, 0.01).unwrap();
        assert_eq!((w.expected, w.guaranteed), (20, 34));
        assert_eq!((w.more_expected(), w.more_guaranteed()), (15, 29));
        let w = wanted(spread(0.001, 9.0), 10, 0.01).unwrap();
        assert_eq!((w.more_expected(), w.more_guaranteed()), (0, 0));
    }

    #[test]
    fn two_are_the_fewest_and_some_targets_are_out_of_reach() {
        assert_eq!(wanted(spread(1e-6, 20.0), 1, 0.01).unwrap().expected, 2);
        assert_eq!(wanted(spread(0.3, 4.0), 5, 0.001), None);
    }
}
