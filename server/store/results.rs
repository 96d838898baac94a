//! The cache of what measures and screens gave: thrown away and recomputed at will, never edited.

use super::words::words;
use super::{Db, PassId, StoreError, Tx};

words! {
    /// What is kept.
    ResultKind {
        /// Measures with their intervals.
        Measures = "measures",
        /// What screens found on the pass alone.
        Flags = "flags",
    }
}

/// Keeps a result under the key of all it rests on, in the place of the one before.
pub async fn keep(
    tx: &mut Tx<'_>,
    pass: PassId,
    kind: ResultKind,
    key: &str,
    body: &str,
) -> Result<(), StoreError> {
    sqlx::query(
        "INSERT INTO pass_result (pass_id, kind, key, body) VALUES (?, ?, ?, ?)
         ON CONFLICT (pass_id, kind) DO UPDATE SET key = excluded.key, body = excluded.body",
    )
    .bind(pass)
    .bind(kind)
    .bind(key)
    .bind(body)
    .execute(&mut **tx)
    .await?;
    Ok(())
}

/// The result that was kept under this key, if it is the newest.
pub async fn kept(
    db: &mut Db,
    pass: PassId,
    kind: ResultKind,
    key: &str,
) -> Result<Option<String>, StoreError> {
    Ok(sqlx::query_scalar("SELECT body FROM pass_result WHERE pass_id = ? AND kind = ? AND key = ?")
        .bind(pass)
        .bind(kind)
        .bind(key)
        .fetch_optional(db)
        .await?)
}
