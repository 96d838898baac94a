//! The bench: what the steps of a session take, boards beside the rigs, and what came in from a rig.

use serde::{Deserialize, Serialize};

use super::audit::{BENCH_COST, BOARD};
use super::captures::Outcome;
use super::requests::looked;
use super::{BoardId, CaptureId, Db, PieceId, RigId, SegmentId, StoreError, Tx, hit};

/// What the steps of a session take, seconds.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, sqlx::FromRow)]
pub struct CostFields {
    /// Another part in the rig.
    pub swap_s: i64,
    /// Another driver.
    pub driver_s: i64,
    /// A restart.
    pub restart_s: i64,
    /// Loading a scene at a setting.
    pub load_s: i64,
    /// Running warm.
    pub soak_s: i64,
    /// Handling a pass.
    pub pass_s: i64,
}

/// The team's own times, once somebody kept them.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, sqlx::FromRow)]
pub struct BenchCost {
    /// What people typed.
    #[sqlx(flatten)]
    #[serde(flatten)]
    pub fields: CostFields,
    /// For stale forms.
    pub version: i64,
}

/// The team's own times.
pub async fn costs(db: &mut Db) -> Result<Option<BenchCost>, StoreError> {
    Ok(sqlx::query_as(
        "SELECT swap_s, driver_s, restart_s, load_s, soak_s, pass_s, version FROM bench_cost WHERE id = 1",
    )
    .fetch_optional(db)
    .await?)
}

/// Keeps the team's times. `version` is that of those that were changed; 0: none were kept yet.
pub async fn keep_costs(tx: &mut Tx<'_>, version: i64, f: &CostFields) -> Result<(), StoreError> {
    let query = if version == 0 {
        sqlx::query(
            "INSERT INTO bench_cost (id, swap_s, driver_s, restart_s, load_s, soak_s, pass_s)
             VALUES (1, ?, ?, ?, ?, ?, ?) ON CONFLICT DO NOTHING",
        )
    } else {
        sqlx::query(
            "UPDATE bench_cost SET swap_s = ?, driver_s = ?, restart_s = ?, load_s = ?, soak_s = ?, pass_s = ?,
                    version = version + 1 WHERE id = 1 AND version = ?",
        )
    };
    let query =
        query.bind(f.swap_s).bind(f.driver_s).bind(f.restart_s).bind(f.load_s).bind(f.soak_s).bind(f.pass_s);
    let query = if version == 0 { query } else { query.bind(version) };
    hit(&query.execute(&mut **tx).await?)?;
    tx.record("write bench times", &BENCH_COST, 1).await
}

/// A rig's board for a piece.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, sqlx::FromRow)]
pub struct Board {
    /// Row id.
    pub id: BoardId,
    /// The rig.
    pub rig_id: RigId,
    /// Its name.
    pub rig: String,
    /// The piece.
    pub piece_id: PieceId,
    /// When it was made, microseconds UTC.
    pub made_us: i64,
    /// When it was opened last.
    pub opened_us: Option<i64>,
}

macro_rules! boards {
    ($rest:literal) => {
        concat!(
            "SELECT b.id, rig_id, r.name AS rig, piece_id, made_us, opened_us
             FROM board AS b JOIN rig AS r ON r.id = b.rig_id WHERE revoked_us IS NULL ",
            $rest
        )
    };
}

/// The boards of a piece that still open, by rig.
pub async fn boards_of(db: &mut Db, piece: PieceId) -> Result<Vec<Board>, StoreError> {
    Ok(sqlx::query_as(boards!("AND piece_id = ? ORDER BY r.name, b.id")).bind(piece).fetch_all(db).await?)
}

/// The board whose token has this hash, unless it was taken back.
pub async fn board(db: &mut Db, token_hash: &[u8; 32]) -> Result<Option<Board>, StoreError> {
    Ok(sqlx::query_as(boards!("AND token_hash = ?")).bind(token_hash.as_slice()).fetch_optional(db).await?)
}

/// Makes a board in the name of the person who acts.
pub async fn add_board(
    tx: &mut Tx<'_>,
    piece: PieceId,
    rig: RigId,
    token_hash: &[u8; 32],
) -> Result<BoardId, StoreError> {
    let id = sqlx::query_scalar(
        "INSERT INTO board (rig_id, piece_id, token_hash, made_by, made_us) VALUES (?, ?, ?, ?, ?) RETURNING id",
    )
    .bind(rig)
    .bind(piece)
    .bind(token_hash.as_slice())
    .bind(tx.by.person())
    .bind(tx.at_us)
    .fetch_one(&mut **tx)
    .await
    .map(BoardId)?;
    tx.record("make board", &BOARD, id).await?;
    Ok(id)
}

/// Takes a piece's board back; [`StoreError::Stale`] when it was already.
pub async fn revoke_board(tx: &mut Tx<'_>, piece: PieceId, id: BoardId) -> Result<(), StoreError> {
    let done =
        sqlx::query("UPDATE board SET revoked_us = ? WHERE id = ? AND piece_id = ? AND revoked_us IS NULL")
            .bind(tx.at_us)
            .bind(id)
            .bind(piece)
            .execute(&mut **tx)
            .await?;
    hit(&done)?;
    tx.record("take board back", &BOARD, id).await
}

/// Notes that a board was opened: on its row, and in the log of who looked.
pub async fn opened(tx: &mut Tx<'_>, board: &Board) -> Result<(), StoreError> {
    sqlx::query("UPDATE board SET opened_us = ? WHERE id = ?")
        .bind(tx.at_us)
        .bind(board.id)
        .execute(&mut **tx)
        .await?;
    looked(tx, &format!("board {} of rig {}", board.id, board.rig)).await
}

/// A log that came in from a rig.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, sqlx::FromRow)]
pub struct CameIn {
    /// Its capture.
    pub id: CaptureId,
    /// File name.
    pub name: String,
    /// When, microseconds UTC.
    pub uploaded_us: i64,
    /// What came of reading it.
    pub outcome: Outcome,
    /// The question or the refusal, in words.
    pub says: String,
    /// Its first stretch of frames; none where it has none.
    pub segment_id: Option<SegmentId>,
    /// Whether that became a pass.
    pub placed: bool,
}

/// The newest log of a rig that is no companion.
pub async fn newest_of_rig(db: &mut Db, rig: RigId) -> Result<Option<CameIn>, StoreError> {
    Ok(sqlx::query_as(
        "SELECT c.id, c.name, c.uploaded_us, c.outcome, c.says, s.id AS segment_id,
                EXISTS (SELECT 1 FROM pass AS p JOIN segment AS x ON x.id = p.segment_id WHERE x.capture_id = c.id) AS placed
         FROM capture AS c
         LEFT JOIN segment AS s ON s.id = (SELECT min(id) FROM segment AS f
                                           WHERE f.capture_id = c.id AND f.kind = 'frames' AND f.visible = 1)
         WHERE c.visible = 1 AND c.rig_id = ? AND (s.id IS NOT NULL OR c.outcome <> 'read')
         ORDER BY c.id DESC LIMIT 1",
    )
    .bind(rig)
    .fetch_optional(db)
    .await?)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::registers::parts::PartKind;
    use crate::store::requests::looks;
    use crate::store::{Actor, audit, pieces, testing};

    const COSTS: CostFields =
        CostFields { swap_s: 900, driver_s: 600, restart_s: 180, load_s: 90, soak_s: 720, pass_s: 60 };

    #[tokio::test]
    async fn the_teams_times_are_kept_and_changed_by_version() {
        let (_folder, store) = testing::store().await;
        let team = testing::team(&store).await;
        let by = Actor::Person(team.person);
        store
            .write(by, async |tx| {
                assert_eq!(costs(tx).await?, None);
                keep_costs(tx, 0, &COSTS).await?;
                assert!(matches!(keep_costs(tx, 0, &COSTS).await, Err(StoreError::Stale)));
                keep_costs(tx, 1, &CostFields { soak_s: 600, ..COSTS }).await?;
                assert!(matches!(keep_costs(tx, 1, &COSTS).await, Err(StoreError::Stale)));
                Ok::<_, StoreError>(())
            })
            .await
            .unwrap();
        let mut db = store.read().await.unwrap();
        let kept = costs(&mut db).await.unwrap().unwrap();
        assert_eq!((kept.fields.soak_s, kept.version), (600, 2));
        assert_eq!(audit::wrong(&mut db).await.unwrap(), Vec::<String>::new());
    }

    #[tokio::test]
    async fn a_board_opens_by_its_token_until_it_is_taken_back() {
        let (_folder, store) = testing::store().await;
        let team = testing::team(&store).await;
        let (piece, id) = store
            .write(Actor::Person(team.person), async move |tx| {
                let fields = pieces::PieceFields::usual("A piece", PartKind::Card);
                let piece = pieces::add(tx, "k9", &fields).await?;
                let id = add_board(tx, piece, team.rig, &[7; 32]).await?;
                let made = board(tx, &[7; 32]).await?.unwrap();
                assert_eq!((made.id, made.opened_us), (id, None));
                opened(tx, &made).await?;
                Ok::<_, StoreError>((piece, id))
            })
            .await
            .unwrap();
        let mut db = store.read().await.unwrap();
        assert_eq!(board(&mut db, &[8; 32]).await.unwrap(), None);
        let of_piece = boards_of(&mut db, piece).await.unwrap();
        assert_eq!((of_piece.len(), of_piece[0].opened_us), (1, Some(testing::NOW_US)));
        assert!(looks(&mut db, 5).await.unwrap()[0].what.starts_with("board 1 of rig"));
        assert_eq!(newest_of_rig(&mut db, team.rig).await.unwrap(), None);
        drop(db);
        store
            .write(Actor::Person(team.person), async move |tx| {
                revoke_board(tx, piece, id).await?;
                assert!(matches!(revoke_board(tx, piece, id).await, Err(StoreError::Stale)));
                Ok::<_, StoreError>(())
            })
            .await
            .unwrap();
        let mut db = store.read().await.unwrap();
        assert_eq!(board(&mut db, &[7; 32]).await.unwrap(), None);
        assert_eq!(audit::wrong(&mut db).await.unwrap(), Vec::<String>::new());
    }
}
