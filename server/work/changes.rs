//! What a change of driver, game build or rig base did: before against after, in the cells that were measured under both.
//!
//! Passes that count are compared, and those that were set aside without any flag: they were ruled out for what they ran
//! on, and that is what is asked here. All else stays alike: the same cell in the same rig, and of passes on several
//! drivers those on one that both sides have. What does not is marked as on every comparison. The p-values of one change
//! are a family (Holm).

use std::collections::{BTreeMap, BTreeSet};

use weighhouse_measure::compare::PassLog;
use weighhouse_measure::compare::overall;
use weighhouse_measure::compare::ratio::{self, Ratio};
use weighhouse_measure::compare::verdict::verdict;
use weighhouse_measure::measures::Measure;
use weighhouse_measure::stats::holm::adjusted;

use super::against::{Judged, margin, sense};
use super::evidence::{CellEvidence, Evidence, PassEvidence};
use super::{Kind, Refusal, Result};
use crate::store::registers::rigs::RigBaseFields;
use crate::store::rulings::Verdict;
use crate::store::{CellId, PieceId, RigBaseId, Store};

/// What changed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Changed {
    /// The driver of a part.
    Driver,
    /// The build of a game.
    Build,
    /// The base of a rig: operating system, firmware, memory and the rest.
    Base,
}

/// A change, and what it did.
#[derive(Clone, Debug, PartialEq)]
pub struct Change {
    /// What changed.
    pub changed: Changed,
    /// Of what: a part, a game or a rig.
    pub of: String,
    /// What it was before, and what it is after.
    pub from_to: (String, String),
    /// Cells that were measured under both.
    pub cells: Vec<CellChange>,
    /// After over before, over these cells.
    pub overall: Option<Judged>,
}

/// What a change did in a cell.
#[derive(Clone, Debug, PartialEq)]
pub struct CellChange {
    /// The cell.
    pub cell: CellId,
    /// After over before.
    pub judged: Judged,
    /// p of a true ratio of 1, by Holm over the cells of the change; none where a spread is not known.
    pub p: Option<f64>,
}

/// What all changes of a piece did to a measure (its key; empty: the average).
///
/// # Errors
/// Refused when the piece has gone or does not compare this measure.
pub async fn show(store: &Store, piece: PieceId, measure: &str) -> Result<(Evidence, Measure, Vec<Change>)> {
    let evidence = Evidence::of_piece(store, piece).await?.ok_or_else(|| Refusal::missing("piece", piece))?;
    let measure = match measure {
        "" => Measure::AverageFps,
        key => evidence.compared().into_iter().find(|m| m.key() == key).ok_or_else(|| {
            let says = format!("'{key}' is no measure of this piece.");
            Refusal::new(Kind::Invalid, "Not compared", says, "Choose one in the form of the page.")
        })?,
    };
    let found = changes(&evidence, measure);
    Ok((evidence, measure, found))
}

/// One side of a change: what changed, of which row of the register, and which of its states.
type State = (Changed, i64, (i64, i64));

/// All changes that some cell was measured under both sides of, in the order of what changed.
pub fn changes(evidence: &Evidence, measure: Measure) -> Vec<Change> {
    let mut states: BTreeMap<(Changed, i64), BTreeSet<(i64, i64)>> = BTreeMap::new();
    for (cell, pass) in all_asked(evidence) {
        for (changed, of, state) in states_of(evidence, cell, pass) {
            states.entry((changed, of)).or_default().insert(state);
        }
    }
    let mut found = Vec::new();
    for ((changed, of), states) in states {
        let states: Vec<(i64, i64)> = states.into_iter().collect();
        for pair in states.windows(2) {
            found.extend(change(evidence, measure, (changed, of), (pair[0], pair[1])));
        }
    }
    found
}

/// Passes that are asked, with their cells.
fn all_asked(evidence: &Evidence) -> impl Iterator<Item = (&CellEvidence, &PassEvidence)> {
    let asked = |pass: &&PassEvidence| {
        pass.counts() || (pass.row.verdict == Some(Verdict::SetAside) && pass.flags.is_empty())
    };
    evidence
        .cells
        .values()
        .flat_map(move |cell| cell.passes.iter().filter(asked).map(move |pass| (cell, pass)))
}

/// The states that a pass ran under, each with its date and row, so that they sort by time.
fn states_of(evidence: &Evidence, cell: &CellEvidence, pass: &PassEvidence) -> [State; 3] {
    let names = &evidence.registers;
    let row = &pass.row;
    let driver = names.drivers.get(&row.driver_id).map_or(0, |driver| driver.fields.dated_us);
    let build = names.builds.get(&row.build_id).map_or(0, |build| build.fields.dated_us);
    let base = names.bases.get(&row.rig_base_id).map_or(0, |base| base.fields.from_us);
    [
        (Changed::Driver, cell.cell.part_id.0, (driver, row.driver_id.0)),
        (Changed::Build, cell.cell.of.scene_id.0, (build, row.build_id.0)),
        (Changed::Base, row.rig_id.0, (base, row.rig_base_id.0)),
    ]
}

fn change(
    evidence: &Evidence,
    measure: Measure,
    (changed, of): (Changed, i64),
    (from, to): ((i64, i64), (i64, i64)),
) -> Option<Change> {
    let at = |state: (i64, i64)| {
        let mut by_cell: BTreeMap<CellId, Vec<&PassEvidence>> = BTreeMap::new();
        for (cell, pass) in all_asked(evidence) {
            if states_of(evidence, cell, pass).contains(&(changed, of, state)) {
                by_cell.entry(cell.cell.id).or_default().push(pass);
            }
        }
        by_cell
    };
    let (before, after) = (at(from), at(to));
    let one = before.values().flatten().next()?;
    let other = after.values().flatten().next()?;
    let name = |pass: &PassEvidence| match changed {
        Changed::Driver => pass.row.driver.clone(),
        Changed::Build => pass.row.build.clone(),
        Changed::Base => String::new(),
    };
    let from_to = match changed {
        Changed::Base => bases(evidence, one.row.rig_base_id, other.row.rig_base_id),
        _ => (name(one), name(other)),
    };
    let names = &evidence.registers;
    let of = match changed {
        Changed::Driver => names.part_name(one.row.part_id),
        Changed::Build => names.scene_name(one.row.scene_id),
        Changed::Base => one.row.rig.clone(),
    };
    let mut cells = Vec::new();
    for (id, passes) in &before {
        let (Some(cell), Some(others)) = (evidence.cells.get(id), after.get(id)) else { continue };
        if let Some(judged) = in_cell(evidence, measure, cell, changed, (passes, others)) {
            cells.push(CellChange { cell: *id, judged, p: None });
        }
    }
    if cells.is_empty() {
        return None;
    }
    settle(&mut cells);
    let ratios: Vec<Ratio> = cells.iter().map(|cell| cell.judged.ratio.clone()).collect();
    let margin = cells.iter().map(|cell| cell.judged.margin).fold(f64::INFINITY, f64::min);
    let overall = overall::overall(&ratios).map(|overall| Judged {
        verdict: verdict(&overall.these, margin, sense(measure)),
        ratio: overall.these,
        margin,
    });
    Some(Change { changed, of, from_to, cells, overall })
}

/// Gives the cells their p-values as a family.
fn settle(cells: &mut [CellChange]) {
    let known: Vec<(usize, f64)> =
        cells.iter().enumerate().filter_map(|(at, cell)| Some((at, cell.judged.ratio.bounds?.p))).collect();
    let p = adjusted(&known.iter().map(|(_, p)| *p).collect::<Vec<f64>>());
    for ((at, _), p) in known.into_iter().zip(p) {
        if let Some(cell) = cells.get_mut(at) {
            cell.p = Some(p);
        }
    }
}

/// After over before in a cell; `None` where one side has no value there.
fn in_cell(
    evidence: &Evidence,
    measure: Measure,
    cell: &CellEvidence,
    changed: Changed,
    (before, after): (&[&PassEvidence], &[&PassEvidence]),
) -> Option<Judged> {
    let drivers = |passes: &[&PassEvidence]| passes.iter().map(|p| p.row.driver_id).collect::<BTreeSet<_>>();
    let both: BTreeSet<_> = drivers(before).intersection(&drivers(after)).copied().collect();
    let logs = |passes: &[&PassEvidence]| -> Vec<PassLog> {
        let alike = passes.iter().filter(|p| both.is_empty() || both.contains(&p.row.driver_id));
        alike.filter_map(|pass| log(evidence, cell, pass, measure, changed, both.is_empty())).collect()
    };
    let between = evidence.prior.between_rigs(measure.key());
    let found = ratio::in_scene(&logs(before), &logs(after), &evidence.noise(cell, measure), between)?;
    let margin = margin(evidence, cell.kind);
    Some(Judged { verdict: verdict(&found, margin, sense(measure)), ratio: found, margin })
}

/// A pass with what changed taken out of what must be alike.
fn log(
    evidence: &Evidence,
    cell: &CellEvidence,
    pass: &PassEvidence,
    measure: Measure,
    changed: Changed,
    drivers_differ: bool,
) -> Option<PassLog> {
    let mut of = evidence.log(cell, pass, measure)?;
    of.declared_driver = changed == Changed::Driver || !drivers_differ;
    match changed {
        Changed::Driver => {}
        Changed::Build => of.build = 0,
        Changed::Base => of.rig = pass.row.rig_id.0,
    }
    Some(of)
}

/// What differs between two bases of a rig, before and after.
pub(super) fn bases(evidence: &Evidence, before: RigBaseId, after: RigBaseId) -> (String, String) {
    let of = |base| evidence.registers.bases.get(&base).map(|b| &b.fields);
    let (Some(a), Some(b)) = (of(before), of(after)) else { return Default::default() };
    let texts = |f: &RigBaseFields| {
        [
            ("board", f.board.clone()),
            ("processor", f.processor.clone()),
            ("memory", f.memory.clone()),
            ("OS", f.os_build.clone()),
            ("firmware", f.firmware.clone()),
            ("cooling", f.cooling.clone()),
            ("stands:", f.enclosure.as_str().to_owned()),
        ]
    };
    let unlike = |one: &RigBaseFields, other: &RigBaseFields| {
        let pairs = texts(one).into_iter().zip(texts(other));
        let lines =
            pairs.filter(|(one, other)| one.1 != other.1).map(|((what, text), _)| format!("{what} {text}"));
        let lines: Vec<String> = lines.collect();
        if lines.is_empty() { "as entered".to_owned() } else { lines.join(", ") }
    };
    (unlike(a, b), unlike(b, a))
}

#[cfg(test)]
mod tests {
    use weighhouse_measure::screens::{Flag, FlagKind};

    use super::*;
    use crate::store::registers::parts::{Driver, DriverFields};
    use crate::store::{DriverId, PartId};
    use crate::work::made_up::{self, add_cell};

    /// Two scenes on drivers 1 and 9 of part 1: the first gains 2.5%, the second nothing; a third on one driver alone.
    fn evidence() -> Evidence {
        let mut evidence = made_up::piece(1, 3);
        for (id, dated_us) in [(1, 20), (9, 10)] {
            let fields = DriverFields { part_id: PartId(1), name: format!("{id}.0"), dated_us };
            evidence.registers.drivers.insert(DriverId(id), Driver { id: DriverId(id), fields, version: 1 });
        }
        for (scene, step) in [(1, 1.025), (2, 1.0)] {
            let of = |share: f64| 100.0 * share;
            let all = [of(0.999), of(1.0), of(1.001), of(0.999 * step), of(step), of(1.001 * step)];
            let id = add_cell(&mut evidence, 1, scene, &all);
            for pass in evidence.cells.get_mut(&id).unwrap().passes.iter_mut() {
                let old = pass.row.number <= 3;
                pass.row.driver_id = DriverId(if old { 9 } else { 1 });
                pass.row.driver = if old { "9.0" } else { "1.0" }.to_owned();
                pass.row.verdict = old.then_some(Verdict::SetAside);
            }
        }
        add_cell(&mut evidence, 1, 3, &[60.0, 60.1]);
        evidence
    }

    #[test]
    fn a_driver_is_judged_in_the_cells_that_ran_on_both_the_older_before_the_newer() {
        let found = changes(&evidence(), Measure::AverageFps);
        let [change] = &found[..] else { panic!("{found:?}") };
        assert_eq!(change.changed, Changed::Driver);
        assert_eq!(change.from_to, ("9.0".to_owned(), "1.0".to_owned()));
        let said: Vec<String> = change.cells.iter().map(|c| c.judged.verdict.words()).collect();
        assert_eq!(said, ["faster", "level within 2%"]);
        assert!((change.cells[0].judged.ratio.ratio - 1.025).abs() < 1e-9);
        assert!(change.cells[0].p.unwrap() < 0.01 && change.cells[1].p.unwrap() > 0.5);
        assert!((change.overall.as_ref().unwrap().ratio.ratio - 1.025_f64.sqrt()).abs() < 1e-9);
    }

    #[test]
    fn a_pass_that_was_set_aside_for_a_flag_is_not_asked() {
        let mut evidence = evidence();
        for pass in evidence.cells.values_mut().flat_map(|cell| &mut cell.passes) {
            pass.flags.push(Flag {
                kind: FlagKind::FrameCap,
                start_ns: 0,
                end_ns: 1,
                strength: 1.0,
                moves: None,
                says: String::new(),
            });
        }
        assert_eq!(changes(&evidence, Measure::AverageFps), []);
    }

    #[test]
    fn a_build_that_came_with_another_driver_is_marked() {
        let mut evidence = evidence();
        for pass in evidence.cells.values_mut().flat_map(|cell| &mut cell.passes) {
            pass.row.build_id.0 = if pass.row.verdict.is_some() { 1000 } else { 1001 };
        }
        let found = changes(&evidence, Measure::AverageFps);
        let builds: Vec<&Change> = found.iter().filter(|change| change.changed == Changed::Build).collect();
        assert_eq!(builds.len(), 2);
        assert!(!builds[0].cells[0].judged.ratio.like_with_like());
    }
}
