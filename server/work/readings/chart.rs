//! The chart of a kind of reading: each part as it was run and read, with its interval and what it rests on.

use std::collections::{BTreeMap, BTreeSet};

use weighhouse_measure::readings::Scale;
use weighhouse_web::charts::{Amount, Amounts, Caption};
use weighhouse_web::format;

use super::Group;
use crate::store::registers::reading_kinds::{ReadAt, ReadingKind};
use crate::store::{PartId, ReadingKindId, UnitId};
use crate::work::evidence::Evidence;
use crate::work::figures::{What, value};
use crate::work::foot::samples;

/// Chart of one kind, with what a figure of each of its numbers would be; `None` where no repeat of it counts.
pub fn chart(evidence: &Evidence, kind: ReadingKindId) -> Option<(Amounts, Vec<String>)> {
    let all = evidence.readings.groups();
    let groups: Vec<&Group<'_>> = all.iter().filter(|group| group.of.reading == kind).collect();
    let kind = groups.first()?.kind;
    let parts: BTreeSet<Option<PartId>> = groups.iter().map(|group| part(evidence, group)).collect();
    let (mut rows, mut whats, mut places) = (Vec::new(), Vec::new(), None);
    for group in &groups {
        let what = What::from(group.of);
        let valued = value::value(evidence, &what);
        let own = part(evidence, group);
        if let Some(valued) = &valued {
            whats.push(what.json());
            places = Some(places.map_or(valued.places(), |least: i64| least.min(valued.places())));
        }
        rows.push(Amount {
            name: group.subject(evidence),
            note: group.place(evidence),
            series: parts.iter().position(|part| *part == own).unwrap_or(0),
            value: valued.as_ref().map(|valued| valued.value),
            interval: valued.and_then(|valued| valued.interval).map(|ends| (ends.low, ends.high)),
        });
    }
    let levels = Scale::of_unit(&kind.fields.unit) == Scale::Level;
    let chart = Amounts {
        caption: caption(kind, levels, foot(evidence, &groups)),
        axis: kind.fields.name.clone(),
        unit: kind.fields.unit.clone(),
        levels,
        places: i32::try_from(places?).unwrap_or(0),
        rows,
    };
    Some((chart, whats))
}

fn part(evidence: &Evidence, group: &Group<'_>) -> Option<PartId> {
    evidence.part_of(group.of.tuning)
}

fn caption(kind: &ReadingKind, levels: bool, rests_on: String) -> Caption {
    let f = &kind.fields;
    let (subtitle, mean) = if levels {
        (
            "Dot: level. Line: 95% interval. A level has no zero, so that the axis has none.",
            "Energy mean over the repeats that count, the background taken off as energy where it was read",
        )
    } else {
        ("Bar: mean. Line: 95% interval.", "Arithmetic mean over the repeats that count")
    };
    let mut foot = vec![format!("{mean}; interval by Student's t, with the step of the instrument.")];
    if f.read_at == ReadAt::Wall {
        foot.push("Read at the wall: what the whole system takes, not the part.".to_owned());
    }
    if !f.method.is_empty() {
        foot.push(format!("{}.", f.method.trim_end_matches('.')));
    }
    foot.push(rests_on);
    Caption {
        id: format!("readings-{}", kind.id),
        title: format::sentence(&f.name),
        subtitle: format!("{subtitle} {} is better.", format::sentence(f.better.as_str())),
        desc: format!("{} of each part, in {}.", format::sentence(&f.name), f.unit),
        foot,
        draft: false,
    }
}

/// Repeats with those that were ruled out, drivers and samples.
fn foot(evidence: &Evidence, groups: &[&Group<'_>]) -> String {
    let kept: BTreeSet<usize> = groups.iter().map(|group| group.counts().1).filter(|n| *n > 0).collect();
    let repeats = match (kept.first(), kept.last()) {
        (Some(least), Some(most)) if least != most => format!("{least} to {most} repeats each"),
        (Some(only), _) => {
            let only = u64::try_from(*only).unwrap_or(u64::MAX);
            format!("{} each", format::plural(only, "repeat", "repeats"))
        }
        _ => "No repeats".to_owned(),
    };
    let (mut drivers, mut units) =
        (BTreeMap::<String, BTreeSet<&str>>::new(), BTreeMap::<_, BTreeSet<UnitId>>::new());
    for group in groups {
        let name = part(evidence, group).map_or_else(String::new, |part| evidence.registers.part_name(part));
        for sitting in &group.sittings {
            let driver = evidence.registers.drivers.get(&sitting.fields.driver_id);
            drivers.entry(name.clone()).or_default().extend(driver.map(|driver| driver.fields.name.as_str()));
            units.entry(name.clone()).or_default().insert(sitting.fields.unit_id);
        }
    }
    let list = |names: BTreeSet<&str>| names.into_iter().collect::<Vec<_>>().join(", ");
    let drivers: Vec<String> =
        drivers.into_iter().map(|(part, all)| format!("{part} {}", list(all))).collect();
    let out = ruled_out(groups);
    format!("{repeats}{out}; drivers: {}; {}.", drivers.join("; "), samples(&units))
}

/// ` (1 of 9 ruled out: a door or a voice)`; empty: none.
fn ruled_out(groups: &[&Group<'_>]) -> String {
    let all = || groups.iter().flat_map(|group| &group.sittings).flat_map(|sitting| &sitting.repeats);
    let out: Vec<&str> = all()
        .filter(|repeat| !repeat.counts())
        .map(|repeat| repeat.reason.as_deref().unwrap_or(""))
        .collect();
    let why: BTreeSet<&str> = out.iter().copied().collect();
    match out.len() {
        0 => String::new(),
        n => format!(
            " ({n} of {} ruled out: {})",
            all().count(),
            why.into_iter().collect::<Vec<_>>().join("; ")
        ),
    }
}
