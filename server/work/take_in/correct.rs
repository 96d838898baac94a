//! A layout is corrected: every capture that was read with it is read again, each in a transaction of its own, so that
//! what was interrupted goes on when it is asked for once more.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};
use weighhouse_measure::intake::Layout;

use super::{ReadSegment, TakeIn, asks_about, remove_segments};
use crate::store::layouts::LayoutRow;
use crate::store::segments::{self, NewSegment, SegmentRow};
use crate::store::{
    Actor, CaptureId, LayoutId, SegmentId, StoreError, captures, companions, layouts, passes,
};
use crate::work::once::By;
use crate::work::reading::pack_cut;
use crate::work::{Error, Refusal, Result};

/// What reading again gave.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Corrected {
    /// Logs that were read again.
    pub logs: usize,
    /// Logs that had waited for this answer.
    pub answered: usize,
    /// Logs that stay as they were read, each with why.
    pub stayed: Vec<(String, String)>,
}

impl TakeIn {
    /// Keeps `layout` as what a person says of its shape, and reads every log that was read with `of` again by it:
    /// passes and companions rest on what that gives from then on. Logs of the shape that waited for an answer are read
    /// too. `newest` is the version of the shape that the person saw last.
    ///
    /// # Errors
    /// Refused when there is a newer version by now; when the store fails. Logs that cannot be read so are no error: they
    /// stay as they are.
    pub async fn correct(&self, by: By, of: &LayoutRow, newest: i64, layout: Layout) -> Result<Corrected> {
        let actor = by.actor();
        let (said, shape) = (layout.clone(), of.shape.clone());
        let keep = by.write(&self.store, async move |tx| {
            let there = layouts::of_shape(tx, &shape).await?;
            if there.first().is_none_or(|there| there.version != newest) {
                return Err(StoreError::Stale.into());
            }
            Ok(layouts::keep(tx, &said, tx.by.person()).await?)
        });
        let with = keep.await?;
        let mut corrected = Corrected::default();
        if with != of.id {
            let mut by_capture: BTreeMap<CaptureId, Vec<SegmentRow>> = BTreeMap::new();
            for segment in segments::of_layout(&mut *self.store.read().await?, of.id).await? {
                by_capture.entry(segment.capture_id).or_default().push(segment);
            }
            for (id, old) in by_capture {
                let file = old.first().map_or_else(String::new, |segment| segment.capture.clone());
                match self.read_in_place(actor, id, &old, with, layout.clone()).await {
                    Ok(()) => corrected.logs += 1,
                    Err(Error::Refused(refusal)) => corrected.stayed.push((file, refusal.says)),
                    Err(error) => return Err(error),
                }
            }
        }
        corrected.answered = self.answer_others(actor, &layout).await?.len();
        Ok(corrected)
    }

    /// What a capture would give, read with this layout; nothing is kept of it.
    ///
    /// # Errors
    /// Refused when it cannot be read so; when the store fails.
    pub async fn would_give(&self, id: CaptureId, layout: Layout) -> Result<Vec<NewSegment>> {
        Ok(self.read_as(id, layout).await?.into_iter().map(|segment| segment.new).collect())
    }

    /// The stretches of a capture that are of this layout's shape, read with it; at least one.
    async fn read_as(&self, id: CaptureId, layout: Layout) -> Result<Vec<ReadSegment>> {
        let shape = layout.shape();
        let got = self.read_stored(id, layout).await?;
        let read: Vec<ReadSegment> =
            got.segments.into_iter().filter(|segment| segment.layout.shape() == shape).collect();
        if read.is_empty() { Err(Refusal::field("columns", got.came.says).into()) } else { Ok(read) }
    }

    /// Reads one capture again and puts what that gives in the place of `old`, or leaves all as it is.
    async fn read_in_place(
        &self,
        actor: Actor,
        id: CaptureId,
        old: &[SegmentRow],
        with: LayoutId,
        layout: Layout,
    ) -> Result<()> {
        let shape = layout.shape();
        let fresh = with_cuts(self.read_as(id, layout).await?, old)?;
        let in_place: Vec<Option<usize>> = old.iter().map(|old| place(old, &fresh)).collect::<Result<_>>()?;
        let staged = self.stage_segments(actor, id, fresh, Some((&shape, with))).await?;
        let moves: Vec<(SegmentId, Option<SegmentId>)> = old
            .iter()
            .zip(in_place)
            .map(|(old, at)| (old.id, at.and_then(|at| staged.get(at).copied())))
            .collect();
        let (shown, gone) = (staged.clone(), moves.iter().map(|(old, _)| *old).collect());
        let kept = self.store.write(actor, async move |tx| {
            for segment in &shown {
                segments::show(tx, *segment).await?;
            }
            for (old, new) in moves {
                if let Some(new) = new {
                    passes::rest_on(tx, "read again", old, new).await?;
                    companions::rest_on(tx, old, new).await?;
                }
                segments::hide(tx, "read again", old).await?;
            }
            Ok::<_, StoreError>(())
        });
        match kept.await {
            Ok(()) => remove_segments(&self.store, gone).await,
            Err(error) => {
                remove_segments(&self.store, staged).await?;
                Err(error.into())
            }
        }
    }

    /// Reads the logs of a shape that waited for this answer; those that cannot be read so go on waiting.
    pub(super) async fn answer_others(&self, actor: Actor, layout: &Layout) -> Result<Vec<super::Taken>> {
        let shape = layout.shape();
        let asking = captures::asking(&mut *self.store.read().await?).await?;
        let mut taken = Vec::new();
        for other in asking.into_iter().filter(|other| asks_about(other, &shape)) {
            match self.read_again(actor.into(), other.id, other.version, layout.clone()).await {
                Ok(read) => taken.push(read),
                Err(Error::Refused(_)) => {}
                Err(error) => return Err(error),
            }
        }
        Ok(taken)
    }
}

/// With what was cut out of the logs before, cut out of them as they are read now.
fn with_cuts(mut fresh: Vec<ReadSegment>, old: &[SegmentRow]) -> Result<Vec<ReadSegment>> {
    let mut again = Vec::new();
    for (row, stretch) in old.iter().filter_map(|row| Some((row, row.cut.window()?))) {
        let of = fresh.iter().find(|new| (&new.new.member, new.new.n) == (&row.member, row.n));
        let Some(of) = of else { continue };
        let whole = of.packed.unpack()?;
        // Read otherwise, the same times can stand for other rows.
        match pack_cut(&row.member, row.n, &whole, stretch, &of.layout)? {
            Some(same) if (same.new.cut, same.new.rows) == (row.cut, row.rows) => again.push(same),
            _ => {
                let says = "It was cut at times that are others now: put it together again first.";
                return Err(Refusal::field("columns", says).into());
            }
        }
    }
    fresh.extend(again);
    Ok(fresh)
}

/// Which of the stretches read anew is this one; none where there is none any more and nothing rests on it.
fn place(old: &SegmentRow, fresh: &[ReadSegment]) -> Result<Option<usize>> {
    let same = |new: &ReadSegment| (&new.new.member, new.new.n, new.new.cut) == (&old.member, old.n, old.cut);
    let at = fresh.iter().position(same);
    if old.pass_id.is_none() {
        return Ok(at);
    }
    match at.and_then(|at| fresh.get(at)) {
        Some(new) if new.new.kind == old.kind => Ok(at),
        Some(_) => {
            Err(Refusal::field("kind", "A pass rests on its rows as they are: take it back first.").into())
        }
        None => {
            let says = format!("A pass rests on stretch {} of it, which would not be there.", old.n + 1);
            Err(Refusal::field("columns", says).into())
        }
    }
}
