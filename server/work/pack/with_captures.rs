//! What a pack holds when the captures go along: their bytes as they came or with names masked, what is needed to read them
//! again, and tracks and measures for column engines.

use std::collections::BTreeSet;
use std::sync::Arc;

use sha2::{Digest as _, Sha256};

use super::names::Names;
use super::state::State;
use super::zip::Zipping;
use super::{File, columns, state};
use crate::store::captures::{self, Capture};
use crate::store::segments::{self, SegmentRow};
use crate::store::{CaptureId, PieceId, SegmentId, Store, StoreError, extract};
use crate::work::error::{Kind, Refusal};
use crate::work::evidence::{CellEvidence, Evidence, PassEvidence};
use crate::work::results::hex;
use crate::work::{Internal, Result, recheck};

/// Where a capture stands in the pack: under the digest of its bytes as they came.
pub fn path(digest: &str, masked: bool) -> String {
    format!("captures/{digest}{}", if masked { ".masked" } else { "" })
}

/// How many bytes the captures of a piece are, unpacked.
///
/// # Errors
/// When the store fails.
pub async fn bytes(store: &Store, piece: PieceId) -> Result<i64> {
    Ok(extract::captured_bytes(&mut *store.read().await?, piece).await?)
}

/// Adds them, one after another.
///
/// # Errors
/// When the store fails, or when a capture's bytes are not those that came. Refused where names cannot be masked.
pub async fn add(
    store: &Store,
    evidence: &Evidence,
    serials: bool,
    names: Names,
    mut zip: Zipping,
) -> Result<Zipping> {
    if !names.fixed.is_empty() {
        return Err(cannot_be_masked(&names.fixed.join(", ")).into());
    }
    let names = Arc::new(names);
    let mut told = state::state(&mut *store.read().await?, evidence.piece.id, serials, &names).await?;
    zip = packed(zip, columns::measures(evidence)?).await?;
    for (digest, id) in told.captures() {
        if names.inside(id) {
            let bytes = masked(store, &told, &names, id).await?;
            told.masked.insert(digest.clone(), super::sha256(&bytes));
            zip = packed(zip, vec![File { path: path(&digest, true), bytes }]).await?;
        } else {
            zip = as_it_came(store, zip, &digest, id).await?;
        }
    }
    zip = packed(zip, vec![told.file()?]).await?;
    for tracked in tracked(evidence) {
        zip = packed(zip, vec![tracked.file(store, evidence).await?]).await?;
    }
    Ok(zip)
}

/// The frames of a pass, or a log beside them.
pub struct Tracked<'a> {
    of: (&'a CellEvidence, &'a PassEvidence),
    /// Number of the companion, from 1; `None`: the frames.
    beside: Option<usize>,
    segment: SegmentId,
}

/// All that go along as columns.
pub fn tracked(evidence: &Evidence) -> impl Iterator<Item = Tracked<'_>> {
    let passes = evidence.cells.values().flat_map(|cell| cell.passes.iter().map(move |pass| (cell, pass)));
    passes.flat_map(|of| {
        let companions = of.1.companions.iter().map(|row| row.segment_id);
        let all = std::iter::once(of.1.row.segment_id).chain(companions).enumerate();
        all.map(move |(n, segment)| Tracked { of, beside: (n > 0).then_some(n), segment })
    })
}

impl Tracked<'_> {
    /// As a file of the pack.
    ///
    /// # Errors
    /// When the store fails.
    pub async fn file(&self, store: &Store, evidence: &Evidence) -> Result<File> {
        let missing = || StoreError::Other(format!("segment {} is gone", self.segment));
        let recording = segments::recording(store, self.segment).await?.ok_or_else(missing)?;
        columns::tracks(evidence, self.of, self.beside, &recording)
    }
}

/// Adds a capture chunk by chunk.
async fn as_it_came(store: &Store, mut zip: Zipping, digest: &str, id: CaptureId) -> Result<Zipping> {
    let capture = by_id(store, id).await?;
    zip.start(&path(digest, false), u64::try_from(capture.bytes).unwrap_or_default())?;
    let (mut hash, mut n) = (Sha256::new(), 0);
    while let Some(chunk) = captures::chunk(&mut *store.read().await?, id, n).await? {
        hash.update(&chunk);
        zip = off(zip, move |zip| zip.write(&chunk)).await?;
        n += 1;
    }
    same(digest, id, &hex(&hash.finalize()))?;
    Ok(zip)
}

fn same(digest: &str, id: CaptureId, found: &str) -> Result<()> {
    if found == digest {
        return Ok(());
    }
    Err(Internal(format!("capture {id}: its bytes are not those that came")).into())
}

async fn by_id(store: &Store, id: CaptureId) -> Result<Capture> {
    let gone = || StoreError::Other(format!("capture {id} is gone"));
    Ok(captures::by_id(&mut *store.read().await?, id).await?.ok_or_else(gone)?)
}

/// A capture with names masked, once it was seen that it gives the same rows to the last bit.
async fn masked(store: &Store, told: &State, names: &Arc<Names>, id: CaptureId) -> Result<Vec<u8>> {
    let capture = by_id(store, id).await?;
    let bytes = captures::whole(&mut *store.read().await?, id).await?;
    same(&capture.digest, id, &super::sha256(&bytes))?;
    let of = Arc::clone(names);
    let masked = tokio::task::spawn_blocking(move || of.masked_log(&bytes)).await;
    let masked = masked.map_err(|e| Internal(format!("masking names: {e}")))??;
    let Some(masked) = masked else { return Err(cannot_be_masked(&capture.name).into()) };
    let packed: BTreeSet<SegmentId> = told.segments().collect();
    let mut db = store.read().await?;
    let mut kept = segments::of_capture(&mut db, id).await?;
    kept.retain(|segment| packed.contains(&segment.id));
    let layouts = recheck::layouts(&mut db, &kept).await?;
    let read_with = layouts.values().map(|layout| names.masked_layout(layout));
    let read_with = read_with.map(|layout| (layout.shape(), layout)).collect();
    let given = recheck::again(&mut db, &capture, &kept, read_with, masked.clone()).await;
    if !gives_the_same(&mut db, &kept, &given.unwrap_or_default()).await? {
        return Err(cannot_be_masked(&capture.name).into());
    }
    Ok(masked)
}

async fn gives_the_same(
    db: &mut crate::store::Db,
    kept: &[SegmentRow],
    given: &recheck::Given,
) -> Result<bool> {
    for segment in kept {
        let there = segments::packed(db, segment.id).await?;
        let here = given.get(&(segment.member.clone(), segment.n, segment.cut));
        let same = there.zip(here).is_some_and(|(there, (here, _))| {
            there.wall_start_ns == here.wall_start_ns
                && there.tracks.len() == here.tracks.len()
                && there.tracks.iter().zip(&here.tracks).all(|(there, here)| {
                    (&there.role, &there.unit, &there.chunks) == (&here.role, &here.unit, &here.chunks)
                })
        });
        if !same {
            return Ok(false);
        }
    }
    Ok(true)
}

fn cannot_be_masked(logs: &str) -> Refusal {
    Refusal::new(
        Kind::Clash,
        "Names that cannot be masked",
        format!(
            "Names stand in {logs} where masking them would change what is read from the log, or in a packed table."
        ),
        "Take the pack without captures, or tick 'Names in logs as they are'.",
    )
}

/// Packs off the threads that serve.
async fn packed(zip: Zipping, files: Vec<File>) -> Result<Zipping> {
    off(zip, move |zip| files.iter().try_for_each(|file| zip.add(file))).await
}

async fn off(
    mut zip: Zipping,
    work: impl FnOnce(&mut Zipping) -> Result<()> + Send + 'static,
) -> Result<Zipping> {
    let packing = tokio::task::spawn_blocking(move || work(&mut zip).map(|()| zip));
    packing.await.map_err(|e| Internal(format!("packing: {e}")))?
}
