//! Keys that may only upload, for one rig.

use serde::Serialize;

use super::audit::RIG_KEY;
use super::{Db, PersonId, RigId, RigKeyId, StoreError, Tx, hit};

/// A rig key.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, sqlx::FromRow)]
pub struct RigKey {
    /// Row id.
    pub id: RigKeyId,
    /// The rig it uploads for.
    pub rig_id: RigId,
    /// That rig's name.
    pub rig: String,
    /// What it is called.
    pub label: String,
    /// Who made it.
    pub made_by: PersonId,
    /// When, microseconds UTC.
    pub made_us: i64,
    /// Last upload, microseconds UTC.
    pub last_used_us: Option<i64>,
    /// When it was taken back.
    pub revoked_us: Option<i64>,
}

macro_rules! rig_keys {
    ($rest:literal) => {
        concat!(
            "SELECT k.id, rig_id, r.name AS rig, label, made_by, made_us, last_used_us, revoked_us
             FROM rig_key AS k JOIN rig AS r ON r.id = k.rig_id ",
            $rest
        )
    };
}

/// All keys, by rig, newest first.
pub async fn all(db: &mut Db) -> Result<Vec<RigKey>, StoreError> {
    Ok(sqlx::query_as(rig_keys!("ORDER BY r.name, k.id DESC")).fetch_all(db).await?)
}

/// The key whose token has this hash, unless it was taken back.
pub async fn find(db: &mut Db, token_hash: &[u8; 32]) -> Result<Option<RigKey>, StoreError> {
    Ok(sqlx::query_as(rig_keys!("WHERE token_hash = ? AND revoked_us IS NULL"))
        .bind(token_hash.as_slice())
        .fetch_optional(db)
        .await?)
}

/// Makes a key in the name of the person who acts.
pub async fn add(
    tx: &mut Tx<'_>,
    rig: RigId,
    label: &str,
    token_hash: &[u8; 32],
) -> Result<RigKeyId, StoreError> {
    let id = sqlx::query_scalar(
        "INSERT INTO rig_key (rig_id, label, token_hash, made_by, made_us) VALUES (?, ?, ?, ?, ?) RETURNING id",
    )
    .bind(rig)
    .bind(label)
    .bind(token_hash.as_slice())
    .bind(tx.by.person())
    .bind(tx.at_us)
    .fetch_one(&mut **tx)
    .await
    .map(RigKeyId)?;
    tx.record("make rig key", &RIG_KEY, id).await?;
    Ok(id)
}

/// Takes a key back; [`StoreError::Stale`] when it was already.
pub async fn revoke(tx: &mut Tx<'_>, id: RigKeyId) -> Result<(), StoreError> {
    let done = sqlx::query("UPDATE rig_key SET revoked_us = ? WHERE id = ? AND revoked_us IS NULL")
        .bind(tx.at_us)
        .bind(id)
        .execute(&mut **tx)
        .await?;
    hit(&done)?;
    tx.record("revoke rig key", &RIG_KEY, id).await
}

/// Notes that a key was used.
pub async fn used(tx: &mut Tx<'_>, id: RigKeyId) -> Result<(), StoreError> {
    sqlx::query("UPDATE rig_key SET last_used_us = ? WHERE id = ?")
        .bind(tx.at_us)
        .bind(id)
        .execute(&mut **tx)
        .await?;
    Ok(())
}
