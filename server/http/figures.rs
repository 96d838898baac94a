//! The ledger of figures: making them, and proposing, agreeing and withdrawing one or many at once.

use axum::extract::{Query, State};
use axum::response::Response;
use serde::Deserialize;
use weighhouse_web::format;
use weighhouse_web::marks::Standing;
use weighhouse_web::pages::{self, Field, FigureLine, FigureNew, Frame, Undo};
use weighhouse_web::paths;

use super::App;
use super::figure::{blind, reader};
use super::piece_frame::{at, in_piece, now};
use super::resources::Of;
use super::respond::{Wants, done, done_with, refill, respond};
use super::sent::Sent;
use super::session::{From, Member, SignedIn};
use crate::store::figures::{FigureFields, Step};
use crate::store::pieces::Piece;
use crate::work::evidence::Evidence;
use crate::work::figures::ledger::{Ledger, Seen};
use crate::work::figures::state::{Agreeing, May, may_agree, may_propose};
use crate::work::figures::steps::{Asked, Steps, Suggested};
use crate::work::figures::{What, ledger, many, steps, value};
use crate::work::sign_in::{self, Try};
use crate::work::{Error, Kind, Refusal, Result, foot};

/// What a new figure is to be.
#[derive(Debug, Default, Deserialize)]
pub(super) struct NewAsked {
    #[serde(default)]
    what: String,
}

/// Which section of the ledger comes ticked: `lapsed`, `waiting` or `others`.
#[derive(Debug, Default, Deserialize)]
pub(super) struct Ticked {
    #[serde(default)]
    tick: String,
}

/// The ledger.
pub(super) async fn show(
    State(app): State<App>,
    who: SignedIn,
    wants: Wants,
    Of(piece): Of<Piece>,
    Query(ticked): Query<Ticked>,
) -> Result<Response> {
    let read = ledger::ledger(&app.store, piece.id).await?;
    let mut page = page(&app, &who, &read);
    page.tick(&ticked.tick);
    respond(wants, &page)
}

fn page(app: &App, who: &SignedIn, read: &Ledger) -> pages::Figures {
    let reader = reader(app, who, read);
    let mut figures: Vec<FigureLine> =
        read.figures.iter().map(|seen| line(&read.evidence, seen, reader)).collect();
    figures.sort_by_key(|line| (line.standing != Standing::Lapsed, line.standing != Standing::Proposed));
    pages::Figures {
        frame: frame(app, who, &read.evidence),
        piece: read.evidence.piece.key.clone(),
        now: now(app),
        figures,
        head: read.head.to_string(),
        asks_password: !who.typed_password_lately(),
        refused: String::new(),
    }
}

/// The frame of the figures' pages.
pub(super) fn frame(app: &App, who: &SignedIn, evidence: &Evidence) -> Frame {
    in_piece(app, who, &evidence.piece, "Figures", evidence.to_review().count())
}

/// A figure as a reader sees it in the ledger.
pub(super) fn line(evidence: &Evidence, seen: &Seen, reader: Agreeing) -> FigureLine {
    let state = &seen.state;
    let own = state.proposal.as_ref().is_some_and(|proposal| proposal.person_id == reader.person);
    let hidden = reader.working_alone && own && state.standing == Standing::Proposed;
    let lapsed = state.last().filter(|_| state.standing == Standing::Lapsed);
    FigureLine {
        key: seen.figure.key.clone(),
        name: seen.figure.fields.name.clone(),
        standing: state.standing,
        shown: seen.now.shown.clone().filter(|_| !hidden),
        interval: seen.valued.as_ref().filter(|_| !hidden).map_or_else(String::new, |v| v.interval_shown()),
        before: lapsed.map(|step| step.shown.clone()),
        changes: seen.changes.iter().map(|change| change.says.clone()).collect(),
        disputes: if hidden { Vec::new() } else { seen.disputes.clone() },
        ruled_out: if hidden { String::new() } else { foot::ruled_out(value::cells(evidence, &seen.what)) },
        proposed_by: state.proposal.as_ref().map(|step| step.person.clone()),
        agreed_by: state.agreed_by(),
        alone: state.alone(),
        at: seen.steps.last().map(|step| at(step.at_us)),
        digest: seen.now.digest.clone(),
        may_agree: seen.valued.is_some() && may_agree(state, &seen.now, reader) == May::Another,
        may_propose: seen.valued.is_some() && may_propose(state).is_ok(),
        hidden,
        ticked: false,
    }
}

/// The form for a figure of a number.
pub(super) async fn ask(
    State(app): State<App>,
    who: Member,
    wants: Wants,
    Of(piece): Of<Piece>,
    Query(asked): Query<NewAsked>,
) -> Result<Response> {
    let what = What::parse(&asked.what)?;
    let (evidence, suggested) = steps::suggest(&app.store, piece.id, &what).await?;
    respond(wants, &form(frame(&app, &who, &evidence), &piece, &what, &suggested))
}

fn form(frame: Frame, piece: &Piece, what: &What, suggested: &Suggested) -> FigureNew {
    let Suggested { valued, fields, method } = suggested;
    FigureNew {
        frame,
        piece: piece.key.clone(),
        what: what.json(),
        shown: valued.shown(fields.places),
        interval: valued.interval_shown(),
        method: method.clone(),
        marks: valued.marks.iter().map(|mark| mark.words().to_owned()).collect(),
        name: Field::of(&fields.name),
        places: Field::of(fields.places.to_string()),
        note: Field::default(),
    }
}

/// Makes a figure.
pub(super) async fn make(
    State(app): State<App>,
    who: Member,
    wants: Wants,
    Of(piece): Of<Piece>,
    sent: Sent,
) -> Result<Response> {
    let what = What::parse(sent.text("what"))?;
    let made = match typed(&sent) {
        Ok(fields) => {
            steps::make(&app.store, &app.chance, sent.by(&who), &piece, (what.clone(), fields)).await
        }
        Err(error) => Err(error),
    };
    match made {
        Ok(key) => Ok(done(&who, wants, &paths::figure(&key), "The figure is made; nobody proposed it yet.")),
        Err(Error::Refused(refusal)) if refusal.kind == Kind::Invalid => {
            let (evidence, suggested) = steps::suggest(&app.store, piece.id, &what).await?;
            let mut page = form(frame(&app, &who, &evidence), &piece, &what, &suggested);
            page.name = sent.field("name", &refusal);
            page.places = sent.field("places", &refusal);
            page.note = sent.field("note", &refusal);
            refill(wants, &page, *refusal)
        }
        Err(error) => Err(error),
    }
}

/// Name, places and note as typed.
pub(super) fn typed(sent: &Sent) -> Result<FigureFields> {
    Ok(FigureFields {
        name: sent.text("name").to_owned(),
        places: sent.read("places", "a whole number from 0 to 6")?,
        note: sent.text("note").to_owned(),
    })
}

/// Takes a step with the ticked figures: all or none.
pub(super) async fn step(
    State(app): State<App>,
    who: Member,
    wants: Wants,
    Of(piece): Of<Piece>,
    From(address): From,
    sent: Sent,
) -> Result<Response> {
    let asked = asked(&sent)?;
    let taken = match confirm(&app, &who, asked.step, address, &sent).await {
        Ok(()) => steps::take(&app.store, sent.by(&who), piece.id, asked.clone()).await,
        Err(error) => Err(error),
    };
    match taken {
        Ok(names) => Ok(told(&who, wants, &piece, &asked, &names)),
        Err(Error::Refused(refusal)) if refusal.kind == Kind::Invalid => {
            refused(&app, &who, wants, &piece, (&asked, &sent), *refusal).await
        }
        Err(error) => Err(error),
    }
}

/// Makes figures of the numbers of a table, or of its changes alone, and proposes them.
pub(super) async fn propose_many(
    State(app): State<App>,
    who: Member,
    wants: Wants,
    Of(piece): Of<Piece>,
    sent: Sent,
) -> Result<Response> {
    let values = sent.all("value").filter(|_| sent.text("do") == "all");
    let whats = sent.all("what").chain(values).map(What::parse).collect::<Result<Vec<What>>>()?;
    let many = many::propose_many(&app.store, &app.chance, sent.by(&who), piece.id, whats).await?;
    let figures = |n: usize| format::plural(u64::try_from(n).unwrap_or(u64::MAX), "figure", "figures");
    let mut says = format!("Proposed: {}", figures(many.proposed.len()));
    if many.made > 0 {
        says.push_str(&format!(", {} of them new", many.made));
    }
    if many.stood > 0 {
        says.push_str(&format!("; {} stood already", figures(many.stood)));
    }
    let undo = (!many.proposed.is_empty()).then(|| taken_back(&piece, &many.proposed));
    Ok(done_with(&who, wants, &paths::figures(&piece.key), format!("{says}."), undo))
}

/// A form that withdraws what was proposed just now.
fn taken_back(piece: &Piece, proposed: &[Asked]) -> Undo {
    let mut fields = vec![("do".to_owned(), Step::Withdraw.as_str().to_owned())];
    fields.extend(proposed.iter().map(|one| ("figure".to_owned(), format!("{} {}", one.key, one.digest))));
    Undo { action: paths::figure_steps(&piece.key), fields }
}

fn asked(sent: &Sent) -> Result<Steps> {
    let text = sent.text("do");
    let step = Step::parse(text).ok_or_else(|| {
        Refusal::field("do", format!("'{text}' cannot be done; it is propose, agree or withdraw."))
    })?;
    let figures = sent.all("figure").map(|tick| {
        let (key, digest) = tick.split_once(' ').unwrap_or((tick, ""));
        Asked { key: key.to_owned(), digest: digest.to_owned() }
    });
    Ok(Steps { step, figures: figures.collect(), typed: sent.text("typed").to_owned() })
}

/// An agreement asks for the password, unless it was typed within five minutes.
async fn confirm(app: &App, who: &SignedIn, step: Step, address: String, sent: &Sent) -> Result<()> {
    if step != Step::Agree || who.typed_password_lately() {
        return Ok(());
    }
    if sent.raw("password").is_empty() {
        let says = "Type your password to agree: it was not typed within the last five minutes.";
        return Err(Refusal::field("password", says).into());
    }
    let tried = Try { name: who.name().to_owned(), password: sent.raw("password").to_owned(), address };
    sign_in::type_again(&app.store, &app.passwords, who.browser(), who.id(), tried).await
}

fn told(who: &SignedIn, wants: Wants, piece: &Piece, asked: &Steps, names: &str) -> Response {
    let (verb, undo) = match asked.step {
        Step::Propose => ("Proposed", true),
        Step::Agree => ("Agreed", false),
        Step::Withdraw => ("Withdrawn", false),
    };
    let undo = undo.then(|| taken_back(piece, &asked.figures));
    let count = names.lines().count();
    let what = if count == 1 { names.to_owned() } else { format!("{count} figures") };
    done_with(who, wants, &paths::figures(&piece.key), format!("{verb}: {what}."), undo)
}

/// The form again with what was wrong: the second look for who works alone, else the ledger.
async fn refused(
    app: &App,
    who: &SignedIn,
    wants: Wants,
    piece: &Piece,
    (asked, sent): (&Steps, &Sent),
    refusal: Refusal,
) -> Result<Response> {
    let read = ledger::ledger(&app.store, piece.id).await?;
    if let ([one], false) = (asked.figures.as_slice(), sent.raw("typed").is_empty())
        && let Some(seen) = read.figure(&one.key)
    {
        let page = pages::FigureBlind { refused: refusal.says.clone(), ..blind(app, who, &read, seen) };
        return refill(wants, &page, refusal);
    }
    let mut page = page(app, who, &read);
    page.refused = refusal.says.clone();
    page.asks_password = !who.typed_password_lately();
    for line in &mut page.figures {
        line.ticked = asked.figures.iter().any(|one| one.key == line.key);
    }
    refill(wants, &page, refusal)
}
