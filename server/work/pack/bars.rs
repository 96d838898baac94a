//! The bar chart of a setting: averages of the stock parts in each scene, the low as a notch, the interval as a line.

use std::collections::BTreeSet;

use weighhouse_measure::measures::Measure;
use weighhouse_web::charts::{Bar, BarGroup, Bars, Caption};
use weighhouse_web::format::Unit;

use crate::store::{SettingId, TuningId};
use crate::work::evidence::{CellEvidence, Evidence};
use crate::work::figures::What;
use crate::work::foot::foot;

/// Chart of one setting, with what a figure of each of its numbers would be; `None` where it has no value.
pub fn bars(evidence: &Evidence, setting: SettingId) -> Option<(Bars, Vec<String>)> {
    let at_setting = || evidence.cells.values().filter(|cell| cell.cell.of.setting_id == setting);
    let stock = |id: TuningId| evidence.registers.tunings.get(&id).is_some_and(|t| t.fields.name == "stock");
    let tunings: BTreeSet<TuningId> =
        at_setting().map(|c| c.cell.of.tuning_id).filter(|id| stock(*id)).collect();
    let low = evidence.low();
    let (mut groups, mut used) = (Vec::new(), Vec::new());
    for (id, scene) in &evidence.registers.scenes {
        let mut bars = Vec::new();
        for (series, tuning) in tunings.iter().enumerate() {
            let Some(cell) = evidence.cell_of(*tuning, *id, setting) else { continue };
            let average = evidence.value(cell, Measure::AverageFps);
            used.extend(average.is_some().then_some(cell));
            let part = evidence.registers.parts.get(&cell.cell.part_id);
            bars.push(Bar {
                name: part.map_or_else(String::new, |part| part.name()),
                series,
                average: average.as_ref().map(|value| value.value),
                interval: average.and_then(|value| value.interval).map(|i| (i.low, i.high)),
                low: evidence.value(cell, low).map(|value| (value.value, None)),
            });
        }
        if bars.iter().any(|bar| bar.average.is_some()) {
            groups.push(BarGroup { name: format!("{}, {}", scene.fields.game, scene.fields.passage), bars });
        }
    }
    let name = evidence.registers.settings.get(&setting)?.fields.name.clone();
    let whats = used.iter().flat_map(|cell: &&CellEvidence| {
        let cell = cell.cell.id;
        [Measure::AverageFps, low].map(|measure| What::Cell { measure, cell }.json())
    });
    let whats = whats.collect();
    let [passes, builds] = foot(evidence, used);
    let method = "Average: frames divided by the time they took; a cell is the geometric mean over its kept passes, \
                  its interval comes from the spread between passes.";
    let bars = Bars {
        caption: Caption {
            id: format!("bars-{}", setting.0),
            title: format!("Average frame rate, {name}"),
            subtitle: format!("Notch: {}. Line: 95% interval of the average.", low.name()),
            desc: format!("Average frame rate of each part in each scene at {name}, with {}.", low.name()),
            foot: vec![method.to_owned(), passes, builds],
            draft: false,
        },
        axis: "average frame rate".to_owned(),
        low: low.name().to_owned(),
        unit: Unit::Fps,
        groups,
    };
    (!bars.groups.is_empty()).then_some((bars, whats))
}
