//! What pieces carry over from earlier ones: parts as they are run, their cells, and which of these are spot checks.

use serde::Serialize;

use super::audit::{CARRIED, CARRIED_CELL};
use super::registers::cells::{Cell, cells};
use super::{CarriedCellId, CarriedId, CellId, Db, PieceId, StoreError, TuningId, Tx, hit};

/// A part as it is run, carried over into a piece.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, sqlx::FromRow)]
pub struct Carried {
    /// Row id.
    pub id: CarriedId,
    /// The piece.
    pub piece_id: PieceId,
    /// The part as it is run.
    pub tuning_id: TuningId,
    /// The moment of carrying, microseconds UTC: what was recorded before is earlier.
    pub from_us: i64,
    /// Why; may be empty.
    pub reason: String,
    /// Who carried it over.
    pub person: String,
    /// When it was let go, microseconds UTC; none: it stands.
    pub let_go_us: Option<i64>,
    /// For stale forms.
    pub version: i64,
}

/// A cell of it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, sqlx::FromRow)]
pub struct CarriedCell {
    /// Of which.
    pub carried_id: CarriedId,
    /// The cell.
    pub cell_id: CellId,
    /// Whether carrying selected it for the piece.
    pub brought: bool,
    /// Whether it is to be run again as a spot check.
    pub spot_check: bool,
}

macro_rules! carried {
    ($rest:literal) => {
        concat!(
            "SELECT c.id, piece_id, tuning_id, from_us, reason, p.name AS person, let_go_us, c.version
             FROM carried AS c JOIN person AS p ON p.id = c.person_id ",
            $rest
        )
    };
}

/// What a piece carries over, in the order of carrying; not what was let go.
pub async fn of_piece(db: &mut Db, piece: PieceId) -> Result<Vec<Carried>, StoreError> {
    Ok(sqlx::query_as(carried!("WHERE piece_id = ? AND let_go_us IS NULL ORDER BY c.id"))
        .bind(piece)
        .fetch_all(db)
        .await?)
}

/// One of them, let go or not.
pub async fn by_id(db: &mut Db, id: CarriedId) -> Result<Option<Carried>, StoreError> {
    Ok(sqlx::query_as(carried!("WHERE c.id = ?")).bind(id).fetch_optional(db).await?)
}

/// The cells that a piece carries over, in the order of cells.
pub async fn cells_of_piece(db: &mut Db, piece: PieceId) -> Result<Vec<CarriedCell>, StoreError> {
    Ok(sqlx::query_as(
        "SELECT carried_id, cell_id, brought, spot_check FROM carried_cell
         WHERE carried_id IN (SELECT id FROM carried WHERE piece_id = ? AND let_go_us IS NULL) ORDER BY cell_id",
    )
    .bind(piece)
    .fetch_all(db)
    .await?)
}

/// The cells of one of them.
pub async fn cells_of(db: &mut Db, id: CarriedId) -> Result<Vec<CarriedCell>, StoreError> {
    Ok(sqlx::query_as(
        "SELECT carried_id, cell_id, brought, spot_check FROM carried_cell WHERE carried_id = ? ORDER BY cell_id",
    )
    .bind(id)
    .fetch_all(db)
    .await?)
}

/// Cells that other pieces select and that could be carried over into this one: of the piece's kind of part, in a scene at a
/// setting that it has, with passes, not carried over yet. One that the piece selects itself only where all its passes are
/// older than the piece.
pub async fn offered(db: &mut Db, piece: PieceId) -> Result<Vec<Cell>, StoreError> {
    Ok(sqlx::query_as(cells!(
        "JOIN part ON part.id = t.part_id
         WHERE part.kind = (SELECT kind FROM piece WHERE id = ?1) AND c.did_not_run = ''
           AND c.id IN (SELECT cell_id FROM piece_cell WHERE piece_id <> ?1)
           AND c.id NOT IN (SELECT cell_id FROM carried_cell JOIN carried ON carried.id = carried_id
                            WHERE piece_id = ?1 AND let_go_us IS NULL)
           AND (c.scene_id, c.setting_id) IN (
               SELECT own.scene_id, own.setting_id FROM cell AS own JOIN piece_cell AS pc ON pc.cell_id = own.id
               WHERE pc.piece_id = ?1)
           AND EXISTS (SELECT 1 FROM pass WHERE pass.cell_id = c.id)
           AND NOT EXISTS (
               SELECT 1 FROM pass JOIN piece_cell AS pc ON pc.cell_id = pass.cell_id AND pc.piece_id = ?1
               WHERE pass.cell_id = c.id AND pass.made_us > (SELECT made_us FROM piece WHERE id = ?1))
         ORDER BY t.part_id, t.id, c.id"
    ))
    .bind(piece)
    .fetch_all(db)
    .await?)
}

/// The moment from which a piece carried this part over before it let it go; `None`: it never did.
pub async fn let_go_from(db: &mut Db, piece: PieceId, tuning: TuningId) -> Result<Option<i64>, StoreError> {
    Ok(sqlx::query_scalar(
        "SELECT from_us FROM carried WHERE piece_id = ? AND tuning_id = ? AND let_go_us IS NOT NULL
         ORDER BY id DESC LIMIT 1",
    )
    .bind(piece)
    .bind(tuning)
    .fetch_optional(db)
    .await?)
}

/// Carries a part as it is run over into a piece, in the name of the person who acts; `from_us` is the moment of it.
pub async fn add(
    tx: &mut Tx<'_>,
    piece: PieceId,
    tuning: TuningId,
    (from_us, reason): (i64, &str),
) -> Result<CarriedId, StoreError> {
    let id = sqlx::query_scalar(
        "INSERT INTO carried (piece_id, tuning_id, from_us, reason, person_id) VALUES (?, ?, ?, ?, ?) RETURNING id",
    )
    .bind(piece)
    .bind(tuning)
    .bind(from_us)
    .bind(reason)
    .bind(tx.by.person())
    .fetch_one(&mut **tx)
    .await
    .map(CarriedId)?;
    tx.record("carry over", &CARRIED, id).await?;
    Ok(id)
}

/// Adds a cell to it.
pub async fn add_cell(tx: &mut Tx<'_>, cell: CarriedCell) -> Result<(), StoreError> {
    let id: CarriedCellId = sqlx::query_scalar(
        "INSERT INTO carried_cell (carried_id, cell_id, brought, spot_check) VALUES (?, ?, ?, ?) RETURNING id",
    )
    .bind(cell.carried_id)
    .bind(cell.cell_id)
    .bind(cell.brought)
    .bind(cell.spot_check)
    .fetch_one(&mut **tx)
    .await?;
    tx.record("carry over", &CARRIED_CELL, id).await
}

/// Makes these of its cells the spot checks, and no others.
pub async fn set_checks(
    tx: &mut Tx<'_>,
    id: CarriedId,
    version: i64,
    checks: &[CellId],
) -> Result<(), StoreError> {
    raise(tx, id, version, None, "choose spot checks").await?;
    for cell in cells_of(tx, id).await? {
        let wanted = checks.contains(&cell.cell_id);
        if wanted != cell.spot_check {
            let row: CarriedCellId = sqlx::query_scalar(
                "UPDATE carried_cell SET spot_check = ? WHERE carried_id = ? AND cell_id = ? RETURNING id",
            )
            .bind(wanted)
            .bind(id)
            .bind(cell.cell_id)
            .fetch_one(&mut **tx)
            .await?;
            tx.record("choose spot checks", &CARRIED_CELL, row).await?;
        }
    }
    Ok(())
}

/// Lets it go, at this moment; `None`: takes that back.
pub async fn let_go(
    tx: &mut Tx<'_>,
    id: CarriedId,
    version: i64,
    at_us: Option<i64>,
) -> Result<(), StoreError> {
    raise(tx, id, version, at_us, if at_us.is_some() { "let go" } else { "carry over again" }).await
}

async fn raise(
    tx: &mut Tx<'_>,
    id: CarriedId,
    version: i64,
    let_go_us: Option<i64>,
    act: &str,
) -> Result<(), StoreError> {
    let done =
        sqlx::query("UPDATE carried SET let_go_us = ?, version = version + 1 WHERE id = ? AND version = ?")
            .bind(let_go_us)
            .bind(id)
            .bind(version)
            .execute(&mut **tx)
            .await?;
    hit(&done)?;
    tx.record(act, &CARRIED, id).await
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::pieces::{self, PieceFields};
    use crate::store::registers::parts::PartKind;
    use crate::store::{Actor, Conflict, audit, testing};

    #[tokio::test]
    async fn what_another_piece_recorded_is_offered_carried_over_once_let_go_and_taken_back() {
        let (_folder, store) = testing::store().await;
        let team = testing::team(&store).await;
        testing::pass(&store, team, "earlier").await;
        let found = store.write(Actor::Person(team.person), async move |tx| {
            let earlier = pieces::add(tx, "k1", &PieceFields::usual("Earlier", PartKind::Card)).await?;
            let now = pieces::add(tx, "k2", &PieceFields::usual("Now", PartKind::Card)).await?;
            pieces::select(tx, earlier, team.cell).await?;
            assert_eq!(offered(tx, now).await?, [], "it has no such scene");
            pieces::select(tx, now, team.cell).await?;
            let cell = offered(tx, now).await?[0].clone();
            let id = add(tx, now, cell.of.tuning_id, (7, "no time")).await?;
            let of = CarriedCell { carried_id: id, cell_id: cell.id, brought: true, spot_check: false };
            add_cell(tx, of).await?;
            assert_eq!(offered(tx, now).await?, []);
            let again = add(tx, now, cell.of.tuning_id, (8, "")).await;
            assert!(matches!(again, Err(StoreError::Conflict { kind: Conflict::Unique, .. })), "{again:?}");
            set_checks(tx, id, 1, &[cell.id]).await?;
            assert!(matches!(set_checks(tx, id, 1, &[]).await, Err(StoreError::Stale)));
            assert_eq!(cells_of_piece(tx, now).await?, [CarriedCell { spot_check: true, ..of }]);
            assert_eq!(cells_of(tx, id).await?, cells_of_piece(tx, now).await?);
            let_go(tx, id, 2, Some(9)).await?;
            assert_eq!((of_piece(tx, now).await?, cells_of_piece(tx, now).await?), (vec![], vec![]));
            assert_eq!(let_go_from(tx, now, cell.of.tuning_id).await?, Some(7));
            let_go(tx, id, 3, None).await?;
            assert_eq!(let_go_from(tx, now, cell.of.tuning_id).await?, None);
            Ok::<_, StoreError>((of_piece(tx, now).await?, by_id(tx, id).await?))
        });
        let (stands, one) = found.await.unwrap();
        assert_eq!((stands[0].from_us, stands[0].reason.as_str(), stands[0].version), (7, "no time", 4));
        assert_eq!(one.as_ref(), stands.first());
        assert_eq!(audit::wrong(&mut store.read().await.unwrap()).await.unwrap(), Vec::<String>::new());
    }
}
