//! Long logs are cut into stretches, each of which waits for a pass of its own or is one; and put together again.
//!
//! A stretch is a segment beside the log's own one, with the rows that start in it and its clock set to the first of
//! them. Stretches of one log never share a row, and no pass rests on a whole log while another rests on a part of it:
//! no frame counts twice.

use weighhouse_measure::intake::Layout;
use weighhouse_measure::recording::{Kind as LogKind, NS_PER_S, Placing, Window};

use super::{ReadSegment, TakeIn, remove_segments};
use crate::store::companions::{self, PlacedBy};
use crate::store::passes::{self, PassRow};
use crate::store::pieces::Piece;
use crate::store::segments::{self, SegmentRow};
use crate::store::{Db, SegmentId, StoreError, Tx, layouts, rulings};
use crate::work::once::By;
use crate::work::reading::pack_cut;
use crate::work::{Internal, Kind, Refusal, Result};

/// What the trail says of a pass that became a stretch of its log, and of the stretch that it was before.
const CUT: &str = "cut";
/// What it says of stretches that are part of their log again.
const PUT_BACK: &str = "put back";
/// Time that a companion keeps on either side of its pass, ns.
const MARGIN_NS: i64 = 2 * NS_PER_S;

impl TakeIn {
    /// Cuts these stretches (ns of the log as it was read) out of a log that is no pass.
    ///
    /// # Errors
    /// Refused when there is none, when one has no row, when they share rows with each other or with one that was cut
    /// out before, or when a pass rests on the whole log.
    pub async fn cut(&self, by: By, id: SegmentId, stretches: Vec<Window>) -> Result<Vec<SegmentId>> {
        if let Some(first) = by.first(&self.store).await? {
            return Ok(first);
        }
        if stretches.is_empty() {
            return Err(Refusal::field("take", "Tick the stretches that are to be cut out.").into());
        }
        let whole = found(&mut *self.store.read().await?, id).await?;
        let staged = self.stage_cuts(&by, &whole, &stretches).await?;
        let shown: Vec<SegmentId> = staged.clone();
        let kept = by.write(&self.store, async move |tx| {
            let now = found(tx, whole.id).await?;
            if now.pass_id.is_some() {
                return Err(in_use(&now));
            }
            show(tx, &now, &shown).await?;
            Ok(shown)
        });
        self.or_remove(staged, kept.await).await
    }

    /// Puts what was cut out of a log and is no pass back into it: these stretches, or all where none is named.
    ///
    /// # Errors
    /// Refused when one that is named is a pass.
    pub async fn join(&self, by: By, id: SegmentId, only: Vec<SegmentId>) -> Result<usize> {
        let gone = by.write(&self.store, async move |tx| {
            let whole = found(tx, id).await?;
            let mut gone = Vec::new();
            for one in segments::cuts_of(tx, &whole).await? {
                if !only.is_empty() && !only.contains(&one.id) {
                    continue;
                }
                match one.pass_id {
                    Some(_) if only.is_empty() => continue,
                    Some(_) => return Err(in_use(&one)),
                    None => {}
                }
                segments::hide(tx, PUT_BACK, one.id).await?;
                gone.push(one.id);
            }
            Ok(gone)
        });
        let gone = gone.await?;
        let n = gone.len();
        remove_segments(&self.store, gone).await?;
        Ok(n)
    }

    /// Rests a pass on a stretch (ns of the pass) of its log instead of all of it. Its companions stay where they are
    /// beside the frames.
    ///
    /// # Errors
    /// Refused when the pass has a window of its own or remarks on stretches, whose times would no longer be right; when it
    /// was changed meanwhile; as [`TakeIn::cut`].
    pub async fn cut_pass(&self, by: By, pass: String, version: i64, stretch: Window) -> Result<i64> {
        if let Some((first, _)) = by.first::<(i64, Option<SegmentId>)>(&self.store).await? {
            return Ok(first);
        }
        let mut db = self.store.read().await?;
        let row = passes::by_key(&mut db, &pass).await?.ok_or_else(|| Refusal::missing("pass", &pass))?;
        let own = found_any(&mut db, row.segment_id).await?;
        let whole = segments::whole_of(&mut db, &own).await?.unwrap_or_else(|| own.clone());
        drop(db);
        let began_ns = own.cut.window().map_or(0, |window| window.start_ns);
        let end_ns = stretch.end_ns.min(row.span_ns);
        let of_whole = Window { start_ns: began_ns + stretch.start_ns, end_ns: began_ns + end_ns };
        let staged = self.stage_cuts(&by, &whole, &[of_whole]).await?;
        let shown = staged.clone();
        let kept = by.write(&self.store, async move |tx| {
            let row = unmarked(tx, &pass, version).await?;
            let [new] = shown[..] else { return Err(Internal("one stretch was staged".to_owned()).into()) };
            passes::rest_on(tx, CUT, row.segment_id, new).await?;
            let gone = own.cut.window().map(|_| own.id);
            if let Some(gone) = gone {
                segments::hide(tx, CUT, gone).await?;
            }
            show(tx, &whole, &shown).await?;
            let began = found_any(tx, new).await?.cut.window().map_or(0, |window| window.start_ns);
            shift(tx, &row, began_ns - began).await?;
            Ok((version + 1, gone))
        });
        let (version, gone) = self.or_remove(staged, kept.await).await?;
        remove_segments(&self.store, gone.into_iter().collect()).await?;
        Ok(version)
    }

    /// Rests a pass on its whole log again.
    ///
    /// # Errors
    /// As [`TakeIn::cut_pass`]; refused when something else was cut out of the same log.
    pub async fn join_pass(&self, by: By, pass: String, version: i64) -> Result<i64> {
        let joined = by.write(&self.store, async move |tx| {
            let row = unmarked(tx, &pass, version).await?;
            let own = found_any(tx, row.segment_id).await?;
            let Some((whole, window)) = segments::whole_of(tx, &own).await?.zip(own.cut.window()) else {
                return Err(Refusal::field("pass", "The pass rests on its whole log already.").into());
            };
            if segments::cuts_of(tx, &whole).await?.len() > 1 {
                return Err(Refusal::new(
                    Kind::Clash,
                    "Other stretches of it are in use",
                    format!("More was cut out of '{}' than this pass.", whole.capture),
                    "Put those together again first: under Intake, at what waits of this log.",
                )
                .into());
            }
            passes::rest_on(tx, PUT_BACK, row.segment_id, whole.id).await?;
            segments::hide(tx, PUT_BACK, own.id).await?;
            shift(tx, &row, window.start_ns).await?;
            Ok((version + 1, own.id))
        });
        let (version, gone) = joined.await?;
        remove_segments(&self.store, vec![gone]).await?;
        Ok(version)
    }

    /// Cuts a companion that was written beside several passes of a piece into a stretch for each and pairs them, by the
    /// wall clocks of both; how many.
    ///
    /// # Errors
    /// Refused when no pass of the piece without a companion ran beside it.
    pub async fn cut_beside(&self, by: By, piece: &Piece, id: SegmentId) -> Result<usize> {
        if let Some(first) = by.first(&self.store).await? {
            return Ok(first);
        }
        let mut db = self.store.read().await?;
        let whole = found(&mut db, id).await?;
        let mut alone = Vec::new();
        for row in passes::of_piece(&mut db, piece.id).await? {
            if companions::of_pass(&mut db, row.id).await?.is_empty() {
                alone.push(row);
            }
        }
        drop(db);
        let beside = beside(&whole, alone);
        if beside.is_empty() {
            let says =
                "No pass of the piece that lacks a companion ran beside it, by the wall clocks of both.";
            return Err(Refusal::field("segment", says).into());
        }
        let stretches: Vec<Window> = beside.iter().map(|(_, stretch)| *stretch).collect();
        let staged = self.stage_cuts(&by, &whole, &stretches).await?;
        let shown = staged.clone();
        let kept = by.write(&self.store, async move |tx| {
            let now = found(tx, whole.id).await?;
            if now.pass_id.is_some() {
                return Err(in_use(&now));
            }
            show(tx, &now, &shown).await?;
            for ((row, _), segment) in beside.iter().zip(&shown) {
                let new = found_any(tx, *segment).await?;
                let offset_ns = new.wall_start_ns.zip(row.wall_start_ns).map(|(own, pass)| own - pass);
                let placing = offset_ns.map(|offset_ns| Placing { offset_ns, drift_ppb: 0 });
                companions::add(tx, row.id, *segment, placing, PlacedBy::WallClock).await?;
            }
            Ok(shown.len())
        });
        self.or_remove(staged, kept.await).await
    }

    async fn stage_cuts(&self, by: &By, whole: &SegmentRow, stretches: &[Window]) -> Result<Vec<SegmentId>> {
        let recording = segments::recording(&self.store, whole.id).await?;
        let recording = recording.ok_or_else(|| Internal(format!("segment {} has gone", whole.id)))?;
        let row = layouts::by_id(&mut *self.store.read().await?, whole.layout_id).await?;
        let layout: Option<Layout> = row.and_then(|row| row.layout());
        let layout = layout.ok_or_else(|| Internal(format!("layout {} cannot be read", whole.layout_id)))?;
        let mut cut: Vec<ReadSegment> = Vec::with_capacity(stretches.len());
        for stretch in stretches {
            match pack_cut(&whole.member, whole.n, &recording, *stretch, &layout)? {
                Some(one) => cut.push(one),
                None => return Err(Refusal::field("to", "No row of the log starts in this stretch.").into()),
            }
        }
        let shape = layout.shape();
        self.stage_segments(by.actor(), whole.capture_id, cut, Some((&shape, whole.layout_id))).await
    }

    async fn or_remove<T>(&self, staged: Vec<SegmentId>, kept: Result<T>) -> Result<T> {
        if kept.is_err() {
            remove_segments(&self.store, staged).await?;
        }
        kept
    }
}

/// Passes that ran while a companion was written, each with the stretch of it that is theirs: two seconds more on either
/// side, and no further than half-way to the next pass.
fn beside(companion: &SegmentRow, passes: Vec<PassRow>) -> Vec<(PassRow, Window)> {
    let Some(began_ns) = companion.wall_start_ns else { return Vec::new() };
    let mut runs: Vec<(PassRow, Window)> = passes
        .into_iter()
        .filter_map(|row| {
            let start_ns = row.wall_start_ns?.checked_sub(began_ns)?;
            let run = Window { start_ns, end_ns: start_ns.checked_add(row.span_ns)? };
            (run.end_ns > 0 && run.start_ns < companion.span_ns).then_some((row, run))
        })
        .collect();
    runs.sort_by_key(|(_, run)| run.start_ns);
    let bounds: Vec<Window> = runs.iter().map(|(_, run)| *run).collect();
    for (n, (_, run)) in runs.iter_mut().enumerate() {
        let between = |a: Option<&Window>, b: Option<&Window>| {
            a.zip(b).map(|(a, b)| a.end_ns + (b.start_ns - a.end_ns) / 2)
        };
        let before = between(n.checked_sub(1).and_then(|n| bounds.get(n)), bounds.get(n));
        let after = between(bounds.get(n), bounds.get(n + 1));
        run.start_ns = (run.start_ns - MARGIN_NS).max(before.unwrap_or(0)).max(0);
        run.end_ns = (run.end_ns + MARGIN_NS).min(after.unwrap_or(i64::MAX));
    }
    runs.retain(|(_, run)| run.length_ns() > 0);
    runs
}

async fn found_any(db: &mut Db, id: SegmentId) -> Result<SegmentRow> {
    segments::by_id(db, id).await?.ok_or_else(|| Refusal::missing("log segment", id).into())
}

/// A log as it was read.
async fn found(db: &mut Db, id: SegmentId) -> Result<SegmentRow> {
    let row = found_any(db, id).await?;
    if row.cut.window().is_some() {
        let says = "This was cut out of a longer log; cut that one.";
        return Err(Refusal::field("segment", says).into());
    }
    Ok(row)
}

/// Shows what was staged of a log, if it shares no row with what was cut out before.
async fn show(tx: &mut Tx<'_>, whole: &SegmentRow, staged: &[SegmentId]) -> Result<()> {
    for id in staged {
        segments::show(tx, *id).await.map_err(|error| match error {
            StoreError::Conflict { .. } => shared(&whole.capture),
            other => other.into(),
        })?;
    }
    let cuts = segments::cuts_of(tx, whole).await?;
    let windows: Vec<Window> = cuts.iter().filter_map(|one| one.cut.window()).collect();
    match windows.windows(2).any(|pair| matches!(pair, [a, b] if b.start_ns < a.end_ns)) {
        true => Err(shared(&whole.capture)),
        false => Ok(()),
    }
}

fn shared(file: &str) -> crate::work::Error {
    let says = format!(
        "Two stretches of '{file}' share frames, which would count twice: let one end before the next."
    );
    Refusal::field("to", says).into()
}

fn in_use(row: &SegmentRow) -> crate::work::Error {
    let what = match row.kind {
        LogKind::Frames => "a pass rests on it",
        LogKind::Companion => "it stands beside a pass",
    };
    Refusal::new(
        Kind::Clash,
        "In use",
        format!("'{}' stays as it is: {what}.", row.capture),
        "Cut it on the page of that pass, or take the pass back first.",
    )
    .into()
}

/// The pass, if it is of this version and nothing on it tells of times within it.
async fn unmarked(tx: &mut Tx<'_>, key: &str, version: i64) -> Result<PassRow> {
    let row = passes::by_key(tx, key).await?.ok_or_else(|| Refusal::missing("pass", key))?;
    if row.version != version {
        return Err(StoreError::Stale.into());
    }
    let marked = rulings::remarks(tx, row.id).await?.iter().any(|remark| remark.start_ns.is_some());
    let wrong = match (row.window_start_ns.is_some(), marked) {
        (true, _) => {
            "The pass has a window of its own, whose times would be others: use the scene's again first."
        }
        (false, true) => {
            "Remarks name stretches of this pass, whose times would be others: it stays as it is."
        }
        (false, false) => return Ok(row),
    };
    Err(Refusal::field("cut-from", wrong).into())
}

/// Moves the companions of a pass whose clock begins elsewhere now.
async fn shift(tx: &mut Tx<'_>, row: &PassRow, by_ns: i64) -> Result<()> {
    for companion in companions::of_pass(tx, row.id).await? {
        let Some(placing) = companion.placing() else { continue };
        let moved = Placing { offset_ns: placing.offset_ns + by_ns, ..placing };
        companions::place(tx, companion.id, companion.version, Some(moved), companion.placed_by).await?;
    }
    Ok(())
}
