//! Charts that a piece keeps, and the team's own colour in them.

use serde::{Deserialize, Serialize};

use super::audit::{CHART, CHART_LOOK};
use super::words::words;
use super::{ChartId, Db, PieceId, StoreError, Tx, hit};

words! {
    /// What a chart shows.
    ChartKind {
        /// Averages of parts in each scene, with their low.
        Bars = "bars",
        /// Parts against a baseline.
        Ratios = "ratios",
        /// What each scene adds to the overall.
        Scenes = "scenes",
        /// What one option of a setting costs.
        Across = "across",
        /// Frame rate over watts.
        Tuning = "tuning",
        /// Shown frame rate over delay.
        Latency = "latency",
        /// Price of a frame.
        Value = "value",
        /// Prices, price of a frame, price of equal value and what readers get, as a table.
        Worth = "worth",
        /// What a part brings to each kind of reader.
        Readers = "readers",
        /// Shares of frames by frame time, added up.
        Shares = "shares",
        /// Frame times of passes over time.
        Strips = "strips",
        /// What was read of parts without a frame log: noise, power, scores.
        Readings = "readings",
    }
}

/// What is kept of a chart.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, sqlx::FromRow)]
pub struct ChartFields {
    /// The piece.
    pub piece_id: PieceId,
    /// What it shows.
    pub kind: ChartKind,
    /// The choices of the page that it comes from, as the query of its address.
    pub asked: String,
    /// Instead of its own title; empty: its own.
    pub title: String,
    /// Stands first in its foot; may be empty.
    pub note: String,
    /// JSON list of the scenes that it shows, in their order; `[]` is all.
    pub scenes: String,
}

/// A kept chart.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, sqlx::FromRow)]
pub struct KeptChart {
    /// Row id.
    pub id: ChartId,
    /// What is kept.
    #[sqlx(flatten)]
    #[serde(flatten)]
    pub fields: ChartFields,
    /// For stale forms.
    pub version: i64,
}

/// How the team's charts look.
#[derive(Clone, Debug, Default, PartialEq, Eq, sqlx::FromRow)]
pub struct ChartLook {
    /// Colour of the first series, `#rrggbb`; empty: the program's own.
    pub accent: String,
    /// For stale forms; 0: none was kept.
    pub version: i64,
}

macro_rules! charts {
    ($rest:literal) => {
        concat!("SELECT id, piece_id, kind, asked, title, note, scenes, version FROM chart ", $rest)
    };
}

/// The charts of a piece, in the order in which they were kept.
pub async fn of_piece(db: &mut Db, piece: PieceId) -> Result<Vec<KeptChart>, StoreError> {
    Ok(sqlx::query_as(charts!("WHERE piece_id = ? ORDER BY id")).bind(piece).fetch_all(db).await?)
}

/// One chart.
pub async fn by_id(db: &mut Db, id: ChartId) -> Result<Option<KeptChart>, StoreError> {
    Ok(sqlx::query_as(charts!("WHERE id = ?")).bind(id).fetch_optional(db).await?)
}

/// Keeps a chart.
pub async fn add(tx: &mut Tx<'_>, f: &ChartFields) -> Result<ChartId, StoreError> {
    let id = sqlx::query_scalar(
        "INSERT INTO chart (piece_id, kind, asked, title, note, scenes) VALUES (?, ?, ?, ?, ?, ?) RETURNING id",
    )
    .bind(f.piece_id)
    .bind(f.kind)
    .bind(&f.asked)
    .bind(&f.title)
    .bind(&f.note)
    .bind(&f.scenes)
    .fetch_one(&mut **tx)
    .await
    .map(ChartId)?;
    tx.record("keep", &CHART, id).await?;
    Ok(id)
}

/// Changes the words and scenes of a chart; what it shows stays.
pub async fn edit(tx: &mut Tx<'_>, id: ChartId, version: i64, f: &ChartFields) -> Result<(), StoreError> {
    let done = sqlx::query(
        "UPDATE chart SET title = ?, note = ?, scenes = ?, version = version + 1 WHERE id = ? AND version = ?",
    )
    .bind(&f.title)
    .bind(&f.note)
    .bind(&f.scenes)
    .bind(id)
    .bind(version)
    .execute(&mut **tx)
    .await?;
    hit(&done)?;
    tx.record("edit", &CHART, id).await
}

/// Takes a chart out.
pub async fn remove(tx: &mut Tx<'_>, id: ChartId, version: i64) -> Result<(), StoreError> {
    let done = sqlx::query("DELETE FROM chart WHERE id = ? AND version = ?")
        .bind(id)
        .bind(version)
        .execute(&mut **tx)
        .await?;
    hit(&done)?;
    tx.record("take out", &CHART, id).await
}

/// How the team's charts look.
pub async fn look(db: &mut Db) -> Result<ChartLook, StoreError> {
    let kept =
        sqlx::query_as("SELECT accent, version FROM chart_look WHERE id = 1").fetch_optional(db).await?;
    Ok(kept.unwrap_or_default())
}

/// Keeps how the team's charts look. `version` is that of the look that was changed; 0: none was kept yet.
pub async fn keep_look(tx: &mut Tx<'_>, version: i64, accent: &str) -> Result<(), StoreError> {
    let done = if version == 0 {
        sqlx::query("INSERT INTO chart_look (id, accent) VALUES (1, ?) ON CONFLICT DO NOTHING")
            .bind(accent)
            .execute(&mut **tx)
            .await?
    } else {
        sqlx::query("UPDATE chart_look SET accent = ?, version = version + 1 WHERE id = 1 AND version = ?")
            .bind(accent)
            .bind(version)
            .execute(&mut **tx)
            .await?
    };
    hit(&done)?;
    tx.record("choose a colour", &CHART_LOOK, 1).await
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::{Actor, audit, pieces, testing};

    #[tokio::test]
    async fn a_chart_is_kept_changed_and_taken_out_with_a_trail() {
        let (_folder, store) = testing::store().await;
        let team = testing::team(&store).await;
        let piece = store
            .write(Actor::Person(team.person), async move |tx| {
                let fields =
                    pieces::PieceFields::usual("A piece", super::super::registers::parts::PartKind::Card);
                let piece_id = pieces::add(tx, "k9", &fields).await?;
                let fields = ChartFields {
                    piece_id,
                    kind: ChartKind::Ratios,
                    asked: "of=ratios&setting=1".to_owned(),
                    title: String::new(),
                    note: String::new(),
                    scenes: "[]".to_owned(),
                };
                let id = add(tx, &fields).await?;
                let changed = ChartFields { title: "A third faster".to_owned(), ..fields.clone() };
                edit(tx, id, 1, &changed).await?;
                assert!(matches!(edit(tx, id, 1, &fields).await, Err(StoreError::Stale)));
                assert_eq!(by_id(tx, id).await?.map(|chart| chart.fields), Some(changed));
                let gone = add(tx, &fields).await?;
                remove(tx, gone, 1).await?;
                assert_eq!(look(tx).await?, ChartLook::default());
                keep_look(tx, 0, "#0a4d8c").await?;
                assert!(matches!(keep_look(tx, 0, "").await, Err(StoreError::Stale)));
                keep_look(tx, 1, "").await?;
                assert_eq!(look(tx).await?.version, 2);
                Ok::<_, StoreError>(piece_id)
            })
            .await
            .unwrap();
        let mut db = store.read().await.unwrap();
        assert_eq!(of_piece(&mut db, piece).await.unwrap().len(), 1);
        assert_eq!(audit::wrong(&mut db).await.unwrap(), Vec::<String>::new());
    }
}
