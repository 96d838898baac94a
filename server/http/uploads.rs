//! Which files of a folder need not be sent, by their lengths and digests.

use axum::Json;
use axum::extract::State;
use axum::response::{IntoResponse as _, Response};
use serde::Serialize;
use weighhouse_web::paths;

use super::App;
use super::sent::Sent;
use super::session::Uploader;
use crate::store::captures::Outcome;
use crate::work::here::{self, Here, Offered};
use crate::work::{Refusal, Result};

/// What is answered, in the order in which it was asked.
#[derive(Debug, Serialize)]
struct Answer {
    files: Vec<File>,
}

/// Whether a file is here: `here`, `perhaps` or `missing`.
#[derive(Debug, Default, Serialize)]
struct File {
    state: &'static str,
    /// In words; empty where it has to be sent.
    says: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    capture: Option<i64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    outcome: Option<Outcome>,
    /// Where a person answers its question, if it asks one.
    #[serde(skip_serializing_if = "Option::is_none")]
    layout: Option<String>,
}

/// `bytes` and `digest` are lists of the same length; an empty digest stands for one that cannot be told.
pub(super) async fn here(State(app): State<App>, _: Uploader, sent: Sent) -> Result<Response> {
    let bytes = sent.numbers("bytes")?;
    let digests: Vec<&str> = sent.all("digest").collect();
    if digests.len() != bytes.len() {
        let says = format!(
            "{} digests for {} files: give one for each, empty where it is not known.",
            digests.len(),
            bytes.len()
        );
        return Err(Refusal::field("digest", says).into());
    }
    let mut offered = Vec::with_capacity(bytes.len());
    for (bytes, digest) in bytes.into_iter().zip(digests) {
        offered.push(Offered { bytes, digest: read_digest(digest)? });
    }
    let files = here::here(&app.store, &offered).await?.into_iter().map(file).collect();
    Ok(Json(Answer { files }).into_response())
}

fn read_digest(text: &str) -> Result<Option<[u8; 32]>> {
    if text.is_empty() {
        return Ok(None);
    }
    let pair = |at: usize| u8::from_str_radix(text.get(2 * at..2 * at + 2)?, 16).ok();
    let bytes: Option<Vec<u8>> = (0..32).map(pair).collect();
    let digest = bytes.filter(|_| text.len() == 64).and_then(|bytes| bytes.try_into().ok());
    let wrong =
        || Refusal::field("digest", format!("'{text}' is no SHA-256: write its 64 hexadecimal digits."));
    Ok(Some(digest.ok_or_else(wrong)?))
}

fn file(here: Here) -> File {
    match here {
        Here::No => File { state: "missing", ..File::default() },
        Here::Perhaps => File { state: "perhaps", ..File::default() },
        Here::Yes(capture) => {
            let asks = capture.outcome == Outcome::Ask;
            let says = format!("Here already, as {}; not sent again. {}", capture.name, capture.says);
            File {
                state: "here",
                says: says.trim_end().to_owned(),
                capture: Some(capture.id.0),
                outcome: Some(capture.outcome),
                layout: asks.then(|| paths::layout(capture.id.0)),
            }
        }
    }
}
