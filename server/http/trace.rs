//! Each request has a number, in the log and in its answer, and is logged with its time.

use std::time::Instant;

use axum::extract::{Request, State};
use axum::http::{HeaderName, HeaderValue};
use axum::middleware::Next;
use axum::response::Response;
use tracing::Instrument as _;

use weighhouse_web::paths;

use super::App;
use super::failures::RequestId;

const NUMBER: HeaderName = HeaderName::from_static("x-request-id");

/// Numbers and logs a request. A number from outside is not believed: it goes into the log.
pub(super) async fn request(State(app): State<App>, mut request: Request, next: Next) -> Response {
    let id = app.chance.key().unwrap_or_default();
    request.extensions_mut().insert(RequestId(id.clone()));
    // The query stays out of the log: it may hold what people search for.
    let path = loggable(request.uri().path());
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

/// The path as it may stand in a log: an address that is itself the key (an invitation, the board of a rig, an edition handed over) lets in
/// whoever reads it, so only its kind is kept.
fn loggable(path: &str) -> &str {
    let page = path.strip_prefix(paths::API).unwrap_or(path);
    ["/invitations/", "/boards/", "/handed/"].into_iter().find(|kind| page.starts_with(kind)).unwrap_or(path)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn addresses_that_are_keys_stay_out_of_the_log() {
        assert_eq!(loggable("/boards/k3y"), "/boards/");
        assert_eq!(loggable("/api/v1/boards/k3y"), "/boards/");
        assert_eq!(loggable("/handed/k3y/methods"), "/handed/");
        assert_eq!(loggable("/invitations/k3y"), "/invitations/");
        assert_eq!(loggable("/api/v1/invitations/k3y"), "/invitations/");
        assert_eq!(loggable("/pieces/abc/plan"), "/pieces/abc/plan");
        assert_eq!(loggable("/api/v1/pieces/abc/boards/x"), "/api/v1/pieces/abc/boards/x");
    }
}
