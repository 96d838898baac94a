//! What a piece says of itself beside its numbers, its embargo, and an owner's word on that.

use serde::{Deserialize, Serialize};

use super::audit::{EMBARGO_WORD, PIECE_NOTES};
use super::words::words;
use super::{Db, EmbargoWordId, PieceId, PieceNotesId, StoreError, Tx, hit};

words! {
    /// What an owner says of an embargo.
    Word {
        /// It may leave before its end.
        LetGo = "let it go",
        /// It may not.
        Hold = "hold it",
    }
}

/// What people type.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, sqlx::FromRow)]
pub struct NotesFields {
    /// Until when nothing leaves, microseconds UTC; none: no embargo.
    pub embargo_us: Option<i64>,
    /// IANA name in which it was said.
    pub embargo_zone: String,
    /// How settings were checked.
    pub settings: String,
    /// Caches cold or warm.
    pub caches: String,
    /// In which order things were run.
    pub order_of_run: String,
    /// Samples, sponsors and other ties.
    pub disclosure: String,
}

impl Default for NotesFields {
    fn default() -> Self {
        let (settings, caches, order_of_run, disclosure) = Default::default();
        Self { embargo_us: None, embargo_zone: "UTC".to_owned(), settings, caches, order_of_run, disclosure }
    }
}

/// The notes of a piece; version 0 while there are none.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, sqlx::FromRow)]
pub struct Notes {
    /// What people typed.
    #[sqlx(flatten)]
    pub fields: NotesFields,
    /// For stale forms.
    pub version: i64,
}

/// An owner's word.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, sqlx::FromRow)]
pub struct Said {
    /// End of the embargo that it was said of, microseconds UTC.
    pub embargo_us: i64,
    /// What was said.
    pub says: Word,
    /// Why.
    pub reason: String,
    /// Who said it.
    pub person: String,
    /// When, microseconds UTC.
    pub at_us: i64,
}

/// A unit that was lent under an embargo.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, sqlx::FromRow)]
pub struct UnderEmbargo {
    /// Maker and model of its part.
    pub part: String,
    /// Its label.
    pub unit: String,
    /// When the embargo ends, microseconds UTC.
    pub embargo_us: i64,
}

/// Units under an embargo, past ones too, of which the piece's cells hold passes or its parts readings.
pub async fn units_under_embargo(db: &mut Db, piece: PieceId) -> Result<Vec<UnderEmbargo>, StoreError> {
    Ok(sqlx::query_as(
        "SELECT p.maker || ' ' || p.model AS part, u.label AS unit, u.embargo_us
         FROM unit AS u JOIN part AS p ON p.id = u.part_id
         WHERE u.embargo_us IS NOT NULL
           AND (EXISTS (SELECT 1 FROM pass AS s JOIN piece_cell AS c ON c.cell_id = s.cell_id
                        WHERE s.unit_id = u.id AND c.piece_id = ?1)
             OR EXISTS (SELECT 1 FROM reading AS r JOIN tuning AS t ON t.part_id = u.part_id
                        JOIN cell ON cell.tuning_id = t.id JOIN piece_cell AS c ON c.cell_id = cell.id
                        WHERE r.unit_id = u.id AND c.piece_id = ?1))
         ORDER BY part, unit",
    )
    .bind(piece)
    .fetch_all(db)
    .await?)
}

/// The notes of a piece.
pub async fn of_piece(db: &mut Db, piece: PieceId) -> Result<Notes, StoreError> {
    let found: Option<Notes> = sqlx::query_as(
        "SELECT embargo_us, embargo_zone, settings, caches, order_of_run, disclosure, version
         FROM piece_notes WHERE piece_id = ?",
    )
    .bind(piece)
    .fetch_optional(db)
    .await?;
    Ok(found.unwrap_or_default())
}

/// Keeps them. `version`: of those that were read; 0: there were none.
pub async fn keep(tx: &mut Tx<'_>, piece: PieceId, version: i64, f: &NotesFields) -> Result<(), StoreError> {
    let statement = if version == 0 {
        "INSERT INTO piece_notes (embargo_us, embargo_zone, settings, caches, order_of_run, disclosure, piece_id)
         VALUES (?, ?, ?, ?, ?, ?, ?) ON CONFLICT DO NOTHING"
    } else {
        "UPDATE piece_notes SET embargo_us = ?, embargo_zone = ?, settings = ?, caches = ?, order_of_run = ?,
                disclosure = ?, version = version + 1 WHERE piece_id = ? AND version = ?"
    };
    let bound = sqlx::query(statement)
        .bind(f.embargo_us)
        .bind(&f.embargo_zone)
        .bind(&f.settings)
        .bind(&f.caches)
        .bind(&f.order_of_run)
        .bind(&f.disclosure)
        .bind(piece);
    let bound = if version == 0 { bound } else { bound.bind(version) };
    hit(&bound.execute(&mut **tx).await?)?;
    let id: PieceNotesId = sqlx::query_scalar("SELECT id FROM piece_notes WHERE piece_id = ?")
        .bind(piece)
        .fetch_one(&mut **tx)
        .await?;
    tx.record("write notes", &PIECE_NOTES, id).await
}

/// What owners said of a piece's embargoes, oldest first.
pub async fn said(db: &mut Db, piece: PieceId) -> Result<Vec<Said>, StoreError> {
    Ok(sqlx::query_as(
        "SELECT embargo_us, says, reason, p.name AS person, at_us
         FROM embargo_word AS w JOIN person AS p ON p.id = w.person_id WHERE piece_id = ? ORDER BY w.id",
    )
    .bind(piece)
    .fetch_all(db)
    .await?)
}

/// Says it, in the name of the person who acts.
pub async fn say(
    tx: &mut Tx<'_>,
    piece: PieceId,
    embargo_us: i64,
    (says, reason): (Word, &str),
) -> Result<EmbargoWordId, StoreError> {
    let id = sqlx::query_scalar(
        "INSERT INTO embargo_word (piece_id, embargo_us, says, reason, person_id, at_us) VALUES (?, ?, ?, ?, ?, ?)
         RETURNING id",
    )
    .bind(piece)
    .bind(embargo_us)
    .bind(says)
    .bind(reason)
    .bind(tx.by.person())
    .bind(tx.at_us)
    .fetch_one(&mut **tx)
    .await
    .map(EmbargoWordId)?;
    tx.record("say", &EMBARGO_WORD, id).await?;
    Ok(id)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::registers::parts::PartKind;
    use crate::store::{Actor, audit, pieces, testing};

    #[tokio::test]
    async fn notes_are_kept_by_version_and_words_are_added() {
        let (_folder, store) = testing::store().await;
        let by = Actor::Person(testing::person(&store, "Ada", crate::store::people::Role::Owner).await);
        let found = store.write(by, async move |tx| {
            let piece = pieces::add(tx, "k", &pieces::PieceFields::usual("A piece", PartKind::Card)).await?;
            assert_eq!(of_piece(tx, piece).await?, Notes::default());
            let fields = NotesFields { embargo_us: Some(5), ..NotesFields::default() };
            keep(tx, piece, 0, &fields).await?;
            assert!(matches!(keep(tx, piece, 0, &fields).await, Err(StoreError::Stale)));
            let later = NotesFields { caches: "warm".to_owned(), ..fields };
            keep(tx, piece, 1, &later).await?;
            assert!(matches!(keep(tx, piece, 1, &later).await, Err(StoreError::Stale)));
            say(tx, piece, 5, (Word::LetGo, "to the printer")).await?;
            Ok::<_, StoreError>((of_piece(tx, piece).await?, said(tx, piece).await?))
        });
        let (notes, said) = found.await.unwrap();
        assert_eq!((notes.version, notes.fields.caches.as_str()), (2, "warm"));
        assert_eq!((said[0].says, said[0].person.as_str()), (Word::LetGo, "Ada"));
        assert_eq!(audit::wrong(&mut store.read().await.unwrap()).await.unwrap(), Vec::<String>::new());
    }
}
