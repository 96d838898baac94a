//! Captures: the log files, byte for byte, in compressed chunks.
//!
//! Chunks are staged in short transactions while the capture is not visible yet; [`show`] makes it visible in one
//! last short one. What was staged and never shown is removed by [`remove_staged`].

use futures_util::stream::{self, Stream};
use serde::Serialize;

use super::audit::CAPTURE;
use super::words::words;
use super::{CaptureId, Db, PersonId, RigId, RigKeyId, Store, StoreError, Tx, hit};

/// Bytes of a capture that one chunk holds at most: 1 MiB.
pub const CHUNK_BYTES: usize = 1 << 20;

/// zstd level of the chunks: 180 MB/s at a third of the size.
const ZSTD_LEVEL: i32 = 3;

words! {
    /// What came of reading a capture.
    Outcome {
        /// It was read.
        Read = "read",
        /// A person has to say how.
        Ask = "ask",
        /// It cannot be read; the bytes are kept all the same.
        Refuse = "refuse",
    }
}

/// A visible capture, with the names around it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, sqlx::FromRow)]
pub struct Capture {
    /// Row id.
    pub id: CaptureId,
    /// SHA-256 of its bytes, hexadecimal: its key in addresses.
    pub digest: String,
    /// File name as it came.
    pub name: String,
    /// Its length.
    pub bytes: i64,
    /// When it came, microseconds UTC.
    pub uploaded_us: i64,
    /// Who brought it, if a person.
    pub person_id: Option<PersonId>,
    /// That person's name.
    pub person: Option<String>,
    /// Which key brought it, if a rig.
    pub rig_key_id: Option<RigKeyId>,
    /// The rig it was recorded on, where that is known.
    pub rig_id: Option<RigId>,
    /// Start that somebody gave, microseconds UTC.
    pub start_us: Option<i64>,
    /// SHA-256 of the settings file that it was recorded with, hexadecimal, where the rig sent it.
    pub settings_sha256: Option<String>,
    /// What came of reading it.
    pub outcome: Outcome,
    /// The question or the refusal, in words.
    pub says: String,
    /// The question as JSON, where there is one.
    #[serde(skip)]
    pub question: Option<String>,
    /// For stale forms.
    pub version: i64,
}

macro_rules! captures {
    ($rest:literal) => {
        concat!(
            "SELECT c.id, lower(hex(digest)) AS digest, c.name, bytes, uploaded_us, person_id, p.name AS person,
                    rig_key_id, rig_id, start_us, settings_sha256, outcome, says, question, c.version
             FROM capture AS c LEFT JOIN person AS p ON p.id = c.person_id WHERE visible = 1 ",
            $rest
        )
    };
}

/// The newest captures, at most `count`.
pub async fn newest(db: &mut Db, count: u32) -> Result<Vec<Capture>, StoreError> {
    Ok(sqlx::query_as(captures!("ORDER BY c.id DESC LIMIT ?")).bind(count).fetch_all(db).await?)
}

/// The captures that wait for a person to say how they are read, oldest first.
pub async fn asking(db: &mut Db) -> Result<Vec<Capture>, StoreError> {
    Ok(sqlx::query_as(captures!("AND outcome = 'ask' ORDER BY c.id")).fetch_all(db).await?)
}

/// One capture.
pub async fn by_id(db: &mut Db, id: CaptureId) -> Result<Option<Capture>, StoreError> {
    Ok(sqlx::query_as(captures!("AND c.id = ?")).bind(id).fetch_optional(db).await?)
}

/// The capture with these bytes.
pub async fn by_digest(db: &mut Db, digest: &[u8; 32]) -> Result<Option<Capture>, StoreError> {
    Ok(sqlx::query_as(captures!("AND digest = ?")).bind(digest.as_slice()).fetch_optional(db).await?)
}

/// Whether there is a capture of so many bytes.
pub async fn has_length(db: &mut Db, bytes: i64) -> Result<bool, StoreError> {
    Ok(sqlx::query_scalar("SELECT EXISTS (SELECT 1 FROM capture WHERE visible = 1 AND bytes = ?)")
        .bind(bytes)
        .fetch_one(db)
        .await?)
}

/// What is known of a capture before its bytes are in.
#[derive(Clone, Debug)]
pub struct NewCapture {
    /// File name as it came.
    pub name: String,
    /// The rig it was recorded on.
    pub rig_id: Option<RigId>,
    /// Start that somebody gave, microseconds UTC.
    pub start_us: Option<i64>,
    /// SHA-256 of the game's settings file, 64 lower-case hexadecimal digits, where the rig sent it.
    pub settings_sha256: Option<String>,
}

/// Begins to stage a capture.
pub async fn stage(tx: &mut Tx<'_>, new: &NewCapture) -> Result<CaptureId, StoreError> {
    Ok(sqlx::query_scalar(
        "INSERT INTO capture (name, uploaded_us, person_id, rig_key_id, rig_id, start_us, settings_sha256)
         VALUES (?, ?, ?, ?, ?, ?, ?) RETURNING id",
    )
    .bind(&new.name)
    .bind(tx.at_us)
    .bind(tx.by.person())
    .bind(tx.by.rig_key())
    .bind(new.rig_id)
    .bind(new.start_us)
    .bind(&new.settings_sha256)
    .fetch_one(&mut **tx)
    .await
    .map(CaptureId)?)
}

/// Compresses a chunk, outside any transaction.
pub fn pack(bytes: &[u8]) -> Result<Vec<u8>, StoreError> {
    zstd::bulk::compress(bytes, ZSTD_LEVEL)
        .map_err(|e| StoreError::Other(format!("compressing a chunk: {e}")))
}

fn unpack(id: CaptureId, n: i64, body: &[u8]) -> Result<Vec<u8>, StoreError> {
    zstd::bulk::decompress(body, CHUNK_BYTES)
        .map_err(|e| StoreError::Other(format!("capture {id}, chunk {n}: {e}")))
}

/// Stages chunk `n` (from 0) of a capture, already packed.
pub async fn stage_chunk(tx: &mut Tx<'_>, id: CaptureId, n: i64, body: &[u8]) -> Result<(), StoreError> {
    sqlx::query("INSERT INTO capture_chunk (capture_id, n, body) VALUES (?, ?, ?)")
        .bind(id)
        .bind(n)
        .bind(body)
        .execute(&mut **tx)
        .await?;
    Ok(())
}

/// What came of reading a capture.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Came {
    /// Which of the three.
    pub outcome: Outcome,
    /// The question or the refusal, in words.
    pub says: String,
    /// The question as JSON.
    pub question: Option<String>,
}

impl Came {
    /// It was read.
    pub fn read() -> Self {
        Self { outcome: Outcome::Read, says: String::new(), question: None }
    }
}

/// Makes a staged capture visible. [`StoreError::Conflict`] on `capture.digest` when the same bytes were faster.
pub async fn show(
    tx: &mut Tx<'_>,
    id: CaptureId,
    digest: &[u8; 32],
    bytes: i64,
    came: &Came,
) -> Result<(), StoreError> {
    let done = sqlx::query(
        "UPDATE capture SET digest = ?, bytes = ?, outcome = ?, says = ?, question = ?, visible = 1
         WHERE id = ? AND visible = 0",
    )
    .bind(digest.as_slice())
    .bind(bytes)
    .bind(came.outcome)
    .bind(&came.says)
    .bind(&came.question)
    .bind(id)
    .execute(&mut **tx)
    .await?;
    hit(&done)?;
    tx.record("upload", &CAPTURE, id).await
}

/// Notes what came of reading a visible capture again.
pub async fn set_outcome(
    tx: &mut Tx<'_>,
    id: CaptureId,
    version: i64,
    came: &Came,
) -> Result<(), StoreError> {
    let done = sqlx::query(
        "UPDATE capture SET outcome = ?, says = ?, question = ?, version = version + 1
         WHERE id = ? AND version = ? AND visible = 1",
    )
    .bind(came.outcome)
    .bind(&came.says)
    .bind(&came.question)
    .bind(id)
    .bind(version)
    .execute(&mut **tx)
    .await?;
    hit(&done)?;
    tx.record("read again", &CAPTURE, id).await
}

/// Notes the start that a person gave, microseconds UTC.
pub async fn set_start(
    tx: &mut Tx<'_>,
    id: CaptureId,
    version: i64,
    start_us: Option<i64>,
) -> Result<(), StoreError> {
    let done = sqlx::query(
        "UPDATE capture SET start_us = ?, version = version + 1 WHERE id = ? AND version = ? AND visible = 1",
    )
    .bind(start_us)
    .bind(id)
    .bind(version)
    .execute(&mut **tx)
    .await?;
    hit(&done)?;
    tx.record("give start", &CAPTURE, id).await
}

/// Captures that were staged and not shown.
pub async fn staged(db: &mut Db) -> Result<Vec<CaptureId>, StoreError> {
    Ok(sqlx::query_scalar("SELECT id FROM capture WHERE visible = 0").fetch_all(db).await?)
}

/// Removes a staged capture with all that was staged for it; a visible one stays.
pub async fn remove_staged(tx: &mut Tx<'_>, id: CaptureId) -> Result<(), StoreError> {
    sqlx::query("DELETE FROM capture WHERE id = ? AND visible = 0").bind(id).execute(&mut **tx).await?;
    Ok(())
}

/// Chunk `n` (from 0) of a capture, as it came.
pub async fn chunk(db: &mut Db, id: CaptureId, n: i64) -> Result<Option<Vec<u8>>, StoreError> {
    let body: Option<Vec<u8>> =
        sqlx::query_scalar("SELECT body FROM capture_chunk WHERE capture_id = ? AND n = ?")
            .bind(id)
            .bind(n)
            .fetch_optional(db)
            .await?;
    body.map(|body| unpack(id, n, &body)).transpose()
}

/// All bytes of a capture, held at once.
pub async fn whole(db: &mut Db, id: CaptureId) -> Result<Vec<u8>, StoreError> {
    let (mut bytes, mut n) = (Vec::new(), 0);
    while let Some(chunk) = chunk(&mut *db, id, n).await? {
        bytes.extend(chunk);
        n += 1;
    }
    Ok(bytes)
}

/// The bytes of a capture, chunk by chunk, each read by itself: a slow client holds no view of the store open.
pub fn bytes(store: Store, id: CaptureId) -> impl Stream<Item = Result<Vec<u8>, StoreError>> + Send {
    stream::try_unfold((store, 0), move |(store, n)| async move {
        let mut db = store.read().await?;
        let next = chunk(&mut db, id, n).await?;
        drop(db);
        Ok(next.map(|bytes| (bytes, (store, n + 1))))
    })
}
