//! A one-time link: makes an account and signs it in.

use axum::extract::{Path, State};
use axum::response::Response;
use weighhouse_web::pages::{Field, Frame, Invitation};
use weighhouse_web::paths;

use super::App;
use super::respond::{Wants, refill, respond};
use super::sent::Sent;
use super::session::From;
use super::sign_in::with_cookie;
use crate::store::people::Role;
use crate::work::people;
use crate::work::sign_in::{self, Try};
use crate::work::{Error, Result};

fn form(app: &App, token: String, role: Role) -> Invitation {
    Invitation {
        frame: Frame { warnings: app.config.warnings(), ..Frame::default() },
        token,
        role: role.to_string(),
        name: Field::default(),
        password_wrong: String::new(),
    }
}

/// The form.
pub(super) async fn show(
    State(app): State<App>,
    wants: Wants,
    Path(token): Path<String>,
) -> Result<Response> {
    let invitation = people::invitation(&app.store, &token).await?;
    respond(wants, &form(&app, token, invitation.role))
}

/// Makes the account.
pub(super) async fn accept(
    State(app): State<App>,
    wants: Wants,
    From(address): From,
    Path(token): Path<String>,
    sent: Sent,
) -> Result<Response> {
    let (name, password) = (sent.text("name").to_owned(), sent.raw("password").to_owned());
    let tried = Try { name: name.clone(), password: password.clone(), address };
    let invitation = match people::invitation(&app.store, &token).await {
        Ok(invitation) => invitation,
        // The form came twice: whoever made the account has name and password of it.
        Err(used) => return signed_in(&app, tried).await.map_err(|_| used),
    };
    let made = people::accept(&app.store, &app.passwords, &app.chance, &token, &name, password).await;
    match made {
        Ok(_) => signed_in(&app, tried).await,
        Err(Error::Refused(refusal)) if !refusal.fields.is_empty() => {
            let mut page = form(&app, token, invitation.role);
            page.name = sent.field("name", &refusal);
            page.password_wrong = refusal.wrong("password").to_owned();
            refill(wants, &page, *refusal)
        }
        Err(error) => Err(error),
    }
}

async fn signed_in(app: &App, tried: Try) -> Result<Response> {
    let session = sign_in::sign_in(&app.store, &app.passwords, &app.chance, tried).await?;
    with_cookie(app, Some(&session), paths::pieces())
}
