//! The time of day, as an argument: the only file that reads the system's clock.

use std::sync::Arc;
use std::sync::atomic::{AtomicI64, Ordering};

/// Microseconds in a second.
pub const US_PER_S: i64 = 1_000_000;

/// Tells the time in microseconds UTC since 1970. Cheap to clone.
#[derive(Clone, Debug)]
pub struct Clock(Source);

#[derive(Clone, Debug)]
enum Source {
    System,
    Hand(Arc<AtomicI64>),
}

impl Clock {
    /// The machine's clock.
    pub fn system() -> Self {
        Self(Source::System)
    }

    /// A clock that stands still until [`Clock::advance`] moves it (tests, the demo).
    pub fn by_hand(now_us: i64) -> Self {
        Self(Source::Hand(Arc::new(AtomicI64::new(now_us))))
    }

    /// Microseconds UTC since 1970.
    #[expect(clippy::disallowed_methods, reason = "the one place that reads the system's clock")]
    pub fn now_us(&self) -> i64 {
        match &self.0 {
            Source::System => jiff::Timestamp::now().as_microsecond(),
            Source::Hand(now) => now.load(Ordering::SeqCst),
        }
    }

    /// Moves a clock made by [`Clock::by_hand`], and all its clones, by `us`; the machine's clock is left alone.
    pub fn advance(&self, us: i64) {
        if let Source::Hand(now) = &self.0 {
            now.fetch_add(us, Ordering::SeqCst);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_clock_by_hand_moves_only_when_told_and_its_clones_with_it() {
        let clock = Clock::by_hand(5);
        let other = clock.clone();
        assert_eq!(clock.now_us(), 5);
        clock.advance(US_PER_S);
        assert_eq!(other.now_us(), 1_000_005);
    }

    #[test]
    fn the_system_clock_is_past_the_day_this_was_written() {
        assert!(Clock::system().now_us() > 1_760_000_000 * US_PER_S);
    }
}
