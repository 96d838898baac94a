//! Answers: the same page value as HTML or, under `/api/v1`, as JSON.

use std::convert::Infallible;

use axum::Json;
use axum::extract::FromRequestParts;
use axum::http::header::LOCATION;
use axum::http::request::Parts;
use axum::http::{HeaderValue, StatusCode};
use axum::response::{Html, IntoResponse as _, Response};
use serde_json::json;
use weighhouse_web::pages::{Flash, Page, Undo};
use weighhouse_web::paths;

use super::session::SignedIn;
use super::{App, failures};
use crate::work::{Internal, Refusal, Result};

/// What the sender reads.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Wants {
    /// A person's browser.
    Html,
    /// A program: everything under `/api/v1`.
    Json,
}

impl Wants {
    /// By the path alone, so that one address always answers in one form.
    pub(super) fn of(path: &str) -> Self {
        if path.strip_prefix(paths::API).is_some_and(|rest| rest.is_empty() || rest.starts_with('/')) {
            Self::Json
        } else {
            Self::Html
        }
    }
}

impl FromRequestParts<App> for Wants {
    type Rejection = Infallible;

    async fn from_request_parts(parts: &mut Parts, _: &App) -> std::result::Result<Self, Infallible> {
        Ok(parts.extensions.get().copied().unwrap_or_else(|| Self::of(parts.uri.path())))
    }
}

/// The page, in the form that is wanted.
///
/// # Errors
/// When the template fails.
pub fn respond<P: Page>(wants: Wants, page: &P) -> Result<Response> {
    match wants {
        Wants::Html => Ok(Html(html(page)?).into_response()),
        Wants::Json => Ok(Json(page).into_response()),
    }
}

/// A page as HTML.
///
/// # Errors
/// When the template fails.
pub fn html<P: Page>(page: &P) -> Result<String> {
    Ok(page.html().map_err(|e| Internal(e.to_string()))?)
}

/// The form again with what was written and what is wrong with it; to a program, the refusal alone.
///
/// # Errors
/// The refusal itself when JSON is wanted; when the template fails.
pub fn refill<P: Page>(wants: Wants, page: &P, refusal: Refusal) -> Result<Response> {
    match wants {
        Wants::Html => Ok(failures::said(&refusal, respond(wants, page)?)),
        Wants::Json => Err(refusal.into()),
    }
}

/// After a change: 303 to `to`, whose page says what was done; to a program 201 with the address of what was made.
pub fn done(who: &SignedIn, wants: Wants, to: &str, says: impl Into<String>) -> Response {
    done_with(who, wants, to, says, None)
}

/// The same with a way to take it back.
pub fn done_with(
    who: &SignedIn,
    wants: Wants,
    to: &str,
    says: impl Into<String>,
    undo: Option<Undo>,
) -> Response {
    let says = says.into();
    match wants {
        Wants::Html => {
            who.say(Flash { says, undo });
            see_other(to)
        }
        Wants::Json => {
            let to = paths::api(to);
            let body = Json(json!({ "says": says, "location": to }));
            (StatusCode::CREATED, location(&to), body).into_response()
        }
    }
}

/// 303: look there.
pub fn see_other(to: &str) -> Response {
    (StatusCode::SEE_OTHER, location(to)).into_response()
}

/// Addresses come from `paths`, which encodes them; anything else leads to the front door.
fn location(to: &str) -> [(axum::http::HeaderName, HeaderValue); 1] {
    [(LOCATION, HeaderValue::from_str(to).unwrap_or(HeaderValue::from_static("/")))]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_path_alone_says_what_is_wanted() {
        assert_eq!(Wants::of("/api/v1/pieces"), Wants::Json);
        assert_eq!(Wants::of("/api/v1"), Wants::Json);
        assert_eq!(Wants::of("/api/v10"), Wants::Html);
        assert_eq!(Wants::of("/pieces"), Wants::Html);
    }
}
