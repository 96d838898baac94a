//! Tables of the pack as CSV (RFC 4180), numbers in full and in the unit that the column names.

use weighhouse_measure::measures::{LowDefinition, Measure, Tail};

use super::names::Names;
use super::sheet::{About, Field, Kind, Sheet, fields};
use super::{carried, left_out, prices, readers, readings};
use crate::work::Result;
use crate::work::evidence::{CellEvidence, Evidence, PassEvidence, Standing};

/// A table as CSV.
#[derive(Debug, Default)]
pub struct Table(String);

impl Table {
    /// With these headings.
    pub fn new(headings: &[&str]) -> Self {
        let mut table = Table::default();
        table.row(headings.iter().map(|h| (*h).to_owned()));
        table
    }

    /// Adds a row of cells that are numbers or have been through [`words`].
    pub fn row(&mut self, cells: impl IntoIterator<Item = String>) {
        let cells: Vec<String> = cells.into_iter().map(|cell| quoted(&cell)).collect();
        self.0.push_str(&cells.join(","));
        self.0.push_str("\r\n");
    }

    /// The text.
    pub fn into_text(self) -> String {
        self.0
    }
}

fn quoted(cell: &str) -> String {
    if cell.contains(['"', ',', '\r', '\n']) {
        format!("\"{}\"", cell.replace('"', "\"\""))
    } else {
        cell.to_owned()
    }
}

/// Words of people for a cell: what a spreadsheet would take for a formula begins with an apostrophe.
pub fn words(text: &str) -> String {
    if text.starts_with(['=', '+', '-', '@', '\t', '\r']) { format!("'{text}") } else { text.to_owned() }
}

/// A number in full (the shortest text that gives the same double), or nothing.
pub fn number(value: Option<f64>) -> String {
    value.map_or_else(String::new, |value| value.to_string())
}

/// Average, the six lows, and what else a cell is listed with.
fn measures() -> Vec<Measure> {
    let lows = Tail::ALL
        .into_iter()
        .flat_map(|tail| LowDefinition::ALL.map(|definition| Measure::Low(definition, tail)));
    [Measure::AverageFps]
        .into_iter()
        .chain(lows)
        .chain([
            Measure::FrameTimeP50,
            Measure::FrameTimeP95,
            Measure::FrameTimeP99,
            Measure::FrameTimeP999,
            Measure::PowerW,
            Measure::JoulesPerFrame,
        ])
        .collect()
}

/// What a row says of its cell, as [`cell_fields`] describes it.
pub(super) fn names(evidence: &Evidence, cell: &CellEvidence) -> [String; 6] {
    let registers = &evidence.registers;
    let of = &cell.cell.of;
    let part = registers.parts.get(&cell.cell.part_id);
    let scene = registers.scenes.get(&of.scene_id);
    [
        part.map_or_else(String::new, |part| words(&part.name())),
        registers.tunings.get(&of.tuning_id).map_or_else(String::new, |tuning| words(&tuning.fields.name)),
        scene.map_or_else(String::new, |scene| words(&scene.fields.game)),
        scene.map_or_else(String::new, |scene| words(&scene.fields.passage)),
        cell.kind.as_str().to_owned(),
        registers
            .settings
            .get(&of.setting_id)
            .map_or_else(String::new, |setting| words(&setting.fields.name)),
    ]
}

/// Fields of the cell that a row is of.
pub(super) fn cell_fields() -> Vec<Field> {
    fields(&[
        ("part", Kind::Words, "the part"),
        ("tuning", Kind::Words, "how it is run"),
        ("game", Kind::Words, "the game"),
        ("passage", Kind::Words, "the passage that is repeated"),
        ("scene_kind", Kind::Words, "'built-in', 'replay' or 'by hand'"),
        ("setting", Kind::Words, "resolution and quality"),
    ])
}

/// The table of cells.
pub const CELLS: About = About {
    name: "cells",
    says: "a row for each cell and measure",
    key: &["part", "tuning", "game", "passage", "setting", "measure"],
    of_passes: false,
};

/// One row a cell and measure: value over the kept passes, 95% interval, spread from pass to pass, passes, rigs.
pub fn cells(evidence: &Evidence) -> Sheet {
    let mut all = cell_fields();
    all.extend(fields(&[
        ("measure", Kind::Words, "identifier of the measure, a field of the table of measures"),
        ("unit", Kind::Words, "unit of value, interval_low and interval_high; empty: a count or share"),
        ("value", Kind::Number, "geometric mean over the passes that count, in the unit beside it"),
        ("interval_low", Kind::Number, "lower end of the 95% interval"),
        ("interval_high", Kind::Number, "upper end of the 95% interval"),
        ("spread_share", Kind::Number, "spread from pass to pass, as a share of the value"),
        ("passes", Kind::Whole, "passes that count"),
        ("rigs", Kind::Whole, "rigs that they ran on"),
        ("set_aside", Kind::Whole, "passes that a person ruled out"),
        ("did_not_run", Kind::Words, "why it did not run; empty: it runs"),
    ]));
    let mut sheet = Sheet::new(CELLS, all);
    for cell in evidence.cells.values() {
        let out = cell.passes.iter().filter(|pass| !pass.standing.counts()).count();
        for measure in measures() {
            let value = evidence.value(cell, measure);
            if value.is_none() && measure != Measure::AverageFps {
                continue;
            }
            let interval = value.as_ref().and_then(|v| v.interval);
            let mut row = names(evidence, cell).to_vec();
            row.extend([
                measure.key().to_owned(),
                measure.unit().to_owned(),
                number(value.as_ref().map(|v| v.value)),
                number(interval.map(|i| i.low)),
                number(interval.map(|i| i.high)),
                number(value.as_ref().and_then(|v| v.own_spread)),
                value.as_ref().map_or(0, |v| v.passes).to_string(),
                value.as_ref().map_or(0, |v| v.rigs).to_string(),
                out.to_string(),
                words(&cell.cell.did_not_run),
            ]);
            sheet.row(row);
        }
    }
    sheet
}

/// The table of passes.
pub const PASSES: About = About {
    name: "passes",
    says: "a row for each pass, with its ruling and the digest of its log",
    key: &["key"],
    of_passes: false,
};

/// One row a pass: what it ran on and how it was ruled on. `hide`: what is masked in file names.
pub fn passes(evidence: &Evidence, hide: &Names) -> Sheet {
    let mut all = cell_fields();
    all.extend(fields(&[
        ("pass", Kind::Whole, "number of the pass in its cell"),
        ("key", Kind::Words, "key of the pass"),
        ("rig", Kind::Words, "the rig that it ran on"),
        ("driver", Kind::Words, "driver of the part"),
        ("build", Kind::Words, "build of the game"),
        ("standing", Kind::Words, "how it stands: 'sound' and 'flagged, not ruled' count"),
        ("reason", Kind::Words, "reason of the ruling"),
        ("window_start_ns", Kind::Whole, "where what counts begins, nanoseconds from the first frame"),
        ("window_end_ns", Kind::Whole, "where it ends, nanoseconds from the first frame"),
        ("window_reason", Kind::Words, "why it is not the scene's; empty: it is"),
        ("capture", Kind::Words, "file name of the log; folders, users and serial numbers masked"),
        ("sha256", Kind::Words, "SHA-256 of the log's bytes"),
    ]));
    let mut sheet = Sheet::new(PASSES, all);
    for (cell, pass) in each(evidence) {
        let row = &pass.row;
        let window = row.window();
        let mut cells = names(evidence, cell).to_vec();
        cells.extend([
            row.number.to_string(),
            row.key.clone(),
            words(&row.rig),
            words(&row.driver),
            words(&row.build),
            standing(pass).to_owned(),
            words(row.reason.as_deref().unwrap_or_default()),
            window.start_ns.to_string(),
            window.end_ns.to_string(),
            words(&row.window_reason),
            words(&hide.masked(&row.capture)),
            row.digest.clone(),
        ]);
        sheet.row(cells);
    }
    sheet
}

/// The table of what was measured on passes.
pub const PASS_MEASURES: About = About {
    name: "pass_measures",
    says: "a row for each pass with all that was measured on it",
    key: &["key"],
    of_passes: true,
};

/// One row a pass: all measures, each in its unit.
pub fn pass_measures(evidence: &Evidence) -> Sheet {
    let mut all = fields(&[("key", Kind::Words, "key of the pass")]);
    all.extend(cell_fields());
    all.extend(Measure::all().map(|measure| Field(measure.key(), Kind::Number, with_unit(measure))));
    let mut sheet = Sheet::new(PASS_MEASURES, all);
    for (cell, pass) in each(evidence) {
        let mut row = vec![pass.row.key.clone()];
        row.extend(names(evidence, cell));
        row.extend(Measure::all().map(|measure| number(pass.measures.value(measure))));
        sheet.row(row);
    }
    sheet
}

/// A measure's name with its unit: `mean power; in W`.
fn with_unit(measure: Measure) -> String {
    match measure.unit() {
        "" => measure.name().to_owned(),
        unit => format!("{}; in {unit}", measure.name()),
    }
}

fn each(evidence: &Evidence) -> impl Iterator<Item = (&CellEvidence, &PassEvidence)> {
    evidence.cells.values().flat_map(|cell| cell.passes.iter().map(move |pass| (cell, pass)))
}

/// The tables that follow from the evidence alone.
///
/// # Errors
/// When what is kept of a reader cannot be read.
pub fn sheets(evidence: &Evidence, names: &Names) -> Result<Vec<Sheet>> {
    Ok(vec![
        cells(evidence),
        passes(evidence, names),
        pass_measures(evidence),
        left_out::sheet(evidence),
        carried::sheet(evidence),
        prices::sheet(evidence),
        readers::told(evidence)?,
        readers::weights(evidence)?,
        readings::sheet(evidence),
    ])
}

/// How a pass stands, in a word.
pub fn standing(pass: &PassEvidence) -> &'static str {
    match pass.standing {
        Standing::Sound => "sound",
        Standing::Flagged => "flagged, not ruled",
        Standing::SetAside => "set aside",
        Standing::RunAgain => "run again",
        Standing::Earlier => "earlier",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn quotes_and_formulas_are_kept_apart() {
        let mut table = Table::new(&["a", "b"]);
        table.row([words("=1+1"), words("say \"so\", twice")]);
        table.row([number(Some(-0.25)), number(None)]);
        assert_eq!(table.into_text(), "a,b\r\n'=1+1,\"say \"\"so\"\", twice\"\r\n-0.25,\r\n");
    }
}
