//! Counts of scenes that contradict each other within one text.

use super::{Checked, Kind, Verdict};

/// Marks all counts of scenes of a text where not all are the same.
pub fn contradictions(all: &mut [Checked]) {
    let counts = || all.iter().filter(|one| one.number.kind == Kind::Scenes).map(|one| one.number.low);
    let Some(first) = counts().next() else { return };
    if counts().all(|count| (count - first).abs() < 0.5) {
        return;
    }
    for one in all.iter_mut().filter(|one| one.number.kind == Kind::Scenes) {
        one.judged.verdict = Verdict::Contradicts;
    }
}
