//! Sessions of a made-up piece.

use super::*;
use crate::store::registers::rigs::RigFields;
use crate::work::made_up;
use crate::work::registers::typed::Typed;

const MINUTE_US: i64 = 60 * US_PER_S;

fn rigs() -> Vec<Rig> {
    let one = |(id, name): (i64, &str)| Rig {
        id: RigId(id),
        fields: RigFields { name: name.to_owned(), note: String::new() },
        version: 1,
    };
    [(1, "alder"), (2, "birch")].map(one).to_vec()
}

/// Passes of a cell begin at these minutes, each a minute long.
fn at(evidence: &mut Evidence, cell: CellId, minutes: &[i64]) {
    for (pass, minute) in evidence.cells.get_mut(&cell).unwrap().passes.iter_mut().zip(minutes) {
        pass.row.wall_start_ns = Some(minute * 60_000_000_000);
        pass.row.span_ns = 60_000_000_000;
        pass.row.unit_id.0 = pass.row.part_id.0;
    }
}

#[test]
fn the_control_scene_is_what_most_parts_run_and_a_built_in_run_before_others() {
    let mut evidence = made_up::piece(2, 3);
    for (part, scene) in [(1, 1), (1, 2), (2, 2), (1, 3), (2, 3)] {
        made_up::add_cell(&mut evidence, part, scene, &[]);
    }
    assert_eq!(controls(&evidence).row.map(|row| row.0), Some(SceneId(2)));
    for cell in evidence.cells.values_mut().filter(|c| c.cell.of.scene_id == SceneId(3)) {
        cell.kind = SceneKind::BuiltIn;
    }
    assert_eq!(controls(&evidence).row.map(|row| row.0), Some(SceneId(3)));
    assert_eq!(controls(&made_up::piece(1, 1)), Controls::default());
}

#[test]
fn a_scene_is_run_where_most_of_its_passes_ran() {
    let mut evidence = made_up::piece(2, 2);
    made_up::add_cell(&mut evidence, 1, 1, &[100.0]);
    let id = made_up::add_cell(&mut evidence, 1, 2, &[100.0, 101.0]);
    made_up::add_cell(&mut evidence, 2, 2, &[]);
    for pass in &mut evidence.cells.get_mut(&id).unwrap().passes {
        pass.row.rig_id = RigId(2);
    }
    let benches = of_rigs(&evidence, &rigs(), &controls(&evidence), usual(), 0);
    let of = |rig: usize| -> Vec<i64> { benches[rig].plan.sessions.iter().map(|s| s.part).collect() };
    assert_eq!((benches[0].name.as_str(), of(0)), ("alder", vec![1]));
    // Part 1 is in birch, and comes back after part 2.
    assert_eq!((benches[1].name.as_str(), of(1)), ("birch", vec![1, 2, 1]));
}

#[test]
fn sessions_are_told_apart_by_the_unit_and_drift_by_the_control_scene() {
    let mut evidence = made_up::piece(2, 2);
    let control = made_up::add_cell(&mut evidence, 1, 1, &[100.0, 99.5, 99.0, 98.5, 98.0]);
    let other = made_up::add_cell(&mut evidence, 1, 2, &[50.0, 50.1]);
    let swapped = made_up::add_cell(&mut evidence, 2, 1, &[120.0]);
    at(&mut evidence, control, &[0, 10, 20, 30, 200]);
    at(&mut evidence, other, &[5, 15]);
    at(&mut evidence, swapped, &[100]);
    let ran = ran::of_rig(&evidence, RigId(1), &controls(&evidence));
    assert_eq!(ran.iter().map(|s| (s.part.0, s.passes.len())).collect::<Vec<_>>(), [(1, 6), (2, 1), (1, 1)]);
    let drift = ran[0].drift.unwrap();
    assert_eq!((drift.passes, ran[0].control_us), (4, 31 * MINUTE_US));
    assert!((drift.change - 98.75 / 99.75).abs() < 1e-3, "{}", drift.change);
    assert_eq!((ran[1].drift, ran[0].by_clock), (None, true));
    // Twenty minutes after the last pass: warm, with its control scene, and nothing else since.
    let held = in_rig(&ran, 220 * MINUTE_US).unwrap();
    assert_eq!((held.part, held.warm, held.control, held.ended), (1, true, true, false));
    assert!(!in_rig(&ran, 300 * MINUTE_US).unwrap().warm);
    assert_eq!((began(&ran, 220 * MINUTE_US), began(&ran, 2000 * MINUTE_US)), (Some(1), None));
}

#[test]
fn drift_is_told_of_the_cells_that_were_run_meanwhile() {
    let mut evidence = made_up::piece(2, 2);
    let control = made_up::add_cell(&mut evidence, 1, 1, &[100.0, 99.0, 98.0, 97.0, 96.0]);
    let other = made_up::add_cell(&mut evidence, 1, 2, &[50.0]);
    let swapped = made_up::add_cell(&mut evidence, 2, 1, &[120.0]);
    at(&mut evidence, control, &[0, 10, 20, 30, 40]);
    at(&mut evidence, other, &[15]);
    at(&mut evidence, swapped, &[100]);
    let of = |cell| drifted(&evidence, &[&evidence.cells[&cell]]).join(" ").replace('\u{a0}', " ");
    assert!(of(other).contains("drifted by \u{2212}4"), "{}", of(other));
    assert_eq!(of(swapped), "");
}

#[test]
fn times_are_typed_in_minutes() {
    let typed = |soak: &'static str| {
        let text = move |field: &str| if field == "soak" { soak } else { "1" };
        typed_costs(Typed::new(&text)).map(|costs| costs.soak_s)
    };
    assert_eq!(typed("12").unwrap(), 720);
    assert_eq!((typed("1.5").unwrap(), typed("1,5").unwrap(), typed("0").unwrap()), (90, 90, 0));
    for wrong in ["", "x", "-1", "601", "1.25", "1."] {
        let Err(crate::work::Error::Refused(refusal)) = typed(wrong) else { panic!("kept {wrong}") };
        assert!(refusal.wrong("soak").contains("minutes"), "{wrong}");
    }
    assert_eq!(texts(usual()), ["15", "10", "3", "1.5", "12", "1"]);
}
