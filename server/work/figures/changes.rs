//! What changed between two states of what a figure rests on, in words.

use std::collections::{BTreeMap, BTreeSet};

use jiff::Timestamp;
use serde::Serialize;
use weighhouse_web::format;

use super::digest::{DISPUTED, Fields};
use super::value::cell_name;
use crate::work::evidence::Evidence;

/// A change in words.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Change {
    /// A sentence.
    pub says: String,
}

/// Values before and after; `None`: the field was or is not there.
type Pair<'a> = (Option<&'a str>, Option<&'a str>);

/// Fields that differ, by name.
fn differing<'a>(before: &'a Fields, after: &'a Fields) -> BTreeMap<&'a str, Pair<'a>> {
    let names = before.0.iter().chain(&after.0).map(|(name, _)| name.as_str()).collect::<BTreeSet<_>>();
    let pairs = names.into_iter().map(|name| (name, (before.get(name), after.get(name))));
    pairs.filter(|(_, (old, new))| old != new).collect()
}

/// `pass KEY: FIELD` as key and field.
fn of_pass(name: &str) -> Option<(&str, &str)> {
    name.strip_prefix("pass ")?.split_once(": ")
}

/// Keys of the passes that differ.
pub fn passes(before: &Fields, after: &Fields) -> BTreeSet<String> {
    differing(before, after).keys().filter_map(|name| Some(of_pass(name)?.0.to_owned())).collect()
}

/// What changed. `who`: by key of a pass, who changed it.
pub fn changes(
    evidence: &Evidence,
    before: &Fields,
    after: &Fields,
    who: &BTreeMap<String, String>,
) -> Vec<Change> {
    let mut said = Vec::new();
    let mut by_pass: BTreeMap<&str, BTreeMap<&str, Pair<'_>>> = BTreeMap::new();
    for (name, pair) in differing(before, after) {
        match of_pass(name) {
            Some((key, field)) => {
                by_pass.entry(key).or_default().insert(field, pair);
            }
            None => said.extend(of_piece(name, pair)),
        }
    }
    for (key, fields) in by_pass {
        let by = who.get(key).map_or_else(String::new, |name| format!(" by {name}"));
        said.extend(in_pass(evidence, key, &fields).into_iter().map(|says| format!("{says}{by}.")));
    }
    said.into_iter().map(|says| Change { says }).collect()
}

fn in_pass(evidence: &Evidence, key: &str, fields: &BTreeMap<&str, Pair<'_>>) -> Vec<String> {
    let name = match evidence.pass(key) {
        Some((cell, pass)) => format!("Pass {} of {}", pass.row.number, cell_name(evidence, cell.cell.id)),
        None => format!("Pass {key}"),
    };
    match fields.get("of") {
        Some((None, Some(_))) => return vec![format!("{name} was added")],
        Some((Some(_), None)) => return vec![format!("{name} left")],
        _ => {}
    }
    let each = fields.iter().map(|(field, (old, new))| {
        let (old, new) = (old.unwrap_or("nothing"), new.unwrap_or("nothing"));
        match *field {
            "ruling" if new.ends_with(DISPUTED) => format!("Rulings of two people stand on {name}"),
            "ruling" if new == "counts" && old.starts_with("counts") => {
                format!("The rulings on {name} were settled")
            }
            "ruling" if new == "counts" => format!("{name} counts again"),
            "ruling" if new == "set aside" => format!("{name} was set aside"),
            "ruling" => format!("{name} is to be run again"),
            "window" => format!("The window of {name} moved from {} to {}", window(old), window(new)),
            field if field.starts_with("companion") => format!("A companion of {name} was placed anew"),
            field => format!("{name}: {field} {} → {}", dated(old), dated(new)),
        }
    });
    each.collect()
}

/// `START END` in ns, in seconds.
fn window(text: &str) -> String {
    let ends: Option<Vec<i64>> = text.split(' ').map(|end| end.parse().ok()).collect();
    match ends.as_deref() {
        Some([start, end]) => format::span_ns(*start, *end),
        _ => text.to_owned(),
    }
}

/// `NAME @ MICROSECONDS` as a name with its day; any other text as it is.
fn dated(text: &str) -> String {
    let read = || {
        let (name, at) = text.rsplit_once(" @ ")?;
        Some((name, Timestamp::from_microsecond(at.parse().ok()?).ok()?))
    };
    read().map_or_else(|| text.to_owned(), |(name, at)| format!("{name} ({})", format::day(at, "UTC")))
}

fn of_piece(name: &str, (old, new): Pair<'_>) -> Option<String> {
    if name == "prior sha256" {
        // Its number tells.
        return None;
    }
    if let Some(scene) = name.strip_prefix("scene: ") {
        return Some(match (old, new) {
            (None, _) => format!("Scene {scene} came in: all that are compared ran it."),
            (_, None) => format!("Scene {scene} left: not all that are compared have a value in it."),
            _ => format!("Scene {scene}: {} → {}.", old.unwrap_or(""), new.unwrap_or("")),
        });
    }
    let text = |value: Option<&str>| match value {
        None | Some("") => "nothing".to_owned(),
        Some(value) => dated(value),
    };
    let name = if name == "prior" { "noise prior" } else { name };
    let mut said = format!("{name}: {} → {}.", text(old), text(new));
    if let Some(first) = said.get_mut(..1) {
        first.make_ascii_uppercase();
    }
    Some(said)
}

#[cfg(test)]
mod tests {
    use super::super::digest::rests_on;
    use super::super::what::What;
    use super::*;
    use crate::store::CellId;
    use crate::store::rulings::Verdict;
    use crate::work::made_up::{self, add_cell};

    fn said(change: impl FnOnce(&mut Evidence)) -> Vec<String> {
        let mut evidence = made_up::piece(1, 1);
        let cell = add_cell(&mut evidence, 1, 1, &[100.0, 101.0]);
        let what = What::Cell { measure: weighhouse_measure::measures::Measure::AverageFps, cell };
        let before = rests_on(&evidence, &what);
        change(&mut evidence);
        let who = BTreeMap::from([("pass10101".to_owned(), "Ada".to_owned())]);
        let found = changes(&evidence, &before, &rests_on(&evidence, &what), &who);
        found.into_iter().map(|change| change.says.replace(['\u{a0}', '\u{202f}'], " ")).collect()
    }

    fn first(evidence: &mut Evidence) -> &mut crate::store::passes::PassRow {
        &mut evidence.cells.get_mut(&CellId(101)).unwrap().passes[0].row
    }

    #[test]
    fn a_driver_or_build_is_said_with_its_day() {
        let plain = |text| dated(text).replace('\u{a0}', " ");
        assert_eq!(plain("615.02 @ 1795458720000000"), "615.02 (23 Nov 2026)");
        assert_eq!(plain("desk @ home"), "desk @ home");
        assert_eq!(plain(""), "");
    }

    #[test]
    fn what_changed_is_said_in_words() {
        let pass = "Pass 1 of Part 1, Game 1 (passage), 2160p native";
        assert_eq!(
            said(|e| first(e).verdict = Some(Verdict::SetAside)),
            [format!("{pass} was set aside by Ada.")]
        );
        assert_eq!(
            said(|e| first(e).verdict = Some(Verdict::RunAgain)),
            [format!("{pass} is to be run again by Ada.")]
        );
        assert_eq!(
            said(
                |e| (first(e).window_start_ns, first(e).window_end_ns) = (Some(10_000_000), Some(20_000_000))
            ),
            [format!("The window of {pass} moved from 0.000 to 0.020 s to 0.010 to 0.020 s by Ada.")]
        );
        let added = said(|e| {
            add_cell(e, 1, 1, &[100.0, 101.0, 102.0]);
        });
        assert_eq!(added, ["Pass 3 of Part 1, Game 1 (passage), 2160p native was added."]);
        assert_eq!(
            said(|e| first(e).key = "z".to_owned()),
            ["Pass pass10101 left by Ada.", &format!("{pass} was added.")]
        );
        let disputed = said(|e| first(e).against_id = Some(crate::store::RulingId(1)));
        assert_eq!(disputed, [format!("Rulings of two people stand on {pass} by Ada.")]);
        let prior = said(|e| (e.prior_number, e.prior_body) = (2, "{}".to_owned()));
        assert_eq!(prior, ["Noise prior: 0 → 2."]);
        assert_eq!(said(|_| {}), Vec::<String>::new());
    }
}
