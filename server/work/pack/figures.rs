//! The figures of a piece as JSON, each with the digest of what it rests on; only those that stand agreed say so.

use std::collections::BTreeSet;

use serde_json::{Value, json};

use crate::work::figures::ledger::{Ledger, Seen};

/// The file.
pub fn json(ledger: &Ledger) -> String {
    let figures: Vec<Value> = ledger.figures.iter().map(figure).collect();
    let all = json!({
        "format": 1,
        "piece": ledger.evidence.piece.fields.name,
        "audit_head": ledger.head.to_string(),
        "figures": figures,
    });
    format!("{all:#}\n")
}

fn figure(seen: &Seen) -> Value {
    let step = seen.state.agreement.as_ref().or(seen.state.proposal.as_ref());
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
        "agreed_by": seen.state.agreement.as_ref().map(|step| &step.person),
        "alone": step.is_some_and(|step| step.alone),
        "agreed_value": seen.state.agreement.as_ref().map(|step| &step.value),
    })
}

fn is_agreed(seen: &Seen) -> bool {
    seen.state.standing == weighhouse_web::marks::Standing::Agreed
}

/// What is agreed, as canonical JSON of each figure.
pub fn agreed(ledger: &Ledger) -> BTreeSet<String> {
    ledger.agreed().map(|seen| seen.what.json()).collect()
}
