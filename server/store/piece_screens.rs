//! Which screens a piece runs, and how strict.

use super::audit::PIECE_SCREENS;
use super::{Db, PieceId, PieceScreensId, StoreError, Tx, hit};

/// A piece's choice.
#[derive(Clone, Debug, PartialEq, Eq, sqlx::FromRow)]
pub struct PieceScreens {
    /// JSON of `weighhouse_measure::screens::Strictnesses`.
    pub body: String,
    /// For stale forms.
    pub version: i64,
}

/// What a piece chose; none: nothing, all screens run as usual.
pub async fn of_piece(db: &mut Db, piece: PieceId) -> Result<Option<PieceScreens>, StoreError> {
    Ok(sqlx::query_as("SELECT body, version FROM piece_screens WHERE piece_id = ?")
        .bind(piece)
        .fetch_optional(db)
        .await?)
}

/// Keeps a choice over the one of this version; 0: over none. The new version.
pub async fn keep(tx: &mut Tx<'_>, piece: PieceId, version: i64, body: &str) -> Result<i64, StoreError> {
    let sql = if version == 0 {
        "INSERT INTO piece_screens (piece_id, body) VALUES (?1, ?2) ON CONFLICT (piece_id) DO NOTHING"
    } else {
        "UPDATE piece_screens SET body = ?2, version = version + 1 WHERE piece_id = ?1 AND version = ?3"
    };
    let done = sqlx::query(sql).bind(piece).bind(body).bind(version).execute(&mut **tx).await?;
    hit(&done)?;
    let (id, version): (PieceScreensId, i64) =
        sqlx::query_as("SELECT id, version FROM piece_screens WHERE piece_id = ?")
            .bind(piece)
            .fetch_one(&mut **tx)
            .await?;
    tx.record("choose screens", &PIECE_SCREENS, id).await?;
    Ok(version)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::{Actor, audit, pieces, registers::parts::PartKind, testing};

    #[tokio::test]
    async fn a_choice_is_kept_over_the_one_that_was_seen() {
        let (_folder, store) = testing::store().await;
        let team = testing::team(&store).await;
        store
            .write(Actor::Person(team.person), async move |tx| {
                let piece =
                    pieces::add(tx, "k", &pieces::PieceFields::usual("A piece", PartKind::Card)).await?;
                assert_eq!(of_piece(tx, piece).await?, None);
                assert_eq!(keep(tx, piece, 0, "{}").await?, 1);
                assert!(matches!(keep(tx, piece, 0, "{\"gap\":\"off\"}").await, Err(StoreError::Stale)));
                assert_eq!(keep(tx, piece, 1, "{\"gap\":\"off\"}").await?, 2);
                assert!(matches!(keep(tx, piece, 1, "{}").await, Err(StoreError::Stale)));
                let kept = of_piece(tx, piece).await?.unwrap();
                assert_eq!((kept.body.as_str(), kept.version), ("{\"gap\":\"off\"}", 2));
                assert_eq!(audit::wrong(tx).await?, Vec::<String>::new());
                Ok::<_, StoreError>(())
            })
            .await
            .unwrap();
    }
}
