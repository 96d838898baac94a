//! What a late change leaves to do: passes and readings that rest on another state than the piece compares by now, and
//! figures that lapsed.
//!
//! A pass is out of date when the piece declares another driver for its part, or when another pass of its scene ran on a
//! newer build of the game, or on a newer base of the same rig. What is carried over is older by its nature: it is not
//! listed.

use std::collections::{BTreeMap, BTreeSet};

use super::carried::Age;
use super::changes::{Changed, bases};
use super::evidence::{CellEvidence, Evidence, PassEvidence};
use super::once::By;
use super::rule::{self, NewRuling, Outcome};
use super::{Refusal, Result};
use crate::store::readings::Reading;
use crate::store::rulings::Verdict;
use crate::store::{BuildId, DriverId, PartId, PieceId, RigBaseId, RigId, SceneId, Store};

/// Passes and readings that one change left behind.
#[derive(Clone, Debug)]
pub struct Older<'a> {
    /// What changed.
    pub changed: Changed,
    /// Of what: a part, a scene or a rig.
    pub of: String,
    /// What they ran on, and what holds now.
    pub from_to: (String, String),
    /// Passes that count, by cell.
    pub cells: Vec<(&'a CellEvidence, Vec<&'a PassEvidence>)>,
    /// Readings with repeats that count.
    pub readings: Vec<&'a Reading>,
}

/// What changed of what: ids of the part, scene or rig, of the state before and of the state now.
type Key = (Changed, i64, i64, i64);

/// What is out of date in a piece: by driver, then build, then base of a rig.
pub fn older(evidence: &Evidence) -> Vec<Older<'_>> {
    let mut found: BTreeMap<Key, Older<'_>> = BTreeMap::new();
    let newest = Newest::of(evidence);
    for (cell, pass) in own(evidence) {
        for key in newest.unlike(evidence, pass) {
            let older = found.entry(key).or_insert_with(|| named(evidence, key, &pass.row.rig));
            match older.cells.last_mut().filter(|(last, _)| last.cell.id == cell.cell.id) {
                Some((_, passes)) => passes.push(pass),
                None => older.cells.push((cell, vec![pass])),
            }
        }
    }
    for reading in &evidence.readings.all {
        let declared = evidence.part_of(reading.fields.tuning_id).and_then(|part| {
            let driver = *evidence.declared.get(&part)?;
            Some((Changed::Driver, part.0, reading.fields.driver_id.0, driver.0))
        });
        let Some(key) = declared.filter(|key| key.2 != key.3) else { continue };
        if reading.repeats.iter().any(|repeat| repeat.counts()) {
            found.entry(key).or_insert_with(|| named(evidence, key, &reading.rig)).readings.push(reading);
        }
    }
    found.into_values().collect()
}

/// How many passes and readings that are, each once.
pub fn count(older: &[Older<'_>]) -> usize {
    let passes = older.iter().flat_map(|one| one.cells.iter().flat_map(|(_, passes)| passes));
    let keys: BTreeSet<&str> = passes.map(|pass| pass.row.key.as_str()).collect();
    keys.len() + older.iter().map(|one| one.readings.len()).sum::<usize>()
}

/// How many passes and readings of a piece are out of date.
///
/// # Errors
/// Refused when there is no such piece.
pub async fn left(store: &Store, piece: PieceId) -> Result<usize> {
    let evidence = Evidence::of_piece(store, piece).await?.ok_or_else(|| Refusal::missing("piece", piece))?;
    Ok(count(&older(&evidence)))
}

/// Passes that count, with their cells, without those that are carried over.
fn own(evidence: &Evidence) -> impl Iterator<Item = (&CellEvidence, &PassEvidence)> {
    let counts = |pass: &&PassEvidence| pass.counts() && matches!(pass.age, Age::Own | Age::Fresh);
    evidence
        .cells
        .values()
        .flat_map(move |cell| cell.passes.iter().filter(counts).map(move |pass| (cell, pass)))
}

/// The newest states that passes of a scene ran in.
struct Newest {
    builds: BTreeMap<SceneId, (i64, BuildId)>,
    bases: BTreeMap<(RigId, SceneId), (i64, RigBaseId)>,
}

impl Newest {
    fn of(evidence: &Evidence) -> Self {
        let mut newest = Newest { builds: BTreeMap::new(), bases: BTreeMap::new() };
        let names = &evidence.registers;
        for (_, pass) in own(evidence) {
            let row = &pass.row;
            let dated = names.builds.get(&row.build_id).map_or(0, |build| build.fields.dated_us);
            let build = newest.builds.entry(row.scene_id).or_insert((dated, row.build_id));
            *build = (*build).max((dated, row.build_id));
            let from = names.bases.get(&row.rig_base_id).map_or(0, |base| base.fields.from_us);
            let base = newest.bases.entry((row.rig_id, row.scene_id)).or_insert((from, row.rig_base_id));
            *base = (*base).max((from, row.rig_base_id));
        }
        newest
    }

    /// In what a pass is unlike the present.
    fn unlike(&self, evidence: &Evidence, pass: &PassEvidence) -> Vec<Key> {
        let row = &pass.row;
        let driver = evidence.declared.get(&row.part_id).map(|now| now.0);
        let build = self.builds.get(&row.scene_id).map(|(_, now)| now.0);
        let base = self.bases.get(&(row.rig_id, row.scene_id)).map(|(_, now)| now.0);
        let states = [
            (Changed::Driver, row.part_id.0, row.driver_id.0, driver),
            (Changed::Build, row.scene_id.0, row.build_id.0, build),
            (Changed::Base, row.rig_id.0, row.rig_base_id.0, base),
        ];
        let unlike = states.into_iter().filter_map(|(changed, of, ran, now)| Some((changed, of, ran, now?)));
        unlike.filter(|(_, _, ran, now)| ran != now).collect()
    }
}

fn named<'a>(evidence: &Evidence, (changed, of, ran, now): Key, rig: &str) -> Older<'a> {
    let names = &evidence.registers;
    let driver = |id| names.drivers.get(&DriverId(id)).map_or_else(String::new, |d| d.fields.name.clone());
    let build = |id| names.builds.get(&BuildId(id)).map_or_else(String::new, |b| b.fields.name.clone());
    let (of, from_to) = match changed {
        Changed::Driver => (names.part_name(PartId(of)), (driver(ran), driver(now))),
        Changed::Build => (names.scene_name(SceneId(of)), (build(ran), build(now))),
        Changed::Base => (rig.to_owned(), bases(evidence, RigBaseId(ran), RigBaseId(now))),
    };
    Older { changed, of, from_to, cells: Vec::new(), readings: Vec::new() }
}

/// Rules that these passes of a piece (key and version) are to be run again, all or none.
///
/// # Errors
/// Refused when the piece has no such pass, none is named, or as [`rule::rule_all`].
pub async fn run_again(
    store: &Store,
    by: impl Into<By>,
    piece: PieceId,
    passes: Vec<(String, i64)>,
    reason: &str,
) -> Result<Vec<Outcome>> {
    let evidence = Evidence::of_piece(store, piece).await?.ok_or_else(|| Refusal::missing("piece", piece))?;
    let mut rulings = Vec::with_capacity(passes.len());
    for (key, version) in passes {
        let (_, pass) = evidence.pass(&key).ok_or_else(|| Refusal::missing("pass", &key))?;
        let saw = pass.flag_kinds().into_iter().map(str::to_owned).collect();
        let reason = reason.to_owned();
        rulings.push((key, NewRuling { verdict: Verdict::RunAgain, reason, saw, version }));
    }
    if rulings.is_empty() {
        return Err(Refusal::field("pass", "Tick the passes that are to be run again.").into());
    }
    rule::rule_all(store, by, rulings).await
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::CellId;
    use crate::work::made_up;

    fn two_passes() -> (Evidence, CellId) {
        let mut evidence = made_up::piece(1, 1);
        let id = made_up::add_cell(&mut evidence, 1, 1, &[100.0, 101.0]);
        (evidence, id)
    }

    fn passes(evidence: &mut Evidence, id: CellId) -> &mut Vec<PassEvidence> {
        &mut evidence.cells.get_mut(&id).unwrap().passes
    }

    fn told(evidence: &Evidence) -> Vec<(Changed, Vec<i64>)> {
        let numbers = |one: &Older<'_>| {
            let all = one.cells.iter().flat_map(|(_, passes)| passes.iter().map(|pass| pass.row.number));
            (one.changed, all.collect())
        };
        older(evidence).iter().map(numbers).collect()
    }

    #[test]
    fn what_ran_on_the_declared_driver_and_one_build_and_base_is_not_out_of_date() {
        assert_eq!(told(&two_passes().0), []);
        let (mut evidence, _) = two_passes();
        evidence.declared.clear();
        assert_eq!(told(&evidence), []);
    }

    #[test]
    fn a_late_driver_leaves_all_passes_and_a_newer_build_those_on_the_older_one() {
        let (mut evidence, id) = two_passes();
        evidence.declared.insert(PartId(1), DriverId(7));
        passes(&mut evidence, id)[1].row.build_id = BuildId(9);
        assert_eq!(told(&evidence), [(Changed::Driver, vec![1, 2]), (Changed::Build, vec![1])]);
        assert_eq!(count(&older(&evidence)), 2);
        passes(&mut evidence, id)[1].row.verdict = Some(Verdict::RunAgain);
        assert_eq!(told(&evidence), [(Changed::Driver, vec![1])]);
    }

    #[test]
    fn another_base_is_older_only_within_one_rig() {
        let (mut evidence, id) = two_passes();
        passes(&mut evidence, id)[1].row.rig_base_id = RigBaseId(5);
        assert_eq!(told(&evidence), [(Changed::Base, vec![1])]);
        passes(&mut evidence, id)[1].row.rig_id = RigId(6);
        assert_eq!(told(&evidence), []);
    }

    #[test]
    fn what_is_carried_over_is_not_listed() {
        let (mut evidence, id) = two_passes();
        evidence.declared.insert(PartId(1), DriverId(7));
        for pass in passes(&mut evidence, id) {
            pass.age = Age::Earlier;
        }
        assert_eq!(told(&evidence), []);
    }
}
