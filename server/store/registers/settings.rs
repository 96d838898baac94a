//! Settings: resolution, quality and the rest.

use serde::{Deserialize, Serialize};

use crate::store::audit::SETTING;
use crate::store::{Db, SettingId, StoreError, Tx, hit};

/// What people type of a setting.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, sqlx::FromRow)]
pub struct SettingFields {
    /// Name, unique.
    pub name: String,
    /// Picture width, pixels.
    pub width_px: i64,
    /// Picture height, pixels.
    pub height_px: i64,
    /// Quality preset.
    pub preset: String,
    /// Ray tracing; empty: off.
    pub ray_tracing: String,
    /// Upscaling; empty: native.
    pub upscaling: String,
    /// Shown frames for each rendered one, 1 to 4.
    pub generated: i64,
}

/// A setting.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, sqlx::FromRow)]
pub struct Setting {
    /// Row id.
    pub id: SettingId,
    /// What people typed.
    #[sqlx(flatten)]
    #[serde(flatten)]
    pub fields: SettingFields,
    /// For stale forms.
    pub version: i64,
}

macro_rules! settings {
    ($rest:literal) => {
        concat!(
            "SELECT id, name, width_px, height_px, preset, ray_tracing, upscaling, generated, version FROM setting ",
            $rest
        )
    };
}

/// All settings, by name.
pub async fn all(db: &mut Db) -> Result<Vec<Setting>, StoreError> {
    Ok(sqlx::query_as(settings!("ORDER BY name")).fetch_all(db).await?)
}

/// One setting.
pub async fn by_id(db: &mut Db, id: SettingId) -> Result<Option<Setting>, StoreError> {
    Ok(sqlx::query_as(settings!("WHERE id = ?")).bind(id).fetch_optional(db).await?)
}

/// Adds a setting.
pub async fn add(tx: &mut Tx<'_>, f: &SettingFields) -> Result<SettingId, StoreError> {
    let id = sqlx::query_scalar(
        "INSERT INTO setting (name, width_px, height_px, preset, ray_tracing, upscaling, generated)
         VALUES (?, ?, ?, ?, ?, ?, ?) RETURNING id",
    )
    .bind(&f.name)
    .bind(f.width_px)
    .bind(f.height_px)
    .bind(&f.preset)
    .bind(&f.ray_tracing)
    .bind(&f.upscaling)
    .bind(f.generated)
    .fetch_one(&mut **tx)
    .await
    .map(SettingId)?;
    tx.record("add", &SETTING, id).await?;
    Ok(id)
}

/// Changes a setting.
pub async fn edit(tx: &mut Tx<'_>, id: SettingId, version: i64, f: &SettingFields) -> Result<(), StoreError> {
    let done = sqlx::query(
        "UPDATE setting SET name = ?, width_px = ?, height_px = ?, preset = ?, ray_tracing = ?, upscaling = ?,
                generated = ?, version = version + 1 WHERE id = ? AND version = ?",
    )
    .bind(&f.name)
    .bind(f.width_px)
    .bind(f.height_px)
    .bind(&f.preset)
    .bind(&f.ray_tracing)
    .bind(&f.upscaling)
    .bind(f.generated)
    .bind(id)
    .bind(version)
    .execute(&mut **tx)
    .await?;
    hit(&done)?;
    tx.record("edit", &SETTING, id).await
}
