//! People: signing in and out, accounts and their one-time links, rig keys.

use crate::chance::{Chance, Token, token_hash};
use crate::clock::US_PER_S;
use crate::store::audit::{self, Entry};
use crate::store::people::{self, Invitation, Person, Role};
use crate::store::rig_keys::{self, RigKey};
use crate::store::sign_in::{self, SignedIn};
use crate::store::{Actor, InvitationId, PersonId, RigId, RigKeyId, Store, StoreError};

use super::passwords::{Passwords, wrong_with};
use super::{Error, Kind, Refusal, Result};

/// A browser not heard of for so long is signed out.
pub const IDLE_US: i64 = 60 * 60 * US_PER_S;
/// A browser signed in so long ago is signed out.
pub const LONGEST_US: i64 = 12 * 60 * 60 * US_PER_S;
/// How long a one-time link is good.
pub const INVITATION_US: i64 = 7 * 24 * 60 * 60 * US_PER_S;
/// That a browser was heard of is noted at most so often.
const NOTE_US: i64 = 60 * US_PER_S;
/// Failed tries within [`GUESS_US`] for a name, and from an address, after which no more are taken.
const GUESSES: i64 = 10;
const GUESS_US: i64 = 60 * US_PER_S;
/// Characters of a name: the schema's rule.
const NAME_LENGTH: usize = 80;

/// Whether a browser is still signed in at `now_us`.
fn fresh(session: &SignedIn, now_us: i64) -> bool {
    now_us - session.seen_us < IDLE_US && now_us - session.created_us < LONGEST_US
}

/// Who bears the session token with this hash, if it is still good.
///
/// # Errors
/// When the store fails.
pub async fn session(store: &Store, hash: [u8; 32]) -> Result<Option<SignedIn>> {
    let now_us = store.clock().now_us();
    let found = sign_in::find(&mut *store.read().await?, &hash).await?;
    let Some(session) = found.filter(|session| fresh(session, now_us)) else { return Ok(None) };
    if now_us - session.seen_us >= NOTE_US {
        store.write(Actor::Server, async move |tx| sign_in::seen(tx, &hash).await).await?;
    }
    Ok(Some(session))
}

/// A try to sign in.
#[derive(Debug)]
pub struct Try {
    /// Name as typed.
    pub name: String,
    /// Password as typed.
    pub password: String,
    /// From where.
    pub address: String,
}

/// Signs in: the token of a new session.
///
/// # Errors
/// Refused with one sentence for unknown names, wrong passwords and shut accounts; refused for a while after too many
/// failed tries.
pub async fn sign_in(store: &Store, passwords: &Passwords, chance: &Chance, tried: Try) -> Result<Token> {
    // Taken before the tries are counted: however many come at once, few are under way.
    let turn = passwords.turn().await?;
    let Try { name, password, address } = tried;
    let name = name.trim().to_owned();
    let since_us = store.clock().now_us() - GUESS_US;
    let mut db = store.read().await?;
    let (by_name, by_address) = sign_in::failures(&mut db, &name, &address, since_us).await?;
    let person = people::by_name(&mut db, &name).await?.filter(|person| !person.disabled);
    drop(db);
    if by_name >= GUESSES || by_address >= GUESSES {
        return Err(too_many());
    }
    let fits = turn.check(password, person.as_ref().map(|person| person.password_hash.clone())).await?;
    let Some(person) = person.filter(|_| fits) else {
        store.write(Actor::Server, async move |tx| sign_in::failed(tx, &name, &address).await).await?;
        return Err(Refusal::new(
            Kind::SignedOut,
            "Not signed in",
            "Name and password do not go together.",
            "Try again, or ask an owner for a new link.",
        )
        .into());
    };
    let token = chance.token()?;
    let hash = token.hash();
    store
        .write(Actor::Person(person.id), async move |tx| {
            let now_us = tx.at_us;
            sign_in::sweep(tx, now_us - IDLE_US, now_us - LONGEST_US).await?;
            sign_in::forget_failures(tx, now_us - GUESS_US).await?;
            sign_in::begin(tx, &hash, person.id).await
        })
        .await?;
    Ok(token)
}

fn too_many() -> Error {
    Refusal {
        wait_s: Some(60),
        ..Refusal::new(
            Kind::TooMany,
            "Too many tries",
            "Ten tries failed within a minute.",
            "Wait a minute, then try again; an owner can send a new link.",
        )
    }
    .into()
}

/// Signs a browser out.
///
/// # Errors
/// When the store fails.
pub async fn sign_out(store: &Store, by: Actor, hash: [u8; 32]) -> Result<()> {
    Ok(store.write(by, async move |tx| sign_in::end(tx, &hash).await).await?)
}

/// Notes that the person typed the password again, after checking it; tries count as those of signing in.
///
/// # Errors
/// Refused when it is wrong, and after too many tries.
pub async fn type_again(
    store: &Store,
    passwords: &Passwords,
    hash: [u8; 32],
    id: PersonId,
    tried: Try,
) -> Result<()> {
    let turn = passwords.turn().await?;
    let Try { name, password, address } = tried;
    let since_us = store.clock().now_us() - GUESS_US;
    let mut db = store.read().await?;
    let (by_name, by_address) = sign_in::failures(&mut db, &name, &address, since_us).await?;
    let person = people::by_id(&mut db, id).await?;
    drop(db);
    if by_name >= GUESSES || by_address >= GUESSES {
        return Err(too_many());
    }
    if turn.check(password, person.map(|person| person.password_hash)).await? {
        return Ok(store
            .write(Actor::Person(id), async move |tx| sign_in::password_typed(tx, &hash).await)
            .await?);
    }
    store.write(Actor::Server, async move |tx| sign_in::failed(tx, &name, &address).await).await?;
    Err(Refusal::field("password", "This is not your password; type it again.").into())
}

/// The token of the link that makes the first owner's account, when there is no account yet. Each start makes a new
/// link and takes the unused ones of earlier starts back.
///
/// # Errors
/// When the store fails.
pub async fn first_link(store: &Store, chance: &Chance) -> Result<Option<Token>> {
    let token = chance.token()?;
    let hash = token.hash();
    let made = store
        .write(Actor::Server, async move |tx| {
            if !people::all(tx).await?.is_empty() {
                return Ok::<_, StoreError>(false);
            }
            let now_us = tx.at_us;
            for old in people::invitations(tx).await?.iter().filter(|old| old.open(now_us)) {
                people::revoke_invitation(tx, old.id).await?;
            }
            people::invite(tx, &hash, Role::Owner, now_us + INVITATION_US).await?;
            Ok(true)
        })
        .await?;
    Ok(made.then_some(token))
}

/// Makes an invitation: the token of its link, shown once.
///
/// # Errors
/// When the store fails.
pub async fn invite(store: &Store, chance: &Chance, by: Actor, role: Role) -> Result<Token> {
    let token = chance.token()?;
    let hash = token.hash();
    store
        .write(by, async move |tx| {
            let expires_us = tx.at_us + INVITATION_US;
            people::invite(tx, &hash, role, expires_us).await
        })
        .await?;
    Ok(token)
}

/// The open invitation whose link carries this token.
///
/// # Errors
/// Refused when there is none, or it was used, taken back or has run out.
pub async fn invitation(store: &Store, token: &str) -> Result<Invitation> {
    let found = people::invitation(&mut *store.read().await?, &token_hash(token)).await?;
    found.filter(|found| found.open(store.clock().now_us())).ok_or_else(used_up)
}

fn used_up() -> Error {
    Refusal::new(
        Kind::Missing,
        "This link makes no account",
        "It was used already, taken back, or is older than seven days.",
        "If the account is yours, sign in; otherwise ask an owner for a new link.",
    )
    .into()
}

/// Makes the account of an invitation.
///
/// # Errors
/// Refused when the link is not good any more, the name is taken or empty, or the password is too easy.
pub async fn accept(
    store: &Store,
    passwords: &Passwords,
    chance: &Chance,
    token: &str,
    name: &str,
    password: String,
) -> Result<PersonId> {
    let invitation = invitation(store, token).await?;
    let name = name.trim().to_owned();
    let mut wrong = Vec::new();
    if !(1..=NAME_LENGTH).contains(&name.chars().count()) {
        wrong.push(("name", format!("A name has 1 to {NAME_LENGTH} characters.")));
    }
    if let Some(says) = wrong_with(&password, &name) {
        wrong.push(("password", says));
    }
    if !wrong.is_empty() {
        return Err(Refusal::fields(wrong).into());
    }
    let hash = passwords.turn().await?.hash(password, chance).await?;
    store
        .write(Actor::Server, async move |tx| {
            let person = people::add(tx, &name, invitation.role, &hash).await?;
            match people::use_invitation(tx, invitation.id, person).await {
                Err(StoreError::Stale) => Err(used_up()),
                done => Ok(done.map(|()| person)?),
            }
        })
        .await
}

/// Takes an invitation back.
///
/// # Errors
/// Refused when it was used or taken back already.
pub async fn take_back(store: &Store, by: Actor, id: InvitationId) -> Result<()> {
    let done = store.write(by, async move |tx| people::revoke_invitation(tx, id).await).await;
    gone(done, "This link was used or taken back already.")
}

/// What an owner changes about a person.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Change {
    /// What they may do.
    Role(Role),
    /// Whether they may sign in.
    Disabled(bool),
}

/// Changes what a person may do and signs them out everywhere; `version` is the one that was read.
///
/// # Errors
/// Refused when somebody was faster, and when no owner would be left.
pub async fn change(store: &Store, by: Actor, id: PersonId, version: i64, change: Change) -> Result<Person> {
    store
        .write(by, async move |tx| {
            let before = people::by_id(tx, id).await?.ok_or_else(|| Refusal::missing("person", id))?;
            match change {
                Change::Role(role) => people::set_role(tx, id, version, role).await,
                Change::Disabled(disabled) => people::set_disabled(tx, id, version, disabled).await,
            }
            .map_err(|error| stale(error, &before, change))?;
            if people::owners(tx).await? == 0 {
                return Err(last_owner());
            }
            people::by_id(tx, id).await?.ok_or_else(|| Refusal::missing("person", id).into())
        })
        .await
}

fn stale(error: StoreError, now: &Person, change: Change) -> Error {
    let StoreError::Stale = error else { return error.into() };
    let state = |disabled| if disabled { "disabled" } else { "may sign in" };
    let (yours, theirs) = match change {
        Change::Role(role) => (role.word(), now.role.word()),
        Change::Disabled(disabled) => (state(disabled), state(now.disabled)),
    };
    Refusal::stale(&now.name, yours, theirs).into()
}

fn last_owner() -> Error {
    Refusal::new(
        Kind::Clash,
        "The last owner",
        "Somebody must look after people: this is the last owner who can sign in.",
        "Make somebody else an owner first.",
    )
    .into()
}

/// Makes a rig key: its token, shown once.
///
/// # Errors
/// Refused when the label is empty or there is no such rig.
pub async fn make_key(store: &Store, chance: &Chance, by: Actor, rig: RigId, label: &str) -> Result<Token> {
    let label = label.trim().to_owned();
    if !(1..=NAME_LENGTH).contains(&label.chars().count()) {
        return Err(Refusal::field("label", format!("A label has 1 to {NAME_LENGTH} characters.")).into());
    }
    let token = chance.token()?;
    let hash = token.hash();
    store.write(by, async move |tx| rig_keys::add(tx, rig, &label, &hash).await).await?;
    Ok(token)
}

/// Takes a rig key back.
///
/// # Errors
/// Refused when it was taken back already.
pub async fn revoke_key(store: &Store, by: Actor, id: RigKeyId) -> Result<()> {
    let done = store.write(by, async move |tx| rig_keys::revoke(tx, id).await).await;
    gone(done, "This key was taken back already.")
}

fn gone(done: std::result::Result<(), StoreError>, says: &str) -> Result<()> {
    match done {
        Err(StoreError::Stale) => {
            Err(Refusal::new(Kind::Clash, "Nothing to take back", says, "Open the page again.").into())
        }
        done => Ok(done?),
    }
}

/// The rig key with this token, noted as used.
///
/// # Errors
/// When the store fails.
pub async fn rig_key(store: &Store, token: &str) -> Result<Option<RigKey>> {
    let found = rig_keys::find(&mut *store.read().await?, &token_hash(token)).await?;
    let Some(key) = found else { return Ok(None) };
    let now_us = store.clock().now_us();
    if key.last_used_us.is_none_or(|last_us| now_us - last_us >= NOTE_US) {
        let id = key.id;
        store.write(Actor::RigKey(id), async move |tx| rig_keys::used(tx, id).await).await?;
    }
    Ok(Some(key))
}

/// Everything the page of people shows.
#[derive(Debug)]
pub struct Overview {
    /// Everybody.
    pub people: Vec<Person>,
    /// Links that still make an account.
    pub invitations: Vec<Invitation>,
    /// All rig keys.
    pub keys: Vec<RigKey>,
    /// Entries of the trail, newest first.
    pub trail: Vec<Entry>,
    /// Where the trail stands, for noting elsewhere.
    pub head: String,
}

/// Reads the overview in one view of the store; the trail from before entry `before`, at most `count`.
///
/// # Errors
/// When the store fails.
pub async fn overview(store: &Store, before: Option<i64>, count: u32) -> Result<Overview> {
    let now_us = store.clock().now_us();
    let mut db = store.read().await?;
    let mut invitations = people::invitations(&mut db).await?;
    invitations.retain(|invitation| invitation.open(now_us));
    Ok(Overview {
        people: people::all(&mut db).await?,
        invitations,
        keys: rig_keys::all(&mut db).await?,
        trail: audit::before(&mut db, before.unwrap_or(i64::MAX), count).await?,
        head: audit::head(&mut db).await.map_err(StoreError::from)?.to_string(),
    })
}
