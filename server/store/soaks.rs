//! Soaks: sensor logs without frames, each of a part in a rig.

use serde::{Deserialize, Serialize};

use super::audit::SOAK;
use super::{Db, DriverId, RigBaseId, SegmentId, SoakId, StoreError, TuningId, Tx, UnitId, hit};

/// What people say of a soak.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, sqlx::FromRow)]
pub struct SoakFields {
    /// Its log.
    pub segment_id: SegmentId,
    /// The part as it was run.
    pub tuning_id: TuningId,
    /// The sample in hand.
    pub unit_id: UnitId,
    /// The rig as it was.
    pub rig_base_id: RigBaseId,
    /// The part's driver.
    pub driver_id: DriverId,
    /// Air before the cooler, degrees Celsius, decimal text.
    pub ambient_c: Option<String>,
    /// What it ran meanwhile.
    pub note: String,
}

/// A soak.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, sqlx::FromRow)]
pub struct Soak {
    /// Row id.
    pub id: SoakId,
    /// Its key in addresses.
    pub key: String,
    /// What people say of it.
    #[sqlx(flatten)]
    #[serde(flatten)]
    pub fields: SoakFields,
    /// Label of its unit.
    pub unit: String,
    /// Name of its rig.
    pub rig: String,
    /// File name of its capture.
    pub capture: String,
    /// UTC nanoseconds of its first row, where the log has a wall clock.
    pub wall_start_ns: Option<i64>,
    /// From its first row to the last, ns.
    pub span_ns: i64,
    /// Who said that it is one.
    pub person: String,
    /// When, microseconds UTC.
    pub made_us: i64,
    /// For stale forms.
    pub version: i64,
}

macro_rules! soaks {
    ($rest:literal) => {
        concat!(
            "SELECT k.id, key, segment_id, tuning_id, unit_id, rig_base_id, driver_id, ambient_c, k.note,
                    u.label AS unit, g.name AS rig, c.name AS capture, wall_start_ns, span_ns, p.name AS person, made_us,
                    k.version
             FROM soak AS k JOIN segment AS s ON s.id = segment_id JOIN capture AS c ON c.id = s.capture_id
             JOIN unit AS u ON u.id = unit_id JOIN rig_base AS b ON b.id = rig_base_id JOIN rig AS g ON g.id = b.rig_id
             JOIN person AS p ON p.id = k.person_id ",
            $rest
        )
    };
}

/// All soaks, in the order in which they were added.
pub async fn all(db: &mut Db) -> Result<Vec<Soak>, StoreError> {
    Ok(sqlx::query_as(soaks!("ORDER BY k.id")).fetch_all(db).await?)
}

/// One of them.
pub async fn by_key(db: &mut Db, key: &str) -> Result<Option<Soak>, StoreError> {
    Ok(sqlx::query_as(soaks!("WHERE key = ?")).bind(key).fetch_optional(db).await?)
}

/// Says that a log is a soak. [`StoreError::Conflict`] on `soak.segment_id` when it is one already.
pub async fn add(tx: &mut Tx<'_>, key: &str, f: &SoakFields) -> Result<SoakId, StoreError> {
    let id = sqlx::query_scalar(
        "INSERT INTO soak (key, segment_id, tuning_id, unit_id, rig_base_id, driver_id, ambient_c, note, person_id, made_us)
         VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?) RETURNING id",
    )
    .bind(key)
    .bind(f.segment_id)
    .bind(f.tuning_id)
    .bind(f.unit_id)
    .bind(f.rig_base_id)
    .bind(f.driver_id)
    .bind(&f.ambient_c)
    .bind(&f.note)
    .bind(tx.by.person())
    .bind(tx.at_us)
    .fetch_one(&mut **tx)
    .await
    .map(SoakId)?;
    tx.record("add", &SOAK, id).await?;
    Ok(id)
}

/// Takes one back: its log waits again.
pub async fn remove(tx: &mut Tx<'_>, id: SoakId, version: i64) -> Result<(), StoreError> {
    let done = sqlx::query("DELETE FROM soak WHERE id = ? AND version = ?")
        .bind(id)
        .bind(version)
        .execute(&mut **tx)
        .await?;
    hit(&done)?;
    tx.record("take back", &SOAK, id).await
}

#[cfg(test)]
mod tests {
    use weighhouse_measure::recording::Kind;

    use super::*;
    use crate::store::{Actor, audit, segments, testing};

    #[tokio::test]
    async fn a_log_that_is_a_soak_waits_no_more_until_it_is_taken_back() {
        let (_folder, store) = testing::store().await;
        let team = testing::team(&store).await;
        let segment_id = testing::segment(&store, "warm", Kind::Companion, 100).await;
        let fields = SoakFields {
            segment_id,
            tuning_id: team.tuning,
            unit_id: team.unit,
            rig_base_id: team.base,
            driver_id: team.driver,
            ambient_c: Some("22.5".to_owned()),
            note: String::new(),
        };
        let seen = store.write(Actor::Person(team.person), async move |tx| {
            let before = segments::waiting(tx).await?.len();
            let id = add(tx, "s1", &fields).await?;
            let during = segments::waiting(tx).await?.len();
            let there = (all(tx).await?.len(), by_key(tx, "s1").await?.map(|soak| soak.rig));
            assert!(matches!(remove(tx, id, 2).await, Err(StoreError::Stale)));
            remove(tx, id, 1).await?;
            Ok::<_, StoreError>((before, during, segments::waiting(tx).await?.len(), there))
        });
        assert_eq!(seen.await.unwrap(), (1, 0, 1, (1, Some("alder".to_owned()))));
        assert_eq!(audit::wrong(&mut store.read().await.unwrap()).await.unwrap(), Vec::<String>::new());
    }
}
