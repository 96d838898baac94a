//! The form for a reading, and for what stands around the repeats of one.

use axum::extract::State;
use axum::response::Response;
use weighhouse_web::pages::{Field, ReadingNew};
use weighhouse_web::paths;

use super::super::App;
use super::super::piece_frame::in_piece;
use super::super::resources::Of;
use super::super::respond::{Wants, done, refill, respond};
use super::super::sent::{Asked, Sent};
use super::super::session::{Member, SignedIn};
use super::{HERE, read};
use crate::store::pieces::Piece;
use crate::store::readings::Reading;
use crate::work::evidence::Evidence;
use crate::work::readings::keep::{self, choices};
use crate::work::readings::typed::{self, Choices};
use crate::work::registers::Typed;
use crate::work::{Error, Result};

/// The fields of the form.
const FIELDS: [&str; 12] = [
    "kind",
    "repeats",
    "tuning",
    "unit",
    "driver",
    "rig",
    "at",
    "background",
    "ambient_c",
    "part_c",
    "fan_rpm",
    "note",
];

/// The form for another reading.
pub(in crate::http) async fn ask(
    State(app): State<App>,
    who: Member,
    wants: Wants,
    Of(piece): Of<Piece>,
    Asked(query): Asked,
) -> Result<Response> {
    let evidence = read(&app, &piece).await?;
    let choices = choices(&app.store, &evidence).await?;
    respond(wants, &page(&app, &who, (&evidence, &choices), None, |name| Field::of(query.text(name))))
}

/// Keeps a reading.
pub(in crate::http) async fn add(
    State(app): State<App>,
    who: Member,
    wants: Wants,
    Of(piece): Of<Piece>,
    sent: Sent,
) -> Result<Response> {
    let evidence = read(&app, &piece).await?;
    let choices = choices(&app.store, &evidence).await?;
    let text = |field: &str| sent.text(field);
    match typed::read(&choices, app.clock.now_us(), Typed::new(&text)) {
        Ok(new) => {
            let key = keep::add(&app.store, &app.chance, sent.by(&who), new).await?;
            let says = "The reading is kept; attach a photo of it below.";
            Ok(done(&who, wants, &paths::reading(&piece.key, &key), says))
        }
        Err(error) => again(&app, &who, wants, (&evidence, &choices), None, &sent, error),
    }
}

/// What stands around the repeats of a reading, to change.
pub(in crate::http) async fn around(
    State(app): State<App>,
    who: Member,
    wants: Wants,
    (Of(piece), Of(reading)): (Of<Piece>, Of<Reading>),
) -> Result<Response> {
    let evidence = read(&app, &piece).await?;
    let choices = choices(&app.store, &evidence).await?;
    let texts = typed::texts(&choices, &reading.fields);
    let text = |name: &str| {
        texts.iter().find(|(of, _)| of == name).map_or_else(String::new, |(_, text)| text.clone())
    };
    let changes = Some((reading.key.clone(), reading.version));
    respond(wants, &page(&app, &who, (&evidence, &choices), changes, |name| Field::of(text(name))))
}

/// Changes what stands around the repeats.
pub(in crate::http) async fn save(
    State(app): State<App>,
    who: Member,
    wants: Wants,
    (Of(piece), Of(reading)): (Of<Piece>, Of<Reading>),
    sent: Sent,
) -> Result<Response> {
    let version = sent.version()?;
    let evidence = read(&app, &piece).await?;
    let choices = choices(&app.store, &evidence).await?;
    let text = |field: &str| sent.text(field);
    match typed::read_again(&choices, &reading, Typed::new(&text)) {
        Ok(fields) => {
            keep::edit(&app.store, sent.by(&who), &reading, version, fields).await?;
            Ok(done(&who, wants, &paths::reading(&piece.key, &reading.key), "Saved."))
        }
        Err(error) => {
            let changes = Some((reading.key.clone(), version));
            again(&app, &who, wants, (&evidence, &choices), changes, &sent, error)
        }
    }
}

/// The form again with what is wrong.
fn again(
    app: &App,
    who: &SignedIn,
    wants: Wants,
    around: (&Evidence, &Choices),
    changes: Option<(String, i64)>,
    sent: &Sent,
    error: Error,
) -> Result<Response> {
    match error {
        Error::Refused(refusal) if !refusal.fields.is_empty() => {
            let page = page(app, who, around, changes, |name| sent.field(name, &refusal));
            refill(wants, &page, *refusal)
        }
        error => Err(error),
    }
}

pub(in crate::http) fn page(
    app: &App,
    who: &SignedIn,
    (evidence, choices): (&Evidence, &Choices),
    changes: Option<(String, i64)>,
    field: impl Fn(&'static str) -> Field,
) -> ReadingNew {
    let names = &evidence.registers;
    let parts = crate::work::readings::parts(evidence);
    let of_part = |id: &crate::store::PartId| parts.contains(id);
    ReadingNew {
        frame: in_piece(app, who, &evidence.piece, HERE, evidence.to_review().count()),
        piece: evidence.piece.key.clone(),
        changes,
        kinds: choices
            .kinds
            .iter()
            .map(|kind| (kind.id.to_string(), format!("{}, {}", kind.fields.name, kind.fields.unit)))
            .collect(),
        tunings: choices
            .tunings
            .iter()
            .map(|tuning| (tuning.id.to_string(), names.tuning_name(tuning.id)))
            .collect(),
        units: choices
            .units
            .iter()
            .filter(|unit| of_part(&unit.fields.part_id))
            .map(|unit| {
                (
                    unit.id.to_string(),
                    format!("{}, {}", names.part_name(unit.fields.part_id), unit.fields.label),
                )
            })
            .collect(),
        drivers: choices
            .drivers
            .iter()
            .filter(|driver| of_part(&driver.fields.part_id))
            .map(|driver| {
                let part = names.part_name(driver.fields.part_id);
                (driver.id.to_string(), format!("{part}, {}", driver.fields.name))
            })
            .collect(),
        rigs: choices.rigs.iter().map(|rig| (rig.id.to_string(), rig.fields.name.clone())).collect(),
        fields: FIELDS.map(|name| (name, field(name))).to_vec(),
    }
}
