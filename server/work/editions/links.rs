//! Handing an edition to somebody without an account: a secret address that ends by itself and can be taken back.

use super::{Frozen, editions};
use crate::chance::{Chance, Token, token_hash};
use crate::clock::US_PER_S;
use crate::store::editions::Edition;
use crate::store::{Actor, EditionLinkId, Store, StoreError};
use crate::work::once::By;
use crate::work::{Kind, Refusal, Result, people};

/// Days that a link lasts, at least and at most.
const DAYS: std::ops::RangeInclusive<i64> = 1..=90;
/// Openings within a minute of another count as the same.
const NOTE_US: i64 = 60 * US_PER_S;

/// An edition as a link shows it.
#[derive(Clone, Debug)]
pub struct Handed {
    /// The edition.
    pub edition: Edition,
    /// What it holds.
    pub frozen: Frozen,
    /// When the link ends, microseconds UTC.
    pub expires_us: i64,
}

/// Makes a link to an edition that lasts so many days.
///
/// # Errors
/// Refused when it would last no day or too many.
pub async fn hand_over(
    store: &Store,
    chance: &Chance,
    by: impl Into<By>,
    edition: &Edition,
    days: i64,
) -> Result<Token> {
    if !DAYS.contains(&days) {
        let says = format!("A link lasts {} to {} days.", DAYS.start(), DAYS.end());
        return Err(Refusal::field("days", says).into());
    }
    let id = edition.id;
    people::secret(store, chance, by.into(), async move |tx, hash| {
        editions::add_link(tx, id, hash, tx.at_us + days * 24 * 3600 * US_PER_S).await?;
        Ok(())
    })
    .await
}

/// Takes a link of an edition back.
///
/// # Errors
/// Refused when it was taken back already.
pub async fn take_back(
    store: &Store,
    by: impl Into<By>,
    edition: &Edition,
    link: EditionLinkId,
) -> Result<()> {
    let id = edition.id;
    by.into()
        .write(store, async move |tx| match editions::revoke_link(tx, id, link).await {
            Err(StoreError::Stale) => Err(Refusal::new(
                Kind::Clash,
                "Nothing to take back",
                "This link was taken back already.",
                "Open the page again.",
            )
            .into()),
            other => Ok(other?),
        })
        .await
}

/// Opens the edition that this token leads to, and notes that it was opened.
///
/// # Errors
/// Refused when there is no such link, it has ended or was taken back.
pub async fn open(store: &Store, token: &str) -> Result<Handed> {
    let now_us = store.clock().now_us();
    let mut db = store.read().await?;
    let link = editions::link(&mut db, &token_hash(token)).await?;
    let link =
        link.filter(|link| link.revoked_us.is_none() && now_us < link.expires_us).ok_or_else(closed)?;
    let edition = editions::by_id(&mut db, link.edition_id).await?.ok_or_else(closed)?;
    drop(db);
    let expires_us = link.expires_us;
    if link.opened_us.is_none_or(|last_us| now_us - last_us >= NOTE_US) {
        store.note(Actor::Server, async move |tx| editions::opened(tx, &link).await).await;
    }
    Ok(Handed { frozen: Frozen::of(&edition)?, edition, expires_us })
}

fn closed() -> Refusal {
    Refusal::new(
        Kind::Missing,
        "No such edition",
        "This address opens no edition: it has ended, was taken back, or is not complete.",
        "Ask whoever gave it to you for a new one.",
    )
}
