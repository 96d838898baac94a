//! The strip's pyramid: the shortest and longest frame of blocks of frames, level by level, so that two million
//! frames are drawn from a few thousand numbers.

use serde::Serialize;
use weighhouse_measure::recording::{Kind, Recording, Window};

use super::tracks::{AT, FRAME, broken, pack, unpack};
use super::{Db, SegmentId, Store, StoreError, Tx};

/// Frames in a block of level 0; each level takes [`STEP`] blocks of the one below.
const BLOCK: usize = 64;
const STEP: usize = 8;
/// A level of fewer blocks than this is not kept: a strip has more columns.
const FEWEST: usize = 256;

/// A block of frames.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub struct Extremes {
    /// Start of its first frame, ns from the segment's first.
    pub at_ns: i64,
    /// Its shortest frame, ns.
    pub shortest_ns: i64,
    /// Its longest frame, ns.
    pub longest_ns: i64,
}

fn blocks(from: &[Extremes], size: usize) -> Vec<Extremes> {
    let fold = |block: &[Extremes]| {
        block.iter().copied().reduce(|a, b| Extremes {
            at_ns: a.at_ns,
            shortest_ns: a.shortest_ns.min(b.shortest_ns),
            longest_ns: a.longest_ns.max(b.longest_ns),
        })
    };
    from.chunks(size).filter_map(fold).collect()
}

fn frames(at_ns: &[i64], frame_ns: &[i64]) -> Vec<Extremes> {
    let one = |(&at_ns, &f): (&i64, &i64)| Extremes { at_ns, shortest_ns: f, longest_ns: f };
    at_ns.iter().zip(frame_ns).map(one).collect()
}

/// The levels of a recording of frames, the finest first, packed; none for companions and short recordings.
pub fn build(recording: &Recording) -> Result<Vec<Vec<u8>>, StoreError> {
    if recording.kind == Kind::Companion {
        return Ok(Vec::new());
    }
    let mut levels = Vec::new();
    let mut level = blocks(&frames(&recording.at_ns, &recording.frame_ns), BLOCK);
    while level.len() >= FEWEST {
        levels.push(encode(&level)?);
        level = blocks(&level, STEP);
    }
    Ok(levels)
}

/// One column after the other: starts, shortest, longest; each chunk behind its length.
fn encode(level: &[Extremes]) -> Result<Vec<u8>, StoreError> {
    let column = |of: fn(&Extremes) -> i64| level.iter().map(of).collect::<Vec<i64>>();
    let mut body = Vec::new();
    for values in [column(|e| e.at_ns), column(|e| e.shortest_ns), column(|e| e.longest_ns)] {
        let chunks = pack(&values)?;
        body.extend(length(chunks.len())?);
        for chunk in chunks {
            body.extend(length(chunk.len())?);
            body.extend(chunk);
        }
    }
    Ok(body)
}

fn length(n: usize) -> Result<[u8; 4], StoreError> {
    u32::try_from(n).map(u32::to_be_bytes).map_err(broken)
}

fn decode(mut body: &[u8]) -> Result<Vec<Extremes>, StoreError> {
    let mut take = |n: usize| {
        let (head, rest) = body.split_at_checked(n).ok_or_else(|| broken("a strip that is cut off"))?;
        body = rest;
        Ok::<_, StoreError>(head)
    };
    let mut columns: [Vec<i64>; 3] = Default::default();
    for column in &mut columns {
        let mut next = || {
            let bytes = take(4)?.try_into().map_err(broken)?;
            usize::try_from(u32::from_be_bytes(bytes)).map_err(broken)
        };
        let chunks = next()?;
        let mut packed = Vec::new();
        for _ in 0..chunks {
            let n = {
                let bytes = take(4)?.try_into().map_err(broken)?;
                usize::try_from(u32::from_be_bytes(bytes)).map_err(broken)?
            };
            packed.push(take(n)?.to_vec());
        }
        *column = unpack(&packed)?;
    }
    let [at, shortest, longest] = columns;
    let rows = at.into_iter().zip(shortest).zip(longest);
    Ok(rows.map(|((at_ns, shortest_ns), longest_ns)| Extremes { at_ns, shortest_ns, longest_ns }).collect())
}

/// Stages the levels of a segment.
pub async fn stage(tx: &mut Tx<'_>, segment: SegmentId, levels: &[Vec<u8>]) -> Result<(), StoreError> {
    for (level, body) in (0_i64..).zip(levels) {
        sqlx::query("INSERT INTO strip_level (segment_id, level, body) VALUES (?, ?, ?)")
            .bind(segment)
            .bind(level)
            .bind(body)
            .execute(&mut **tx)
            .await?;
    }
    Ok(())
}

async fn level(db: &mut Db, segment: SegmentId, level: i64) -> Result<Option<Vec<u8>>, StoreError> {
    Ok(sqlx::query_scalar("SELECT body FROM strip_level WHERE segment_id = ? AND level = ?")
        .bind(segment)
        .bind(level)
        .fetch_optional(db)
        .await?)
}

async fn track(db: &mut Db, segment: SegmentId, role: &str) -> Result<Vec<Vec<u8>>, StoreError> {
    Ok(sqlx::query_scalar(
        "SELECT c.body FROM track_chunk AS c JOIN track AS t ON t.id = c.track_id
         WHERE t.segment_id = ? AND t.role = ? ORDER BY c.n",
    )
    .bind(segment)
    .bind(role)
    .fetch_all(db)
    .await?)
}

/// The frames of a window for a strip of `columns` columns: at least two blocks a column where there are as many
/// frames, each no coarser than needed. `rows` and `span_ns` are the segment's.
pub async fn strip(
    store: &Store,
    segment: SegmentId,
    (rows, span_ns): (i64, i64),
    window: Window,
    columns: u32,
) -> Result<Vec<Extremes>, StoreError> {
    let mut db = store.read().await?;
    let inside = i128::from(rows) * i128::from(window.length_ns().max(0)) / i128::from(span_ns.max(1));
    let wanted = i128::from(columns) * 2;
    let mut best = None;
    let (mut n, mut size) = (0, i128::try_from(BLOCK).map_err(broken)?);
    while inside / size >= wanted {
        let Some(body) = level(&mut db, segment, n).await? else { break };
        best = Some(body);
        n += 1;
        size *= i128::try_from(STEP).map_err(broken)?;
    }
    let raw = match best {
        Some(_) => None,
        None => Some((track(&mut db, segment, AT).await?, track(&mut db, segment, FRAME).await?)),
    };
    drop(db);
    let unpacked = tokio::task::spawn_blocking(move || {
        let all = match (best, raw) {
            (Some(body), _) => decode(&body)?,
            (None, Some((at, frame))) => frames(&unpack(&at)?, &unpack(&frame)?),
            (None, None) => Vec::new(),
        };
        // The block before the window may reach into it.
        let from = all.partition_point(|e| e.at_ns <= window.start_ns).saturating_sub(1);
        let to = all.partition_point(|e| e.at_ns < window.end_ns).max(from);
        Ok(all.get(from..to).unwrap_or_default().to_vec())
    });
    unpacked.await.map_err(broken)?
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::{Actor, testing};

    fn recording(rows: i64) -> Recording {
        let frame_ns: Vec<i64> =
            (0..rows).map(|i| if i == 77_777 { 90_000_000 } else { 5_000_000 + i % 13 }).collect();
        let at_ns = frame_ns.iter().scan(0, |at, f| Some(std::mem::replace(at, *at + f))).collect();
        Recording { kind: Kind::Frames, wall_start_ns: None, at_ns, frame_ns, tracks: Vec::new() }
    }

    #[test]
    fn every_level_comes_back_and_keeps_the_one_long_frame() {
        let recording = recording(200_000);
        let levels = build(&recording).unwrap();
        let sizes: Vec<usize> = levels.iter().map(|l| decode(l).unwrap().len()).collect();
        assert_eq!(sizes, [3125, 391]);
        for level in &levels {
            let level = decode(level).unwrap();
            assert_eq!(level.iter().filter(|e| e.longest_ns == 90_000_000).count(), 1);
            assert_eq!(level.iter().map(|e| e.shortest_ns).min(), Some(5_000_000));
        }
        assert!(decode(&levels[0][..levels[0].len() - 1]).is_err());
        assert!(build(&super::tests::recording(1000)).unwrap().is_empty());
    }

    #[tokio::test]
    async fn a_strip_is_as_fine_as_its_columns_need() {
        let (_folder, store) = testing::store().await;
        let rows = 70_000;
        let id = testing::segment(&store, "long", Kind::Frames, rows).await;
        let at_ns: Vec<i64> = (0..rows).map(|i| i * 10_000_000).collect();
        let frame_ns = vec![10_000_000; at_ns.len()];
        let levels =
            build(&Recording { kind: Kind::Frames, wall_start_ns: None, at_ns, frame_ns, tracks: vec![] })
                .unwrap();
        store.write(Actor::Server, async move |tx| stage(tx, id, &levels).await).await.unwrap();
        let span = rows * 10_000_000;
        let whole = Window { start_ns: 0, end_ns: span };
        assert_eq!(strip(&store, id, (rows, span), whole, 400).await.unwrap().len(), 1094);
        let near = Window { start_ns: 1_000_000_000, end_ns: 2_000_000_000 };
        let fine = strip(&store, id, (rows, span), near, 400).await.unwrap();
        assert_eq!((fine.len(), fine[0].at_ns), (100, 1_000_000_000));
    }
}
