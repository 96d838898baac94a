//! Enters what the team has: people, rigs, parts, scenes, settings, tunings, cells and the piece.

use weighhouse_demo::Demo;
use weighhouse_measure::compare::SceneKind;

use super::{Ids, word};
use crate::store::people::Role;
use crate::store::pieces::PieceFields;
use crate::store::readers::{JudgesBy, ReaderFields};
use crate::store::registers::cells::CellOf;
use crate::store::registers::parts::{DriverFields, Origin, PartFields, PartKind, PriceFields, UnitFields};
use crate::store::registers::rigs::{RigBaseFields, RigFields};
use crate::store::registers::scenes::{BuildFields, SceneFields};
use crate::store::registers::settings::SettingFields;
use crate::store::registers::tunings::TuningFields;
use crate::store::registers::{cells, parts, rigs, scenes, settings, tunings};
use crate::store::{
    Actor, BuildId, CellId, DriverId, PartId, PieceId, RigBaseId, RigId, SceneId, SettingId, Tx, people,
    pieces, readers,
};
use crate::work::readers::Plays;
use crate::work::{Internal, Result};

/// Adds all registers, the cells and the piece; everything carries the owner's name.
pub(super) async fn add(
    tx: &mut Tx<'_>,
    week: &Demo,
    team: Vec<(&str, Role, String)>,
    key: &str,
) -> Result<Ids> {
    let mut ids = Vec::new();
    for (name, role, hash) in team {
        ids.push(people::add(tx, name, role, &hash).await?);
    }
    let owner = *ids.first().ok_or_else(|| Internal("a team of nobody".to_owned()))?;
    tx.by = Actor::Person(owner);
    let (rigs, bases) = add_rigs(tx, week).await?;
    let parts = add_parts(tx, week).await?;
    let mut units = Vec::new();
    for unit in &week.units {
        let fields = unit_fields(parts[unit.part], unit)?;
        units.push(parts::add_unit(tx, &fields).await?);
    }
    let mut drivers = Vec::new();
    for driver in &week.drivers {
        let fields = DriverFields {
            part_id: parts[driver.part],
            name: driver.name.to_owned(),
            dated_us: driver.dated.as_microsecond(),
        };
        drivers.push(parts::add_driver(tx, &fields).await?);
    }
    add_prices(tx, week, &parts).await?;
    let Grid { scenes, settings, builds, tunings, cells } = add_cells(tx, week, &parts).await?;
    let piece = add_piece(tx, week, key, &parts, &drivers, &cells).await?;
    add_readers(tx, week, piece, (&parts, &scenes, &settings)).await?;
    Ok(Ids {
        people: ids,
        piece,
        parts,
        scenes,
        settings,
        rigs,
        bases,
        units,
        drivers,
        builds,
        tunings,
        cells,
    })
}

async fn add_rigs(tx: &mut Tx<'_>, week: &Demo) -> Result<(Vec<RigId>, Vec<Vec<RigBaseId>>)> {
    let (mut ids, mut bases) = (Vec::new(), Vec::new());
    for rig in &week.rigs {
        let rig_id =
            rigs::add(tx, &RigFields { name: rig.name.to_owned(), note: rig.note.to_owned() }).await?;
        let mut of_rig = Vec::new();
        for base in &rig.bases {
            let fields = RigBaseFields {
                rig_id,
                from_us: base.from.as_microsecond(),
                board: base.board.to_owned(),
                processor: base.processor.to_owned(),
                memory: base.memory.to_owned(),
                os_build: base.os_build.to_owned(),
                firmware: base.firmware.to_owned(),
                cooling: base.cooling.to_owned(),
                enclosure: word(
                    crate::store::registers::rigs::Enclosure::parse(base.enclosure),
                    base.enclosure,
                )?,
                time_zone: base.time_zone.to_owned(),
            };
            of_rig.push(rigs::add_base(tx, &fields).await?);
        }
        ids.push(rig_id);
        bases.push(of_rig);
    }
    Ok((ids, bases))
}

async fn add_parts(tx: &mut Tx<'_>, week: &Demo) -> Result<Vec<PartId>> {
    let mut ids = Vec::new();
    for part in &week.parts {
        let fields = PartFields {
            maker: part.maker.to_owned(),
            model: part.model.to_owned(),
            kind: word(PartKind::parse(part.kind), part.kind)?,
            rated_power_w: Some(i64::from(part.rated_power_w)),
            memory_mib: Some(i64::from(part.memory_mib)),
            note: part.note.to_owned(),
        };
        ids.push(parts::add(tx, &fields).await?);
    }
    Ok(ids)
}

async fn add_prices(tx: &mut Tx<'_>, week: &Demo, parts_by_index: &[PartId]) -> Result<()> {
    for price in &week.prices {
        let fields = PriceFields {
            part_id: parts_by_index[price.part],
            amount: price.amount.to_owned(),
            currency: price.currency.to_owned(),
            kind: word(crate::store::registers::parts::PriceKind::parse(price.kind), price.kind)?,
            country: price.country.to_owned(),
            source: price.source.to_owned(),
            dated_us: price.dated.as_microsecond(),
        };
        parts::add_price(tx, &fields).await?;
    }
    Ok(())
}

/// Scenes with their builds, settings and the cells that they make.
struct Grid {
    scenes: Vec<SceneId>,
    settings: Vec<SettingId>,
    builds: Vec<Vec<BuildId>>,
    tunings: Vec<crate::store::TuningId>,
    cells: Vec<CellId>,
}

async fn add_cells(tx: &mut Tx<'_>, week: &Demo, parts: &[PartId]) -> Result<Grid> {
    let (mut scene_ids, mut builds) = (Vec::new(), Vec::new());
    for scene in &week.scenes {
        let fields = SceneFields {
            game: scene.game.to_owned(),
            passage: scene.passage.to_owned(),
            kind: word(SceneKind::parse(scene.kind), scene.kind)?,
            start_cue: scene.start_cue.to_owned(),
            window_start_ns: scene.window_start_ns,
            window_end_ns: Some(scene.window_end_ns),
            tolerance_permille: None,
            note: scene.note.to_owned(),
        };
        let scene_id = scenes::add(tx, &fields).await?;
        let mut of_scene = Vec::new();
        for build in &scene.builds {
            let dated_us = build.dated.as_microsecond();
            let fields = BuildFields { scene_id, name: build.name.to_owned(), dated_us };
            of_scene.push(scenes::add_build(tx, &fields).await?);
        }
        scene_ids.push(scene_id);
        builds.push(of_scene);
    }
    let mut setting_ids = Vec::new();
    for setting in &week.settings {
        let fields = SettingFields {
            name: setting.name.to_owned(),
            width_px: i64::from(setting.width_px),
            height_px: i64::from(setting.height_px),
            preset: setting.preset.to_owned(),
            ray_tracing: setting.ray_tracing.to_owned(),
            upscaling: setting.upscaling.to_owned(),
            generated: i64::from(setting.generated),
        };
        setting_ids.push(settings::add(tx, &fields).await?);
    }
    let tuning_ids = add_tunings(tx, week, parts).await?;
    let mut cell_ids = Vec::new();
    for cell in &week.cells {
        let (tuning_id, scene_id) = (tuning_ids[cell.tuning], scene_ids[cell.scene]);
        let of = CellOf { tuning_id, scene_id, setting_id: setting_ids[cell.setting] };
        let id = cells::ensure(tx, of).await?;
        if !cell.did_not_run.is_empty() {
            cells::set_did_not_run(tx, id, 1, cell.did_not_run).await?;
        }
        cell_ids.push(id);
    }
    Ok(Grid { scenes: scene_ids, settings: setting_ids, builds, tunings: tuning_ids, cells: cell_ids })
}

/// Every part has `stock` from the start; only the others are added.
async fn add_tunings(tx: &mut Tx<'_>, week: &Demo, parts: &[PartId]) -> Result<Vec<crate::store::TuningId>> {
    let there = tunings::all(tx).await?;
    let mut ids = Vec::new();
    for tuning in &week.tunings {
        let part_id = parts[tuning.part];
        let known = there.iter().find(|t| t.fields.part_id == part_id && t.fields.name == tuning.name);
        if let Some(known) = known {
            ids.push(known.id);
            continue;
        }
        let fields = TuningFields {
            part_id,
            name: tuning.name.to_owned(),
            power_limit_w: tuning.power_limit_w.map(i64::from),
            core_offset_mhz: i64::from(tuning.core_offset_mhz),
            memory_offset_mhz: i64::from(tuning.memory_offset_mhz),
            voltage_offset_mv: 0,
            cautions_read_by: tx
                .by
                .person()
                .filter(|_| tuning.core_offset_mhz > 0 || tuning.memory_offset_mhz > 0),
        };
        ids.push(tunings::add(tx, &fields).await?);
    }
    Ok(ids)
}

async fn add_piece(
    tx: &mut Tx<'_>,
    week: &Demo,
    key: &str,
    parts: &[PartId],
    drivers: &[DriverId],
    cells: &[CellId],
) -> Result<PieceId> {
    let said = &week.piece;
    let mut fields = PieceFields::usual(said.name, word(PartKind::parse(said.kind), said.kind)?);
    fields.deadline_us = Some(said.deadline.as_microsecond());
    said.deadline_zone.clone_into(&mut fields.deadline_zone);
    fields.passes_wanted = i64::from(said.passes_wanted);
    fields.baseline_part_id = Some(parts[said.baseline]);
    let piece = pieces::add(tx, key, &fields).await?;
    for cell in cells {
        pieces::select(tx, piece, *cell).await?;
    }
    for (part, driver) in parts.iter().zip(&said.drivers) {
        pieces::declare(tx, piece, *part, drivers[*driver]).await?;
    }
    Ok(piece)
}

async fn add_readers(
    tx: &mut Tx<'_>,
    week: &Demo,
    piece_id: PieceId,
    (parts, scenes, settings): (&[PartId], &[SceneId], &[SettingId]),
) -> Result<()> {
    for reader in &week.readers {
        let plays = Plays {
            scenes: reader.scenes.iter().map(|(at, weight)| (scenes[*at], *weight)).collect(),
            settings: reader.settings.iter().map(|(at, weight)| (settings[*at], *weight)).collect(),
        };
        let fields = ReaderFields {
            piece_id,
            name: reader.name.to_owned(),
            owned_part_id: reader.owns.map(|at| parts[at]),
            judges_by: word(JudgesBy::parse(reader.judges_by), reader.judges_by)?,
            asks_permille: i64::from(reader.asks_percent) * 10,
            refresh_hz: Some(i64::from(reader.refresh_hz)),
            hours_a_week: i64::from(reader.hours_a_week),
            kwh_price: reader.kwh_price.to_owned(),
            kwh_currency: reader.kwh_currency.to_owned(),
            plays: plays.text(),
        };
        readers::add(tx, &fields).await?;
    }
    Ok(())
}

/// A unit as the store keeps it.
pub(super) fn unit_fields(part_id: PartId, unit: &weighhouse_demo::Unit) -> Result<UnitFields> {
    Ok(UnitFields {
        serial: unit.serial.to_owned(),
        origin: word(Origin::parse(unit.origin), unit.origin)?,
        firmware: unit.firmware.to_owned(),
        lender: unit.lender.to_owned(),
        terms: unit.terms.to_owned(),
        ..UnitFields::bought(part_id, unit.label)
    })
}
