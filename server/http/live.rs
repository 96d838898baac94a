//! What changed, as it changes: one stream of server-sent events for a browser (WHATWG HTML, 9.2).
//!
//! An event's id is the number of the newest audit entry, so that a browser that comes back is told what it missed. The
//! stream ends when the server stops, and after a while anyway: who comes back is looked at anew.

use std::convert::Infallible;
use std::time::Duration;

use axum::extract::State;
use axum::http::HeaderMap;
use axum::response::sse::{Event, KeepAlive, Sse};
use futures_util::StreamExt as _;
use futures_util::stream::{self, Stream};
use serde::Serialize;
use tokio::sync::watch;
use tokio::time::sleep;

use super::App;
use super::session::SignedIn;
use crate::store::{Store, remark_steps};

/// A sign of life for proxies between.
const HEARTBEAT: Duration = Duration::from_secs(15);
/// A stream ends by itself after this.
const LONGEST: Duration = Duration::from_secs(300);
/// Entries that are told to a browser that comes back, at most.
const MISSED: i64 = 10_000;

/// What an event says.
#[derive(Debug, Serialize)]
struct Changed {
    /// Keys of the passes that something changed on.
    passes: Vec<String>,
}

/// The stream.
pub(super) async fn stream(
    State(app): State<App>,
    _who: SignedIn,
    headers: HeaderMap,
) -> Sse<impl Stream<Item = Result<Event, Infallible>>> {
    let head = app.store.head();
    let now = *head.borrow();
    let last = headers.get("last-event-id").and_then(|id| id.to_str().ok()?.parse().ok());
    let last = last.filter(|last| (now - MISSED..=now).contains(last)).unwrap_or(now);
    // The first event gives the browser a number to come back with.
    let hello = stream::once(async move { event(last, &Changed { passes: Vec::new() }) });
    let changes = stream::unfold((app.store.clone(), head, last), next);
    let events = hello.chain(changes).map(Ok).take_until(over(app.stopping.clone()));
    Sse::new(events).keep_alive(KeepAlive::new().interval(HEARTBEAT))
}

/// Waits for entries after `last`, and tells what they are about. The stream ends where the store cannot be read.
async fn next(
    (store, mut head, last): (Store, watch::Receiver<i64>, i64),
) -> Option<(Event, (Store, watch::Receiver<i64>, i64))> {
    let now = *head.wait_for(|now| *now > last).await.ok()?;
    let mut db = store.read().await.ok()?;
    let passes = remark_steps::touched(&mut db, last, now).await.ok()?;
    drop(db);
    Some((event(now, &Changed { passes }), (store, head, now)))
}

fn event(id: i64, changed: &Changed) -> Event {
    let text = serde_json::to_string(changed).unwrap_or_default();
    Event::default().id(id.to_string()).data(text)
}

/// When a stream has to end.
async fn over(mut stopping: watch::Receiver<bool>) {
    tokio::select! {
        _ = stopping.wait_for(|stopping| *stopping) => {}
        () = sleep(LONGEST) => {}
    }
}
