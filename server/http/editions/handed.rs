//! An edition opened by its address, without a sign-in and without a way into anything else.

use axum::extract::{Path, State};
use axum::response::Response;
use weighhouse_web::pages::Frame;
use weighhouse_web::paths;

use super::{methods_of, told};
use crate::http::App;
use crate::http::piece_frame::{at, now};
use crate::http::respond::{Wants, respond};
use crate::work::Result;
use crate::work::editions::{self, Handed};
use crate::work::notes::may_leave;

/// The edition.
pub(in crate::http) async fn show(
    State(app): State<App>,
    wants: Wants,
    Path(token): Path<String>,
) -> Result<Response> {
    let handed = open(&app, &token).await?;
    let mut page = told(&handed.edition, &handed.frozen);
    page.frame = Frame { warnings: app.config.warnings(), ..Frame::default() };
    page.zone = "UTC".to_owned();
    page.now = now(&app);
    page.methods = paths::handed_methods(&token);
    page.until = Some(at(handed.expires_us));
    respond(wants, &page)
}

/// Its methods page.
pub(in crate::http) async fn methods(State(app): State<App>, Path(token): Path<String>) -> Result<Response> {
    Ok(methods_of(&open(&app, &token).await?.frozen))
}

/// The edition of a link, unless its piece is under embargo.
async fn open(app: &App, token: &str) -> Result<Handed> {
    let handed = editions::open(&app.store, token).await?;
    may_leave(&app.store, handed.edition.piece_id, app.clock.now_us()).await?;
    Ok(handed)
}
