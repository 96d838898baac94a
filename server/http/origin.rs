//! Requests that another site makes in somebody's name are refused, and so are names that are not ours.
//!
//! The `Sec-Fetch-Site` and `Origin` checks are tower-http's `CsrfLayer` (see [`csrf`]). They let a request pass that
//! has neither header, as programs send it; with our cookie it is refused here, since every browser sends one of
//! them. The Host check stops a page whose name DNS leads to this machine ('DNS rebinding').

use axum::extract::{Request, State};
use axum::http::header::{COOKIE, HOST, ORIGIN};
use axum::middleware::Next;
use axum::response::{IntoResponse as _, Response};
use tower_http::csrf::{ConfigError, CsrfLayer, ProtectionError};

use super::{App, session};
use crate::config::Config;
use crate::work::{Error, Kind, Refusal};

/// The Host that a request names, without its port.
fn host(request: &Request) -> &str {
    let named = request.headers().get(HOST).and_then(|host| host.to_str().ok());
    let named = request.uri().authority().map(|authority| authority.as_str()).or(named).unwrap_or("");
    match named.rsplit_once(':') {
        Some((host, port)) if port.bytes().all(|byte| byte.is_ascii_digit()) => host,
        _ => named,
    }
}

/// Refuses requests for names that are not ours.
pub(super) async fn ours(State(app): State<App>, request: Request, next: Next) -> Response {
    let host = host(&request);
    if app.config.answers_to(host) {
        return next.run(request).await;
    }
    Error::from(Refusal::new(
        Kind::NotAllowed,
        "Not this address",
        format!("This service does not answer to the name '{host}'."),
        "Use the address that the server printed at its start, or start it with --public and the address people type.",
    ))
    .into_response()
}

/// Refuses a change that carries our cookie and none of the headers by which browsers say where it comes from.
pub(super) async fn said(request: Request, next: Next) -> Response {
    let headers = request.headers();
    let silent = !headers.contains_key(ORIGIN) && !headers.contains_key("sec-fetch-site");
    let ours = headers.get_all(COOKIE).iter().any(|c| c.to_str().is_ok_and(session::names_cookie));
    if silent && ours && !request.method().is_safe() {
        return elsewhere();
    }
    next.run(request).await
}

fn elsewhere() -> Response {
    Error::from(Refusal::not_allowed(
        "This request did not come from a page of this service.",
        "Open the page here and send the form from it; programs send no cookie but a key.",
    ))
    .into_response()
}

/// How [`csrf`] refuses.
pub(super) type Elsewhere = fn(ProtectionError) -> Response;

/// tower-http's check, refusing in our words and trusting the address that people type.
pub(super) fn csrf(config: &Config) -> Result<CsrfLayer<Elsewhere>, ConfigError> {
    let refuse: Elsewhere = |_| elsewhere();
    let layer = CsrfLayer::new().with_rejection_response(refuse);
    match &config.public {
        Some(public) => layer.add_trusted_origin(&public.origin),
        None => Ok(layer),
    }
}
