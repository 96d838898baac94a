//! Clocks that leap: where rows are parted into segments.

use super::{LONGEST_FRAME_NS, Rows, seconds};

/// Samples further apart belong to different segments.
pub(super) const LONGEST_PAUSE_NS: i64 = 24 * LONGEST_FRAME_NS;

impl Rows<'_> {
    /// Begins a new segment where the clock leaps so far ahead: nobody records through that, and what goes by time would
    /// go through all of it.
    pub(super) fn leap(&mut self, number: u64, stamp: Option<i64>, longest_ns: i64) {
        let (Some(now), Some(before)) = (stamp, self.last_stamp_ns) else { return };
        let ahead = now.saturating_sub(before);
        if ahead > longest_ns {
            self.problems.add(number, 0, || {
                format!("The clock leaps ahead by {:.3} s: a new segment begins here.", seconds(ahead))
            });
            self.restart();
        }
    }

    pub(super) fn say_restart(&mut self, number: u64, back_ns: i64) {
        self.problems.add(number, 0, || {
            format!("The clock goes back by {:.3} s: a new segment begins here.", seconds(back_ns))
        });
    }
}
