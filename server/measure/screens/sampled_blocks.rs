//! What was sampled beside the frames, half second by half second: for screens that hold frames against sensors.

use super::ScreenInput;
use super::profile::{BLOCK_NS, Profile};
use crate::measures::sampled::pass_time;
use crate::recording::{Placed, Role};

/// Mean of the samples in each block of the pass's profile, in the role's base unit: from the first placed companion
/// that has such a track. A block without a sample repeats the one before. `None` where there is no such track or where
/// it misses more than one block in five.
pub(super) fn by_block(role: Role, input: &ScreenInput<'_>, profile: &Profile) -> Option<Vec<f64>> {
    let with = |c: &&Placed<'_>| c.recording.track(role).is_some();
    let companion = input.companions.iter().find(with)?;
    let values = &companion.recording.track(role)?.values;
    let blocks = profile.median_ns.len();
    let (mut sums, mut counts) = (vec![0.0; blocks], vec![0_u32; blocks]);
    for (&t, &value) in companion.recording.at_ns.iter().zip(values) {
        let from_start = pass_time(companion, t) - profile.start_ns;
        let Ok(block) = usize::try_from(from_start.div_euclid(BLOCK_NS)) else { continue };
        if block < blocks && value.is_finite() {
            sums[block] += value;
            counts[block] += 1;
        }
    }
    let missed = counts.iter().filter(|c| **c == 0).count();
    if blocks == 0 || 5 * missed > blocks {
        return None;
    }
    let mean = |b: usize| (counts[b] > 0).then(|| sums[b] / f64::from(counts[b]));
    let mut last = (0..blocks).find_map(mean)?;
    Some(
        (0..blocks)
            .map(|b| {
                last = mean(b).unwrap_or(last);
                last
            })
            .collect(),
    )
}
