//! Readings in the pack: a row a group, and what the methods page says of each kind.

use weighhouse_measure::readings::Scale;
use weighhouse_web::format;
use weighhouse_web::pages::methods::{LeftOut, ReadRow};

use super::sheet::{About, Kind, Sheet, fields};
use super::tables::{number, words};
use crate::work::evidence::Evidence;
use crate::work::readings::Group;

/// The table of readings.
pub const READINGS: About = About {
    name: "readings",
    says: "a row for what was read of a part in one place: noise, power at the wall, scores",
    key: &["reading", "part", "tuning", "place"],
    of_passes: false,
};

/// One row a group.
pub fn sheet(evidence: &Evidence) -> Sheet {
    let all = fields(&[
        ("reading", Kind::Words, "what was read"),
        ("of", Kind::Words, "'part', 'wall' (the whole system at the wall) or 'air' (sound beside it)"),
        ("part", Kind::Words, "the part"),
        ("tuning", Kind::Words, "how it is run"),
        ("place", Kind::Words, "rig, how it stands, fan"),
        ("unit", Kind::Words, "unit of value, interval_low and interval_high"),
        ("mean", Kind::Words, "'energy' for levels in decibels, else 'arithmetic'"),
        ("value", Kind::Number, "mean over the repeats that count"),
        ("interval_low", Kind::Number, "lower end of the 95% interval"),
        ("interval_high", Kind::Number, "upper end of the 95% interval"),
        ("repeats", Kind::Whole, "repeats that count"),
        ("set_aside", Kind::Whole, "repeats that a person ruled out"),
        ("samples", Kind::Whole, "units of the part that were read"),
        ("better", Kind::Words, "'higher' or 'lower'"),
    ]);
    let mut sheet = Sheet::new(READINGS, all);
    for group in evidence.readings.groups() {
        sheet.row(row(evidence, &group));
    }
    sheet
}

fn row(evidence: &Evidence, group: &Group<'_>) -> Vec<String> {
    let names = &evidence.registers;
    let tuning = names.tunings.get(&group.of.tuning).map(|tuning| &tuning.fields);
    let told = group.told();
    let (all, kept) = group.counts();
    let kind = &group.kind.fields;
    let mean = if group.scale() == Scale::Level { "energy" } else { "arithmetic" };
    vec![
        words(&kind.name),
        kind.read_at.to_string(),
        tuning.map_or_else(String::new, |tuning| words(&names.part_name(tuning.part_id))),
        tuning.map_or_else(String::new, |tuning| words(&tuning.name)),
        words(&group.place(evidence)),
        words(&kind.unit),
        mean.to_owned(),
        number(told.map(|told| told.value)),
        number(told.and_then(|told| told.interval).map(|interval| interval.low)),
        number(told.and_then(|told| told.interval).map(|interval| interval.high)),
        kept.to_string(),
        (all - kept).to_string(),
        group.units().len().to_string(),
        kind.better.to_string(),
    ]
}

/// Repeats that a person ruled out, each with the reason.
pub fn left_out(evidence: &Evidence) -> Vec<LeftOut> {
    let mut out = Vec::new();
    for group in evidence.readings.groups() {
        let of =
            format!("{}, {}: {}", group.subject(evidence), group.place(evidence), group.kind.fields.name);
        for repeat in
            group.sittings.iter().flat_map(|sitting| &sitting.repeats).filter(|repeat| !repeat.counts())
        {
            out.push(LeftOut {
                what: format!("{of}, repeat {} ({})", repeat.n, repeat.value),
                how: "set aside".to_owned(),
                why: repeat.reason.clone().unwrap_or_default(),
            });
        }
    }
    out
}

/// What the methods page says of each kind that was read.
pub fn methods(evidence: &Evidence) -> Vec<ReadRow> {
    let groups = evidence.readings.groups();
    let kinds = evidence.readings.kinds.values();
    let rows = kinds.filter_map(|kind| {
        let own = || groups.iter().filter(|group| group.of.reading == kind.id);
        let repeats: usize = own().map(|group| group.counts().1).sum();
        let places: Vec<String> = own().map(|group| group.place(evidence)).collect();
        let mut places: Vec<&str> = places.iter().map(String::as_str).collect();
        places.sort_unstable();
        places.dedup();
        let one_sample = own().all(|group| group.units().len() == 1);
        (repeats > 0).then(|| ReadRow {
            name: format!("{}, {}", kind.fields.name, kind.fields.unit),
            method: kind.fields.method.clone(),
            places: places.join("; "),
            repeats: u64::try_from(repeats).unwrap_or(u64::MAX),
            told: format::sentence(match (Scale::of_unit(&kind.fields.unit), one_sample) {
                (Scale::Level, true) => {
                    "energy mean, background taken off where it was read; one sample of each part"
                }
                (Scale::Level, false) => "energy mean, background taken off where it was read",
                (Scale::Amount, true) => "arithmetic mean; one sample of each part",
                (Scale::Amount, false) => "arithmetic mean",
            }),
        })
    });
    rows.collect()
}
