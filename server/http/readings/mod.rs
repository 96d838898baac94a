//! Readings of a piece: the list, the form for one, and one with its repeats and files.

mod form;
mod one;
mod proofs;

use std::collections::BTreeMap;

use axum::extract::State;
use axum::response::Response;
use weighhouse_measure::readings::Scale;
use weighhouse_web::format;
use weighhouse_web::pages::{self, GroupLine, KindReadings, RepeatWhy, SittingLink, SittingWhy};

pub(super) use form::{add, around, ask, page as form_page, save};
pub(super) use one::{more, rule, show as one};
pub(super) use proofs::{attach, download};

use super::App;
use super::piece_frame::{at, in_piece};
use super::reading_kinds::of;
use super::resources::Of;
use super::respond::{Wants, respond};
use super::session::SignedIn;
use super::soaks;
use crate::store::ReadingId;
use crate::store::pieces::Piece;
use crate::store::proofs::counts;
use crate::store::readings::{Reading, RepeatRow};
use crate::store::registers::reading_kinds::{ReadAt, ReadingKind};
use crate::store::registers::tunings::STOCK;
use crate::work::evidence::Evidence;
use crate::work::figures::{What, value};
use crate::work::readings::{self, Group, chart, equal};
use crate::work::{Refusal, Result};

/// Label of the piece's entry.
pub(super) const HERE: &str = "Readings";

/// All readings of the piece's parts.
pub(super) async fn show(
    State(app): State<App>,
    who: SignedIn,
    wants: Wants,
    Of(piece): Of<Piece>,
) -> Result<Response> {
    let evidence = read(&app, &piece).await?;
    let files = counts(&mut *app.store.read().await?).await?;
    let groups = evidence.readings.groups();
    let lines = |kind: &ReadingKind| {
        let own: Vec<&Group<'_>> = groups.iter().filter(|group| group.of.reading == kind.id).collect();
        let valued = own.iter().filter_map(|group| value::value(&evidence, &What::from(group.of)));
        // A column has one number of places: that of its least sure number.
        let places = valued.map(|valued| valued.places()).min().unwrap_or(0);
        own.into_iter().map(|group| line(&evidence, (&groups, group), &files, places)).collect()
    };
    let baseline = evidence.piece.fields.baseline_part_id;
    let page = pages::Readings {
        frame: in_piece(&app, &who, &piece, HERE, evidence.to_review().count()),
        piece: piece.key.clone(),
        zone: piece.fields.deadline_zone.clone(),
        baseline: baseline.map_or_else(String::new, |part| evidence.registers.part_name(part)),
        kinds: evidence
            .readings
            .kinds
            .values()
            .map(|kind| KindReadings {
                equal: equal::sentences(&evidence, kind.id),
                chart: chart::chart(&evidence, kind.id).map(|(chart, _)| chart),
                ..told_kind(kind, lines(kind))
            })
            .collect(),
        soaks: soaks::lines(&app, &evidence).await?,
    };
    respond(wants, &page)
}

pub(super) async fn read(app: &App, piece: &Piece) -> Result<Evidence> {
    let evidence = Evidence::of_piece(&app.store, piece.id).await?;
    Ok(evidence.ok_or_else(|| Refusal::missing("piece", &piece.key))?)
}

fn told_kind(kind: &ReadingKind, groups: Vec<GroupLine>) -> KindReadings {
    let f = &kind.fields;
    let mean = match Scale::of_unit(&f.unit) {
        Scale::Level => "energy mean",
        Scale::Amount => "arithmetic mean",
    };
    let whole =
        if f.read_at == ReadAt::Part { String::new() } else { format!("; read of {}", of(f.read_at)) };
    KindReadings {
        id: kind.id.0,
        name: format::sentence(&f.name),
        unit: f.unit.clone(),
        told: format::sentence(&format!("{} is better; {mean}{whole}", f.better)),
        method: f.method.trim_end_matches('.').to_owned(),
        groups,
        equal: Vec::new(),
        chart: None,
    }
}

fn line(
    evidence: &Evidence,
    (groups, group): (&[Group<'_>], &Group<'_>),
    files: &BTreeMap<ReadingId, i64>,
    places: i64,
) -> GroupLine {
    let what = What::from(group.of);
    let valued = value::value(evidence, &what);
    let (all, kept) = group.counts();
    let units: Vec<&str> = group.units().into_iter().collect();
    let sample = if units.len() == 1 { "one sample" } else { "several samples" };
    GroupLine {
        subject: group.subject(evidence),
        place: group.place(evidence),
        value: valued.as_ref().map_or_else(|| format::NOTHING.to_owned(), |v| v.shown(places)),
        interval: valued.as_ref().map_or_else(String::new, |v| v.interval_to(places)),
        beside: beside(evidence, groups, group),
        counts: format!("{kept} of {}", format::plural(count(all), "repeat", "repeats")),
        sample: format!("unit {}: {sample}", units.join(", ")),
        notices: notices(evidence, group, kept),
        sittings: group
            .sittings
            .iter()
            .map(|sitting| SittingLink {
                key: sitting.key.clone(),
                at: at(sitting.fields.at_us),
                proofs: files.get(&sitting.id).and_then(|n| usize::try_from(*n).ok()).unwrap_or(0),
            })
            .collect(),
        figure: valued.map_or_else(String::new, |_| what.json()),
    }
}

/// What it is beside the baseline at stock, read in the same place.
fn beside(evidence: &Evidence, groups: &[Group<'_>], group: &Group<'_>) -> Option<String> {
    let part = evidence.piece.fields.baseline_part_id?;
    let is_baseline = |of: &Group<'_>| {
        let tuning = evidence.registers.tunings.get(&of.of.tuning);
        tuning.is_some_and(|tuning| tuning.fields.part_id == part && tuning.fields.name == STOCK)
    };
    let same_place = |of: &&Group<'_>| {
        (of.of.reading, of.of.base, of.of.fan_rpm) == (group.of.reading, group.of.base, group.of.fan_rpm)
    };
    let baseline = groups.iter().filter(same_place).find(|of| is_baseline(of))?;
    if baseline.of == group.of {
        return None;
    }
    Some(readings::beside(group.scale(), group.told()?.value, baseline.told()?.value))
}

/// What to know before it is printed.
fn notices(evidence: &Evidence, group: &Group<'_>, kept: usize) -> Vec<String> {
    let mut said = Vec::new();
    let wanted = usize::try_from(group.kind.fields.repeats).unwrap_or(0).saturating_sub(kept);
    match wanted {
        0 => {}
        1 => said.push("1 more repeat is wanted".to_owned()),
        n => said.push(format!("{n} more repeats are wanted")),
    }
    if group.other_driver(evidence) {
        said.push("another driver than the piece declares".to_owned());
    }
    if group.units().len() > 1 {
        said.push("read of several units of the part together".to_owned());
    }
    said
}

fn count(n: usize) -> u64 {
    u64::try_from(n).unwrap_or(u64::MAX)
}

/// A reading with its repeats.
pub(super) fn sitting_why(evidence: &Evidence, sitting: &Reading) -> SittingWhy {
    let kind = evidence.readings.kinds.get(&sitting.fields.kind_id);
    let unit = kind.map_or("", |kind| kind.fields.unit.as_str());
    let driver = evidence.registers.drivers.get(&sitting.fields.driver_id);
    let driver = driver.map_or_else(String::new, |driver| format!(", driver {}", driver.fields.name));
    SittingWhy {
        key: sitting.key.clone(),
        at: at(sitting.fields.at_us),
        on: format!("unit {}, {}{driver}", sitting.unit, sitting.rig),
        repeats: sitting.repeats.iter().map(|repeat| repeat_why(repeat, unit)).collect(),
    }
}

fn repeat_why(repeat: &RepeatRow, unit: &str) -> RepeatWhy {
    let by = repeat.ruled_by.as_deref().unwrap_or("somebody");
    let ruling = match (repeat.verdict, repeat.reason.as_deref().unwrap_or("")) {
        (None | Some(crate::store::rulings::Verdict::Open), _) => String::new(),
        (Some(verdict), "") => format!("{verdict}, {by}"),
        (Some(verdict), reason) => format!("{verdict} by {by}: {reason}"),
    };
    RepeatWhy {
        number: repeat.n,
        value: format::text_in(&repeat.value, unit),
        counts: repeat.counts(),
        version: repeat.version(),
        ruling,
    }
}
