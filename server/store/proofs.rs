//! Photos and logs that show a reading, byte for byte.

use std::collections::BTreeMap;

use serde::Serialize;

use super::audit::PROOF;
use super::captures::CHUNK_BYTES;
use super::words::words;
use super::{Db, ProofId, ReadingId, StoreError, Tx};

words! {
    /// What a file is, by its content.
    ProofKind {
        /// A photo.
        Jpeg = "JPEG",
        /// A picture.
        Png = "PNG",
        /// A photo or picture.
        WebP = "WebP",
        /// A document.
        Pdf = "PDF",
        /// Plain text, such as a meter's log.
        Text = "text",
    }
}

/// A file that shows a reading.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, sqlx::FromRow)]
pub struct Proof {
    /// Row id.
    pub id: ProofId,
    /// The sitting.
    pub reading_id: ReadingId,
    /// Name as it came.
    pub name: String,
    /// What it is.
    pub kind: ProofKind,
    /// Its length.
    pub bytes: i64,
    /// SHA-256 of its bytes, hexadecimal.
    pub digest: String,
    /// Who brought it.
    pub person: String,
    /// When, microseconds UTC.
    pub at_us: i64,
}

/// What is known of a file.
#[derive(Clone, Debug)]
pub struct NewProof {
    /// Name as it came.
    pub name: String,
    /// What it is.
    pub kind: ProofKind,
    /// SHA-256 of its bytes.
    pub digest: [u8; 32],
}

macro_rules! proofs {
    ($rest:literal) => {
        concat!(
            "SELECT f.id, reading_id, f.name, kind, bytes, lower(hex(digest)) AS digest, p.name AS person, at_us
             FROM proof AS f JOIN person AS p ON p.id = f.person_id ",
            $rest
        )
    };
}

/// The files of a sitting, oldest first.
pub async fn of_reading(db: &mut Db, reading: ReadingId) -> Result<Vec<Proof>, StoreError> {
    Ok(sqlx::query_as(proofs!("WHERE reading_id = ? ORDER BY f.id")).bind(reading).fetch_all(db).await?)
}

/// How many files each sitting has that has any.
pub async fn counts(db: &mut Db) -> Result<BTreeMap<ReadingId, i64>, StoreError> {
    let all: Vec<(ReadingId, i64)> =
        sqlx::query_as("SELECT reading_id, count(*) FROM proof GROUP BY reading_id").fetch_all(db).await?;
    Ok(all.into_iter().collect())
}

/// One of them.
pub async fn by_id(db: &mut Db, id: ProofId) -> Result<Option<Proof>, StoreError> {
    Ok(sqlx::query_as(proofs!("WHERE f.id = ?")).bind(id).fetch_optional(db).await?)
}

/// Adds a file with its bytes. [`StoreError::Conflict`] on `proof.reading_id` when the sitting has it already.
pub async fn add(
    tx: &mut Tx<'_>,
    reading: ReadingId,
    new: &NewProof,
    bytes: &[u8],
) -> Result<ProofId, StoreError> {
    let length = i64::try_from(bytes.len()).unwrap_or(i64::MAX);
    let id = sqlx::query_scalar(
        "INSERT INTO proof (reading_id, name, kind, bytes, digest, person_id, at_us) VALUES (?, ?, ?, ?, ?, ?, ?)
         RETURNING id",
    )
    .bind(reading)
    .bind(&new.name)
    .bind(new.kind)
    .bind(length)
    .bind(new.digest.as_slice())
    .bind(tx.by.person())
    .bind(tx.at_us)
    .fetch_one(&mut **tx)
    .await
    .map(ProofId)?;
    for (n, body) in (0_i64..).zip(bytes.chunks(CHUNK_BYTES)) {
        sqlx::query("INSERT INTO proof_chunk (proof_id, n, body) VALUES (?, ?, ?)")
            .bind(id)
            .bind(n)
            .bind(body)
            .execute(&mut **tx)
            .await?;
    }
    tx.record("attach", &PROOF, id).await?;
    Ok(id)
}

/// All bytes of a file, held at once.
pub async fn whole(db: &mut Db, id: ProofId) -> Result<Vec<u8>, StoreError> {
    let chunks: Vec<Vec<u8>> =
        sqlx::query_scalar("SELECT body FROM proof_chunk WHERE proof_id = ? ORDER BY n")
            .bind(id)
            .fetch_all(db)
            .await?;
    Ok(chunks.concat())
}
