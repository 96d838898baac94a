//! What a piece carries over from earlier ones.

use std::collections::BTreeMap;

use axum::extract::State;
use axum::response::Response;
use weighhouse_measure::compare::carried::{Says, Why};
use weighhouse_measure::compare::cell::CellValue;
use weighhouse_web::pages::{
    CarriedCell, CarriedOver, CarriedPart, CarryOffer, Field, RanOn, SpotCheck, Undo,
};
use weighhouse_web::paths;

use super::App;
use super::piece_frame::{at, in_piece, now};
use super::resources::Of;
use super::respond::{Wants, done, done_with, refill, respond};
use super::sent::Sent;
use super::session::{Member, SignedIn};
use crate::store::pieces::Piece;
use crate::store::{CarriedId, CellId, TuningId};
use crate::work::carried::offers::{self, Offer, Ran};
use crate::work::carried::{self, Age, Checked, keep, said};
use crate::work::evidence::{CellEvidence, Evidence};
use crate::work::{Error, Refusal, Result, pieces};

/// The page.
pub(super) async fn show(
    State(app): State<App>,
    who: SignedIn,
    wants: Wants,
    Of(piece): Of<Piece>,
) -> Result<Response> {
    respond(wants, &page(&app, &who, &piece, None).await?)
}

/// Carries a part over, lets one go, takes that back, or chooses spot checks.
pub(super) async fn save(
    State(app): State<App>,
    who: Member,
    wants: Wants,
    Of(piece): Of<Piece>,
    sent: Sent,
) -> Result<Response> {
    let to = paths::carried(&piece.key);
    match change(&app, &who, &piece, &sent).await {
        Ok((says, None)) => Ok(done(&who, wants, &to, says)),
        Ok((says, Some((id, version, act)))) => {
            let pairs = [("do", act.to_owned()), ("id", id.to_string()), ("version", version.to_string())];
            let fields = pairs.map(|(name, text)| (name.to_owned(), text)).to_vec();
            Ok(done_with(&who, wants, &to, says, Some(Undo { action: to.clone(), fields })))
        }
        Err(Error::Refused(refusal)) if !refusal.fields.is_empty() => {
            let page = page(&app, &who, &piece, Some((&sent, &refusal))).await?;
            refill(wants, &page, *refusal)
        }
        Err(error) => Err(error),
    }
}

/// What was done, and what takes it back.
type Done = (&'static str, Option<(CarriedId, i64, &'static str)>);

async fn change(app: &App, who: &Member, piece: &Piece, sent: &Sent) -> Result<Done> {
    let (store, by) = (&app.store, sent.by(who));
    let one = || Ok::<_, Error>((CarriedId(sent.read("id", "a part carried over")?), sent.version()?));
    match sent.text("do") {
        "carry" => {
            let tuning = TuningId(sent.read("tuning", "a tuning")?);
            let id = keep::carry(store, by, piece, (tuning, sent.text("reason")), None).await?;
            Ok(("Carried over. Its spot checks are to be run next.", Some((id, 1, "let go"))))
        }
        "let go" => {
            let (id, version) = one()?;
            keep::let_go(store, by, piece, id, version).await?;
            Ok(("Let go.", Some((id, version + 1, "back"))))
        }
        "back" => {
            let (id, version) = one()?;
            keep::back(store, by, piece, id, version).await?;
            Ok(("Carried over again, from the same moment.", None))
        }
        "choose" => {
            let cells = sent.numbers("cell")?.into_iter().map(CellId).collect();
            keep::choose(store, by, piece, one()?, cells).await?;
            Ok(("These cells are the spot checks.", None))
        }
        other => {
            let says = format!("'{other}' cannot be done; it is carry, let go, back or choose.");
            Err(Refusal::field("do", says).into())
        }
    }
}

async fn page(
    app: &App,
    who: &SignedIn,
    piece: &Piece,
    sent: Option<(&Sent, &Refusal)>,
) -> Result<CarriedOver> {
    let evidence = Evidence::of_piece(&app.store, piece.id).await?;
    let evidence = evidence.ok_or_else(|| Refusal::missing("piece", &piece.key))?;
    let offers = offers::read(&app.store, piece).await?;
    Ok(CarriedOver {
        frame: in_piece(app, who, piece, "Plan", evidence.to_review().count()),
        piece: piece.key.clone(),
        now: now(app),
        parts: evidence.carried.iter().map(|of| part(&evidence, of)).collect(),
        offers: offers.iter().map(|of| offer(&evidence, of)).collect(),
        reason: sent.map_or_else(Field::default, |(sent, refusal)| sent.field("reason", refusal)),
        refused: sent.map_or_else(String::new, |(_, refusal)| refusal.says.clone()),
    })
}

fn count(n: usize) -> u64 {
    u64::try_from(n).unwrap_or(u64::MAX)
}

fn ran(of: &Ran) -> RanOn {
    RanOn {
        passes: count(of.passes),
        newest: of.newest_us.map(at),
        drivers: of.drivers.iter().cloned().collect(),
        builds: of.builds.iter().cloned().collect(),
        bases: of.bases.values().cloned().collect(),
    }
}

fn offer(evidence: &Evidence, of: &Offer) -> CarryOffer {
    CarryOffer {
        tuning: of.tuning.0,
        name: evidence.registers.tuning_name(of.tuning),
        cells: count(of.cells),
        pieces: of.pieces.iter().cloned().collect(),
        ran: ran(&of.ran),
    }
}

/// Scene and setting of a cell: the part stands above.
fn name(evidence: &Evidence, cell: &CellEvidence) -> String {
    let (names, of) = (&evidence.registers, &cell.cell.of);
    format!("{}, {}", names.scene_name(of.scene_id), names.setting_name(of.setting_id))
}

fn part(evidence: &Evidence, of: &carried::CarriedPart) -> CarriedPart {
    let ids: Vec<CellId> = of.cells.iter().map(|cell| cell.cell_id).collect();
    let why: BTreeMap<CellId, Why> = carried::proposed(evidence, &ids).into_iter().collect();
    let why = |cell: &CellEvidence| why.get(&cell.cell.id).map_or("", |why| why.words());
    let there = of.cells.iter().filter_map(|one| Some((one, evidence.cells.get(&one.cell_id)?)));
    let driver = evidence.part_of(of.row.tuning_id).and_then(|part| evidence.declared.get(&part));
    let driver = driver.and_then(|driver| evidence.registers.drivers.get(driver));
    let wanted = pieces::wanted(&evidence.piece);
    CarriedPart {
        id: of.row.id.0,
        version: of.row.version,
        name: evidence.registers.tuning_name(of.row.tuning_id),
        from: at(of.row.from_us),
        by: of.row.person.clone(),
        reason: of.row.reason.clone(),
        ran: ran(&said::ran(evidence, of)),
        driver: driver.map_or_else(String::new, |driver| driver.fields.name.clone()),
        says: carried::together(evidence, of).words(),
        counted: said::counted(evidence, of),
        checks: carried::of_part(evidence, of)
            .map(|(cell, found)| check(evidence, cell, &found, why(cell)))
            .collect(),
        cells: there
            .map(|(one, cell)| CarriedCell {
                id: cell.cell.id.0,
                name: name(evidence, cell),
                passes: count(cell.passes.iter().filter(|p| p.row.kept() && p.age != Age::Fresh).count()),
                spot_check: one.spot_check,
                why: why(cell),
            })
            .collect(),
        to_run: said::to_run(evidence, of.row.tuning_id, wanted)
            .map(|(cell, passes)| (name(evidence, cell), count(passes)))
            .collect(),
    }
}

fn check(evidence: &Evidence, cell: &CellEvidence, found: &Checked, why: &'static str) -> SpotCheck {
    let value = |of: &Option<CellValue>| of.as_ref().map(|of| (of.value, count(of.passes)));
    let ratio = found.check.ratio.as_ref();
    SpotCheck {
        name: name(evidence, cell),
        why: if why.is_empty() { "chosen by hand" } else { why },
        earlier: value(&found.earlier),
        fresh: value(&found.fresh),
        ratio: ratio.map(|ratio| ratio.ratio),
        interval: ratio.and_then(|ratio| ratio.bounds).map(|b| (b.interval.low, b.interval.high)),
        way: match &found.check.says {
            Says::Holds(_) => "level",
            Says::RunAgain { way, .. } if way.as_str() == "faster" => "up",
            Says::RunAgain { .. } => "down",
            Says::NotChecked | Says::NotSettled { .. } => "open",
        },
        says: found.check.says.words(),
        elsewhere: count(found.elsewhere),
    }
}
