//! Static files under their hashed names: kept by browsers for ever, since another content has another name.

use axum::extract::Path;
use axum::http::header::{CACHE_CONTROL, CONTENT_TYPE, ETAG, IF_NONE_MATCH};
use axum::http::{HeaderMap, StatusCode};
use axum::response::{IntoResponse as _, Response};
use weighhouse_web::assets;

use crate::work::{Refusal, Result};

/// One file.
pub(super) async fn show(Path(name): Path<String>, headers: HeaderMap) -> Result<Response> {
    let asset = assets::by_hashed_name(&name).ok_or_else(|| Refusal::missing("file", &name))?;
    let tag = format!("\"{}\"", asset.hashed);
    let known = headers.get(IF_NONE_MATCH).and_then(|tags| tags.to_str().ok());
    let keep = [(CACHE_CONTROL, assets::FOREVER.to_owned()), (ETAG, tag.clone())];
    if known.is_some_and(|tags| tags.split(',').any(|known| known.trim().trim_start_matches("W/") == tag)) {
        return Ok((StatusCode::NOT_MODIFIED, keep).into_response());
    }
    Ok((keep, [(CONTENT_TYPE, asset.mime)], asset.bytes.as_slice()).into_response())
}
