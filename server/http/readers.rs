//! Kinds of reader: adding, changing, taking out.

use axum::extract::State;
use axum::response::Response;
use weighhouse_web::pages::{self, Field, Undo, Weight};
use weighhouse_web::paths;

use super::App;
use super::piece_frame::in_piece;
use super::resources::Of;
use super::respond::{Wants, done, done_with, refill, respond};
use super::sent::Sent;
use super::session::{Member, SignedIn};
use crate::store::pieces::Piece;
use crate::store::readers::Reader;
use crate::work::evidence::Evidence;
use crate::work::readers;
use crate::work::registers::Typed;
use crate::work::{Error, Refusal, Result};

/// Texts of a form by the names of its fields.
type Texts = Vec<(String, String)>;

/// The form for another reader.
pub(super) async fn ask(
    State(app): State<App>,
    who: SignedIn,
    wants: Wants,
    Of(piece): Of<Piece>,
) -> Result<Response> {
    respond(wants, &page(&app, &who, &piece, None, &usual(), None).await?)
}

/// Adds a reader.
pub(super) async fn add(
    State(app): State<App>,
    who: Member,
    wants: Wants,
    Of(piece): Of<Piece>,
    sent: Sent,
) -> Result<Response> {
    let evidence = evidence(&app, &piece).await?;
    let added = match readers::read(piece.id, &evidence.registers, Typed::new(&|field| sent.text(field))) {
        Ok(fields) => readers::add(&app.store, sent.by(&who), fields).await,
        Err(error) => Err(error),
    };
    match added {
        Ok(_) => {
            let says = format!("'{}' is added.", sent.text("name"));
            Ok(done(&who, wants, &paths::worth(&piece.key), says))
        }
        Err(error) => again(&app, &who, wants, &piece, None, &sent, error).await,
    }
}

/// The form for a reader.
pub(super) async fn show(
    State(app): State<App>,
    who: SignedIn,
    wants: Wants,
    Of(reader): Of<Reader>,
) -> Result<Response> {
    let piece = readers::piece_of(&app.store, &reader).await?;
    let texts = readers::texts(&reader.fields)?;
    respond(wants, &page(&app, &who, &piece, Some((reader.id.0, reader.version)), &texts, None).await?)
}

/// Changes a reader.
pub(super) async fn save(
    State(app): State<App>,
    who: Member,
    wants: Wants,
    Of(reader): Of<Reader>,
    sent: Sent,
) -> Result<Response> {
    let version = sent.version()?;
    let piece = readers::piece_of(&app.store, &reader).await?;
    let evidence = evidence(&app, &piece).await?;
    let saved = match readers::read(piece.id, &evidence.registers, Typed::new(&|field| sent.text(field))) {
        Ok(fields) => readers::edit(&app.store, sent.by(&who), reader.id, version, fields).await,
        Err(error) => Err(error),
    };
    match saved {
        Ok(()) => {
            let says = format!("'{}' is saved.", sent.text("name"));
            Ok(done(&who, wants, &paths::worth(&piece.key), says))
        }
        Err(error) => again(&app, &who, wants, &piece, Some((reader.id.0, version)), &sent, error).await,
    }
}

/// Takes a reader out.
pub(super) async fn take_out(
    State(app): State<App>,
    who: Member,
    wants: Wants,
    Of(reader): Of<Reader>,
    sent: Sent,
) -> Result<Response> {
    let piece = readers::piece_of(&app.store, &reader).await?;
    let gone = readers::take_out(&app.store, sent.by(&who), reader, sent.version()?).await?;
    let undo = Undo { action: paths::readers(&piece.key), fields: readers::texts(&gone)? };
    let says = format!("'{}' is taken out.", gone.name);
    Ok(done_with(&who, wants, &paths::worth(&piece.key), says, Some(undo)))
}

async fn evidence(app: &App, piece: &Piece) -> Result<Evidence> {
    let found = Evidence::of_piece(&app.store, piece.id).await?;
    found.ok_or_else(|| Refusal::missing("piece", &piece.key).into())
}

fn usual() -> Texts {
    [("asks", "25"), ("hours_a_week", "20"), ("kwh_currency", "EUR")]
        .map(|(name, text)| (name.to_owned(), text.to_owned()))
        .to_vec()
}

/// The form again when a field is wrong; any other error as it is.
async fn again(
    app: &App,
    who: &SignedIn,
    wants: Wants,
    piece: &Piece,
    changes: Option<(i64, i64)>,
    sent: &Sent,
    error: Error,
) -> Result<Response> {
    match error {
        Error::Refused(refusal) if !refusal.fields.is_empty() => {
            let page = page(app, who, piece, changes, &sent.pairs().to_vec(), Some(&refusal)).await?;
            refill(wants, &page, *refusal)
        }
        error => Err(error),
    }
}

async fn page(
    app: &App,
    who: &SignedIn,
    piece: &Piece,
    changes: Option<(i64, i64)>,
    texts: &Texts,
    refusal: Option<&Refusal>,
) -> Result<pages::Reader> {
    let evidence = evidence(app, piece).await?;
    let names = &evidence.registers;
    let text =
        |name: &str| texts.iter().find(|(n, _)| n == name).map_or_else(String::new, |(_, text)| text.clone());
    let wrong = |name: &str| refusal.map_or_else(String::new, |refusal| refusal.wrong(name).to_owned());
    let field = |name: &str| Field::wrong(text(name), wrong(name));
    let weight = |name: String, of: String| Weight { value: text(&name), name, of };
    Ok(pages::Reader {
        frame: in_piece(app, who, piece, "Worth", evidence.to_review().count()),
        key: piece.key.clone(),
        changes,
        name: field("name"),
        owned: field("owned"),
        parts: names.parts.values().map(|part| (part.id.to_string(), part.name())).collect(),
        judges_by: field("judges_by"),
        low: evidence.low().short_name().to_owned(),
        asks: field("asks"),
        refresh_hz: field("refresh_hz"),
        hours_a_week: field("hours_a_week"),
        kwh_price: field("kwh_price"),
        kwh_currency: field("kwh_currency"),
        scenes: names.scenes.keys().map(|id| weight(format!("scene_{id}"), names.scene_name(*id))).collect(),
        settings: names
            .settings
            .keys()
            .map(|id| weight(format!("setting_{id}"), names.setting_name(*id)))
            .collect(),
        wrong_plays: wrong("plays"),
    })
}
