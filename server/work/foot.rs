//! What the numbers of a chart rest on, in sentences for its foot: passes, rigs, drivers and builds.

use std::collections::{BTreeMap, BTreeSet};

use weighhouse_web::format;

use super::evidence::{CellEvidence, Evidence};
use crate::store::SceneId;

/// Of the kept passes of these cells: one line on passes, rigs and drivers, one on builds.
pub fn foot<'a>(evidence: &Evidence, cells: impl IntoIterator<Item = &'a CellEvidence>) -> [String; 2] {
    let names = &evidence.registers;
    let (mut passes, mut rigs) = (BTreeSet::new(), BTreeSet::new());
    let mut drivers = BTreeMap::<String, BTreeSet<&str>>::new();
    let mut builds = BTreeMap::<SceneId, BTreeSet<&str>>::new();
    for cell in cells {
        let kept = cell.kept().count();
        passes.extend((kept > 0).then_some(kept));
        for pass in cell.kept() {
            rigs.insert(pass.row.rig.as_str());
            builds.entry(cell.cell.of.scene_id).or_default().insert(&pass.row.build);
            let part = names.parts.get(&cell.cell.part_id).map_or_else(String::new, |part| part.name());
            drivers.entry(part).or_default().insert(&pass.row.driver);
        }
    }
    let passes = match (passes.first(), passes.last()) {
        (Some(least), Some(most)) if least != most => format!("{least} to {most} passes a cell"),
        (Some(only), _) => {
            let only = u64::try_from(*only).unwrap_or(u64::MAX);
            format!("{} a cell", format::plural(only, "pass", "passes"))
        }
        _ => "No passes".to_owned(),
    };
    let list = |names: &BTreeSet<&str>| names.iter().copied().collect::<Vec<_>>().join(", ");
    let drivers: Vec<String> = drivers.iter().map(|(part, all)| format!("{part} {}", list(all))).collect();
    let builds: Vec<String> =
        builds.iter().map(|(id, all)| format!("{} {}", names.scene_name(*id), list(all))).collect();
    [
        format!("{passes}; rigs: {}; drivers: {}.", list(&rigs), drivers.join("; ")),
        format!("Builds: {}.", builds.join("; ")),
    ]
}
