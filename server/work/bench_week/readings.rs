//! Enters what the invented team read off instruments.

use weighhouse_demo::{Demo, DemoReading};

use super::{Ids, word};
use crate::chance::Chance;
use crate::store::readings::{self, ReadingFields};
use crate::store::registers::reading_kinds::{self, Better, ReadAt, ReadingKindFields};
use crate::store::rulings::Verdict;
use crate::store::{Actor, ReadingKindId, Store};
use crate::work::{Internal, Result};

/// Repeats that the team wants of each kind.
const WANTED: i64 = 3;

/// Adds the kinds, and each sitting in the name of who read it.
pub(super) async fn add(store: &Store, chance: &Chance, ids: &Ids, week: &Demo) -> Result<()> {
    let mut fields = Vec::new();
    for kind in &week.reading_kinds {
        fields.push(ReadingKindFields {
            name: kind.name.to_owned(),
            unit: kind.unit.to_owned(),
            better: word(Better::parse(kind.better), kind.better)?,
            read_at: word(ReadAt::parse(kind.read_at), kind.read_at)?,
            repeats: WANTED,
            method: kind.method.to_owned(),
        });
    }
    let kinds = store.write(Actor::Person(ids.owner()), async move |tx| {
        let mut kinds = Vec::new();
        for kind in fields {
            kinds.push(reading_kinds::add(tx, &kind).await?);
        }
        Ok::<_, crate::work::Error>(kinds)
    });
    let kinds = kinds.await?;
    for reading in &week.readings {
        let fields = of(reading, ids, week, &kinds);
        let fields =
            fields.ok_or_else(|| Internal("a reading names what the week does not have".to_owned()))?;
        let (key, by) = (chance.key()?, ids.people[reading.by]);
        let repeats: Vec<String> = reading.repeats.iter().map(|&repeat| repeat.to_owned()).collect();
        let aside = reading.set_aside;
        let kept = store.write(Actor::Person(by), async move |tx| {
            readings::add(tx, &key, &fields, &repeats).await?;
            let there = readings::by_key(tx, &key).await?.map_or_else(Vec::new, |reading| reading.repeats);
            if let Some((n, why)) = aside {
                for repeat in there.iter().filter(|repeat| repeat.n == n) {
                    readings::rule(tx, repeat.id, Verdict::SetAside, why).await?;
                }
            }
            Ok::<_, crate::work::Error>(())
        });
        kept.await?;
    }
    Ok(())
}

fn of(reading: &DemoReading, ids: &Ids, week: &Demo, kinds: &[ReadingKindId]) -> Option<ReadingFields> {
    let part = week.tunings.get(reading.tuning)?.part;
    Some(ReadingFields {
        kind_id: *kinds.get(reading.kind)?,
        tuning_id: *ids.tunings.get(reading.tuning)?,
        unit_id: *ids.units.get(part)?,
        rig_base_id: *ids.bases.get(reading.rig)?.first()?,
        driver_id: *ids.drivers.get(*week.piece.drivers.get(part)?)?,
        at_us: reading.at.as_microsecond(),
        background: reading.background.map(str::to_owned),
        ambient_c: None,
        part_c: reading.part_c.map(str::to_owned),
        fan_rpm: reading.fan_rpm,
        note: String::new(),
    })
}
