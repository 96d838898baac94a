//! A pass told in steps of equal time: how many frames started in each, how long they took, the longest of them. The
//! same as the strip shows, for who reads it as a table.

use crate::recording::{NS_PER_S, Window};
use serde::{Deserialize, Serialize};

/// Steps that a table may have.
const MOST: i64 = 120;
/// Lengths of steps, s.
const LENGTHS_S: [i64; 7] = [1, 5, 10, 30, 60, 300, 1800];

/// The frames that start in a stretch of time.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Step {
    /// How many.
    pub frames: u64,
    /// Sum of their durations, ns.
    pub total_ns: i64,
    /// The longest of them, ns.
    pub longest_ns: i64,
}

/// Steps of equal length from the start of a window.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Steps {
    /// Start of the first, ns from the first frame of the pass.
    pub start_ns: i64,
    /// Length of each, ns: the shortest usual one with which there are at most 120.
    pub length_ns: i64,
    /// In order of time; those in which no frame starts are there too.
    pub steps: Vec<Step>,
}

/// The steps of a window. `at_ns` must not decrease.
pub fn steps(at_ns: &[i64], frame_ns: &[i64], window: Window) -> Steps {
    let rows = window.rows(at_ns);
    let (at_ns, frame_ns) =
        (at_ns.get(rows.clone()).unwrap_or_default(), frame_ns.get(rows).unwrap_or_default());
    let last = at_ns.last().map_or(0, |at| at - window.start_ns);
    let usual = LENGTHS_S.map(|s| s * NS_PER_S).into_iter().find(|length| last / length < MOST);
    // Beyond two and a half days: whatever length makes it so many.
    let length_ns = usual.unwrap_or(last / MOST + 1);
    let mut steps: Vec<Step> = Vec::new();
    for (at, &ns) in at_ns.iter().zip(frame_ns) {
        let n = usize::try_from((at - window.start_ns) / length_ns).unwrap_or(0);
        if steps.len() <= n {
            steps.resize(n + 1, Step::default());
        }
        let step = &mut steps[n];
        step.frames += 1;
        step.total_ns += ns;
        step.longest_ns = step.longest_ns.max(ns);
    }
    Steps { start_ns: window.start_ns, length_ns, steps }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn frames_stand_in_the_step_they_start_in_and_empty_steps_stay() {
        let at_ns = [0, 400_000_000, 999_999_999, 2_100_000_000];
        let frame_ns = [400_000_000, 600_000_000, 1_100_000_000, 10_000_000];
        let told = steps(&at_ns, &frame_ns, Window { start_ns: 0, end_ns: 3_000_000_000 });
        assert_eq!(told.length_ns, NS_PER_S);
        let first = Step { frames: 3, total_ns: 2_100_000_000, longest_ns: 1_100_000_000 };
        let last = Step { frames: 1, total_ns: 10_000_000, longest_ns: 10_000_000 };
        assert_eq!(told.steps, [first, Step::default(), last]);
    }

    #[test]
    fn long_passes_take_longer_steps_and_none_is_lost() {
        for (seconds, length_s) in [(60, 1), (121, 5), (3600, 30), (200_000, 1800), (500_000, 4166)] {
            let at_ns: Vec<i64> = (0..seconds).map(|s| s * NS_PER_S).collect();
            let frame_ns = vec![NS_PER_S; at_ns.len()];
            let told = steps(&at_ns, &frame_ns, Window { start_ns: 0, end_ns: seconds * NS_PER_S });
            assert_eq!(told.length_ns / NS_PER_S, length_s, "{seconds}");
            assert!(told.steps.len() <= 120);
            assert_eq!(told.steps.iter().map(|s| s.frames).sum::<u64>(), u64::try_from(seconds).unwrap());
        }
        assert!(steps(&[], &[], Window { start_ns: 0, end_ns: 9 }).steps.is_empty());
    }
}
