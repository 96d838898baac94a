//! Long logs are cut into passes, companions at the passes that they were written beside.

use axum::Json;
use axum::extract::{Path, Query, State};
use axum::http::header::CONTENT_TYPE;
use axum::response::{IntoResponse as _, Response};
use weighhouse_measure::cuts::Looks;
use weighhouse_measure::recording::Window;
use weighhouse_web::charts::{Caption, Lane, Span, SpanKind, Strip, Theme};
use weighhouse_web::format::{self, Unit};
use weighhouse_web::pages::{self, CutLine};
use weighhouse_web::paths;

use super::App;
use super::lane;
use super::pass::{Stretch, WIDTH, exact_s, seconds, undo};
use super::resources::Of;
use super::respond::{Wants, done, done_with, refill, respond};
use super::sent::Sent;
use super::session::{Member, SignedIn};
use super::upload::file;
use crate::store::SegmentId;
use crate::store::pieces::Piece;
use crate::store::segments::SegmentRow;
use crate::work::cuts::{self, Cutting, Seen};
use crate::work::{Error, Refusal, Result};

/// What the form sends to put stretches back into their log.
const TOGETHER: &str = "together";

/// The page.
pub(super) async fn show(
    State(app): State<App>,
    who: SignedIn,
    wants: Wants,
    Of(log): Of<SegmentRow>,
    Query(asked): Query<Stretch>,
) -> Result<Response> {
    respond(wants, &page(&app, &who, log, asked.piece).await?)
}

async fn page(app: &App, who: &SignedIn, log: SegmentRow, piece: String) -> Result<pages::Cuts> {
    let cutting = cuts::read(&app.store, log).await?;
    let strip = drawn(app, &cutting, (None, None), WIDTH).await?;
    let whole = &cutting.whole;
    Ok(pages::Cuts {
        frame: who.frame("Pieces"),
        log: whole.id.0,
        file: file(whole),
        seconds: format::at_ns(whole.span_ns),
        end_s: exact_s(whole.span_ns),
        strip: strip.svg(&Theme::LIGHT),
        lines: cutting.stretches.iter().map(line).collect(),
        piece,
        more: (Default::default(), Default::default()),
        refused: String::new(),
    })
}

fn line(seen: &Seen) -> CutLine {
    let proposed = seen.proposed();
    let Window { start_ns, end_ns } = seen.stretch.window;
    let looks = match seen.stretch.looks {
        _ if seen.segment.is_some() => String::new(),
        Looks::Pass => "like a pass".to_owned(),
        Looks::Short => "too short for a pass".to_owned(),
        Looks::Unlike(times) => {
            let times = format::in_text(weighhouse_measure::draft::Kind::Times, times, 1);
            format!("{times} the rate of the others: a menu or a loading screen?")
        }
    };
    // Whole microseconds, which hold the same rows: no two frames begin within one.
    let end_us = end_ns.div_euclid(1000) + i64::from(end_ns % 1000 != 0);
    CutLine {
        from: exact_s(start_ns - start_ns.rem_euclid(1000)),
        to: exact_s(end_us * 1000),
        length: format::at_ns(end_ns - start_ns),
        frames: format::count(u64::try_from(seen.stretch.frames).unwrap_or(u64::MAX)),
        average: format::printed(seen.stretch.average_fps, 1, Unit::Fps),
        looks,
        ticked: proposed,
        cut: seen.segment.is_some(),
        in_use: seen.segment.as_ref().is_some_and(|segment| segment.pass_id.is_some()),
    }
}

/// The strip of a stretch as a picture, or its columns as JSON.
pub(super) async fn strip(
    State(app): State<App>,
    _who: SignedIn,
    wants: Wants,
    Of(log): Of<SegmentRow>,
    Query(asked): Query<Stretch>,
) -> Result<Response> {
    let width = asked.width.unwrap_or(WIDTH).clamp(320, 4000);
    let cutting = cuts::read(&app.store, log).await?;
    let stretch = (seconds("from", &asked.from)?, seconds("to", &asked.to)?);
    let strip = drawn(&app, &cutting, stretch, width).await?;
    Ok(match wants {
        Wants::Html => ([(CONTENT_TYPE, "image/svg+xml")], strip.svg(&Theme::LIGHT)).into_response(),
        Wants::Json => Json(strip).into_response(),
    })
}

async fn drawn(
    app: &App,
    cutting: &Cutting,
    (from, to): (Option<i64>, Option<i64>),
    width: u32,
) -> Result<Strip> {
    let whole = &cutting.whole;
    let shown = Window { start_ns: from.unwrap_or(0), end_ns: to.unwrap_or(whole.span_ns) };
    if shown.start_ns < 0 || shown.length_ns() <= 0 {
        return Err(
            Refusal::field("to", "The stretch must end after it begins, and begin at 0 or later.").into()
        );
    }
    let px = Strip::columns(width);
    let columns = cuts::strip(&app.store, whole.id, shown, px).await?;
    let lane = Lane {
        name: "Frame time".to_owned(),
        note: file(whole),
        unit: Unit::Ms,
        series: 0,
        slim: false,
        columns: lane::filled(&columns, px, |ns| ns as f64 / 1e6),
        window_ns: None,
        spans: cutting.stretches.iter().enumerate().map(|(n, seen)| span(n + 1, seen)).collect(),
        ghosts: Vec::new(),
    };
    Ok(Strip {
        caption: caption(),
        from_ns: shown.start_ns,
        to_ns: shown.end_ns,
        width,
        cut: None,
        lanes: vec![lane],
    })
}

fn caption() -> Caption {
    Caption {
        id: "cuts-strip".to_owned(),
        subtitle: "Least and most frame time of each pixel".to_owned(),
        desc: "Frame times of the log over time; the table below says the same of its stretches".to_owned(),
        ..Caption::default()
    }
}

/// A stretch that was cut out, or one that could be.
fn span(n: usize, seen: &Seen) -> Span {
    let Window { start_ns, end_ns } = seen.stretch.window;
    let mut says = n.to_string();
    if seen.segment.is_some() {
        says += " cut out";
    } else if !seen.proposed() {
        says += " left";
    }
    Span { kind: SpanKind::Stretch, start_ns, end_ns, says }
}

/// Cuts the ticked stretches out; or puts them back.
pub(super) async fn cut(
    State(app): State<App>,
    who: Member,
    wants: Wants,
    Of(log): Of<SegmentRow>,
    sent: Sent,
) -> Result<Response> {
    let piece = sent.text("piece").to_owned();
    let here = paths::in_piece(&paths::cuts(log.id.0), &piece);
    if sent.text("do") == TOGETHER {
        let only = sent.numbers("segment")?.into_iter().map(SegmentId).collect();
        app.take_in.join(sent.by(&who), log.id, only).await?;
        return Ok(done(&who, wants, &here, "Put back into the log."));
    }
    let made = match ticked(&sent) {
        Ok(stretches) => app.take_in.cut(sent.by(&who), log.id, stretches).await,
        Err(error) => Err(error),
    };
    match made {
        Ok(made) => {
            let n = u64::try_from(made.len()).unwrap_or(u64::MAX);
            let says = format!(
                "{} cut out. {} for a cell now.",
                format::plural(n, "stretch", "stretches"),
                if n == 1 { "It waits" } else { "They wait" }
            );
            let to = if piece.is_empty() { here } else { paths::intake(&piece) };
            let these = made.into_iter().map(|id| ("segment", id.0.to_string()));
            let fields = [("do", TOGETHER.to_owned()), ("piece", piece)].into_iter().chain(these);
            let back = undo(paths::cuts(log.id.0), fields);
            Ok(done_with(&who, wants, &to, says, Some(back)))
        }
        Err(Error::Refused(refusal)) if !refusal.fields.is_empty() => {
            let page = page(&app, &who, log, piece).await?.refused(sent.pairs(), &refusal.says);
            refill(wants, &page, *refusal)
        }
        Err(error) => Err(error),
    }
}

/// The ticked stretches of the form, and the one that was added.
fn ticked(sent: &Sent) -> Result<Vec<Window>> {
    let mut stretches = Vec::new();
    let mut ticks: Vec<&str> = sent.all("take").collect();
    if !sent.text("from-more").is_empty() || !sent.text("to-more").is_empty() {
        ticks.push("more");
    }
    for tick in ticks {
        let at = |end: &'static str| {
            let found = seconds(end, sent.text(&format!("{end}-{tick}")))?;
            found.ok_or_else(|| {
                Error::from(Refusal::field(end, "A stretch has a start and an end; write both."))
            })
        };
        let stretch = Window { start_ns: at("from")?, end_ns: at("to")? };
        if stretch.start_ns < 0 || stretch.length_ns() <= 0 {
            let says = format!(
                "The stretch from {} to {} s must end after it begins, and begin at 0 or later.",
                exact_s(stretch.start_ns),
                exact_s(stretch.end_ns)
            );
            return Err(Refusal::field("to", says).into());
        }
        stretches.push(stretch);
    }
    Ok(stretches)
}

/// Rests a pass on a stretch of its log, or on all of it again.
pub(super) async fn pass(
    State(app): State<App>,
    who: Member,
    wants: Wants,
    Path(key): Path<String>,
    Query(Stretch { piece, .. }): Query<Stretch>,
    sent: Sent,
) -> Result<Response> {
    let to = paths::in_piece(&paths::pass(&key), &piece);
    let version = sent.version()?;
    if sent.text("do") == TOGETHER {
        app.take_in.join_pass(sent.by(&who), key, version).await?;
        return Ok(done(&who, wants, &to, "The pass is its whole log again."));
    }
    let needed = |name| {
        let found = seconds(name, sent.text(name))?;
        found.ok_or_else(|| {
            Error::from(Refusal::field(name, "The time is missing; mark a stretch or write seconds."))
        })
    };
    let stretch = Window { start_ns: needed("cut-from")?, end_ns: needed("cut-to")? };
    if stretch.start_ns < 0 || stretch.length_ns() <= 0 {
        let says = "The stretch must end after it begins, and begin within the pass.";
        return Err(Refusal::field("cut-to", says).into());
    }
    let version = app.take_in.cut_pass(sent.by(&who), key.clone(), version, stretch).await?;
    let fields = [("do", TOGETHER.to_owned()), ("version", version.to_string())];
    let back = undo(paths::in_piece(&paths::pass_cut(&key), &piece), fields);
    let says = "The pass is this stretch of its log now; all measures follow it.";
    Ok(done_with(&who, wants, &to, says, Some(back)))
}

/// Gives each pass of the piece that ran beside a companion its stretch of it.
pub(super) async fn beside(
    State(app): State<App>,
    who: Member,
    wants: Wants,
    Of(piece): Of<Piece>,
    sent: Sent,
) -> Result<Response> {
    let segment = SegmentId(sent.read("segment", "a number of a log segment")?);
    let n = app.take_in.cut_beside(sent.by(&who), &piece, segment).await?;
    let passes = format::plural(u64::try_from(n).unwrap_or(u64::MAX), "pass has", "passes have");
    Ok(done(
        &who,
        wants,
        &paths::intake(&piece.key),
        format!("{passes} a companion now, placed by the wall clocks."),
    ))
}
