//! A rig's board: opened by its address, without a sign-in.

use axum::extract::{Path, State};
use axum::response::Response;
use weighhouse_measure::plan::sessions::{Session, Step, What, Why};
use weighhouse_web::format;
use weighhouse_web::marks::Mark;
use weighhouse_web::pages::{Board, Frame, LastIn, NextPass, ThenLine};

use super::App;
use super::marks::mark;
use super::piece_frame::at;
use super::respond::{Wants, respond};
use super::sessions::{place, why_words, words};
use crate::store::{CellId, PartId};
use crate::work::Result;
use crate::work::evidence::{CellEvidence, Evidence, Standing};
use crate::work::registers::tunings::past_limits;
use crate::work::sessions::board::{self, Found, Last, Opened};

/// Passes listed after the next one.
const THEN: usize = 5;

/// The board.
pub(super) async fn show(
    State(app): State<App>,
    wants: Wants,
    Path(token): Path<String>,
) -> Result<Response> {
    let opened = board::open(&app.store, &token).await?;
    let fields = &opened.bench.evidence.piece.fields;
    let left_out = opened.rig_bench().map_or(0, |rig| rig.plan.left_out.iter().map(|(_, n)| n).sum());
    let page = Board {
        frame: Frame { warnings: app.config.warnings(), ..Frame::default() },
        rig: opened.rig.clone(),
        piece: fields.name.clone(),
        now: at(opened.bench.now_us),
        deadline: fields.deadline_us.map(at),
        zone: fields.deadline_zone.clone(),
        last: opened.last.as_ref().and_then(|last| self::last(&opened.bench.evidence, last)),
        next: opened.next().and_then(|(session, before, step)| next(&opened, session, before, step)),
        then: then(&opened),
        left_out: u64::from(left_out),
    };
    respond(wants, &page)
}

fn last(evidence: &Evidence, of: &Last) -> Option<LastIn> {
    match of {
        Last::Pass(key) => {
            let (cell, pass) = evidence.pass(key)?;
            let good = pass.standing == Standing::Sound;
            let flags = pass.flags.iter().map(|flag| flag.kind.name().to_owned());
            Some(LastIn {
                good: Some(good),
                mark: mark(pass),
                what: format!("{}, pass {}", place(evidence, cell.cell.id), pass.row.number),
                says: if good { Vec::new() } else { flags.collect() },
                at: at(pass.row.made_us),
            })
        }
        Last::Log { name, at_us, says, found } => {
            let flags = found.iter().flat_map(|found| &found.flags).map(|flag| flag.name().to_owned());
            let mut words: Vec<String> = flags.collect();
            let good = found.as_ref().map(|found| found.flags.is_empty());
            words.extend(Some(format::sentence(says)).filter(|_| !says.is_empty()));
            words.push("Waits at Intake for its cell.".to_owned());
            let mark = if good == Some(false) { Mark::Flagged } else { Mark::NotRuled };
            let what = format!("{name}{}", found.as_ref().map_or_else(String::new, rate));
            Some(LastIn { good, mark, what, says: words, at: at(*at_us) })
        }
    }
}

fn rate(found: &Found) -> String {
    found.average_fps.map_or_else(String::new, |fps| format!(", {}", format::value(fps, format::Unit::Fps)))
}

fn next(opened: &Opened, session: &Session, before: &[Step], step: &Step) -> Option<NextPass> {
    let What::Pass { cell, number, why, .. } = step.what else { return None };
    let evidence = &opened.bench.evidence;
    let names = &evidence.registers;
    let cell = evidence.cells.get(&CellId(cell))?;
    let of = &cell.cell.of;
    let tuning = names.tunings.get(&of.tuning_id)?;
    let part = names.parts.get(&cell.cell.part_id)?;
    let first = |step: &Step| {
        let (what, with) = words(evidence, session, step.what);
        (format!("{}: {with}", format::sentence(&what).trim_end_matches('.')), step.takes_s)
    };
    Some(NextPass {
        part: part.name(),
        tuning: tuning.fields.name.clone(),
        scene: names.scene_name(of.scene_id),
        setting: names.setting_name(of.setting_id),
        number: u64::from(number),
        why: why_words(why),
        before: before.iter().map(first).collect(),
        ticks: ticks(evidence, cell),
        file: opened.log_name(cell, number),
        past_limits: past_limits(&tuning.fields, part.fields.rated_power_w).join("; "),
        takes_s: step.takes_s,
    })
}

/// What to set and check for a pass.
fn ticks(evidence: &Evidence, cell: &CellEvidence) -> Vec<(String, String)> {
    let names = &evidence.registers;
    let of = &cell.cell.of;
    let mut out: Vec<(String, String)> = Vec::new();
    let mut say = |name: &str, value: String| {
        if !value.is_empty() {
            out.push((name.to_owned(), value));
        }
    };
    let driver = evidence.declared.get(&cell.cell.part_id).and_then(|driver| names.drivers.get(driver));
    say("Driver", driver.map_or_else(String::new, |driver| driver.fields.name.clone()));
    if let Some(tuning) = names.tunings.get(&of.tuning_id).map(|tuning| &tuning.fields) {
        say("Tuning", tuning.name.clone());
        let limit = tuning.power_limit_w.map(|watts| format::whole(Some(watts), "W"));
        say("Power limit", limit.unwrap_or_default());
        for (name, offset, unit) in [
            ("Core clock", tuning.core_offset_mhz, "MHz"),
            ("Memory clock", tuning.memory_offset_mhz, "MHz"),
            ("Voltage", tuning.voltage_offset_mv, "mV"),
        ] {
            say(name, if offset == 0 { String::new() } else { format::offset(offset, unit) });
        }
    }
    let builds = names.builds.values().filter(|build| build.fields.scene_id == of.scene_id);
    let build = builds.max_by_key(|build| (build.fields.dated_us, build.id));
    say("Build", build.map_or_else(String::new, |build| build.fields.name.clone()));
    if let Some(setting) = names.settings.get(&of.setting_id).map(|setting| &setting.fields) {
        let or_none = |text: &str| if text.is_empty() { "none".to_owned() } else { text.to_owned() };
        say("Resolution", format!("{} × {}", setting.width_px, setting.height_px));
        say("Preset", setting.preset.clone());
        say("Ray tracing", or_none(&setting.ray_tracing));
        say("Upscaling", or_none(&setting.upscaling));
        let factor =
            if setting.generated > 1 { format!("factor {}", setting.generated) } else { "none".to_owned() };
        say("Generated frames", factor);
    }
    let cue = names.scenes.get(&of.scene_id).map(|scene| scene.fields.start_cue.clone());
    say("Start", cue.unwrap_or_default());
    out
}

/// Passes after the next one; a part is named where it changes.
fn then(opened: &Opened) -> Vec<ThenLine> {
    let Some(rig) = opened.rig_bench() else { return Vec::new() };
    let evidence = &opened.bench.evidence;
    let mut held = rig.plan.sessions.first().map(|session| session.part);
    let passes =
        rig.plan.sessions.iter().flat_map(|session| session.steps.iter().map(move |step| (session, step)));
    let passes = passes.filter_map(|(session, step)| match step.what {
        What::Pass { cell, why, .. } => Some((session, CellId(cell), why)),
        _ => None,
    });
    let line = |(session, cell, why): (&Session, CellId, Why)| {
        let new = held != Some(session.part);
        held = Some(session.part);
        let part = if new { evidence.registers.part_name(PartId(session.part)) } else { String::new() };
        let why = why_words(why);
        let what = place(evidence, cell);
        ThenLine { part, what: if why.is_empty() { what } else { format!("{what}, {why}") } }
    };
    passes.skip(1).take(THEN).map(line).collect()
}
