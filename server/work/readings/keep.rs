//! Keeping readings: a sitting with its repeats, further repeats, rulings on them, and files that show them.

use serde::{Deserialize, Serialize};
use sha2::{Digest as _, Sha256};

use super::proof;
use super::typed::{Choices, NewReading};
use crate::chance::Chance;
use crate::store::proofs::{self, NewProof};
use crate::store::readings::{self, Reading, ReadingFields, RepeatRow};
use crate::store::registers::{parts, reading_kinds, rigs, tunings};
use crate::store::rulings::Verdict;
use crate::store::{PersonId, ProofId, Store, pieces};
use crate::work::evidence::Evidence;
use crate::work::once::By;
use crate::work::{Kind, Refusal, Result};

/// Reasons that are offered where a repeat is set aside.
pub const REASONS: [&str; 5] = [
    "a door or a voice",
    "traffic outside",
    "the fan had not settled",
    "another program ran beside it",
    "a slip in writing it down",
];

/// What a reading of a piece can be of: its parts at their tunings, and all rigs.
///
/// # Errors
/// When the store fails.
pub async fn choices(store: &Store, evidence: &Evidence) -> Result<Choices> {
    let mut db = store.read().await?;
    let parts = super::parts(evidence);
    let declared = pieces::declared(&mut db, evidence.piece.id).await?;
    Ok(Choices {
        kinds: reading_kinds::all(&mut db).await?,
        tunings: tunings::all(&mut db)
            .await?
            .into_iter()
            .filter(|t| parts.contains(&t.fields.part_id))
            .collect(),
        units: parts::units(&mut db).await?,
        rigs: rigs::all(&mut db).await?,
        bases: rigs::bases(&mut db).await?,
        drivers: parts::drivers(&mut db).await?,
        declared: declared.into_iter().map(|d| (d.part_id, d.driver_id)).collect(),
    })
}

/// Adds a reading: its key.
///
/// # Errors
/// When the store fails.
pub async fn add(store: &Store, chance: &Chance, by: impl Into<By>, new: NewReading) -> Result<String> {
    let key = chance.key()?;
    by.into()
        .write(store, async move |tx| {
            readings::add(tx, &key, &new.fields, &new.repeats).await?;
            Ok(key)
        })
        .await
}

/// Changes what stands around the repeats of a reading.
///
/// # Errors
/// Refused when somebody was faster.
pub async fn edit(
    store: &Store,
    by: impl Into<By>,
    of: &Reading,
    version: i64,
    fields: ReadingFields,
) -> Result<()> {
    let id = of.id;
    by.into().write(store, async move |tx| Ok(readings::edit(tx, id, version, &fields).await?)).await
}

/// Adds repeats behind those that are there.
///
/// # Errors
/// When the store fails.
pub async fn add_repeats(store: &Store, by: impl Into<By>, of: &Reading, values: Vec<String>) -> Result<()> {
    let key = of.key.clone();
    by.into()
        .write(store, async move |tx| {
            let there = readings::by_key(tx, &key).await?.ok_or_else(|| Refusal::missing("reading", &key))?;
            let last = there.repeats.iter().map(|repeat| repeat.n).max().unwrap_or(0);
            Ok(readings::add_repeats(tx, there.id, last, &values).await?)
        })
        .await
}

/// A ruling on a repeat.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct RepeatRuling {
    /// The decision.
    pub verdict: Verdict,
    /// Why; needed where it takes the repeat out, or the place of another person's ruling.
    pub reason: String,
    /// [`RepeatRow::version()`] when the form was made.
    pub version: i64,
}

/// Rules on a repeat. Answers with the ruling that takes this one back.
///
/// # Errors
/// Refused when there is no such repeat, a reason is missing, or it is ruled so already; stale when somebody ruled
/// after the form was made.
pub async fn rule(
    store: &Store,
    by: impl Into<By>,
    of: &Reading,
    n: i64,
    new: RepeatRuling,
) -> Result<RepeatRuling> {
    let key = of.key.clone();
    if matches!(new.verdict, Verdict::SetAside | Verdict::RunAgain) && new.reason.trim().is_empty() {
        return Err(
            Refusal::field("reason", "Say why it does not count: a door, a passing car, a slip.").into()
        );
    }
    by.into()
        .write(store, async move |tx| {
            let there = readings::by_key(tx, &key).await?.ok_or_else(|| Refusal::missing("reading", &key))?;
            let repeat = there.repeats.into_iter().find(|repeat| repeat.n == n);
            let repeat = repeat.ok_or_else(|| Refusal::missing("repeat", n))?;
            if let Some(refusal) = clash(&repeat, &new, tx.by.person()) {
                return Err(refusal.into());
            }
            let ruling = readings::rule(tx, repeat.id, new.verdict, &new.reason).await?;
            Ok(RepeatRuling {
                verdict: repeat.verdict.unwrap_or(Verdict::Open),
                reason: repeat.reason.unwrap_or_default(),
                version: ruling.0,
            })
        })
        .await
}

/// Why a ruling cannot stand in the place of the one that does.
fn clash(repeat: &RepeatRow, new: &RepeatRuling, me: Option<PersonId>) -> Option<Refusal> {
    let n = repeat.n;
    let stands = repeat.verdict.unwrap_or(Verdict::Open);
    let why = repeat.reason.as_deref().unwrap_or("");
    if repeat.version() != new.version {
        let yours = format!("{}: {}", new.verdict, new.reason);
        return Some(Refusal::stale(&format!("repeat {n}"), yours, format!("{stands}: {why}")));
    }
    if repeat.verdict == Some(new.verdict) && why == new.reason {
        let says = format!("Repeat {n} is ruled '{stands}' with that reason already.");
        return Some(Refusal::new(Kind::Clash, "Nothing changed", says, "Read the page again."));
    }
    let another = stands != Verdict::Open && stands != new.verdict && repeat.ruler != me;
    (another && new.reason.trim().is_empty()).then(|| {
        let by = repeat.ruled_by.as_deref().unwrap_or("Somebody else");
        let says = format!("{by} ruled '{stands}' on repeat {n}: say why your ruling takes its place.");
        Refusal::field("reason", says)
    })
}

/// Attaches a file to a reading; one that is there already stays as it is.
///
/// # Errors
/// Refused when it is of no kind that is kept, or not what its name promises.
pub async fn attach(
    store: &Store,
    by: impl Into<By>,
    of: &Reading,
    name: &str,
    bytes: Vec<u8>,
) -> Result<ProofId> {
    let name = proof::name(name);
    let kind = proof::kind(&name, &bytes)?;
    let digest: [u8; 32] = Sha256::digest(&bytes).into();
    let (id, new) = (of.id, NewProof { name, kind, digest });
    by.into()
        .write(store, async move |tx| {
            let hex = crate::work::results::hex(&new.digest);
            let there = proofs::of_reading(tx, id).await?.into_iter().find(|proof| proof.digest == hex);
            match there {
                Some(proof) => Ok(proof.id),
                None => Ok(proofs::add(tx, id, &new, &bytes).await?),
            }
        })
        .await
}
