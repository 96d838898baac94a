//! Kinds of reading: what the team reads off instruments, defined once.

use serde::{Deserialize, Serialize};

use crate::store::audit::READING_KIND;
use crate::store::words::words;
use crate::store::{Db, ReadingKindId, StoreError, Tx, hit};

words! {
    /// Which way is better.
    Better {
        /// Less is better, as of noise.
        Lower = "lower",
        /// More is better, as of a score.
        Higher = "higher",
    }
}

words! {
    /// What it is a number of.
    ReadAt {
        /// The part.
        Part = "part",
        /// The whole system, at the wall.
        Wall = "wall",
        /// The air beside it: sound.
        Air = "air",
    }
}

/// What people type of a kind of reading.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, sqlx::FromRow)]
pub struct ReadingKindFields {
    /// Name, unique: 'noise at 50 cm'.
    pub name: String,
    /// Unit; what begins with `dB` is a level.
    pub unit: String,
    /// Which way is better.
    pub better: Better,
    /// What it is a number of.
    pub read_at: ReadAt,
    /// Repeats wanted.
    pub repeats: i64,
    /// How it is read, in words.
    pub method: String,
}

/// A kind of reading.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, sqlx::FromRow)]
pub struct ReadingKind {
    /// Row id.
    pub id: ReadingKindId,
    /// What people typed.
    #[sqlx(flatten)]
    #[serde(flatten)]
    pub fields: ReadingKindFields,
    /// For stale forms.
    pub version: i64,
}

macro_rules! kinds {
    ($rest:literal) => {
        concat!("SELECT id, name, unit, better, read_at, repeats, method, version FROM reading_kind ", $rest)
    };
}

/// All kinds, in the order in which they were added.
pub async fn all(db: &mut Db) -> Result<Vec<ReadingKind>, StoreError> {
    Ok(sqlx::query_as(kinds!("ORDER BY id")).fetch_all(db).await?)
}

/// One kind.
pub async fn by_id(db: &mut Db, id: ReadingKindId) -> Result<Option<ReadingKind>, StoreError> {
    Ok(sqlx::query_as(kinds!("WHERE id = ?")).bind(id).fetch_optional(db).await?)
}

/// Adds a kind.
pub async fn add(tx: &mut Tx<'_>, f: &ReadingKindFields) -> Result<ReadingKindId, StoreError> {
    let id = sqlx::query_scalar(
        "INSERT INTO reading_kind (name, unit, better, read_at, repeats, method) VALUES (?, ?, ?, ?, ?, ?)
         RETURNING id",
    )
    .bind(&f.name)
    .bind(&f.unit)
    .bind(f.better)
    .bind(f.read_at)
    .bind(f.repeats)
    .bind(&f.method)
    .fetch_one(&mut **tx)
    .await
    .map(ReadingKindId)?;
    tx.record("add", &READING_KIND, id).await?;
    Ok(id)
}

/// Changes a kind.
pub async fn edit(
    tx: &mut Tx<'_>,
    id: ReadingKindId,
    version: i64,
    f: &ReadingKindFields,
) -> Result<(), StoreError> {
    let done = sqlx::query(
        "UPDATE reading_kind SET name = ?, unit = ?, better = ?, read_at = ?, repeats = ?, method = ?,
                version = version + 1 WHERE id = ? AND version = ?",
    )
    .bind(&f.name)
    .bind(&f.unit)
    .bind(f.better)
    .bind(f.read_at)
    .bind(f.repeats)
    .bind(&f.method)
    .bind(id)
    .bind(version)
    .execute(&mut **tx)
    .await?;
    hit(&done)?;
    tx.record("edit", &READING_KIND, id).await
}
