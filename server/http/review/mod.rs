//! Review: the queue of flagged passes, and rulings on them. What would tell the part stays out of its answers until
//! a pass is ruled.

mod page;

use axum::Json;
use axum::extract::{Query, State};
use axum::http::header::CONTENT_TYPE;
use axum::response::{IntoResponse as _, Response};
use serde::Deserialize;
use weighhouse_measure::measures::Measure;
use weighhouse_web::charts::{Strip, Theme};
use weighhouse_web::format::{self, Unit};
use weighhouse_web::pages::{Field, Undo};
use weighhouse_web::paths;

use super::App;
use super::pass::{former_window, own_window, seconds, undo};
use super::resources::Of;
use super::respond::{Wants, done, done_with, refill, respond};
use super::sent::Sent;
use super::session::{Member, SignedIn};
use crate::store::pieces::Piece;
use crate::store::rulings::Verdict;
use crate::work::pass::{WindowChange, move_window};
use crate::work::review::{self, Look, Reach, Ruled};
use crate::work::rule::{self, NewRuling};
use crate::work::{Error, Kind, Result, reasons};

/// Width of the strips in the page, before script asks for one that fits.
const WIDTH: u32 = 1080;

/// What to look at: a pass by its key (the worst one without), a stretch of it, seconds and pixels.
#[derive(Debug, Default, Deserialize)]
pub(super) struct Asked {
    pass: Option<String>,
    #[serde(default)]
    from: String,
    #[serde(default)]
    to: String,
    width: Option<u32>,
}

impl Asked {
    fn width(&self) -> u32 {
        self.width.unwrap_or(WIDTH).clamp(320, 4000)
    }

    fn look(&self) -> Result<Look<'_>> {
        let stretch = (seconds("from", &self.from)?, seconds("to", &self.to)?);
        Ok(Look { pass: self.pass.as_deref(), stretch, columns: Strip::columns(self.width()) })
    }
}

/// The page.
pub(super) async fn show(
    State(app): State<App>,
    who: SignedIn,
    wants: Wants,
    Of(piece): Of<Piece>,
    Query(asked): Query<Asked>,
) -> Result<Response> {
    respond(wants, &page::of(&app, &who, &piece, asked.look()?).await?)
}

/// The strips of a stretch of a pass as a picture, or its columns as JSON: shares of the cell's median.
pub(super) async fn strip(
    State(app): State<App>,
    _who: SignedIn,
    wants: Wants,
    Of(piece): Of<Piece>,
    Query(asked): Query<Asked>,
) -> Result<Response> {
    let (cell, key, shown) = review::zoom(&app.store, &piece, asked.look()?).await?;
    let strip = page::strips(&shown, &cell, &key, asked.width());
    Ok(match wants {
        Wants::Html => ([(CONTENT_TYPE, "image/svg+xml")], strip.svg(&Theme::LIGHT)).into_response(),
        Wants::Json => Json(strip).into_response(),
    })
}

/// Rules on a pass and on those like it where asked; the next one is up then. Or takes rulings back.
pub(super) async fn rule(
    State(app): State<App>,
    who: Member,
    wants: Wants,
    Of(piece): Of<Piece>,
    sent: Sent,
) -> Result<Response> {
    if sent.text("do") == UNDO {
        return take_back(&app, &who, wants, &piece, &sent).await;
    }
    let ruled = review::rule(&app.store, sent.by(&who), piece.id, asked(&sent)?).await;
    match ruled {
        Ok(ruled) => Ok(told(&who, wants, &piece.key, &ruled, &reason(&sent))),
        Err(Error::Refused(refusal)) if refusal.kind == Kind::Invalid => {
            let look = Asked { pass: Some(sent.text("pass").to_owned()), ..Asked::default() };
            let mut page = page::of(&app, &who, &piece, look.look()?).await?;
            page.usual = Field::of(sent.text("usual"));
            page.words = sent.field("reason", &refusal);
            page.reach = sent.text("reach").to_owned();
            refill(wants, &page, *refusal)
        }
        Err(error) => Err(error),
    }
}

/// The ruling of a form.
fn asked(sent: &Sent) -> Result<review::Sent> {
    let ruling = NewRuling {
        verdict: rule::verdict(sent.text("verdict"))?,
        reason: reason(sent),
        saw: saw(sent),
        version: sent.version()?,
    };
    let reach = Reach::of(sent.text("reach"));
    let others = match reach {
        Reach::Pass => 0,
        Reach::Cell => sent.read("alike-cell", "a number of passes")?,
        Reach::Scene => sent.read("alike-scene", "a number of passes")?,
    };
    Ok(review::Sent { key: sent.text("pass").to_owned(), ruling, reach, others })
}

async fn take_back(app: &App, who: &Member, wants: Wants, piece: &Piece, sent: &Sent) -> Result<Response> {
    sent.version()?;
    let keys = sent.all("pass").map(str::to_owned);
    let back: Vec<(String, i64)> = keys.zip(sent.numbers("version")?).collect();
    let first = back.first().map(|(key, _)| key.clone()).unwrap_or_default();
    let stand = review::undo(&app.store, sent.by(who), piece.id, back).await?;
    let to = paths::with_query(&paths::review(&piece.key), &[("pass", &first)]);
    let says = match &stand[..] {
        [one] => taken_back(*one),
        all => format!("Taken back on {} passes: each is as before.", all.len()),
    };
    Ok(done(who, wants, &to, says))
}

/// Gives the pass under review a window of its own; it stays up while it is flagged.
pub(super) async fn window(
    State(app): State<App>,
    who: Member,
    wants: Wants,
    Of(piece): Of<Piece>,
    sent: Sent,
) -> Result<Response> {
    let key = sent.text("pass");
    let changed = async {
        let (own, reason) = (own_window(&sent)?, sent.text("reason").to_owned());
        review::still_waits(&app.store, piece.id, key).await?;
        let change = WindowChange { own, reason, version: sent.version()? };
        move_window(&app.store, sent.by(&who), key, change).await
    };
    match changed.await {
        Ok(before) => {
            let waits = review::still_waits(&app.store, piece.id, key).await?;
            let says = format!(
                "The window is {}; {}",
                if sent.text("do") == "scene" { "the scene's again" } else { "moved" },
                if waits { "it is still flagged." } else { "nothing is flagged on it now." }
            );
            let to = paths::with_query(&paths::review(&piece.key), &[("pass", if waits { key } else { "" })]);
            let fields = [("pass", key.to_owned())].into_iter().chain(former_window(&before));
            Ok(done_with(&who, wants, &to, says, Some(undo(paths::review_window(&piece.key), fields))))
        }
        Err(Error::Refused(refusal)) if refusal.kind == Kind::Invalid => {
            let look = Asked { pass: Some(key.to_owned()), ..Asked::default() };
            let mut page = page::of(&app, &who, &piece, look.look()?).await?;
            page.shorten = ["from", "to", "reason"].map(|name| sent.field(name, &refusal));
            refill(wants, &page, *refusal)
        }
        Err(error) => Err(error),
    }
}

/// Keeps the team's own reasons.
pub(super) async fn keep_reasons(
    State(app): State<App>,
    who: Member,
    wants: Wants,
    Of(piece): Of<Piece>,
    sent: Sent,
) -> Result<Response> {
    reasons::keep(&app.store, sent.by(&who), sent.version()?, sent.raw("reasons")).await?;
    let to = paths::with_query(&paths::review(&piece.key), &[("pass", sent.text("pass"))]);
    Ok(done(&who, wants, &to, "The reasons are kept, for the whole team."))
}

/// What a form that takes a ruling back sends as `do`.
pub(super) const UNDO: &str = "undo";

/// Fields of the form that takes back the ruling of this version.
pub(super) fn undoing(version: i64) -> [(&'static str, String); 2] {
    [("do", UNDO.to_owned()), ("version", version.to_string())]
}

/// What stands after a ruling was taken back.
pub(super) fn taken_back(stands: Verdict) -> String {
    match stands {
        Verdict::Open => "Taken back: no ruling stands on the pass now.".to_owned(),
        stands => format!("Taken back: the ruling before it, '{stands}', stands again."),
    }
}

/// The chosen usual reason, the words behind it, or both.
pub(super) fn reason(sent: &Sent) -> String {
    let texts = [sent.text("usual"), sent.text("reason")];
    texts.into_iter().filter(|text| !text.is_empty()).collect::<Vec<_>>().join(": ")
}

/// Kinds of flag that the form showed, each once.
fn saw(sent: &Sent) -> Vec<String> {
    let mut saw: Vec<String> = sent.all("saw").map(str::to_owned).collect();
    saw.sort();
    saw.dedup();
    saw
}

/// Says what was ruled, on which parts, with undo; the next pass is up.
fn told(who: &SignedIn, wants: Wants, piece: &str, ruled: &Ruled, why: &str) -> Response {
    let review = paths::review(piece);
    let to = paths::with_query(&review, &[("pass", ruled.next.as_deref().unwrap_or(""))]);
    let fields = ruled.back.iter().flat_map(|(key, version)| {
        [("pass".to_owned(), key.clone()), ("version".to_owned(), version.to_string())]
    });
    let fields = fields.chain([("do".to_owned(), UNDO.to_owned())]).collect();
    let undo = (!ruled.back.is_empty()).then_some(Undo { action: review, fields });
    done_with(who, wants, &to, ruled_words(ruled, why), undo)
}

fn ruled_words(ruled: &Ruled, why: &str) -> String {
    let verb = match ruled.verdict {
        Verdict::Keep => "Kept",
        Verdict::SetAside => "Set aside",
        Verdict::RunAgain => "To be run again",
        Verdict::Open => "Opened again",
    };
    let settled = if ruled.settles { "Settled. " } else { "" };
    let why = if why.is_empty() { String::new() } else { format!(": {why}") };
    let on = match &ruled.on[..] {
        [one] => one.clone(),
        all => format!("{} passes ({})", all.len(), all.join("; ")),
    };
    let against = ruled.against.as_ref().map_or_else(String::new, |(by, verdict)| {
        format!(" {by} ruled '{verdict}' on it: both rulings stand until somebody settles them.")
    });
    let way = ruled.way.map_or_else(String::new, |(measure, ratio)| {
        let what = if measure == Measure::AverageFps { "average" } else { "low" };
        let way = match (ruled.verdict == Verdict::Keep, ratio > 1.0) {
            (true, true) => "would raise",
            (true, false) => "would lower",
            (false, true) => "raises",
            (false, false) => "lowers",
        };
        // The same share as stood in the queue, which takes no sides.
        let by = format::value((ratio.max(1.0 / ratio) - 1.0) * 100.0, Unit::Percent);
        format!(" Left out, it {way} its cell's {what}, by {by}.")
    });
    format!("{settled}{verb}: {on}{why}.{way}{against}")
}
