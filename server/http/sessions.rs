//! Bench sessions of a piece, the times that steps take, and boards beside the rigs.

use axum::Json;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse as _, Response};
use serde_json::json;
use weighhouse_measure::plan::drift::Drift;
use weighhouse_measure::plan::sessions::{Back, Session, Step, What, Why};
use weighhouse_web::pages::{
    BoardLine, CostField, DriftLine, Field, OrderLine, RanLine, RigSessions, Secret, SessionLine, Sessions,
    StepLine,
};
use weighhouse_web::paths;

use super::App;
use super::piece_frame::{at, in_piece};
use super::resources::Of;
use super::respond::{Wants, done, refill, respond, see_other};
use super::sent::Sent;
use super::session::{Member, SignedIn};
use crate::clock::US_PER_S;
use crate::store::pieces::Piece;
use crate::store::registers::tunings::STOCK;
use crate::store::{BoardId, CellId, PartId, PieceId, RigId, TuningId};
use crate::work::evidence::Evidence;
use crate::work::registers::Typed;
use crate::work::sessions::ran::Ran;
use crate::work::sessions::{self, Bench, COST_FIELDS, RigBench};
use crate::work::{Error, Result};

/// The page.
pub(super) async fn show(
    State(app): State<App>,
    who: SignedIn,
    wants: Wants,
    Of(piece): Of<Piece>,
) -> Result<Response> {
    let link = match wants {
        Wants::Html => app.take_secret(&who.browser(), |secret| matches!(secret, Secret::Board(_))),
        Wants::Json => None,
    };
    let link = link.and_then(|secret| if let Secret::Board(link) = secret { Some(link) } else { None });
    let page = page(&app, &who, piece.id).await?;
    respond(wants, &Sessions { link, ..page })
}

/// Keeps the times.
pub(super) async fn keep_costs(
    State(app): State<App>,
    who: Member,
    wants: Wants,
    Of(piece): Of<Piece>,
    sent: Sent,
) -> Result<Response> {
    let version = sent.version()?;
    let kept = match sessions::typed_costs(Typed::new(&|field| sent.text(field))) {
        Ok(costs) => sessions::keep_costs(&app.store, sent.by(&who), version, costs).await,
        Err(error) => Err(error),
    };
    match kept {
        Ok(()) => Ok(done(&who, wants, &paths::sessions(&piece.key), "The times are kept.")),
        Err(Error::Refused(refusal)) if !refusal.fields.is_empty() => {
            let mut page = page(&app, &who, piece.id).await?;
            for cost in &mut page.costs {
                cost.field = sent.field(cost.name, &refusal);
            }
            refill(wants, &page, *refusal)
        }
        Err(error) => Err(error),
    }
}

/// Makes a board, its address shown once.
pub(super) async fn make_board(
    State(app): State<App>,
    who: Member,
    wants: Wants,
    Of(piece): Of<Piece>,
    sent: Sent,
) -> Result<Response> {
    let rig = RigId(sent.read("rig", "the number of a rig")?);
    let token = sessions::make_board(&app.store, &app.chance, sent.by(&who), piece.id, rig).await?;
    let link = format!("{}{}", app.address(), paths::board(token.as_str()));
    match wants {
        Wants::Html => {
            app.keep_secret(who.browser(), Secret::Board(link));
            Ok(see_other(&paths::sessions(&piece.key)))
        }
        Wants::Json => Ok((StatusCode::CREATED, Json(json!({ "link": link }))).into_response()),
    }
}

/// Takes a board back.
pub(super) async fn take_back(
    State(app): State<App>,
    who: Member,
    wants: Wants,
    Of(piece): Of<Piece>,
    Path((_, board)): Path<(String, i64)>,
    sent: Sent,
) -> Result<Response> {
    sessions::revoke_board(&app.store, sent.by(&who), piece.id, BoardId(board)).await?;
    Ok(done(&who, wants, &paths::sessions(&piece.key), format!("Board {board} opens no more.")))
}

async fn page(app: &App, who: &SignedIn, piece: PieceId) -> Result<Sessions> {
    let bench = sessions::read(&app.store, piece).await?;
    let evidence = &bench.evidence;
    let fields = &evidence.piece.fields;
    let texts = sessions::texts(bench.costs);
    let cost = |((name, label, hint), text)| CostField { name, label, hint, field: Field::of(text) };
    Ok(Sessions {
        frame: in_piece(app, who, &evidence.piece, "Plan", evidence.to_review().count()),
        key: evidence.piece.key.clone(),
        now: at(bench.now_us),
        deadline: fields.deadline_us.map(at),
        zone: fields.deadline_zone.clone(),
        control: bench.controls.row.map_or_else(String::new, |(scene, setting)| {
            let names = &evidence.registers;
            format!("{} · {}", names.scene_name(scene), names.setting_name(setting))
        }),
        rigs: bench.rigs.iter().map(|rig| self::rig(&bench, rig)).collect(),
        shared: shared(&bench),
        costs: COST_FIELDS.into_iter().zip(texts).map(cost).collect(),
        costs_version: bench.costs_version,
        boards: bench
            .boards
            .iter()
            .map(|b| BoardLine {
                id: b.id.0,
                rig: b.rig.clone(),
                made: at(b.made_us),
                opened: b.opened_us.map(at),
            })
            .collect(),
        link: None,
        all_rigs: bench.all_rigs.iter().map(|rig| (rig.id.to_string(), rig.fields.name.clone())).collect(),
    })
}

/// Parts that more than one rig wants.
fn shared(bench: &Bench) -> Vec<String> {
    let wants = |rig: &RigBench, part: i64| rig.plan.sessions.iter().any(|s| s.part == part && !s.back);
    let names = &bench.evidence.registers;
    let parts = names.parts.values();
    let several = parts.filter(|part| bench.rigs.iter().filter(|rig| wants(rig, part.id.0)).count() > 1);
    several.map(|part| part.name()).collect()
}

fn rig(bench: &Bench, of: &RigBench) -> RigSessions {
    let evidence = &bench.evidence;
    let left_out = of.plan.left_out.iter().filter_map(|(cell, passes)| {
        let cell = evidence.cells.get(&CellId(*cell))?;
        Some((crate::work::cells::label(&evidence.registers, &cell.cell), u64::from(*passes)))
    });
    RigSessions {
        rig: of.name.clone(),
        sessions: of.plan.sessions.iter().map(|session| line(bench, session)).collect(),
        left_out: left_out.collect(),
        back: match of.plan.back {
            Back::One => "",
            Back::Planned => {
                "The part that came first comes back last, for the control scene: what it gives then against before tells what the rig did meanwhile."
            }
            Back::NoTime => "No time is left for the first part to come back for the control scene.",
        },
        ran: of.ran.iter().rev().map(|ran| self::ran(evidence, ran)).collect(),
    }
}

fn line(bench: &Bench, session: &Session) -> SessionLine {
    let ends = |seconds: i64| at(bench.now_us + seconds.saturating_mul(US_PER_S));
    let names = &bench.evidence.registers;
    SessionLine {
        part: names.part_name(PartId(session.part)),
        back: session.back,
        passes: u64::try_from(session.passes()).unwrap_or(u64::MAX),
        starts: ends(session.starts_s),
        ends: ends(session.ends_s()),
        steps: session.steps.iter().map(|step| self::step(bench, session, step, ends(step.ends_s))).collect(),
    }
}

fn step(bench: &Bench, session: &Session, step: &Step, ends: jiff::Timestamp) -> StepLine {
    let evidence = &bench.evidence;
    let (tuning, why, pass) = match step.what {
        What::Pass { cell, why, .. } => (tuning_of(evidence, CellId(cell)), why, true),
        _ => (String::new(), Why::Missing, false),
    };
    let (what, with) = words(evidence, session, step.what);
    let tuning = if tuning == STOCK { String::new() } else { tuning };
    StepLine { what, with, tuning, why: why_words(why), takes_s: step.takes_s, ends, pass }
}

/// Why a pass is run, where it is not simply missing.
pub(super) fn why_words(why: Why) -> &'static str {
    match why {
        Why::Missing => "",
        Why::ControlStart | Why::ControlEnd => "control scene",
    }
}

fn tuning_of(evidence: &Evidence, cell: CellId) -> String {
    let tuning = evidence.cells.get(&cell).map(|cell| cell.cell.of.tuning_id);
    let tuning = tuning.and_then(|tuning| evidence.registers.tunings.get(&tuning));
    tuning.map_or_else(String::new, |tuning| tuning.fields.name.clone())
}

/// A step in words: what is done, and with what.
pub(super) fn words(evidence: &Evidence, session: &Session, what: What) -> (String, String) {
    let names = &evidence.registers;
    let part = PartId(session.part);
    match what {
        What::Swap => ("swap".to_owned(), names.part_name(part)),
        What::Driver => {
            let driver = evidence.declared.get(&part).and_then(|driver| names.drivers.get(driver));
            let name = driver.map_or_else(String::new, |driver| driver.fields.name.clone());
            ("driver".to_owned(), format!("{name}, then restart"))
        }
        What::Tune(tuning) => {
            let tuning = names.tunings.get(&TuningId(tuning));
            let name = tuning.map_or_else(String::new, |tuning| tuning.fields.name.clone());
            ("tuning".to_owned(), format!("{name}, then restart"))
        }
        What::Soak(cell) => ("soak".to_owned(), place(evidence, CellId(cell))),
        What::Pass { cell, number, .. } => (format!("pass {number}"), place(evidence, CellId(cell))),
    }
}

/// Scene and setting of a cell.
pub(super) fn place(evidence: &Evidence, cell: CellId) -> String {
    let names = &evidence.registers;
    let of = evidence.cells.get(&cell).map(|cell| cell.cell.of);
    of.map_or_else(String::new, |of| {
        format!("{} · {}", names.scene_name(of.scene_id), names.setting_name(of.setting_id))
    })
}

fn ran(evidence: &Evidence, of: &Ran) -> RanLine {
    let rows = of.passes.chunk_by(|a, b| a.cell == b.cell).filter_map(|row| {
        let cell = row.first()?.cell;
        let tuning = tuning_of(evidence, cell);
        let tuning = if tuning == STOCK { String::new() } else { format!(", {tuning}") };
        let passes = row.iter().map(|pass| (pass.key.clone(), pass.number)).collect();
        Some(OrderLine { cell: format!("{}{tuning}", place(evidence, cell)), passes })
    });
    let count = |n: usize| u64::try_from(n).unwrap_or(u64::MAX);
    RanLine {
        part: evidence.registers.part_name(of.part),
        unit: of.unit.clone(),
        drivers: of.drivers.iter().cloned().collect::<Vec<_>>().join(", "),
        from: at(of.from_us()),
        to: at(of.to_us()),
        by_clock: of.by_clock,
        order: rows.collect(),
        passes: count(of.passes.len()),
        control: count(of.passes.iter().filter(|pass| pass.control).count()),
        drift: of.drift.map(|drift| self::drift(drift, of.control_us)),
    }
}

fn drift(of: Drift, control_us: i64) -> DriftLine {
    DriftLine {
        change: of.change,
        interval: of.interval.map(|ends| (ends.low, ends.high)),
        found: of.found,
        over_s: control_us / US_PER_S,
    }
}
