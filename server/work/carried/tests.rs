//! What is earlier, what is fresh, what counts, and what the checks say, on made-up evidence.

use super::*;
use crate::store::rulings::Verdict;
use crate::store::{BuildId, CarriedId, DriverId, PartId, RigBaseId, RigId};
use crate::work::made_up::{self, add_cell};
use crate::work::pieces::missing;

const DAY_US: i64 = GRACE_US;
const FROM_US: i64 = 100 * DAY_US;

/// Part 2 carried over in three scenes, each with three earlier passes, and part 1 of the piece's own in the first.
fn evidence() -> Evidence {
    let mut evidence = made_up::piece(2, 3);
    add_cell(&mut evidence, 1, 1, &[130.0, 130.2, 129.9]);
    for scene in 1..=3 {
        add_cell(&mut evidence, 2, scene, &[100.0, 100.2, 99.9]);
    }
    evidence.carried = vec![CarriedPart {
        row: Carried {
            id: CarriedId(1),
            piece_id: PieceId(1),
            tuning_id: TuningId(2),
            from_us: FROM_US,
            reason: String::new(),
            person: "Ada".to_owned(),
            let_go_us: None,
            version: 1,
        },
        cells: (201..=203)
            .map(|id| CarriedCell {
                carried_id: CarriedId(1),
                cell_id: CellId(id),
                brought: true,
                spot_check: id < 203,
            })
            .collect(),
    }];
    settle(&mut evidence);
    evidence
}

fn settle(evidence: &mut Evidence) {
    let carried = evidence.carried.clone();
    mark(&mut evidence.cells, &carried);
    judge(evidence);
}

/// Adds passes to a carried cell, a day after the moment of carrying.
fn run(evidence: &mut Evidence, scene: i64, averages: &[f64]) {
    let mut other = made_up::piece(2, 3);
    let id = add_cell(&mut other, 2, scene, averages);
    let mut fresh = other.cells.remove(&id).unwrap().passes;
    for pass in &mut fresh {
        pass.row.made_us = FROM_US + DAY_US;
        pass.row.number += 10;
        pass.row.id.0 += 10;
    }
    evidence.cells.get_mut(&id).unwrap().passes.extend(fresh);
    settle(evidence);
}

fn value(evidence: &Evidence, cell: i64) -> f64 {
    let value = evidence.value(&evidence.cells[&CellId(cell)], Measure::AverageFps);
    value.map(|value| value.value.round()).unwrap()
}

fn says(evidence: &Evidence, cell: i64) -> Says {
    checked(evidence, &evidence.cells[&CellId(cell)]).check.says
}

#[test]
fn fresh_passes_stand_in_place_of_earlier_ones_and_are_never_pooled_with_them() {
    let mut evidence = evidence();
    assert_eq!(value(&evidence, 201), 100.0);
    assert_eq!(says(&evidence, 201), Says::NotChecked);
    run(&mut evidence, 1, &[90.0, 90.1, 90.2]);
    assert_eq!(value(&evidence, 201), 90.0);
    assert_eq!(value(&evidence, 202), 100.0, "unchecked cells keep their earlier value");
    let cell = &evidence.cells[&CellId(201)];
    assert_eq!(cell.passes.iter().filter(|pass| pass.age == Age::Replaced).count(), 3);
    assert_eq!(cell.kept().count(), 3);
    assert_eq!(evidence.cells[&CellId(101)].carried, None);
}

#[test]
fn fresh_passes_that_were_ruled_out_leave_the_earlier_ones() {
    let mut evidence = evidence();
    run(&mut evidence, 1, &[90.0]);
    let fresh = evidence.cells.get_mut(&CellId(201)).unwrap().passes.last_mut().unwrap();
    fresh.row.verdict = Some(Verdict::SetAside);
    settle(&mut evidence);
    assert_eq!(value(&evidence, 201), 100.0);
    assert_eq!(says(&evidence, 201), Says::NotChecked);
}

#[test]
fn an_old_log_that_comes_in_late_is_earlier() {
    let mut evidence = evidence();
    run(&mut evidence, 1, &[90.0]);
    let at = |evidence: &mut Evidence, us: i64| {
        let pass = evidence.cells.get_mut(&CellId(201)).unwrap().passes.last_mut().unwrap();
        pass.row.wall_start_ns = Some(us * 1000);
        settle(evidence);
        evidence.cells[&CellId(201)].passes.last().unwrap().age
    };
    assert_eq!(at(&mut evidence, FROM_US - 20 * DAY_US), Age::Earlier);
    assert_eq!(at(&mut evidence, FROM_US - DAY_US / 2), Age::Fresh, "run before the click, or a slow clock");
}

#[test]
fn checks_hold_or_ask_for_all_cells_again() {
    let mut evidence = evidence();
    let part = evidence.carried[0].clone();
    assert_eq!(together(&evidence, &part), Together::NotChecked);
    let lacks = |evidence: &Evidence| [201, 202, 203].map(|id| missing(&evidence.cells[&CellId(id)], 3));
    assert_eq!(lacks(&evidence), [3, 3, 0], "the checks are to be run");
    run(&mut evidence, 1, &[100.1, 99.9, 100.0]);
    assert_eq!(says(&evidence, 201), Says::Holds(0.02));
    assert_eq!(together(&evidence, &part), Together::NotSettled, "one is not run yet");
    assert_eq!(lacks(&evidence), [0, 3, 0]);
    let mut holds = evidence.clone();
    run(&mut holds, 2, &[100.2, 100.0, 99.8]);
    assert_eq!(together(&holds, &part), Together::Holds);
    assert!(said::warnings(&holds).is_empty());
    run(&mut evidence, 2, &[94.0, 94.1, 93.9]);
    assert_eq!(together(&evidence, &part), Together::RunAgain);
    assert_eq!(lacks(&evidence), [0, 0, 3], "now the third cell too");
    assert_eq!(said::counted(&evidence, &part), "1 holds, 1 run again");
    let warning = said::warnings(&evidence).remove(0);
    assert!(warning.contains("run again (6.0% slower)") && warning.contains("all of its cells"), "{warning}");
    assert_eq!(value(&evidence, 203), 100.0, "no number changes by what a check says");
}

#[test]
fn a_check_rests_on_the_present_state() {
    let mut evidence = evidence();
    run(&mut evidence, 1, &[100.1, 99.9, 100.0]);
    let (mut before, mut now) = (made_up::base("Osier 8"), made_up::base("Osier 9"));
    (before.id, now.id, now.fields.from_us) = (RigBaseId(1), RigBaseId(2), 5);
    evidence.registers.bases = [(before.id, before), (now.id, now)].into();
    assert_eq!(says(&evidence, 201), Says::NotChecked, "the rig changed since");
    assert_eq!(checked(&evidence, &evidence.cells[&CellId(201)]).elsewhere, 3);
    evidence.registers.bases.remove(&RigBaseId(2));
    assert_eq!(says(&evidence, 201), Says::Holds(0.02));
    evidence.declared.insert(PartId(2), DriverId(9));
    assert_eq!(says(&evidence, 201), Says::NotChecked, "another driver was declared");
    evidence.declared.remove(&PartId(2));
    let mut newer = made_up::build("1.1", 7);
    newer.id = BuildId(2);
    evidence.registers.builds.insert(newer.id, newer);
    assert_eq!(says(&evidence, 201), Says::NotChecked, "the game was patched");
}

#[test]
fn carrying_declares_the_driver_of_then_and_nothing_else() {
    let mut evidence = evidence();
    evidence.declared.insert(PartId(2), DriverId(9));
    let logs = |evidence: &Evidence, cell| evidence.logs(&evidence.cells[&CellId(cell)], Measure::AverageFps);
    assert!(logs(&evidence, 201).iter().all(|log| log.declared_driver));
    evidence.cells.get_mut(&CellId(202)).unwrap().passes[0].row.driver_id = DriverId(7);
    assert!(
        logs(&evidence, 202).iter().all(|log| !log.declared_driver),
        "two drivers in one cell stay marked"
    );
    run(&mut evidence, 1, &[100.0]);
    assert!(
        logs(&evidence, 201).iter().all(|log| !log.declared_driver),
        "fresh ones are held to what is declared"
    );
}

#[test]
fn another_rig_still_answers_and_the_foot_names_what_it_shows() {
    let mut evidence = evidence();
    run(&mut evidence, 1, &[100.1, 99.9, 100.0]);
    for pass in &mut evidence.cells.get_mut(&CellId(201)).unwrap().passes[3..] {
        (pass.row.rig_id, pass.row.rig_base_id) = (RigId(2), RigBaseId(5));
    }
    assert_eq!(says(&evidence, 201), Says::Holds(0.02));
    let foot = said::foot(&evidence, [&evidence.cells[&CellId(201)], &evidence.cells[&CellId(101)]]).unwrap();
    assert_eq!(
        foot,
        "Carried over from 1 Jan 1970, driver driver 2: Maker Part 2; spot checks: 1 holds, 1 not run yet."
    );
    assert_eq!(said::foot(&evidence, [&evidence.cells[&CellId(101)]]), None);
    let mark = said::mark(&evidence, &evidence.cells[&CellId(203)]);
    assert_eq!(mark.as_deref(), Some("carried over; spot checks: 1 holds, 1 not run yet"));
    assert_eq!(said::mark(&evidence, &evidence.cells[&CellId(101)]), None);
}

#[test]
fn three_cells_are_proposed_over_the_scenes() {
    let evidence = evidence();
    let ids: Vec<CellId> = (201..=203).map(CellId).collect();
    let found: Vec<CellId> = proposed(&evidence, &ids).into_iter().map(|(id, _)| id).collect();
    assert_eq!(found.len(), 3);
    assert_eq!(proposed(&evidence, &[]), []);
}
