//! Drafts of pieces: versions of the text, and what people decided on its numbers.

use serde::Serialize;
use sha2::{Digest as _, Sha256};

use super::audit::{DRAFT_NUMBER, DRAFT_TEXT};
use super::{Db, DraftNumberId, DraftTextId, PersonId, PieceId, StoreError, Tx};

/// A version of a text.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, sqlx::FromRow)]
pub struct DraftText {
    /// Counts up within the piece.
    pub number: i64,
    /// `plain`, `markdown`, `srt` or `vtt`.
    pub form: String,
    /// The text.
    pub body: String,
    /// Its SHA-256, hexadecimal.
    pub digest: String,
    /// Who kept it.
    pub person_id: PersonId,
    /// That person's name.
    pub person: String,
    /// When, microseconds UTC.
    pub at_us: i64,
}

/// What was decided on a number.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, sqlx::FromRow)]
pub struct DraftNumber {
    /// The number as written.
    pub number: String,
    /// Words before it.
    pub before: String,
    /// Words behind it.
    pub behind: String,
    /// The figure it quotes; empty: left alone.
    pub link: String,
}

macro_rules! texts {
    ($rest:literal) => {
        concat!(
            "SELECT t.number, t.form, t.body, lower(hex(t.digest)) AS digest, t.person_id, p.name AS person, t.at_us
             FROM draft_text AS t JOIN person AS p ON p.id = t.person_id ",
            $rest
        )
    };
}

/// The latest version of a piece's text.
pub async fn latest(db: &mut Db, piece: PieceId) -> Result<Option<DraftText>, StoreError> {
    Ok(sqlx::query_as(texts!("WHERE t.piece_id = ? ORDER BY t.number DESC LIMIT 1"))
        .bind(piece)
        .fetch_optional(db)
        .await?)
}

/// One version.
pub async fn version(db: &mut Db, piece: PieceId, number: i64) -> Result<Option<DraftText>, StoreError> {
    Ok(sqlx::query_as(texts!("WHERE t.piece_id = ? AND t.number = ?"))
        .bind(piece)
        .bind(number)
        .fetch_optional(db)
        .await?)
}

/// All versions without their texts (`body` is empty), newest first.
pub async fn versions(db: &mut Db, piece: PieceId) -> Result<Vec<DraftText>, StoreError> {
    Ok(sqlx::query_as(
        "SELECT t.number, t.form, '' AS body, lower(hex(t.digest)) AS digest, t.person_id, p.name AS person, t.at_us
         FROM draft_text AS t JOIN person AS p ON p.id = t.person_id
         WHERE t.piece_id = ? ORDER BY t.number DESC",
    )
    .bind(piece)
    .fetch_all(db)
    .await?)
}

/// Keeps a version in the name of the person who acts.
pub async fn add(
    tx: &mut Tx<'_>,
    piece: PieceId,
    number: i64,
    (form, body): (&str, &str),
) -> Result<(), StoreError> {
    let digest: [u8; 32] = Sha256::digest(body.as_bytes()).into();
    let id = sqlx::query_scalar(
        "INSERT INTO draft_text (piece_id, number, form, body, digest, person_id, at_us)
         VALUES (?, ?, ?, ?, ?, ?, ?) RETURNING id",
    )
    .bind(piece)
    .bind(number)
    .bind(form)
    .bind(body)
    .bind(&digest[..])
    .bind(tx.by.person())
    .bind(tx.at_us)
    .fetch_one(&mut **tx)
    .await
    .map(DraftTextId)?;
    tx.record("keep draft", &DRAFT_TEXT, id).await
}

/// What was decided on the numbers of a piece's text, oldest first.
pub async fn decisions(db: &mut Db, piece: PieceId) -> Result<Vec<DraftNumber>, StoreError> {
    Ok(sqlx::query_as("SELECT number, before, behind, link FROM draft_number WHERE piece_id = ? ORDER BY id")
        .bind(piece)
        .fetch_all(db)
        .await?)
}

/// Keeps a decision; one on the same number in the same words is changed.
pub async fn decide(tx: &mut Tx<'_>, piece: PieceId, d: &DraftNumber) -> Result<(), StoreError> {
    let id = sqlx::query_scalar(
        "INSERT INTO draft_number (piece_id, number, before, behind, link, person_id, at_us)
         VALUES (?, ?, ?, ?, ?, ?, ?)
         ON CONFLICT (piece_id, number, before, behind) DO UPDATE
         SET link = excluded.link, person_id = excluded.person_id, at_us = excluded.at_us, version = version + 1
         RETURNING id",
    )
    .bind(piece)
    .bind(&d.number)
    .bind(&d.before)
    .bind(&d.behind)
    .bind(&d.link)
    .bind(tx.by.person())
    .bind(tx.at_us)
    .fetch_one(&mut **tx)
    .await
    .map(DraftNumberId)?;
    tx.record("decide number", &DRAFT_NUMBER, id).await
}

/// Forgets a decision; whether there was one.
pub async fn forget(tx: &mut Tx<'_>, piece: PieceId, d: &DraftNumber) -> Result<bool, StoreError> {
    let gone: Option<i64> = sqlx::query_scalar(
        "DELETE FROM draft_number WHERE piece_id = ? AND number = ? AND before = ? AND behind = ? RETURNING id",
    )
    .bind(piece)
    .bind(&d.number)
    .bind(&d.before)
    .bind(&d.behind)
    .fetch_optional(&mut **tx)
    .await?;
    if let Some(id) = gone {
        tx.record("forget number", &DRAFT_NUMBER, DraftNumberId(id)).await?;
    }
    Ok(gone.is_some())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::pieces::{self, PieceFields};
    use crate::store::registers::parts::PartKind;
    use crate::store::{Actor, testing};

    #[tokio::test]
    async fn texts_are_kept_as_versions_and_decisions_change_and_go() {
        let (_folder, store) = testing::store().await;
        let team = testing::team(&store).await;
        store
            .write(Actor::Person(team.person), async move |tx| {
                let piece = pieces::add(tx, "k", &PieceFields::usual("A piece", PartKind::Card)).await?;
                assert_eq!(latest(tx, piece).await?, None);
                add(tx, piece, 1, ("plain", "first")).await?;
                add(tx, piece, 2, ("markdown", "second")).await?;
                let last = latest(tx, piece).await?.unwrap();
                assert_eq!((last.number, last.body.as_str(), last.form.as_str()), (2, "second", "markdown"));
                assert_eq!(last.digest.len(), 64);
                assert_eq!(version(tx, piece, 1).await?.unwrap().body, "first");
                assert_eq!(versions(tx, piece).await?.iter().map(|v| v.number).collect::<Vec<_>>(), [2, 1]);
                let mut one = DraftNumber {
                    number: "94 fps".to_owned(),
                    before: "makes".to_owned(),
                    behind: String::new(),
                    link: "f1".to_owned(),
                };
                decide(tx, piece, &one).await?;
                one.link = String::new();
                decide(tx, piece, &one).await?;
                assert_eq!(decisions(tx, piece).await?, [one.clone()]);
                assert!(forget(tx, piece, &one).await? && !forget(tx, piece, &one).await?);
                assert_eq!(decisions(tx, piece).await?, []);
                Ok::<_, StoreError>(())
            })
            .await
            .unwrap();
    }
}
