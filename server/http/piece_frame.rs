//! The frame of a piece's pages: what is left to its deadline, where one can go in it, how many flags wait.

use jiff::Timestamp;
use weighhouse_web::format;
use weighhouse_web::pages::Frame;

use super::App;
use super::session::SignedIn;
use crate::store::pieces::Piece;
use crate::work::{Result, pieces};

/// For pages that have read the piece's evidence: `flags` are its passes that wait for a ruling
/// (`evidence.to_review().count()`). `current` is the label of the page's entry.
pub(super) fn in_piece(app: &App, who: &SignedIn, piece: &Piece, current: &str, flags: usize) -> Frame {
    let left = piece.fields.deadline_us.map_or_else(String::new, |due| format::left(at(due), now(app)));
    let flags = u64::try_from(flags).unwrap_or(u64::MAX);
    who.frame("Pieces").in_piece(&piece.key, &piece.fields.name, left, current, flags)
}

/// For the others: counts the flags.
///
/// # Errors
/// When the store fails.
pub(super) async fn counting(app: &App, who: &SignedIn, piece: &Piece, current: &str) -> Result<Frame> {
    let flags = pieces::flags_open(&app.store, piece.id).await?;
    Ok(in_piece(app, who, piece, current, flags))
}

/// The moment of a request.
pub(super) fn now(app: &App) -> Timestamp {
    at(app.clock.now_us())
}

/// A moment of the store; all are of this age, far within what a timestamp holds.
pub(super) fn at(us: i64) -> Timestamp {
    Timestamp::from_microsecond(us).unwrap_or_default()
}
