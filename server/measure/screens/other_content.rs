//! Different content: the frame times of a pass do not rise and fall over time as those of its cell's other passes do.
//!
//! Method: Spearman's rank correlation (ranks, so that a disturbed stretch does not decide) of the pass's half-second
//! medians with the middle of its siblings', at the best shift within the scene's timing, held against what the siblings
//! reach among themselves; and the variance of the log ratio to the siblings, which another content multiplies. Judged
//! only where the siblings agree on a profile: a scene without one cannot tell its content (our choice of limits).

use super::among::Timing;
use super::profile::{Profile, middle};
use super::{Flag, FlagKind, strength, words};
use crate::stats::correlation::best_spearman;
use crate::stats::robust::median;

/// Fewest siblings: two that agree against one.
const FEWEST_SIBLINGS: usize = 2;
/// Fewest blocks: ten seconds.
const MIN_BLOCKS: usize = 20;
/// The siblings agree on a profile from here on.
const AGREE: f64 = 0.45;
/// The pass reaches at most this share of their agreement: a step alone leaves the profile what it was.
const SHARE: f64 = 0.8;
/// Share of the siblings' agreement that the pass falls short of, times the excess of the variance of its ratio to them
/// over theirs: a profile that is half as alike and varies 1.7 times as much is another one.
const UNLIKE: f64 = 0.35;

/// Flags a pass whose profile is another one, once the levels that were found in it are `taken_out` of its logs.
pub(super) fn find(own: &Profile, siblings: &[&Profile], taken_out: &[f64], timing: Timing) -> Option<Flag> {
    let logs: Vec<Vec<f64>> =
        std::iter::once(own).chain(siblings.iter().copied()).map(Profile::ln_medians).collect();
    let blocks = logs.iter().map(Vec::len).min().unwrap_or(0).min(taken_out.len());
    if siblings.len() < FEWEST_SIBLINGS || blocks < MIN_BLOCKS {
        return None;
    }
    let theirs: Vec<&[f64]> = logs[1..].iter().map(|log| &log[..blocks]).collect();
    let most = timing.reach();
    let (mut agreements, mut variances) = (vec![], vec![]);
    for i in 0..theirs.len() {
        let others: Vec<&[f64]> = (0..theirs.len()).filter(|j| *j != i).map(|j| theirs[j]).collect();
        let others = middle(&others);
        agreements.extend(best_spearman(theirs[i], &others, most));
        variances.push(variance_of_ratio(theirs[i], &others));
    }
    let all = middle(&theirs);
    let level: Vec<f64> = logs[0].iter().zip(taken_out).map(|(log, out)| log - out).collect();
    let (agreement, alike) = (median(&agreements), best_spearman(&level, &all, most)?);
    let varies = variance_of_ratio(&level, &all) / median(&variances).max(1e-9);
    if agreements.is_empty() || agreement < AGREE || alike > SHARE * agreement {
        return None;
    }
    let unlike = (1.0 - alike / agreement) * (varies - 1.0).max(0.0);
    if unlike < UNLIKE {
        return None;
    }
    Some(Flag {
        kind: FlagKind::OtherContent,
        start_ns: own.start_ns,
        end_ns: own.end_ns,
        strength: strength(unlike / UNLIKE),
        moves: None,
        says: format!(
            "frame times rise and fall at other moments than in the other {} passes of the cell (rank correlation with them {}, theirs among themselves {}): another passage, or another way through it",
            words::count(siblings.len()),
            words::correlation(alike),
            words::correlation(agreement),
        ),
    })
}

fn variance_of_ratio(log: &[f64], others: &[f64]) -> f64 {
    let ratio: Vec<f64> = log.iter().zip(others).map(|(a, b)| a - b).collect();
    let mean = ratio.iter().sum::<f64>() / ratio.len().max(1) as f64;
    ratio.iter().map(|r| (r - mean) * (r - mean)).sum::<f64>() / ratio.len().max(1) as f64
}
