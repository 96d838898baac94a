//! Embargo and notes of a piece.

use axum::extract::State;
use axum::response::Response;
use weighhouse_web::format;
use weighhouse_web::pages::{self, Field, SaidLine};
use weighhouse_web::paths;

use super::App;
use super::piece_frame::{at, counting};
use super::resources::Of;
use super::respond::{Wants, done, refill, respond};
use super::sent::Sent;
use super::session::{Member, SignedIn};
use crate::store::notes::{Said, Word};
use crate::store::people::Role;
use crate::store::pieces::Piece;
use crate::work::registers::Typed;
use crate::work::{Error, Refusal, Result, notes};

/// The notes.
pub(super) async fn show(
    State(app): State<App>,
    who: SignedIn,
    wants: Wants,
    Of(piece): Of<Piece>,
) -> Result<Response> {
    respond(wants, &page(&app, &who, &piece, None).await?)
}

/// Keeps them.
pub(super) async fn save(
    State(app): State<App>,
    who: Member,
    wants: Wants,
    Of(piece): Of<Piece>,
    sent: Sent,
) -> Result<Response> {
    let version = sent.version()?;
    let text = |field: &str| sent.text(field);
    let kept = match notes::typed(Typed::new(&text)) {
        Ok(fields) => {
            let asks = (is_owner(&who), app.clock.now_us());
            notes::keep(&app.store, sent.by(&who), piece.id, (version, fields), asks).await
        }
        Err(error) => Err(error),
    };
    after(&app, &who, wants, &piece, (&sent, "Saved."), kept).await
}

/// An owner's word on the embargo.
pub(super) async fn say(
    State(app): State<App>,
    who: Member,
    wants: Wants,
    Of(piece): Of<Piece>,
    sent: Sent,
) -> Result<Response> {
    let word = sent.text("says");
    let word = Word::parse(word).ok_or_else(|| {
        Refusal::field("says", format!("'{word}' is no word on an embargo: 'let it go' or 'hold it'."))
    })?;
    let asked = (word, sent.text("reason").to_owned());
    let said = notes::say(&app.store, sent.by(&who), piece.id, asked, is_owner(&who)).await;
    let says = match word {
        Word::LetGo => "Packs and links may leave now.",
        Word::Hold => "Nothing leaves before the embargo ends.",
    };
    after(&app, &who, wants, &piece, (&sent, says), said).await
}

fn is_owner(who: &SignedIn) -> bool {
    who.role() == Role::Owner
}

/// On with the page, or the form again with what is wrong.
async fn after(
    app: &App,
    who: &SignedIn,
    wants: Wants,
    piece: &Piece,
    (sent, says): (&Sent, &str),
    kept: Result<()>,
) -> Result<Response> {
    match kept {
        Ok(()) => Ok(done(who, wants, &paths::notes(&piece.key), says)),
        Err(Error::Refused(refusal)) if !refusal.fields.is_empty() => {
            let page = page(app, who, piece, Some((sent, &refusal))).await?;
            refill(wants, &page, *refusal)
        }
        Err(error) => Err(error),
    }
}

/// The page, with what stands or with what was sent.
async fn page(
    app: &App,
    who: &SignedIn,
    piece: &Piece,
    sent: Option<(&Sent, &Refusal)>,
) -> Result<pages::Notes> {
    let read = notes::read(&app.store, piece.id).await?;
    let mut fields = read.notes.fields.clone();
    if read.notes.version == 0 {
        fields.embargo_zone.clone_from(&piece.fields.deadline_zone);
    }
    let texts = notes::texts(&fields);
    let field = |name: &str| match sent {
        Some((sent, refusal)) if sent.names().any(|of| of == name) => sent.field(name, refusal),
        _ => Field::of(texts.iter().find(|(of, _)| of == name).map_or("", |(_, text)| text.as_str())),
    };
    Ok(pages::Notes {
        frame: counting(app, who, piece, "").await?,
        piece: piece.key.clone(),
        zone_name: read.notes.fields.embargo_zone.clone(),
        until: read.until(),
        holds: read.holds(app.clock.now_us()),
        said: read.said.iter().map(said).collect(),
        units: read
            .units
            .iter()
            .map(|of| format!("{}, unit {}: until {}", of.part, of.unit, read.moment(of.embargo_us)))
            .collect(),
        version: read.notes.version,
        embargo: field("embargo"),
        zone: field("zone"),
        settings: field("settings"),
        caches: field("caches"),
        order_of_run: field("order_of_run"),
        disclosure: field("disclosure"),
        reason: field("reason"),
    })
}

/// The embargo of a piece, until it ends, for the pages from which something leaves.
pub(super) async fn embargo(app: &App, piece: &Piece) -> Result<Option<pages::Embargo>> {
    let read = notes::read(&app.store, piece.id).await?;
    let now = app.clock.now_us();
    let zone = &piece.fields.deadline_zone;
    Ok(read.end().filter(|end| now < *end).map(|end| pages::Embargo {
        until: format::moment(at(end), zone),
        holds: read.holds(now),
        word: read.word().map(said),
        said: read.word().map_or_else(String::new, |word| format::moment(at(word.at_us), zone)),
    }))
}

fn said(said: &Said) -> SaidLine {
    SaidLine {
        says: said.says.to_string(),
        reason: said.reason.clone(),
        by: said.person.clone(),
        at: at(said.at_us),
    }
}
