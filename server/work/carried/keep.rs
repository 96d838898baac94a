//! Carries a part over into a piece, lets it go, takes that back, and chooses its spot checks.

use std::collections::BTreeSet;

use super::{offers, proposed};
use crate::store::carried::{self, Carried, CarriedCell};
use crate::store::pieces::{self, Piece};
use crate::store::{CarriedId, CellId, Conflict, Db, Store, StoreError, TuningId};
use crate::work::once::By;
use crate::work::{Error, Kind, Refusal, Result};

/// Characters of a reason: the schema's rule.
const REASON_LENGTH: usize = 400;

/// Carries a part as it is run over into a piece: all of its cells that are offered, with three spot checks. `from_us`: the
/// moment of carrying, microseconds UTC; where none is said, that of an
/// earlier carrying that was let go, else now.
///
/// # Errors
/// Refused when nothing of it is offered, it is carried over already, or the reason is too long.
pub async fn carry(
    store: &Store,
    by: impl Into<By>,
    piece: &Piece,
    (tuning, reason): (TuningId, &str),
    from_us: Option<i64>,
) -> Result<CarriedId> {
    if reason.chars().count() > REASON_LENGTH {
        let says = format!("Say why in at most {REASON_LENGTH} characters.");
        return Err(Refusal::field("reason", says).into());
    }
    let evidence = offers::evidence(store, piece, Some(tuning)).await?;
    let cells: Vec<CellId> = evidence.cells.keys().copied().collect();
    let checks: BTreeSet<CellId> = proposed(&evidence, &cells).into_iter().map(|(cell, _)| cell).collect();
    if checks.is_empty() {
        return Err(nothing().into());
    }
    let (piece, reason) = (piece.id, reason.to_owned());
    by.into()
        .write(store, async move |tx| {
            let still = carried::offered(tx, piece).await?;
            let still: Vec<CellId> =
                still.iter().map(|cell| cell.id).filter(|id| cells.contains(id)).collect();
            let before: BTreeSet<CellId> =
                pieces::selected(tx, piece).await?.iter().map(|cell| cell.id).collect();
            if still.is_empty() {
                return Err(nothing().into());
            }
            // Carried over before: what was fresh then is not to become earlier.
            let let_go = carried::let_go_from(tx, piece, tuning).await?;
            let from_us = from_us.or(let_go).unwrap_or(tx.at_us);
            let carried_id = once(carried::add(tx, piece, tuning, (from_us, &reason)).await)?;
            for cell_id in still {
                let (brought, spot_check) = (!before.contains(&cell_id), checks.contains(&cell_id));
                pieces::select(tx, piece, cell_id).await?;
                carried::add_cell(tx, CarriedCell { carried_id, cell_id, brought, spot_check }).await?;
            }
            Ok(carried_id)
        })
        .await
}

fn nothing() -> Refusal {
    let says = "No other piece has passes of this part in a scene and setting of this piece.";
    Refusal::field("tuning", says)
}

/// A part is carried over once.
fn once<T>(done: std::result::Result<T, StoreError>) -> Result<T> {
    match done {
        Err(StoreError::Conflict { kind: Conflict::Unique, .. }) => Err(Refusal::new(
            Kind::Clash,
            "Carried over already",
            "This part is carried over into the piece already.",
            "Let it go first, then carry it over again.",
        )
        .into()),
        other => Ok(other?),
    }
}

/// Lets a part go: the cells that came with it leave the piece, no pass leaves the store.
///
/// # Errors
/// Refused when there is no such thing, or somebody was faster.
pub async fn let_go(
    store: &Store,
    by: impl Into<By>,
    piece: &Piece,
    id: CarriedId,
    version: i64,
) -> Result<()> {
    let piece = piece.clone();
    by.into()
        .write(store, async move |tx| {
            same(&found(tx, &piece, id).await?, version, "let go")?;
            for cell in carried::cells_of(tx, id).await?.iter().filter(|cell| cell.brought) {
                pieces::deselect(tx, piece.id, cell.cell_id).await?;
            }
            let at_us = tx.at_us;
            Ok(carried::let_go(tx, id, version, Some(at_us)).await?)
        })
        .await
}

/// Takes [`let_go`] back: with the moment of carrying as it was.
///
/// # Errors
/// Refused when there is no such thing, somebody was faster, or the part was carried over anew.
pub async fn back(
    store: &Store,
    by: impl Into<By>,
    piece: &Piece,
    id: CarriedId,
    version: i64,
) -> Result<()> {
    let piece = piece.clone();
    by.into()
        .write(store, async move |tx| {
            same(&found(tx, &piece, id).await?, version, "carried over")?;
            once(carried::let_go(tx, id, version, None).await)?;
            for cell in carried::cells_of(tx, id).await?.iter().filter(|cell| cell.brought) {
                pieces::select(tx, piece.id, cell.cell_id).await?;
            }
            Ok(())
        })
        .await
}

/// Makes these cells the spot checks of a part.
///
/// # Errors
/// Refused when none is named or one is not carried over with it, or somebody was faster.
pub async fn choose(
    store: &Store,
    by: impl Into<By>,
    piece: &Piece,
    (id, version): (CarriedId, i64),
    cells: Vec<CellId>,
) -> Result<()> {
    let piece = piece.clone();
    by.into()
        .write(store, async move |tx| {
            same(&found(tx, &piece, id).await?, version, "other spot checks")?;
            let own = carried::cells_of(tx, id).await?;
            if cells.is_empty() {
                return Err(Refusal::field("cell", "Tick at least one cell to run again.").into());
            }
            if let Some(other) = cells.iter().find(|cell| own.iter().all(|of| of.cell_id != **cell)) {
                let says = format!("Cell {other} was not carried over with this part: tick some of its own.");
                return Err(Refusal::field("cell", says).into());
            }
            Ok(carried::set_checks(tx, id, version, &cells).await?)
        })
        .await
}

async fn found(db: &mut Db, piece: &Piece, id: CarriedId) -> Result<Carried> {
    let row = carried::by_id(db, id).await?.filter(|row| row.piece_id == piece.id);
    row.ok_or_else(|| Refusal::missing("part carried over", id).into())
}

fn same(row: &Carried, version: i64, yours: &str) -> Result<()> {
    if row.version == version {
        return Ok(());
    }
    let theirs = if row.let_go_us.is_some() { "let go" } else { "carried over, with other spot checks" };
    Err(Error::from(Refusal::stale("this part", yours, theirs)))
}
