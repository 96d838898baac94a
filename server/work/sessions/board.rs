//! A rig's board: what came in last and whether it is good, and the pass that is next.

use std::sync::Arc;

use weighhouse_measure::measures::Seed;
use weighhouse_measure::plan::sessions::{Session, Step, What};
use weighhouse_measure::recording::Window;
use weighhouse_measure::screens::FlagKind;

use super::{Bench, RigBench};
use crate::chance::token_hash;
use crate::store::audit;
use crate::store::bench::{self, CameIn};
use crate::store::captures::Outcome;
use crate::store::{Actor, SegmentId, Store, StoreError, segments};
use crate::work::evidence::{CellEvidence, PassEvidence};
use crate::work::pattern::bare;
use crate::work::people::NOTE_US;
use crate::work::{Internal, Kind, Refusal, Result, results};

/// A board that was opened.
#[derive(Clone, Debug)]
pub struct Opened {
    /// Name of the rig.
    pub rig: String,
    /// The bench of its piece.
    pub bench: Bench,
    /// Where the rig stands in it; none where nothing ran there and nothing is to be run.
    pub at: Option<usize>,
    /// What came in last.
    pub last: Option<Last>,
}

/// What came in last from a rig.
#[derive(Clone, Debug, PartialEq)]
pub enum Last {
    /// A pass of the piece, by its key.
    Pass(String),
    /// A log that is no pass yet.
    Log {
        /// File name.
        name: String,
        /// When it came in, microseconds UTC.
        at_us: i64,
        /// What a person has to do first, or what is wrong with it; empty where it was read.
        says: String,
        /// What the screens found on it, and its average frame rate, where it was read.
        found: Option<Found>,
    },
}

/// What is known of a log before anybody said which cell it belongs to.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Found {
    /// Kinds of flag.
    pub flags: Vec<FlagKind>,
    /// Average frame rate, fps.
    pub average_fps: Option<f64>,
}

impl Opened {
    /// The rig's own bench.
    pub fn rig_bench(&self) -> Option<&RigBench> {
        self.bench.rigs.get(self.at?)
    }

    /// The next pass: its session, what comes before it, and its own step.
    pub fn next(&self) -> Option<(&Session, &[Step], &Step)> {
        let session = self.rig_bench()?.plan.sessions.first()?;
        let at = session.steps.iter().position(|step| matches!(step.what, What::Pass { .. }))?;
        Some((session, session.steps.get(..at)?, session.steps.get(at)?))
    }

    /// A name for the log of a pass that Intake reads without asking.
    pub fn log_name(&self, cell: &CellEvidence, number: u32) -> String {
        let names = &self.bench.evidence.registers;
        let of = &cell.cell.of;
        let part = names.parts.get(&cell.cell.part_id).map(|part| bare(&part.fields.model));
        let tuning = names.tunings.get(&of.tuning_id).map(|tuning| tuning.fields.name.as_str());
        let scene = names.scenes.get(&of.scene_id);
        let alone =
            |passage: &str| names.scenes.values().filter(|s| s.fields.passage == passage).count() == 1;
        let scene = scene.map(|scene| match scene.fields.passage.as_str() {
            passage if alone(passage) => bare(passage),
            _ => bare(&names.scene_name(of.scene_id)),
        });
        let mut words: Vec<String> = part.into_iter().collect();
        words.extend(tuning.filter(|name| *name != crate::store::registers::tunings::STOCK).map(bare));
        words.extend(scene);
        words.extend([bare(&names.setting_name(of.setting_id)), bare(&self.rig), format!("p{number}")]);
        words.join("_")
    }
}

/// Opens the board with this token.
///
/// # Errors
/// Refused when there is none, or it was taken back.
pub async fn open(store: &Store, token: &str) -> Result<Opened> {
    let mut db = store.read().await?;
    let board = bench::board(&mut db, &token_hash(token)).await?.ok_or_else(closed)?;
    let newest = bench::newest_of_rig(&mut db, board.rig_id).await?;
    let entry = audit::head(&mut db).await.map_err(StoreError::from)?.seq;
    drop(db);
    let now_us = store.clock().now_us();
    if board.opened_us.is_none_or(|last_us| now_us - last_us >= NOTE_US) {
        let board = board.clone();
        store.note(Actor::Server, async move |tx| bench::opened(tx, &board).await).await;
    }
    let bench = super::read(store, board.piece_id).await?;
    let last = last(store, &bench, &board, newest, entry).await?;
    let at = bench.rigs.iter().position(|rig| rig.rig == board.rig_id);
    Ok(Opened { rig: board.rig, bench, at, last })
}

fn closed() -> Refusal {
    Refusal::new(
        Kind::Missing,
        "No such board",
        "This address opens no board: it was taken back, or is not complete.",
        "Ask at the desk for a new one.",
    )
}

/// The newest of the rig's passes and its logs that are no passes yet.
async fn last(
    store: &Store,
    bench: &Bench,
    board: &bench::Board,
    newest: Option<CameIn>,
    entry: i64,
) -> Result<Option<Last>> {
    let passes = bench.evidence.passes().filter(|pass| pass.row.rig_id == board.rig_id);
    let pass: Option<&PassEvidence> = passes.max_by_key(|pass| (pass.row.made_us, pass.row.id));
    let of_pass = pass.map(|pass| Last::Pass(pass.row.key.clone()));
    let Some(log) = newest.filter(|log| !log.placed) else { return Ok(of_pass) };
    if pass.is_some_and(|pass| pass.row.made_us > log.uploaded_us) {
        return Ok(of_pass);
    }
    let found = match log.segment_id.filter(|_| log.outcome == Outcome::Read) {
        Some(segment) => Some(found(store, segment, entry).await?),
        None => None,
    };
    Ok(Some(Last::Log { name: log.name, at_us: log.uploaded_us, says: log.says, found }))
}

/// What the screens find on a log alone, over all of it: boards ask every few seconds, so it is kept in memory.
async fn found(store: &Store, segment: SegmentId, entry: i64) -> Result<Found> {
    if let Some(kept) = store.recall::<Found>(entry, segment.0) {
        return Ok((*kept).clone());
    }
    let gone = || StoreError::Other(format!("segment {segment} has gone"));
    let frames = segments::recording(store, segment).await?.ok_or_else(gone)?;
    let computed = tokio::task::spawn_blocking(move || {
        let window = Window { start_ns: 0, end_ns: frames.span_ns() };
        results::compute(&frames, window, &[], Seed { digest: [0; 32], segment: 0 })
    });
    let results = computed.await.map_err(|e| Internal(format!("screening a log: {e}")))?;
    let found = Found {
        flags: results.screened.flags.iter().map(|flag| flag.kind).collect(),
        average_fps: results.measures.average_fps,
    };
    store.remember(entry, segment.0, Arc::new(found.clone()));
    Ok(found)
}
