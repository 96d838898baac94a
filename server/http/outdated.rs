//! What a late change leaves to do in a piece.

use axum::extract::State;
use axum::response::Response;
use weighhouse_web::format;
use weighhouse_web::marks::Standing;
use weighhouse_web::pages::{self, OlderCell, OlderGroup, OlderPass, Undo};
use weighhouse_web::paths;

use super::App;
use super::figure::reader;
use super::figures::line;
use super::piece_frame::{at, in_piece};
use super::resources::Of;
use super::respond::{Wants, done, done_with, refill, respond};
use super::review::{UNDO, reason};
use super::sent::Sent;
use super::session::{Member, SignedIn};
use crate::store::pieces::Piece;
use crate::work::changes::Changed;
use crate::work::evidence::{CellEvidence, Evidence, PassEvidence};
use crate::work::figures::ledger::{self, Ledger};
use crate::work::outdated::{self, Older};
use crate::work::{Error, Kind, Refusal, Result, cells, readings, review, rule};

/// The page.
pub(super) async fn show(
    State(app): State<App>,
    who: SignedIn,
    wants: Wants,
    Of(piece): Of<Piece>,
) -> Result<Response> {
    let read = ledger::ledger(&app.store, piece.id).await?;
    respond(wants, &page(&app, &who, &read))
}

/// Rules that the ticked passes are to be run again, or takes that back.
pub(super) async fn run_again(
    State(app): State<App>,
    who: Member,
    wants: Wants,
    Of(piece): Of<Piece>,
    sent: Sent,
) -> Result<Response> {
    let to = paths::outdated(&piece.key);
    let passes = ticked(&sent)?;
    if sent.text("do") == UNDO {
        let stand = review::undo(&app.store, sent.by(&who), piece.id, passes).await?;
        let says = format!("Taken back on {}.", plural(stand.len()));
        return Ok(done(&who, wants, &to, says));
    }
    let why = reason(&sent);
    match outdated::run_again(&app.store, sent.by(&who), piece.id, passes, &why).await {
        Ok(ruled) => {
            let disputed = ruled.iter().filter(|one| one.disputed).count();
            let beside = match disputed {
                0 => String::new(),
                n => format!(" On {} another person’s ruling stands beside it: settle them.", plural(n)),
            };
            let ticks = ruled.iter().map(|one| ("pass".to_owned(), format!("{}.{}", one.pass, one.version)));
            let fields = ticks.chain([("do".to_owned(), UNDO.to_owned())]).collect();
            let says = format!("To be run again: {}, {why}.{beside}", plural(ruled.len()));
            Ok(done_with(&who, wants, &to, says, Some(Undo { action: to.clone(), fields })))
        }
        Err(Error::Refused(refusal)) if refusal.kind == Kind::Invalid => {
            let read = ledger::ledger(&app.store, piece.id).await?;
            let refused = refusal.fields.first().map_or(refusal.says.clone(), |(_, says)| says.clone());
            refill(wants, &pages::Outdated { refused, ..page(&app, &who, &read) }, *refusal)
        }
        Err(error) => Err(error),
    }
}

/// Ticked passes: `KEY.VERSION` each.
fn ticked(sent: &Sent) -> Result<Vec<(String, i64)>> {
    let read = |text: &str| {
        let (key, version) = text.rsplit_once('.')?;
        Some((key.to_owned(), version.parse().ok()?))
    };
    let wrong = |text: &str| Refusal::field("pass", format!("'{text}' is no pass with its version.")).into();
    sent.all("pass").map(|text| read(text).ok_or_else(|| wrong(text))).collect()
}

fn plural(n: usize) -> String {
    format::plural(u64::try_from(n).unwrap_or(u64::MAX), "pass", "passes")
}

fn page(app: &App, who: &SignedIn, read: &Ledger) -> pages::Outdated {
    let evidence = &read.evidence;
    let reader = reader(app, who, read);
    let lapsed = read.figures.iter().filter(|seen| seen.state.standing == Standing::Lapsed);
    pages::Outdated {
        frame: in_piece(app, who, &evidence.piece, "Plan", evidence.to_review().count()),
        piece: evidence.piece.key.clone(),
        older: outdated::older(evidence).iter().map(|older| group(evidence, older)).collect(),
        lapsed: lapsed.map(|seen| line(evidence, seen, reader)).collect(),
        refused: String::new(),
    }
}

fn group(evidence: &Evidence, older: &Older<'_>) -> OlderGroup {
    let (from, to) = older.from_to.clone();
    let readings = older.readings.iter().map(|reading| {
        let group = evidence.readings.group(readings::of(reading));
        let place = group.map_or_else(String::new, |group| {
            format!("{}, {}, {}", group.kind.fields.name, group.subject(evidence), group.place(evidence))
        });
        let at = at(reading.fields.at_us);
        (reading.key.clone(), format!("{place}, {}", format::day(at, "UTC")))
    });
    let what = match older.changed {
        Changed::Driver => "Driver",
        Changed::Build => "Build",
        Changed::Base => "Rig",
    };
    OlderGroup {
        what,
        of: older.of.clone(),
        reason: format!("{} {from} in place of {to}", what.to_lowercase()),
        from,
        to,
        cells: older.cells.iter().map(|(cell, passes)| cell_of(evidence, cell, passes)).collect(),
        readings: readings.collect(),
    }
}

fn cell_of(evidence: &Evidence, cell: &CellEvidence, passes: &[&PassEvidence]) -> OlderCell {
    let pass = |pass: &&PassEvidence| OlderPass {
        key: pass.row.key.clone(),
        number: pass.row.number,
        rig: pass.row.rig.clone(),
        version: rule::version(&pass.row),
    };
    OlderCell {
        name: cells::label(&evidence.registers, &cell.cell),
        passes: passes.iter().map(pass).collect(),
    }
}
