//! Editions: the agreed figures of a piece as they went to print, frozen, each later one with what it changes.

mod links;

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};
use weighhouse_web::marks::Standing;

use super::figures::changes;
use super::figures::digest::Fields;
use super::figures::ledger::{Ledger, Seen};
use super::figures::value;
use super::once::By;
use super::{Internal, Kind, Refusal, Result, foot};
use crate::store::editions::{self, Edition};
use crate::store::{PieceId, Store, StoreError, audit};

pub use links::{Handed, hand_over, open, take_back};

/// Form of what is frozen.
const FORMAT: u32 = 1;
/// Characters of a note: the schema's rule.
const NOTE_LENGTH: usize = 400;

/// What an edition holds.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Frozen {
    /// Form of all this, from 1.
    pub format: u32,
    /// Name of the piece.
    pub piece: String,
    /// Its agreed figures, in the order in which they were made.
    pub figures: Vec<FrozenFigure>,
    /// What differs from the edition before; empty in the first.
    pub changes: Vec<FrozenChange>,
    /// The methods page, HTML.
    pub methods: String,
    /// Head of the audit trail just before.
    pub head: String,
}

/// A figure as it was printed.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct FrozenFigure {
    /// Its key.
    pub key: String,
    /// What it is called.
    pub name: String,
    /// What it is: canonical JSON.
    pub what: String,
    /// As it was printed.
    pub printed: String,
    /// The value in full, decimal text.
    pub value: String,
    /// Its 95% interval in words; empty where none is known.
    pub interval: String,
    /// How it was come by.
    pub method: String,
    /// Passes beneath it that were ruled out, with reasons; empty: none.
    pub ruled_out: String,
    /// The team's note.
    pub note: String,
    /// Digest of what it rested on.
    pub digest: String,
    /// Who proposed it.
    pub proposed_by: String,
    /// Who agreed.
    pub agreed_by: String,
    /// Whether that was the proposer, working alone.
    pub alone: bool,
}

/// What became of a figure since the edition before.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct FrozenChange {
    /// What it is called now, or was.
    pub name: String,
    /// As it was printed; `None`: it was not in it.
    pub was: Option<String>,
    /// As it is printed; `None`: it is no longer in it.
    pub is: Option<String>,
    /// What changed beneath it, in sentences.
    pub why: Vec<String>,
}

impl Frozen {
    /// What an edition holds.
    ///
    /// # Errors
    /// When it is of a form that this version does not know.
    pub fn of(edition: &Edition) -> Result<Self> {
        Ok(serde_json::from_str(&edition.body)
            .map_err(|e| Internal(format!("edition {} cannot be read: {e}", edition.id)))?)
    }
}

/// Why the figures cannot be frozen as they stand, a sentence each; empty: they can.
pub fn in_the_way(ledger: &Ledger) -> Vec<String> {
    let why = |seen: &Seen| {
        let says = match seen.state.standing {
            _ if !seen.disputes.is_empty() => "rulings of two people stand on a pass beneath it: settle them",
            Standing::Lapsed => "it has lapsed: propose or agree to it anew, or withdraw it",
            Standing::Proposed => "it is proposed: another person agrees, or it is withdrawn",
            _ => return None,
        };
        Some(format!("{}: {says}.", seen.figure.fields.name))
    };
    let meant = |seen: &&Seen| !matches!(seen.state.standing, Standing::Draft | Standing::Withdrawn);
    let mut all: Vec<String> = ledger.figures.iter().filter(meant).filter_map(why).collect();
    if all.is_empty() && ledger.agreed().next().is_none() {
        all.push("No figure is agreed yet.".to_owned());
    }
    all
}

/// Freezes the agreed figures of `ledger` with the methods page of the same moment: the number of the edition. Figures
/// that nobody proposed are not in it.
///
/// # Errors
/// Refused when a figure stands in the way, nothing changed since the last edition, the note is too long, or something
/// changed since the ledger was read.
pub async fn freeze(
    store: &Store,
    by: impl Into<By>,
    piece: PieceId,
    (ledger, methods): (&Ledger, String),
    note: &str,
) -> Result<i64> {
    let by = by.into();
    if let Some(first) = by.first(store).await? {
        return Ok(first);
    }
    if note.chars().count() > NOTE_LENGTH {
        return Err(Refusal::field("note", format!("A note has at most {NOTE_LENGTH} characters.")).into());
    }
    let in_the_way = in_the_way(ledger);
    if let Some(first) = in_the_way.first() {
        let more = in_the_way.len() - 1;
        let more = if more > 0 { format!(" And {more} more.") } else { String::new() };
        let mend = "The list on this page says what to do; nothing was frozen.";
        return Err(Refusal::new(Kind::Clash, "Not frozen", format!("{first}{more}"), mend).into());
    }
    let last = editions::of_piece(&mut *store.read().await?, piece).await?.into_iter().next();
    let frozen = frozen(ledger, last.as_ref(), methods)?;
    if last.as_ref().is_some_and(|_| frozen.changes.is_empty()) {
        let says = "Nothing changed since the last edition: it would say the same.";
        return Err(Refusal::new(Kind::Clash, "Not frozen", says, "Give readers the last one.").into());
    }
    let body = serde_json::to_string(&frozen).map_err(|e| Internal(e.to_string()))?;
    let (note, seq, after) = (note.trim().to_owned(), ledger.head.seq, last.map_or(0, |last| last.number));
    by.write(store, async move |tx| {
        let newest = editions::of_piece(tx, piece).await?.first().map_or(0, |edition| edition.number);
        if audit::head(tx).await.map_err(StoreError::from)?.seq != seq || newest != after {
            let says = "Something changed in the store at the same moment.";
            return Err(Refusal::new(Kind::NotNow, "Not frozen", says, "Freeze it again.").into());
        }
        Ok(editions::add(tx, piece, &body, &note).await?)
    })
    .await
}

fn frozen(ledger: &Ledger, last: Option<&Edition>, methods: String) -> Result<Frozen> {
    let figures: Vec<FrozenFigure> = ledger.agreed().map(|seen| figure(ledger, seen)).collect();
    let changes = match last {
        Some(last) => since(ledger, &Frozen::of(last)?.figures, &figures),
        None => Vec::new(),
    };
    let piece = ledger.evidence.piece.fields.name.clone();
    Ok(Frozen { format: FORMAT, piece, figures, changes, methods, head: ledger.head.to_string() })
}

fn figure(ledger: &Ledger, seen: &Seen) -> FrozenFigure {
    let person = |step: &Option<crate::store::figures::FigureStep>| {
        step.as_ref().map_or_else(String::new, |step| step.person.clone())
    };
    let valued = seen.valued.as_ref();
    FrozenFigure {
        key: seen.figure.key.clone(),
        name: seen.figure.fields.name.clone(),
        what: seen.what.json(),
        printed: seen.now.shown.clone().unwrap_or_default(),
        value: valued.map_or_else(String::new, value::Valued::full),
        interval: valued.map_or_else(String::new, value::Valued::interval_shown),
        method: valued.map_or_else(String::new, |v| value::method(&ledger.evidence, &seen.what, v)),
        ruled_out: foot::ruled_out(value::cells(&ledger.evidence, &seen.what)),
        note: seen.figure.fields.note.clone(),
        digest: seen.now.digest.clone(),
        proposed_by: person(&seen.state.proposal),
        agreed_by: seen.state.agreed_by().unwrap_or_default(),
        alone: seen.state.alone(),
    }
}

/// What differs between the figures of two editions, in the order of the new one; then what is gone.
fn since(ledger: &Ledger, before: &[FrozenFigure], now: &[FrozenFigure]) -> Vec<FrozenChange> {
    let was = |key: &str| before.iter().find(|figure| figure.key == key);
    let mut found: Vec<FrozenChange> = now
        .iter()
        .filter_map(|figure| {
            let old = was(&figure.key);
            let moved = old.is_none_or(|old| {
                (&old.digest, &old.printed, &old.name) != (&figure.digest, &figure.printed, &figure.name)
            });
            moved.then(|| FrozenChange {
                name: figure.name.clone(),
                was: old.map(|old| old.printed.clone()),
                is: Some(figure.printed.clone()),
                why: old.map_or_else(Vec::new, |old| why(ledger, old, figure)),
            })
        })
        .collect();
    let gone = before.iter().filter(|old| now.iter().all(|figure| figure.key != old.key));
    found.extend(gone.map(|old| FrozenChange {
        name: old.name.clone(),
        was: Some(old.printed.clone()),
        is: None,
        why: Vec::new(),
    }));
    found
}

/// What changed beneath a figure: what it rested on then stands with the step that agreed to it.
fn why(ledger: &Ledger, old: &FrozenFigure, figure: &FrozenFigure) -> Vec<String> {
    let mut says = Vec::new();
    if old.name != figure.name {
        says.push(format!("It was called '{}'.", old.name));
    }
    let Some(seen) = ledger.figure(&figure.key) else { return says };
    let then = seen.steps.iter().find(|step| step.digest == old.digest);
    if let Some(before) = then.and_then(|step| Fields::read(&step.rests_on))
        && old.digest != figure.digest
    {
        let all = changes::changes(&ledger.evidence, &before, &seen.fields, &BTreeMap::new());
        says.extend(all.into_iter().map(|change| change.says));
    }
    says
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::audit::Head;
    use crate::work::made_up;

    fn printed(key: &str, printed: &str, digest: &str) -> FrozenFigure {
        FrozenFigure {
            key: key.to_owned(),
            name: format!("Figure {key}"),
            what: String::new(),
            printed: printed.to_owned(),
            value: String::new(),
            interval: String::new(),
            method: String::new(),
            ruled_out: String::new(),
            note: String::new(),
            digest: digest.to_owned(),
            proposed_by: String::new(),
            agreed_by: String::new(),
            alone: false,
        }
    }

    #[test]
    fn an_edition_says_what_moved_what_came_and_what_went() {
        let head = Head { seq: 1, digest: [0; 32] };
        let ledger = Ledger { evidence: made_up::piece(1, 1), figures: Vec::new(), quotes: Vec::new(), head };
        let before = [printed("a", "94 fps", "1"), printed("b", "10 W", "1"), printed("c", "5 ms", "1")];
        let renamed = FrozenFigure { name: "Delay".to_owned(), ..printed("c", "5 ms", "1") };
        let now = [printed("a", "95 fps", "2"), renamed, printed("d", "+28%", "1")];
        let told = |change: &FrozenChange| (change.was.clone(), change.is.clone());
        let found = since(&ledger, &before, &now);
        let text = |text: &str| Some(text.to_owned());
        assert_eq!(
            found.iter().map(told).collect::<Vec<_>>(),
            [
                (text("94 fps"), text("95 fps")),
                (text("5 ms"), text("5 ms")),
                (None, text("+28%")),
                (text("10 W"), None)
            ]
        );
        assert_eq!(found[1].why, ["It was called 'Figure c'."]);
        assert_eq!(since(&ledger, &now, &now), []);
        assert_eq!(in_the_way(&ledger), ["No figure is agreed yet."]);
    }
}
