//! What the numbers of a chart rest on, in sentences for its foot: passes, rigs, drivers and builds.

use std::collections::{BTreeMap, BTreeSet};

use weighhouse_web::format;

use super::carried::said;
use super::evidence::{CellEvidence, Evidence};
use super::sessions;
use crate::store::registers::parts::PartKind;
use crate::store::{SceneId, UnitId};

/// Of the kept passes of these cells: one line on passes (with those that were ruled out), rigs, drivers, samples, drift
/// and what was carried over, one on builds.
pub fn foot<'a>(evidence: &Evidence, cells: impl IntoIterator<Item = &'a CellEvidence>) -> [String; 2] {
    let names = &evidence.registers;
    let (mut passes, mut rigs) = (BTreeSet::new(), BTreeSet::new());
    let mut drivers = BTreeMap::<String, BTreeSet<&str>>::new();
    let mut units = BTreeMap::<String, BTreeSet<UnitId>>::new();
    let mut builds = BTreeMap::<SceneId, BTreeSet<&str>>::new();
    let cells: Vec<&CellEvidence> = cells.into_iter().collect();
    for cell in &cells {
        let kept = cell.kept().count();
        passes.extend((kept > 0).then_some(kept));
        for pass in cell.kept() {
            rigs.insert(pass.row.rig.as_str());
            builds.entry(cell.cell.of.scene_id).or_default().insert(&pass.row.build);
            let part = names.parts.get(&cell.cell.part_id).map_or_else(String::new, |part| part.name());
            units.entry(part.clone()).or_default().insert(pass.row.unit_id);
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
    let out = ruled_out(cells.iter().copied());
    let out = if out.is_empty() { out } else { format!(" ({out})") };
    let by_design = match evidence.piece.fields.kind {
        PartKind::Card => "",
        PartKind::Processor => " Rigs of the same memory and operating system do not count as crossing.",
        PartKind::Device => " Devices of one operating system do not count as crossing rigs.",
    };
    let list = |names: &BTreeSet<&str>| names.iter().copied().collect::<Vec<_>>().join(", ");
    let drivers: Vec<String> = drivers.iter().map(|(part, all)| format!("{part} {}", list(all))).collect();
    let drifted: String = sessions::drifted(evidence, &cells).iter().map(|says| format!(" {says}")).collect();
    let carried =
        said::foot(evidence, cells.iter().copied()).map_or_else(String::new, |says| format!(" {says}"));
    let builds: Vec<String> =
        builds.iter().map(|(id, all)| format!("{} {}", names.scene_name(*id), list(all))).collect();
    [
        format!(
            "{passes}{out}; rigs: {}; drivers: {}; {}.{by_design}{drifted}{carried}",
            list(&rigs),
            drivers.join("; "),
            samples(&units)
        ),
        format!("Builds: {}.", builds.join("; ")),
    ]
}

/// How many units each part was measured on: `one sample of each part`.
pub(super) fn samples(units: &BTreeMap<String, BTreeSet<UnitId>>) -> String {
    let several = units.iter().filter(|(_, of)| of.len() > 1);
    let several: Vec<String> = several.map(|(part, of)| format!("{} samples of {part}", of.len())).collect();
    match (several.is_empty(), units.len()) {
        (true, ..=1) => "one sample".to_owned(),
        (true, _) => "one sample of each part".to_owned(),
        (false, n) if n == several.len() => several.join("; "),
        (false, _) => format!("{}; one sample of each other part", several.join("; ")),
    }
}

/// How many passes of these cells were ruled out, and why: `2 of 9 passes ruled out: an updater ran (2)`. Empty: none.
pub fn ruled_out<'a>(cells: impl IntoIterator<Item = &'a CellEvidence>) -> String {
    let (mut all, mut reasons) = (0_u64, BTreeMap::<&str, u64>::new());
    for pass in cells.into_iter().flat_map(|cell| &cell.passes) {
        all += 1;
        if !pass.row.kept() {
            *reasons.entry(pass.row.reason.as_deref().unwrap_or("")).or_default() += 1;
        }
    }
    let out: u64 = reasons.values().sum();
    let each = reasons
        .iter()
        .map(|(reason, n)| if *n > 1 { format!("{reason} ({n})") } else { (*reason).to_owned() });
    let why: Vec<String> = each.collect();
    if out == 0 { String::new() } else { format!("{} of {} passes ruled out: {}", out, all, why.join("; ")) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn samples_are_told_where_there_is_one_and_where_there_are_several() {
        let units = |of: &[(&str, &[i64])]| {
            samples(
                &of.iter()
                    .map(|(part, ids)| ((*part).to_owned(), ids.iter().map(|id| UnitId(*id)).collect()))
                    .collect(),
            )
        };
        assert_eq!(units(&[("Curlew", &[1])]), "one sample");
        assert_eq!(units(&[("Curlew", &[1]), ("Dunlin", &[2])]), "one sample of each part");
        assert_eq!(
            units(&[("Curlew", &[1, 3]), ("Dunlin", &[2])]),
            "2 samples of Curlew; one sample of each other part"
        );
        assert_eq!(
            units(&[("Curlew", &[1, 3]), ("Dunlin", &[2, 4])]),
            "2 samples of Curlew; 2 samples of Dunlin"
        );
    }
}
