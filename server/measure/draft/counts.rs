//! Counts of scenes that contradict each other within one text.

use super::{Checked, Kind, Verdict};

/// Marks counts of the same scenes that differ: what one overall figure rests on may be fewer than all that were run.
pub fn contradictions(all: &mut [Checked]) {
    let counts = || all.iter().filter(|one| one.number.kind == Kind::Scenes);
    let of = |one: &Checked| one.judged.right.map(|(_, count)| count.to_bits());
    let differs = |one: &Checked| {
        let other = |other: &Checked| (other.number.low - one.number.low).abs() >= 0.5;
        one.number.kind == Kind::Scenes && counts().any(|same| of(same) == of(one) && other(same))
    };
    let marked: Vec<bool> = all.iter().map(differs).collect();
    for (one, _) in all.iter_mut().zip(marked).filter(|(_, marked)| *marked) {
        one.judged.verdict = Verdict::Contradicts;
    }
}
