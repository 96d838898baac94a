//! Where a long log is to be cut into passes: what was cut out of it, and what else looks like one.

use std::sync::Arc;

use weighhouse_measure::cuts::{self, Looks, Stretch};
use weighhouse_measure::recording::{Kind, Window};

use super::{Internal, Refusal, Result};
use crate::store::segments::{self, SegmentRow};
use crate::store::strips::{self, Column};
use crate::store::{SegmentId, Store, StoreError, audit};

/// A log with its stretches, those that were cut out and those that are proposed, in order of time.
#[derive(Clone, Debug)]
pub struct Cutting {
    /// The log as it was read.
    pub whole: SegmentRow,
    /// Its stretches.
    pub stretches: Vec<Seen>,
}

/// A stretch of the log.
#[derive(Clone, Debug)]
pub struct Seen {
    /// What is in it.
    pub stretch: Stretch,
    /// The segment that it is, if it was cut out.
    pub segment: Option<SegmentRow>,
}

/// A log of frames, for cutting; of a stretch that was cut out, the log it comes from. Kept in memory until the next
/// change, since a strip that is zoomed asks for it again and again.
///
/// # Errors
/// Refused when it holds no frames; when the store fails.
pub async fn read(store: &Store, of: SegmentRow) -> Result<Arc<Cutting>> {
    let entry = audit::head(&mut *store.read().await?).await.map_err(StoreError::from)?.seq;
    let number = of.id.0;
    if let Some(kept) = store.recall(entry, number) {
        return Ok(kept);
    }
    let cutting = Arc::new(looked(store, of).await?);
    store.remember(entry, number, Arc::clone(&cutting));
    Ok(cutting)
}

async fn looked(store: &Store, of: SegmentRow) -> Result<Cutting> {
    let mut db = store.read().await?;
    let whole = segments::whole_of(&mut db, &of).await?.unwrap_or(of);
    if whole.kind != Kind::Frames {
        let says =
            "It holds no frames: a companion is cut at the passes that it was written beside, under Intake.";
        return Err(Refusal::field("log", says).into());
    }
    let cut = segments::cuts_of(&mut db, &whole).await?;
    drop(db);
    let recording = segments::recording(store, whole.id).await?;
    let recording = recording.ok_or_else(|| Internal(format!("segment {} has gone", whole.id)))?;
    let seen = tokio::task::spawn_blocking(move || {
        let taken: Vec<Window> = cut.iter().filter_map(|one| one.cut.window()).collect();
        let own = cut.into_iter().filter_map(|one| {
            let stretch = cuts::stretch(&recording, one.cut.window()?)?;
            Some(Seen { stretch, segment: Some(one) })
        });
        let mut stretches: Vec<Seen> = own.collect();
        let free = |one: &Stretch| !taken.iter().any(|cut| shared(*cut, one.window));
        let proposed = cuts::propose(&recording).into_iter().filter(free);
        stretches.extend(proposed.map(|stretch| Seen { stretch, segment: None }));
        stretches.sort_by_key(|one| one.stretch.window.start_ns);
        stretches
    });
    let stretches = seen.await.map_err(|e| Internal(format!("looking for cuts: {e}")))?;
    Ok(Cutting { whole, stretches })
}

fn shared(a: Window, b: Window) -> bool {
    a.start_ns < b.end_ns && b.start_ns < a.end_ns
}

impl Seen {
    /// Whether it would be cut out unless a person unticks it.
    pub fn proposed(&self) -> bool {
        self.segment.is_none() && self.stretch.looks == Looks::Pass
    }
}

/// The strip of a log over a stretch in `px` columns.
///
/// # Errors
/// When the store fails.
pub async fn strip(store: &Store, id: SegmentId, stretch: Window, px: u32) -> Result<Vec<Column>> {
    Ok(strips::strip(store, id, stretch, px).await?)
}
