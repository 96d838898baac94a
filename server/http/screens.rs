//! Which screens a piece runs and how strict, with what a choice would do.

use axum::extract::State;
use axum::response::Response;
use weighhouse_measure::screens::{FlagKind, Strictnesses};
use weighhouse_web::pages::{ScreenChange, ScreenLine, Screens, Undo};
use weighhouse_web::paths;

use super::App;
use super::piece_frame::in_piece;
use super::resources::Of;
use super::respond::{Wants, done_with, respond};
use super::sent::{Asked, Sent};
use super::session::{Member, SignedIn};
use crate::store::pieces::Piece;
use crate::work::screens::{self, Changed, Preview};
use crate::work::{Result, review};

/// The choice as it stands; with another one in the query, what that would do.
pub(super) async fn show(
    State(app): State<App>,
    who: SignedIn,
    wants: Wants,
    Of(piece): Of<Piece>,
    Asked(asked): Asked,
) -> Result<Response> {
    let tried = asked.names().any(|name| FlagKind::from_key(name).is_some());
    let choice = if tried { Some(screens::read(|key| asked.text(key))?) } else { None };
    let read = Preview::read(&app.store, piece.id, choice).await?;
    let frame = in_piece(&app, &who, &piece, "Review", read.now.to_review().count());
    let count = |n| u64::try_from(n).unwrap_or(u64::MAX);
    let (waiting, would_wait) = read.waiting();
    respond(
        wants,
        &Screens {
            frame,
            piece: piece.key,
            version: read.now.screens_version,
            tried,
            passes: count(read.now.passes().count()),
            waiting: count(waiting),
            would_wait: count(would_wait),
            screens: read.counts().into_iter().map(|counts| line(&read, counts)).collect(),
            changes: read.changed().iter().map(|changed| change(&read, changed)).collect(),
        },
    )
}

/// Keeps a choice.
pub(super) async fn save(
    State(app): State<App>,
    who: Member,
    wants: Wants,
    Of(piece): Of<Piece>,
    sent: Sent,
) -> Result<Response> {
    let choice = screens::read(|key| sent.text(key))?;
    let before = Preview::read(&app.store, piece.id, None).await?.now.screens;
    let version = screens::keep(&app.store, sent.by(&who), piece.id, sent.version()?, &choice).await?;
    let to = paths::screens(&piece.key);
    let undo = Undo { action: to.clone(), fields: fields(&before, version) };
    Ok(done_with(&who, wants, &to, "The screens run so from now on.", Some(undo)))
}

fn fields(choice: &Strictnesses, version: i64) -> Vec<(String, String)> {
    let each = FlagKind::ALL.map(|kind| (kind.key().to_owned(), choice.at(kind).key().to_owned()));
    each.into_iter().chain([("version".to_owned(), version.to_string())]).collect()
}

fn line(read: &Preview, (kind, now, then): (FlagKind, usize, usize)) -> ScreenLine {
    let count = |n| u64::try_from(n).unwrap_or(u64::MAX);
    ScreenLine {
        key: kind.key(),
        name: kind.name(),
        kept: read.now.screens.at(kind).key(),
        chosen: read.then.screens.at(kind).key(),
        now: count(now),
        then: count(then),
    }
}

/// Told without the part, as in the queue: who reads it may rule on the pass next.
fn change(read: &Preview, changed: &Changed<'_>) -> ScreenChange {
    let names = |kinds: &[FlagKind]| kinds.iter().map(|kind| kind.name()).collect();
    let (scene, setting) = review::place(&read.now, changed.cell);
    ScreenChange {
        pass: format!("{scene}, {setting}, pass {} on {}", changed.pass.row.number, changed.pass.row.rig),
        gone: names(&changed.gone),
        new: names(&changed.new),
        stands: changed.then.word(),
    }
}
