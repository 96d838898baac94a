//! Pieces: which cells they select, which drivers they declare, their noise priors.

use serde::{Deserialize, Serialize};

use super::audit::{NOISE_PRIOR, PIECE, PIECE_CELL, PIECE_DRIVER};
use super::registers::cells::{Cell, cells};
use super::registers::parts::PartKind;
use super::words::words;
use super::{CellId, Db, DriverId, PartId, PersonId, PieceId, StoreError, Tx, hit};

words! {
    /// The ways to compute a low.
    LowDefinition {
        /// Quantile of the frame times.
        Quantile = "quantile",
        /// Mean of the slowest share of frames.
        TailMean = "tail mean",
        /// The frame time that the slowest share of the time is spent above.
        TimeShare = "time share",
    }
}

/// What people type of a piece.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, sqlx::FromRow)]
pub struct PieceFields {
    /// Title.
    pub name: String,
    /// What it compares: says what may differ by design.
    pub kind: PartKind,
    /// Deadline, microseconds UTC.
    pub deadline_us: Option<i64>,
    /// IANA name of the zone in which the deadline was said.
    pub deadline_zone: String,
    /// Passes wanted for each cell.
    pub passes_wanted: i64,
    /// How its low is computed.
    pub low_definition: LowDefinition,
    /// Tail share of its low, tenths of a per cent: 10 is 1%, 1 is 0.1%.
    pub low_permille: i64,
    /// Margin, tenths of a per cent.
    pub margin_permille: i64,
    /// Margin of scenes played by hand, tenths of a per cent.
    pub hand_margin_permille: i64,
    /// How closely a value is wanted, tenths of a per cent.
    pub precision_permille: i64,
    /// The part that others are compared with.
    pub baseline_part_id: Option<PartId>,
    /// One person does it all: marked so for ever.
    pub working_alone: bool,
    /// How many people beside the proposer agree to a figure; `None`: one.
    pub agreements: Option<i64>,
}

impl PieceFields {
    /// A piece with the usual choices.
    pub fn usual(name: impl Into<String>, kind: PartKind) -> Self {
        Self {
            name: name.into(),
            kind,
            deadline_us: None,
            deadline_zone: "UTC".to_owned(),
            passes_wanted: 3,
            low_definition: LowDefinition::Quantile,
            low_permille: 10,
            margin_permille: 20,
            hand_margin_permille: 30,
            precision_permille: 10,
            baseline_part_id: None,
            working_alone: false,
            agreements: None,
        }
    }
}

/// An article or video with a deadline.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, sqlx::FromRow)]
pub struct Piece {
    /// Row id.
    pub id: PieceId,
    /// Key in addresses.
    pub key: String,
    /// What people typed.
    #[sqlx(flatten)]
    #[serde(flatten)]
    pub fields: PieceFields,
    /// Since when, microseconds UTC.
    pub made_us: i64,
    /// For stale forms.
    pub version: i64,
}

macro_rules! pieces {
    ($rest:literal) => {
        concat!(
            "SELECT id, key, name, kind, deadline_us, deadline_zone, passes_wanted, low_definition, low_permille,
                    margin_permille, hand_margin_permille, precision_permille, baseline_part_id, working_alone,
                    agreements, made_us, version FROM piece ",
            $rest
        )
    };
}

/// All pieces, the nearest deadline first.
pub async fn all(db: &mut Db) -> Result<Vec<Piece>, StoreError> {
    Ok(sqlx::query_as(pieces!("ORDER BY deadline_us IS NULL, deadline_us, id")).fetch_all(db).await?)
}

/// The piece with this key.
pub async fn by_key(db: &mut Db, key: &str) -> Result<Option<Piece>, StoreError> {
    Ok(sqlx::query_as(pieces!("WHERE key = ?")).bind(key).fetch_optional(db).await?)
}

/// One piece.
pub async fn by_id(db: &mut Db, id: PieceId) -> Result<Option<Piece>, StoreError> {
    Ok(sqlx::query_as(pieces!("WHERE id = ?")).bind(id).fetch_optional(db).await?)
}

/// Adds a piece.
pub async fn add(tx: &mut Tx<'_>, key: &str, f: &PieceFields) -> Result<PieceId, StoreError> {
    let id = sqlx::query_scalar(
        "INSERT INTO piece (key, name, kind, deadline_us, deadline_zone, passes_wanted, low_definition, low_permille,
                            margin_permille, hand_margin_permille, precision_permille, baseline_part_id,
                            working_alone, agreements, made_us)
         VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?) RETURNING id",
    )
    .bind(key)
    .bind(&f.name)
    .bind(f.kind)
    .bind(f.deadline_us)
    .bind(&f.deadline_zone)
    .bind(f.passes_wanted)
    .bind(f.low_definition)
    .bind(f.low_permille)
    .bind(f.margin_permille)
    .bind(f.hand_margin_permille)
    .bind(f.precision_permille)
    .bind(f.baseline_part_id)
    .bind(f.working_alone)
    .bind(f.agreements)
    .bind(tx.at_us)
    .fetch_one(&mut **tx)
    .await
    .map(PieceId)?;
    tx.record("add", &PIECE, id).await?;
    Ok(id)
}

/// Changes a piece.
pub async fn edit(tx: &mut Tx<'_>, id: PieceId, version: i64, f: &PieceFields) -> Result<(), StoreError> {
    let done = sqlx::query(
        "UPDATE piece SET name = ?, kind = ?, deadline_us = ?, deadline_zone = ?, passes_wanted = ?,
                low_definition = ?, low_permille = ?, margin_permille = ?, hand_margin_permille = ?,
                precision_permille = ?, baseline_part_id = ?, working_alone = ?, agreements = ?, version = version + 1
         WHERE id = ? AND version = ?",
    )
    .bind(&f.name)
    .bind(f.kind)
    .bind(f.deadline_us)
    .bind(&f.deadline_zone)
    .bind(f.passes_wanted)
    .bind(f.low_definition)
    .bind(f.low_permille)
    .bind(f.margin_permille)
    .bind(f.hand_margin_permille)
    .bind(f.precision_permille)
    .bind(f.baseline_part_id)
    .bind(f.working_alone)
    .bind(f.agreements)
    .bind(id)
    .bind(version)
    .execute(&mut **tx)
    .await?;
    hit(&done)?;
    tx.record("edit", &PIECE, id).await
}

/// The cells that a piece selected.
pub async fn selected(db: &mut Db, piece: PieceId) -> Result<Vec<Cell>, StoreError> {
    Ok(sqlx::query_as(cells!(
        "JOIN piece_cell AS pc ON pc.cell_id = c.id WHERE pc.piece_id = ? ORDER BY c.id"
    ))
    .bind(piece)
    .fetch_all(db)
    .await?)
}

/// The pieces that selected a cell.
pub async fn selecting(db: &mut Db, cell: CellId) -> Result<Vec<Piece>, StoreError> {
    Ok(sqlx::query_as(pieces!("WHERE id IN (SELECT piece_id FROM piece_cell WHERE cell_id = ?) ORDER BY id"))
        .bind(cell)
        .fetch_all(db)
        .await?)
}

/// Selects a cell; one that is selected already stays so.
pub async fn select(tx: &mut Tx<'_>, piece: PieceId, cell: CellId) -> Result<(), StoreError> {
    let id: Option<i64> = sqlx::query_scalar(
        "INSERT INTO piece_cell (piece_id, cell_id) VALUES (?, ?) ON CONFLICT DO NOTHING RETURNING id",
    )
    .bind(piece)
    .bind(cell)
    .fetch_optional(&mut **tx)
    .await?;
    match id {
        Some(id) => tx.record("select", &PIECE_CELL, id).await,
        None => Ok(()),
    }
}

/// Takes a cell out of a piece; one that is not selected is left alone.
pub async fn deselect(tx: &mut Tx<'_>, piece: PieceId, cell: CellId) -> Result<(), StoreError> {
    let id: Option<i64> =
        sqlx::query_scalar("DELETE FROM piece_cell WHERE piece_id = ? AND cell_id = ? RETURNING id")
            .bind(piece)
            .bind(cell)
            .fetch_optional(&mut **tx)
            .await?;
    match id {
        Some(id) => tx.record("deselect", &PIECE_CELL, id).await,
        None => Ok(()),
    }
}

/// The driver that a piece declares for a part.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, sqlx::FromRow)]
pub struct Declared {
    /// The part.
    pub part_id: PartId,
    /// Its driver.
    pub driver_id: DriverId,
}

/// The drivers that a piece declares.
pub async fn declared(db: &mut Db, piece: PieceId) -> Result<Vec<Declared>, StoreError> {
    Ok(sqlx::query_as("SELECT part_id, driver_id FROM piece_driver WHERE piece_id = ? ORDER BY part_id")
        .bind(piece)
        .fetch_all(db)
        .await?)
}

/// Declares the one driver of a part, in the place of the one before.
pub async fn declare(
    tx: &mut Tx<'_>,
    piece: PieceId,
    part: PartId,
    driver: DriverId,
) -> Result<(), StoreError> {
    let id: i64 = sqlx::query_scalar(
        "INSERT INTO piece_driver (piece_id, part_id, driver_id) VALUES (?, ?, ?)
         ON CONFLICT (piece_id, part_id) DO UPDATE SET driver_id = excluded.driver_id RETURNING id",
    )
    .bind(piece)
    .bind(part)
    .bind(driver)
    .fetch_one(&mut **tx)
    .await?;
    tx.record("declare driver", &PIECE_DRIVER, id).await
}

/// Takes the declared driver of a part back; where none is declared, nothing is done.
pub async fn undeclare(tx: &mut Tx<'_>, piece: PieceId, part: PartId) -> Result<(), StoreError> {
    let id: Option<i64> =
        sqlx::query_scalar("DELETE FROM piece_driver WHERE piece_id = ? AND part_id = ? RETURNING id")
            .bind(piece)
            .bind(part)
            .fetch_optional(&mut **tx)
            .await?;
    match id {
        Some(id) => tx.record("take driver back", &PIECE_DRIVER, id).await,
        None => Ok(()),
    }
}

/// A version of a piece's noise prior.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, sqlx::FromRow)]
pub struct Prior {
    /// Its number, from 1.
    pub number: i64,
    /// JSON, numbers as decimal strings.
    pub body: String,
    /// Who renewed it; nobody: the first, made by itself.
    pub person_id: Option<PersonId>,
    /// When, microseconds UTC.
    pub at_us: i64,
}

/// The noise prior that stands.
pub async fn prior(db: &mut Db, piece: PieceId) -> Result<Option<Prior>, StoreError> {
    Ok(sqlx::query_as(
        "SELECT number, body, person_id, at_us FROM noise_prior WHERE piece_id = ? ORDER BY number DESC LIMIT 1",
    )
    .bind(piece)
    .fetch_optional(db)
    .await?)
}

/// Renews the noise prior; its number.
pub async fn renew_prior(tx: &mut Tx<'_>, piece: PieceId, body: &str) -> Result<i64, StoreError> {
    let (id, number): (i64, i64) = sqlx::query_as(
        "INSERT INTO noise_prior (piece_id, number, body, person_id, at_us)
         VALUES (?1, coalesce((SELECT max(number) FROM noise_prior WHERE piece_id = ?1), 0) + 1, ?2, ?3, ?4)
         RETURNING id, number",
    )
    .bind(piece)
    .bind(body)
    .bind(tx.by.person())
    .bind(tx.at_us)
    .fetch_one(&mut **tx)
    .await?;
    tx.record("renew noise prior", &NOISE_PRIOR, id).await?;
    Ok(number)
}
