//! Background load: for a stretch the processor works longer on each frame, and the frames do not explain it.
//!
//! Method: the log of the processor's work on a frame over the frame's duration, half second by half second, beside
//! the same of the cell's other passes, cut by PELT as in [`super::level_step`]. A scene that needs more work needs it
//! in every pass; a program that wakes up beside one pass takes time from that one alone (our choice of method). Where
//! only the frames grew shorter, the share rises with no more work: that is told by the other screens.

use super::level_step::{Limits, Scatter, Step, steps};
use super::profile::{Profile, middle};
use super::{Flag, FlagKind, moves_average, strength, words};

/// Rise of the processor's share of a frame: a tenth, six standard deviations of such a stretch.
const RISE: Limits = Limits { shift: 0.095, sds: 6.0, moves: 0.0 };
/// Least part of the rise that the work itself makes, beside the siblings' work.
const BY_WORK: f64 = 0.5;
/// Fewest siblings that tell the processor's work.
const FEWEST_SIBLINGS: usize = 2;

/// Flags stretches in which the processor's work rises without the frames'. Profiles without its work are passed over.
pub(super) fn find(own: &Profile, siblings: &[&Profile]) -> Vec<Flag> {
    let told: Vec<&Profile> =
        siblings.iter().copied().filter(|s| s.processor_ns.len() == s.median_ns.len()).collect();
    if own.processor_ns.len() != own.median_ns.len() || told.len() < FEWEST_SIBLINGS {
        return vec![];
    }
    let profiles: Vec<&Profile> = std::iter::once(own).chain(told).collect();
    let blocks = profiles.iter().map(|p| p.median_ns.len()).min().unwrap_or(0);
    let logs = |of: fn(&Profile) -> Vec<f64>| -> Vec<Vec<f64>> {
        profiles.iter().map(|p| of(p)[..blocks].to_vec()).collect()
    };
    let (shares, frames, work) = (logs(ln_shares), logs(Profile::ln_medians), logs(ln_work));
    let beside = |all: &[Vec<f64>], i: usize| -> Vec<f64> {
        let others: Vec<&[f64]> =
            all.iter().enumerate().filter(|(j, _)| *j != i).map(|(_, v)| v.as_slice()).collect();
        all[i].iter().zip(middle(&others)).map(|(own, theirs)| own - theirs).collect()
    };
    let scatters: Vec<Scatter> = (0..shares.len()).map(|i| Scatter::of(&beside(&shares, i))).collect();
    let found = steps(&beside(&shares, 0), &Scatter::middle(&scatters), &RISE);
    let (frames, work) = (beside(&frames, 0), beside(&work, 0));
    let told = found.iter().filter(|s| s.shift > 0.0 && s.of(&work) >= BY_WORK * s.shift);
    told.map(|s| flag(own, s, &frames)).collect()
}

/// Logs of the processor's work on a frame, block by block.
fn ln_work(profile: &Profile) -> Vec<f64> {
    profile.processor_ns.iter().map(|work| libm::log((*work).max(1) as f64)).collect()
}

/// Logs of the processor's share of the frame, block by block.
fn ln_shares(profile: &Profile) -> Vec<f64> {
    let pairs = profile.processor_ns.iter().zip(&profile.median_ns);
    pairs.map(|(work, frame)| libm::log((*work).max(1) as f64 / (*frame).max(1) as f64)).collect()
}

fn flag(own: &Profile, step: &Step, frames: &[f64]) -> Flag {
    let (start_ns, end_ns) = own.edges_ns(step.from, step.to, frames.len());
    let longer = step.of(frames);
    Flag {
        kind: FlagKind::BackgroundLoad,
        start_ns,
        end_ns,
        strength: strength(step.evidence),
        moves: Some(moves_average(own.share(step.from, step.to), longer)),
        says: format!(
            "from {} to {} the processor works on for {} more of each frame than in the rest of the pass, beside the other passes of the cell, and frames take {}: another program may have run",
            words::seconds(start_ns),
            own.end_in_words(end_ns),
            words::percent(libm::exp(step.shift) - 1.0),
            words::longer(longer),
        ),
    }
}
