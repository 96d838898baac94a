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

#[cfg(test)]
mod tests {
    use axum::Router;
    use axum::body::Body;
    use axum::extract::Request;
    use axum::routing::get;
    use tower::ServiceExt as _;
    use tower_http::catch_panic::CatchPanicLayer;

    async fn fails() -> &'static str {
        panic!("on purpose")
    }

    #[tokio::test]
    async fn a_panic_is_an_internal_error() {
        let router = Router::new().route("/", get(fails)).layer(CatchPanicLayer::custom(super::answer));
        let answer = router.oneshot(Request::new(Body::empty())).await.unwrap();
        assert_eq!(answer.status(), 500);
    }
}
