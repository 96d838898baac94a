//! What print and pages say of what was carried over: a line for the foot of a chart, a mark of a cell, a warning.

use std::collections::BTreeSet;

use jiff::Timestamp;
use weighhouse_measure::compare::carried::{Says, Together};
use weighhouse_web::format;

use super::offers::Ran;
use super::{Age, CarriedPart, checked, of_part, of_tuning, together};
use crate::store::{CellId, TuningId};
use crate::work::evidence::{CellEvidence, Evidence, PassEvidence};

/// Earlier passes of a carried part's cells that count or did, of these cells or of all.
fn earlier<'a>(
    evidence: &'a Evidence,
    part: &'a CarriedPart,
    of: Option<&BTreeSet<CellId>>,
) -> Vec<&'a PassEvidence> {
    let own = part.cells.iter().map(|cell| cell.cell_id).filter(|id| of.is_none_or(|of| of.contains(id)));
    let cells = own.filter_map(|id| evidence.cells.get(&id));
    let is_earlier = |pass: &&PassEvidence| matches!(pass.age, Age::Earlier | Age::Replaced);
    cells.flat_map(|cell| &cell.passes).filter(|pass| pass.row.kept()).filter(is_earlier).collect()
}

/// On what a part's earlier passes ran.
pub fn ran(evidence: &Evidence, part: &CarriedPart) -> Ran {
    Ran::of(evidence, earlier(evidence, part, None))
}

/// The day of a moment.
pub fn day(at_us: i64) -> String {
    format::day(Timestamp::from_microsecond(at_us).unwrap_or_default(), "UTC")
}

/// Names in a list.
pub fn list<'a>(names: impl IntoIterator<Item = &'a String>) -> String {
    names.into_iter().map(String::as_str).collect::<Vec<_>>().join(", ")
}

/// What the checks of a part say, counted: `2 hold, 1 run again`.
pub fn counted(evidence: &Evidence, part: &CarriedPart) -> String {
    let says: Vec<Says> = of_part(evidence, part).map(|(_, checked)| checked.check.says).collect();
    if together(evidence, part) == Together::NotChecked {
        return "not checked".to_owned();
    }
    let count = |is: fn(&Says) -> bool| says.iter().filter(|says| is(says)).count();
    let kinds: [(usize, &str, &str); 4] = [
        (count(|says| matches!(says, Says::Holds(_))), "holds", "hold"),
        (count(|says| matches!(says, Says::RunAgain { .. })), "run again", "run again"),
        (count(|says| matches!(says, Says::NotSettled { .. })), "not settled", "not settled"),
        (count(|says| matches!(says, Says::NotChecked)), "not run yet", "not run yet"),
    ];
    let told = kinds.into_iter().filter(|(n, ..)| *n > 0);
    told.map(|(n, one, many)| format!("{n} {}", if n == 1 { one } else { many }))
        .collect::<Vec<_>>()
        .join(", ")
}

/// Of the carried parts among these cells, a sentence for the foot of a chart; `None` where there is none:
/// `Carried over from 14 Oct 2026, driver 31.2: Tarnwick Curlew; spot checks: 2 hold, 1 run again.`
pub fn foot<'a>(evidence: &Evidence, cells: impl IntoIterator<Item = &'a CellEvidence>) -> Option<String> {
    let shown: BTreeSet<CellId> = cells.into_iter().map(|cell| cell.cell.id).collect();
    let mut said = Vec::new();
    for part in &evidence.carried {
        let passes = earlier(evidence, part, Some(&shown));
        if passes.is_empty() {
            continue;
        }
        let ran = Ran::of(evidence, passes);
        said.push(format!(
            "Carried over from {}, driver {}: {}; spot checks: {}.",
            ran.newest_us.map(day).unwrap_or_default(),
            list(&ran.drivers),
            evidence.registers.tuning_name(part.row.tuning_id),
            counted(evidence, part),
        ));
    }
    (!said.is_empty()).then(|| said.join(" "))
}

/// What stands beside a cell; `None` where it is not carried over: `carried over; spot checks: 2 hold, 1 run again`.
pub fn mark(evidence: &Evidence, cell: &CellEvidence) -> Option<String> {
    cell.carried?;
    let part = of_tuning(evidence, cell.cell.of.tuning_id)?;
    let fresh = cell.kept().any(|pass| pass.age == Age::Fresh);
    let which = if fresh { "carried over, run afresh" } else { "carried over" };
    Some(match together(evidence, part) {
        Together::NotChecked => format!("{which}, not checked"),
        _ => format!("{which}; spot checks: {}", counted(evidence, part)),
    })
}

/// What stands in a cell of the plan: a spot check says what it found; `None` where it is not carried over.
pub fn in_plan(evidence: &Evidence, cell: &CellEvidence) -> Option<String> {
    let of = cell.carried?;
    Some(match checked(evidence, cell).check.says {
        _ if !of.spot_check => "carried over".to_owned(),
        Says::NotChecked => "carried over, to be checked".to_owned(),
        says => format!("carried over; {}", says.words()),
    })
}

/// What is to be known before a pack leaves: parts that are to be run again, not settled or not checked.
pub fn warnings(evidence: &Evidence) -> Vec<String> {
    let warning = |part: &CarriedPart| {
        let name = evidence.registers.tuning_name(part.row.tuning_id);
        Some(match together(evidence, part) {
            Together::Holds => return None,
            Together::RunAgain => {
                let apart = of_part(evidence, part).filter_map(|(cell, checked)| {
                    let says = &checked.check.says;
                    let scene = || evidence.registers.scene_name(cell.cell.of.scene_id);
                    matches!(says, Says::RunAgain { .. }).then(|| format!("{}: {}", scene(), says.words()))
                });
                let apart = apart.collect::<Vec<_>>().join("; ");
                format!(
                    "{name} was carried over and a spot check does not hold ({apart}): run all of its cells again."
                )
            }
            Together::NotChecked => {
                format!("{name} was carried over and not checked: no spot check has run.")
            }
            Together::NotSettled => {
                format!(
                    "{name} was carried over and its spot checks are not settled: {}.",
                    counted(evidence, part)
                )
            }
        })
    };
    evidence.carried.iter().filter_map(warning).collect()
}

/// The cells of a part that are still to be run: its checks, or all where one says 'run again'.
pub fn to_run(
    evidence: &Evidence,
    tuning: TuningId,
    wanted: usize,
) -> impl Iterator<Item = (&CellEvidence, usize)> {
    let cells = evidence.cells.values().filter(move |cell| cell.cell.of.tuning_id == tuning);
    let carried = cells.filter(|cell| cell.carried.is_some());
    carried.map(move |cell| (cell, crate::work::pieces::missing(cell, wanted))).filter(|(_, n)| *n > 0)
}
