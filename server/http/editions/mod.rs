//! Editions of a piece: freezing one, reading it for ever, handing it over.

pub(super) mod handed;

use axum::Json;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{Html, IntoResponse as _, Response};
use serde_json::json;
use weighhouse_web::pages::{
    Edition as EditionPage, EditionChange, EditionFigure, EditionLine, Editions, Field, LinkLine, Secret,
};
use weighhouse_web::paths;

use super::App;
use super::notes::embargo;
use super::piece_frame::{at, counting, in_piece, now};
use super::resources::Of;
use super::respond::{Wants, done, html, refill, respond, see_other};
use super::sent::Sent;
use super::session::{Member, SignedIn};
use crate::store::EditionLinkId;
use crate::store::editions::{self as store, Edition};
use crate::store::pieces::Piece;
use crate::work::editions::{self, Frozen};
use crate::work::figures::ledger::{Ledger, ledger};
use crate::work::notes::may_leave;
use crate::work::pack::methods;
use crate::work::{Error, Kind, Refusal, Result};

/// Days that a link lasts unless somebody says otherwise.
const USUAL_DAYS: &str = "7";

/// All of them, and what stands in the way of the next.
pub(super) async fn show(
    State(app): State<App>,
    who: SignedIn,
    wants: Wants,
    Of(piece): Of<Piece>,
) -> Result<Response> {
    let read = ledger(&app.store, piece.id).await?;
    respond(wants, &page(&app, &who, &piece, &read).await?)
}

async fn page(app: &App, who: &SignedIn, piece: &Piece, read: &Ledger) -> Result<Editions> {
    let all = store::of_piece(&mut *app.store.read().await?, piece.id).await?;
    let line = |edition: &Edition| {
        let frozen = Frozen::of(edition)?;
        Ok(EditionLine {
            number: edition.number,
            note: edition.note.clone(),
            figures: count(frozen.figures.len()),
            changes: frozen.changes.iter().map(change).collect(),
            by: edition.person.clone(),
            at: at(edition.at_us),
        })
    };
    Ok(Editions {
        frame: in_piece(app, who, piece, "Pack", read.evidence.to_review().count()),
        piece: piece.key.clone(),
        zone: piece.fields.deadline_zone.clone(),
        embargo: embargo(app, piece).await?,
        editions: all.iter().map(line).collect::<Result<_>>()?,
        agreed: count(read.agreed().count()),
        in_the_way: editions::in_the_way(read),
        note: Field::default(),
        refused: String::new(),
    })
}

/// Freezes the figures as they stand.
pub(super) async fn freeze(
    State(app): State<App>,
    who: Member,
    wants: Wants,
    Of(piece): Of<Piece>,
    sent: Sent,
) -> Result<Response> {
    let read = ledger(&app.store, piece.id).await?;
    let told = methods::methods(&mut *app.store.read().await?, &read.evidence, read.head.to_string()).await?;
    let frozen = (&read, html(&told)?);
    match editions::freeze(&app.store, sent.by(&who), piece.id, frozen, sent.text("note")).await {
        Ok(number) => {
            let to = paths::edition(&piece.key, number);
            Ok(done(&who, wants, &to, format!("Edition {number} is frozen: it stays as it is.")))
        }
        Err(Error::Refused(refusal)) if matches!(refusal.kind, Kind::Invalid | Kind::Clash) => {
            let mut page = page(&app, &who, &piece, &read).await?;
            page.note = sent.field("note", &refusal);
            page.refused.clone_from(&refusal.says);
            refill(wants, &page, *refusal)
        }
        Err(error) => Err(error),
    }
}

/// The edition that an address names.
async fn named(app: &App, piece: &Piece, number: i64) -> Result<Edition> {
    let found = store::by_number(&mut *app.store.read().await?, piece.id, number).await?;
    found.ok_or_else(|| Refusal::missing("edition", number).into())
}

/// One edition, with the links to it.
pub(super) async fn one(
    State(app): State<App>,
    who: SignedIn,
    wants: Wants,
    Of(piece): Of<Piece>,
    Path((_, number)): Path<(String, i64)>,
) -> Result<Response> {
    let edition = named(&app, &piece, number).await?;
    let links = store::links(&mut *app.store.read().await?, edition.id).await?;
    let mut page = told(&edition, &Frozen::of(&edition)?);
    page.frame = counting(&app, &who, &piece, "Pack").await?;
    page.piece = piece.key.clone();
    page.zone.clone_from(&piece.fields.deadline_zone);
    page.embargo = embargo(&app, &piece).await?;
    page.methods = paths::edition_methods(&piece.key, number);
    page.days = Field::of(USUAL_DAYS);
    page.now = now(&app);
    page.links = links
        .into_iter()
        .map(|link| LinkLine {
            id: link.id.0,
            by: link.person,
            made: at(link.made_us),
            expires: at(link.expires_us),
            opened: link.opened_us.map(at),
            taken_back: link.revoked_us.is_some(),
        })
        .collect();
    if wants == Wants::Html
        && let Some(Secret::Edition(link)) =
            app.take_secret(&who.browser(), |secret| matches!(secret, Secret::Edition(_)))
    {
        page.link = Some(link);
    }
    respond(wants, &page)
}

/// The methods page as it was frozen.
pub(super) async fn methods(
    State(app): State<App>,
    _who: SignedIn,
    Of(piece): Of<Piece>,
    Path((_, number)): Path<(String, i64)>,
) -> Result<Response> {
    Ok(methods_of(&Frozen::of(&named(&app, &piece, number).await?)?))
}

/// Beside a pack the style sheet lies in the same folder.
fn methods_of(frozen: &Frozen) -> Response {
    let sheet = format!("href=\"{}\"", paths::asset("methods.css"));
    Html(frozen.methods.replacen("href=\"methods.css\"", &sheet, 1)).into_response()
}

/// Makes a link, its address shown once.
pub(super) async fn hand_over(
    State(app): State<App>,
    who: Member,
    wants: Wants,
    Of(piece): Of<Piece>,
    Path((_, number)): Path<(String, i64)>,
    sent: Sent,
) -> Result<Response> {
    may_leave(&app.store, piece.id, app.clock.now_us()).await?;
    let edition = named(&app, &piece, number).await?;
    let days = sent.read("days", "a whole number of days")?;
    let token = editions::hand_over(&app.store, &app.chance, sent.by(&who), &edition, days).await?;
    let link = format!("{}{}", app.address(), paths::handed(token.as_str()));
    match wants {
        Wants::Html => {
            app.keep_secret(who.browser(), Secret::Edition(link));
            Ok(see_other(&paths::edition(&piece.key, number)))
        }
        Wants::Json => Ok((StatusCode::CREATED, Json(json!({ "link": link }))).into_response()),
    }
}

/// Takes a link back.
pub(super) async fn take_back(
    State(app): State<App>,
    who: Member,
    wants: Wants,
    Of(piece): Of<Piece>,
    Path((_, number, link)): Path<(String, i64, i64)>,
    sent: Sent,
) -> Result<Response> {
    let edition = named(&app, &piece, number).await?;
    editions::take_back(&app.store, sent.by(&who), &edition, EditionLinkId(link)).await?;
    Ok(done(&who, wants, &paths::edition(&piece.key, number), "The link opens nothing any more."))
}

/// What an edition holds, for its page.
fn told(edition: &Edition, frozen: &Frozen) -> EditionPage {
    EditionPage {
        name: frozen.piece.clone(),
        number: edition.number,
        note: edition.note.clone(),
        by: edition.person.clone(),
        at: at(edition.at_us),
        digest: edition.digest.clone(),
        head: frozen.head.clone(),
        figures: frozen
            .figures
            .iter()
            .map(|figure| EditionFigure {
                key: figure.key.clone(),
                name: figure.name.clone(),
                printed: figure.printed.clone(),
                interval: figure.interval.clone(),
                method: figure.method.clone(),
                ruled_out: figure.ruled_out.clone(),
                note: figure.note.clone(),
                proposed_by: figure.proposed_by.clone(),
                agreed_by: figure.agreed_by.clone(),
                alone: figure.alone,
                digest: figure.digest.clone(),
            })
            .collect(),
        changes: frozen.changes.iter().map(change).collect(),
        ..EditionPage::default()
    }
}

fn change(of: &editions::FrozenChange) -> EditionChange {
    EditionChange { name: of.name.clone(), was: of.was.clone(), is: of.is.clone(), why: of.why.clone() }
}

fn count(n: usize) -> u64 {
    u64::try_from(n).unwrap_or(u64::MAX)
}
