//! `datapackage.json`: what the tables of a pack hold, as a Data Package (Frictionless Data, specification 1).

use serde_json::{Value, json};

use super::File;
use super::sheet::Sheet;
use crate::work::figures::ledger::Ledger;

/// Where it stands in the pack.
pub const PATH: &str = "datapackage.json";

/// The files of these tables, and the description of them all.
pub fn files(ledger: &Ledger, sheets: Vec<Sheet>) -> Vec<File> {
    let (mut files, resources): (Vec<File>, Vec<Value>) = sheets.into_iter().map(Sheet::done).unzip();
    let piece = &ledger.evidence.piece;
    let all = json!({
        "profile": "data-package",
        "name": format!("piece-{}", piece.key.to_lowercase()),
        "title": piece.fields.name,
        "description": "Tables of the pack. How the numbers were made is told in methods.html.",
        "audit_head": ledger.head.to_string(),
        "resources": resources,
    });
    files.push(File::text(PATH, format!("{all:#}\n")));
    files
}
