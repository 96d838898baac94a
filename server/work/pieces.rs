//! Pieces: all of them with how far they have come, and a new one.

use weighhouse_web::marks::Standing;

use super::carried::Age;
use super::evidence::{CellEvidence, Evidence};
use super::figures::ledger::{Ledger, ledger};
use super::once::By;
use super::{Refusal, Result, deadline};
use crate::chance::Chance;
use crate::store::first_steps::{self, FirstSteps};
use crate::store::pieces::{self, Piece, PieceFields};
use crate::store::registers::parts::PartKind;
use crate::store::{PieceId, Store};

/// Characters of a name: the schema's rule.
const NAME_LENGTH: usize = 120;

/// A piece and how far it has come.
#[derive(Clone, Debug)]
pub struct Progress {
    /// The piece.
    pub piece: Piece,
    /// Passes that count, in each cell no more than are wanted.
    pub passes: usize,
    /// Passes that its cells want.
    pub wanted: usize,
    /// Flagged passes without a ruling.
    pub flags: usize,
    /// Its figures, but for those that were withdrawn.
    pub figures: usize,
    /// Figures that stand agreed.
    pub agreed: usize,
    /// Figures that lapsed.
    pub lapsed: usize,
}

/// All pieces, the nearest deadline first.
///
/// # Errors
/// When the store fails.
pub async fn all(store: &Store) -> Result<Vec<Progress>> {
    let all = pieces::all(&mut *store.read().await?).await?;
    let mut out = Vec::with_capacity(all.len());
    for piece in all {
        out.push(progress(ledger(store, piece.id).await?));
    }
    Ok(out)
}

fn progress(ledger: Ledger) -> Progress {
    let standing = |is: fn(Standing) -> bool| ledger.figures.iter().filter(|f| is(f.state.standing)).count();
    let (figures, agreed) = (standing(|is| is != Standing::Withdrawn), standing(|is| is == Standing::Agreed));
    let lapsed = standing(|is| is == Standing::Lapsed);
    let evidence = ledger.evidence;
    let wanted = wanted(&evidence.piece);
    let running = || evidence.cells.values().filter(|cell| cell.cell.did_not_run.is_empty());
    Progress {
        passes: running().map(|cell| wanted - missing(cell, wanted)).sum(),
        wanted: running().count() * wanted,
        flags: evidence.to_review().count(),
        figures,
        agreed,
        lapsed,
        piece: evidence.piece,
    }
}

/// Passes wanted for each cell.
pub fn wanted(piece: &Piece) -> usize {
    usize::try_from(piece.fields.passes_wanted).unwrap_or(0)
}

/// Passes that a cell lacks of the `wanted` ones; none where it did not run. A cell that is carried over wants fresh ones where
/// it is a spot check or is to be run again, and none else.
pub fn missing(cell: &CellEvidence, wanted: usize) -> usize {
    let there = match cell.carried {
        _ if !cell.cell.did_not_run.is_empty() => return 0,
        Some(of) if !of.spot_check && !of.again => return 0,
        Some(_) => cell.kept().filter(|pass| pass.age == Age::Fresh).count(),
        None => cell.kept().count(),
    };
    wanted.saturating_sub(there)
}

/// Flagged passes of a piece that wait for a ruling.
///
/// # Errors
/// When the store fails.
pub async fn flags_open(store: &Store, piece: PieceId) -> Result<usize> {
    let evidence = Evidence::of_piece(store, piece).await?;
    Ok(evidence.map_or(0, |evidence| evidence.to_review().count()))
}

/// How far a new team has come; nothing once it has a pass.
///
/// # Errors
/// When the store fails.
pub async fn first_steps(store: &Store) -> Result<Option<FirstSteps>> {
    Ok(first_steps::read(&mut *store.read().await?).await?)
}

/// A new piece as it was typed.
#[derive(Clone, Debug, Default)]
pub struct Typed {
    /// Name.
    pub name: String,
    /// Word of a kind of part.
    pub kind: String,
    /// Local date and time; may be empty.
    pub deadline: String,
    /// IANA name of the deadline's zone.
    pub zone: String,
}

/// Makes a piece with the usual choices: its key.
///
/// # Errors
/// Refused, field by field, when something typed cannot be kept.
pub async fn make(store: &Store, chance: &Chance, by: impl Into<By>, typed: &Typed) -> Result<String> {
    let mut wrong = Vec::new();
    wrong.extend(wrong_name(&typed.name).map(|says| ("name", says)));
    let kind = PartKind::parse(&typed.kind);
    if kind.is_none() {
        wrong.push(("kind", format!("'{}' is no kind; it is card, processor or device.", typed.kind)));
    }
    let deadline_us = deadline::read(&typed.deadline, &typed.zone).unwrap_or_else(|field| {
        wrong.push(field);
        None
    });
    let Some(kind) = kind.filter(|_| wrong.is_empty()) else { return Err(Refusal::fields(wrong).into()) };
    let fields = PieceFields {
        deadline_us,
        deadline_zone: typed.zone.clone(),
        ..PieceFields::usual(typed.name.clone(), kind)
    };
    let key = chance.key()?;
    by.into()
        .write(store, async move |tx| {
            pieces::add(tx, &key, &fields).await?;
            Ok(key)
        })
        .await
}

/// What is wrong with the name of a piece.
pub fn wrong_name(name: &str) -> Option<String> {
    let fits = (1..=NAME_LENGTH).contains(&name.chars().count());
    (!fits).then(|| format!("Give the piece a name of 1 to {NAME_LENGTH} characters."))
}
