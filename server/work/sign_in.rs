//! Signing in and out: sessions, passwords, and what slows guessers down.

use crate::chance::{Chance, Token};
use crate::clock::US_PER_S;
use crate::store::sign_in::{self, SignedIn};
use crate::store::{Actor, PersonId, Store, people};

use super::passwords::{Passwords, wrong_with};
use super::{Kind, Refusal, Result};

/// A browser not heard of for so long is signed out.
pub const IDLE_US: i64 = 60 * 60 * US_PER_S;
/// A browser signed in so long ago is signed out.
pub const LONGEST_US: i64 = 12 * 60 * 60 * US_PER_S;
/// That a browser was heard of is noted at most so often.
const NOTE_US: i64 = 60 * US_PER_S;
/// Failed tries within [`GUESS_US`] for a name, and from an address, after which no more are taken.
const GUESSES: i64 = 10;
const GUESS_US: i64 = 60 * US_PER_S;

/// SHA-256 of a session's token.
pub type TokenHash = [u8; 32];

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
        store.note(Actor::Server, async move |tx| sign_in::seen(tx, &hash).await).await;
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
    may_try(store, &name, &address).await?;
    let person = people::by_name(&mut *store.read().await?, &name).await?.filter(|person| !person.disabled);
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

/// Refuses for a while after too many failed tries for this name or from this address.
async fn may_try(store: &Store, name: &str, address: &str) -> Result<()> {
    let since_us = store.clock().now_us() - GUESS_US;
    let failed = sign_in::failures(&mut *store.read().await?, name, address, since_us).await?;
    if failed.0.max(failed.1) < GUESSES {
        return Ok(());
    }
    let refusal = Refusal::new(
        Kind::TooMany,
        "Too many tries",
        "Ten tries failed within a minute.",
        "Wait a minute, then try again; an owner can send a new link.",
    );
    Err(Refusal { wait_s: Some(60), ..refusal }.into())
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
    may_try(store, &name, &address).await?;
    let person = people::by_id(&mut *store.read().await?, id).await?;
    if turn.check(password, person.map(|person| person.password_hash)).await? {
        return Ok(store
            .write(Actor::Person(id), async move |tx| sign_in::password_typed(tx, &hash).await)
            .await?);
    }
    store.write(Actor::Server, async move |tx| sign_in::failed(tx, &name, &address).await).await?;
    Err(Refusal::field("password", "This is not your password; type it again.").into())
}

/// Sets one's own password after checking the present one, and signs out everywhere.
///
/// # Errors
/// As [`type_again`]; refused when the new one is too easy.
pub async fn change_password(
    store: &Store,
    passwords: &Passwords,
    chance: &Chance,
    (hash, id, tried): (TokenHash, PersonId, Try),
    new: String,
) -> Result<()> {
    if let Some(says) = wrong_with(&new, &tried.name) {
        return Err(Refusal::field("new", says).into());
    }
    type_again(store, passwords, hash, id, tried).await?;
    let phc = passwords.turn().await?.hash(new, chance).await?;
    Ok(store.write(Actor::Person(id), async move |tx| people::set_password(tx, id, &phc).await).await?)
}
