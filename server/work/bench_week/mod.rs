//! Fills an empty store with the invented team's bench week, through the same doors that a team uses.

mod decisions;
mod earlier;
mod readings;
mod registers;

use std::collections::HashMap;

use futures_util::{StreamExt as _, TryStreamExt as _, stream};
use weighhouse_demo::{Demo, DemoPass, DemoSoak};

use super::assign::assign;
use super::evidence::Evidence;
use super::passwords::Passwords;
use super::take_in::{TakeIn, Taken, Upload};
use super::{Error, Internal, Result, notes};
use crate::chance::Chance;
use crate::store::notes::NotesFields;
use crate::store::passes::NewPass;
use crate::store::people::Role;
use crate::store::soaks::{self, SoakFields};
use crate::store::{
    Actor, BuildId, CellId, DriverId, PartId, PersonId, PieceId, RigBaseId, RigId, SceneId, SegmentId,
    SettingId, Store, TuningId, UnitId, pieces,
};

/// Logs on their way at once: two are read while others are written.
const AT_ONCE: usize = 4;

/// Row ids of the registers, in the order of the demo's lists.
struct Ids {
    people: Vec<PersonId>,
    piece: PieceId,
    scenes: Vec<SceneId>,
    settings: Vec<SettingId>,
    parts: Vec<PartId>,
    rigs: Vec<RigId>,
    bases: Vec<Vec<RigBaseId>>,
    units: Vec<UnitId>,
    drivers: Vec<DriverId>,
    builds: Vec<Vec<BuildId>>,
    tunings: Vec<TuningId>,
    cells: Vec<CellId>,
}

impl Ids {
    /// The first one enters what the team has.
    fn owner(&self) -> PersonId {
        self.people[0]
    }
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
    let ids =
        store.write(Actor::Server, async move |tx| registers::add(tx, &week, people, &key).await).await?;

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
    assign(store, chance, ids.owner(), new_passes(&weeks, &ids, &taken)?).await?;
    readings::add(store, chance, &ids, &weeks).await?;
    soaks(store, chance, &taking, &ids, &weeks).await?;
    says("computing measures and intervals");
    keep_notes(store, &ids, weeks.notes).await?;
    keep_prior(store, &ids, ids.owner()).await?;
    says("ruling on passes and agreeing on figures");
    decisions::quote(store, &ids, &weeks.quotes).await?;
    decisions::take(store, chance, &ids, &weeks.decisions).await?;
    match &weeks.earlier {
        Some(of) => earlier::carry_over(store, chance, &taking, (&ids, of)).await,
        None => Ok(()),
    }
}

async fn keep_notes(store: &Store, ids: &Ids, of: weighhouse_demo::Notes) -> Result<()> {
    let [settings, caches, order_of_run, disclosure] =
        [of.settings, of.caches, of.order, of.disclosure].map(str::to_owned);
    let fields = NotesFields { settings, caches, order_of_run, disclosure, ..NotesFields::default() };
    notes::keep(store, ids.owner(), ids.piece, (0, fields), (true, 0)).await
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
        settings: None,
        key: None,
    };
    let made = tokio::task::spawn_blocking(move || {
        let pass = &week.passes[at];
        if sensors { pass.sensors().unwrap_or_default() } else { pass.log() }
    });
    let bytes = made.await.map_err(|e| Internal(e.to_string()))?;
    taking.take_in(Actor::Person(ids.owner()), upload, stream::iter([Ok(bytes)])).await
}

/// Takes the soaks' logs in, and says what they are.
async fn soaks(store: &Store, chance: &Chance, taking: &TakeIn, ids: &Ids, week: &Demo) -> Result<()> {
    for soak in &week.soaks {
        let by = Actor::Person(ids.owner());
        let upload = Upload {
            name: soak.file.to_owned(),
            rig_id: ids.rigs.get(soak.rig).copied(),
            start_us: None,
            settings: None,
            key: None,
        };
        let taken = taking.take_in(by, upload, stream::iter([Ok(soak.log())])).await?;
        let fields = taken.segments.first().and_then(|segment| soak_fields(soak, segment.id, ids, week));
        let fields = fields.ok_or_else(|| Internal(format!("{} is no soak", soak.file)))?;
        let key = chance.key()?;
        store.write(by, async move |tx| soaks::add(tx, &key, &fields).await).await?;
    }
    Ok(())
}

fn soak_fields(soak: &DemoSoak, segment_id: SegmentId, ids: &Ids, week: &Demo) -> Option<SoakFields> {
    let part = week.tunings.get(soak.tuning)?.part;
    Some(SoakFields {
        segment_id,
        tuning_id: *ids.tunings.get(soak.tuning)?,
        unit_id: *ids.units.get(part)?,
        rig_base_id: *ids.bases.get(soak.rig)?.first()?,
        driver_id: *ids.drivers.get(*week.piece.drivers.get(part)?)?,
        ambient_c: Some(soak.ambient_c.to_owned()),
        note: "Vellum Rally, hairpin, again and again".to_owned(),
    })
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

/// Computes what every page shows, and keeps the piece's noise prior.
async fn keep_prior(store: &Store, ids: &Ids, by: PersonId) -> Result<()> {
    let evidence = Evidence::of_piece(store, ids.piece).await?;
    let evidence = evidence.ok_or_else(|| Internal("the piece is gone".to_owned()))?;
    let body = serde_json::to_string(&evidence.renewed_prior()).map_err(|e| Internal(e.to_string()))?;
    let piece = ids.piece;
    store.write(Actor::Person(by), async move |tx| pieces::renew_prior(tx, piece, &body).await).await?;
    Ok(())
}

fn word<T>(parsed: Option<T>, said: &str) -> Result<T> {
    parsed.ok_or_else(|| Internal(format!("the week says '{said}', which the schema does not know")).into())
}
