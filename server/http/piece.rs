//! A piece's own choices.

use axum::extract::State;
use axum::response::Response;
use weighhouse_web::format;
use weighhouse_web::pages::{self, Drivers, Field, Undo};
use weighhouse_web::paths;

use super::App;
use super::piece_frame::counting;
use super::resources::Of;
use super::respond::{Wants, done_with, refill, respond};
use super::sent::Sent;
use super::session::{Member, SignedIn};
use crate::store::pieces::Piece;
use crate::work::choices::{self, Choices, Typed};
use crate::work::{Error, Refusal, Result, outdated};

/// The form.
pub(super) async fn show(
    State(app): State<App>,
    who: SignedIn,
    wants: Wants,
    Of(piece): Of<Piece>,
) -> Result<Response> {
    let choices = choices::read(&app.store, piece.id).await?;
    let page = page(&choices, choices.typed.clone(), None);
    respond(wants, &pages::Piece { frame: counting(&app, &who, &piece, "").await?, ..page })
}

/// Keeps the choices.
pub(super) async fn save(
    State(app): State<App>,
    who: Member,
    wants: Wants,
    Of(piece): Of<Piece>,
    sent: Sent,
) -> Result<Response> {
    let typed = typed(&sent);
    match choices::save(&app.store, sent.by(&who), piece.id, sent.version()?, typed.clone()).await {
        Ok(saved) => {
            let mut fields = saved.before.pairs();
            // A part whose driver was declared just now had none.
            let new = typed.drivers.keys().filter(|part| !saved.before.drivers.contains_key(part));
            fields.extend(new.map(|part| (format!("driver_{part}"), String::new())));
            fields.push(("version".to_owned(), saved.version.to_string()));
            let undo = Undo { action: paths::piece(&piece.key), fields };
            let says = match outdated::left(&app.store, piece.id).await? {
                left if left > 0 && typed.drivers != saved.before.drivers => format!(
                    "The choices are saved. {} out of date now: Plan, ‘Out of date’ lists what to do.",
                    format::plural(
                        u64::try_from(left).unwrap_or(u64::MAX),
                        "pass or reading is",
                        "passes and readings are"
                    )
                ),
                _ => "The choices are saved.".to_owned(),
            };
            Ok(done_with(&who, wants, &paths::piece(&piece.key), says, Some(undo)))
        }
        Err(Error::Refused(refusal)) if !refusal.fields.is_empty() => {
            let choices = choices::read(&app.store, piece.id).await?;
            let page = page(&choices, typed, Some(&refusal));
            let page = pages::Piece { frame: counting(&app, &who, &piece, "").await?, ..page };
            refill(wants, &page, *refusal)
        }
        Err(error) => Err(error),
    }
}

fn typed(sent: &Sent) -> Typed {
    let text = |name: &str| sent.text(name).to_owned();
    let drivers = sent.names().filter_map(|name| name.strip_prefix("driver_"));
    Typed {
        name: text("name"),
        deadline: text("deadline"),
        zone: text("zone"),
        wanted: text("wanted"),
        low: text("low"),
        tail: text("tail"),
        margin: text("margin"),
        hand_margin: text("hand_margin"),
        precision: text("precision"),
        baseline: text("baseline"),
        alone: sent.ticked("alone"),
        agreements: text("agreements"),
        drivers: drivers
            .filter_map(|part| Some((part.parse().ok()?, sent.text(&format!("driver_{part}")).to_owned())))
            .collect(),
    }
}

/// The page without its frame.
fn page(choices: &Choices, typed: Typed, refusal: Option<&Refusal>) -> pages::Piece {
    let wrong = |name: &str| refusal.map_or(String::new(), |refusal| refusal.wrong(name).to_owned());
    let field = |name: &str, text: &str| Field::wrong(text, wrong(name));
    let drivers = choices.drivers.iter().map(|(part, drivers, _)| Drivers {
        part_id: part.id.0,
        part: part.name(),
        declared: Field::wrong(typed.drivers.get(&part.id.0).cloned().unwrap_or_default(), wrong("drivers")),
        drivers: drivers.iter().map(|driver| (driver.id.to_string(), driver.fields.name.clone())).collect(),
    });
    pages::Piece {
        frame: pages::Frame::default(),
        key: choices.piece.key.clone(),
        kind: choices.piece.fields.kind.to_string(),
        version: choices.piece.version,
        name: field("name", &typed.name),
        deadline: field("deadline", &typed.deadline),
        zone: field("zone", &typed.zone),
        wanted: field("wanted", &typed.wanted),
        low: field("low", &typed.low),
        tail: field("tail", &typed.tail),
        margin: field("margin", &typed.margin),
        hand_margin: field("hand_margin", &typed.hand_margin),
        precision: field("precision", &typed.precision),
        baseline: field("baseline", &typed.baseline),
        alone: typed.alone,
        agreements: field("agreements", &typed.agreements),
        parts: choices.parts.iter().map(|part| (part.id.to_string(), part.name())).collect(),
        drivers: drivers.collect(),
    }
}
