//! What a pack holds when the captures go along: their bytes as they came, what is needed to read them again, and tracks
//! and measures for column engines.

use super::zip::Zipping;
use super::{File, columns, state};
use crate::store::{PieceId, Store, StoreError, captures, extract, segments};
use crate::work::evidence::Evidence;
use crate::work::{Internal, Result};

/// Where a capture stands in the pack.
pub fn path(digest: &str) -> String {
    format!("captures/{digest}")
}

/// How many bytes the captures of a piece are, unpacked.
///
/// # Errors
/// When the store fails.
pub async fn bytes(store: &Store, piece: PieceId) -> Result<i64> {
    Ok(extract::captured_bytes(&mut *store.read().await?, piece).await?)
}

/// Adds them. Reads one capture after another.
///
/// # Errors
/// When the store fails, or when a capture's bytes are not those that came.
pub async fn add(store: &Store, evidence: &Evidence, serials: bool, mut zip: Zipping) -> Result<Zipping> {
    let told = state::state(&mut *store.read().await?, evidence.piece.id, serials).await?;
    let mut files = vec![told.file()?];
    files.extend(columns::measures(evidence)?);
    zip = packed(zip, files).await?;
    for (digest, id) in told.captures() {
        let bytes = captures::whole(&mut *store.read().await?, id).await?;
        if super::sha256(&bytes) != digest {
            return Err(Internal(format!("capture {id}: its bytes are not those that came")).into());
        }
        zip = packed(zip, vec![File { path: path(&digest), bytes }]).await?;
    }
    for cell in evidence.cells.values() {
        for pass in &cell.passes {
            let companions = pass.companions.iter().map(|row| row.segment_id);
            for (n, id) in std::iter::once(pass.row.segment_id).chain(companions).enumerate() {
                let missing = || StoreError::Other(format!("segment {id} is gone"));
                let recording = segments::recording(store, id).await?.ok_or_else(missing)?;
                let beside = (n > 0).then_some(n);
                let file = columns::tracks(evidence, (cell, pass), beside, &recording)?;
                zip = packed(zip, vec![file]).await?;
            }
        }
    }
    Ok(zip)
}

/// Packs off the threads that serve.
async fn packed(mut zip: Zipping, files: Vec<File>) -> Result<Zipping> {
    let packing =
        tokio::task::spawn_blocking(move || files.iter().try_for_each(|file| zip.add(file)).map(|()| zip));
    packing.await.map_err(|e| Internal(format!("packing: {e}")))?
}
