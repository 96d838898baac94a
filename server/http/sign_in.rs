//! Signing in and out.

use axum::extract::{Query, State};
use axum::http::HeaderMap;
use axum::http::header::SET_COOKIE;
use axum::response::{IntoResponse as _, Response};
use serde::Deserialize;
use weighhouse_web::pages::{Field, Frame, SignIn};
use weighhouse_web::paths;

use super::App;
use super::respond::{Wants, refill, respond, see_other};
use super::sent::Sent;
use super::session::{self, From};
use crate::chance::Token;
use crate::store::Actor;
use crate::work::sign_in::{self, Try};
use crate::work::{Error, Refusal, Result};

/// Where to go afterwards.
#[derive(Debug, Deserialize)]
pub(super) struct Asked {
    #[serde(default)]
    next: String,
}

fn form(app: &App, next: &str) -> SignIn {
    SignIn {
        frame: Frame { warnings: app.config.warnings(), ..Frame::default() },
        name: Field::default(),
        next: next.to_owned(),
        refused: String::new(),
    }
}

/// The form.
pub(super) async fn show(
    State(app): State<App>,
    wants: Wants,
    Query(asked): Query<Asked>,
) -> Result<Response> {
    respond(wants, &form(&app, &asked.next))
}

/// Signs in with a new session, whatever cookie came along, and ends the old one.
pub(super) async fn sign_in(
    State(app): State<App>,
    wants: Wants,
    From(address): From,
    headers: HeaderMap,
    sent: Sent,
) -> Result<Response> {
    let tried =
        Try { name: sent.text("name").to_owned(), password: sent.raw("password").to_owned(), address };
    match sign_in::sign_in(&app.store, &app.passwords, &app.chance, tried).await {
        Ok(token) => {
            if let Some(old) = session::cookie_hash(&app, &headers) {
                sign_in::sign_out(&app.store, Actor::Server, old).await?;
            }
            with_cookie(&app, Some(&token), inside(sent.text("next")))
        }
        Err(Error::Refused(refusal)) => {
            let mut page = form(&app, sent.text("next"));
            page.name = sent.field("name", &refusal);
            let Refusal { says, mend, .. } = &*refusal;
            page.refused = format!("{says} {mend}");
            refill(wants, &page, *refusal)
        }
        Err(error) => Err(error),
    }
}

/// Signs this browser out.
pub(super) async fn sign_out(State(app): State<App>, headers: HeaderMap) -> Result<Response> {
    if let Some(hash) = session::cookie_hash(&app, &headers) {
        app.take_flash(&hash);
        sign_in::sign_out(&app.store, Actor::Server, hash).await?;
    }
    with_cookie(&app, None, paths::sign_in())
}

/// To `to` with a new session, or with none.
pub(super) fn with_cookie(app: &App, token: Option<&Token>, to: String) -> Result<Response> {
    Ok(([(SET_COOKIE, session::set_cookie(app, token)?)], see_other(&to)).into_response())
}

/// Only an address within the service; anything else leads to the pieces.
fn inside(next: &str) -> String {
    let own = next.starts_with('/') && !next.starts_with("//") && !next.contains(['\\', '\r', '\n', '\t']);
    if own && !next.starts_with(paths::API) { next.to_owned() } else { paths::pieces() }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nobody_is_led_outside_after_signing_in() {
        assert_eq!(inside("/passes/k3v9?from=1"), "/passes/k3v9?from=1");
        for outside in
            ["", "//evil.example", "https://evil.example", "/\\evil.example", "javascript:1", "/a\nb"]
        {
            assert_eq!(inside(outside), paths::pieces(), "{outside}");
        }
    }
}
