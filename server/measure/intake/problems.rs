//! What could not be understood, listed up to a limit and counted beyond it.

use crate::recording::Problem;

/// How many problems of one segment are listed; the rest are counted.
pub const LISTED: usize = 50;

/// The problems of one segment.
#[derive(Default)]
pub struct Problems {
    listed: Vec<Problem>,
    more: u64,
}

impl Problems {
    /// Adds a problem; its words are only made while it can still be listed.
    pub fn add(&mut self, line: u64, column: u32, says: impl FnOnce() -> String) {
        if self.listed.len() < LISTED {
            self.listed.push(Problem { line, column, says: says() });
        } else {
            self.more += 1;
        }
    }

    /// The list, with what was only counted as its last entry.
    pub fn into_list(mut self) -> Vec<Problem> {
        if self.more > 0 {
            let says = format!("{} more problems of these kinds; the first {LISTED} are listed.", self.more);
            self.listed.push(Problem { line: 0, column: 0, says });
        }
        self.listed
    }
}
