//! Soaks of a piece's parts: what a sensor log without frames shows of heat, and how a log is said to be one.

use weighhouse_measure::readings::soak::{Blocks, Steady, Throttles, blocks, gaps, steady, throttles};
use weighhouse_measure::recording::{Kind as LogKind, Recording, Role};

use super::once::By;
use super::readings::typed::{Choices, run};
use super::registers::Typed;
use super::{Kind, Refusal, Result};
use crate::chance::Chance;
use crate::store::segments::{self, SegmentRow};
use crate::store::soaks::{self, Soak, SoakFields};
use crate::store::{Store, TuningId};

/// Nanoseconds in a second.
const NS_PER_S: f64 = 1e9;

/// What a soak shows.
#[derive(Clone, Debug)]
pub struct Shown {
    /// Its rows.
    pub recording: Recording,
    /// Where it holds its temperature.
    pub steady: Steady,
    /// Highest mean of a block, degrees Celsius.
    pub highest_c: Option<f64>,
    /// Where the part throttled.
    pub throttles: Vec<Throttles>,
    /// Where the log has a gap, s after its first row.
    pub gaps: Vec<(f64, f64)>,
}

/// Works out what a soak shows.
///
/// # Errors
/// Refused when its log has no temperature any more; when the store fails.
pub async fn shown(store: &Store, soak: &Soak) -> Result<Shown> {
    let recording = segments::recording(store, soak.fields.segment_id).await?;
    let recording = recording.ok_or_else(|| Refusal::missing("log", soak.fields.segment_id))?;
    let temperature = of(&recording, Role::Temperature).ok_or_else(|| cold(&soak.capture))?;
    let [clock, power, load] = [Role::Clock, Role::Power, Role::Load].map(|role| of(&recording, role));
    let highest = temperature.means.iter().flatten().copied().reduce(f64::max);
    Ok(Shown {
        steady: steady(&temperature),
        highest_c: highest,
        throttles: throttles(&temperature, clock.as_ref(), power.as_ref(), load.as_ref()),
        gaps: gaps(&temperature),
        recording,
    })
}

fn of(recording: &Recording, role: Role) -> Option<Blocks> {
    let at_s: Vec<f64> = recording.at_ns.iter().map(|at| *at as f64 / NS_PER_S).collect();
    recording.track(role).map(|track| blocks(&at_s, &track.values))
}

fn cold(file: &str) -> Refusal {
    let says = format!("{file} has no column of temperatures: a soak is told from one.");
    Refusal::new(
        Kind::Clash,
        "No soak",
        says,
        "Pair it with a pass, or say under Layouts which column it is.",
    )
}

/// Reads what was typed of a log that is to be a soak.
///
/// # Errors
/// Refused, naming every field that is wrong.
pub fn typed(choices: &Choices, log: &SegmentRow, now_us: i64, typed: Typed<'_>) -> Result<SoakFields> {
    let at_us = log.wall_start_ns.map_or(now_us, |start| start.div_euclid(1000));
    let of = run(choices, at_us, typed)?;
    Ok(SoakFields {
        segment_id: log.id,
        tuning_id: of.tuning_id,
        unit_id: of.unit_id,
        rig_base_id: of.rig_base_id,
        driver_id: of.driver_id,
        ambient_c: of.ambient_c,
        note: of.note,
    })
}

/// Whether a log can be a soak.
///
/// # Errors
/// Refused when it holds frames, belongs to a pass, or has no temperature.
pub async fn can_be(store: &Store, log: &SegmentRow) -> Result<()> {
    if log.kind == LogKind::Frames || log.pass_id.is_some() {
        let says = format!("{} holds frames or belongs to a pass.", log.capture);
        return Err(Refusal::new(Kind::Clash, "No soak", says, "A soak is a sensor log by itself.").into());
    }
    let recording = segments::recording(store, log.id).await?;
    let warm = recording.is_some_and(|recording| recording.track(Role::Temperature).is_some());
    if warm { Ok(()) } else { Err(cold(&log.capture).into()) }
}

/// Says that a log is a soak: its key.
///
/// # Errors
/// Refused when it cannot be one, or is one already.
pub async fn add(
    store: &Store,
    chance: &Chance,
    by: impl Into<By>,
    log: &SegmentRow,
    fields: SoakFields,
) -> Result<String> {
    let by = by.into();
    if let Some(first) = by.first(store).await? {
        return Ok(first);
    }
    can_be(store, log).await?;
    let key = chance.key()?;
    by.write(store, async move |tx| {
        soaks::add(tx, &key, &fields).await?;
        Ok(key)
    })
    .await
}

/// Takes a soak back: its log waits at the intake again.
///
/// # Errors
/// Refused when somebody was faster.
pub async fn take_back(store: &Store, by: impl Into<By>, soak: &Soak, version: i64) -> Result<()> {
    let id = soak.id;
    by.into().write(store, async move |tx| Ok(soaks::remove(tx, id, version).await?)).await
}

/// The soaks of these parts as they are run.
///
/// # Errors
/// When the store fails.
pub async fn of_tunings(store: &Store, tunings: impl Fn(TuningId) -> bool) -> Result<Vec<Soak>> {
    let all = soaks::all(&mut *store.read().await?).await?;
    Ok(all.into_iter().filter(|soak| tunings(soak.fields.tuning_id)).collect())
}
