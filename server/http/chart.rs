//! Charts alone: as drafts, because only a pack holds what was agreed on.

use axum::http::header::CONTENT_TYPE;
use axum::response::{IntoResponse as _, Response};
use weighhouse_web::charts::Theme;

use super::sent::Sent;
use crate::work::{Kind, Refusal, Result};

/// A picture as an answer.
pub(super) fn picture(svg: String) -> Response {
    ([(CONTENT_TYPE, "image/svg+xml")], svg).into_response()
}

/// The theme that an address names; light where it names none.
///
/// # Errors
/// Refused when there is none of that name.
pub(super) fn theme(query: &Sent) -> Result<&'static Theme> {
    let named = query.text("theme");
    let wanted = if named.is_empty() { "light" } else { named };
    let found = Theme::ALL.iter().find(|(name, _)| *name == wanted).map(|(_, theme)| theme);
    found.ok_or_else(|| {
        let says = format!("'{named}' is no theme of a chart.");
        Refusal::new(Kind::Invalid, "Not drawn", says, "It is light, dark or print.").into()
    })
}
