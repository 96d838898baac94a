//! People: accounts, the one-time links that make them, rig keys.

use crate::chance::{Chance, Token, token_hash};
use crate::clock::US_PER_S;
use crate::store::audit::{self, Entry};
use crate::store::people::{self, Invitation, Person, Role};
use crate::store::registers::rigs;
use crate::store::rig_keys::{self, RigKey};
use crate::store::{Actor, InvitationId, PersonId, RigId, RigKeyId, Store, StoreError, Tx};

use super::once::By;
use super::passwords::{Passwords, wrong_with};
use super::{Error, Kind, Refusal, Result};

/// How long a one-time link is good.
pub const INVITATION_US: i64 = 7 * 24 * 60 * 60 * US_PER_S;
/// That a key was used is noted at most so often.
pub(super) const NOTE_US: i64 = 60 * US_PER_S;
/// Characters of a name: the schema's rule.
const NAME_LENGTH: usize = 80;

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
/// Refused when it was made for an earlier run of the service, which alone could tell its token again.
pub async fn invite(store: &Store, chance: &Chance, by: impl Into<By>, role: Role) -> Result<Token> {
    secret(store, chance, by.into(), async move |tx, hash| {
        let expires_us = tx.at_us + INVITATION_US;
        people::invite(tx, hash, role, expires_us).await?;
        Ok(())
    })
    .await
}

/// Keeps the hash of a new token with what it opens. A request that comes twice makes one, and is told the same token.
pub(super) async fn secret(
    store: &Store,
    chance: &Chance,
    by: By,
    keep: impl AsyncFnOnce(&mut Tx<'_>, &[u8; 32]) -> Result<()> + Send + 'static,
) -> Result<Token> {
    let token = match by.request() {
        Some(request) => chance.token_for(&request)?,
        None => chance.token()?,
    };
    let hash = token.hash();
    let kept: [u8; 32] = by
        .write(store, async move |tx| {
            keep(tx, &hash).await?;
            Ok(hash)
        })
        .await?;
    if kept == hash { Ok(token) } else { Err(told_already().into()) }
}

fn told_already() -> Refusal {
    Refusal::new(
        Kind::Clash,
        "Made and shown already",
        "This was made before the service was started again; it was shown then and is nowhere kept.",
        "If nobody noted it, take it back and make another.",
    )
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
pub async fn take_back(store: &Store, by: impl Into<By>, id: InvitationId) -> Result<()> {
    let says = "This link was used or taken back already.";
    by.into().write(store, async move |tx| gone(people::revoke_invitation(tx, id).await, says)).await
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
pub async fn change(
    store: &Store,
    by: impl Into<By>,
    id: PersonId,
    version: i64,
    change: Change,
) -> Result<Person> {
    by.into()
        .write(store, async move |tx| {
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
        Change::Role(role) => (role.as_str(), now.role.as_str()),
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
/// Refused when the label is empty or there is no such rig, and as [`invite`].
pub async fn make_key(
    store: &Store,
    chance: &Chance,
    by: impl Into<By>,
    rig: RigId,
    label: &str,
) -> Result<Token> {
    let label = label.trim().to_owned();
    if !(1..=NAME_LENGTH).contains(&label.chars().count()) {
        return Err(Refusal::field("label", format!("A label has 1 to {NAME_LENGTH} characters.")).into());
    }
    secret(store, chance, by.into(), async move |tx, hash| {
        if rigs::by_id(tx, rig).await?.is_none() {
            let says = format!("There is no rig {rig}; choose one of the list.");
            return Err(Refusal::field("rig", says).into());
        }
        rig_keys::add(tx, rig, &label, hash).await?;
        Ok(())
    })
    .await
}

/// Takes a rig key back.
///
/// # Errors
/// Refused when it was taken back already.
pub async fn revoke_key(store: &Store, by: impl Into<By>, id: RigKeyId) -> Result<()> {
    let says = "This key was taken back already.";
    by.into().write(store, async move |tx| gone(rig_keys::revoke(tx, id).await, says)).await
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
        store.note(Actor::RigKey(id), async move |tx| rig_keys::used(tx, id).await).await;
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
    /// Rigs that a key can be made for: id and name.
    pub rigs: Vec<(RigId, String)>,
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
        rigs: rigs::all(&mut db).await?.into_iter().map(|rig| (rig.id, rig.fields.name)).collect(),
        trail: audit::before(&mut db, before.unwrap_or(i64::MAX), count).await?,
        head: audit::head(&mut db).await.map_err(StoreError::from)?.to_string(),
    })
}
