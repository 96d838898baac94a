//! Tables of the pack as CSV (RFC 4180), numbers in full and in the unit that the column names.

use weighhouse_measure::measures::{LowDefinition, Measure, Tail};

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

/// Average, the six lows, and what else a cell or a pass is listed with.
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

fn names(evidence: &Evidence, cell: &CellEvidence) -> [String; 6] {
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

const CELL: [&str; 6] = ["part", "tuning", "game", "passage", "scene_kind", "setting"];

/// One row a cell and measure: value over the kept passes, 95% interval, spread from pass to pass, passes, rigs.
pub fn cells(evidence: &Evidence) -> String {
    let mut headings = CELL.to_vec();
    headings.extend([
        "measure",
        "unit",
        "value",
        "interval_low",
        "interval_high",
        "spread_share",
        "passes",
        "rigs",
        "set_aside",
        "did_not_run",
    ]);
    let mut table = Table::new(&headings);
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
            table.row(row);
        }
    }
    table.into_text()
}

/// One row a pass: what it ran on, how it was ruled on, its measures.
pub fn passes(evidence: &Evidence) -> String {
    let measures = measures();
    let mut headings = CELL.to_vec();
    headings.extend([
        "pass",
        "key",
        "rig",
        "driver",
        "build",
        "standing",
        "reason",
        "window_start_ns",
        "window_end_ns",
        "window_reason",
        "capture",
        "sha256",
        "frames",
    ]);
    headings.extend(measures.iter().map(|measure| measure.key()));
    let mut table = Table::new(&headings);
    for cell in evidence.cells.values() {
        for pass in &cell.passes {
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
                words(&row.capture),
                row.digest.clone(),
                pass.measures.frames.to_string(),
            ]);
            cells.extend(measures.iter().map(|measure| number(pass.measures.value(*measure))));
            table.row(cells);
        }
    }
    table.into_text()
}

/// How a pass stands, in a word.
pub fn standing(pass: &PassEvidence) -> &'static str {
    match pass.standing {
        Standing::Sound => "sound",
        Standing::Flagged => "flagged, not ruled",
        Standing::SetAside => "set aside",
        Standing::RunAgain => "run again",
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
