//! What does not count in a piece and why: cells that did not run, passes that a person ruled out, rulings that disagree.

use super::sheet::{About, Kind, Sheet, fields};
use super::tables::{cell_fields, names, standing, words};
use crate::store::passes::PassRow;
use crate::work::evidence::{CellEvidence, Evidence, Standing};

/// The table.
pub const ABOUT: About = About {
    name: "left_out",
    says: "a row for what did not run, was set aside or is disputed, with why",
    key: &["number"],
    of_passes: true,
};

/// One thing that does not count, or of which two people say different things.
pub struct Out<'a> {
    /// The cell.
    pub cell: &'a CellEvidence,
    /// The pass; `None`: the whole cell.
    pub pass: Option<&'a PassRow>,
    /// How it is out.
    pub how: &'static str,
    /// The reason that was given.
    pub why: &'a str,
}

/// Cells that did not run first, then passes in the order of their cells.
pub fn outs(evidence: &Evidence) -> Vec<Out<'_>> {
    let cells = evidence.cells.values();
    let mut outs: Vec<Out<'_>> = cells
        .filter(|cell| !cell.cell.did_not_run.is_empty())
        .map(|cell| Out { cell, pass: None, how: "did not run", why: &cell.cell.did_not_run })
        .collect();
    for cell in evidence.cells.values() {
        for pass in cell.passes.iter().filter(|pass| !pass.standing.counts()) {
            let why = match pass.standing {
                Standing::Earlier => "carried over; fresh passes count in its place",
                _ => pass.row.reason.as_deref().unwrap_or_default(),
            };
            outs.push(Out { cell, pass: Some(&pass.row), how: standing(pass), why });
        }
        for row in cell.passes.iter().map(|pass| &pass.row).filter(|row| row.disputed()) {
            let why = row.against_reason.as_deref().unwrap_or_default();
            outs.push(Out { cell, pass: Some(row), how: "disputed: rulings of two people stand", why });
        }
    }
    outs
}

/// The rows.
pub fn sheet(evidence: &Evidence) -> Sheet {
    let mut all = fields(&[("number", Kind::Whole, "counts the rows")]);
    all.extend(cell_fields());
    all.extend(fields(&[
        ("pass", Kind::Whole, "number of the pass in its cell; empty: the whole cell"),
        ("key", Kind::Words, "key of the pass; empty: the whole cell"),
        ("how", Kind::Words, "how it is out"),
        ("why", Kind::Words, "the reason that a person gave"),
    ]));
    let mut sheet = Sheet::new(ABOUT, all);
    for (number, out) in (1..).zip(outs(evidence)) {
        let mut row = vec![i64::to_string(&number)];
        row.extend(names(evidence, out.cell));
        row.extend([
            out.pass.map_or_else(String::new, |pass| pass.number.to_string()),
            out.pass.map_or_else(String::new, |pass| pass.key.clone()),
            out.how.to_owned(),
            words(out.why),
        ]);
        sheet.row(row);
    }
    sheet
}
