//! A capture's bytes, as they came.

use axum::body::Body;
use axum::extract::State;
use axum::http::header::{CONTENT_DISPOSITION, CONTENT_TYPE};
use axum::response::{IntoResponse as _, Response};
use weighhouse_web::paths;

use super::App;
use super::resources::Of;
use super::session::SignedIn;
use crate::store::captures::{self, Capture};

/// The file under the name it came with (RFC 6266, section 4.3; its encoding is that of RFC 8187).
pub(super) async fn download(State(app): State<App>, _who: SignedIn, Of(capture): Of<Capture>) -> Response {
    let headers = [
        (CONTENT_TYPE, "application/octet-stream".to_owned()),
        (CONTENT_DISPOSITION, format!("attachment; filename*=UTF-8''{}", paths::encode(&capture.name))),
    ];
    (headers, Body::from_stream(captures::bytes(app.store, capture.id))).into_response()
}
