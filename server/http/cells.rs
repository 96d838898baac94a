//! The cells that a piece selects.

use axum::extract::State;
use axum::response::Response;
use weighhouse_web::format;
use weighhouse_web::pages::{CellRow, Cells, Choice, PartTunings, Selected, Undo};
use weighhouse_web::paths;

use super::App;
use super::piece_frame::in_piece;
use super::resources::Of;
use super::respond::{Wants, done_with, refill, respond};
use super::sent::Sent;
use super::session::{Member, SignedIn};
use crate::store::pieces::Piece;
use crate::store::{CellId, SceneId, SettingId, TuningId};
use crate::work::cells::{self, Axes, Grid};
use crate::work::evidence::{Evidence, Registers};
use crate::work::{Error, Refusal, Result};

/// The page.
pub(super) async fn show(
    State(app): State<App>,
    who: SignedIn,
    wants: Wants,
    Of(piece): Of<Piece>,
) -> Result<Response> {
    respond(wants, &page(&app, &who, &piece, &Sent::default(), None).await?)
}

/// Adds a grid, takes cells out, or selects taken out ones again.
pub(super) async fn save(
    State(app): State<App>,
    who: Member,
    wants: Wants,
    Of(piece): Of<Piece>,
    sent: Sent,
) -> Result<Response> {
    match change(&app, &who, &piece, &sent).await {
        Ok((says, undo)) => {
            let undo = undo.map(|(act, cells)| taking_back(&piece, act, &cells));
            Ok(done_with(&who, wants, &paths::piece_cells(&piece.key), says, undo))
        }
        Err(Error::Refused(refusal)) if !refusal.fields.is_empty() => {
            let page = page(&app, &who, &piece, &sent, Some(&refusal)).await?;
            refill(wants, &page, *refusal)
        }
        Err(error) => Err(error),
    }
}

/// What was done, and how to take it back.
type Done = (String, Option<(&'static str, Vec<CellId>)>);

async fn change(app: &App, who: &Member, piece: &Piece, sent: &Sent) -> Result<Done> {
    let (store, by) = (&app.store, sent.by(who));
    let cells = || sent.numbers("cell").map(|ids| ids.into_iter().map(CellId).collect::<Vec<_>>());
    let many = |n: usize| format::plural(u64::try_from(n).unwrap_or(u64::MAX), "cell", "cells");
    match sent.text("do") {
        "add" => {
            let new = cells::add(store, by, piece.id, grid(sent)?).await?;
            let says = if new.is_empty() {
                "All of these were selected already.".to_owned()
            } else {
                format!("{} added.", many(new.len()))
            };
            Ok((says, (!new.is_empty()).then_some(("take out", new))))
        }
        "take out" => {
            let gone = cells::take_out(store, by, piece.id, cells()?, sent.ticked("sure")).await?;
            Ok((format!("{} taken out.", many(gone.len())), Some(("back", gone))))
        }
        "back" => {
            let n = cells::back(store, by, piece.id, cells()?).await?;
            Ok((format!("{} selected again.", many(n)), None))
        }
        other => {
            Err(Refusal::field("do", format!("'{other}' cannot be done; it is add, take out or back."))
                .into())
        }
    }
}

fn grid(sent: &Sent) -> Result<Grid> {
    Ok(Grid {
        tunings: sent.numbers("tuning")?.into_iter().map(TuningId).collect(),
        scenes: sent.numbers("scene")?.into_iter().map(SceneId).collect(),
        settings: sent.numbers("setting")?.into_iter().map(SettingId).collect(),
    })
}

fn taking_back(piece: &Piece, act: &str, cells: &[CellId]) -> Undo {
    let mut fields = vec![("do".to_owned(), act.to_owned()), ("sure".to_owned(), "1".to_owned())];
    fields.extend(cells.iter().map(|cell| ("cell".to_owned(), cell.to_string())));
    Undo { action: paths::piece_cells(&piece.key), fields }
}

async fn page(
    app: &App,
    who: &SignedIn,
    piece: &Piece,
    sent: &Sent,
    refusal: Option<&Refusal>,
) -> Result<Cells> {
    let evidence = Evidence::of_piece(&app.store, piece.id).await?;
    let evidence = evidence.ok_or_else(|| Refusal::missing("piece", &piece.key))?;
    let axes = Axes::of(
        evidence.cells.values().map(|cell| &cell.cell),
        piece.fields.baseline_part_id.map(|id| id.0),
    );
    let registers = &evidence.registers;
    let warning = refusal.map_or("", |refusal| refusal.wrong("sure"));
    Ok(Cells {
        frame: in_piece(app, who, piece, "", evidence.to_review().count()),
        key: piece.key.clone(),
        parts: parts_to_tick(piece, registers, sent),
        scenes: choices(
            "scene",
            registers.scenes.keys().map(|id| (id.0, cells::scene_name(registers, *id))),
            sent,
        ),
        settings: choices(
            "setting",
            registers.settings.values().map(|s| (s.id.0, s.fields.name.clone())),
            sent,
        ),
        columns: axes.columns.iter().map(|tuning| cells::column(registers, *tuning)).collect(),
        rows: axes.rows.iter().map(|row| selected(&evidence, &axes, *row, sent)).collect(),
        refused: refusal
            .filter(|_| warning.is_empty())
            .map_or_else(String::new, |refusal| refusal.says.clone()),
        warned: warning.to_owned(),
    })
}

/// Parts of the piece's kind with their tunings.
fn parts_to_tick(piece: &Piece, registers: &Registers, sent: &Sent) -> Vec<PartTunings> {
    let tunings = |part| registers.tunings.values().filter(move |tuning| tuning.fields.part_id == part);
    let parts = registers.parts.values().filter(|part| part.fields.kind == piece.fields.kind);
    parts
        .map(|part| PartTunings {
            part: part.name(),
            tunings: tunings(part.id)
                .map(|t| choice("tuning", t.id.0, t.fields.name.clone(), sent))
                .collect(),
        })
        .collect()
}

/// A side of the grid; where there is only one thing to choose, it is chosen.
fn choices(side: &str, all: impl Iterator<Item = (i64, String)>, sent: &Sent) -> Vec<Choice> {
    let mut all: Vec<Choice> = all.map(|(id, name)| choice(side, id, name, sent)).collect();
    if let [only] = all.as_mut_slice() {
        only.on = true;
    }
    all
}

fn choice(side: &str, id: i64, name: String, sent: &Sent) -> Choice {
    Choice { id, name, on: sent.all(side).any(|text| text == id.to_string()) }
}

fn selected(
    evidence: &Evidence,
    axes: &Axes,
    (scene, setting): (SceneId, SettingId),
    sent: &Sent,
) -> CellRow {
    let registers = &evidence.registers;
    let spot = |tuning: &TuningId| {
        let cell = evidence.cell_of(*tuning, scene, setting)?;
        let id = cell.cell.id;
        let on = sent.all("cell").any(|text| text == id.to_string());
        let passes = u64::try_from(cell.passes.len()).unwrap_or(u64::MAX);
        Some(Selected { id: id.0, passes, label: cells::label(registers, &cell.cell), on })
    };
    CellRow {
        scene: cells::scene_name(registers, scene),
        setting: registers.settings.get(&setting).map(|s| s.fields.name.clone()).unwrap_or_default(),
        cells: axes.columns.iter().map(spot).collect(),
    }
}
