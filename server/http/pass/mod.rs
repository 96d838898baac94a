//! One pass: its page, its strip, and what people change on it.

mod chart;
mod history;
mod page;
pub(super) mod threads;

pub(super) use page::exact_s;

use axum::Json;
use axum::extract::{Path, Query, State};
use axum::http::header::CONTENT_TYPE;
use axum::response::{IntoResponse as _, Response};
use serde::Deserialize;
use weighhouse_measure::recording::{NS_PER_S, Placing, Window};
use weighhouse_web::charts::{Strip, Theme};
use weighhouse_web::pages::{self, Field, Undo};
use weighhouse_web::paths;

use super::App;
use super::respond::{Wants, done, done_with, refill, respond};
use super::review;
use super::sent::Sent;
use super::session::{Member, SignedIn};
use crate::store::CompanionId;
use crate::store::companions::PlacedBy;
use crate::work::pass::{self, FormerPlace, FormerWindow, Place, WindowChange};
use crate::work::rule::{self, NewRuling};
use crate::work::{Error, Kind, Refusal, Result};

/// Width of the strip in the page, before script asks for one that fits.
pub(super) const WIDTH: u32 = 1200;

/// In whose context a pass is seen.
#[derive(Debug, Default, Deserialize)]
pub(super) struct Asked {
    #[serde(default)]
    piece: String,
}

/// Which stretch of the strip, seconds and pixels.
#[derive(Debug, Default, Deserialize)]
pub(super) struct Stretch {
    #[serde(default)]
    pub(super) piece: String,
    #[serde(default)]
    pub(super) from: String,
    #[serde(default)]
    pub(super) to: String,
    pub(super) width: Option<u32>,
}

/// The page.
pub(super) async fn show(
    State(app): State<App>,
    who: SignedIn,
    wants: Wants,
    Path(key): Path<String>,
    Query(asked): Query<Asked>,
) -> Result<Response> {
    respond(wants, &page(&app, &who, &key, &asked.piece).await?)
}

async fn page(app: &App, who: &SignedIn, key: &str, piece: &str) -> Result<pages::Pass> {
    let read = pass::read(&app.store, key, piece).await?.ok_or_else(|| Refusal::missing("pass", key))?;
    let strips = pass::strips(&app.store, &read.evidence, key, (None, None), Strip::columns(WIDTH)).await?;
    let proposals = match read.pass() {
        Some((_, seen)) => pass::proposals(&app.store, seen).await?,
        None => Vec::new(),
    };
    page::of(app, who, (&read, &proposals), &chart::strip(&read.evidence, &strips, key, WIDTH))
}

/// The strip of a stretch as a picture, or its columns as JSON.
pub(super) async fn strip(
    State(app): State<App>,
    _who: SignedIn,
    wants: Wants,
    Path(key): Path<String>,
    Query(asked): Query<Stretch>,
) -> Result<Response> {
    let width = asked.width.unwrap_or(WIDTH).clamp(320, 4000);
    let stretch = (seconds("from", &asked.from)?, seconds("to", &asked.to)?);
    let (evidence, strips) =
        pass::zoom(&app.store, &key, &asked.piece, stretch, Strip::columns(width)).await?;
    let strip = chart::strip(&evidence, &strips, &key, width);
    Ok(match wants {
        Wants::Html => ([(CONTENT_TYPE, "image/svg+xml")], strip.svg(&Theme::LIGHT)).into_response(),
        Wants::Json => Json(strip).into_response(),
    })
}

/// The longest frame of a stretch, in words or as JSON.
pub(super) async fn frame(
    State(app): State<App>,
    _who: SignedIn,
    wants: Wants,
    Path(key): Path<String>,
    Query(asked): Query<Stretch>,
) -> Result<Response> {
    let (start_ns, end_ns) = (seconds("from", &asked.from)?, seconds("to", &asked.to)?);
    let stretch = Window { start_ns: start_ns.unwrap_or(0), end_ns: end_ns.unwrap_or(i64::MAX) };
    let found = pass::longest(&app.store, &key, stretch).await?;
    Ok(match wants {
        Wants::Html => chart::frame_says(&found).into_response(),
        Wants::Json => Json(found).into_response(),
    })
}

/// Rules on the pass; 'open' opens it again. Or takes the ruling that stands back.
pub(super) async fn ruling(
    State(app): State<App>,
    who: Member,
    wants: Wants,
    Path(key): Path<String>,
    Query(Asked { piece }): Query<Asked>,
    sent: Sent,
) -> Result<Response> {
    let to = paths::in_piece(&paths::pass(&key), &piece);
    if sent.text("do") == review::UNDO {
        let stands = rule::undo(&app.store, sent.by(&who), &key, sent.version()?).await?;
        return Ok(done(&who, wants, &to, review::taken_back(stands)));
    }
    let verdict = rule::verdict(sent.text("verdict"))?;
    let ruling = NewRuling {
        verdict,
        reason: sent.text("reason").to_owned(),
        saw: sent.all("saw").map(str::to_owned).collect(),
        version: sent.version()?,
    };
    match rule::rule(&app.store, sent.by(&who), &key, ruling).await {
        Ok(outcome) => {
            let action = paths::in_piece(&paths::pass_ruling(&key), &piece);
            let undo = undo(action, review::undoing(outcome.version));
            let beside = if outcome.disputed {
                " Another ruling stands beside it until they are settled."
            } else {
                ""
            };
            Ok(done_with(&who, wants, &to, format!("Ruled: {verdict}.{beside}"), Some(undo)))
        }
        Err(error) => {
            refilled(&app, &who, wants, (&key, &piece), error, |page, refusal| {
                page.ruling.written = sent.field("reason", refusal);
            })
            .await
        }
    }
}

/// Gives the pass its own window, or the scene's again.
pub(super) async fn window(
    State(app): State<App>,
    who: Member,
    wants: Wants,
    Path(key): Path<String>,
    Query(Asked { piece }): Query<Asked>,
    sent: Sent,
) -> Result<Response> {
    let changed = async {
        let change = WindowChange {
            own: own_window(&sent)?,
            reason: sent.text("reason").to_owned(),
            version: sent.version()?,
        };
        pass::move_window(&app.store, sent.by(&who), &key, change).await
    };
    match changed.await {
        Ok(before) => {
            let undo = undo(paths::in_piece(&paths::pass_window(&key), &piece), former_window(&before));
            let to = paths::in_piece(&paths::pass(&key), &piece);
            Ok(done_with(&who, wants, &to, "The window is moved; all measures follow it.", Some(undo)))
        }
        Err(error) => {
            refilled(&app, &who, wants, (&key, &piece), error, |page, refusal| {
                page.window.from = sent.field("from", refusal);
                page.window.to = sent.field("to", refusal);
                page.window.why = sent.field("reason", refusal);
            })
            .await
        }
    }
}

/// The window that a form asks for; none: the scene's.
pub(super) fn own_window(sent: &Sent) -> Result<Option<Window>> {
    if sent.text("do") == "scene" {
        return Ok(None);
    }
    let needed = |name| {
        seconds(name, sent.text(name))?
            .ok_or_else(|| Error::from(Refusal::field(name, "The time is missing; write seconds.")))
    };
    Ok(Some(Window { start_ns: needed("from")?, end_ns: needed("to")? }))
}

/// Writes a remark.
pub(super) async fn remark(
    State(app): State<App>,
    who: Member,
    wants: Wants,
    Path(key): Path<String>,
    Query(Asked { piece }): Query<Asked>,
    sent: Sent,
) -> Result<Response> {
    let written = async {
        let stretch = match (seconds("start", sent.text("start"))?, seconds("end", sent.text("end"))?) {
            (None, None) => None,
            (Some(start), Some(end)) => Some((start, end)),
            _ => {
                return Err(
                    Refusal::field("end", "A stretch has a start and an end; write both or none.").into()
                );
            }
        };
        pass::remark(&app.store, sent.by(&who), &key, stretch, sent.text("says")).await
    };
    match written.await {
        Ok(()) => Ok(done(&who, wants, &paths::in_piece(&paths::pass(&key), &piece), "The remark is kept.")),
        Err(error) => {
            refilled(&app, &who, wants, (&key, &piece), error, |page, refusal| {
                page.remark.says = sent.field("says", refusal);
                page.remark.start = sent.field("start", refusal);
                page.remark.end = sent.field("end", refusal);
            })
            .await
        }
    }
}

/// Places a companion by hand, or takes its placing back.
pub(super) async fn companion(
    State(app): State<App>,
    who: Member,
    wants: Wants,
    Path((key, companion)): Path<(String, i64)>,
    Query(Asked { piece }): Query<Asked>,
    sent: Sent,
) -> Result<Response> {
    let placed = async {
        let to = match sent.text("do") {
            "take back" => None,
            _ => Some(
                seconds("offset", sent.text("offset"))?
                    .ok_or_else(|| Refusal::field("offset", "The time is missing; write seconds."))?,
            ),
        };
        let drift_ppb = sent.read_if_any("drift_ppb", "a whole number")?.unwrap_or(0);
        let to = to.map(|offset_ns| Placing { offset_ns, drift_ppb });
        let by =
            PlacedBy::parse(sent.text("by")).filter(|by| *by != PlacedBy::Nobody).unwrap_or(PlacedBy::Hand);
        let place = Place { companion: CompanionId(companion), to, by, version: sent.version()? };
        pass::place(&app.store, sent.by(&who), &key, place).await
    };
    match placed.await {
        Ok(before) => {
            let action = paths::in_piece(&paths::pass_companion(&key, companion), &piece);
            let to = paths::in_piece(&paths::pass(&key), &piece);
            let undo = undo(action, former_place(&before));
            Ok(done_with(&who, wants, &to, "The companion is moved.", Some(undo)))
        }
        Err(error) => {
            refilled(&app, &who, wants, (&key, &piece), error, |page, refusal| {
                for one in page.companions.iter_mut().filter(|one| one.id == companion) {
                    one.offset = Field::wrong(sent.raw("offset"), refusal.wrong("offset"));
                }
            })
            .await
        }
    }
}

/// Fields that give a pass its former window again.
pub(super) fn former_window(former: &FormerWindow) -> Vec<(&'static str, String)> {
    let mut fields = vec![("version", former.version.to_string())];
    match former.own {
        Some(own) => fields.extend([
            ("from", page::exact_s(own.start_ns)),
            ("to", page::exact_s(own.end_ns)),
            ("reason", former.reason.clone()),
        ]),
        None => fields.push(("do", "scene".to_owned())),
    }
    fields
}

/// Fields that place a companion as it was.
fn former_place(former: &FormerPlace) -> Vec<(&'static str, String)> {
    let mut fields = vec![("version", former.version.to_string())];
    match former.to {
        Some(to) => fields.extend([
            ("offset", page::exact_s(to.offset_ns)),
            ("drift_ppb", to.drift_ppb.to_string()),
            ("by", former.by.to_string()),
        ]),
        None => fields.push(("do", "take back".to_owned())),
    }
    fields
}

pub(super) fn undo(action: String, fields: impl IntoIterator<Item = (&'static str, String)>) -> Undo {
    Undo { action, fields: fields.into_iter().map(|(name, value)| (name.to_owned(), value)).collect() }
}

/// The page again with what was written, where a field is wrong; any other error as it is.
async fn refilled(
    app: &App,
    who: &SignedIn,
    wants: Wants,
    (key, piece): (&str, &str),
    error: Error,
    fill: impl FnOnce(&mut pages::Pass, &Refusal),
) -> Result<Response> {
    match error {
        Error::Refused(refusal) if refusal.kind == Kind::Invalid => {
            let mut page = page(app, who, key, piece).await?;
            fill(&mut page, &refusal);
            refill(wants, &page, *refusal)
        }
        other => Err(other),
    }
}

/// Decimal seconds as whole nanoseconds; none where nothing is written.
pub(super) fn seconds(name: &'static str, text: &str) -> Result<Option<i64>> {
    if text.trim().is_empty() {
        return Ok(None);
    }
    exact_ns(text.trim()).map(Some).ok_or_else(|| {
        let says = format!("'{text}' is not a time in seconds; write digits with a point, such as 12.5.");
        Refusal::field(name, says).into()
    })
}

/// Exactly: no float in between, at most nine digits behind the point, at most ten days.
fn exact_ns(text: &str) -> Option<i64> {
    let (sign, text) = text.strip_prefix('-').map_or((1, text), |rest| (-1, rest));
    let (whole, part) = text.split_once('.').unwrap_or((text, ""));
    let digits = |text: &str| text.bytes().all(|b| b.is_ascii_digit());
    if whole.is_empty() || whole.len() > 6 || part.len() > 9 || !digits(whole) || !digits(part) {
        return None;
    }
    let whole: i64 = whole.parse().ok()?;
    let part: i64 = format!("{part:0<9}").parse().ok()?;
    Some(sign * (whole * NS_PER_S + part))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn seconds_become_whole_nanoseconds_and_come_back() {
        for (text, ns) in [("0", 0), ("12.5", 12_500_000_000), ("-0.000000001", -1), ("60", 60 * NS_PER_S)] {
            assert_eq!(exact_ns(text), Some(ns));
            assert_eq!(page::exact_s(ns), text);
        }
        for text in ["", "1e3", "12,5", "1.0000000001", "9999999", "soon", "--1", "."] {
            assert_eq!(exact_ns(text), None, "{text}");
        }
    }
}
