//! Fills an empty store with the invented team's bench week, through the same doors that a team uses.

use std::collections::HashMap;

use futures_util::{StreamExt as _, TryStreamExt as _, stream};
use weighhouse_demo::{Demo, DemoPass};
use weighhouse_measure::compare::SceneKind;

use super::assign::assign;
use super::evidence::Evidence;
use super::passwords::Passwords;
use super::take_in::{TakeIn, Taken, Upload};
use super::{Error, Internal, Result};
use crate::chance::Chance;
use crate::store::passes::NewPass;
use crate::store::people::Role;
use crate::store::pieces::PieceFields;
use crate::store::registers::cells::CellOf;
use crate::store::registers::parts::{DriverFields, PartFields, PartKind, PriceFields, UnitFields};
use crate::store::registers::rigs::{RigBaseFields, RigFields};
use crate::store::registers::scenes::{BuildFields, SceneFields};
use crate::store::registers::settings::SettingFields;
use crate::store::registers::tunings::TuningFields;
use crate::store::registers::{cells, parts, rigs, scenes, settings, tunings};
use crate::store::{
    Actor, BuildId, CellId, DriverId, PartId, PersonId, PieceId, RigBaseId, RigId, SegmentId, Store, Tx,
    UnitId, people, pieces,
};

/// Logs on their way at once: two are read while others are written.
const AT_ONCE: usize = 4;

/// Row ids of the registers, in the order of the demo's lists.
struct Ids {
    owner: PersonId,
    piece: PieceId,
    rigs: Vec<RigId>,
    bases: Vec<Vec<RigBaseId>>,
    units: Vec<UnitId>,
    drivers: Vec<DriverId>,
    builds: Vec<Vec<BuildId>>,
    cells: Vec<CellId>,
}

/// Loads the week; `says` is told how far it has come.
///
/// # Errors
/// When the store fails, or the week does not go with the schema.
pub async fn load(
    store: &Store,
    chance: &Chance,
    passwords: &Passwords,
    week: Demo,
    says: impl Fn(&str),
) -> Result<()> {
    let mut people = Vec::new();
    for person in &week.team.people {
        let hash = passwords.turn().await?.hash(person.password.to_owned(), chance).await?;
        people.push((person.name, word(Role::parse(person.role), person.role)?, hash));
    }
    let key = chance.key()?;
    let weeks = std::sync::Arc::new(week);
    let week = weeks.clone();
    let ids = store.write(Actor::Server, async move |tx| registers(tx, &week, people, &key).await).await?;

    let taking = TakeIn::new(store.clone());
    let mut logs: Vec<(usize, bool)> = (0..weeks.passes.len()).map(|at| (at, false)).collect();
    logs.extend(
        (0..weeks.passes.len()).filter(|at| weeks.passes[*at].sensors_name.is_some()).map(|at| (at, true)),
    );
    let total = logs.len();
    let mut taken: HashMap<usize, SegmentId> = HashMap::new();
    let mut coming = stream::iter(logs)
        .map(|(at, sensors)| {
            let (taking, week, ids) = (taking.clone(), weeks.clone(), &ids);
            async move { Ok::<_, Error>((at, sensors, send(&taking, week, at, sensors, ids).await?)) }
        })
        .buffer_unordered(AT_ONCE);
    let mut done = 0;
    while let Some((at, sensors, log)) = coming.try_next().await? {
        done += 1;
        if done % 100 == 0 {
            says(&format!("{done} of {total} logs"));
        }
        if !sensors {
            let segment =
                log.segments.first().ok_or_else(|| Internal(format!("{} was not read", log.capture.name)))?;
            taken.insert(at, segment.id);
        }
    }
    drop(coming);
    assign(store, chance, ids.owner, new_passes(&weeks, &ids, &taken)?).await?;
    says("computing measures and intervals");
    keep_prior(store, &ids).await
}

async fn send(
    taking: &TakeIn,
    week: std::sync::Arc<Demo>,
    at: usize,
    sensors: bool,
    ids: &Ids,
) -> Result<Taken> {
    let pass: &DemoPass = &week.passes[at];
    let name = if sensors { pass.sensors_name.clone().unwrap_or_default() } else { pass.file_name.clone() };
    let upload = Upload {
        name,
        rig_id: ids.rigs.get(pass.rig).copied(),
        // What the person at the rig noted: some of its loggers write no wall clock.
        start_us: (!sensors).then(|| pass.start.as_microsecond()),
        key: None,
    };
    let made = tokio::task::spawn_blocking(move || {
        let pass = &week.passes[at];
        if sensors { pass.sensors().unwrap_or_default() } else { pass.log() }
    });
    let bytes = made.await.map_err(|e| Internal(e.to_string()))?;
    taking.take_in(Actor::Person(ids.owner), upload, stream::iter([Ok(bytes)])).await
}

fn new_passes(week: &Demo, ids: &Ids, taken: &HashMap<usize, SegmentId>) -> Result<Vec<NewPass>> {
    let made = week.passes.iter().enumerate().map(|(at, pass)| {
        Some(NewPass {
            cell_id: *ids.cells.get(pass.cell)?,
            segment_id: *taken.get(&at)?,
            rig_base_id: *ids.bases.get(pass.rig)?.get(pass.base)?,
            unit_id: *ids.units.get(pass.unit)?,
            driver_id: *ids.drivers.get(pass.driver)?,
            build_id: *ids.builds.get(week.cells.get(pass.cell)?.scene)?.get(pass.build)?,
        })
    });
    made.collect::<Option<Vec<_>>>()
        .ok_or_else(|| Internal("the week names what it does not have".to_owned()).into())
}

/// Computes what every page shows, and keeps the piece's first noise prior.
async fn keep_prior(store: &Store, ids: &Ids) -> Result<()> {
    let evidence = Evidence::of_piece(store, ids.piece).await?;
    let evidence = evidence.ok_or_else(|| Internal("the piece is gone".to_owned()))?;
    let body = serde_json::to_string(&evidence.renewed_prior()).map_err(|e| Internal(e.to_string()))?;
    let piece = ids.piece;
    store
        .write(Actor::Person(ids.owner), async move |tx| pieces::renew_prior(tx, piece, &body).await)
        .await?;
    Ok(())
}

fn word<T>(parsed: Option<T>, said: &str) -> Result<T> {
    parsed.ok_or_else(|| Internal(format!("the week says '{said}', which the schema does not know")).into())
}

async fn registers(tx: &mut Tx<'_>, week: &Demo, team: Vec<(&str, Role, String)>, key: &str) -> Result<Ids> {
    let mut owner = None;
    for (name, role, hash) in team {
        let id = people::add(tx, name, role, &hash).await?;
        owner = owner.or(Some(id));
    }
    let owner = owner.ok_or_else(|| Internal("a team of nobody".to_owned()))?;
    tx.by = Actor::Person(owner);
    let (rigs, bases) = add_rigs(tx, week).await?;
    let parts = add_parts(tx, week).await?;
    let mut units = Vec::new();
    for unit in &week.units {
        let fields = UnitFields {
            part_id: parts[unit.part],
            label: unit.label.to_owned(),
            serial: unit.serial.to_owned(),
            origin: word(crate::store::registers::parts::Origin::parse(unit.origin), unit.origin)?,
            firmware: unit.firmware.to_owned(),
        };
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
    let (builds, cells) = add_cells(tx, week, &parts).await?;
    let piece = add_piece(tx, week, key, &parts, &drivers, &cells).await?;
    Ok(Ids { owner, piece, rigs, bases, units, drivers, builds, cells })
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

async fn add_cells(
    tx: &mut Tx<'_>,
    week: &Demo,
    parts: &[PartId],
) -> Result<(Vec<Vec<BuildId>>, Vec<CellId>)> {
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
    Ok((builds, cell_ids))
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
