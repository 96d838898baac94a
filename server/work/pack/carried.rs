//! The table of what was carried over from earlier pieces, and what the methods page says of it.

use std::collections::BTreeSet;

use weighhouse_measure::compare::carried::Says;
use weighhouse_measure::compare::cell::CellValue;
use weighhouse_web::pages::methods::CarriedRow;

use super::sheet::{About, Kind, Sheet, fields};
use super::tables::{cell_fields, names, number, words};
use crate::work::carried::offers::Ran;
use crate::work::carried::said::{counted, day, list};
use crate::work::carried::{self, Age, said};
use crate::work::evidence::{CellEvidence, Evidence, PassEvidence};
use crate::work::registers::typed::day_of;

/// The table.
pub const ABOUT: About = About {
    name: "carried_over",
    says: "a row for each cell carried over from an earlier piece, with what its spot check says",
    key: &["part", "tuning", "game", "passage", "setting"],
    of_passes: false,
};

/// One row a cell.
pub fn sheet(evidence: &Evidence) -> Sheet {
    let mut all = cell_fields();
    all.extend(fields(&[
        ("recorded_to", Kind::Day, "day on which the newest earlier pass was recorded, in UTC"),
        ("driver", Kind::Words, "driver of the part in the earlier passes"),
        ("build", Kind::Words, "build of the game in the earlier passes"),
        ("rig", Kind::Words, "rig of the earlier passes, with its operating system"),
        ("earlier_passes", Kind::Whole, "earlier passes that nobody ruled out"),
        ("fresh_passes", Kind::Whole, "passes recorded since that nobody ruled out"),
        ("counts", Kind::Words, "which of the two are the cell's measure: 'earlier' or 'fresh'"),
        ("spot_check", Kind::YesNo, "whether the cell is a spot check"),
        ("says", Kind::Words, "what the check says: fresh over earlier passes in the present state"),
        ("ratio", Kind::Number, "average frame rate of fresh passes divided by that of earlier ones"),
        ("interval_low", Kind::Number, "lower end of the 95% interval"),
        ("interval_high", Kind::Number, "upper end of the 95% interval"),
        ("part_says", Kind::Words, "what all checks of the part say together"),
    ]));
    let mut sheet = Sheet::new(ABOUT, all);
    for part in &evidence.carried {
        let together = carried::together(evidence, part).words();
        for cell in part.cells.iter().filter_map(|of| evidence.cells.get(&of.cell_id)) {
            sheet.row(row(evidence, cell, together));
        }
    }
    sheet
}

fn row(evidence: &Evidence, cell: &CellEvidence, together: &str) -> Vec<String> {
    let kept = || cell.passes.iter().filter(|pass| pass.row.kept());
    let earlier: Vec<&PassEvidence> = kept().filter(|pass| pass.age != Age::Fresh).collect();
    let fresh = kept().count() - earlier.len();
    let ran = Ran::of(evidence, earlier.iter().copied());
    let builds: BTreeSet<String> = earlier.iter().map(|pass| pass.row.build.clone()).collect();
    let found = carried::checked(evidence, cell);
    let is_check = cell.carried.is_some_and(|of| of.spot_check);
    let ratio = found.check.ratio.as_ref().filter(|_| is_check);
    let interval = ratio.and_then(|ratio| ratio.bounds).map(|bounds| bounds.interval);
    let mut row = names(evidence, cell).to_vec();
    row.extend([
        ran.newest_us.map(day_of).unwrap_or_default(),
        words(&list(&ran.drivers)),
        words(&list(&builds)),
        words(&list(ran.bases.values())),
        earlier.len().to_string(),
        fresh.to_string(),
        if fresh > 0 { "fresh" } else { "earlier" }.to_owned(),
        if is_check { "yes" } else { "no" }.to_owned(),
        if is_check { found.check.says.words() } else { String::new() },
        number(ratio.map(|ratio| ratio.ratio)),
        number(interval.map(|interval| interval.low)),
        number(interval.map(|interval| interval.high)),
        together.to_owned(),
    ]);
    row
}

/// What the methods page says of each part.
pub(super) fn methods(evidence: &Evidence) -> Vec<CarriedRow> {
    let told = evidence.carried.iter().map(|part| {
        let ran = said::ran(evidence, part);
        CarriedRow {
            name: evidence.registers.tuning_name(part.row.tuning_id),
            recorded: ran.newest_us.map(day).unwrap_or_default(),
            driver: list(&ran.drivers),
            rigs: list(ran.bases.values()),
            cells: part.cells.len() as u64,
            says: carried::together(evidence, part).words().to_owned(),
            counted: counted(evidence, part),
            checks: carried::of_part(evidence, part)
                .map(|(cell, found)| check(evidence, cell, &found))
                .collect(),
            reason: part.row.reason.clone(),
        }
    });
    told.collect()
}

/// `Vellum Rally, hairpin, 2160p native: holds within 2% (3 fresh passes over 4 earlier)`.
fn check(evidence: &Evidence, cell: &CellEvidence, found: &carried::Checked) -> String {
    let (names, of) = (&evidence.registers, &cell.cell.of);
    let place = format!("{}, {}", names.scene_name(of.scene_id), names.setting_name(of.setting_id));
    let passes = |of: &Option<CellValue>| of.as_ref().map_or(0, |of| of.passes);
    let says = found.check.says.words();
    match found.check.says {
        Says::NotChecked => format!("{place}: {says}"),
        _ => {
            let (fresh, earlier) = (passes(&found.fresh), passes(&found.earlier));
            format!("{place}: {says} ({fresh} fresh passes over {earlier} earlier)")
        }
    }
}
