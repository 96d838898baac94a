//! Uploads: a log's bytes by PUT, from a rig with its key or from a member's browser.

use std::error::Error as StdError;

use axum::Json;
use axum::body::Body;
use axum::extract::{Path, Query, State};
use axum::http::{HeaderMap, StatusCode, Uri};
use axum::response::{IntoResponse as _, Response};
use futures_util::{Stream, StreamExt as _};
use http_body_util::LengthLimitError;
use jiff::Timestamp;
use serde::{Deserialize, Serialize};
use tower_http::timeout::TimeoutError;
use weighhouse_measure::recording::{Kind as LogKind, Window};
use weighhouse_web::format;
use weighhouse_web::logs::{self, Log};
use weighhouse_web::paths;

use super::App;
use super::session::Uploader;
use crate::store::RigId;
use crate::store::captures::Outcome;
use crate::store::segments::SegmentRow;
use crate::work::take_in::Taken;
use crate::work::understood::Understood;
use crate::work::upload::{self, Said};
use crate::work::{Error, Kind, Refusal, Result};

/// What the query may say.
#[derive(Debug, Default, Deserialize)]
pub(super) struct Asked {
    #[serde(default)]
    start: String,
    #[serde(default)]
    rig: String,
    #[serde(default)]
    settings: String,
}

/// What is answered to a log that was taken.
#[derive(Debug, Serialize)]
struct Answer {
    /// In words, what was understood or what is asked.
    says: String,
    /// What to do next; empty when there is nothing.
    mend: String,
    capture: i64,
    digest: String,
    outcome: Outcome,
    /// Whether the same bytes were here before.
    already: bool,
    segments: Vec<Log>,
    /// Where a person answers the question, if there is one.
    #[serde(skip_serializing_if = "Option::is_none")]
    layout: Option<String>,
}

/// Takes a log: 201 when it is new, 200 when its bytes were here before.
pub(super) async fn take(
    State(app): State<App>,
    who: Uploader,
    Path(name): Path<String>,
    Query(asked): Query<Asked>,
    (uri, headers): (Uri, HeaderMap),
    body: Body,
) -> Result<Response> {
    let key = headers.get("idempotency-key").and_then(|key| key.to_str().ok());
    let said = Said {
        rig: rig_of(who.rig(), &asked.rig)?,
        start: asked.start.trim().to_owned(),
        settings: asked.settings.trim().to_owned(),
        key: key.map(|key| (key.to_owned(), uri.path().to_owned())),
        name: name.clone(),
    };
    let bytes = whole(body, name, app.config.limits.upload_bytes);
    let (taken, segments) = upload::upload(&app.store, &app.take_in, who.actor(), said, bytes).await?;
    let code = if taken.already { StatusCode::OK } else { StatusCode::CREATED };
    Ok((code, Json(answer(taken, segments))).into_response())
}

/// A key uploads for its `own` rig alone; a member may say which rig it was.
pub(super) fn rig_of(own: Option<RigId>, asked: &str) -> Result<Option<RigId>> {
    match (own, asked.trim()) {
        (own, "") => Ok(own),
        (own, asked) => match asked.parse().map(RigId) {
            Ok(id) if own.is_none_or(|own| own == id) => Ok(Some(id)),
            Ok(_) => Err(Refusal::not_allowed(
                "This key uploads for another rig.",
                "Leave 'rig' out: the key says which rig it is.",
            )
            .into()),
            Err(_) => Err(Refusal::field("rig", format!("'{asked}' is no number of a rig.")).into()),
        },
    }
}

/// The bytes of the body, with its errors in words.
fn whole(body: Body, name: String, most: usize) -> impl Stream<Item = Result<axum::body::Bytes>> {
    body.into_data_stream().map(move |piece| piece.map_err(|error| broken(&error, &name, most)))
}

fn broken(error: &axum::Error, name: &str, most: usize) -> Error {
    let mut cause: Option<&(dyn StdError + 'static)> = Some(error);
    while let Some(this) = cause {
        if this.is::<LengthLimitError>() {
            return too_large(name, most).into();
        }
        if this.is::<TimeoutError>() {
            return Refusal::new(
                Kind::TooSlow,
                "Too slow",
                format!("{name} stopped coming before it was whole."),
                "Send it again: nothing of it was kept.",
            )
            .into();
        }
        cause = this.source();
    }
    Refusal::new(
        Kind::Unreadable,
        "Not whole",
        format!("{name} did not arrive whole."),
        "Send it again: nothing of it was kept.",
    )
    .into()
}

/// More bytes than a log may have.
pub(super) fn too_large(name: &str, most: usize) -> Refusal {
    let most = format::bytes(u64::try_from(most).unwrap_or(u64::MAX));
    Refusal::new(
        Kind::TooLarge,
        "Too large",
        format!("{name} has more than the {most} that a log may have; nothing of it was kept."),
        "Send the part that is wanted, or pack it with gzip.",
    )
}

fn answer(taken: Taken, segments: Vec<Understood>) -> Answer {
    let Taken { capture, already, .. } = taken;
    let asks = capture.outcome == Outcome::Ask;
    let segments: Vec<Log> = segments.into_iter().map(log).collect();
    let mut says = if already {
        vec!["The same bytes are here already: one capture, kept once.".to_owned()]
    } else {
        Vec::new()
    };
    says.extend(segments.iter().map(|log| log.says.clone()));
    says.extend(Some(capture.says).filter(|says| !says.is_empty()));
    Answer {
        says: says.join(" "),
        mend: if asks { "Say on the intake page what its columns are.".to_owned() } else { String::new() },
        capture: capture.id.0,
        digest: capture.digest,
        outcome: capture.outcome,
        already,
        segments,
        layout: asks.then(|| paths::layout(capture.id.0)),
    }
}

/// A segment as the pages show it.
pub(super) fn log(read: Understood) -> Log {
    let Understood { segment, frames_ns, layout } = read;
    let frames = segment.kind == LogKind::Frames;
    let seconds = logs::seconds(if frames { frames_ns } else { segment.span_ns });
    let rows = u64::try_from(segment.rows).unwrap_or(0);
    Log {
        segment: segment.id.0,
        capture: segment.capture_id.0,
        file: file(&segment),
        kind: segment.kind,
        rows,
        seconds,
        average_fps: (frames && frames_ns > 0).then(|| logs::rate(rows, seconds)),
        wall_start: segment.wall_start_ns.and_then(|ns| Timestamp::from_nanosecond(ns.into()).ok()),
        says: String::new(),
        read: Vec::new(),
        layout: layout.columns,
        problems: segment.problems.0,
    }
    .said()
}

/// The file's name, with the one inside it and the number of the stretch where there are several.
pub(super) fn file(segment: &SegmentRow) -> String {
    let mut name = segment.capture.clone();
    if !segment.member.is_empty() {
        name = format!("{name} / {}", segment.member);
    }
    if segment.n > 0 {
        name = format!("{name}, stretch {}", segment.n + 1);
    }
    match segment.cut.window() {
        Some(Window { start_ns, end_ns }) => {
            format!("{name}, {} to {}", format::seconds_ns(start_ns), format::at_ns(end_ns))
        }
        None => name,
    }
}
