//! Rigs and their bases.

use serde::{Deserialize, Serialize};

use crate::store::audit::{RIG, RIG_BASE};
use crate::store::words::words;
use crate::store::{Db, RigBaseId, RigId, StoreError, Tx, hit};

/// What people type of a rig.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, sqlx::FromRow)]
pub struct RigFields {
    /// Name, unique.
    pub name: String,
    /// Anything else.
    pub note: String,
}

/// A test machine.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, sqlx::FromRow)]
pub struct Rig {
    /// Row id.
    pub id: RigId,
    /// What people typed.
    #[sqlx(flatten)]
    #[serde(flatten)]
    pub fields: RigFields,
    /// For stale forms.
    pub version: i64,
}

/// All rigs, by name.
pub async fn all(db: &mut Db) -> Result<Vec<Rig>, StoreError> {
    Ok(sqlx::query_as("SELECT id, name, note, version FROM rig ORDER BY name").fetch_all(db).await?)
}

/// One rig.
pub async fn by_id(db: &mut Db, id: RigId) -> Result<Option<Rig>, StoreError> {
    Ok(sqlx::query_as("SELECT id, name, note, version FROM rig WHERE id = ?")
        .bind(id)
        .fetch_optional(db)
        .await?)
}

/// Adds a rig.
pub async fn add(tx: &mut Tx<'_>, f: &RigFields) -> Result<RigId, StoreError> {
    let id = sqlx::query_scalar("INSERT INTO rig (name, note) VALUES (?, ?) RETURNING id")
        .bind(&f.name)
        .bind(&f.note)
        .fetch_one(&mut **tx)
        .await
        .map(RigId)?;
    tx.record("add", &RIG, id).await?;
    Ok(id)
}

/// Changes a rig.
pub async fn edit(tx: &mut Tx<'_>, id: RigId, version: i64, f: &RigFields) -> Result<(), StoreError> {
    let done =
        sqlx::query("UPDATE rig SET name = ?, note = ?, version = version + 1 WHERE id = ? AND version = ?")
            .bind(&f.name)
            .bind(&f.note)
            .bind(id)
            .bind(version)
            .execute(&mut **tx)
            .await?;
    hit(&done)?;
    tx.record("edit", &RIG, id).await
}

words! {
    /// How a rig stands.
    Enclosure {
        /// Not said.
        NotSaid = "",
        /// On an open bench.
        OpenBench = "open bench",
        /// In a case.
        Case = "case",
    }
}

/// What people type of a rig's base.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, sqlx::FromRow)]
pub struct RigBaseFields {
    /// Its rig.
    pub rig_id: RigId,
    /// From when on, microseconds UTC.
    pub from_us: i64,
    /// Main board.
    pub board: String,
    /// Processor.
    pub processor: String,
    /// Memory.
    pub memory: String,
    /// Build of the operating system.
    pub os_build: String,
    /// Firmware of the board.
    pub firmware: String,
    /// Cooling.
    pub cooling: String,
    /// Case or open bench.
    pub enclosure: Enclosure,
    /// IANA name of the zone that its loggers write local times in.
    pub time_zone: String,
}

/// The base of a rig from a moment on.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, sqlx::FromRow)]
pub struct RigBase {
    /// Row id.
    pub id: RigBaseId,
    /// What people typed.
    #[sqlx(flatten)]
    #[serde(flatten)]
    pub fields: RigBaseFields,
    /// For stale forms.
    pub version: i64,
}

macro_rules! bases {
    ($rest:literal) => {
        concat!(
            "SELECT id, rig_id, from_us, board, processor, memory, os_build, firmware, cooling, enclosure, time_zone,
                    version FROM rig_base ",
            $rest
        )
    };
}

/// All bases, by rig, newest first.
pub async fn bases(db: &mut Db) -> Result<Vec<RigBase>, StoreError> {
    Ok(sqlx::query_as(bases!("ORDER BY rig_id, from_us DESC")).fetch_all(db).await?)
}

/// One base.
pub async fn base(db: &mut Db, id: RigBaseId) -> Result<Option<RigBase>, StoreError> {
    Ok(sqlx::query_as(bases!("WHERE id = ?")).bind(id).fetch_optional(db).await?)
}

/// The base that a rig had at a moment, microseconds UTC.
pub async fn base_at(db: &mut Db, rig: RigId, at_us: i64) -> Result<Option<RigBase>, StoreError> {
    Ok(sqlx::query_as(bases!("WHERE rig_id = ? AND from_us <= ? ORDER BY from_us DESC LIMIT 1"))
        .bind(rig)
        .bind(at_us)
        .fetch_optional(db)
        .await?)
}

/// Adds a base.
pub async fn add_base(tx: &mut Tx<'_>, f: &RigBaseFields) -> Result<RigBaseId, StoreError> {
    let id = sqlx::query_scalar(
        "INSERT INTO rig_base (rig_id, from_us, board, processor, memory, os_build, firmware, cooling, enclosure,
                               time_zone)
         VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?) RETURNING id",
    )
    .bind(f.rig_id)
    .bind(f.from_us)
    .bind(&f.board)
    .bind(&f.processor)
    .bind(&f.memory)
    .bind(&f.os_build)
    .bind(&f.firmware)
    .bind(&f.cooling)
    .bind(f.enclosure)
    .bind(&f.time_zone)
    .fetch_one(&mut **tx)
    .await
    .map(RigBaseId)?;
    tx.record("add", &RIG_BASE, id).await?;
    Ok(id)
}

/// Changes a base; it stays with its rig.
pub async fn edit_base(
    tx: &mut Tx<'_>,
    id: RigBaseId,
    version: i64,
    f: &RigBaseFields,
) -> Result<(), StoreError> {
    let done = sqlx::query(
        "UPDATE rig_base SET from_us = ?, board = ?, processor = ?, memory = ?, os_build = ?, firmware = ?,
                cooling = ?, enclosure = ?, time_zone = ?, version = version + 1
         WHERE id = ? AND version = ?",
    )
    .bind(f.from_us)
    .bind(&f.board)
    .bind(&f.processor)
    .bind(&f.memory)
    .bind(&f.os_build)
    .bind(&f.firmware)
    .bind(&f.cooling)
    .bind(f.enclosure)
    .bind(&f.time_zone)
    .bind(id)
    .bind(version)
    .execute(&mut **tx)
    .await?;
    hit(&done)?;
    tx.record("edit", &RIG_BASE, id).await
}
