//! A handler that panics costs one answer, not the server.

use std::any::Any;

use axum::response::{IntoResponse as _, Response};

use crate::work::{Error, Internal};

/// The answer to a panic: an internal error like any other.
pub(super) fn answer(panic: Box<dyn Any + Send>) -> Response {
    let text = panic
        .downcast_ref::<String>()
        .map(String::as_str)
        .or_else(|| panic.downcast_ref::<&str>().copied())
        .unwrap_or("no message");
    Error::from(Internal(format!("panicked: {text}"))).into_response()
}
