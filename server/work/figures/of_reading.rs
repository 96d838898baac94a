//! Figures of readings: their value, what they rest on, their name and how they were come by.
//!
//! They rest on no pass and no noise prior: their canonical fields (see [`super::digest`]) are the kind's, the part's
//! as it is run, and for each reading by its key what stands around the repeats and each repeat with whether it
//! counts.

use weighhouse_measure::readings::{Scale, VERSION};
use weighhouse_web::format::{self, Unit};

use super::digest::{Fields, driver_text, tuning_fields};
use super::value::Valued;
use crate::store::readings::Reading;
use crate::work::evidence::Evidence;
use crate::work::readings::{Group, Of};

/// Values from which on a single repeat has no decimal place in print.
const LARGE: f64 = 1000.0;

/// The value; `None` where no repeat counts.
pub(super) fn value(evidence: &Evidence, of: Of) -> Option<Valued> {
    let group = evidence.readings.group(of)?;
    let told = group.told()?;
    let behind = group.kind.fields.unit.clone();
    let plain = Valued::plain(told.value, told.interval, Unit::One);
    Some(Valued { passes: told.repeats, behind, ..plain })
}

/// Decimal places where no interval is known.
pub(super) fn places(value: f64) -> i32 {
    if value.abs() >= LARGE { 0 } else { 1 }
}

/// 'Tarnwick Curlew, birch, in a case, maker's fan curve: noise at 50 cm'.
pub(super) fn name(evidence: &Evidence, of: Of) -> String {
    let Some(group) = evidence.readings.group(of) else { return "reading".to_owned() };
    format!("{}, {}: {}", group.subject(evidence), group.place(evidence), group.kind.fields.name)
}

/// How it was come by, in a sentence.
pub(super) fn method(evidence: &Evidence, of: Of, valued: &Valued) -> String {
    let Some(group) = evidence.readings.group(of) else { return String::new() };
    let count =
        |n: usize, one: &str, many: &str| format::plural(u64::try_from(n).unwrap_or(u64::MAX), one, many);
    let mean = match group.scale() {
        Scale::Level => "energy mean",
        Scale::Amount => "arithmetic mean",
    };
    let repeats = count(valued.passes, "kept repeat", "kept repeats");
    let sittings = count(group.sittings.len(), "sitting", "sittings");
    let interval = match valued.interval {
        Some(_) => "95% interval by Student's t, with the step of the instrument",
        None => "no interval: one repeat",
    };
    let background = match group.sittings.iter().filter(|sitting| sitting.fields.background.is_some()).count()
    {
        0 => "",
        n if n == group.sittings.len() => ", background taken off as energy",
        _ => ", background taken off as energy where it was read",
    };
    let sample = match group.units().len() {
        1 => "; one sample",
        _ => "",
    };
    let method = &group.kind.fields.method;
    let how = if method.is_empty() { String::new() } else { format!(" Read: {method}") };
    let name = format::sentence(&group.kind.fields.name);
    format!("{name}: {mean} of {repeats} in {sittings}{background}; {interval}{sample}.{how}")
}

/// What it rests on.
pub(super) fn fields(evidence: &Evidence, of: Of) -> Fields {
    let mut fields = Fields::default();
    fields.add("format", super::digest::FORMAT);
    fields.add("kind", "reading");
    fields.add("readings version", VERSION);
    let Some(group) = evidence.readings.group(of) else { return fields };
    let kind = &group.kind.fields;
    fields.add("reading: name", &kind.name);
    fields.add("reading: unit", &kind.unit);
    fields.add("reading: read at", kind.read_at.as_str());
    fields.add("reading: better", kind.better.as_str());
    fields.add("reading: method", &kind.method);
    tuning_fields(&mut fields, evidence, "part", of.tuning);
    let mut sittings = group.sittings.clone();
    sittings.sort_by(|a, b| a.key.cmp(&b.key));
    sittings.into_iter().for_each(|sitting| sitting_fields(&mut fields, evidence, &group, sitting));
    fields
}

fn sitting_fields(fields: &mut Fields, evidence: &Evidence, group: &Group<'_>, sitting: &Reading) {
    let f = &sitting.fields;
    let text = |of: &Option<String>| of.clone().unwrap_or_default();
    let mut add = |name: &str, value: String| fields.add(format!("reading {}: {name}", sitting.key), value);
    add("at", f.at_us.to_string());
    add("unit", sitting.unit.clone());
    add("driver", driver_text(evidence, f.driver_id));
    add("background", text(&f.background));
    add("ambient", text(&f.ambient_c));
    add("part temperature", text(&f.part_c));
    add("fan", group.of.fan_rpm.map_or_else(String::new, |rpm| rpm.to_string()));
    add("rig", sitting.rig.clone());
    if let Some(base) = evidence.registers.bases.get(&f.rig_base_id).map(|base| &base.fields) {
        add("rig from", base.from_us.to_string());
        add("cooling", base.cooling.clone());
        add("enclosure", base.enclosure.as_str().to_owned());
    }
    for repeat in &sitting.repeats {
        let counts = if repeat.counts() { "counts" } else { "set aside" };
        add(&format!("repeat {}", repeat.n), format!("{}, {counts}", repeat.value));
    }
}
