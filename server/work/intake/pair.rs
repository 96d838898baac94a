//! Companions by hand, and start times for logs without a wall clock.

use weighhouse_measure::recording::Kind as LogKind;

use crate::store::captures::{self, Capture};
use crate::store::companions::{self, CompanionRow, PlacedBy};
use crate::store::passes::{self, PassRow};
use crate::store::{CaptureId, SegmentId, Store, Tx, segments};
use crate::work::assign::placing;
use crate::work::once::By;
use crate::work::upload::start;
use crate::work::{Internal, Kind, Refusal, Result};

/// Gives a pass a waiting companion and places it as far as clocks and given starts allow.
///
/// # Errors
/// Refused when there is no such pass or the segment does not wait, or holds frames.
pub async fn pair(store: &Store, by: impl Into<By>, pass: String, segment: SegmentId) -> Result<PlacedBy> {
    by.into()
        .write(store, async move |tx| {
            let pass =
                passes::by_key(tx, &pass).await?.ok_or_else(|| Refusal::field("pass", "Choose the pass."))?;
            let waiting = segments::waiting(tx).await?;
            if !waiting.iter().any(|one| one.id == segment && one.kind == LogKind::Companion) {
                return Err(Refusal::new(
                    Kind::Clash,
                    "Not waiting any more",
                    format!("Log segment {segment} belongs to a pass already, was cut, or holds frames."),
                    "Open the intake page again to see what still waits.",
                )
                .into());
            }
            let id = companions::add(tx, pass.id, segment, None, PlacedBy::Nobody).await?;
            let added =
                companions::of_pass(tx, pass.id).await?.into_iter().find(|companion| companion.id == id);
            let added = added.ok_or_else(|| Internal("a companion is gone".to_owned()))?;
            place(tx, &pass, &added).await
        })
        .await
}

/// Notes when a log without a wall clock began, and places the companions that this allows; how many.
///
/// # Errors
/// Refused when there is no such capture, somebody was faster, or the text is no moment.
pub async fn give_start(
    store: &Store,
    by: impl Into<By>,
    id: CaptureId,
    version: i64,
    text: String,
) -> Result<usize> {
    let now_us = store.clock().now_us();
    by.into()
        .write(store, async move |tx| {
            let capture = captures::by_id(tx, id).await?.ok_or_else(|| Refusal::missing("capture", id))?;
            let start_us = start(tx, capture.rig_id, text.trim(), now_us).await?;
            captures::set_start(tx, id, version, start_us).await?;
            let mut placed = 0;
            for segment in segments::of_capture(tx, id).await? {
                let Some(pass) = segment.pass_id else { continue };
                let pass =
                    passes::by_id(tx, pass).await?.ok_or_else(|| Internal("a pass is gone".to_owned()))?;
                for companion in companions::of_pass(tx, pass.id).await? {
                    // What a person moved or wall clocks placed stays.
                    let ours = matches!(companion.placed_by, PlacedBy::Nobody | PlacedBy::StartTime);
                    if ours && place(tx, &pass, &companion).await? != PlacedBy::Nobody {
                        placed += 1;
                    }
                }
            }
            Ok(placed)
        })
        .await
}

async fn place(tx: &mut Tx<'_>, pass: &PassRow, companion: &CompanionRow) -> Result<PlacedBy> {
    let frames = given(tx, pass.capture_id).await?;
    let segment = segments::by_id(tx, companion.segment_id).await?;
    let own = match (companion.wall_start_ns, segment) {
        (Some(ns), _) => Some(ns),
        (None, Some(segment)) => given(tx, segment.capture_id).await?.and_then(|us| us.checked_mul(1000)),
        (None, None) => None,
    };
    let (placed, by) = placing(pass.wall_start_ns, frames, own);
    // A start that a person gave for the companion places it no better than that start.
    let by =
        if by == PlacedBy::WallClock && companion.wall_start_ns.is_none() { PlacedBy::StartTime } else { by };
    if placed != companion.placing() || by != companion.placed_by {
        companions::place(tx, companion.id, companion.version, placed, by).await?;
    }
    Ok(by)
}

async fn given(tx: &mut Tx<'_>, capture: CaptureId) -> Result<Option<i64>> {
    let capture: Option<Capture> = captures::by_id(tx, capture).await?;
    Ok(capture.and_then(|capture| capture.start_us))
}
