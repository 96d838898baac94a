//! The front door.

use axum::response::Response;
use weighhouse_web::paths;

use super::respond::see_other;
use super::session::SignedIn;

/// To the pieces; who is not signed in, to sign-in.
pub(super) async fn show(_who: SignedIn) -> Response {
    see_other(&paths::pieces())
}
