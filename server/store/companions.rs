//! Companions: second logs of a pass from other loggers, placed on the pass's clock or not yet.

use serde::Serialize;
use weighhouse_measure::recording::Placing;

use super::audit::COMPANION;
use super::segments::Cut;
use super::words::words;
use super::{CompanionId, Db, PassId, PieceId, SegmentId, StoreError, Tx, hit};

words! {
    /// How a companion was placed on its pass's clock.
    PlacedBy {
        /// Not placed.
        Nobody = "",
        /// Both logs have a wall clock.
        WallClock = "wall clock",
        /// A start time that somebody gave.
        StartTime = "start time",
        /// A person moved it.
        Hand = "hand",
    }
}

/// A companion, with where its rows come from.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, sqlx::FromRow)]
pub struct CompanionRow {
    /// Row id.
    pub id: CompanionId,
    /// Its pass.
    pub pass_id: PassId,
    /// Its rows.
    pub segment_id: SegmentId,
    /// Pass time of its first row, ns; none: not placed.
    pub offset_ns: Option<i64>,
    /// Drift of its clock, parts in 1e9.
    pub drift_ppb: i64,
    /// How it was placed.
    pub placed_by: PlacedBy,
    /// For stale forms.
    pub version: i64,
    /// Digest of its capture, hexadecimal.
    pub digest: String,
    /// File name of its capture.
    pub capture: String,
    /// File inside a container.
    pub member: String,
    /// Number of the segment within the member.
    pub segment_n: i64,
    /// What was cut out of that.
    #[sqlx(flatten)]
    #[serde(flatten)]
    pub cut: Cut,
    /// Shape of the logs that its layout reads.
    pub layout_shape: String,
    /// Version of the layout it was read with.
    pub layout_version: i64,
    /// Rows.
    pub rows: i64,
    /// From the first row to the last, ns.
    pub span_ns: i64,
    /// UTC nanoseconds of the first row.
    pub wall_start_ns: Option<i64>,
}

impl CompanionRow {
    /// Where it stands, if it was placed.
    pub fn placing(&self) -> Option<Placing> {
        self.offset_ns.map(|offset_ns| Placing { offset_ns, drift_ppb: self.drift_ppb })
    }
}

macro_rules! companions {
    ($rest:literal) => {
        concat!(
            "SELECT o.id, o.pass_id, o.segment_id, o.offset_ns, o.drift_ppb, o.placed_by, o.version,
                    lower(hex(k.digest)) AS digest, k.name AS capture, s.member, s.n AS segment_n, s.cut_start_ns, s.cut_end_ns,
                    l.shape AS layout_shape, l.version AS layout_version, s.rows, s.span_ns, s.wall_start_ns
             FROM companion AS o JOIN pass AS p ON p.id = o.pass_id JOIN segment AS s ON s.id = o.segment_id
             JOIN capture AS k ON k.id = s.capture_id JOIN layout AS l ON l.id = s.layout_id ",
            $rest
        )
    };
}

/// The companions of all passes of a piece, by pass.
pub async fn of_piece(db: &mut Db, piece: PieceId) -> Result<Vec<CompanionRow>, StoreError> {
    Ok(sqlx::query_as(companions!(
        "WHERE p.cell_id IN (SELECT cell_id FROM piece_cell WHERE piece_id = ?) ORDER BY o.pass_id, o.id"
    ))
    .bind(piece)
    .fetch_all(db)
    .await?)
}

/// The companions of a pass.
pub async fn of_pass(db: &mut Db, pass: PassId) -> Result<Vec<CompanionRow>, StoreError> {
    Ok(sqlx::query_as(companions!("WHERE o.pass_id = ? ORDER BY o.id")).bind(pass).fetch_all(db).await?)
}

/// Gives a pass a companion, placed or not.
pub async fn add(
    tx: &mut Tx<'_>,
    pass: PassId,
    segment: SegmentId,
    placing: Option<Placing>,
    by: PlacedBy,
) -> Result<CompanionId, StoreError> {
    let id = sqlx::query_scalar(
        "INSERT INTO companion (pass_id, segment_id, offset_ns, drift_ppb, placed_by) VALUES (?, ?, ?, ?, ?)
         RETURNING id",
    )
    .bind(pass)
    .bind(segment)
    .bind(placing.map(|p| p.offset_ns))
    .bind(placing.map_or(0, |p| p.drift_ppb))
    .bind(by)
    .fetch_one(&mut **tx)
    .await
    .map(CompanionId)?;
    tx.record("pair", &COMPANION, id).await?;
    Ok(id)
}

/// Places a companion, or takes its placing back.
pub async fn place(
    tx: &mut Tx<'_>,
    id: CompanionId,
    version: i64,
    placing: Option<Placing>,
    by: PlacedBy,
) -> Result<(), StoreError> {
    let done = sqlx::query(
        "UPDATE companion SET offset_ns = ?, drift_ppb = ?, placed_by = ?, version = version + 1
         WHERE id = ? AND version = ?",
    )
    .bind(placing.map(|p| p.offset_ns))
    .bind(placing.map_or(0, |p| p.drift_ppb))
    .bind(by)
    .bind(id)
    .bind(version)
    .execute(&mut **tx)
    .await?;
    hit(&done)?;
    tx.record("place", &COMPANION, id).await
}

/// Rests the companion of a segment, if it is one, on another: the same stretch of its capture, read anew. It stays
/// where it was placed.
pub async fn rest_on(tx: &mut Tx<'_>, old: SegmentId, new: SegmentId) -> Result<(), StoreError> {
    let id: Option<CompanionId> = sqlx::query_scalar(
        "UPDATE companion SET segment_id = ?2, version = version + 1 WHERE segment_id = ?1 RETURNING id",
    )
    .bind(old)
    .bind(new)
    .fetch_optional(&mut **tx)
    .await?;
    match id {
        Some(id) => tx.record("read again", &COMPANION, id).await,
        None => Ok(()),
    }
}

/// Takes a companion from its pass.
pub async fn remove(tx: &mut Tx<'_>, id: CompanionId, version: i64) -> Result<(), StoreError> {
    let done = sqlx::query("DELETE FROM companion WHERE id = ? AND version = ?")
        .bind(id)
        .bind(version)
        .execute(&mut **tx)
        .await?;
    hit(&done)?;
    tx.record("unpair", &COMPANION, id).await
}
