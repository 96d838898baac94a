//! One reading: its repeats with their rulings, what stands around them, and its files.

use axum::extract::State;
use axum::response::Response;
use weighhouse_web::format::{self, Unit};
use weighhouse_web::pages::{self, Field, ProofLine, Undo};
use weighhouse_web::paths;

use super::super::App;
use super::super::piece_frame::{at, in_piece};
use super::super::resources::Of;
use super::super::respond::{Wants, done, done_with, refill, respond};
use super::super::sent::Sent;
use super::super::session::{Member, SignedIn};
use super::{HERE, read, sitting_why};
use crate::store::pieces::Piece;
use crate::store::proofs::{self, Proof};
use crate::store::readings::Reading;
use crate::store::rulings::Verdict;
use crate::work::evidence::Evidence;
use crate::work::figures::{What, value};
use crate::work::readings::keep::{self, RepeatRuling};
use crate::work::readings::{self, Group, typed};
use crate::work::registers::Typed;
use crate::work::{Error, Refusal, Result};

/// The reading.
pub(in crate::http) async fn show(
    State(app): State<App>,
    who: SignedIn,
    wants: Wants,
    (Of(piece), Of(reading)): (Of<Piece>, Of<Reading>),
) -> Result<Response> {
    respond(wants, &page(&app, &who, &piece, &reading).await?)
}

/// Adds repeats.
pub(in crate::http) async fn more(
    State(app): State<App>,
    who: Member,
    wants: Wants,
    (Of(piece), Of(reading)): (Of<Piece>, Of<Reading>),
    sent: Sent,
) -> Result<Response> {
    let evidence = read(&app, &piece).await?;
    let kind = evidence.readings.kinds.get(&reading.fields.kind_id);
    let kind = kind.ok_or_else(|| Refusal::missing("kind", reading.fields.kind_id))?;
    let text = |field: &str| sent.text(field);
    match typed::read_more(kind, &reading, Typed::new(&text)) {
        Ok(values) => {
            let says = format!("{} added.", format::plural(values.len() as u64, "repeat is", "repeats are"));
            keep::add_repeats(&app.store, sent.by(&who), &reading, values).await?;
            Ok(done(&who, wants, &paths::reading(&piece.key, &reading.key), says))
        }
        Err(Error::Refused(refusal)) => {
            let page = page(&app, &who, &piece, &reading).await?;
            let more = sent.field("more", &refusal);
            refill(wants, &pages::Reading { more, ..page }, *refusal)
        }
        Err(error) => Err(error),
    }
}

/// Rules on a repeat.
pub(in crate::http) async fn rule(
    State(app): State<App>,
    who: Member,
    wants: Wants,
    (Of(piece), Of(reading)): (Of<Piece>, Of<Reading>),
    sent: Sent,
) -> Result<Response> {
    let n: i64 = sent.read("repeat", "a whole number")?;
    let word = sent.text("verdict");
    let verdict = Verdict::parse(word).ok_or_else(|| {
        Refusal::field("verdict", format!("'{word}' is no ruling: choose 'keep' or 'set aside'."))
    })?;
    let asked = RepeatRuling { verdict, reason: sent.text("reason").to_owned(), version: sent.version()? };
    match keep::rule(&app.store, sent.by(&who), &reading, n, asked).await {
        Ok(before) => {
            let fields = [
                ("repeat", n.to_string()),
                ("verdict", before.verdict.to_string()),
                ("reason", before.reason),
                ("version", before.version.to_string()),
            ];
            let fields = fields.map(|(name, text)| (name.to_owned(), text)).to_vec();
            let undo = Undo { action: paths::reading_ruling(&piece.key, &reading.key), fields };
            let says = match verdict {
                Verdict::Keep => format!("Repeat {n} counts."),
                Verdict::Open => format!("No ruling stands on repeat {n} now."),
                Verdict::SetAside | Verdict::RunAgain => format!("Repeat {n} is set aside."),
            };
            Ok(done_with(&who, wants, &paths::reading(&piece.key, &reading.key), says, Some(undo)))
        }
        Err(Error::Refused(refusal)) if !refusal.fields.is_empty() => {
            let page = page(&app, &who, &piece, &reading).await?;
            refill(wants, &pages::Reading { refused: refusal.says.clone(), ..page }, *refusal)
        }
        Err(error) => Err(error),
    }
}

/// The page of a reading.
pub(super) async fn page(
    app: &App,
    who: &SignedIn,
    piece: &Piece,
    reading: &Reading,
) -> Result<pages::Reading> {
    let evidence = read(app, piece).await?;
    let mut db = app.store.read().await?;
    let files = proofs::of_reading(&mut db, reading.id).await?;
    drop(db);
    let of = readings::of(reading);
    let group = evidence.readings.group(of).ok_or_else(|| Refusal::missing("reading", &reading.key))?;
    let what = What::from(of);
    let valued = value::value(&evidence, &what);
    Ok(pages::Reading {
        frame: in_piece(app, who, piece, HERE, evidence.to_review().count()),
        piece: piece.key.clone(),
        zone: piece.fields.deadline_zone.clone(),
        sitting: sitting_why(&evidence, reading),
        kind: format::sentence(&group.kind.fields.name),
        subject: group.subject(&evidence),
        value: valued.as_ref().map_or_else(|| format::NOTHING.to_owned(), |v| v.shown(v.places())),
        interval: valued.as_ref().map_or_else(String::new, value::Valued::interval_shown),
        method: valued
            .as_ref()
            .map_or_else(|| "No repeat counts.".to_owned(), |valued| value::method(&evidence, &what, valued)),
        around: around(&evidence, &group, reading),
        proofs: files.into_iter().map(proof).collect(),
        by: reading.person.clone(),
        made: at(reading.made_us),
        figure: valued.map_or_else(String::new, |_| what.json()),
        reasons: keep::REASONS.map(str::to_owned).to_vec(),
        more: Field::default(),
        refused: String::new(),
    })
}

/// What stands around the repeats, a label and a text each.
fn around(evidence: &Evidence, group: &Group<'_>, reading: &Reading) -> Vec<(String, String)> {
    let f = &reading.fields;
    let unit = &group.kind.fields.unit;
    let level = |text: &String| format::text_in(text, unit);
    let degrees = |text: &String| format::text_in(text, Unit::C.sign());
    let lines = [
        ("Where", Some(group.place(evidence))),
        ("On", Some(sitting_why(evidence, reading).on)),
        ("Background", f.background.as_ref().map(level)),
        ("Temperature of the part", f.part_c.as_ref().map(degrees)),
        ("Air before the cooler", f.ambient_c.as_ref().map(degrees)),
        ("Note", Some(f.note.clone()).filter(|note| !note.is_empty())),
    ];
    lines.into_iter().filter_map(|(label, text)| Some((label.to_owned(), text?))).collect()
}

fn proof(of: Proof) -> ProofLine {
    ProofLine {
        id: of.id.0,
        name: of.name,
        kind: of.kind.to_string(),
        size: format::bytes(u64::try_from(of.bytes).unwrap_or(0)),
        digest: of.digest,
        by: of.person,
    }
}
