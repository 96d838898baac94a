//! Who asks: a browser by its cookie, a rig by its key.
//!
//! `look_up` finds the session of the cookie once for each request; the extractors say what a route asks for.

use std::net::IpAddr;
use std::ops::Deref;

use axum::extract::{FromRequestParts, Request, State};
use axum::http::header::{AUTHORIZATION, COOKIE};
use axum::http::request::Parts;
use axum::http::{HeaderMap, HeaderValue};
use axum::middleware::Next;
use axum::response::{IntoResponse as _, Response};
use weighhouse_web::pages::{FirstStep, Flash, FormKeys, Frame};
use weighhouse_web::paths;

use super::App;
use super::respond::Wants;
use super::server::Peer;
use crate::chance::{Token, token_hash};
use crate::clock::US_PER_S;
use crate::store::first_steps::FirstSteps;
use crate::store::people::Role;
use crate::store::rig_keys;
use crate::store::sign_in::SignedIn as Session;
use crate::store::{Actor, PersonId, RigId};
use crate::work::{Error, Internal, Kind, Refusal, Result, people, pieces, sign_in};

/// Cookie of a signed-in browser; `__Host-` under TLS, so that no other name can set it.
const PLAIN: &str = "weighhouse";
const OVER_TLS: &str = "__Host-weighhouse";
/// Sent by live.js.
const QUIET: &str = "x-quiet";
/// Within this time the password counts as just typed.
const LATELY_US: i64 = 5 * 60 * US_PER_S;

fn cookie_name(app: &App) -> &'static str {
    if app.config.over_tls() { OVER_TLS } else { PLAIN }
}

fn cookies(header: &str) -> impl Iterator<Item = (&str, &str)> {
    header.split(';').filter_map(|pair| pair.trim().split_once('='))
}

/// Whether a Cookie header carries our cookie.
pub(super) fn names_cookie(header: &str) -> bool {
    cookies(header).any(|(name, _)| name == PLAIN || name == OVER_TLS)
}

/// Hash of the token in our cookie.
pub(super) fn cookie_hash(app: &App, headers: &HeaderMap) -> Option<[u8; 32]> {
    let wanted = cookie_name(app);
    let mut lines = headers.get_all(COOKIE).iter().filter_map(|line| line.to_str().ok());
    lines.find_map(|line| cookies(line).find(|(name, _)| *name == wanted).map(|(_, token)| token_hash(token)))
}

/// `Set-Cookie` for a new session, or, without one, to take the cookie back.
///
/// # Errors
/// Never in practice: a token has only digits and letters.
pub(super) fn set_cookie(app: &App, token: Option<&Token>) -> Result<HeaderValue> {
    let (name, value) = (cookie_name(app), token.map_or("", Token::as_str));
    let secure = if app.config.over_tls() { "; Secure" } else { "" };
    let end = if token.is_none() { "; Max-Age=0" } else { "" };
    // Lax, not Strict: links to a pass from the team's chat must open for who is signed in.
    HeaderValue::from_str(&format!("{name}={value}; Path=/; HttpOnly; SameSite=Lax{secure}{end}"))
        .map_err(|e| Internal(e.to_string()).into())
}

/// A signed-in browser, as every later part of the request finds it.
#[derive(Clone, Debug)]
pub(super) struct Around {
    session: Session,
    hash: [u8; 32],
    /// What the team has of its first steps, for pages of who may take them.
    first_steps: Option<FirstSteps>,
}

impl Around {
    /// Finds it, for a page at `path`.
    async fn find(app: &App, hash: [u8; 32], path: &str) -> Result<Option<Self>> {
        let Some(session) = sign_in::session(&app.store, hash).await? else { return Ok(None) };
        let asked = session.role >= Role::Member && Wants::of(path) == Wants::Html;
        let first_steps = if asked { pieces::first_steps(&app.store).await? } else { None };
        Ok(Some(Self { session, hash, first_steps }))
    }

    /// The frame of a page for this person.
    pub(super) fn frame(&self, app: &App, current: &str) -> Frame {
        Frame {
            warnings: app.config.warnings(),
            steps: self.first_steps.as_ref().map(steps).unwrap_or_default(),
            ..Frame::signed_in(&self.session.name, self.session.role.as_str(), current)
        }
    }
}

/// The first steps in their order; those within a piece need one.
fn steps(now: &FirstSteps) -> Vec<FirstStep> {
    let in_piece = |to: fn(&str) -> String| now.piece.as_deref().map_or_else(String::new, to);
    let step = |label, href, done| FirstStep { label, href, done };
    vec![
        step("Rig", paths::rigs(), now.rig),
        step("Part with its driver", paths::parts(), now.part),
        step("Scene with its build", paths::scenes(), now.scene),
        step("Setting", paths::scenes(), now.setting),
        step("Piece", paths::pieces(), now.piece.is_some()),
        step("Its cells", in_piece(paths::piece_cells), now.cell),
        step("Logs", in_piece(paths::intake), now.log),
        step("Passes made of them", in_piece(paths::intake), false),
    ]
}

/// Finds the session of the request's cookie; errors shown later know who asked.
pub(super) async fn look_up(State(app): State<App>, mut request: Request, next: Next) -> Response {
    let Some(hash) = cookie_hash(&app, request.headers()) else { return next.run(request).await };
    let around = match Around::find(&app, hash, request.uri().path()).await {
        Ok(Some(around)) => around,
        Ok(None) => return next.run(request).await,
        Err(error) => return error.into_response(),
    };
    request.extensions_mut().insert(around.clone());
    let mut response = next.run(request).await;
    if response.status().is_client_error() || response.status().is_server_error() {
        response.extensions_mut().insert(around);
    }
    response
}

/// Any signed-in person; guests read. Routes that change something take [`Member`] or [`Owner`].
#[derive(Clone, Debug)]
pub struct SignedIn {
    app: App,
    around: Around,
    /// A page that brings itself up to date leaves what the last action did to the page that follows it.
    quiet: bool,
}

impl SignedIn {
    /// Who.
    pub fn id(&self) -> PersonId {
        self.around.session.person_id
    }

    /// Their name.
    pub fn name(&self) -> &str {
        &self.around.session.name
    }

    /// What they may do.
    pub fn role(&self) -> Role {
        self.around.session.role
    }

    /// For `Store::write`.
    pub fn actor(&self) -> Actor {
        Actor::Person(self.id())
    }

    /// Hash of the browser's token.
    pub fn browser(&self) -> [u8; 32] {
        self.around.hash
    }

    /// The frame of a page, with what the last action did; `current` is the label of the register's entry. Pages of
    /// a piece add [`Frame::in_piece`].
    pub fn frame(&self, current: &str) -> Frame {
        Frame {
            flash: if self.quiet { None } else { self.app.take_flash(&self.around.hash) },
            // Without randomness the form has no key: sent twice, it may make two.
            once: FormKeys::of(self.app.chance.key().unwrap_or_default()),
            ..self.around.frame(&self.app, current)
        }
    }

    /// Keeps what the next page says.
    pub fn say(&self, flash: Flash) {
        self.app.keep_flash(self.around.hash, flash);
    }

    /// Whether the password was typed within five minutes, as an agreement asks for.
    pub fn typed_password_lately(&self) -> bool {
        self.app.clock.now_us() - self.around.session.password_us < LATELY_US
    }
}

impl FromRequestParts<App> for SignedIn {
    type Rejection = Error;

    async fn from_request_parts(parts: &mut Parts, app: &App) -> Result<Self> {
        match parts.extensions.get::<Around>() {
            Some(around) => Ok(Self {
                app: app.clone(),
                around: around.clone(),
                quiet: parts.headers.contains_key(QUIET),
            }),
            None if parts.headers.contains_key(AUTHORIZATION) => Err(Refusal::not_allowed(
                "A rig key only uploads; it reads and changes nothing else.",
                "Sign in with a browser to read pages.",
            )
            .into()),
            None => Err(signed_out()),
        }
    }
}

fn signed_out() -> Error {
    Refusal::new(
        Kind::SignedOut,
        "Not signed in",
        "Nobody is signed in here, or the time ran out.",
        "Sign in, then try again.",
    )
    .into()
}

macro_rules! at_least {
    ($(#[$doc:meta])* $name:ident, $role:expr, $says:literal, $mend:literal) => {
        $(#[$doc])*
        #[derive(Clone, Debug)]
        pub struct $name(SignedIn);

        impl Deref for $name {
            type Target = SignedIn;

            fn deref(&self) -> &SignedIn {
                &self.0
            }
        }

        impl FromRequestParts<App> for $name {
            type Rejection = Error;

            async fn from_request_parts(parts: &mut Parts, app: &App) -> Result<Self> {
                let who = SignedIn::from_request_parts(parts, app).await?;
                if who.role() >= $role { Ok(Self(who)) } else { Err(Refusal::not_allowed($says, $mend).into()) }
            }
        }
    };
}

at_least!(
    /// A person who may change things: member or owner.
    Member,
    Role::Member,
    "Guests read; they change nothing.",
    "Ask a member to do it, or an owner for another role."
);
at_least!(
    /// A person who looks after people and rig keys.
    Owner,
    Role::Owner,
    "Only owners look after people and rig keys.",
    "Ask an owner to do it."
);

/// A rig, by `Authorization: Bearer KEY`. It may only upload.
#[derive(Clone, Debug)]
pub struct RigKey(rig_keys::RigKey);

impl RigKey {
    /// The rig that it uploads for.
    pub fn rig(&self) -> RigId {
        self.0.rig_id
    }

    /// That rig's name.
    pub fn rig_name(&self) -> &str {
        &self.0.rig
    }

    /// What the key is called.
    pub fn label(&self) -> &str {
        &self.0.label
    }

    /// For `Store::write`.
    pub fn actor(&self) -> Actor {
        Actor::RigKey(self.0.id)
    }
}

impl FromRequestParts<App> for RigKey {
    type Rejection = Error;

    async fn from_request_parts(parts: &mut Parts, app: &App) -> Result<Self> {
        let line = parts.headers.get(AUTHORIZATION).and_then(|line| line.to_str().ok()).unwrap_or("");
        let token =
            line.strip_prefix("Bearer ").or_else(|| line.strip_prefix("bearer ")).unwrap_or("").trim();
        let key = people::rig_key(&app.store, token).await?;
        key.map(Self).ok_or_else(|| {
            Refusal::new(
                Kind::SignedOut,
                "Wrong key",
                "This rig key is unknown or was taken back.",
                "Send 'Authorization: Bearer KEY' with a key from the page of people.",
            )
            .into()
        })
    }
}

/// Who uploads: a rig by its key, or a member with a browser.
#[derive(Clone, Debug)]
pub enum Uploader {
    /// A rig.
    Rig(RigKey),
    /// A person.
    Person(Member),
}

impl Uploader {
    /// For `Store::write`.
    pub fn actor(&self) -> Actor {
        match self {
            Self::Rig(key) => key.actor(),
            Self::Person(who) => who.actor(),
        }
    }

    /// The rig, when it is one.
    pub fn rig(&self) -> Option<RigId> {
        match self {
            Self::Rig(key) => Some(key.rig()),
            Self::Person(_) => None,
        }
    }
}

impl FromRequestParts<App> for Uploader {
    type Rejection = Error;

    async fn from_request_parts(parts: &mut Parts, app: &App) -> Result<Self> {
        if parts.headers.contains_key(AUTHORIZATION) {
            Ok(Self::Rig(RigKey::from_request_parts(parts, app).await?))
        } else {
            Ok(Self::Person(Member::from_request_parts(parts, app).await?))
        }
    }
}

/// Where a request comes from, for counting failed tries.
#[derive(Clone, Debug)]
pub struct From(pub String);

impl FromRequestParts<App> for From {
    type Rejection = std::convert::Infallible;

    async fn from_request_parts(
        parts: &mut Parts,
        app: &App,
    ) -> std::result::Result<Self, std::convert::Infallible> {
        let peer = parts.extensions.get::<Peer>().map(|peer| peer.0.ip());
        // Only the proxy that we were told of, on this machine, is believed about who is behind it.
        let proxied = app.config.public.is_some() && peer.is_some_and(|ip| ip.is_loopback());
        let last = parts.headers.get_all("x-forwarded-for").iter().next_back();
        let told =
            last.and_then(|line| line.to_str().ok()?.rsplit(',').next()?.trim().parse::<IpAddr>().ok());
        let address = if proxied { told.or(peer) } else { peer };
        Ok(Self(address.map_or_else(String::new, |ip| ip.to_string())))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn our_cookie_is_found_among_others() {
        assert!(names_cookie("theme=dark; weighhouse=abc"));
        assert!(names_cookie("__Host-weighhouse=abc"));
        assert!(!names_cookie("xweighhouse=abc; weighhouse2=b; weighhouse"));
    }
}
