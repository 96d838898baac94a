//! Readings: sittings with their repeats, and the rulings on these.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use super::audit::{READING, REPEAT, REPEAT_RULING};
use super::rulings::Verdict;
use super::{
    Db, DriverId, PersonId, ReadingId, ReadingKindId, RepeatId, RepeatRulingId, RigBaseId, StoreError,
    TuningId, Tx, UnitId, hit,
};

/// What people type of a sitting, beside its repeats.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, sqlx::FromRow)]
pub struct ReadingFields {
    /// What was read.
    pub kind_id: ReadingKindId,
    /// The part as it was run.
    pub tuning_id: TuningId,
    /// The sample in hand.
    pub unit_id: UnitId,
    /// The rig as it was.
    pub rig_base_id: RigBaseId,
    /// The part's driver.
    pub driver_id: DriverId,
    /// When it was read, microseconds UTC.
    pub at_us: i64,
    /// Level of the room with the part silent, decimal text.
    pub background: Option<String>,
    /// Air before the cooler, degrees Celsius, decimal text.
    pub ambient_c: Option<String>,
    /// Temperature of the part, degrees Celsius, decimal text.
    pub part_c: Option<String>,
    /// Fan speed that was set, 1/min; none: the maker's fan curve.
    pub fan_rpm: Option<i64>,
    /// Anything else.
    pub note: String,
}

/// What an instrument showed, with how people ruled on it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, sqlx::FromRow)]
pub struct RepeatRow {
    /// Row id.
    pub id: RepeatId,
    /// Its sitting.
    pub reading_id: ReadingId,
    /// From 1 on.
    pub n: i64,
    /// Decimal text, as it was written down.
    pub value: String,
    /// The newest ruling.
    #[serde(skip)]
    pub ruling: Option<RepeatRulingId>,
    /// Who made it.
    #[serde(skip)]
    pub ruler: Option<PersonId>,
    /// What it says.
    pub verdict: Option<Verdict>,
    /// Its reason.
    pub reason: Option<String>,
    /// Name of who ruled.
    pub ruled_by: Option<String>,
    /// When, microseconds UTC.
    pub ruled_us: Option<i64>,
}

/// A sitting.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, sqlx::FromRow)]
pub struct Reading {
    /// Row id.
    pub id: ReadingId,
    /// Its key in addresses and digests.
    pub key: String,
    /// What people typed.
    #[sqlx(flatten)]
    pub fields: ReadingFields,
    /// Its repeats, in order.
    #[sqlx(skip)]
    pub repeats: Vec<RepeatRow>,
    /// Label of its unit.
    pub unit: String,
    /// Name of its rig.
    pub rig: String,
    /// Who brought it.
    pub person_id: PersonId,
    /// Their name.
    pub person: String,
    /// When it was entered, microseconds UTC.
    pub made_us: i64,
    /// For stale forms.
    pub version: i64,
}

impl RepeatRow {
    /// For stale forms: the newest ruling, 0 without one.
    pub fn version(&self) -> i64 {
        self.ruling.map_or(0, |ruling| ruling.0)
    }

    /// Whether it counts: until a person rules it out.
    pub fn counts(&self) -> bool {
        !matches!(self.verdict, Some(Verdict::SetAside | Verdict::RunAgain))
    }
}

macro_rules! readings {
    ($rest:literal) => {
        concat!(
            "SELECT r.id, key, kind_id, tuning_id, unit_id, rig_base_id, driver_id, at_us, background, ambient_c, part_c,
                    fan_rpm, r.note, u.label AS unit, g.name AS rig, person_id, p.name AS person, made_us, r.version
             FROM reading AS r JOIN person AS p ON p.id = r.person_id JOIN unit AS u ON u.id = r.unit_id
             JOIN rig_base AS b ON b.id = r.rig_base_id JOIN rig AS g ON g.id = b.rig_id ",
            $rest
        )
    };
}

macro_rules! repeats {
    ($rest:literal) => {
        concat!(
            "SELECT t.id, t.reading_id, t.n, t.value, g.id AS ruling, g.person_id AS ruler, g.verdict, g.reason,
                    p.name AS ruled_by, g.at_us AS ruled_us
             FROM repeat AS t
             LEFT JOIN repeat_ruling AS g ON g.id = (SELECT max(id) FROM repeat_ruling WHERE repeat_id = t.id)
             LEFT JOIN person AS p ON p.id = g.person_id ",
            $rest
        )
    };
}

/// All sittings, in the order in which they were entered.
pub async fn all(db: &mut Db) -> Result<Vec<Reading>, StoreError> {
    let mut rows: Vec<Reading> = sqlx::query_as(readings!("ORDER BY r.id")).fetch_all(&mut *db).await?;
    if rows.is_empty() {
        return Ok(Vec::new());
    }
    let repeats: Vec<RepeatRow> =
        sqlx::query_as(repeats!("ORDER BY t.reading_id, t.n")).fetch_all(db).await?;
    let mut of: BTreeMap<ReadingId, Vec<RepeatRow>> = BTreeMap::new();
    for repeat in repeats {
        of.entry(repeat.reading_id).or_default().push(repeat);
    }
    for row in &mut rows {
        row.repeats = of.remove(&row.id).unwrap_or_default();
    }
    Ok(rows)
}

/// One sitting by its key.
pub async fn by_key(db: &mut Db, key: &str) -> Result<Option<Reading>, StoreError> {
    let found: Option<Reading> =
        sqlx::query_as(readings!("WHERE key = ?")).bind(key).fetch_optional(&mut *db).await?;
    let Some(mut reading) = found else { return Ok(None) };
    reading.repeats = sqlx::query_as(repeats!("WHERE t.reading_id = ? ORDER BY t.n"))
        .bind(reading.id)
        .fetch_all(db)
        .await?;
    Ok(Some(reading))
}

/// Adds a sitting with its repeats, in the name of the person who acts.
pub async fn add(
    tx: &mut Tx<'_>,
    key: &str,
    f: &ReadingFields,
    repeats: &[String],
) -> Result<ReadingId, StoreError> {
    let id = sqlx::query_scalar(
        "INSERT INTO reading (key, kind_id, tuning_id, unit_id, rig_base_id, driver_id, at_us, background, ambient_c,
                              part_c, fan_rpm, note, person_id, made_us)
         VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?) RETURNING id",
    )
    .bind(key)
    .bind(f.kind_id)
    .bind(f.tuning_id)
    .bind(f.unit_id)
    .bind(f.rig_base_id)
    .bind(f.driver_id)
    .bind(f.at_us)
    .bind(&f.background)
    .bind(&f.ambient_c)
    .bind(&f.part_c)
    .bind(f.fan_rpm)
    .bind(&f.note)
    .bind(tx.by.person())
    .bind(tx.at_us)
    .fetch_one(&mut **tx)
    .await
    .map(ReadingId)?;
    tx.record("add", &READING, id).await?;
    add_repeats(tx, id, 0, repeats).await?;
    Ok(id)
}

/// Adds repeats to a sitting that has `there` of them.
pub async fn add_repeats(
    tx: &mut Tx<'_>,
    id: ReadingId,
    there: i64,
    values: &[String],
) -> Result<(), StoreError> {
    for (n, value) in (there + 1..).zip(values) {
        let row: RepeatId =
            sqlx::query_scalar("INSERT INTO repeat (reading_id, n, value) VALUES (?, ?, ?) RETURNING id")
                .bind(id)
                .bind(n)
                .bind(value)
                .fetch_one(&mut **tx)
                .await?;
        tx.record("add", &REPEAT, row).await?;
    }
    Ok(())
}

/// Changes what stands around the repeats of a sitting.
pub async fn edit(tx: &mut Tx<'_>, id: ReadingId, version: i64, f: &ReadingFields) -> Result<(), StoreError> {
    let done = sqlx::query(
        "UPDATE reading SET kind_id = ?, tuning_id = ?, unit_id = ?, rig_base_id = ?, driver_id = ?, at_us = ?,
                background = ?, ambient_c = ?, part_c = ?, fan_rpm = ?, note = ?, version = version + 1
         WHERE id = ? AND version = ?",
    )
    .bind(f.kind_id)
    .bind(f.tuning_id)
    .bind(f.unit_id)
    .bind(f.rig_base_id)
    .bind(f.driver_id)
    .bind(f.at_us)
    .bind(&f.background)
    .bind(&f.ambient_c)
    .bind(&f.part_c)
    .bind(f.fan_rpm)
    .bind(&f.note)
    .bind(id)
    .bind(version)
    .execute(&mut **tx)
    .await?;
    hit(&done)?;
    tx.record("edit", &READING, id).await
}

/// Rules on a repeat, in the name of the person who acts.
pub async fn rule(
    tx: &mut Tx<'_>,
    repeat: RepeatId,
    verdict: Verdict,
    reason: &str,
) -> Result<RepeatRulingId, StoreError> {
    let id = sqlx::query_scalar(
        "INSERT INTO repeat_ruling (repeat_id, verdict, reason, person_id, at_us) VALUES (?, ?, ?, ?, ?)
         RETURNING id",
    )
    .bind(repeat)
    .bind(verdict)
    .bind(reason)
    .bind(tx.by.person())
    .bind(tx.at_us)
    .fetch_one(&mut **tx)
    .await
    .map(RepeatRulingId)?;
    tx.record("rule", &REPEAT_RULING, id).await?;
    Ok(id)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::registers::reading_kinds::{self, Better, ReadAt, ReadingKindFields};
    use crate::store::{Actor, audit, testing};

    #[tokio::test]
    async fn a_sitting_is_kept_changed_and_ruled_on_with_a_trail() {
        let (_folder, store) = testing::store().await;
        let team = testing::team(&store).await;
        let by = Actor::Person(team.person);
        let found = store.write(by, async move |tx| {
            let kind = ReadingKindFields {
                name: "noise at 50 cm".to_owned(),
                unit: "dB(A)".to_owned(),
                better: Better::Lower,
                read_at: ReadAt::Air,
                repeats: 3,
                method: String::new(),
            };
            let kind_id = reading_kinds::add(tx, &kind).await?;
            let fewer = ReadingKindFields { repeats: 2, ..kind.clone() };
            reading_kinds::edit(tx, kind_id, 1, &fewer).await?;
            assert!(matches!(reading_kinds::edit(tx, kind_id, 1, &kind).await, Err(StoreError::Stale)));
            assert_eq!(reading_kinds::by_id(tx, kind_id).await?.map(|kind| kind.version), Some(2));
            assert_eq!(reading_kinds::all(tx).await?.len(), 1);
            let fields = ReadingFields {
                kind_id,
                tuning_id: team.tuning,
                unit_id: team.unit,
                rig_base_id: team.base,
                driver_id: team.driver,
                at_us: 5,
                background: Some("30.1".to_owned()),
                ambient_c: None,
                part_c: None,
                fan_rpm: None,
                note: String::new(),
            };
            let id = add(tx, "r1", &fields, &["41.2".to_owned(), "48.0".to_owned()]).await?;
            add_repeats(tx, id, 2, &["41.3".to_owned()]).await?;
            edit(tx, id, 1, &ReadingFields { fan_rpm: Some(1200), ..fields.clone() }).await?;
            assert!(matches!(edit(tx, id, 1, &fields).await, Err(StoreError::Stale)));
            let second = by_key(tx, "r1").await?.map(|reading| reading.repeats[1].id);
            rule(tx, second.unwrap_or(RepeatId(0)), Verdict::SetAside, "a door").await?;
            assert_eq!(by_key(tx, "r2").await?, None);
            Ok::<_, StoreError>((all(tx).await?, by_key(tx, "r1").await?))
        });
        let (all, one) = found.await.unwrap();
        let one = one.unwrap();
        assert_eq!(all, std::slice::from_ref(&one));
        assert_eq!(one.fields.fan_rpm, Some(1200));
        assert_eq!(one.repeats.iter().map(RepeatRow::counts).collect::<Vec<_>>(), [true, false, true]);
        assert_eq!(one.repeats[1].reason.as_deref(), Some("a door"));
        assert_eq!(audit::wrong(&mut store.read().await.unwrap()).await.unwrap(), Vec::<String>::new());
    }
}
