//! Warm-up: the start of a pass stands at another level than the rest, and the other passes do not show it.
//!
//! Method: MSER ([`crate::stats::truncation`]) on the log ratio of the pass's half seconds to the middle of its siblings
//! says where the start ends; it is told when the start lies outside the scatter of such ratios and moves the average.
//! What all passes of a scene show is in the middle and is never told of one: then the scene's window begins too soon.

use super::level_step::{Limits, Scatter};
use super::profile::Profile;
use super::{Flag, FlagKind, moves_average, strength, words};
use crate::stats::truncation::mser;

/// Shortest start, blocks: one second.
const SHORTEST: usize = 2;

/// The start that is unlike the rest, if there is one. `series`: logs, a value a block, beside the siblings.
pub(super) fn find(own: &Profile, series: &[f64], scatter: &Scatter, limits: &Limits) -> Option<Flag> {
    let (all, to) = (series.len(), mser(series));
    if to < SHORTEST || 3 * to > all {
        return None;
    }
    let mean = |values: &[f64]| values.iter().sum::<f64>() / values.len().max(1) as f64;
    let shift = mean(&series[..to]) - mean(&series[to..]);
    let moves = moves_average(own.share(0, to), shift);
    let by_shift = shift.abs() / limits.shift.max(limits.sds * scatter.of_step(to, all));
    let evidence = by_shift.min(moves / limits.moves);
    let (start_ns, end_ns) = own.edges_ns(0, to, all);
    (evidence >= 1.0).then(|| Flag {
        kind: FlagKind::WarmUp,
        start_ns,
        end_ns,
        strength: strength(evidence),
        moves: Some(moves),
        says: format!(
            "up to {} frames take {} than in the rest of the pass, beside the other passes of the cell: it had not settled. A window from there would leave it out; if all passes of the scene need it, let the scene's window begin later",
            words::seconds(end_ns),
            words::longer(shift),
        ),
    })
}
