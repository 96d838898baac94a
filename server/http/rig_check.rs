//! How the rigs of a piece agree, or the units of its parts.

use axum::extract::State;
use axum::response::Response;
use weighhouse_measure::compare::rigs::{Agreement, Beyond, Odd, Reading};
use weighhouse_web::format::Unit;
use weighhouse_web::pages::{Field, InRigLine, RigCellLine, RigCheck, RigReading, RigSpreads};

use super::App;
use super::piece_frame::in_piece;
use super::resources::Of;
use super::respond::{Wants, respond};
use super::sent;
use super::session::SignedIn;
use crate::store::pieces::Piece;
use crate::work::evidence::Evidence;
use crate::work::rig_check::{self, Among, CellCheck, InRig};
use crate::work::{Refusal, Result};

/// The page.
pub(super) async fn show(
    State(app): State<App>,
    who: SignedIn,
    wants: Wants,
    Of(piece): Of<Piece>,
    sent::Asked(query): sent::Asked,
) -> Result<Response> {
    let among = match query.text("among") {
        "" | "rigs" => Among::Rigs,
        "units" => Among::Units,
        other => return Err(Refusal::field("among", format!("'{other}': choose 'rigs' or 'units'.")).into()),
    };
    let (evidence, check) = rig_check::show(&app.store, piece.id, among, query.text("measure")).await?;
    let page = RigCheck {
        frame: in_piece(&app, &who, &piece, "Against", evidence.to_review().count()),
        key: piece.key,
        units: among == Among::Units,
        measure: Field::of(check.measure.key()),
        measures: check.measures.iter().map(|m| (m.key().to_owned(), m.name().to_owned())).collect(),
        unit: Unit::of_sign(check.measure.unit()),
        readings: check.readings.iter().map(|reading| told(&check, reading)).collect(),
        agreement: check.agreement.map(spreads),
        cells: check.cells.iter().map(|cell| line(&check, &evidence, cell)).collect(),
    };
    respond(wants, &page)
}

fn count(n: usize) -> u64 {
    u64::try_from(n).unwrap_or(u64::MAX)
}

fn name(check: &rig_check::RigCheck, rig: i64) -> String {
    check.rigs.get(&rig).cloned().unwrap_or_else(|| rig.to_string())
}

fn told(check: &rig_check::RigCheck, reading: &Reading) -> RigReading {
    RigReading {
        rig: name(check, reading.rig),
        ratio: reading.ratio,
        interval: reading.bounds.map(|b| (b.interval.low, b.interval.high)),
        cells: count(reading.cells),
        passes: count(reading.passes),
    }
}

fn spreads(agreement: Agreement) -> RigSpreads {
    RigSpreads {
        cells: count(agreement.cells),
        rigs: count(agreement.rigs),
        repeatability: agreement.repeatability,
        between: agreement.between,
        reproducibility: agreement.reproducibility,
    }
}

fn line(check: &rig_check::RigCheck, evidence: &Evidence, cell: &CellCheck) -> RigCellLine {
    let names = &evidence.registers;
    let of = evidence.cells.get(&cell.cell).map(|cell| cell.cell.of);
    let in_rig = |one: &InRig| InRigLine {
        rig: name(check, one.rig),
        value: one.value,
        passes: count(one.passes),
        h: one.h,
        k: one.k,
    };
    RigCellLine {
        part: of.as_ref().map_or_else(String::new, |of| names.tuning_name(of.tuning_id)),
        scene: of.map_or_else(String::new, |of| {
            let place = if cell.place.is_empty() { String::new() } else { format!(", in {}", cell.place) };
            format!("{}, {}{place}", names.scene_name(of.scene_id), names.setting_name(of.setting_id))
        }),
        rigs: cell.rigs.iter().map(in_rig).collect(),
        odd: cell.odd.map_or_else(String::new, |odd| said(check, odd)),
    }
}

fn said(check: &rig_check::RigCheck, odd: Odd) -> String {
    let far = |beyond| match beyond {
        Beyond::Straggler => "straggler, beyond the 5% value",
        Beyond::Outlier => "outlier, beyond the 1% value",
    };
    match odd {
        Odd::Scatters(rig, beyond) => {
            format!("{} scatters more than the others ({})", name(check, rig), far(beyond))
        }
        Odd::Off(rig, beyond) => {
            format!("{} lies off the others ({})", name(check, rig), far(beyond))
        }
    }
}
