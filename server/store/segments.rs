//! Segments of captures with their tracks and strips, and the layouts they were read with.

use serde::Serialize;
use sqlx::types::Json;
use weighhouse_measure::recording::{Kind, Problem, Recording, Role};

use super::audit::{LAYOUT, SEGMENT};
use super::tracks::{self, FRAME, PackedRecording, PackedTrack, unpack};
use super::words::{Word, kind_word};
use super::{CaptureId, Db, LayoutId, PassId, PersonId, SegmentId, Store, StoreError, TrackId, Tx, hit};

/// How the columns of a kind of log are read.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, sqlx::FromRow)]
pub struct LayoutRow {
    /// Row id.
    pub id: LayoutId,
    /// Shape of the header that it is remembered by.
    pub shape: String,
    /// Its version for that shape, from 1.
    pub version: i64,
    /// The layout as JSON.
    pub body: String,
    /// Who answered; nobody: proved by the data.
    pub decided_by: Option<PersonId>,
    /// When, microseconds UTC.
    pub made_us: i64,
}

macro_rules! layouts {
    ($rest:literal) => {
        concat!("SELECT id, shape, version, body, decided_by, made_us FROM layout ", $rest)
    };
}

/// One layout.
pub async fn layout(db: &mut Db, id: LayoutId) -> Result<Option<LayoutRow>, StoreError> {
    Ok(sqlx::query_as(layouts!("WHERE id = ?")).bind(id).fetch_optional(db).await?)
}

/// The newest layout of each shape.
pub async fn newest_layouts(db: &mut Db) -> Result<Vec<LayoutRow>, StoreError> {
    Ok(sqlx::query_as(layouts!(
        "AS l WHERE version = (SELECT max(version) FROM layout WHERE shape = l.shape) ORDER BY id"
    ))
    .fetch_all(db)
    .await?)
}

/// Keeps a layout: the one that is there when it is the same as the newest of its shape, else as a new version.
pub async fn keep_layout(
    tx: &mut Tx<'_>,
    shape: &str,
    body: &str,
    decided_by: Option<PersonId>,
) -> Result<LayoutId, StoreError> {
    let newest: Option<LayoutRow> = sqlx::query_as(layouts!("WHERE shape = ? ORDER BY version DESC LIMIT 1"))
        .bind(shape)
        .fetch_optional(&mut **tx)
        .await?;
    if let Some(newest) =
        newest.as_ref().filter(|n| n.body == body && (n.decided_by.is_some() || decided_by.is_none()))
    {
        return Ok(newest.id);
    }
    let id = sqlx::query_scalar(
        "INSERT INTO layout (shape, version, body, decided_by, made_us) VALUES (?, ?, ?, ?, ?) RETURNING id",
    )
    .bind(shape)
    .bind(newest.map_or(1, |n| n.version + 1))
    .bind(body)
    .bind(decided_by)
    .bind(tx.at_us)
    .fetch_one(&mut **tx)
    .await
    .map(LayoutId)?;
    tx.record("lay out", &LAYOUT, id).await?;
    Ok(id)
}

/// A visible segment, with its capture and the pass that uses it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, sqlx::FromRow)]
pub struct SegmentRow {
    /// Row id.
    pub id: SegmentId,
    /// Its capture.
    pub capture_id: CaptureId,
    /// That capture's file name.
    pub capture: String,
    /// That capture's digest, hexadecimal.
    pub digest: String,
    /// File inside a container; empty for plain logs.
    pub member: String,
    /// Number within the member, from 0.
    pub n: i64,
    /// The layout it was read with.
    pub layout_id: LayoutId,
    /// Frames or companion.
    #[sqlx(try_from = "Word")]
    pub kind: Kind,
    /// Rows.
    pub rows: i64,
    /// From the first row to the end of the last, ns.
    pub span_ns: i64,
    /// UTC nanoseconds of the first row, where the log has a wall clock.
    pub wall_start_ns: Option<i64>,
    /// What could not be understood of it.
    pub problems: Json<Vec<Problem>>,
    /// The pass whose frames or companion it is.
    pub pass_id: Option<PassId>,
}

macro_rules! segments {
    ($rest:literal) => {
        concat!(
            "SELECT s.id, s.capture_id, c.name AS capture, lower(hex(c.digest)) AS digest, member, s.n, layout_id, kind,
                    rows, span_ns, wall_start_ns, problems, coalesce(p.id, o.pass_id) AS pass_id
             FROM segment AS s JOIN capture AS c ON c.id = s.capture_id
             LEFT JOIN pass AS p ON p.segment_id = s.id LEFT JOIN companion AS o ON o.segment_id = s.id
             WHERE s.visible = 1 ",
            $rest
        )
    };
}

/// One segment.
pub async fn by_id(db: &mut Db, id: SegmentId) -> Result<Option<SegmentRow>, StoreError> {
    Ok(sqlx::query_as(segments!("AND s.id = ?")).bind(id).fetch_optional(db).await?)
}

/// The segments of a capture.
pub async fn of_capture(db: &mut Db, capture: CaptureId) -> Result<Vec<SegmentRow>, StoreError> {
    Ok(sqlx::query_as(segments!("AND s.capture_id = ? ORDER BY s.id")).bind(capture).fetch_all(db).await?)
}

/// Segments that no pass uses yet, oldest first: what waits at the intake.
pub async fn waiting(db: &mut Db) -> Result<Vec<SegmentRow>, StoreError> {
    Ok(sqlx::query_as(segments!("AND p.id IS NULL AND o.id IS NULL ORDER BY s.id")).fetch_all(db).await?)
}

/// What reading gave of a segment, to be staged.
#[derive(Clone, Debug)]
pub struct NewSegment {
    /// Its capture.
    pub capture_id: CaptureId,
    /// File inside a container; empty for plain logs.
    pub member: String,
    /// Number within the member, from 0.
    pub n: i64,
    /// The layout it was read with.
    pub layout_id: LayoutId,
    /// Frames or companion.
    pub kind: Kind,
    /// Rows.
    pub rows: i64,
    /// From the first row to the end of the last, ns.
    pub span_ns: i64,
    /// UTC nanoseconds of the first row.
    pub wall_start_ns: Option<i64>,
    /// What could not be understood of it.
    pub problems: Vec<Problem>,
}

/// Begins to stage a segment.
pub async fn stage(tx: &mut Tx<'_>, s: &NewSegment) -> Result<SegmentId, StoreError> {
    Ok(sqlx::query_scalar(
        "INSERT INTO segment (capture_id, member, n, layout_id, kind, rows, span_ns, wall_start_ns, problems)
         VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?) RETURNING id",
    )
    .bind(s.capture_id)
    .bind(&s.member)
    .bind(s.n)
    .bind(s.layout_id)
    .bind(kind_word(s.kind))
    .bind(s.rows)
    .bind(s.span_ns)
    .bind(s.wall_start_ns)
    .bind(Json(&s.problems))
    .fetch_one(&mut **tx)
    .await
    .map(SegmentId)?)
}

/// Stages track `n` (from 0) of a segment.
pub async fn stage_track(
    tx: &mut Tx<'_>,
    segment: SegmentId,
    n: i64,
    track: &PackedTrack,
) -> Result<(), StoreError> {
    let id: TrackId = sqlx::query_scalar(
        "INSERT INTO track (segment_id, n, role, unit, name) VALUES (?, ?, ?, ?, ?) RETURNING id",
    )
    .bind(segment)
    .bind(n)
    .bind(&track.role)
    .bind(&track.unit)
    .bind(&track.name)
    .fetch_one(&mut **tx)
    .await
    .map(TrackId)?;
    for (n, body) in (0_i64..).zip(&track.chunks) {
        sqlx::query("INSERT INTO track_chunk (track_id, n, body) VALUES (?, ?, ?)")
            .bind(id)
            .bind(n)
            .bind(body)
            .execute(&mut **tx)
            .await?;
    }
    Ok(())
}

/// Makes a staged segment visible.
pub async fn show(tx: &mut Tx<'_>, id: SegmentId) -> Result<(), StoreError> {
    let done = sqlx::query("UPDATE segment SET visible = 1 WHERE id = ? AND visible = 0")
        .bind(id)
        .execute(&mut **tx)
        .await?;
    hit(&done)?;
    tx.record("read", &SEGMENT, id).await
}

/// Segments that were staged and not shown.
pub async fn staged(db: &mut Db) -> Result<Vec<SegmentId>, StoreError> {
    Ok(sqlx::query_scalar("SELECT id FROM segment WHERE visible = 0").fetch_all(db).await?)
}

/// Removes a staged segment with its tracks; a visible one stays.
pub async fn remove_staged(tx: &mut Tx<'_>, id: SegmentId) -> Result<(), StoreError> {
    sqlx::query("DELETE FROM segment WHERE id = ? AND visible = 0").bind(id).execute(&mut **tx).await?;
    Ok(())
}

#[derive(sqlx::FromRow)]
struct TrackHead {
    id: TrackId,
    role: String,
    unit: String,
    name: String,
}

async fn heads(db: &mut Db, id: SegmentId) -> Result<Vec<TrackHead>, StoreError> {
    Ok(sqlx::query_as("SELECT id, role, unit, name FROM track WHERE segment_id = ? ORDER BY n")
        .bind(id)
        .fetch_all(db)
        .await?)
}

/// A segment's tracks as they are kept.
pub async fn packed(db: &mut Db, id: SegmentId) -> Result<Option<PackedRecording>, StoreError> {
    let heads = heads(db, id).await?;
    packed_of(db, id, heads).await
}

async fn packed_of(
    db: &mut Db,
    id: SegmentId,
    heads: Vec<TrackHead>,
) -> Result<Option<PackedRecording>, StoreError> {
    let Some(segment) = by_id(db, id).await? else { return Ok(None) };
    let mut tracks = Vec::with_capacity(heads.len());
    for head in heads {
        let chunks = sqlx::query_scalar("SELECT body FROM track_chunk WHERE track_id = ? ORDER BY n")
            .bind(head.id)
            .fetch_all(&mut *db)
            .await?;
        tracks.push(PackedTrack { role: head.role, unit: head.unit, name: head.name, chunks });
    }
    Ok(Some(PackedRecording { kind: segment.kind, wall_start_ns: segment.wall_start_ns, tracks }))
}

/// Sum of the durations of a segment's frames, ns; 0 for companions.
pub async fn frames_ns(db: &mut Db, id: SegmentId) -> Result<i64, StoreError> {
    let chunks: Vec<Vec<u8>> = sqlx::query_scalar(
        "SELECT k.body FROM track AS t JOIN track_chunk AS k ON k.track_id = t.id
         WHERE t.segment_id = ? AND t.role = ?",
    )
    .bind(id)
    .bind(FRAME)
    .fetch_all(&mut *db)
    .await?;
    Ok(unpack::<i64>(&chunks)?.iter().sum())
}

/// A segment as a recording, unpacked off the async threads.
pub async fn recording(store: &Store, id: SegmentId) -> Result<Option<Recording>, StoreError> {
    let mut db = store.read().await?;
    let Some(packed) = packed(&mut db, id).await? else { return Ok(None) };
    drop(db);
    tokio::task::spawn_blocking(move || packed.unpack().map(Some))
        .await
        .map_err(|e| StoreError::Other(format!("unpacking segment {id}: {e}")))?
}

/// The tracks of these roles that a segment of frames itself has, with the time of each row; none where it has none.
pub async fn beside(store: &Store, id: SegmentId, roles: &[Role]) -> Result<Option<Recording>, StoreError> {
    let mut db = store.read().await?;
    let words = roles.iter().map(|role| tracks::word(*role)).collect::<Result<Vec<_>, _>>()?;
    let mut heads = heads(&mut db, id).await?;
    heads.retain(|track| track.role == tracks::AT || words.contains(&track.role));
    if heads.len() < 2 {
        return Ok(None);
    }
    let Some(mut packed) = packed_of(&mut db, id, heads).await? else { return Ok(None) };
    drop(db);
    packed.kind = Kind::Companion;
    tokio::task::spawn_blocking(move || packed.unpack().map(Some))
        .await
        .map_err(|e| StoreError::Other(format!("unpacking segment {id}: {e}")))?
}

#[cfg(test)]
mod tests {
    use futures_util::TryStreamExt as _;

    use super::*;
    use crate::store::captures::{self, Came, NewCapture, Outcome};
    use crate::store::{Actor, Conflict, audit, testing};

    #[tokio::test]
    async fn a_capture_comes_back_byte_for_byte_and_its_segment_row_by_row() {
        let (_folder, store) = testing::store().await;
        let id = testing::segment(&store, "a log", Kind::Frames, 70_000).await;
        let mut db = store.read().await.unwrap();
        let row = by_id(&mut db, id).await.unwrap().unwrap();
        assert_eq!(
            (row.rows, row.kind, row.pass_id, row.capture.as_str()),
            (70_000, Kind::Frames, None, "a log")
        );
        assert_eq!(waiting(&mut db).await.unwrap(), std::slice::from_ref(&row));
        assert_eq!(of_capture(&mut db, row.capture_id).await.unwrap(), std::slice::from_ref(&row));
        let capture = captures::by_id(&mut db, row.capture_id).await.unwrap().unwrap();
        assert_eq!((capture.bytes, capture.outcome, capture.digest), (5, Outcome::Read, row.digest));
        assert_eq!(captures::newest(&mut db, 9).await.unwrap().len(), 1);
        drop(db);
        let bytes: Vec<Vec<u8>> = captures::bytes(store.clone(), row.capture_id).try_collect().await.unwrap();
        assert_eq!(bytes.concat(), b"a log");
        let recording = recording(&store, id).await.unwrap().unwrap();
        assert_eq!((recording.rows(), recording.at_ns[69_999]), (70_000, 699_990_000_000));
        assert_eq!(super::recording(&store, SegmentId(99)).await.unwrap(), None);
    }

    #[tokio::test]
    async fn what_was_staged_and_never_shown_is_seen_by_nobody_and_swept_with_all_that_hangs_on_it() {
        let (_folder, store) = testing::store().await;
        testing::segment(&store, "kept", Kind::Frames, 3).await;
        store
            .write(Actor::Server, async |tx| {
                let new = NewCapture { name: "cut off".to_owned(), rig_id: None, start_us: Some(1) };
                let id = captures::stage(tx, &new).await?;
                captures::stage_chunk(tx, id, 0, &captures::pack(b"half")?).await?;
                assert_eq!(captures::by_id(tx, id).await?, None);
                assert_eq!(captures::staged(tx).await?, [id]);
                captures::remove_staged(tx, id).await?;
                assert_eq!(captures::chunk(tx, id, 0).await?, None);
                let kept = captures::newest(tx, 9).await?.remove(0);
                captures::remove_staged(tx, kept.id).await?;
                let segment = of_capture(tx, kept.id).await?.remove(0);
                remove_staged(tx, segment.id).await?;
                assert_eq!(staged(tx).await?, []);
                assert_eq!(captures::newest(tx, 9).await?.len(), 1);
                Ok::<_, StoreError>(())
            })
            .await
            .unwrap();
        let mut db = store.read().await.unwrap();
        assert_eq!(audit::wrong(&mut db).await.unwrap(), Vec::<String>::new());
    }

    #[tokio::test]
    async fn the_same_bytes_are_shown_once() {
        let (_folder, store) = testing::store().await;
        testing::segment(&store, "a log", Kind::Frames, 3).await;
        let twice = store
            .write(Actor::Server, async |tx| {
                let digest =
                    sha2::Digest::finalize(<sha2::Sha256 as sha2::Digest>::new_with_prefix("a log")).into();
                assert!(captures::by_digest(tx, &digest).await?.is_some());
                let new = NewCapture { name: "again".to_owned(), rig_id: None, start_us: None };
                let id = captures::stage(tx, &new).await?;
                captures::show(tx, id, &digest, 5, &Came::read()).await
            })
            .await;
        let Err(StoreError::Conflict { kind: Conflict::Unique, constraint }) = twice else {
            panic!("{twice:?}")
        };
        assert_eq!(constraint, "capture.digest");
    }

    #[tokio::test]
    async fn a_layout_gets_a_new_version_only_when_it_says_something_new() {
        let (_folder, store) = testing::store().await;
        let team = testing::team(&store).await;
        let who = Some(team.person);
        store
            .write(Actor::Person(team.person), async move |tx| {
                let first = keep_layout(tx, "s", "{}", None).await?;
                assert_eq!(keep_layout(tx, "s", "{}", None).await?, first);
                let answered = keep_layout(tx, "s", "{}", who).await?;
                assert_ne!(answered, first);
                assert_eq!(keep_layout(tx, "s", "{}", None).await?, answered);
                let third = keep_layout(tx, "s", "{\"a\":1}", None).await?;
                assert_eq!(layout(tx, third).await?.unwrap().version, 3);
                keep_layout(tx, "t", "{}", None).await?;
                let newest = newest_layouts(tx).await?;
                assert_eq!(
                    newest.iter().map(|l| (l.shape.as_str(), l.version)).collect::<Vec<_>>(),
                    [("s", 3), ("t", 1)]
                );
                Ok::<_, StoreError>(())
            })
            .await
            .unwrap();
    }

    #[tokio::test]
    async fn a_capture_is_read_again_and_given_a_start_with_its_version() {
        let (_folder, store) = testing::store().await;
        testing::segment(&store, "a log", Kind::Frames, 3).await;
        store
            .write(Actor::Server, async |tx| {
                let id = captures::newest(tx, 1).await?.remove(0).id;
                captures::set_start(tx, id, 1, Some(77)).await?;
                let came = Came { outcome: Outcome::Ask, says: "which column?".to_owned(), question: None };
                captures::set_outcome(tx, id, 2, &came).await?;
                assert!(matches!(captures::set_start(tx, id, 2, None).await, Err(StoreError::Stale)));
                let row = captures::by_id(tx, id).await?.unwrap();
                assert_eq!(
                    (row.start_us, row.outcome, row.says.as_str()),
                    (Some(77), Outcome::Ask, "which column?")
                );
                assert_eq!(audit::wrong(tx).await?, Vec::<String>::new());
                Ok::<_, StoreError>(())
            })
            .await
            .unwrap();
    }
}
