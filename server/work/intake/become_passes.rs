//! Logs become passes, all that were ticked or none; and what was just made is taken back.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use super::namesakes::namesakes;
use super::plan::{Chosen, Wish, wish};
use super::{Choices, Intake};
use crate::chance::Chance;
use crate::store::companions::PlacedBy;
use crate::store::passes::{self, NewPass};
use crate::store::pieces::{self, Piece};
use crate::store::registers::{cells, parts};
use crate::store::{PieceId, SegmentId, Store, StoreError, Tx, companions, segments};
use crate::work::assign::{Made, make};
use crate::work::once::By;
use crate::work::{Kind, Refusal, Result};

/// What an assignment did.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Assigned {
    /// Keys of the passes that were made.
    pub keys: Vec<String>,
    /// Companions that were paired by name: file, and how it was placed (empty: not placed).
    pub companions: Vec<(String, String)>,
    /// Drivers that the piece declares from now on, as it had declared none for their parts.
    #[serde(default)]
    pub declared: Vec<String>,
}

/// Makes passes of the chosen segments and pairs each with the waiting companions of its name.
///
/// # Errors
/// Refused, naming each file, when one of them cannot become a pass; nothing is made then.
pub async fn assign(
    store: &Store,
    chance: &Chance,
    by: impl Into<By>,
    piece: &Piece,
    segments: &[SegmentId],
    chosen: &Chosen,
) -> Result<Assigned> {
    let by = by.into();
    if let Some(first) = by.first(store).await? {
        return Ok(first);
    }
    let intake = Intake::read(store, piece).await?;
    let mut keyed = Vec::with_capacity(segments.len());
    for wish in wishes(&intake, segments, chosen)? {
        keyed.push((chance.key()?, wish));
    }
    let piece_id = piece.id;
    by.write(store, async move |tx| {
        let mut waiting = segments::waiting(tx).await?;
        let names: Vec<(SegmentId, String)> = waiting.iter().map(|s| (s.id, s.capture.clone())).collect();
        let mut assigned = Assigned::default();
        for (key, wish) in keyed {
            assigned.declared.extend(declare(tx, piece_id, &wish).await?);
            let cell_id = cells::ensure(tx, wish.of).await?;
            if !pieces::selected(tx, piece_id).await?.iter().any(|cell| cell.id == cell_id) {
                pieces::select(tx, piece_id, cell_id).await?;
            }
            let made = make(tx, key, &new_pass(cell_id, &wish), &mut waiting).await?;
            note(&mut assigned, made, &names);
        }
        Ok(assigned)
    })
    .await
}

/// Where the piece declares no driver for the part, the one of its first pass: said, and changed in the choices.
async fn declare(tx: &mut Tx<'_>, piece: PieceId, wish: &Wish) -> Result<Option<String>> {
    let driver = parts::drivers(tx).await?.into_iter().find(|driver| driver.id == wish.driver);
    let Some(driver) = driver else { return Ok(None) };
    let part = driver.fields.part_id;
    if pieces::declared(tx, piece).await?.iter().any(|declared| declared.part_id == part) {
        return Ok(None);
    }
    pieces::declare(tx, piece, part, driver.id).await?;
    let part = parts::all(tx).await?.into_iter().find(|one| one.id == part);
    Ok(part.map(|part| format!("{} {}", part.name(), driver.fields.name)))
}

fn new_pass(cell_id: crate::store::CellId, wish: &Wish) -> NewPass {
    NewPass {
        cell_id,
        segment_id: wish.segment,
        rig_base_id: wish.base,
        unit_id: wish.unit,
        driver_id: wish.driver,
        build_id: wish.build,
    }
}

fn note(assigned: &mut Assigned, made: Made, names: &[(SegmentId, String)]) {
    assigned.keys.push(made.key);
    for (segment, by) in made.companions {
        let name =
            names.iter().find(|(id, _)| *id == segment).map_or_else(String::new, |(_, name)| name.clone());
        assigned.companions.push((name, if by == PlacedBy::Nobody { String::new() } else { by.to_string() }));
    }
}

/// What each chosen segment would become.
fn wishes(intake: &Intake, segments: &[SegmentId], chosen: &Chosen) -> Result<Vec<Wish>> {
    if segments.is_empty() {
        return Err(Refusal::field("segment", "Tick the logs that become passes.").into());
    }
    let choices: &Choices = &intake.choices;
    let (mut out, mut wrong) = (Vec::new(), Vec::new());
    for id in segments {
        match intake.frames().find(|(one, _)| one.segment.id == *id) {
            Some((one, capture)) => match wish(choices, chosen, &one.segment, capture) {
                Ok(wish) => out.push(wish),
                Err(says) => wrong.push(format!("{}: {says}", one.segment.capture)),
            },
            None => wrong.push(format!("Log segment {id} does not wait any more.")),
        }
    }
    if !wrong.is_empty() {
        return Err(Refusal::field("segment", wrong.join(" ")).into());
    }
    let same = if chosen.twice { BTreeMap::new() } else { namesakes(intake, chosen, &out) };
    let name = |id: &SegmentId| {
        intake.frames().find(|(one, _)| one.segment.id == *id).map(|(one, _)| one.segment.capture.clone())
    };
    let says: Vec<String> =
        same.iter().map(|(id, says)| format!("{}: {says}.", name(id).unwrap_or_default())).collect();
    if says.is_empty() {
        return Ok(out);
    }
    let asked = "Untick what is no pass of its own, or tick that they are.";
    Err(Refusal::field("twice", format!("{} {asked}", says.join(" "))).into())
}

/// Takes back passes that were made just now; their logs wait again. All or none.
///
/// # Errors
/// Refused when one of them has a ruling or a remark, or is no longer there.
pub async fn take_back(store: &Store, by: impl Into<By>, keys: Vec<String>) -> Result<usize> {
    by.into()
        .write(store, async move |tx| {
            for key in &keys {
                remove(tx, key).await?;
            }
            Ok(keys.len())
        })
        .await
}

async fn remove(tx: &mut Tx<'_>, key: &str) -> Result<()> {
    let pass = passes::by_key(tx, key).await?.ok_or_else(|| Refusal::missing("pass", key))?;
    for companion in companions::of_pass(tx, pass.id).await? {
        companions::remove(tx, companion.id, companion.version).await?;
    }
    passes::remove(tx, pass.id, pass.version).await.map_err(|error| match error {
        StoreError::Conflict { .. } => Refusal::new(
            Kind::Clash,
            "Something rests on it",
            format!("'{}' has a ruling or a remark already; no pass was taken back.", pass.capture),
            "Set it aside with a reason, or move it to the cell that it ran in.",
        )
        .into(),
        other => other.into(),
    })
}
