//! Whether the service and its store answer, for whoever watches it.

use axum::extract::State;

use super::App;
use crate::work::Result;

/// `ok` when a read of the store works.
pub(super) async fn show(State(app): State<App>) -> Result<&'static str> {
    drop(app.store.read().await?);
    Ok("ok\n")
}
