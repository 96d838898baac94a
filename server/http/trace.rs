//! Each request has a number, in the log and in its answer, and is logged with its time.

use std::time::Instant;

use axum::extract::{Request, State};
use axum::http::{HeaderName, HeaderValue};
use axum::middleware::Next;
use axum::response::Response;
use tracing::Instrument as _;

use super::App;
use super::failures::RequestId;

const NUMBER: HeaderName = HeaderName::from_static("x-request-id");

/// Numbers and logs a request. A number from outside is not believed: it goes into the log.
pub(super) async fn request(State(app): State<App>, mut request: Request, next: Next) -> Response {
    let id = app.chance.key().unwrap_or_default();
    request.extensions_mut().insert(RequestId(id.clone()));
    // The query stays out of the log: it may hold what people search for.
    let path = request.uri().path();
    let path = if path.starts_with("/invitations/") { "/invitations/..." } else { path };
    let span = tracing::info_span!("request", id, method = %request.method(), path);
    let began = Instant::now();
    let mut response = next.run(request).instrument(span.clone()).await;
    let ms = began.elapsed().as_millis();
    span.in_scope(|| tracing::info!(status = response.status().as_u16(), ms, "answered"));
    if let Ok(id) = HeaderValue::from_str(&id) {
        response.headers_mut().insert(NUMBER, id);
    }
    response
}
