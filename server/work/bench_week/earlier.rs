//! Enters a card of an earlier piece, carries it over into the week's own, and brings in the passes that check it.

use futures_util::stream;
use weighhouse_demo::{DemoPass, Earlier};

use super::registers::unit_fields;
use super::{Ids, word};
use crate::chance::Chance;
use crate::store::passes::NewPass;
use crate::store::pieces::{self, PieceFields};
use crate::store::registers::cells::{self, CellOf};
use crate::store::registers::parts::{self, DriverFields, PartFields, PartKind};
use crate::store::registers::tunings;
use crate::store::{Actor, CellId, DriverId, SegmentId, Store, StoreError, TuningId, Tx, UnitId};
use crate::work::assign::assign;
use crate::work::carried::keep;
use crate::work::take_in::{TakeIn, Upload};
use crate::work::{Internal, Refusal, Result};

/// What was entered.
struct Card {
    tuning: TuningId,
    unit: UnitId,
    drivers: [DriverId; 2],
    cells: Vec<CellId>,
}

/// Does so.
///
/// # Errors
/// When the store fails, or the card does not go with the week.
pub(super) async fn carry_over(
    store: &Store,
    chance: &Chance,
    taking: &TakeIn,
    (ids, of): (&Ids, &Earlier),
) -> Result<()> {
    let key = chance.key()?;
    let by = Actor::Person(ids.owner());
    let (scenes, setting, piece) = (ids.scenes.clone(), ids.settings.first().copied(), ids.piece);
    let setting = setting.ok_or_else(|| Internal("a week without a setting".to_owned()))?;
    let (of_card, at) = (of.clone(), of.scenes.clone());
    let card = store
        .write(by, async move |tx| {
            let mut card = registers(tx, &of_card).await?;
            let earlier = pieces::add(tx, &key, &PieceFields::usual(of_card.piece, PartKind::Card)).await?;
            for scene_id in at.iter().filter_map(|at| scenes.get(*at)).copied() {
                let of = CellOf { tuning_id: card.tuning, scene_id, setting_id: setting };
                let cell = cells::ensure(tx, of).await?;
                pieces::select(tx, earlier, cell).await?;
                card.cells.push(cell);
            }
            let part_id = tunings::by_id(tx, card.tuning).await?.map(|tuning| tuning.fields.part_id);
            if let Some(part_id) = part_id {
                pieces::declare(tx, piece, part_id, card.drivers[1]).await?;
            }
            Ok::<_, crate::work::Error>(card)
        })
        .await?;
    bring_in(store, chance, taking, (ids, &card), &of.passes).await?;
    let piece = pieces::by_id(&mut *store.read().await?, ids.piece).await?;
    let piece = piece.ok_or_else(|| Refusal::missing("piece", ids.piece))?;
    let from_us = Some(of.carried.as_microsecond());
    keep::carry(store, by, &piece, (card.tuning, of.reason), from_us).await?;
    bring_in(store, chance, taking, (ids, &card), &of.fresh).await
}

async fn registers(tx: &mut Tx<'_>, of: &Earlier) -> Result<Card> {
    let part_id = parts::add(
        tx,
        &PartFields {
            maker: of.part.maker.to_owned(),
            model: of.part.model.to_owned(),
            kind: word(PartKind::parse(of.part.kind), of.part.kind)?,
            rated_power_w: Some(i64::from(of.part.rated_power_w)),
            memory_mib: Some(i64::from(of.part.memory_mib)),
            note: of.part.note.to_owned(),
        },
    )
    .await?;
    let unit = unit_fields(part_id, &of.unit)?;
    let unit = parts::add_unit(tx, &unit).await?;
    let mut drivers = Vec::new();
    for driver in &of.drivers {
        let (name, dated_us) = (driver.name.to_owned(), driver.dated.as_microsecond());
        drivers.push(parts::add_driver(tx, &DriverFields { part_id, name, dated_us }).await?);
    }
    let drivers = <[DriverId; 2]>::try_from(drivers).map_err(|_| Internal("two drivers".to_owned()))?;
    let tuning = tunings::all(tx).await?.into_iter().find(|tuning| tuning.fields.part_id == part_id);
    let tuning = tuning.ok_or_else(|| StoreError::Other("a part without a tuning".to_owned()))?.id;
    Ok(Card { tuning, unit, drivers, cells: Vec::new() })
}

/// Takes logs in and makes them passes.
async fn bring_in(
    store: &Store,
    chance: &Chance,
    taking: &TakeIn,
    (ids, card): (&Ids, &Card),
    passes: &[DemoPass],
) -> Result<()> {
    let mut made = Vec::new();
    for pass in passes {
        let upload = Upload {
            name: pass.file_name.clone(),
            rig_id: ids.rigs.get(pass.rig).copied(),
            start_us: Some(pass.start.as_microsecond()),
            settings: None,
            key: None,
        };
        let log = stream::iter([Ok(pass.log())]);
        let taken = taking.take_in(Actor::Person(ids.owner()), upload, log).await?;
        let new = taken.segments.first().and_then(|segment| new_pass(ids, card, pass, segment.id));
        made.push(new.ok_or_else(|| Internal(format!("{} is no pass", pass.file_name)))?);
    }
    if !made.is_empty() {
        assign(store, chance, ids.owner(), made).await?;
    }
    Ok(())
}

fn new_pass(ids: &Ids, card: &Card, pass: &DemoPass, segment_id: SegmentId) -> Option<NewPass> {
    Some(NewPass {
        cell_id: *card.cells.get(pass.cell)?,
        segment_id,
        rig_base_id: *ids.bases.get(pass.rig)?.get(pass.base)?,
        unit_id: card.unit,
        driver_id: *card.drivers.get(pass.driver)?,
        build_id: *ids.builds.get(pass.cell)?.get(pass.build)?,
    })
}
