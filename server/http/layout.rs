//! What the columns of a log are: the question, and a person's answer.

use axum::extract::{Query, State};
use axum::response::Response;
use serde::Deserialize;
use weighhouse_measure::recording::{Kind as LogKind, Role, Unit};
use weighhouse_web::{logs, pages, paths};

use super::App;
use super::resources::Of;
use super::respond::{Wants, done, refill, respond};
use super::sent::Sent;
use super::session::{Member, SignedIn};
use crate::store::captures::Capture;
use crate::work::intake::answer::{self, Answer};
use crate::work::intake::question;
use crate::work::take_in::Taken;
use crate::work::{Error, Refusal, Result};

/// Where one came from.
#[derive(Debug, Deserialize)]
pub(super) struct Asked {
    #[serde(default)]
    piece: String,
}

/// The first rows, the ways to read them, and the question.
pub(super) async fn show(
    who: SignedIn,
    wants: Wants,
    Of(capture): Of<Capture>,
    Query(asked): Query<Asked>,
) -> Result<Response> {
    respond(wants, &page(&who, &capture, asked.piece, String::new())?)
}

fn page(who: &SignedIn, capture: &Capture, piece: String, refused: String) -> Result<pages::Layout> {
    let question = question(capture).ok_or_else(|| Refusal::missing("question about capture", capture.id))?;
    Ok(pages::Layout {
        frame: who.frame("Pieces"),
        capture: capture.id.0,
        version: capture.version,
        file: capture.name.clone(),
        why: question.why,
        frames: question.guess.kind == LogKind::Frames,
        columns: question.guess.columns,
        rows: question.rows,
        candidates: question.candidates.iter().map(|candidate| candidate.in_words()).collect(),
        piece,
        refused,
    })
}

/// Reads it, and all others of its shape that wait, as a person says.
pub(super) async fn answer(
    State(app): State<App>,
    who: Member,
    wants: Wants,
    Of(capture): Of<Capture>,
    sent: Sent,
) -> Result<Response> {
    let read = match said(&sent) {
        Ok(answer) => answer::answer(&app.take_in, sent.by(&who), &capture, sent.version()?, answer).await,
        Err(error) => Err(error),
    };
    let piece = sent.text("piece");
    match read {
        Ok(taken) => {
            let to = if piece.is_empty() { paths::pieces() } else { paths::intake(piece) };
            Ok(done(&who, wants, &to, says(&taken)))
        }
        Err(Error::Refused(refusal)) if !refusal.fields.is_empty() => {
            let page = page(&who, &capture, piece.to_owned(), refusal.says.clone())?;
            refill(wants, &page, *refusal)
        }
        Err(error) => Err(error),
    }
}

fn says(taken: &[Taken]) -> String {
    let names: Vec<&str> = taken.iter().map(|one| one.capture.name.as_str()).collect();
    format!("Read as said: {}.", names.join(", "))
}

fn said(sent: &Sent) -> Result<Answer> {
    if let Some(n) = sent.read_if_any("candidate", "a number of a way to read it")? {
        return Ok(Answer::Offered(n));
    }
    let (kind, columns) = columns(sent)?;
    Ok(Answer::Columns(kind, columns))
}

/// Whether the rows are frames, and what each column is.
pub(super) fn columns(sent: &Sent) -> Result<(LogKind, Vec<(Role, Unit)>)> {
    let kind = match sent.text("kind") {
        "frames" => LogKind::Frames,
        "companion" => LogKind::Companion,
        other => {
            let says = format!("'{other}' is neither 'frames' nor 'companion': say what its rows are.");
            return Err(Refusal::field("kind", says).into());
        }
    };
    let mut columns = Vec::new();
    for n in 1.. {
        let (role, unit) = (sent.text(&format!("role-{n}")), sent.text(&format!("unit-{n}")));
        if role.is_empty() {
            break;
        }
        columns.push(column(role, unit)?);
    }
    Ok((kind, columns))
}

fn column(role: &str, unit: &str) -> Result<(Role, Unit)> {
    let known = logs::ROLES.iter().find(|known| logs::role_word(**known) == role);
    let unit_known = logs::UNITS.iter().find(|known| logs::unit_word(**known) == unit);
    match (known, unit_known) {
        (Some(role), Some(unit)) => Ok((*role, *unit)),
        (None, _) => {
            Err(Refusal::field("columns", format!("'{role}' is nothing that a column can be.")).into())
        }
        (_, None) => Err(Refusal::field("columns", format!("'{unit}' is no unit of a column.")).into()),
    }
}
