//! The strip's pyramid and the frames of a stretch: two million frames are drawn from a few thousand numbers, and
//! close up from no more chunks than the stretch needs.

use serde::Serialize;
use weighhouse_measure::measures::strip::{
    BLOCK, Block, columns_from_pyramid, decode, encode, pyramid, serves,
};
use weighhouse_measure::recording::{Kind, Recording, Window};

pub use weighhouse_measure::measures::strip::Column;

use super::tracks::{AT, CHUNK_VALUES, FRAME, broken, unpack};
use super::{Db, SegmentId, Store, StoreError, Tx};

/// The level that is kept: blocks of [`BLOCK`] frames.
const LEVEL: i64 = 0;

/// The levels of a recording of frames, packed; none for companions and for what lies in one chunk anyway.
pub fn build(recording: &Recording) -> Result<Vec<Vec<u8>>, StoreError> {
    if recording.kind == Kind::Companion || recording.rows() <= CHUNK_VALUES {
        return Ok(Vec::new());
    }
    let blocks = pyramid(&recording.at_ns, &recording.frame_ns);
    Ok(vec![encode(&blocks).ok_or_else(|| broken("frame starts that fall back"))?])
}

/// Stages the levels of a segment.
pub async fn stage(tx: &mut Tx<'_>, segment: SegmentId, levels: &[Vec<u8>]) -> Result<(), StoreError> {
    for (level, body) in (LEVEL..).zip(levels) {
        sqlx::query("INSERT INTO strip_level (segment_id, level, body) VALUES (?, ?, ?)")
            .bind(segment)
            .bind(level)
            .bind(body)
            .execute(&mut **tx)
            .await?;
    }
    Ok(())
}

/// The levels of a segment as they are kept.
pub async fn levels(db: &mut Db, segment: SegmentId) -> Result<Vec<Vec<u8>>, StoreError> {
    Ok(sqlx::query_scalar("SELECT body FROM strip_level WHERE segment_id = ? ORDER BY level")
        .bind(segment)
        .fetch_all(db)
        .await?)
}

async fn blocks(db: &mut Db, segment: SegmentId) -> Result<Option<Vec<Block>>, StoreError> {
    let body: Option<Vec<u8>> =
        sqlx::query_scalar("SELECT body FROM strip_level WHERE segment_id = ? AND level = ?")
            .bind(segment)
            .bind(LEVEL)
            .fetch_optional(db)
            .await?;
    let read = |body: Vec<u8>| decode(&body).ok_or_else(|| broken("a strip that is cut off"));
    body.map(read).transpose()
}

/// Chunks `first..=last` of the track with this role.
async fn chunks(
    db: &mut Db,
    segment: SegmentId,
    role: &str,
    (first, last): (i64, i64),
) -> Result<Vec<Vec<u8>>, StoreError> {
    Ok(sqlx::query_scalar(
        "SELECT c.body FROM track_chunk AS c JOIN track AS t ON t.id = c.track_id
         WHERE t.segment_id = ? AND t.role = ? AND c.n BETWEEN ? AND ? ORDER BY c.n",
    )
    .bind(segment)
    .bind(role)
    .bind(first)
    .bind(last)
    .fetch_all(db)
    .await?)
}

/// Numbers of the chunks that hold the frames of a window.
fn within(blocks: &[Block], window: Window) -> (i64, i64) {
    let from = blocks.partition_point(|b| b.start_ns <= window.start_ns).saturating_sub(1);
    let to = blocks.partition_point(|b| b.start_ns < window.end_ns);
    let chunk = |block: usize| i64::try_from(block * BLOCK / CHUNK_VALUES).unwrap_or(i64::MAX);
    (chunk(from), chunk(to.max(1) - 1))
}

/// What each of `px` columns of a window holds; columns in which no frame starts are left out. Taken from the
/// pyramid where it has two blocks or more for a column, else from the frames themselves.
pub async fn strip(
    store: &Store,
    segment: SegmentId,
    window: Window,
    px: u32,
) -> Result<Vec<Column>, StoreError> {
    let mut db = store.read().await?;
    let blocks = blocks(&mut db, segment).await?;
    if let Some(blocks) = blocks.as_ref().filter(|blocks| serves(blocks, window, px)) {
        return Ok(columns_from_pyramid(blocks, window, px));
    }
    let which = blocks.map_or((0, i64::MAX), |blocks| within(&blocks, window));
    let at = chunks(&mut db, segment, AT, which).await?;
    let frames = chunks(&mut db, segment, FRAME, which).await?;
    drop(db);
    let exactly = move || {
        let (at, frames) = (unpack::<i64>(&at)?, unpack::<i64>(&frames)?);
        Ok(weighhouse_measure::measures::strip::columns(&at, &frames, window, px))
    };
    tokio::task::spawn_blocking(exactly).await.map_err(broken)?
}

/// A frame of a pass.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub struct Frame {
    /// Its number in the pass, from 1.
    pub number: u64,
    /// When it begins, ns from the first frame.
    pub at_ns: i64,
    /// How long it lasts, ns.
    pub frame_ns: i64,
    /// Frames that begin in the stretch that was asked about; 0: it only reaches into it.
    pub of: u64,
}

/// The longest of the frames that begin in a stretch of a segment, else the one that reaches into it. `None` before the
/// first.
pub async fn longest(store: &Store, segment: SegmentId, window: Window) -> Result<Option<Frame>, StoreError> {
    let mut db = store.read().await?;
    let which = blocks(&mut db, segment).await?.map_or((0, i64::MAX), |blocks| within(&blocks, window));
    let at = chunks(&mut db, segment, AT, which).await?;
    let frames = chunks(&mut db, segment, FRAME, which).await?;
    drop(db);
    let before = usize::try_from(which.0).unwrap_or(0) * CHUNK_VALUES;
    let look = move || {
        let (at, frames) = (unpack::<i64>(&at)?, unpack::<i64>(&frames)?);
        let rows = window.rows(&at);
        let of = u64::try_from(rows.len()).unwrap_or(0);
        // The first of several that last equally long.
        let longest = rows.clone().rev().max_by_key(|row| frames.get(*row).copied());
        let row = longest.or_else(|| rows.start.checked_sub(1));
        Ok(row.and_then(|row| {
            let number = u64::try_from(before + row + 1).ok()?;
            Some(Frame { number, at_ns: *at.get(row)?, frame_ns: *frames.get(row)?, of })
        }))
    };
    tokio::task::spawn_blocking(look).await.map_err(broken)?
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::{Actor, testing};

    #[tokio::test]
    async fn wide_views_come_from_blocks_and_close_ones_from_the_frames_themselves() {
        let (_folder, store) = testing::store().await;
        let rows = 200_000_i64;
        let id = testing::segment(&store, "long", Kind::Frames, rows).await;
        let at_ns: Vec<i64> = (0..rows).map(|i| i * 10_000_000).collect();
        let frame_ns = vec![10_000_000; at_ns.len()];
        let recording =
            Recording { kind: Kind::Frames, wall_start_ns: None, at_ns, frame_ns, tracks: vec![] };
        let levels = build(&recording).unwrap();
        assert_eq!(levels.len(), 1);
        store.write(Actor::Server, async move |tx| stage(tx, id, &levels).await).await.unwrap();
        let whole = recording.whole();
        let wide = strip(&store, id, whole, 300).await.unwrap();
        let exact =
            weighhouse_measure::measures::strip::columns(&recording.at_ns, &recording.frame_ns, whole, 300);
        assert_eq!((wide.len(), wide[0]), (300, exact[0]));
        // A stretch over the border between two chunks, and the pass's last second.
        for start_ns in [650_000_000_000, 1_999_000_000_000] {
            let near = Window { start_ns, end_ns: start_ns + 10_000_000_000 };
            let exact = weighhouse_measure::measures::strip::columns(
                &recording.at_ns,
                &recording.frame_ns,
                near,
                400,
            );
            assert_eq!(strip(&store, id, near, 400).await.unwrap(), exact);
        }
    }

    #[tokio::test]
    async fn the_longest_frame_of_a_stretch_is_told_by_its_number() {
        let (_folder, store) = testing::store().await;
        // 1000 frames of 10 ms.
        let id = testing::segment(&store, "short", Kind::Frames, 1000).await;
        let stretch = |start_ns, end_ns| Window { start_ns, end_ns };
        let first = longest(&store, id, stretch(20_000_000, 50_000_000)).await.unwrap().unwrap();
        assert_eq!((first.number, first.at_ns, first.of), (3, 20_000_000, 3));
        let within = longest(&store, id, stretch(21_000_000, 22_000_000)).await.unwrap().unwrap();
        assert_eq!((within.number, within.of), (3, 0));
        assert_eq!(longest(&store, id, stretch(-5, 0)).await.unwrap(), None);
    }

    #[tokio::test]
    async fn a_short_pass_keeps_no_blocks_and_is_drawn_all_the_same() {
        let (_folder, store) = testing::store().await;
        let id = testing::segment(&store, "short", Kind::Frames, 1000).await;
        let window = Window { start_ns: 0, end_ns: 10_000_000_000 };
        assert_eq!(strip(&store, id, window, 100).await.unwrap().len(), 100);
    }

    #[test]
    fn only_the_chunks_of_the_window_are_read() {
        let block = |n: i64| Block { start_ns: n * 256, first_ns: 1, min_ns: 1, max_ns: 1, last_ns: 1 };
        let blocks: Vec<Block> = (0..1024).map(block).collect();
        assert_eq!(within(&blocks, Window { start_ns: 0, end_ns: 1 }), (0, 0));
        assert_eq!(within(&blocks, Window { start_ns: 65_535, end_ns: 65_537 }), (0, 1));
        assert_eq!(within(&blocks, Window { start_ns: 200_000, end_ns: 900_000 }), (3, 3));
    }
}
