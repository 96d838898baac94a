//! Whether what a figure says survives other choices: the passes that were set aside put back, any one pass left out,
//! the other two ways to compute a low. Nothing here is kept or agreed on; it is shown beside the figure.

use weighhouse_measure::compare::verdict::Verdict;
use weighhouse_measure::measures::{LowDefinition, Measure};
use weighhouse_web::format;

use super::derived;
use super::value::{self, Valued, cells};
use super::what::What;
use crate::store::PassId;
use crate::work::against;
use crate::work::evidence::Evidence;

/// A figure under another choice.
#[derive(Clone, Debug, PartialEq)]
pub struct Otherwise {
    /// The choice, in words.
    pub choice: String,
    /// The value under it as it is printed; empty where there is none.
    pub shown: String,
    /// Its interval in words; empty where none is known.
    pub interval: String,
    /// What may be said under it; empty where the figure is no ratio.
    pub verdict: String,
    /// Whether the same may be said; where nothing may be, and of a value of a cell, whether it lies within the figure's
    /// interval.
    pub holds: bool,
}

/// What the figure says now: its value and, where it is a ratio, the verdict.
struct Said {
    valued: Valued,
    verdict: Option<Verdict>,
}

fn said(evidence: &Evidence, what: &What) -> Option<Said> {
    let valued = value::value(evidence, what)?;
    let verdict = match what {
        What::Cell { .. } => None,
        What::Ratio { measure, scene, setting, baseline, contender } => {
            let judged = against::in_scene(evidence, *measure, (*scene, *setting), (*baseline, *contender));
            judged.map(|judged| judged.verdict)
        }
        What::Overall { measure, setting, baseline, contender, among } => {
            let found = against::overall(evidence, *measure, *setting, (*baseline, *contender), among);
            found.map(|found| found.verdict)
        }
        _ => derived::verdict(evidence, what),
    };
    Some(Said { valued, verdict })
}

/// The figure under each other choice; empty where it has no value. `places`: decimal places in print.
pub fn otherwise(evidence: &Evidence, what: &What, places: i64) -> Vec<Otherwise> {
    let Some(now) = said(evidence, what) else { return Vec::new() };
    let compare = |choice: String, then: Option<Said>| other(choice, &now, then, places);
    let mut all = Vec::new();
    let out = passes(evidence, what, false);
    if !out.is_empty() {
        let choice = format!(
            "with {} put back",
            format::plural(count(out.len()), "pass that was ruled out", "passes that were ruled out")
        );
        all.push(compare(choice, said(&counting(evidence, &out, true), what)));
    }
    all.extend(without_one(evidence, what, &now, places));
    for measure in what.measure().into_iter().flat_map(other_lows) {
        let asked = what.with_measure(measure);
        all.push(compare(measure.name().to_owned(), said(evidence, &asked)));
    }
    all
}

fn count(n: usize) -> u64 {
    u64::try_from(n).unwrap_or(u64::MAX)
}

fn other(choice: String, now: &Said, then: Option<Said>, places: i64) -> Otherwise {
    let Some(then) = then else {
        let (shown, interval) = (String::new(), String::new());
        return Otherwise { choice, shown, interval, verdict: "no value is left".to_owned(), holds: false };
    };
    Otherwise {
        choice,
        shown: then.valued.shown(places),
        interval: then.valued.interval_shown(),
        verdict: then.verdict.as_ref().map_or_else(String::new, Verdict::words),
        holds: holds(now, &then),
    }
}

/// The same may be said: both level, or both differ the same way. Where nothing may be said, and for a value of a cell,
/// it holds within the figure's interval.
fn holds(now: &Said, then: &Said) -> bool {
    let said = |said: &Said| said.verdict.as_ref().map_or(NOTHING, answer);
    match (said(now), said(then)) {
        (NOTHING, NOTHING) => {
            now.valued.interval.is_some_and(|i| i.low <= then.valued.value && then.valued.value <= i.high)
        }
        (now, then) => now == then,
    }
}

/// Stands for what may not be said.
const NOTHING: &str = "nothing";

fn answer(verdict: &Verdict) -> &'static str {
    match verdict {
        Verdict::Differs(way) => way.as_str(),
        Verdict::Level { .. } | Verdict::LevelWithin { .. } => "level",
        Verdict::NotSettled { .. } => "not settled",
        Verdict::None { .. } => NOTHING,
    }
}

/// Passes of the figure's cells that count, or that were ruled out.
fn passes(evidence: &Evidence, what: &What, kept: bool) -> Vec<PassId> {
    let own = cells(evidence, what).into_iter().flat_map(|cell| &cell.passes);
    own.filter(|pass| if kept { pass.counts() } else { !pass.row.kept() }).map(|pass| pass.row.id).collect()
}

/// The evidence as it would be if these passes counted, or did not.
fn counting(evidence: &Evidence, which: &[PassId], count: bool) -> Evidence {
    use crate::store::rulings::Verdict::{Open, SetAside};
    let mut evidence = evidence.clone();
    for cell in evidence.cells.values_mut() {
        for pass in cell.passes.iter_mut().filter(|pass| which.contains(&pass.row.id)) {
            pass.row.verdict = Some(if count { Open } else { SetAside });
        }
    }
    evidence
}

/// Leaving out any one pass: the range of values, and the pass that would turn the answer or moves the value most.
fn without_one(evidence: &Evidence, what: &What, now: &Said, places: i64) -> Option<Otherwise> {
    let kept = passes(evidence, what, true);
    let mut evidence = evidence.clone();
    let mut worst: Option<(bool, f64, PassId, Said)> = None;
    let mut tried = 0;
    for id in kept {
        let Some(then) = left_out(&mut evidence, what, id) else { continue };
        tried += 1;
        let moved = libm::log(then.valued.value / now.valued.value).abs();
        let turns = !holds(now, &then);
        if worst.as_ref().is_none_or(|(t, m, ..)| (turns, moved) > (*t, *m)) {
            worst = Some((turns, moved, id, then));
        }
    }
    let (_, _, id, then) = worst?;
    let number = evidence.passes().find(|pass| pass.row.id == id).map_or(0, |pass| pass.row.number);
    let cell = evidence.cells.values().find(|cell| cell.passes.iter().any(|pass| pass.row.id == id));
    let cell = cell.map_or_else(String::new, |cell| value::cell_name(&evidence, cell.cell.id));
    let tried = format::plural(tried, "pass", "passes");
    let choice = format!("without any one of {tried}; the one that matters most is pass {number} of {cell}");
    Some(other(choice, now, Some(then), places))
}

fn left_out(evidence: &mut Evidence, what: &What, id: PassId) -> Option<Said> {
    let flip = |evidence: &mut Evidence, to| {
        let all = evidence.cells.values_mut().flat_map(|cell| &mut cell.passes);
        let pass = all.into_iter().find(|pass| pass.row.id == id)?;
        Some(std::mem::replace(&mut pass.row.verdict, to))
    };
    let before = flip(evidence, Some(crate::store::rulings::Verdict::SetAside))?;
    let then = said(evidence, what);
    flip(evidence, before)?;
    then
}

/// The other two ways to compute a low, at the same share; none where the measure is no low.
fn other_lows(measure: Measure) -> Vec<Measure> {
    let Measure::Low(definition, tail) = measure else { return Vec::new() };
    let all = [LowDefinition::Quantile, LowDefinition::TailMean, LowDefinition::TimeShare];
    all.into_iter().filter(|one| *one != definition).map(|one| Measure::Low(one, tail)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::rulings::Verdict as Ruled;
    use crate::store::{CellId, SceneId, TuningId};
    use crate::work::made_up::{self, SETTING, add_cell};

    const AVERAGE: Measure = Measure::AverageFps;

    fn ratio() -> What {
        let (baseline, contender) = (TuningId(1), TuningId(2));
        What::Ratio { measure: AVERAGE, scene: SceneId(1), setting: SETTING, baseline, contender }
    }

    #[test]
    fn a_clear_difference_survives_any_one_pass_and_passes_put_back() {
        let mut evidence = made_up::piece(2, 1);
        add_cell(&mut evidence, 1, 1, &[100.0, 100.5, 99.5, 100.2]);
        let other = add_cell(&mut evidence, 2, 1, &[150.0, 150.6, 149.5, 149.0]);
        evidence.cells.get_mut(&other).unwrap().passes[3].row.verdict = Some(Ruled::SetAside);
        let all = otherwise(&evidence, &ratio(), 1);
        assert_eq!(all.len(), 2, "{all:?}");
        assert!(all.iter().all(|one| one.holds && one.verdict == "faster"), "{all:?}");
        assert_eq!(all[0].choice.replace('\u{a0}', " "), "with 1 pass that was ruled out put back");
        assert!(all[1].choice.replace('\u{a0}', " ").starts_with("without any one of 7 passes"), "{all:?}");
    }

    #[test]
    fn what_one_pass_turns_is_said_with_the_pass() {
        let mut evidence = made_up::piece(2, 1);
        add_cell(&mut evidence, 1, 1, &[100.0, 100.1, 99.9, 100.0]);
        add_cell(&mut evidence, 2, 1, &[103.0, 103.1, 102.9, 120.0]);
        let all = otherwise(&evidence, &ratio(), 1);
        assert!(!all[0].holds && all[0].choice.contains("pass 4 of Part 2"), "{all:?}");
    }

    #[test]
    fn what_has_no_verdict_holds_within_its_interval() {
        let mut evidence = made_up::piece(1, 1);
        let id = add_cell(&mut evidence, 1, 1, &[100.0, 100.1, 99.9, 140.0]);
        let now = said(&evidence, &What::Cell { measure: AVERAGE, cell: id }).unwrap();
        let at = |value: f64| Said { valued: Valued { value, ..now.valued.clone() }, verdict: None };
        let interval = now.valued.interval.unwrap();
        assert!(holds(&now, &at(interval.low)) && !holds(&now, &at(interval.low * 0.99)));
        let none = |value: f64| Said { verdict: Some(Verdict::None { marks: Vec::new() }), ..at(value) };
        assert!(holds(&none(now.valued.value), &none(interval.high)));
        assert!(!holds(&none(now.valued.value), &none(interval.high * 1.01)));
    }

    #[test]
    fn lows_are_shown_in_all_three_ways() {
        let low = Measure::Low(LowDefinition::Quantile, weighhouse_measure::measures::Tail::OnePercent);
        let others = other_lows(low);
        assert_eq!(others.len(), 2);
        assert!(!others.contains(&low) && other_lows(AVERAGE).is_empty());
        let what = What::Cell { measure: AVERAGE, cell: CellId(1) }.with_measure(others[0]);
        assert_eq!(what.measure(), Some(others[0]));
    }
}
