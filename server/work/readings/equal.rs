//! Sound at equal temperatures: where fans were swept, two parts are heard as if each held the same temperature.

use std::collections::BTreeMap;

use weighhouse_measure::readings::level::at_temperature;
use weighhouse_measure::readings::{Scale, told};
use weighhouse_web::format::{self, Unit};

use super::{Group, beside};
use crate::store::{ReadingKindId, RigBaseId, TuningId};
use crate::work::evidence::Evidence;

/// A part's swept levels: temperature of the part and level.
type Sweep = Vec<(f64, f64)>;

/// What can be said of a kind, a sentence for each part beside the baseline in each rig; nothing where no two were
/// swept over temperatures that both reached.
pub fn sentences(evidence: &Evidence, kind: ReadingKindId) -> Vec<String> {
    let groups = evidence.readings.groups();
    let mut swept: BTreeMap<(RigBaseId, TuningId), (Sweep, &Group<'_>)> = BTreeMap::new();
    for group in groups.iter().filter(|group| group.of.reading == kind && group.scale() == Scale::Level) {
        if let (Some(_), Some(celsius), Some(told)) = (group.of.fan_rpm, temperature(group), group.told()) {
            let of = swept.entry((group.of.base, group.of.tuning)).or_insert((Vec::new(), group));
            of.0.push((celsius, told.value));
        }
    }
    let Some(part) = evidence.piece.fields.baseline_part_id else { return Vec::new() };
    let of_baseline = |tuning: TuningId| evidence.part_of(tuning) == Some(part);
    let mut said = Vec::new();
    for ((base, tuning), (sweep, group)) in swept.iter().filter(|((_, tuning), _)| !of_baseline(*tuning)) {
        let baseline = swept.iter().find(|((other, of), _)| other == base && of_baseline(*of));
        let Some(((_, baseline), (other, _))) = baseline else { continue };
        let Some(celsius) = common(sweep, other) else { continue };
        let levels = (at_temperature(sweep, celsius), at_temperature(other, celsius));
        let (Some(own), Some(of_other)) = levels else { continue };
        let level = |value: f64| format::text_in(&format::fixed(value, 1), &group.kind.fields.unit);
        said.push(format!(
            "At {} of the part in {}: {} {}, {} {}; {}.",
            format::text_in(&format::fixed(celsius, 0), Unit::C.sign()),
            group.sittings.first().map_or("", |sitting| sitting.rig.as_str()),
            evidence.registers.tuning_name(*baseline),
            level(of_other),
            evidence.registers.tuning_name(*tuning),
            level(own),
            beside(Scale::Level, own, of_other),
        ));
    }
    said
}

/// Mean temperature of the part over the sittings; `None` where one does not say it.
fn temperature(group: &Group<'_>) -> Option<f64> {
    let each = group.sittings.iter().map(|sitting| {
        let value = sitting.fields.part_c.as_deref()?.parse().ok()?;
        Some(weighhouse_measure::readings::Repeat { value, step: 0.0, background: None })
    });
    told(Scale::Amount, &each.collect::<Option<Vec<_>>>()?).map(|told| told.value)
}

/// The whole degree in the middle of what both reached.
fn common(a: &Sweep, b: &Sweep) -> Option<f64> {
    let range = |sweep: &Sweep| {
        let low = sweep.iter().map(|(celsius, _)| *celsius).reduce(f64::min)?;
        let high = sweep.iter().map(|(celsius, _)| *celsius).reduce(f64::max)?;
        Some((low, high))
    };
    let ((low_a, high_a), (low_b, high_b)) = (range(a)?, range(b)?);
    let (low, high) = (low_a.max(low_b), high_a.min(high_b));
    let middle = ((low + high) / 2.0).round();
    (low < high && low <= middle && middle <= high).then_some(middle)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn parts_are_heard_at_a_temperature_that_both_reached() {
        let sweep =
            |temperatures: &[f64]| temperatures.iter().map(|celsius| (*celsius, 40.0)).collect::<Sweep>();
        assert_eq!(common(&sweep(&[62.5, 67.0, 73.0]), &sweep(&[66.5, 72.0, 79.0])), Some(70.0));
        assert_eq!(common(&sweep(&[60.0, 65.0]), &sweep(&[70.0, 75.0])), None);
        assert_eq!(common(&sweep(&[60.0]), &sweep(&[60.0])), None);
        assert_eq!(common(&Vec::new(), &sweep(&[60.0])), None);
    }
}
