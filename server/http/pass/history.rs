//! What happened to a pass, in words: rulings, changes of it and its companions, what took its place.

use weighhouse_web::format;
use weighhouse_web::pages::pass::Event;

use super::page::at;
use crate::store::audit::Entry;
use crate::store::replacements::Replacement;
use crate::work::evidence::{CellEvidence, PassEvidence};
use crate::work::pass::Read;

/// Rulings and what the audit trail tells of the pass and its companions, in order of time.
pub(super) fn of(read: &Read) -> Vec<Event> {
    let ruled = read.rulings.iter().map(|ruling| Event {
        at: at(ruling.at_us),
        by: ruling.person.clone(),
        what: match (ruling.verdict.as_str(), ruling.reason.as_str()) {
            ("open", _) => "took the ruling back".to_owned(),
            (verdict, "") => format!("ruled: {verdict}"),
            (verdict, reason) => format!("ruled: {verdict}, because: {reason}"),
        },
    });
    let changed = read.trail.iter().map(|entry| Event {
        at: at(entry.at_us),
        by: entry
            .person_id
            .and_then(|id| read.people.get(&id).cloned())
            .unwrap_or_else(|| "the server".to_owned()),
        what: told(entry),
    });
    let places = read.pass().map_or_else(Vec::new, |(cell, pass)| places(cell, pass, read));
    let tied = places.into_iter().map(|(_, says, tied)| Event {
        at: at(tied.at_us),
        by: read.people.get(&tied.person_id).cloned().unwrap_or_default(),
        what: format!("said that {says}"),
    });
    let mut history: Vec<Event> = ruled.chain(changed).chain(tied).collect();
    history.sort_by_key(|event| event.at);
    history
}

/// Key of the other pass, in words what it is to this one, and who said so.
pub(super) fn places<'a>(
    cell: &CellEvidence,
    pass: &PassEvidence,
    read: &'a Read,
) -> Vec<(String, String, &'a Replacement)> {
    let other = |id| cell.passes.iter().find(|one| one.row.id == id).map(|one| &one.row);
    let each = read.replacements.iter().filter_map(|tied| {
        let newer = tied.pass_id == pass.row.id;
        let row = other(if newer { tied.replaces_id } else { tied.pass_id })?;
        let says = if newer {
            format!("it took the place of pass {}", row.number)
        } else {
            format!("pass {} took its place", row.number)
        };
        Some((row.key.clone(), says, tied))
    });
    each.collect()
}

/// An entry of the trail in words.
fn told(entry: &Entry) -> String {
    let row: serde_json::Value =
        entry.row.as_deref().and_then(|row| serde_json::from_str(row).ok()).unwrap_or_default();
    let ns = |column: &str| row.get(column).and_then(serde_json::Value::as_i64);
    match entry.act.as_str() {
        "move window" => match (ns("window_start_ns"), ns("window_end_ns")) {
            (Some(start), Some(end)) => {
                let reason = row.get("window_reason").and_then(|reason| reason.as_str()).unwrap_or_default();
                format!("moved the window to {}, because: {reason}", format::span_ns(start, end))
            }
            _ => "gave it the scene's window again".to_owned(),
        },
        "place" => match ns("offset_ns") {
            Some(offset) => format!("placed companion {} at {}", entry.row_id, format::at_ns(offset)),
            None => format!("took the placing of companion {} back", entry.row_id),
        },
        "pair" => format!("gave it companion {}", entry.row_id),
        "make pass" => "made it a pass".to_owned(),
        "cut" => "made it a stretch of its log".to_owned(),
        "put back" => "made it all of its log again".to_owned(),
        act => act.to_owned(),
    }
}
