//! People: accounts, one-time links, rig keys, the audit trail.

use axum::Json;
use axum::extract::{Path, Query, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse as _, Response};
use jiff::Timestamp;
use serde::Deserialize;
use serde_json::json;
use weighhouse_web::pages::{self, Invited, Key, People, Secret, Step};
use weighhouse_web::paths;

use super::App;
use super::resources::Of;
use super::respond::{Wants, done, refill, respond, see_other};
use super::sent::Sent;
use super::session::{From, Owner, RigKey, SignedIn};
use super::sign_in::with_cookie;
use crate::store::audit::Entry;
use crate::store::people::{Person, Role};
use crate::store::{InvitationId, RigId, RigKeyId};
use crate::work::people::{self, Change, Overview};
use crate::work::sign_in::{self, Try};
use crate::work::{Error, Kind, Refusal, Result};

/// Entries of the trail on a page.
const PAGE: u32 = 50;

/// Which entries of the trail.
#[derive(Debug, Default, Deserialize)]
pub(super) struct Asked {
    before: Option<i64>,
}

/// The page.
pub(super) async fn show(
    State(app): State<App>,
    who: SignedIn,
    wants: Wants,
    Query(asked): Query<Asked>,
) -> Result<Response> {
    respond(wants, &page(&app, &who, wants, asked.before).await?)
}

async fn page(app: &App, who: &SignedIn, wants: Wants, before: Option<i64>) -> Result<People> {
    let read = people::overview(&app.store, before, PAGE).await?;
    let steps = read.trail.iter().map(|entry| step(entry, &read)).collect::<Vec<_>>();
    let older = steps.last().map(|step: &Step| step.number).filter(|number| *number > 1);
    let browser = who.browser();
    Ok(People {
        frame: who.frame("People"),
        now: at(app.clock.now_us()),
        secret: if wants == Wants::Html {
            app.take_secret(&browser, |secret| !matches!(secret, Secret::Board(_) | Secret::Edition(_)))
        } else {
            None
        },
        password_wrong: String::new(),
        people: read.people.into_iter().map(person).collect(),
        invitations: read
            .invitations
            .into_iter()
            .map(|i| Invited { id: i.id.0, role: i.role.to_string(), until: at(i.expires_us) })
            .collect(),
        keys: read
            .keys
            .into_iter()
            .map(|key| Key {
                id: key.id.0,
                rig: key.rig,
                label: key.label,
                used: key.last_used_us.map(at),
                revoked: key.revoked_us.is_some(),
            })
            .collect(),
        rigs: read.rigs.into_iter().map(|(id, name)| (id.0, name)).collect(),
        trail: steps,
        head: read.head,
        older,
    })
}

fn at(us: i64) -> Timestamp {
    // Times of the store are of this age: far within what a timestamp holds.
    Timestamp::from_microsecond(us).unwrap_or_default()
}

fn person(person: Person) -> pages::Person {
    pages::Person {
        id: person.id.0,
        name: person.name,
        role: person.role.to_string(),
        disabled: person.disabled,
        since: at(person.created_us),
        version: person.version,
    }
}

fn step(entry: &Entry, read: &Overview) -> Step {
    let person = entry.person_id.and_then(|id| read.people.iter().find(|person| person.id == id));
    let key = entry.rig_key_id.and_then(|id| read.keys.iter().find(|key| key.id == id));
    let who = match (person, key) {
        (Some(person), _) => person.name.clone(),
        (None, Some(key)) => format!("rig {} ({})", key.rig, key.label),
        (None, None) => "the server".to_owned(),
    };
    Step {
        number: entry.seq,
        at: at(entry.at_us),
        who,
        act: entry.act.clone(),
        what: format!("{} {}", entry.of_table.replace('_', " "), entry.row_id),
        row: entry.row.clone(),
    }
}

fn role(sent: &Sent) -> Result<Role> {
    let text = sent.text("role");
    Role::parse(text).ok_or_else(|| {
        Refusal::field("role", format!("'{text}' is no role; it is owner, member or guest.")).into()
    })
}

/// Another role, or whether a person may sign in.
pub(super) async fn change(
    State(app): State<App>,
    who: Owner,
    wants: Wants,
    Of(person): Of<Person>,
    sent: Sent,
) -> Result<Response> {
    let change = match sent.text("do") {
        "role" => Change::Role(role(&sent)?),
        "disable" => Change::Disabled(true),
        "enable" => Change::Disabled(false),
        other => {
            let says = format!("'{other}' cannot be done; it is role, disable or enable.");
            return Err(Refusal::field("do", says).into());
        }
    };
    let now = people::change(&app.store, sent.by(&who), person.id, sent.version()?, change).await?;
    let may = if now.disabled { " and may not sign in" } else { "" };
    Ok(done(&who, wants, &paths::people(), format!("{} is now {}{may}.", now.name, now.role)))
}

/// Makes a one-time link, shown once.
pub(super) async fn invite(State(app): State<App>, who: Owner, wants: Wants, sent: Sent) -> Result<Response> {
    let token = people::invite(&app.store, &app.chance, sent.by(&who), role(&sent)?).await?;
    let link = format!("{}{}", app.address(), paths::invitation(token.as_str()));
    Ok(once(&app, &who, wants, Secret::Link(link)))
}

/// Makes a rig key, shown once with an example.
pub(super) async fn make_key(
    State(app): State<App>,
    who: Owner,
    wants: Wants,
    sent: Sent,
) -> Result<Response> {
    let rig = RigId(sent.read("rig", "the number of a rig")?);
    let key = people::make_key(&app.store, &app.chance, sent.by(&who), rig, sent.text("label")).await?;
    let key = key.as_str().to_owned();
    let to = format!("{}{}", app.address(), paths::upload("pass-1.csv"));
    let example = format!("curl --fail-with-body -T pass-1.csv -H 'Authorization: Bearer {key}' '{to}'");
    Ok(once(&app, &who, wants, Secret::Key { key, example }))
}

/// Hands a secret over, once.
fn once(app: &App, who: &SignedIn, wants: Wants, secret: Secret) -> Response {
    match (wants, secret) {
        (Wants::Html, secret) => {
            app.keep_secret(who.browser(), secret);
            see_other(&paths::people())
        }
        (Wants::Json, Secret::Link(link) | Secret::Board(link) | Secret::Edition(link)) => {
            (StatusCode::CREATED, Json(json!({ "link": link }))).into_response()
        }
        (Wants::Json, Secret::Key { key, example }) => {
            (StatusCode::CREATED, Json(json!({ "key": key, "example": example }))).into_response()
        }
    }
}

/// Which rig a key is for.
pub(super) async fn try_key(key: RigKey) -> Json<serde_json::Value> {
    Json(json!({ "rig": key.rig_name(), "label": key.label() }))
}

/// Takes a one-time link back.
pub(super) async fn take_back(
    State(app): State<App>,
    who: Owner,
    wants: Wants,
    Path(id): Path<i64>,
    sent: Sent,
) -> Result<Response> {
    people::take_back(&app.store, sent.by(&who), InvitationId(id)).await?;
    Ok(done(&who, wants, &paths::people(), format!("Link {id} makes no account any more.")))
}

/// Takes a rig key back.
pub(super) async fn revoke_key(
    State(app): State<App>,
    who: Owner,
    wants: Wants,
    Path(id): Path<i64>,
    sent: Sent,
) -> Result<Response> {
    people::revoke_key(&app.store, sent.by(&who), RigKeyId(id)).await?;
    Ok(done(&who, wants, &paths::people(), format!("Key {id} uploads nothing any more.")))
}

/// Sets one's own password; all its browsers are then signed out.
pub(super) async fn set_password(
    State(app): State<App>,
    who: SignedIn,
    wants: Wants,
    From(address): From,
    sent: Sent,
) -> Result<Response> {
    let tried = Try { name: who.name().to_owned(), password: sent.raw("password").to_owned(), address };
    let typed = (who.browser(), who.id(), tried);
    let new = sent.raw("new").to_owned();
    match sign_in::change_password(&app.store, &app.passwords, &app.chance, typed, new).await {
        Ok(()) => with_cookie(&app, None, paths::sign_in()),
        Err(Error::Refused(refusal)) if refusal.kind == Kind::Invalid => {
            let mut page = page(&app, &who, wants, None).await?;
            page.password_wrong = refusal.says.clone();
            refill(wants, &page, *refusal)
        }
        Err(error) => Err(error),
    }
}
