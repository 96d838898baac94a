//! The files of a pack beside its figures, each held against what was computed.

use std::collections::BTreeSet;

use serde_json::Value;

use super::{Drawn, Files, Report, parsed};
use crate::store::Store;
use crate::work::Result;
use crate::work::figures::ledger::Ledger;
use crate::work::pack::names::Names;
use crate::work::pack::{File, columns, package, tables, with_captures};

/// What a pack is computed from, or what was compared before.
const READ: [&str; 2] = ["state.json", "figures.json"];

/// Compares tables, charts and column files, and notes what is left of the pack.
pub(super) async fn hold(
    store: &Store,
    pack: &mut impl Files,
    read: &Ledger,
    drawn: Drawn,
    report: &mut Report,
) -> Result<()> {
    let mut sheets = tables::sheets(&read.evidence, &Names::none())?;
    sheets.push(drawn.ratios);
    for file in package::files(read, sheets) {
        if file.path == package::PATH {
            described(pack, &file, report)?;
        } else {
            report.tables.push(held(pack, file)?);
        }
    }
    for file in drawn.charts {
        report.charts.push(held(pack, file)?);
    }
    for file in columns::measures(&read.evidence)? {
        report.columns.push(held(pack, file)?);
    }
    for tracked in with_captures::tracked(&read.evidence) {
        report.columns.push(held(pack, tracked.file(store, &read.evidence).await?)?);
    }
    left(pack, report);
    Ok(())
}

fn held(pack: &mut impl Files, file: File) -> Result<(String, bool)> {
    let there = pack.file(&file.path)?;
    Ok((file.path, there.as_ref() == Some(&file.bytes)))
}

/// The description of the tables, which also names the head of the trail that the pack was taken at.
fn described(pack: &mut impl Files, file: &File, report: &mut Report) -> Result<()> {
    let plain = |mut described: Value| {
        described.as_object_mut().map(|fields| fields.remove("audit_head"));
        described
    };
    let here: Value = serde_json::from_slice(&file.bytes).unwrap_or_default();
    if plain(parsed(pack, package::PATH)?) != plain(here) {
        report.wrong.push(format!("{} does not describe the tables that were computed", package::PATH));
    }
    Ok(())
}

/// What was not computed; what should have been is told.
fn left(pack: &impl Files, report: &mut Report) {
    let computed: BTreeSet<&str> = [&report.tables, &report.charts, &report.columns]
        .into_iter()
        .flatten()
        .map(|(path, _)| path.as_str())
        .chain(READ)
        .chain([package::PATH])
        .collect();
    let mut left = pack.paths();
    left.retain(|path| !computed.contains(path.as_str()) && !path.starts_with("captures/"));
    for path in &mut left {
        if path.starts_with("charts/") && path.ends_with(".png") {
            "charts/*.png".clone_into(path);
        }
    }
    left.sort();
    left.dedup();
    let of =
        |path: &str| ["tables/", "tracks/", "companions/", "measures/"].iter().any(|of| path.starts_with(of));
    let (more, words): (Vec<String>, Vec<String>) = left.into_iter().partition(|path| of(path));
    report.wrong.extend(more.into_iter().map(|path| format!("{path} follows from nothing in the pack")));
    report.not_computed = words;
}
