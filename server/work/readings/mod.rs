//! Readings of the parts of a piece: values without a frame log, put together from their repeats.
//!
//! What is read of one part at one tuning, in one rig as it was and with one fan speed, belongs together: that is a
//! [`Group`], and a figure can be made of it. Numbers come from [`weighhouse_measure::readings`]; [`keep`] is how
//! people enter them, [`typed`] reads what they type and [`proof`] what a file is; [`equal`] compares sound at equal
//! temperatures, [`chart`] draws a kind.

pub mod chart;
pub mod equal;
pub mod keep;
pub mod proof;
pub mod typed;

use std::collections::{BTreeMap, BTreeSet};

use serde::{Deserialize, Serialize};
use weighhouse_measure::readings::{Repeat, Scale, Told, level, told};
use weighhouse_web::format;

use super::evidence::Evidence;
use crate::store::readings::{self, Reading};
use crate::store::registers::reading_kinds::{self, ReadAt, ReadingKind};
use crate::store::registers::rigs::Enclosure;
use crate::store::{Db, PartId, ReadingKindId, RigBaseId, StoreError, TuningId};

/// The kinds of reading there are, and the readings of a piece's parts.
#[derive(Clone, Debug, Default)]
pub struct Readings {
    /// Kinds.
    pub kinds: BTreeMap<ReadingKindId, ReadingKind>,
    /// In the order in which they were entered.
    pub all: Vec<Reading>,
}

/// The parts that a piece is about: those of its cells, its baseline, and those that it declares a driver for.
pub fn parts(evidence: &Evidence) -> BTreeSet<PartId> {
    let of_cells = evidence.cells.values().map(|cell| cell.cell.part_id);
    let others = evidence.piece.fields.baseline_part_id.into_iter().chain(evidence.declared.keys().copied());
    of_cells.chain(others).collect()
}

/// Leaves the readings of the piece's parts.
pub(super) fn narrow(evidence: &mut Evidence) {
    let parts = parts(evidence);
    let mut all = std::mem::take(&mut evidence.readings.all);
    all.retain(|reading| {
        evidence.part_of(reading.fields.tuning_id).is_some_and(|part| parts.contains(&part))
    });
    evidence.readings.all = all;
}

/// What belongs together.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub struct Of {
    /// What is read.
    pub reading: ReadingKindId,
    /// The part as it is run.
    pub tuning: TuningId,
    /// The rig as it was.
    pub base: RigBaseId,
    /// Fan speed that was set, 1/min; none: the maker's fan curve.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub fan_rpm: Option<i64>,
}

/// Readings that belong together.
#[derive(Clone, Debug)]
pub struct Group<'a> {
    /// What they are of.
    pub of: Of,
    /// Their kind.
    pub kind: &'a ReadingKind,
    /// Sittings, oldest first.
    pub sittings: Vec<&'a Reading>,
}

/// What a sitting belongs to.
pub fn of(reading: &Reading) -> Of {
    let f = &reading.fields;
    Of { reading: f.kind_id, tuning: f.tuning_id, base: f.rig_base_id, fan_rpm: f.fan_rpm }
}

impl Readings {
    /// Reads all kinds and all readings.
    pub(super) async fn read(db: &mut Db) -> Result<Self, StoreError> {
        let kinds = reading_kinds::all(db).await?.into_iter().map(|kind| (kind.id, kind)).collect();
        Ok(Self { kinds, all: readings::all(db).await? })
    }

    /// All groups: kind by kind, in the order of parts, rigs and fan speeds.
    pub fn groups(&self) -> Vec<Group<'_>> {
        let mut by: BTreeMap<Of, Vec<&Reading>> = BTreeMap::new();
        for reading in &self.all {
            by.entry(of(reading)).or_default().push(reading);
        }
        let group =
            |(of, sittings): (Of, Vec<_>)| Some(Group { of, kind: self.kinds.get(&of.reading)?, sittings });
        by.into_iter().filter_map(group).collect()
    }

    /// One group.
    pub fn group(&self, of: Of) -> Option<Group<'_>> {
        let sittings: Vec<&Reading> = self.all.iter().filter(|reading| self::of(reading) == of).collect();
        let kind = self.kinds.get(&of.reading)?;
        (!sittings.is_empty()).then_some(Group { of, kind, sittings })
    }
}

impl Group<'_> {
    /// What the repeats that count say together; `None` where none counts.
    pub fn told(&self) -> Option<Told> {
        let repeats =
            self.sittings.iter().flat_map(|sitting| counting(sitting)).collect::<Option<Vec<Repeat>>>()?;
        told(self.scale(), &repeats)
    }

    /// Whether it is in decibels.
    pub fn scale(&self) -> Scale {
        Scale::of_unit(&self.kind.fields.unit)
    }

    /// Repeats, and how many of them count.
    pub fn counts(&self) -> (usize, usize) {
        let all = || self.sittings.iter().flat_map(|sitting| &sitting.repeats);
        (all().count(), all().filter(|repeat| repeat.counts()).count())
    }

    /// Labels of the units that were read.
    pub fn units(&self) -> BTreeSet<&str> {
        self.sittings.iter().map(|sitting| sitting.unit.as_str()).collect()
    }

    /// What the number is of: 'Tarnwick Curlew (400 W)', 'whole system with Tarnwick Curlew'.
    pub fn subject(&self, evidence: &Evidence) -> String {
        let part = evidence.registers.tuning_name(self.of.tuning);
        match self.kind.fields.read_at {
            ReadAt::Part | ReadAt::Air => part,
            ReadAt::Wall => format!("whole system with {part}"),
        }
    }

    /// Where and how: 'birch, case, maker's fan curve'.
    pub fn place(&self, evidence: &Evidence) -> String {
        let rig = self.sittings.first().map_or("", |sitting| sitting.rig.as_str());
        let stands = evidence.registers.bases.get(&self.of.base).map(|base| base.fields.enclosure);
        let mut words = vec![rig.to_owned()];
        words.push(match stands {
            Some(Enclosure::OpenBench) => "open bench".to_owned(),
            Some(Enclosure::Case) => "in a case".to_owned(),
            Some(Enclosure::NotSaid) | None => "case or open bench not said".to_owned(),
        });
        match (self.of.fan_rpm, self.kind.fields.read_at) {
            (Some(rpm), _) => words.push(format!("fan set to {}", format::whole(Some(rpm), "1/min"))),
            (None, ReadAt::Air) => words.push("maker's fan curve".to_owned()),
            (None, _) => {}
        }
        words.join(", ")
    }

    /// Whether a driver other than the declared one was in it.
    pub fn other_driver(&self, evidence: &Evidence) -> bool {
        let declared = evidence.part_of(self.of.tuning).and_then(|part| evidence.declared.get(&part));
        declared.is_some_and(|declared| self.sittings.iter().any(|s| s.fields.driver_id != *declared))
    }
}

/// The repeats of a sitting that count, as numbers; `None` in place of one that is none.
fn counting(sitting: &Reading) -> impl Iterator<Item = Option<Repeat>> {
    let background = sitting.fields.background.as_deref().map(str::parse::<f64>);
    sitting.repeats.iter().filter(|repeat| repeat.counts()).map(move |repeat| {
        Some(Repeat {
            value: repeat.value.parse().ok()?,
            step: step(&repeat.value),
            background: background.clone().transpose().ok()?,
        })
    })
}

/// The last digit of what was written down: 0.1 of `41.2`, 1 of `318`.
fn step(text: &str) -> f64 {
    let places = text.split_once('.').map_or(0, |(_, places)| places.len());
    (0..places).fold(1.0, |step, _| step / 10.0)
}

/// What a value is beside the baseline's: '3.2 dB more: 1.2 times as loud', '+12.0%'.
pub fn beside(scale: Scale, value: f64, baseline: f64) -> String {
    match scale {
        Scale::Level => {
            let more = value - baseline;
            let way = if more < 0.0 { "less" } else { "more" };
            let by = format::text_in(&format::fixed(more.abs(), 1), "dB");
            format!("{by} {way}: {} times as loud", format::fixed(level::times_as_loud(more), 1))
        }
        Scale::Amount if baseline > 0.0 => format::change(value / baseline),
        Scale::Amount => format::NOTHING.to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_last_digit_that_was_written_is_the_step() {
        for (text, step_of) in [("318", 1.0), ("41.2", 0.1), ("41.20", 0.01)] {
            assert!((step(text) - step_of).abs() < 1e-15, "{text}");
        }
    }

    #[test]
    fn levels_differ_by_decibels_and_amounts_by_per_cent() {
        let said =
            |scale, value, baseline| beside(scale, value, baseline).replace(['\u{a0}', '\u{202f}'], " ");
        assert_eq!(said(Scale::Level, 43.2, 40.0), "3.2 dB more: 1.2 times as loud");
        assert_eq!(said(Scale::Level, 30.0, 40.0), "10.0 dB less: 0.5 times as loud");
        assert_eq!(said(Scale::Amount, 56.0, 50.0), "+12.0%");
        assert_eq!(said(Scale::Amount, 56.0, 0.0), format::NOTHING);
    }
}
