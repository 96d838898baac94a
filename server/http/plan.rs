//! The coverage board of a piece, and cells that did not run.

use axum::extract::{Query, State};
use axum::response::Response;
use serde::Deserialize;
use weighhouse_measure::measures::Measure;
use weighhouse_measure::screens::notices::NoticeKind;
use weighhouse_web::marks::Mark;
use weighhouse_web::pages::{Again, Column, Missing, PassMark, Plan, PlanRow, Session, Spot, Undo};
use weighhouse_web::paths;

use super::App;
use super::marks::mark;
use super::piece_frame::{at, in_piece, now};
use super::resources::Of;
use super::respond::{Wants, done_with, refill, respond};
use super::sent::Sent;
use super::session::{Member, SignedIn};
use crate::store::pieces::Piece;
use crate::store::{CellId, SceneId, SettingId};
use crate::work::carried::said;
use crate::work::evidence::{CellEvidence, PassEvidence};
use crate::work::plan::{self, Board, Mix, USUAL_REASONS};
use crate::work::reruns::{self, Rerun};
use crate::work::{Error, Refusal, Result, cells, outdated, pieces};

/// What to show.
#[derive(Debug, Default, Deserialize)]
pub(super) struct Asked {
    #[serde(default)]
    show: String,
}

/// The board.
pub(super) async fn show(
    State(app): State<App>,
    who: SignedIn,
    wants: Wants,
    Of(piece): Of<Piece>,
    Query(asked): Query<Asked>,
) -> Result<Response> {
    let board = plan::read(&app.store, piece.id, asked.show == "low").await?;
    respond(wants, &page(&app, &who, &board))
}

/// Says why a cell did not run, or that it runs.
pub(super) async fn did_not_run(
    State(app): State<App>,
    who: Member,
    wants: Wants,
    Of(piece): Of<Piece>,
    sent: Sent,
) -> Result<Response> {
    let (cell, version) = named(&sent)?;
    let reason = if sent.ticked("runs") { "" } else { sent.text("reason") };
    let said = if reason.is_empty() && !sent.ticked("runs") {
        Err(Refusal::field("reason", "Say why it did not run.").into())
    } else {
        cells::did_not_run(&app.store, sent.by(&who), piece.id, (cell, version), reason.to_owned()).await
    };
    match said {
        Ok(before) => {
            let says = if reason.is_empty() {
                "The cell runs.".to_owned()
            } else {
                format!("Did not run: {reason}.")
            };
            let undo = taking_back(&piece, (cell, version + 1), &before);
            Ok(done_with(&who, wants, &paths::plan(&piece.key), says, Some(undo)))
        }
        Err(Error::Refused(refusal)) if !refusal.fields.is_empty() => {
            let board = plan::read(&app.store, piece.id, false).await?;
            let page = Plan { refused: refusal.says.clone(), ..page(&app, &who, &board) };
            refill(wants, &page, *refusal)
        }
        Err(error) => Err(error),
    }
}

/// A cell and its version: `12` with a `version`, or `12.3` where one field names both.
fn named(sent: &Sent) -> Result<(CellId, i64)> {
    let text = sent.text("cell");
    let wrong = || Refusal::field("cell", format!("'{text}' names no cell: choose one."));
    let number = |text: &str| text.parse::<i64>().ok();
    match text.split_once('.') {
        Some((cell, version)) => {
            Ok((CellId(number(cell).ok_or_else(wrong)?), number(version).ok_or_else(wrong)?))
        }
        None => Ok((CellId(number(text).ok_or_else(wrong)?), sent.version()?)),
    }
}

fn taking_back(piece: &Piece, (cell, version): (CellId, i64), before: &str) -> Undo {
    let pair = |name: &str, value: String| (name.to_owned(), value);
    let said =
        if before.is_empty() { pair("runs", "1".to_owned()) } else { pair("reason", before.to_owned()) };
    let fields = vec![pair("cell", cell.to_string()), pair("version", version.to_string()), said];
    Undo { action: paths::did_not_run(&piece.key), fields }
}

fn page(app: &App, who: &SignedIn, board: &Board) -> Plan {
    let evidence = &board.evidence;
    let (piece, registers) = (&evidence.piece, &evidence.registers);
    let columns = board.axes.columns.iter().map(|tuning| cells::column(registers, *tuning));
    let precision = piece.fields.precision_permille as f64 / 10.0;
    Plan {
        frame: in_piece(app, who, piece, "Plan", evidence.to_review().count()),
        key: piece.key.clone(),
        now: now(app),
        deadline: piece.fields.deadline_us.map(at),
        zone: piece.fields.deadline_zone.clone(),
        measure: board.measure.key(),
        measure_name: board.measure.name(),
        low_name: evidence.low().name(),
        low: board.measure != Measure::AverageFps,
        wanted: count(pieces::wanted(piece)),
        precision,
        columns: columns.map(|(part, tuning)| Column { part, tuning }).collect(),
        rows: board.axes.rows.iter().map(|row| self::row(board, *row)).collect(),
        said_once: board.said_once.iter().map(|kind| words(*kind)).collect(),
        missing: sessions(board),
        bench_ns: board.bench_ns,
        again: board.reruns.iter().filter_map(|rerun| again(board, rerun)).collect(),
        outdated: count(outdated::count(&outdated::older(evidence))),
        nothing_to_choose: registers.parts.is_empty()
            || registers.scenes.is_empty()
            || registers.settings.is_empty(),
        reasons: &USUAL_REASONS,
        refused: String::new(),
    }
}

fn count(n: usize) -> u64 {
    u64::try_from(n).unwrap_or(u64::MAX)
}

/// A notice that holds for all cells, in words.
fn words(kind: NoticeKind) -> &'static str {
    match kind {
        NoticeKind::FewFramesForLow => "All cells: too few frames for a low.",
        NoticeKind::NoPowerTrack => "All cells: no power track.",
        NoticeKind::OnePass => "All cells: one pass, so that spreads are borrowed.",
        NoticeKind::WindowUnlikeScene => "All cells: a window unlike the scene's.",
        NoticeKind::NotTheLimit => "All cells: the part is not the limit.",
    }
}

fn row(board: &Board, (scene, setting): (SceneId, SettingId)) -> PlanRow {
    let registers = &board.evidence.registers;
    let of_tuning = |tuning| board.evidence.cell_of(tuning, scene, setting);
    PlanRow {
        scene: cells::scene_name(registers, scene),
        setting: registers.settings.get(&setting).map(|s| s.fields.name.clone()).unwrap_or_default(),
        spots: board.axes.columns.iter().map(|tuning| Some(spot(board, of_tuning(*tuning)?))).collect(),
    }
}

fn spot(board: &Board, cell: &CellEvidence) -> Spot {
    let shown = board.spots.get(&cell.cell.id);
    let value = shown.and_then(|shown| shown.value.as_ref());
    let notices = shown.into_iter().flat_map(|shown| shown.notices.iter().map(|kind| kind.name().to_owned()));
    let mixes = shown.into_iter().flat_map(|shown| shown.mixes.iter().map(|mix| mix_words(*mix)));
    let lacking = (0..shown.map_or(0, |shown| shown.missing)).map(|_| PassMark {
        mark: Mark::Missing,
        key: None,
        says: "missing".to_owned(),
    });
    let not_run = (!cell.cell.did_not_run.is_empty()).then(|| PassMark {
        mark: Mark::DidNotRun,
        key: None,
        says: "did not run".to_owned(),
    });
    Spot {
        id: cell.cell.id.0,
        version: cell.cell.version,
        label: cells::label(&board.evidence.registers, &cell.cell),
        marks: cell.passes.iter().map(pass_mark).chain(lacking).chain(not_run).collect(),
        did_not_run: cell.cell.did_not_run.clone(),
        value: value.map(|value| value.value),
        interval: value.and_then(|value| value.interval).map(|ends| (ends.low, ends.high)),
        kept: count(cell.kept().count()),
        spread: value.and_then(|value| value.own_spread).map(|spread| spread * 100.0),
        more: shown.and_then(|shown| shown.more).map(|(expected, sure)| (expected.into(), sure.into())),
        out_of_reach: shown.is_some_and(plan::Spot::out_of_reach),
        says: said::in_plan(&board.evidence, cell).into_iter().chain(mixes).chain(notices).collect(),
    }
}

fn pass_mark(pass: &PassEvidence) -> PassMark {
    let mark = mark(pass);
    let flags = pass.flags.iter().map(|flag| flag.kind.name());
    let reason = pass.row.reason.as_deref().filter(|reason| !reason.is_empty());
    let why: Vec<&str> = match mark {
        Mark::Flagged => flags.collect(),
        Mark::Kept => flags.chain(reason).collect(),
        _ => reason.into_iter().collect(),
    };
    let why = if why.is_empty() { String::new() } else { format!(" ({})", why.join(", ")) };
    let says = format!("pass {}: {}{why}", pass.row.number, mark.word());
    PassMark { mark, key: Some(pass.row.key.clone()), says }
}

/// A pass to be run again, in words.
fn again(board: &Board, rerun: &Rerun) -> Option<Again> {
    let registers = &board.evidence.registers;
    let (cell, pass) = board.evidence.pass(&rerun.pass)?;
    let (part, tuning) = cells::column(registers, cell.cell.of.tuning_id);
    let other = |key: &String| {
        let (_, pass) = board.evidence.pass(key)?;
        Some((key.clone(), pass.row.number, pass.row.rig.clone()))
    };
    Some(Again {
        key: rerun.pass.clone(),
        number: pass.row.number,
        rig: pass.row.rig.clone(),
        part,
        tuning,
        scene: cells::scene_name(registers, cell.cell.of.scene_id),
        setting: registers.setting_name(cell.cell.of.setting_id),
        reason: pass.row.reason.clone().unwrap_or_default(),
        replaced_by: rerun.replaced_by.as_ref().and_then(other),
        proposed: rerun.proposed.iter().filter_map(other).collect(),
    })
}

/// Says that a pass took another's place, or takes that back.
pub(super) async fn replace(
    State(app): State<App>,
    who: Member,
    wants: Wants,
    Of(piece): Of<Piece>,
    sent: Sent,
) -> Result<Response> {
    let pair = (sent.text("pass").to_owned(), sent.text("replaces").to_owned());
    let tied = sent.text("do") != "take back";
    reruns::tie(&app.store, sent.by(&who), piece.id, pair.clone(), tied).await?;
    let says = if tied { "Tied: both passes stay, and this one took the place." } else { "No longer tied." };
    let fields = [("pass", pair.0), ("replaces", pair.1), ("do", "take back".to_owned())];
    let fields = fields.map(|(name, value)| (name.to_owned(), value)).to_vec();
    let undo = tied.then(|| Undo { action: paths::replace(&piece.key), fields });
    Ok(done_with(&who, wants, &paths::plan(&piece.key), says, undo))
}

fn mix_words(mix: Mix) -> String {
    match mix {
        Mix::UndeclaredDriver => "undeclared driver".to_owned(),
        Mix::NoDriverDeclared => "no driver declared".to_owned(),
        Mix::Builds(n) => format!("{n} builds"),
        Mix::Rigs(n) => format!("{n} rigs"),
        Mix::Bases(n) => format!("{n} bases of a rig"),
    }
}

/// Missing passes, column by column.
fn sessions(board: &Board) -> Vec<Session> {
    let registers = &board.evidence.registers;
    let mut out: Vec<Session> = Vec::new();
    for (id, passes) in &board.missing {
        let Some(cell) = board.evidence.cells.get(id) else { continue };
        let (part, tuning) = cells::column(registers, cell.cell.of.tuning_id);
        let setting = registers.settings.get(&cell.cell.of.setting_id).map(|s| s.fields.name.clone());
        let scene = cells::scene_name(registers, cell.cell.of.scene_id);
        let again =
            board.reruns.iter().filter(|rerun| rerun.cell == *id && rerun.replaced_by.is_none()).count();
        let setting = setting.unwrap_or_default();
        let one = Missing { scene, setting, passes: count(*passes), again: count(again) };
        match out.last_mut().filter(|last| last.part == part && last.tuning == tuning) {
            Some(last) => last.cells.push(one),
            None => out.push(Session { part, tuning, cells: vec![one] }),
        }
    }
    out
}
