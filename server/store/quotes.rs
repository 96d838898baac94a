//! Numbers of a piece that nobody measured, each with its source.

use serde::{Deserialize, Serialize};

use super::audit::QUOTE;
use super::{Db, PartId, PieceId, QuoteId, StoreError, Tx, hit};

/// What people type of a quoted number.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, sqlx::FromRow)]
pub struct QuoteFields {
    /// The piece.
    pub piece_id: PieceId,
    /// Name, unique in the piece.
    pub name: String,
    /// The part it is of; none: of none.
    pub part_id: Option<PartId>,
    /// The number, decimal text.
    pub value: String,
    /// Its unit, or the code of a currency.
    pub unit: String,
    /// Where it stands, in words.
    pub source: String,
    /// Its address; may be empty.
    pub link: String,
    /// The day on which it was read, microseconds UTC.
    pub dated_us: i64,
    /// The quote that its change is told against.
    pub over_id: Option<QuoteId>,
}

/// A quoted number.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, sqlx::FromRow)]
pub struct Quote {
    /// Row id.
    pub id: QuoteId,
    /// What people typed.
    #[sqlx(flatten)]
    #[serde(flatten)]
    pub fields: QuoteFields,
    /// For stale forms.
    pub version: i64,
}

macro_rules! quotes {
    ($rest:literal) => {
        concat!(
            "SELECT id, piece_id, name, part_id, value, unit, source, link, dated_us, over_id, version FROM quote ",
            $rest
        )
    };
}

/// The quoted numbers of a piece, in the order in which they were added.
pub async fn of_piece(db: &mut Db, piece: PieceId) -> Result<Vec<Quote>, StoreError> {
    Ok(sqlx::query_as(quotes!("WHERE piece_id = ? ORDER BY id")).bind(piece).fetch_all(db).await?)
}

/// One of them.
pub async fn by_id(db: &mut Db, id: QuoteId) -> Result<Option<Quote>, StoreError> {
    Ok(sqlx::query_as(quotes!("WHERE id = ?")).bind(id).fetch_optional(db).await?)
}

/// Adds one.
pub async fn add(tx: &mut Tx<'_>, f: &QuoteFields) -> Result<QuoteId, StoreError> {
    let id = sqlx::query_scalar(
        "INSERT INTO quote (piece_id, name, part_id, value, unit, source, link, dated_us, over_id)
         VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?) RETURNING id",
    )
    .bind(f.piece_id)
    .bind(&f.name)
    .bind(f.part_id)
    .bind(&f.value)
    .bind(&f.unit)
    .bind(&f.source)
    .bind(&f.link)
    .bind(f.dated_us)
    .bind(f.over_id)
    .fetch_one(&mut **tx)
    .await
    .map(QuoteId)?;
    tx.record("add", &QUOTE, id).await?;
    Ok(id)
}

/// Changes one; it stays with its piece.
pub async fn edit(tx: &mut Tx<'_>, id: QuoteId, version: i64, f: &QuoteFields) -> Result<(), StoreError> {
    let done = sqlx::query(
        "UPDATE quote SET name = ?, part_id = ?, value = ?, unit = ?, source = ?, link = ?, dated_us = ?,
                over_id = ?, version = version + 1
         WHERE id = ? AND version = ?",
    )
    .bind(&f.name)
    .bind(f.part_id)
    .bind(&f.value)
    .bind(&f.unit)
    .bind(&f.source)
    .bind(&f.link)
    .bind(f.dated_us)
    .bind(f.over_id)
    .bind(id)
    .bind(version)
    .execute(&mut **tx)
    .await?;
    hit(&done)?;
    tx.record("edit", &QUOTE, id).await
}

/// Takes one out.
pub async fn remove(tx: &mut Tx<'_>, id: QuoteId, version: i64) -> Result<(), StoreError> {
    let done = sqlx::query("DELETE FROM quote WHERE id = ? AND version = ?")
        .bind(id)
        .bind(version)
        .execute(&mut **tx)
        .await?;
    hit(&done)?;
    tx.record("take out", &QUOTE, id).await
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::registers::parts::PartKind;
    use crate::store::{Actor, audit, pieces, testing};

    #[tokio::test]
    async fn a_quote_is_added_changed_and_taken_out_with_a_trail() {
        let (_folder, store) = testing::store().await;
        let by = Actor::Person(testing::person(&store, "Ada", crate::store::people::Role::Member).await);
        let left = store.write(by, async move |tx| {
            let piece = pieces::add(tx, "k", &pieces::PieceFields::usual("A piece", PartKind::Card)).await?;
            let fields = QuoteFields {
                piece_id: piece,
                name: "memory".to_owned(),
                part_id: None,
                value: "32".to_owned(),
                unit: "GB".to_owned(),
                source: "data sheet".to_owned(),
                link: "https://maker.example/curlew".to_owned(),
                dated_us: 1,
                over_id: None,
            };
            let id = add(tx, &fields).await?;
            edit(tx, id, 1, &QuoteFields { value: "24".to_owned(), ..fields.clone() }).await?;
            assert!(matches!(edit(tx, id, 1, &fields).await, Err(StoreError::Stale)));
            assert_eq!(by_id(tx, id).await?.map(|quote| quote.fields.value), Some("24".to_owned()));
            remove(tx, id, 2).await?;
            of_piece(tx, piece).await
        });
        assert_eq!(left.await.unwrap(), []);
        assert_eq!(audit::wrong(&mut store.read().await.unwrap()).await.unwrap(), Vec::<String>::new());
    }
}
