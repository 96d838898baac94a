//! Quoted numbers of a piece: the list, adding, changing and taking out.

use axum::extract::State;
use axum::response::Response;
use weighhouse_web::format;
use weighhouse_web::pages::{self, Field, QuoteLine, Undo};
use weighhouse_web::paths;

use super::App;
use super::piece_frame::{at, in_piece};
use super::resources::Of;
use super::respond::{Wants, done, done_with, refill, respond};
use super::sent::Sent;
use super::session::{Member, SignedIn};
use crate::store::pieces::{self, Piece};
use crate::store::quotes::{self as store, Quote};
use crate::work::evidence::Evidence;
use crate::work::registers::Typed;
use crate::work::registers::typed::day_of;
use crate::work::{Error, Refusal, Result, quotes};

/// What is filled in, and the row that is changed: its id and the version that was read.
struct Open<'a> {
    texts: &'a [(String, String)],
    changes: Option<(i64, i64)>,
    refusal: Option<&'a Refusal>,
}

/// The list, and the form for another one.
pub(super) async fn show(
    State(app): State<App>,
    who: SignedIn,
    wants: Wants,
    Of(piece): Of<Piece>,
) -> Result<Response> {
    let texts = [("dated".to_owned(), day_of(app.clock.now_us()))];
    respond(wants, &page(&app, &who, &piece, Open { texts: &texts, changes: None, refusal: None }).await?)
}

/// The list, and the form for one of them.
pub(super) async fn one(
    State(app): State<App>,
    who: SignedIn,
    wants: Wants,
    Of(quote): Of<Quote>,
) -> Result<Response> {
    let piece = piece_of(&app, &quote).await?;
    let texts = quotes::texts(&quote.fields);
    let changes = Some((quote.id.0, quote.version));
    respond(wants, &page(&app, &who, &piece, Open { texts: &texts, changes, refusal: None }).await?)
}

/// Adds one.
pub(super) async fn add(
    State(app): State<App>,
    who: Member,
    wants: Wants,
    Of(piece): Of<Piece>,
    sent: Sent,
) -> Result<Response> {
    let (evidence, there) = around(&app, &piece).await?;
    let text = |field: &str| sent.text(field);
    let added = match quotes::read(piece.id, (&evidence.registers, &there), None, Typed::new(&text)) {
        Ok(fields) => quotes::add(&app.store, sent.by(&who), fields).await.map(|_| ()),
        Err(error) => Err(error),
    };
    kept(&app, &who, wants, &piece, (None, &sent), added).await
}

/// Changes one.
pub(super) async fn save(
    State(app): State<App>,
    who: Member,
    wants: Wants,
    Of(quote): Of<Quote>,
    sent: Sent,
) -> Result<Response> {
    let version = sent.version()?;
    let piece = piece_of(&app, &quote).await?;
    let (evidence, there) = around(&app, &piece).await?;
    let text = |field: &str| sent.text(field);
    let saved = match quotes::read(piece.id, (&evidence.registers, &there), Some(quote.id), Typed::new(&text))
    {
        Ok(fields) => quotes::edit(&app.store, sent.by(&who), quote.id, version, fields).await,
        Err(error) => Err(error),
    };
    kept(&app, &who, wants, &piece, (Some((quote.id.0, version)), &sent), saved).await
}

/// Takes one out.
pub(super) async fn take_out(
    State(app): State<App>,
    who: Member,
    wants: Wants,
    Of(quote): Of<Quote>,
    sent: Sent,
) -> Result<Response> {
    let piece = piece_of(&app, &quote).await?;
    let gone = quotes::take_out(&app.store, sent.by(&who), quote, sent.version()?).await?;
    let undo = Undo { action: paths::quotes(&piece.key), fields: quotes::texts(&gone) };
    let says = format!("'{}' is taken out.", gone.name);
    Ok(done_with(&who, wants, &paths::quotes(&piece.key), says, Some(undo)))
}

/// On with the list, or the form again with what is wrong.
async fn kept(
    app: &App,
    who: &SignedIn,
    wants: Wants,
    piece: &Piece,
    (changes, sent): (Option<(i64, i64)>, &Sent),
    kept: Result<()>,
) -> Result<Response> {
    match kept {
        Ok(()) => {
            let says = format!("'{}' is kept.", sent.text("name"));
            Ok(done(who, wants, &paths::quotes(&piece.key), says))
        }
        Err(Error::Refused(refusal)) if !refusal.fields.is_empty() => {
            let open = Open { texts: sent.pairs(), changes, refusal: Some(&refusal) };
            let page = page(app, who, piece, open).await?;
            refill(wants, &page, *refusal)
        }
        Err(error) => Err(error),
    }
}

async fn piece_of(app: &App, quote: &Quote) -> Result<Piece> {
    let piece = pieces::by_id(&mut *app.store.read().await?, quote.fields.piece_id).await?;
    piece.ok_or_else(|| Refusal::missing("piece", quote.fields.piece_id).into())
}

/// The evidence of a piece, and its quoted numbers.
async fn around(app: &App, piece: &Piece) -> Result<(Evidence, Vec<Quote>)> {
    let evidence = Evidence::of_piece(&app.store, piece.id).await?;
    let evidence = evidence.ok_or_else(|| Refusal::missing("piece", &piece.key))?;
    Ok((evidence, store::of_piece(&mut *app.store.read().await?, piece.id).await?))
}

async fn page(app: &App, who: &SignedIn, piece: &Piece, open: Open<'_>) -> Result<pages::Quotes> {
    let (evidence, all) = around(app, piece).await?;
    let names = &evidence.registers;
    let text = |name: &str| {
        let found = open.texts.iter().find(|(field, _)| field == name);
        found.map_or_else(String::new, |(_, text)| text.clone())
    };
    let wrong = |name: &str| open.refusal.map_or_else(String::new, |refusal| refusal.wrong(name).to_owned());
    let field = |name: &str| Field::wrong(text(name), wrong(name));
    let own = open.changes.map(|(id, _)| id);
    Ok(pages::Quotes {
        frame: in_piece(app, who, piece, "Figures", evidence.to_review().count()),
        key: piece.key.clone(),
        quotes: all.iter().map(|quote| line(&evidence, quote, &all)).collect(),
        changes: open.changes,
        name: field("name"),
        part: field("part"),
        parts: names.parts.values().map(|part| (part.id.to_string(), part.name())).collect(),
        value: field("value"),
        unit: field("unit"),
        units: quotes::UNITS.map(|unit| (unit.to_owned(), unit.to_owned())).to_vec(),
        source: field("source"),
        link: field("link"),
        dated: field("dated"),
        over: field("over"),
        others: all
            .iter()
            .filter(|quote| Some(quote.id.0) != own)
            .map(|quote| (quote.id.to_string(), quote.fields.name.clone()))
            .collect(),
    })
}

fn line(evidence: &Evidence, quote: &Quote, all: &[Quote]) -> QuoteLine {
    let f = &quote.fields;
    let over = all.iter().find(|other| Some(other.id) == f.over_id);
    QuoteLine {
        id: quote.id.0,
        version: quote.version,
        name: f.name.clone(),
        part: f.part_id.map_or_else(String::new, |id| evidence.registers.part_name(id)),
        shown: quotes::shown(f),
        change: quotes::over(f, all).map(format::change),
        over: over.map_or_else(String::new, |other| other.fields.name.clone()),
        source: f.source.clone(),
        link: f.link.clone(),
        dated: at(f.dated_us),
    }
}
