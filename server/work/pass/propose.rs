//! Where the companions of a pass that stand nowhere could stand, by what both logs saw of the same load.

use weighhouse_measure::align::{Aligned, align};

use crate::store::{CompanionId, Store, StoreError, segments};
use crate::work::evidence::PassEvidence;

/// A placing that both logs speak for, or why none can be said.
pub type Proposal = Result<Aligned, String>;

/// A proposal for each companion of a pass that is not placed.
///
/// # Errors
/// When the store fails.
pub async fn proposals(
    store: &Store,
    pass: &PassEvidence,
) -> Result<Vec<(CompanionId, Proposal)>, StoreError> {
    let waiting: Vec<_> = pass.companions.iter().filter(|companion| companion.offset_ns.is_none()).collect();
    if waiting.is_empty() {
        return Ok(Vec::new());
    }
    let Some(frames) = segments::recording(store, pass.row.segment_id).await? else { return Ok(Vec::new()) };
    let frames = std::sync::Arc::new(frames);
    let mut found = Vec::new();
    for companion in waiting {
        let Some(beside) = segments::recording(store, companion.segment_id).await? else { continue };
        let frames = frames.clone();
        let proposal = tokio::task::spawn_blocking(move || align(&frames, &beside))
            .await
            .map_err(|e| StoreError::Other(format!("aligning a companion: {e}")))?;
        found.push((companion.id, proposal));
    }
    Ok(found)
}
