//! Files beside readings: attached by a form, given back as they came, never shown by the browser as part of a page.

use axum::extract::{Multipart, State};
use axum::http::header::{CONTENT_DISPOSITION, CONTENT_TYPE};
use axum::response::{IntoResponse as _, Response};
use sha2::{Digest as _, Sha256};
use weighhouse_web::{pages, paths};

use super::super::App;
use super::super::resources::Of;
use super::super::respond::{Wants, done, refill};
use super::super::session::{Member, SignedIn};
use super::super::upload_form::{broken, text};
use super::one::page;
use crate::store::pieces::Piece;
use crate::store::proofs::{self, Proof};
use crate::store::readings::Reading;
use crate::work::once::{By, Once};
use crate::work::readings::{keep, proof};
use crate::work::{Error, Refusal, Result};

/// Attaches the file of a form.
pub(in crate::http) async fn attach(
    State(app): State<App>,
    who: Member,
    (Of(piece), Of(reading)): (Of<Piece>, Of<Reading>),
    form: Multipart,
) -> Result<Response> {
    let route = paths::reading_proofs(&piece.key, &reading.key);
    let kept = match file(form).await {
        Ok((key, name, bytes)) => {
            let asked = Sha256::digest(&bytes).to_vec();
            let by = By::new(who.actor(), (!key.is_empty()).then_some(Once { key, route, asked }));
            keep::attach(&app.store, by, &reading, &name, bytes).await.map(|_| proof::name(&name))
        }
        Err(error) => Err(error),
    };
    match kept {
        Ok(name) => {
            let to = paths::reading(&piece.key, &reading.key);
            Ok(done(&who, Wants::Html, &to, format!("{name} is attached.")))
        }
        Err(Error::Refused(refusal)) => {
            let page = page(&app, &who, &piece, &reading).await?;
            let refused = format!("{} {}", refusal.says, refusal.mend);
            refill(Wants::Html, &pages::Reading { refused, ..page }, *refusal)
        }
        Err(error) => Err(error),
    }
}

/// The form's key, and name and bytes of its first file; never more of it in memory than a file may have.
async fn file(mut form: Multipart) -> Result<(String, String, Vec<u8>)> {
    let mut key = String::new();
    while let Some(mut field) =
        form.next_field().await.map_err(|e| broken(&e, "The form", proof::MOST_BYTES))?
    {
        let Some(name) = field.file_name().filter(|name| !name.is_empty()).map(str::to_owned) else {
            if field.name() == Some("once") {
                key = text(field).await?;
            }
            continue;
        };
        let mut bytes = Vec::new();
        while let Some(piece) = field.chunk().await.map_err(|e| broken(&e, &name, proof::MOST_BYTES))? {
            if bytes.len() + piece.len() > proof::MOST_BYTES {
                return Err(proof::too_large(&proof::name(&name)).into());
            }
            bytes.extend_from_slice(&piece);
        }
        return Ok((key, name, bytes));
    }
    Err(Refusal::field("file", "Choose a photo or a log first.").into())
}

/// A file under the name that it came with, to be saved (RFC 6266, section 4.3).
pub(in crate::http) async fn download(
    State(app): State<App>,
    _who: SignedIn,
    Of(proof): Of<Proof>,
) -> Result<Response> {
    let bytes = proofs::whole(&mut *app.store.read().await?, proof.id).await?;
    let headers = [
        (CONTENT_TYPE, "application/octet-stream".to_owned()),
        (CONTENT_DISPOSITION, format!("attachment; filename*=UTF-8''{}", paths::encode(&proof.name))),
    ];
    Ok((headers, bytes).into_response())
}
