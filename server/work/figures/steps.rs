//! Making figures and taking steps with them: propose, agree, withdraw.
//!
//! What a figure rests on is computed outside the transaction that keeps a step. So that it is the present state all
//! the same, the transaction looks whether anything in the store moved since it was read (the head of the audit
//! trail tells), and if so all is read anew.

use serde::{Deserialize, Serialize};

use super::digest::Fields;
use super::ledger::{Ledger, Seen, ledger};
use super::state::{Agreeing, May, Now, may_agree, may_propose, state};
use super::value::{self, Valued};
use super::what::What;
use crate::chance::Chance;
use crate::store::audit;
use crate::store::figures::{self, FigureFields, NewStep, Step};
use crate::store::pieces::Piece;
use crate::store::{FigureId, PieceId, Store, StoreError, Tx};
use crate::work::evidence::Evidence;
use crate::work::once::By;
use crate::work::{Error, Kind, Refusal, Result};

/// How often all is read anew before it is left to the person.
pub(super) const TRIES: usize = 6;
/// Characters of a name, and most decimal places: the schema's rules.
const NAME_LENGTH: usize = 200;
const MOST_PLACES: i64 = 6;
/// How far a value typed blind from the chart may lie from the figure's, as a share of it (of a ratio: of 1).
const READING: f64 = 0.02;

/// What a new figure would be.
#[derive(Clone, Debug)]
pub struct Suggested {
    /// Its value now.
    pub valued: Valued,
    /// Name and places.
    pub fields: FigureFields,
    /// How it is come by.
    pub method: String,
}

/// What a figure of this would be called and how it would be printed.
///
/// # Errors
/// Refused when it has no value now.
pub async fn suggest(store: &Store, piece: PieceId, what: &What) -> Result<(Evidence, Suggested)> {
    let evidence = Evidence::of_piece(store, piece).await?.ok_or_else(|| Refusal::missing("piece", piece))?;
    let suggested = suggested(&evidence, what)?;
    Ok((evidence, suggested))
}

/// As [`suggest()`], from evidence that was read before.
///
/// # Errors
/// Refused when it has no value.
pub fn suggested(evidence: &Evidence, what: &What) -> Result<Suggested> {
    let valued = value::value(evidence, what).ok_or_else(no_value)?;
    let name: String = value::name(evidence, what).chars().take(NAME_LENGTH).collect();
    let fields = FigureFields { name, places: valued.places(), note: String::new() };
    let method = value::method(evidence, what, &valued);
    Ok(Suggested { valued, fields, method })
}

fn no_value() -> Refusal {
    let says = "It has no value now: a cell that it needs has no kept pass with this measure, or is not in this piece.";
    Refusal::new(Kind::Clash, "No value", says, "Record or keep a pass of that cell first.")
}

/// Makes a figure; its key. One that is there already is left as it is.
///
/// # Errors
/// Refused when name or places cannot be kept, or it has no value.
pub async fn make(
    store: &Store,
    chance: &Chance,
    by: impl Into<By>,
    piece: &Piece,
    (what, fields): (What, FigureFields),
) -> Result<String> {
    let by = by.into();
    if let Some(first) = by.first(store).await? {
        return Ok(first);
    }
    check(&fields)?;
    suggest(store, piece.id, &what).await?;
    let (piece, key, what) = (piece.id, chance.key()?, what.json());
    by.write(store, async move |tx| {
        if let Some(there) = figures::find(tx, piece, &what).await? {
            return Ok(there.key);
        }
        figures::add(tx, &key, piece, &what, &fields).await?;
        Ok(key)
    })
    .await
}

/// Changes name, places or note of a figure. Other places print another value: what was agreed on lapses then.
///
/// # Errors
/// Refused when they cannot be kept, or somebody was faster.
pub async fn edit(
    store: &Store,
    by: impl Into<By>,
    id: FigureId,
    version: i64,
    fields: FigureFields,
) -> Result<()> {
    check(&fields)?;
    by.into().write(store, async move |tx| Ok(figures::edit(tx, id, version, &fields).await?)).await
}

fn check(fields: &FigureFields) -> Result<()> {
    let mut wrong = Vec::new();
    if !(1..=NAME_LENGTH).contains(&fields.name.trim().chars().count()) {
        wrong.push(("name", format!("A name has 1 to {NAME_LENGTH} characters.")));
    }
    if !(0..=MOST_PLACES).contains(&fields.places) {
        wrong.push(("places", format!("Decimal places are 0 to {MOST_PLACES}.")));
    }
    if wrong.is_empty() { Ok(()) } else { Err(Refusal::fields(wrong).into()) }
}

/// A figure that a step is asked for.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Asked {
    /// Its key.
    pub key: String,
    /// The digest that the person saw beside it.
    pub digest: String,
}

/// A step that is asked for.
#[derive(Clone, Debug)]
pub struct Steps {
    /// Which.
    pub step: Step,
    /// With which figures of the piece; all or none are kept.
    pub figures: Vec<Asked>,
    /// The value typed blind from the chart; empty otherwise.
    pub typed: String,
}

/// Takes a step with figures of a piece: the names of these figures, one a line.
///
/// # Errors
/// Refused, naming the figure, when the step may not be taken, or what the person saw is not what is there now.
pub async fn take(store: &Store, by: impl Into<By>, piece: PieceId, asked: Steps) -> Result<String> {
    if asked.figures.is_empty() {
        return Err(Refusal::field("figure", "Tick at least one figure.").into());
    }
    let by = by.into();
    if let Some(first) = by.first(store).await? {
        return Ok(first);
    }
    for _ in 0..TRIES {
        let read = ledger(store, piece).await?;
        let (prepared, seq) = (prepare(&read, &asked)?, read.head.seq);
        let kept = by.clone().write(store, async move |tx| {
            if audit::head(tx).await.map_err(StoreError::from)?.seq != seq {
                return Err(overtaken().into());
            }
            keep(tx, &prepared).await
        });
        match kept.await {
            Err(Error::Refused(refusal)) if *refusal == overtaken() => {}
            done => return done,
        }
    }
    Err(overtaken().into())
}

/// Something changed while a step was held against what it rests on.
pub(super) fn overtaken() -> Refusal {
    let says = "So much changed at the same moment that it could not be held against what it rests on.";
    Refusal::new(Kind::NotNow, "Not kept", says, "Send it again in a moment; nothing was changed.")
}

/// A step computed outside the transaction that keeps it.
#[derive(Clone, Debug)]
struct Prepared {
    id: FigureId,
    name: String,
    now: Now,
    seen_digest: String,
    valued: Option<Valued>,
    new: NewStep,
    typed: String,
    working_alone: bool,
}

fn prepare(read: &Ledger, asked: &Steps) -> Result<Vec<Prepared>> {
    let working_alone = read.evidence.piece.fields.working_alone;
    let each = asked.figures.iter().map(|one| {
        let seen = read.figure(&one.key).ok_or_else(|| Refusal::missing("figure", &one.key))?;
        Ok(Prepared {
            id: seen.figure.id,
            name: seen.figure.fields.name.clone(),
            now: seen.now.clone(),
            seen_digest: one.digest.clone(),
            valued: seen.valued.clone(),
            new: new_step(seen, asked.step),
            typed: asked.typed.clone(),
            working_alone,
        })
    });
    each.collect()
}

fn new_step(seen: &Seen, step: Step) -> NewStep {
    step_of(step, &seen.fields, seen.valued.as_ref(), seen.now.shown.clone())
}

/// A step as it is kept, of a figure that rests on `fields`.
pub(super) fn step_of(
    step: Step,
    fields: &Fields,
    valued: Option<&Valued>,
    shown: Option<String>,
) -> NewStep {
    NewStep {
        step,
        digest: fields.sha256(),
        rests_on: fields.text(),
        value: valued.map_or_else(String::new, Valued::full),
        shown: shown.unwrap_or_default(),
        alone: false,
    }
}

/// Decides on each step from the steps as they stand in the transaction, and keeps them all.
async fn keep(tx: &mut Tx<'_>, prepared: &[Prepared]) -> Result<String> {
    for one in prepared {
        let steps = figures::steps(tx, one.id).await?;
        let state = state(&steps, &one.now);
        let mut new = one.new.clone();
        if new.step == Step::Withdraw {
            if state.proposal.is_none() {
                return Err(refused(&one.name, "It is not proposed, so there is nothing to withdraw."));
            }
        } else {
            one.as_seen()?;
        }
        match new.step {
            Step::Propose => may_propose(&state).map_err(|says| refused(&one.name, says))?,
            Step::Agree => new.alone = one.agree(tx, &state)?,
            Step::Withdraw => {}
        }
        figures::take_step(tx, one.id, &new).await?;
    }
    Ok(prepared.iter().map(|one| one.name.as_str()).collect::<Vec<_>>().join("\n"))
}

impl Prepared {
    /// Refuses what the person did not see.
    fn as_seen(&self) -> Result<()> {
        if self.valued.is_none() {
            return Err(no_value().into());
        }
        if self.seen_digest.is_empty() {
            return Err(Refusal::no_version().into());
        }
        if self.seen_digest == self.now.digest {
            return Ok(());
        }
        let theirs = self.now.shown.clone().unwrap_or_default();
        let thing = format!("what '{}' rests on", self.name);
        Err(Refusal::stale(&thing, "what you saw beside it", theirs).into())
    }

    /// Whether it is agreed alone.
    fn agree(&self, tx: &Tx<'_>, state: &super::state::State) -> Result<bool> {
        let Some(person) = tx.by.person() else { return Err(refused(&self.name, "Only people agree.")) };
        let who = Agreeing { person, at_us: tx.at_us, working_alone: self.working_alone };
        match may_agree(state, &self.now, who) {
            May::Another => Ok(false),
            May::Not(says) => Err(refused(&self.name, says)),
            May::Alone => self.read_blind().map(|()| true),
        }
    }

    /// Working alone, the value is typed from the chart while it is hidden.
    fn read_blind(&self) -> Result<()> {
        let text = self.typed.replace(['−', '–'], "-");
        let number = text.trim_matches(|c: char| !(c.is_ascii_digit() || c == '-' || c == '.'));
        let typed: f64 = number.parse().map_err(|_| {
            Refusal::field("typed", "Type the value that you read from the chart, as a number.")
        })?;
        let Some(valued) = &self.valued else { return Err(no_value().into()) };
        let (typed, by) =
            if valued.is_ratio { (1.0 + typed / 100.0, 1.0) } else { (typed, valued.value.abs()) };
        if (typed - valued.value).abs() <= READING * by {
            return Ok(());
        }
        let says =
            "This is not what the chart shows; look at it again, and at the figure if it says otherwise.";
        Err(Refusal::field("typed", says).into())
    }
}

fn refused(name: &str, says: &str) -> Error {
    let mend = "Untick it, or do what it asks for; nothing was changed.";
    Refusal::new(Kind::Clash, "Not kept", format!("'{name}': {says}"), mend).into()
}
