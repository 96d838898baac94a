//! Delay against frame rate: what generated frames show, what was rendered, and what each step of the factor costs.
//!
//! Generated frames raise the rate that is shown and not the one that is rendered, and the delay from hand to picture
//! follows the latter. So the three stand side by side: shown, rendered (shown / factor) and delay; never one alone.

use std::collections::{BTreeMap, BTreeSet};

use weighhouse_measure::compare::Interval;
use weighhouse_measure::compare::cell::CellValue;
use weighhouse_measure::compare::difference::{Difference, difference};
use weighhouse_measure::compare::front::{self, Place};
use weighhouse_measure::measures::Measure;

use super::evidence::{CellEvidence, Evidence};
use super::{Refusal, Result};
use crate::store::registers::settings::SettingFields;
use crate::store::{CellId, PieceId, SceneId, SettingId, Store, TuningId};

/// A scene at settings that differ in generated frames alone.
#[derive(Clone, Debug, PartialEq)]
pub struct Block {
    /// Which scene.
    pub scene: SceneId,
    /// The setting with the fewest generated frames; the others differ from it in that alone.
    pub setting: SettingId,
    /// By tuning, then by factor.
    pub rows: Vec<Row>,
}

/// A tuning at one factor.
#[derive(Clone, Debug, PartialEq)]
pub struct Row {
    /// How the part was run.
    pub tuning: TuningId,
    /// At which setting.
    pub setting: SettingId,
    /// Its cell.
    pub cell: CellId,
    /// Frames shown for each rendered one.
    pub factor: i64,
    /// Average frame rate as shown, fps.
    pub shown: CellValue,
    /// The rate that was rendered, fps, with its 95% interval.
    pub rendered: (f64, Option<Interval>),
    /// Delay from input to the shown frame, ms; `None` where nobody logged it.
    pub delay: Option<CellValue>,
    /// What the step from the factor before costs, ms.
    pub step: Option<Difference>,
    /// What it costs in all against the smallest factor of the tuning, ms.
    pub in_all: Option<Difference>,
    /// Whether another row of the block beats it in delay and shown rate at once.
    pub place: Option<Place>,
}

/// Reads a piece's evidence with its blocks.
///
/// # Errors
/// When the store fails, or there is no such piece.
pub async fn show(store: &Store, piece: PieceId) -> Result<(Evidence, Vec<Block>)> {
    let evidence = Evidence::of_piece(store, piece).await?.ok_or_else(|| Refusal::missing("piece", piece))?;
    let blocks = blocks(&evidence);
    Ok((evidence, blocks))
}

/// A setting apart from its generated frames.
type Apart = (i64, i64, String, String, String);

fn apart(setting: &SettingFields) -> Apart {
    let f = setting.clone();
    (f.width_px, f.height_px, f.preset, f.ray_tracing, f.upscaling)
}

/// Scenes and settings in which delay was logged, each with all factors that were run.
pub fn blocks(evidence: &Evidence) -> Vec<Block> {
    let mut groups: BTreeMap<(SceneId, Apart), Vec<(&CellEvidence, i64)>> = BTreeMap::new();
    for cell in evidence.cells.values() {
        let Some(setting) = evidence.registers.settings.get(&cell.cell.of.setting_id) else { continue };
        let key = (cell.cell.of.scene_id, apart(&setting.fields));
        groups.entry(key).or_default().push((cell, setting.fields.generated));
    }
    let logged = |cells: &[(&CellEvidence, i64)]| {
        cells.iter().any(|(cell, _)| !evidence.logs(cell, Measure::LatencyMs).is_empty())
    };
    groups
        .into_iter()
        .filter(|(_, cells)| logged(cells))
        .filter_map(|((scene, _), mut cells)| {
            cells.sort_by_key(|(cell, factor)| (cell.cell.part_id, cell.cell.of.tuning_id, *factor));
            let setting = cells.iter().min_by_key(|(_, factor)| *factor)?.0.cell.of.setting_id;
            Some(Block { scene, setting, rows: rows(evidence, &cells) })
        })
        .collect()
}

fn rows(evidence: &Evidence, cells: &[(&CellEvidence, i64)]) -> Vec<Row> {
    let mut rows: Vec<Row> = Vec::new();
    for (cell, factor) in cells {
        let Some(shown) = evidence.value(cell, Measure::AverageFps) else { continue };
        let share = *factor as f64;
        let rendered = (
            shown.value / share,
            shown.interval.map(|i| Interval { low: i.low / share, high: i.high / share }),
        );
        let delay = evidence.value(cell, Measure::LatencyMs);
        let own = |row: &&Row| row.tuning == cell.cell.of.tuning_id && row.delay.is_some();
        let more = |row: &Row| Some(difference(row.delay.as_ref()?, delay.as_ref()?));
        let step = rows.iter().rev().find(own).and_then(more);
        let in_all = rows.iter().find(own).and_then(more);
        rows.push(Row {
            tuning: cell.cell.of.tuning_id,
            setting: cell.cell.of.setting_id,
            cell: cell.cell.id,
            factor: *factor,
            shown,
            rendered,
            delay,
            step,
            in_all,
            place: None,
        });
    }
    place(&mut rows);
    rows
}

fn place(rows: &mut [Row]) {
    let there: Vec<usize> = (0..rows.len()).filter(|at| rows[*at].delay.is_some()).collect();
    let choices: Vec<front::Choice> = there
        .iter()
        .filter_map(|at| Some((rows[*at].delay.as_ref()?, &rows[*at].shown)))
        .map(|(delay, shown)| front::Choice {
            cost: delay.value,
            gain: shown.value,
            cost_interval: delay.interval,
            gain_interval: shown.interval,
        })
        .collect();
    for (at, place) in there.into_iter().zip(front::places(&choices)) {
        rows[at].place = Some(place);
    }
}

/// The block that an address names by scene and setting; the first one where it names none.
///
/// # Errors
/// Refused when no delay was logged there.
pub fn pick(blocks: Vec<Block>, scene: &str, setting: &str) -> Result<Option<Block>> {
    if scene.is_empty() && setting.is_empty() {
        return Ok(blocks.into_iter().next());
    }
    let named = |block: &Block| block.scene.to_string() == scene && block.setting.to_string() == setting;
    let found = blocks.into_iter().find(named);
    found.map(Some).ok_or_else(|| Refusal::missing("logged delay", format!("{scene} at {setting}")).into())
}

/// Factors that a block was run at.
pub fn factors(block: &Block) -> BTreeSet<i64> {
    block.rows.iter().map(|row| row.factor).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::registers::settings::Setting;
    use crate::work::made_up::{self, SETTING, add_cell};

    /// Common practice, no source: latency 31, 36, 39 and 40 ms at factors 1 to 4.
    const TRADE: [(i64, f64, f64); 4] =
        [(1, 60.0, 31.0), (2, 106.0, 36.0), (3, 150.0, 39.0), (4, 212.0, 40.0)];

    fn evidence() -> Evidence {
        let mut evidence = made_up::piece(1, 1);
        for (factor, fps, delay) in TRADE {
            let id = SettingId(factor);
            let mut fields = evidence.registers.settings[&SETTING].fields.clone();
            (fields.name, fields.generated) = (format!("{factor} for 1"), factor);
            evidence.registers.settings.insert(id, Setting { id, fields, version: 1 });
            let cell_id = add_cell(&mut evidence, 1, 1, &[fps, fps * 1.01, fps * 0.99]);
            let mut cell = evidence.cells.remove(&cell_id).unwrap();
            (cell.cell.id, cell.cell.of.setting_id) = (CellId(1000 + factor), id);
            for (pass, off) in cell.passes.iter_mut().zip([0.0, 0.2, -0.2]) {
                pass.measures.latency_ms = Some(delay + off);
            }
            evidence.cells.insert(cell.cell.id, cell);
        }
        evidence
    }

    #[test]
    fn each_step_of_the_factor_has_its_cost() {
        let blocks = blocks(&evidence());
        let [block] = blocks.as_slice() else { panic!("{blocks:?}") };
        assert_eq!(block.setting, SettingId(1));
        let steps: Vec<i32> = block
            .rows
            .iter()
            .filter_map(|row| row.step)
            .map(|s| format!("{:.0}", s.value).parse().unwrap())
            .collect();
        assert_eq!(steps, [5, 3, 1]);
        let last = &block.rows[3];
        assert!((last.rendered.0 - 53.0).abs() < 0.01 && (last.in_all.unwrap().value - 9.0).abs() < 0.01);
        let interval = last.step.unwrap().interval.unwrap();
        assert!(interval.holds(1.0) && interval.low > 0.4, "{interval:?}");
        assert!(block.rows.iter().all(|row| row.place == Some(Place::OnFront)));
        assert_eq!(factors(block).into_iter().collect::<Vec<_>>(), [1, 2, 3, 4]);
    }

    #[test]
    fn without_a_logged_delay_there_is_no_block() {
        let mut evidence = made_up::piece(1, 1);
        add_cell(&mut evidence, 1, 1, &[60.0, 61.0]);
        assert_eq!(blocks(&evidence), []);
    }

    #[test]
    fn a_block_is_found_by_its_names() {
        let all = blocks(&evidence());
        assert_eq!(pick(all.clone(), "", "").unwrap(), Some(all[0].clone()));
        assert_eq!(pick(all.clone(), "1", "1").unwrap(), Some(all[0].clone()));
        assert!(pick(all, "1", "4").is_err());
    }
}
