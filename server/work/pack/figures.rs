//! The figures of a piece as JSON, each with the digest of what it rests on; only those that stand agreed say so.

use std::collections::BTreeSet;

use serde_json::{Value, json};

use crate::store::quotes::Quote;
use crate::work::figures::ledger::{Ledger, Seen};
use crate::work::quotes;
use crate::work::registers::typed::day_of;

/// The file.
pub fn json(ledger: &Ledger) -> String {
    let figures: Vec<Value> = ledger.figures.iter().map(figure).collect();
    let quoted: Vec<Value> = ledger.quotes.iter().map(|quote| self::quoted(quote, ledger)).collect();
    let all = json!({
        "format": 1,
        "piece": ledger.evidence.piece.fields.name,
        "audit_head": ledger.head.to_string(),
        "figures": figures,
        "quoted": quoted,
    });
    format!("{all:#}\n")
}

fn figure(seen: &Seen) -> Value {
    json!({
        "key": seen.figure.key,
        "name": seen.figure.fields.name,
        "what": seen.what,
        "standing": seen.state.standing.word(),
        "agreed": is_agreed(seen),
        "disputed": seen.disputes,
        "value": seen.valued.as_ref().map(|valued| valued.full()),
        "printed": seen.now.shown,
        "interval": seen.valued.as_ref().and_then(|valued| valued.interval).map(|i| [i.low, i.high]),
        "passes": seen.valued.as_ref().map(|valued| valued.passes),
        "digest": seen.now.digest,
        "proposed_by": seen.state.proposal.as_ref().map(|step| &step.person),
        "agreed_by": seen.state.agreed_by(),
        "alone": seen.state.alone(),
        "agreed_value": seen.state.agreements.last().map(|step| &step.value),
    })
}

/// A number that nobody measured, with its source.
fn quoted(quote: &Quote, ledger: &Ledger) -> Value {
    let f = &quote.fields;
    let over = ledger.quotes.iter().find(|other| Some(other.id) == f.over_id);
    json!({
        "name": f.name,
        "part": f.part_id.map(|id| ledger.evidence.registers.part_name(id)),
        "value": f.value,
        "unit": f.unit,
        "source": f.source,
        "link": if f.link.is_empty() { None } else { Some(&f.link) },
        "read_on": day_of(f.dated_us),
        "over": over.map(|other| &other.fields.name),
        "change": quotes::over(f, &ledger.quotes).map(|ratio| ratio - 1.0),
    })
}

fn is_agreed(seen: &Seen) -> bool {
    seen.state.standing == weighhouse_web::marks::Standing::Agreed
}

/// What is agreed, as canonical JSON of each figure.
pub fn agreed(ledger: &Ledger) -> BTreeSet<String> {
    ledger.agreed().map(|seen| seen.what.json()).collect()
}
