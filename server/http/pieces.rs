//! All pieces, and a new one.

use axum::extract::State;
use axum::response::Response;
use weighhouse_web::pages::{self, NewPiece, Pieces};
use weighhouse_web::paths;

use super::App;
use super::piece_frame::{at, now};
use super::respond::{Wants, done, refill, respond};
use super::sent::Sent;
use super::session::{Member, SignedIn};
use crate::work::pieces::{self, Progress, Typed};
use crate::work::{Error, Result};

/// The list with the form for another one.
pub(super) async fn show(State(app): State<App>, who: SignedIn, wants: Wants) -> Result<Response> {
    respond(wants, &page(&app, &who, None).await?)
}

async fn page(app: &App, who: &SignedIn, new: Option<NewPiece>) -> Result<Pieces> {
    let all = pieces::all(&app.store).await?;
    let newest = all.iter().max_by_key(|one| one.piece.id);
    let zone = newest.map_or("UTC", |one| &one.piece.fields.deadline_zone);
    Ok(Pieces {
        frame: who.frame("Pieces"),
        now: now(app),
        new: new.unwrap_or_else(|| NewPiece::empty(zone)),
        pieces: all.iter().map(row).collect(),
    })
}

fn row(one: &Progress) -> pages::Progress {
    let count = |n: usize| u64::try_from(n).unwrap_or(u64::MAX);
    pages::Progress {
        key: one.piece.key.clone(),
        name: one.piece.fields.name.clone(),
        deadline: one.piece.fields.deadline_us.map(at),
        zone: one.piece.fields.deadline_zone.clone(),
        passes: count(one.passes),
        passes_wanted: count(one.wanted),
        flags: count(one.flags),
        figures: count(one.figures),
        agreed: count(one.agreed),
        lapsed: count(one.lapsed),
    }
}

/// Makes a piece; next come its cells.
pub(super) async fn make(State(app): State<App>, who: Member, wants: Wants, sent: Sent) -> Result<Response> {
    let text = |name: &str| sent.text(name).to_owned();
    let typed =
        Typed { name: text("name"), kind: text("kind"), deadline: text("deadline"), zone: text("zone") };
    let made = pieces::make(&app.store, &app.chance, sent.by(&who), &typed).await;
    match made {
        Ok(key) => Ok(done(&who, wants, &paths::piece_cells(&key), format!("'{}' is made.", typed.name))),
        Err(Error::Refused(refusal)) if !refusal.fields.is_empty() => {
            let field = |name: &str| sent.field(name, &refusal);
            let (name, kind, deadline) = (field("name"), field("kind"), field("deadline"));
            let new = NewPiece { name, kind, deadline, zone: field("zone") };
            refill(wants, &page(&app, &who, Some(new)).await?, *refusal)
        }
        Err(error) => Err(error),
    }
}
