//! The draft of a piece: keeping its text, checking it while it is written, deciding on its numbers, taking it away.

use axum::extract::{Query, State};
use axum::http::header::{CONTENT_DISPOSITION, CONTENT_TYPE};
use axum::response::{IntoResponse as _, Response};
use serde::Deserialize;
use weighhouse_measure::draft::{Checked as Number, Link, remember};
use weighhouse_web::pages::{self, Field, NumberLine, TextLine, TextPiece, TextVersion};
use weighhouse_web::{paths, told};

use super::App;
use super::piece_frame::{at, in_piece, now};
use super::resources::Of;
use super::respond::{Wants, done, refill, respond};
use super::sent::Sent;
use super::session::{Member, SignedIn};
use crate::store::drafts::{self, DraftNumber, DraftText};
use crate::store::pieces::Piece;
use crate::work::draft::{self, Checked, Says, Text, export};
use crate::work::figures::ledger::{Ledger, ledger};
use crate::work::pack::file_name;
use crate::work::{Error, Kind, Refusal, Result};

/// Which number, of which version.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub(super) struct Asked {
    /// Place of the number, from 1.
    at: usize,
    /// The version; 0: the latest.
    version: i64,
}

/// The latest text with its numbers, or an older version.
pub(super) async fn show(
    State(app): State<App>,
    who: SignedIn,
    wants: Wants,
    Of(piece): Of<Piece>,
    Query(asked): Query<Asked>,
) -> Result<Response> {
    let read = ledger(&app.store, piece.id).await?;
    let latest = latest(&app, &piece).await?;
    let shown = if asked.version == 0 {
        latest.clone()
    } else {
        let mut db = app.store.read().await?;
        let found = drafts::version(&mut db, piece.id, asked.version).await?;
        Some(found.ok_or_else(|| Refusal::missing("version", asked.version))?)
    };
    let text = shown.as_ref().map_or_else(empty, Text::of);
    let kept = shown.map(|v| v.number) == latest.map(|v| v.number);
    respond(wants, &page(&app, &who, &read, (&text, kept), asked.at).await?)
}

fn empty() -> Text {
    Text { form: Default::default(), body: String::new() }
}

async fn latest(app: &App, piece: &Piece) -> Result<Option<DraftText>> {
    Ok(drafts::latest(&mut *app.store.read().await?, piece.id).await?)
}

/// Keeps the text as a new version.
pub(super) async fn keep(
    State(app): State<App>,
    who: Member,
    wants: Wants,
    Of(piece): Of<Piece>,
    sent: Sent,
) -> Result<Response> {
    let kept = match Text::read(sent.text("form"), sent.raw("body")) {
        Ok(text) => draft::keep(&app.store, sent.by(&who), piece.id, (sent.version()?, text)).await,
        Err(error) => Err(error),
    };
    match kept {
        Ok(number) => {
            let to = paths::draft(&piece.key);
            Ok(done(&who, wants, &to, format!("The text is kept as version {number}.")))
        }
        Err(Error::Refused(refusal)) if refusal.kind == Kind::Invalid => {
            let read = ledger(&app.store, piece.id).await?;
            let mut again = page(&app, &who, &read, (&empty(), false), 0).await?;
            again.form = sent.field("form", &refusal);
            again.body = sent.field("body", &refusal);
            refill(wants, &again, *refusal)
        }
        Err(error) => Err(error),
    }
}

/// Checks a text without keeping it.
pub(super) async fn check(
    State(app): State<App>,
    who: SignedIn,
    wants: Wants,
    Of(piece): Of<Piece>,
    sent: Sent,
) -> Result<Response> {
    let text = Text::read(sent.text("form"), sent.raw("body"))?;
    let read = ledger(&app.store, piece.id).await?;
    let kept = latest(&app, &piece).await?.is_some_and(|latest| latest.body == text.body);
    respond(wants, &page(&app, &who, &read, (&text, kept), 0).await?)
}

/// Keeps what a person says of a number.
pub(super) async fn decide(
    State(app): State<App>,
    who: Member,
    wants: Wants,
    Of(piece): Of<Piece>,
    sent: Sent,
) -> Result<Response> {
    let (says, told) = match sent.text("do") {
        "quotes" => (Says::Quotes(sent.text("link").to_owned()), "confirmed"),
        "leave" => (Says::Leave, "left alone"),
        "forget" => (Says::Forget, "suggested anew"),
        other => {
            let wrong = format!("'{other}' cannot be done; it is quotes, leave or forget.");
            return Err(Refusal::field("do", wrong).into());
        }
    };
    let text = |name: &str| sent.text(name).to_owned();
    let place = DraftNumber {
        number: text("number"),
        before: text("before"),
        behind: text("behind"),
        link: String::new(),
    };
    let next: usize = sent.read_if_any("at", "the place of a number")?.unwrap_or(1);
    let next = if says == Says::Leave { next } else { next + 1 };
    let number = place.number.clone();
    let read = ledger(&app.store, piece.id).await?;
    draft::decide(&app.store, sent.by(&who), &read, (place, says)).await?;
    Ok(done(&who, wants, &paths::draft_at(&piece.key, next), format!("'{number}' is {told}.")))
}

/// The text with footnotes.
pub(super) async fn notes(State(app): State<App>, _who: SignedIn, Of(piece): Of<Piece>) -> Result<Response> {
    let (text, checked, read) = checked(&app, &piece).await?;
    let head = read.head.to_string();
    Ok(file(&piece, "md", "text/markdown; charset=utf-8", export::notes(&text, &checked, &head)))
}

/// The numbers as a table.
pub(super) async fn table(State(app): State<App>, _who: SignedIn, Of(piece): Of<Piece>) -> Result<Response> {
    let (text, checked, _) = checked(&app, &piece).await?;
    Ok(file(&piece, "csv", "text/csv; charset=utf-8", export::table(&text, &checked)))
}

fn file(piece: &Piece, ending: &str, kind: &str, text: String) -> Response {
    let name = file_name(&format!("{} draft", piece.fields.name));
    let headers = [
        (CONTENT_TYPE, kind.to_owned()),
        (CONTENT_DISPOSITION, format!("attachment; filename=\"{name}.{ending}\"")),
    ];
    (headers, text).into_response()
}

async fn checked(app: &App, piece: &Piece) -> Result<(Text, Checked, Ledger)> {
    let read = ledger(&app.store, piece.id).await?;
    let version =
        latest(app, piece).await?.ok_or_else(|| Refusal::missing("draft of", &piece.fields.name))?;
    let text = Text::of(&version);
    let checked = draft::check(&app.store, &read, &text).await?;
    Ok((text, checked, read))
}

async fn page(
    app: &App,
    who: &SignedIn,
    read: &Ledger,
    (text, kept): (&Text, bool),
    place: usize,
) -> Result<pages::Draft> {
    let checked = draft::check(&app.store, read, text).await?;
    let evidence = &read.evidence;
    let versions = drafts::versions(&mut *app.store.read().await?, evidence.piece.id).await?;
    let known = &checked.known;
    let all = checked.report.numbers.iter().enumerate();
    let numbers: Vec<NumberLine> = all.map(|(n, one)| line(text, &checked, n + 1, one)).collect();
    let open = |line: &NumberLine| !line.confirmed || line.tone != told::Tone::Good;
    let first = numbers.iter().position(open).unwrap_or(0);
    Ok(pages::Draft {
        frame: in_piece(app, who, &evidence.piece, "Draft", evidence.to_review().count()),
        piece: evidence.piece.key.clone(),
        now: now(app),
        form: Field::of(text.form.key()),
        body: Field::of(&text.body),
        version: versions.first().map_or(0, |v| v.number),
        kept,
        at: place.checked_sub(1).map_or(first, |at| at.min(numbers.len().saturating_sub(1))),
        lines: lines(&text.body, &checked.report.numbers),
        numbers,
        left: u64::try_from(checked.report.left.len()).unwrap_or(u64::MAX),
        choices: known.iter().map(|k| (k.key.clone(), k.name.clone())).collect(),
        versions: versions
            .into_iter()
            .map(|v| TextVersion { number: v.number, by: v.person, at: at(v.at_us), digest: v.digest })
            .collect(),
        head: read.head.to_string(),
    })
}

fn line(text: &Text, checked: &Checked, n: usize, one: &Number) -> NumberLine {
    let known = &checked.known;
    let (number, before, behind) = remember::around(&text.body, &one.number.span);
    let verdict = one.judged.verdict;
    let href = match one.link {
        Some(Link::Figure(at)) => known.get(at).filter(|k| !k.measure.is_empty() && !k.key.contains('.')),
        _ => None,
    };
    NumberLine {
        n,
        number,
        before,
        behind,
        verdict: verdict.key().to_owned(),
        word: told::word(verdict).to_owned(),
        tone: told::Tone::of(verdict),
        says: export::says(known, one),
        link: one.link.map_or_else(String::new, |link| link.text(known)),
        figure: export::name(known, one.link),
        href: href.map_or_else(String::new, |k| paths::figure(&k.key)),
        confirmed: one.confirmed,
        suggested: one
            .suggested
            .iter()
            .map(|link| (link.text(known), export::name(known, Some(*link))))
            .collect(),
    }
}

/// The text line by line, each number a piece of its own; empty lines are left out.
fn lines(body: &str, numbers: &[Number]) -> Vec<TextLine> {
    let mut all = Vec::new();
    let mut start = 0;
    for text in body.split_inclusive('\n') {
        let end = start + text.len();
        let mut pieces = Vec::new();
        let mut from = start;
        let own = numbers.iter().enumerate().filter(|(_, one)| (start..end).contains(&one.number.span.start));
        for (n, one) in own {
            let span = one.number.span.start..one.number.span.end.min(end);
            pieces.push(TextPiece { text: body.get(from..span.start).unwrap_or("").to_owned(), n: 0 });
            pieces.push(TextPiece { text: body.get(span.clone()).unwrap_or("").to_owned(), n: n + 1 });
            from = span.end;
        }
        pieces.push(TextPiece { text: body.get(from..end).unwrap_or("").trim_end().to_owned(), n: 0 });
        pieces.retain(|piece| !piece.text.is_empty());
        if !text.trim().is_empty() {
            all.push(TextLine { pieces });
        }
        start = end;
    }
    all
}
