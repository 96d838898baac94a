//! Sessions that drifted, told wherever a number rests on their passes.

use std::collections::BTreeSet;

use weighhouse_web::format;

use super::{controls, ran};
use crate::work::evidence::{CellEvidence, Evidence};

/// A sentence for each session that drifted by its control scene and holds a kept pass of these cells.
pub fn drifted(evidence: &Evidence, cells: &[&CellEvidence]) -> Vec<String> {
    let kept = || cells.iter().flat_map(|cell| cell.kept());
    let keys: BTreeSet<&str> = kept().map(|pass| pass.row.key.as_str()).collect();
    let rigs: BTreeSet<_> = kept().map(|pass| (pass.row.rig_id, pass.row.rig.as_str())).collect();
    let controls = controls(evidence);
    let of_rig = |(id, name)| ran::of_rig(evidence, id, &controls).into_iter().map(move |ran| (name, ran));
    rigs.into_iter()
        .flat_map(of_rig)
        .filter(|(_, ran)| ran.drifted() && ran.passes.iter().any(|pass| keys.contains(pass.key.as_str())))
        .filter_map(|(rig, ran)| {
            let drift = ran.drift?;
            let change = match drift.interval {
                Some(ends) => format::change_to(drift.change, ends.low, ends.high),
                None => format::change(drift.change),
            };
            let part = evidence.registers.part_name(ran.part);
            Some(format!("{rig} drifted by {change} while {part} ran there, by its control scene."))
        })
        .collect()
}
