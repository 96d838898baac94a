//! Taking in a log: bytes come in, a capture with its segments stands in the store, or nothing does.
//!
//! The bytes go to a nameless file beside the store while they are counted and hashed; the same bytes are not kept
//! twice. Reading them is done off the async threads, two at once and within a deadline. Chunks and tracks are staged
//! in short transactions, and one last short one makes all of it visible. Once the last byte is in, the work goes on
//! whether or not the client waits for the answer; before that, a client that goes away leaves nothing.

use std::collections::HashMap;
use std::fs::File;
use std::io::{Read as _, Seek as _};
use std::sync::Arc;
use std::time::{Duration, Instant};

use futures_util::{Stream, StreamExt as _};
use jiff::tz::TimeZone;
use serde::Serialize;
use tokio::sync::Semaphore;
use weighhouse_measure::intake::{Known, Layout, Question};

use super::once::{By, Once};
use super::reading::{Got, ReadSegment, read};
use super::spool::{Spooled, Within, disk, spool};
use super::{Error, Internal, Kind, Refusal, Result};
use crate::store::captures::{self, Came, Capture, NewCapture, Outcome};
use crate::store::registers::rigs;
use crate::store::segments::{self, SegmentRow};
use crate::store::{Actor, CaptureId, LayoutId, RigId, SegmentId, Store, Tx, layouts, rig_keys, strips};

mod correct;
mod cut;

pub use correct::Corrected;

/// Logs that are read at once.
const AT_ONCE: usize = 2;
/// How long reading one log may take.
const DEADLINE: Duration = Duration::from_secs(120);

/// Takes logs in. Cheap to clone; one for the whole server, since it limits what is read at once.
#[derive(Clone, Debug)]
pub struct TakeIn {
    store: Store,
    turns: Arc<Semaphore>,
    deadline: Duration,
}

/// What is said of a log besides its bytes.
#[derive(Clone, Debug)]
pub struct Upload {
    /// Its file name.
    pub name: String,
    /// The rig it was recorded on, where that is known; says in which zone its stamps are.
    pub rig_id: Option<RigId>,
    /// Start for a log without a wall clock, microseconds UTC.
    pub start_us: Option<i64>,
    /// SHA-256 of the game's settings file, 64 lower-case hexadecimal digits, where it was sent.
    pub settings: Option<String>,
    /// Idempotency key and path of the request.
    pub key: Option<(String, String)>,
}

/// What was understood of a log.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Taken {
    /// The capture.
    #[serde(flatten)]
    pub capture: Capture,
    /// Whether the same bytes were here before.
    pub already: bool,
    /// What it holds.
    pub segments: Vec<SegmentRow>,
}

impl TakeIn {
    /// Takes logs into `store`.
    pub fn new(store: Store) -> Self {
        Self { store, turns: Arc::new(Semaphore::new(AT_ONCE)), deadline: DEADLINE }
    }

    /// Removes what earlier uploads staged and never finished; how many there were. To be called once, before the
    /// first upload.
    pub async fn sweep(&self) -> Result<usize> {
        let mut db = self.store.read().await?;
        let (captures, segments) = (captures::staged(&mut db).await?, segments::staged(&mut db).await?);
        drop(db);
        let left = captures.len();
        for id in captures {
            remove(&self.store, id).await?;
        }
        remove_segments(&self.store, segments).await?;
        Ok(left)
    }

    /// Takes a log in, in the name of `by`.
    ///
    /// # Errors
    /// Refused when it is no log, when the disk is full, when reading takes too long, when its key came before with
    /// other bytes. Errors of `body` come back as they are. In each case nothing is kept.
    pub async fn take_in<B: AsRef<[u8]>>(
        &self,
        by: Actor,
        upload: Upload,
        body: impl Stream<Item = Result<B>>,
    ) -> Result<Taken> {
        let spooled = spool(self.store.path(), body).await?;
        let this = self.clone();
        // From here on it is finished even when the client is gone.
        let work = tokio::spawn(async move { this.keep(by, upload, spooled).await });
        work.await.map_err(|e| Internal(format!("taking in: {e}")))?
    }

    async fn keep(&self, by: Actor, upload: Upload, spooled: Spooled) -> Result<Taken> {
        let Spooled { file, digest, bytes } = spooled;
        let key = upload.key.clone().map(|(key, route)| Once { key, route, asked: digest.to_vec() });
        let there = captures::by_digest(&mut *self.store.read().await?, &digest).await?;
        if let Some(there) = there {
            return self.already(by, key, there.id).await;
        }
        let (file, got) = self.read(file, &upload, None).await?;
        let Upload { name, rig_id, start_us, settings: settings_sha256, .. } = upload;
        let new = NewCapture { name, rig_id, start_us, settings_sha256 };
        let id = self.store.write(by, async move |tx| captures::stage(tx, &new).await).await?;
        let kept = self.stage_and_show(by, id, file, got, key.clone(), (digest, bytes)).await;
        let already = match kept {
            Ok(already) => already,
            Err(error) => {
                remove(&self.store, id).await?;
                let other = captures::by_digest(&mut *self.store.read().await?, &digest).await?;
                return match other {
                    // The same bytes came by another request and were faster.
                    Some(other) => self.already(by, key, other.id).await,
                    None => Err(error),
                };
            }
        };
        self.taken(id, already).await
    }

    async fn already(&self, by: Actor, key: Option<Once>, id: CaptureId) -> Result<Taken> {
        let write = By::new(by, key).write(&self.store, async move |tx| {
            used(tx).await?;
            Ok(true)
        });
        self.taken(id, write.await?).await
    }

    async fn taken(&self, id: CaptureId, already: bool) -> Result<Taken> {
        let mut db = self.store.read().await?;
        let capture = captures::by_id(&mut db, id).await?;
        let capture = capture.ok_or_else(|| Internal(format!("capture {id} is gone")))?;
        Ok(Taken { capture, already, segments: segments::of_capture(&mut db, id).await? })
    }

    /// Reads a log off the async threads, with the layout that a person gave or those remembered.
    async fn read(&self, file: File, upload: &Upload, given: Option<Layout>) -> Result<(File, Got)> {
        let mut db = self.store.read().await?;
        let mut remembered = HashMap::new();
        for row in layouts::remembered(&mut db).await? {
            // A layout of an older form is asked for again.
            if let Some(layout) = row.layout() {
                remembered.insert(row.shape, layout);
            }
        }
        let zone = match upload.rig_id {
            Some(rig) => rigs::base_at(&mut db, rig, self.store.clock().now_us()).await?,
            None => None,
        };
        drop(db);
        let zone = zone.and_then(|base| TimeZone::get(&base.fields.time_zone).ok());
        let turn = self.turns.clone().acquire_owned().await.map_err(|e| Internal(e.to_string()))?;
        let (name, allowed) = (upload.name.clone(), self.deadline);
        let deadline = Instant::now() + allowed;
        let read = tokio::task::spawn_blocking(move || {
            let _turn = turn;
            // Of several logs in one file the answer is meant for those of its shape.
            let given = given.map(|layout| (layout.shape(), layout));
            let known = |shape: &str| match &given {
                Some((of, layout)) if of == shape => Some(layout.clone()),
                _ => remembered.get(shape).cloned(),
            };
            let known = Known { remembered: &known, zone: zone.as_ref(), ..Known::default() };
            let mut source = Within { file, deadline };
            let got = read(&mut source, &name, &known, allowed.as_secs())?;
            Ok((source.file, got))
        });
        read.await.map_err(|e| Internal(format!("reading a log: {e}")))?
    }

    async fn stage_and_show(
        &self,
        by: Actor,
        id: CaptureId,
        file: File,
        got: Got,
        key: Option<Once>,
        (digest, bytes): ([u8; 32], i64),
    ) -> Result<bool> {
        self.stage_chunks(by, id, file).await?;
        let shown = self.stage_segments(by, id, got.segments, None).await?;
        let came = got.came;
        let show = By::new(by, key).write(&self.store, async move |tx| {
            used(tx).await?;
            captures::show(tx, id, &digest, bytes, &came).await?;
            for segment in shown {
                segments::show(tx, segment).await?;
            }
            Ok(false)
        });
        show.await
    }

    async fn stage_chunks(&self, by: Actor, id: CaptureId, mut file: File) -> Result<()> {
        file.rewind().map_err(disk)?;
        for n in 0.. {
            let next = tokio::task::spawn_blocking(move || {
                let mut bytes = Vec::with_capacity(captures::CHUNK_BYTES);
                let most = u64::try_from(captures::CHUNK_BYTES).unwrap_or(u64::MAX);
                (&file).take(most).read_to_end(&mut bytes).map_err(disk)?;
                let packed = if bytes.is_empty() { None } else { Some(captures::pack(&bytes)?) };
                Ok::<_, Error>((file, packed))
            });
            let (back, packed) = next.await.map_err(|e| Internal(format!("packing: {e}")))??;
            file = back;
            let Some(packed) = packed else { break };
            self.store.write(by, async move |tx| captures::stage_chunk(tx, id, n, &packed).await).await?;
        }
        Ok(())
    }

    async fn stage_segments(
        &self,
        by: Actor,
        id: CaptureId,
        read: Vec<ReadSegment>,
        said: Option<(&str, LayoutId)>,
    ) -> Result<Vec<SegmentId>> {
        let mut staged = Vec::with_capacity(read.len());
        for ReadSegment { mut new, packed, strips, layout } in read {
            // Other logs in the same file were not asked about.
            let said = said.filter(|(shape, _)| layout.shape() == *shape).map(|(_, id)| id);
            let segment = self
                .store
                .write(by, async move |tx| {
                    new.capture_id = id;
                    new.layout_id = match said {
                        Some(id) => id,
                        None => layouts::keep(tx, &layout, None).await?,
                    };
                    segments::stage(tx, &new).await
                })
                .await?;
            for (n, track) in (0..).zip(packed.tracks) {
                self.store
                    .write(by, async move |tx| segments::stage_track(tx, segment, n, &track).await)
                    .await?;
            }
            self.store.write(by, async move |tx| strips::stage(tx, segment, &strips).await).await?;
            staged.push(segment);
        }
        Ok(staged)
    }

    /// Reads a capture as a person said, and with it all others of its shape that wait for the same answer: the
    /// layout stands for that shape from now on. What was understood, the capture that was asked about first.
    ///
    /// # Errors
    /// Refused when there is no such capture, when it cannot be read so, or when somebody else was faster. Others
    /// of its shape that cannot be read so go on waiting.
    pub async fn answer(&self, by: By, id: CaptureId, version: i64, layout: Layout) -> Result<Vec<Taken>> {
        let actor = by.actor();
        let mut taken = vec![self.read_again(by, id, version, layout.clone()).await?];
        taken.extend(self.answer_others(actor, &layout).await?);
        Ok(taken)
    }

    /// What [`TakeIn::answer`] answered to this request, if it came before.
    ///
    /// # Errors
    /// When the store fails; refused when the request's key came before with something else.
    pub async fn answered(&self, by: &By) -> Result<Option<Vec<Taken>>> {
        match by.first(&self.store).await? {
            Some(id) => Ok(Some(vec![self.taken(id, false).await?])),
            None => Ok(None),
        }
    }

    /// Reads a capture from the store with this layout for logs of its shape.
    async fn read_stored(&self, id: CaptureId, layout: Layout) -> Result<Got> {
        let there = captures::by_id(&mut *self.store.read().await?, id).await?;
        let there = there.ok_or_else(|| Refusal::missing("capture", id))?;
        let stored = captures::bytes(self.store.clone(), id).map(|chunk| chunk.map_err(Error::from));
        let file = spool(self.store.path(), stored).await?.file;
        let upload = Upload {
            name: there.name,
            rig_id: there.rig_id,
            start_us: there.start_us,
            settings: None,
            key: None,
        };
        Ok(self.read(file, &upload, Some(layout)).await?.1)
    }

    async fn read_again(&self, by: By, id: CaptureId, version: i64, layout: Layout) -> Result<Taken> {
        let actor = by.actor();
        let shape = layout.shape();
        let got = self.read_stored(id, layout.clone()).await?;
        if got.came.outcome != Outcome::Read {
            return Err(Refusal::new(
                Kind::Invalid,
                "It cannot be read so",
                got.came.says,
                "Say what its columns are once more.",
            )
            .into());
        }
        let with =
            self.store.write(actor, async move |tx| layouts::keep(tx, &layout, tx.by.person()).await).await?;
        let staged = self.stage_segments(actor, id, got.segments, Some((&shape, with))).await?;
        let shown = staged.clone();
        let kept = by.write(&self.store, async move |tx| {
            captures::set_outcome(tx, id, version, &Came::read()).await?;
            for segment in shown {
                segments::show(tx, segment).await?;
            }
            Ok(id)
        });
        if let Err(error) = kept.await {
            remove_segments(&self.store, staged).await?;
            return Err(error);
        }
        self.taken(id, false).await
    }
}

/// Whether a capture waits for an answer about logs of this shape.
fn asks_about(capture: &Capture, shape: &str) -> bool {
    let question = capture.question.as_deref().and_then(|q| serde_json::from_str::<Question>(q).ok());
    question.is_some_and(|q| q.guess.shape() == shape)
}

async fn used(tx: &mut Tx<'_>) -> Result<()> {
    match tx.by.rig_key() {
        Some(key) => Ok(rig_keys::used(tx, key).await?),
        None => Ok(()),
    }
}

async fn remove(store: &Store, id: CaptureId) -> Result<()> {
    Ok(store.write(Actor::Server, async move |tx| captures::remove_staged(tx, id).await).await?)
}

async fn remove_segments(store: &Store, ids: Vec<SegmentId>) -> Result<()> {
    for id in ids {
        store.write(Actor::Server, async move |tx| segments::remove_staged(tx, id).await).await?;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use std::fmt::Write as _;

    use futures_util::{TryStreamExt as _, stream};

    use super::*;
    use crate::store::people::Role;
    use crate::store::{audit, testing};

    fn log(frames: u32) -> Vec<u8> {
        let mut text = "elapsed (s),frame time (ms),power (W)\n".to_owned();
        let mut at = 0.0;
        for i in 0..frames {
            let frame = 8.0 + f64::from(i % 7) * 0.25;
            writeln!(text, "{at:.6},{frame:.3},{}", 250 + i % 9).unwrap();
            at += frame / 1000.0;
        }
        text.into_bytes()
    }

    fn body(bytes: &[u8]) -> impl Stream<Item = Result<Vec<u8>>> + use<> {
        stream::iter(bytes.chunks(1000).map(|c| Ok(c.to_vec())).collect::<Vec<_>>())
    }

    fn upload(name: &str, key: Option<&str>) -> Upload {
        let key = key.map(|key| (key.to_owned(), "/captures".to_owned()));
        Upload { name: name.to_owned(), rig_id: None, start_us: Some(7), settings: None, key }
    }

    /// Nothing staged, nothing half there, no file left beside the store.
    async fn clean(store: &Store, captures_there: usize) {
        let mut db = store.read().await.unwrap();
        assert_eq!(captures::staged(&mut db).await.unwrap(), []);
        assert_eq!(segments::staged(&mut db).await.unwrap(), []);
        assert_eq!(captures::newest(&mut db, 99).await.unwrap().len(), captures_there);
        let folder = std::fs::read_dir(store.path().parent().unwrap()).unwrap();
        let left = folder.filter(|f| f.as_ref().unwrap().file_name().to_string_lossy().contains(".passing-"));
        assert_eq!(left.count(), 0);
    }

    #[tokio::test]
    async fn a_log_comes_back_byte_for_byte_and_a_second_time_it_is_already_here() {
        let (_folder, store) = testing::store().await;
        let ada = Actor::Person(testing::person(&store, "Ada", Role::Member).await);
        let take_in = TakeIn::new(store.clone());
        let bytes = log(100_000);
        assert!(bytes.len() > captures::CHUNK_BYTES);
        let taken = take_in.take_in(ada, upload("run.csv", None), body(&bytes)).await.unwrap();
        assert_eq!((taken.already, taken.capture.outcome), (false, Outcome::Read));
        assert_eq!((taken.segments.len(), taken.segments[0].rows), (1, 100_000));
        let again = take_in.take_in(ada, upload("copy.csv", None), body(&bytes)).await.unwrap();
        assert!(again.already);
        assert_eq!(again.capture, taken.capture);
        let back: Vec<Vec<u8>> =
            captures::bytes(store.clone(), taken.capture.id).try_collect().await.unwrap();
        assert_eq!(back.concat(), bytes);
        let recording = segments::recording(&store, taken.segments[0].id).await.unwrap().unwrap();
        assert_eq!(recording.frame_ns[..3], [8_000_000, 8_250_000, 8_500_000]);
        clean(&store, 1).await;
        let mut db = store.read().await.unwrap();
        assert_eq!(audit::wrong(&mut db).await.unwrap(), Vec::<String>::new());
    }

    #[tokio::test]
    async fn what_is_no_log_or_breaks_off_leaves_nothing() {
        let (_folder, store) = testing::store().await;
        let take_in = TakeIn::new(store.clone());
        for bytes in [&b""[..], &[0, 159, 146, 150].repeat(5000), b"a,b\n"] {
            let refused = take_in.take_in(Actor::Server, upload("x.csv", None), body(bytes)).await;
            let Err(Error::Refused(refusal)) = refused else { panic!("{refused:?}") };
            assert_eq!(refusal.kind, Kind::Invalid);
            assert!(refusal.says.contains("x.csv"), "{refusal}");
        }
        let cut = body(&log(300)).chain(stream::iter([Err(Internal("gone".to_owned()).into())]));
        let broke = take_in.take_in(Actor::Server, upload("x.csv", None), cut).await;
        assert!(matches!(broke, Err(Error::Internal(_))));
        clean(&store, 0).await;
    }

    #[tokio::test]
    async fn a_key_gets_its_first_answer_and_other_bytes_under_it_are_refused_whole() {
        let (_folder, store) = testing::store().await;
        let take_in = TakeIn::new(store.clone());
        let bytes = log(300);
        let first = take_in.take_in(Actor::Server, upload("a.csv", Some("k")), body(&bytes)).await.unwrap();
        let retry = take_in.take_in(Actor::Server, upload("a.csv", Some("k")), body(&bytes)).await.unwrap();
        assert_eq!(retry, first);
        let other = take_in.take_in(Actor::Server, upload("b.csv", Some("k")), body(&log(400))).await;
        let Err(Error::Refused(refusal)) = other else { panic!("{other:?}") };
        assert_eq!(refusal.kind, Kind::Clash);
        clean(&store, 1).await;
    }

    #[tokio::test]
    async fn the_same_bytes_at_the_same_time_are_one_capture() {
        let (_folder, store) = testing::store().await;
        let take_in = TakeIn::new(store.clone());
        let bytes = log(2000);
        let one = take_in.take_in(Actor::Server, upload("a.csv", None), body(&bytes));
        let two = take_in.take_in(Actor::Server, upload("b.csv", None), body(&bytes));
        let (one, two) = tokio::join!(one, two);
        let (one, two) = (one.unwrap(), two.unwrap());
        assert_eq!(one.capture, two.capture);
        assert!(one.already != two.already);
        clean(&store, 1).await;
    }

    #[tokio::test]
    async fn what_a_crash_left_is_swept() {
        let (_folder, store) = testing::store().await;
        let new =
            NewCapture { name: "cut.csv".to_owned(), rig_id: None, start_us: None, settings_sha256: None };
        store.write(Actor::Server, async move |tx| captures::stage(tx, &new).await).await.unwrap();
        let take_in = TakeIn::new(store.clone());
        assert_eq!(take_in.sweep().await.unwrap(), 1);
        assert_eq!(take_in.sweep().await.unwrap(), 0);
        clean(&store, 0).await;
    }

    #[tokio::test]
    async fn an_answer_reads_all_logs_that_wait_for_it_and_the_next_one_is_not_asked_about() {
        let (_folder, store) = testing::store().await;
        let ada = testing::person(&store, "Ada", Role::Member).await;
        let take_in = TakeIn::new(store.clone());
        // One column of numbers under a header that says nothing: durations in what unit?
        let vague = |n: u32| {
            let rows: Vec<String> = (0..300).map(|i| format!("{}", 8 + (i * n) % 5)).collect();
            format!("value\n{}\n", rows.join("\n")).into_bytes()
        };
        let mut asked = Vec::new();
        for n in [1, 2] {
            let by = Actor::Person(ada);
            asked.push(take_in.take_in(by, upload("v.csv", None), body(&vague(n))).await.unwrap());
        }
        assert!(
            asked.iter().all(|t| t.capture.outcome == Outcome::Ask && t.segments.is_empty()),
            "{asked:?}"
        );
        let question: Question = serde_json::from_str(asked[0].capture.question.as_deref().unwrap()).unwrap();
        let chosen = [(
            weighhouse_measure::recording::Role::FrameTime,
            weighhouse_measure::recording::Unit::Millisecond,
        )];
        let layout = Layout::answer(&question, weighhouse_measure::recording::Kind::Frames, &chosen).unwrap();
        let read = take_in.answer(ada.into(), asked[0].capture.id, 1, layout.clone()).await.unwrap();
        assert_eq!(
            read.iter().map(|t| t.capture.id).collect::<Vec<_>>(),
            [asked[0].capture.id, asked[1].capture.id]
        );
        assert!(read.iter().all(|t| t.capture.outcome == Outcome::Read && t.segments[0].rows == 300));
        let next = take_in.take_in(Actor::Person(ada), upload("v.csv", None), body(&vague(3))).await.unwrap();
        assert_eq!(next.capture.outcome, Outcome::Read);
        let stale = take_in.answer(ada.into(), asked[0].capture.id, 1, layout).await;
        assert!(stale.is_err());
        clean(&store, 3).await;
        let mut db = store.read().await.unwrap();
        assert_eq!(audit::wrong(&mut db).await.unwrap(), Vec::<String>::new());
    }
}
