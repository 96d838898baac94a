//! Editions of pieces, and the links that hand one to somebody without an account.

use serde::Serialize;
use sha2::{Digest as _, Sha256};

use super::audit::{EDITION, EDITION_LINK};
use super::requests::looked;
use super::{Db, EditionId, EditionLinkId, PieceId, StoreError, Tx, hit};

/// A frozen edition.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, sqlx::FromRow)]
pub struct Edition {
    /// Row id.
    pub id: EditionId,
    /// Its piece.
    pub piece_id: PieceId,
    /// From 1 in its piece.
    pub number: i64,
    /// What was frozen, as JSON.
    pub body: String,
    /// SHA-256 of it, hexadecimal.
    pub digest: String,
    /// What it is for, as typed.
    pub note: String,
    /// Who froze it.
    pub person: String,
    /// When, microseconds UTC.
    pub at_us: i64,
}

/// A link that opens an edition.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, sqlx::FromRow)]
pub struct EditionLink {
    /// Row id.
    pub id: EditionLinkId,
    /// The edition.
    pub edition_id: EditionId,
    /// Who made it.
    pub person: String,
    /// When, microseconds UTC.
    pub made_us: i64,
    /// When it ends.
    pub expires_us: i64,
    /// When it was opened last.
    pub opened_us: Option<i64>,
    /// When it was taken back.
    pub revoked_us: Option<i64>,
}

macro_rules! editions {
    ($rest:literal) => {
        concat!(
            "SELECT e.id, piece_id, number, body, lower(hex(digest)) AS digest, note, p.name AS person, at_us
             FROM edition AS e JOIN person AS p ON p.id = e.person_id ",
            $rest
        )
    };
}

macro_rules! links {
    ($rest:literal) => {
        concat!(
            "SELECT l.id, edition_id, p.name AS person, made_us, expires_us, opened_us, revoked_us
             FROM edition_link AS l JOIN person AS p ON p.id = l.made_by ",
            $rest
        )
    };
}

/// The editions of a piece, newest first.
pub async fn of_piece(db: &mut Db, piece: PieceId) -> Result<Vec<Edition>, StoreError> {
    Ok(sqlx::query_as(editions!("WHERE piece_id = ? ORDER BY number DESC")).bind(piece).fetch_all(db).await?)
}

/// One edition of a piece.
pub async fn by_number(db: &mut Db, piece: PieceId, number: i64) -> Result<Option<Edition>, StoreError> {
    Ok(sqlx::query_as(editions!("WHERE piece_id = ? AND number = ?"))
        .bind(piece)
        .bind(number)
        .fetch_optional(db)
        .await?)
}

/// An edition by its row.
pub async fn by_id(db: &mut Db, id: EditionId) -> Result<Option<Edition>, StoreError> {
    Ok(sqlx::query_as(editions!("WHERE e.id = ?")).bind(id).fetch_optional(db).await?)
}

/// Freezes an edition in the name of the person who acts; its number.
pub async fn add(tx: &mut Tx<'_>, piece: PieceId, body: &str, note: &str) -> Result<i64, StoreError> {
    let (id, number): (i64, i64) = sqlx::query_as(
        "INSERT INTO edition (piece_id, number, body, digest, note, person_id, at_us)
         VALUES (?1, (SELECT coalesce(max(number), 0) + 1 FROM edition WHERE piece_id = ?1), ?2, ?3, ?4, ?5, ?6)
         RETURNING id, number",
    )
    .bind(piece)
    .bind(body)
    .bind(Sha256::digest(body.as_bytes()).as_slice())
    .bind(note)
    .bind(tx.by.person())
    .bind(tx.at_us)
    .fetch_one(&mut **tx)
    .await?;
    tx.record("freeze edition", &EDITION, id).await?;
    Ok(number)
}

/// The links of an edition, newest first.
pub async fn links(db: &mut Db, edition: EditionId) -> Result<Vec<EditionLink>, StoreError> {
    Ok(sqlx::query_as(links!("WHERE edition_id = ? ORDER BY l.id DESC")).bind(edition).fetch_all(db).await?)
}

/// The link whose token has this hash, also when it has ended.
pub async fn link(db: &mut Db, token_hash: &[u8; 32]) -> Result<Option<EditionLink>, StoreError> {
    Ok(sqlx::query_as(links!("WHERE token_hash = ?")).bind(token_hash.as_slice()).fetch_optional(db).await?)
}

/// Makes a link in the name of the person who acts.
pub async fn add_link(
    tx: &mut Tx<'_>,
    edition: EditionId,
    token_hash: &[u8; 32],
    expires_us: i64,
) -> Result<EditionLinkId, StoreError> {
    let id = sqlx::query_scalar(
        "INSERT INTO edition_link (edition_id, token_hash, made_by, made_us, expires_us) VALUES (?, ?, ?, ?, ?)
         RETURNING id",
    )
    .bind(edition)
    .bind(token_hash.as_slice())
    .bind(tx.by.person())
    .bind(tx.at_us)
    .bind(expires_us)
    .fetch_one(&mut **tx)
    .await
    .map(EditionLinkId)?;
    tx.record("make link", &EDITION_LINK, id).await?;
    Ok(id)
}

/// Takes a link of an edition back; [`StoreError::Stale`] when it was already.
pub async fn revoke_link(tx: &mut Tx<'_>, edition: EditionId, id: EditionLinkId) -> Result<(), StoreError> {
    let done = sqlx::query(
        "UPDATE edition_link SET revoked_us = ? WHERE id = ? AND edition_id = ? AND revoked_us IS NULL",
    )
    .bind(tx.at_us)
    .bind(id)
    .bind(edition)
    .execute(&mut **tx)
    .await?;
    hit(&done)?;
    tx.record("take link back", &EDITION_LINK, id).await
}

/// Notes that a link was opened: on its row, and in the log of who looked.
pub async fn opened(tx: &mut Tx<'_>, link: &EditionLink) -> Result<(), StoreError> {
    sqlx::query("UPDATE edition_link SET opened_us = ? WHERE id = ?")
        .bind(tx.at_us)
        .bind(link.id)
        .execute(&mut **tx)
        .await?;
    looked(tx, &format!("edition by link {}", link.id)).await
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::registers::parts::PartKind;
    use crate::store::requests::looks;
    use crate::store::{Actor, audit, pieces, testing};

    #[tokio::test]
    async fn editions_count_up_and_links_end_when_they_are_taken_back() {
        let (_folder, store) = testing::store().await;
        let by = testing::person(&store, "Ada", crate::store::people::Role::Member).await;
        let made = store.write(Actor::Person(by), async move |tx| {
            let piece = pieces::add(tx, "k", &pieces::PieceFields::usual("A piece", PartKind::Card)).await?;
            assert_eq!(add(tx, piece, "{}", "").await?, 1);
            assert_eq!(add(tx, piece, "{\"x\":1}", "corrected").await?, 2);
            let newest = by_number(tx, piece, 2).await?.unwrap();
            let id = add_link(tx, newest.id, &[7; 32], tx.at_us + 10).await?;
            let there = link(tx, &[7; 32]).await?.unwrap();
            opened(tx, &there).await?;
            Ok::<_, StoreError>((piece, newest, id))
        });
        let (piece, newest, id) = made.await.unwrap();
        let mut db = store.read().await.unwrap();
        let all = of_piece(&mut db, piece).await.unwrap();
        assert_eq!(all.iter().map(|e| e.number).collect::<Vec<_>>(), [2, 1]);
        assert_eq!(by_id(&mut db, newest.id).await.unwrap(), Some(newest.clone()));
        assert_eq!(links(&mut db, newest.id).await.unwrap()[0].opened_us, Some(testing::NOW_US));
        assert_eq!(link(&mut db, &[8; 32]).await.unwrap(), None);
        assert!(looks(&mut db, 1).await.unwrap()[0].what.starts_with("edition by link"));
        drop(db);
        let twice = store.write(Actor::Person(by), async move |tx| {
            revoke_link(tx, newest.id, id).await?;
            assert!(matches!(revoke_link(tx, newest.id, id).await, Err(StoreError::Stale)));
            Ok::<_, StoreError>(())
        });
        twice.await.unwrap();
        let mut db = store.read().await.unwrap();
        assert!(link(&mut db, &[7; 32]).await.unwrap().unwrap().revoked_us.is_some());
        assert_eq!(audit::wrong(&mut db).await.unwrap(), Vec::<String>::new());
    }
}
