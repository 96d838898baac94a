//! Segments of captures with their tracks and strips.

use serde::Serialize;
use sqlx::types::Json;
use weighhouse_measure::recording::{Kind, Problem, Recording, Role, Window};

use super::audit::SEGMENT;
use super::tracks::{self, FRAME, PackedRecording, PackedTrack, unpack};
use super::words::{Word, kind_word};
use super::{CaptureId, Db, LayoutId, PassId, SegmentId, Store, StoreError, TrackId, Tx, hit};

/// What a person cut out of a log as it was read; both none: all of it.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, Serialize, sqlx::FromRow)]
pub struct Cut {
    /// Start of its first row, ns from the log's first one.
    pub cut_start_ns: Option<i64>,
    /// End of its last row.
    pub cut_end_ns: Option<i64>,
}

impl Cut {
    /// This stretch.
    pub fn of(window: Window) -> Self {
        Self { cut_start_ns: Some(window.start_ns), cut_end_ns: Some(window.end_ns) }
    }

    /// The stretch; none: all of it.
    pub fn window(self) -> Option<Window> {
        let (start_ns, end_ns) = self.cut_start_ns.zip(self.cut_end_ns)?;
        Some(Window { start_ns, end_ns })
    }

    /// Names segment `n` of a member, as digests do: `0`, or `0 from 8000000000 to 68000000000`.
    pub fn names(self, n: i64) -> String {
        match self.window() {
            Some(Window { start_ns, end_ns }) => format!("{n} from {start_ns} to {end_ns}"),
            None => n.to_string(),
        }
    }
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
    /// What was cut out of that.
    #[sqlx(flatten)]
    #[serde(flatten)]
    pub cut: Cut,
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
            "SELECT s.id, s.capture_id, c.name AS capture, lower(hex(c.digest)) AS digest, member, s.n, cut_start_ns,
                    cut_end_ns, layout_id, kind, rows, span_ns, wall_start_ns, problems, coalesce(p.id, o.pass_id) AS pass_id
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

/// The segments that were read with a layout, oldest first.
pub async fn of_layout(db: &mut Db, layout: LayoutId) -> Result<Vec<SegmentRow>, StoreError> {
    Ok(sqlx::query_as(segments!("AND s.layout_id = ? ORDER BY s.id")).bind(layout).fetch_all(db).await?)
}

/// Segments that no pass uses yet, oldest first: what waits at the intake. A log of which something was cut out does not
/// wait any more.
pub async fn waiting(db: &mut Db) -> Result<Vec<SegmentRow>, StoreError> {
    Ok(sqlx::query_as(segments!(
        "AND p.id IS NULL AND o.id IS NULL AND NOT EXISTS (SELECT 1 FROM soak WHERE segment_id = s.id)
         AND (cut_start_ns IS NOT NULL OR NOT EXISTS (
             SELECT 1 FROM segment AS x WHERE (x.capture_id, x.member, x.n, x.layout_id)
             = (s.capture_id, s.member, s.n, s.layout_id) AND x.cut_start_ns IS NOT NULL AND x.visible = 1))
         ORDER BY s.id"
    ))
    .fetch_all(db)
    .await?)
}

/// What was cut out of the same log, in order of time.
pub async fn cuts_of(db: &mut Db, of: &SegmentRow) -> Result<Vec<SegmentRow>, StoreError> {
    Ok(sqlx::query_as(segments!(
        "AND s.capture_id = ? AND s.member = ? AND s.n = ? AND s.layout_id = ? AND cut_start_ns IS NOT NULL
         ORDER BY cut_start_ns"
    ))
    .bind(of.capture_id)
    .bind(&of.member)
    .bind(of.n)
    .bind(of.layout_id)
    .fetch_all(db)
    .await?)
}

/// The log as it was read, of which this was cut out; none where it is whole itself.
pub async fn whole_of(db: &mut Db, of: &SegmentRow) -> Result<Option<SegmentRow>, StoreError> {
    if of.cut.window().is_none() {
        return Ok(None);
    }
    Ok(sqlx::query_as(segments!(
        "AND s.capture_id = ? AND s.member = ? AND s.n = ? AND s.layout_id = ? AND cut_start_ns IS NULL"
    ))
    .bind(of.capture_id)
    .bind(&of.member)
    .bind(of.n)
    .bind(of.layout_id)
    .fetch_optional(db)
    .await?)
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
    /// What is cut out of that.
    pub cut: Cut,
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
        "INSERT INTO segment (capture_id, member, n, cut_start_ns, cut_end_ns, layout_id, kind, rows, span_ns,
                              wall_start_ns, problems)
         VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?) RETURNING id",
    )
    .bind(s.capture_id)
    .bind(&s.member)
    .bind(s.n)
    .bind(s.cut.cut_start_ns)
    .bind(s.cut.cut_end_ns)
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

/// Takes a visible segment back to the staged ones, to be removed; `act` is what the trail says of it. A
/// [`StoreError::Stale`] while a pass or a companion rests on it.
pub async fn hide(tx: &mut Tx<'_>, act: &'static str, id: SegmentId) -> Result<(), StoreError> {
    let done = sqlx::query(
        "UPDATE segment SET visible = 0 WHERE id = ?1 AND visible = 1
         AND NOT EXISTS (SELECT 1 FROM pass WHERE segment_id = ?1)
         AND NOT EXISTS (SELECT 1 FROM companion WHERE segment_id = ?1)",
    )
    .bind(id)
    .execute(&mut **tx)
    .await?;
    hit(&done)?;
    tx.record(act, &SEGMENT, id).await
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
    use crate::store::{Actor, Conflict, audit, companions, passes, testing};

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
                let new = NewCapture {
                    name: "cut off".to_owned(),
                    rig_id: None,
                    start_us: Some(1),
                    settings_sha256: None,
                };
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
                assert!(captures::has_length(tx, 5).await? && !captures::has_length(tx, 6).await?);
                let new = NewCapture {
                    name: "again".to_owned(),
                    rig_id: None,
                    start_us: None,
                    settings_sha256: None,
                };
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
    async fn a_stretch_that_was_read_anew_takes_the_place_of_the_old_one() {
        let (_folder, store) = testing::store().await;
        let team = testing::team(&store).await;
        let pass = testing::pass(&store, team, "p").await;
        let new = testing::segment(&store, "q", Kind::Frames, 500).await;
        let beside = testing::segment(&store, "sensors", Kind::Companion, 5).await;
        let beside_new = testing::segment(&store, "sensors again", Kind::Companion, 6).await;
        store
            .write(Actor::Person(team.person), async move |tx| {
                let old = passes::by_id(tx, pass).await?.unwrap().segment_id;
                companions::add(tx, pass, beside, None, companions::PlacedBy::Nobody).await?;
                assert!(matches!(hide(tx, "read again", old).await, Err(StoreError::Stale)));
                assert!(matches!(hide(tx, "read again", beside).await, Err(StoreError::Stale)));
                for (old, new) in [(old, new), (beside, beside_new)] {
                    passes::rest_on(tx, "read again", old, new).await?;
                    companions::rest_on(tx, old, new).await?;
                    hide(tx, "read again", old).await?;
                }
                let row = passes::by_id(tx, pass).await?.unwrap();
                assert_eq!((row.segment_id, row.rows, row.version), (new, 500, 2));
                assert_eq!(companions::of_pass(tx, pass).await?[0].rows, 6);
                assert_eq!(staged(tx).await?, [old, beside]);
                let left: Vec<_> = of_layout(tx, row.layout_id).await?.iter().map(|s| s.id).collect();
                assert_eq!(left, [new, beside_new]);
                assert_eq!(audit::wrong(tx).await?, Vec::<String>::new());
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
