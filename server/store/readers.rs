//! Kinds of reader of a piece: what they own, play and pay.

use serde::{Deserialize, Serialize};

use super::audit::READER;
use super::words::words;
use super::{Db, PartId, PieceId, ReaderId, StoreError, Tx, hit};

words! {
    /// By which number a reader judges.
    JudgesBy {
        /// The average frame rate.
        Average = "average",
        /// The piece's low.
        Low = "low",
    }
}

/// What people type of a kind of reader.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, sqlx::FromRow)]
pub struct ReaderFields {
    /// The piece.
    pub piece_id: PieceId,
    /// Name, unique in the piece.
    pub name: String,
    /// The part they own; none: they buy new.
    pub owned_part_id: Option<PartId>,
    /// By which number they judge.
    pub judges_by: JudgesBy,
    /// The lead they ask for, tenths of a per cent.
    pub asks_permille: i64,
    /// Refresh rate of their screen, Hz.
    pub refresh_hz: Option<i64>,
    /// Hours they play a week.
    pub hours_a_week: i64,
    /// Price of a kilowatt-hour, decimal text; empty: not asked.
    pub kwh_price: String,
    /// Its currency; empty with it.
    pub kwh_currency: String,
    /// What they play, JSON.
    pub plays: String,
}

/// A kind of reader.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, sqlx::FromRow)]
pub struct Reader {
    /// Row id.
    pub id: ReaderId,
    /// What people typed.
    #[sqlx(flatten)]
    #[serde(flatten)]
    pub fields: ReaderFields,
    /// For stale forms.
    pub version: i64,
}

macro_rules! readers {
    ($rest:literal) => {
        concat!(
            "SELECT id, piece_id, name, owned_part_id, judges_by, asks_permille, refresh_hz, hours_a_week, kwh_price,
                    kwh_currency, plays, version FROM reader ",
            $rest
        )
    };
}

/// The readers of a piece, in the order in which they were added.
pub async fn of_piece(db: &mut Db, piece: PieceId) -> Result<Vec<Reader>, StoreError> {
    Ok(sqlx::query_as(readers!("WHERE piece_id = ? ORDER BY id")).bind(piece).fetch_all(db).await?)
}

/// One reader.
pub async fn by_id(db: &mut Db, id: ReaderId) -> Result<Option<Reader>, StoreError> {
    Ok(sqlx::query_as(readers!("WHERE id = ?")).bind(id).fetch_optional(db).await?)
}

/// Adds a reader.
pub async fn add(tx: &mut Tx<'_>, f: &ReaderFields) -> Result<ReaderId, StoreError> {
    let id = sqlx::query_scalar(
        "INSERT INTO reader (piece_id, name, owned_part_id, judges_by, asks_permille, refresh_hz, hours_a_week,
                             kwh_price, kwh_currency, plays)
         VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?) RETURNING id",
    )
    .bind(f.piece_id)
    .bind(&f.name)
    .bind(f.owned_part_id)
    .bind(f.judges_by)
    .bind(f.asks_permille)
    .bind(f.refresh_hz)
    .bind(f.hours_a_week)
    .bind(&f.kwh_price)
    .bind(&f.kwh_currency)
    .bind(&f.plays)
    .fetch_one(&mut **tx)
    .await
    .map(ReaderId)?;
    tx.record("add", &READER, id).await?;
    Ok(id)
}

/// Changes a reader; they stay with their piece.
pub async fn edit(tx: &mut Tx<'_>, id: ReaderId, version: i64, f: &ReaderFields) -> Result<(), StoreError> {
    let done = sqlx::query(
        "UPDATE reader SET name = ?, owned_part_id = ?, judges_by = ?, asks_permille = ?, refresh_hz = ?,
                hours_a_week = ?, kwh_price = ?, kwh_currency = ?, plays = ?, version = version + 1
         WHERE id = ? AND version = ?",
    )
    .bind(&f.name)
    .bind(f.owned_part_id)
    .bind(f.judges_by)
    .bind(f.asks_permille)
    .bind(f.refresh_hz)
    .bind(f.hours_a_week)
    .bind(&f.kwh_price)
    .bind(&f.kwh_currency)
    .bind(&f.plays)
    .bind(id)
    .bind(version)
    .execute(&mut **tx)
    .await?;
    hit(&done)?;
    tx.record("edit", &READER, id).await
}

/// Takes a reader out.
pub async fn remove(tx: &mut Tx<'_>, id: ReaderId, version: i64) -> Result<(), StoreError> {
    let done = sqlx::query("DELETE FROM reader WHERE id = ? AND version = ?")
        .bind(id)
        .bind(version)
        .execute(&mut **tx)
        .await?;
    hit(&done)?;
    tx.record("take out", &READER, id).await
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::{Actor, audit, pieces, testing};

    #[tokio::test]
    async fn a_reader_is_added_changed_and_taken_out_with_a_trail() {
        let (_folder, store) = testing::store().await;
        let team = testing::team(&store).await;
        let by = Actor::Person(team.person);
        let kept = store
            .write(by, async move |tx| {
                let fields =
                    pieces::PieceFields::usual("A piece", super::super::registers::parts::PartKind::Card);
                let piece_id = pieces::add(tx, "k9", &fields).await?;
                let fields = ReaderFields {
                    piece_id,
                    name: "buys new".to_owned(),
                    owned_part_id: Some(team.part),
                    judges_by: JudgesBy::Low,
                    asks_permille: 250,
                    refresh_hz: Some(144),
                    hours_a_week: 20,
                    kwh_price: "0.35".to_owned(),
                    kwh_currency: "EUR".to_owned(),
                    plays: r#"{"scenes":{"1":2},"settings":{"1":1}}"#.to_owned(),
                };
                let id = add(tx, &fields).await?;
                edit(tx, id, 1, &ReaderFields { asks_permille: 300, ..fields.clone() }).await?;
                assert!(matches!(edit(tx, id, 1, &fields).await, Err(StoreError::Stale)));
                assert_eq!(by_id(tx, id).await?.map(|r| r.fields.asks_permille), Some(300));
                let gone = add(tx, &ReaderFields { name: "another".to_owned(), ..fields }).await?;
                remove(tx, gone, 1).await?;
                Ok::<_, StoreError>(piece_id)
            })
            .await
            .unwrap();
        let mut db = store.read().await.unwrap();
        let left = of_piece(&mut db, kept).await.unwrap();
        assert_eq!(left.len(), 1);
        assert_eq!((left[0].version, left[0].fields.judges_by), (2, JudgesBy::Low));
        assert_eq!(audit::wrong(&mut db).await.unwrap(), Vec::<String>::new());
    }
}
