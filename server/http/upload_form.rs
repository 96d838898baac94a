//! Logs sent by the form of the intake page, for browsers without script: one after another, each as if it came alone.

use axum::extract::multipart::{Field, MultipartError};
use axum::extract::{Multipart, State};
use axum::response::Response;
use futures_util::StreamExt as _;
use weighhouse_web::pages::MOST_BY_FORM;
use weighhouse_web::{format, paths};

use super::App;
use super::resources::Of;
use super::respond::{Wants, done};
use super::session::Member;
use super::upload::{rig_of, too_large};
use crate::store::pieces::Piece;
use crate::work::upload::{self, Said};
use crate::work::{Error, Kind, Refusal, Result};

/// Bytes of a written field at most.
const MOST_TEXT: usize = 1024;

/// What a form brought: what was said beside the logs comes before them.
#[derive(Debug, Default)]
struct Brought {
    rig: String,
    once: String,
    taken: u64,
    refused: Vec<Refusal>,
}

/// Takes all logs of the form; those that are refused are named, the others stay.
pub(super) async fn take(
    State(app): State<App>,
    who: Member,
    Of(piece): Of<Piece>,
    mut form: Multipart,
) -> Result<Response> {
    let most = app.config.limits.upload_bytes;
    let mut brought = Brought::default();
    while let Some(field) = form.next_field().await.map_err(|e| broken(&e, "The form", most))? {
        match (field.name(), field.file_name()) {
            (Some("rig"), None) => brought.rig = text(field).await?,
            (Some("once"), None) => brought.once = text(field).await?,
            (_, None | Some("")) => {}
            (_, Some(name)) if brought.nth() >= MOST_BY_FORM => {
                let says = format!("{name} is one too many for one form.");
                brought.refused.push(Refusal::new(
                    Kind::TooLarge,
                    "Too many",
                    says,
                    "Send it in the next one.",
                ));
            }
            (_, Some(name)) => {
                let name = name.to_owned();
                match one(&app, &who, &brought, name, field).await {
                    Ok(()) => brought.taken += 1,
                    Err(Error::Refused(refusal)) => brought.refused.push(*refusal),
                    Err(error) => return Err(error),
                }
            }
        }
    }
    let says = brought.says()?;
    Ok(done(&who, Wants::Html, &paths::intake(&piece.key), says))
}

impl Brought {
    /// Idempotency key of the log whose turn it is.
    fn key(&self) -> String {
        format!("{}/{}", self.once, self.nth())
    }

    /// Logs before it.
    fn nth(&self) -> u64 {
        self.taken + self.refused.len() as u64
    }

    /// How many came in.
    ///
    /// # Errors
    /// Refused, naming each log that was not taken, or when none was chosen.
    fn says(self) -> Result<String> {
        let logs = format::plural(self.taken, "log", "logs");
        if !self.refused.is_empty() {
            let each: Vec<String> = self.refused.iter().map(|r| format!("{} {}", r.says, r.mend)).collect();
            let says = format!("{logs} came in; these did not: {}", each.join(" "));
            return Err(Refusal::new(Kind::Invalid, "Not all came in", says, "").into());
        }
        if self.taken == 0 {
            return Err(Refusal::field("files", "Choose at least one log.").into());
        }
        Ok(format!("{logs} came in."))
    }
}

async fn one(app: &App, who: &Member, brought: &Brought, name: String, field: Field<'_>) -> Result<()> {
    let most = app.config.limits.upload_bytes;
    let said = Said {
        rig: rig_of(None, &brought.rig)?,
        start: String::new(),
        settings: String::new(),
        key: (!brought.once.is_empty()).then(|| (brought.key(), paths::upload(&name))),
        name: name.clone(),
    };
    let bytes = field.map(move |piece| piece.map_err(|error| broken(&error, &name, most)));
    upload::upload(&app.store, &app.take_in, who.actor(), said, bytes).await?;
    Ok(())
}

/// What was written into a field; never more of it in memory than such a field has.
pub(super) async fn text(mut field: Field<'_>) -> Result<String> {
    let mut bytes = Vec::new();
    while let Some(piece) = field.chunk().await.map_err(|e| broken(&e, "The form", MOST_TEXT))? {
        bytes.extend_from_slice(&piece);
        if bytes.len() > MOST_TEXT {
            let says = "A field of the form is longer than the page lets it be.";
            return Err(
                Refusal::new(Kind::TooLarge, "Too large", says, "Send the form as the page has it.").into()
            );
        }
    }
    Ok(String::from_utf8_lossy(&bytes).into_owned())
}

/// Why a form did not arrive whole.
pub(super) fn broken(error: &MultipartError, name: &str, most: usize) -> Error {
    if error.status() == axum::http::StatusCode::PAYLOAD_TOO_LARGE {
        return too_large(name, most).into();
    }
    let says = format!("{name} did not arrive whole: {}.", error.body_text().trim_end_matches('.'));
    Refusal::new(Kind::Unreadable, "Not whole", says, "Send it again: nothing of it was kept.").into()
}
