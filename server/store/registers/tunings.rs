//! Tunings: how a part is run.

use serde::{Deserialize, Serialize};

use crate::store::audit::TUNING;
use crate::store::{Db, PartId, PersonId, StoreError, TuningId, Tx, hit};

/// The tuning that every part has.
pub const STOCK: &str = "stock";

/// What people type of a tuning.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, sqlx::FromRow)]
pub struct TuningFields {
    /// Its part.
    pub part_id: PartId,
    /// Name, unique for the part.
    pub name: String,
    /// Power limit, watts; none: the part's own.
    pub power_limit_w: Option<i64>,
    /// Offset of the core clock, MHz.
    pub core_offset_mhz: i64,
    /// Offset of the memory clock, MHz.
    pub memory_offset_mhz: i64,
    /// Offset of the voltage, mV.
    pub voltage_offset_mv: i64,
    /// Who read the cautions, where the tuning is past the maker's rated limits.
    pub cautions_read_by: Option<PersonId>,
}

impl TuningFields {
    /// A part as its maker runs it.
    pub fn stock(part_id: PartId) -> Self {
        Self {
            part_id,
            name: STOCK.to_owned(),
            power_limit_w: None,
            core_offset_mhz: 0,
            memory_offset_mhz: 0,
            voltage_offset_mv: 0,
            cautions_read_by: None,
        }
    }
}

/// How a part is run.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, sqlx::FromRow)]
pub struct Tuning {
    /// Row id.
    pub id: TuningId,
    /// What people typed.
    #[sqlx(flatten)]
    #[serde(flatten)]
    pub fields: TuningFields,
    /// For stale forms.
    pub version: i64,
}

macro_rules! tunings {
    ($rest:literal) => {
        concat!(
            "SELECT id, part_id, name, power_limit_w, core_offset_mhz, memory_offset_mhz, voltage_offset_mv,
                    cautions_read_by, version FROM tuning ",
            $rest
        )
    };
}

/// All tunings, by part, 'stock' first.
pub async fn all(db: &mut Db) -> Result<Vec<Tuning>, StoreError> {
    Ok(sqlx::query_as(tunings!("ORDER BY part_id, name <> 'stock', power_limit_w, name"))
        .fetch_all(db)
        .await?)
}

/// One tuning.
pub async fn by_id(db: &mut Db, id: TuningId) -> Result<Option<Tuning>, StoreError> {
    Ok(sqlx::query_as(tunings!("WHERE id = ?")).bind(id).fetch_optional(db).await?)
}

/// Adds a tuning.
pub async fn add(tx: &mut Tx<'_>, f: &TuningFields) -> Result<TuningId, StoreError> {
    let id = sqlx::query_scalar(
        "INSERT INTO tuning (part_id, name, power_limit_w, core_offset_mhz, memory_offset_mhz, voltage_offset_mv,
                             cautions_read_by)
         VALUES (?, ?, ?, ?, ?, ?, ?) RETURNING id",
    )
    .bind(f.part_id)
    .bind(&f.name)
    .bind(f.power_limit_w)
    .bind(f.core_offset_mhz)
    .bind(f.memory_offset_mhz)
    .bind(f.voltage_offset_mv)
    .bind(f.cautions_read_by)
    .fetch_one(&mut **tx)
    .await
    .map(TuningId)?;
    tx.record("add", &TUNING, id).await?;
    Ok(id)
}

/// Changes a tuning; it stays with its part.
pub async fn edit(tx: &mut Tx<'_>, id: TuningId, version: i64, f: &TuningFields) -> Result<(), StoreError> {
    let done = sqlx::query(
        "UPDATE tuning SET name = ?, power_limit_w = ?, core_offset_mhz = ?, memory_offset_mhz = ?,
                voltage_offset_mv = ?, cautions_read_by = ?, version = version + 1
         WHERE id = ? AND version = ?",
    )
    .bind(&f.name)
    .bind(f.power_limit_w)
    .bind(f.core_offset_mhz)
    .bind(f.memory_offset_mhz)
    .bind(f.voltage_offset_mv)
    .bind(f.cautions_read_by)
    .bind(id)
    .bind(version)
    .execute(&mut **tx)
    .await?;
    hit(&done)?;
    tx.record("edit", &TUNING, id).await
}
