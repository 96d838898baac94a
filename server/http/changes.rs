//! What a change of driver, build or rig base did.

use axum::extract::State;
use axum::response::Response;
use weighhouse_web::pages::{ChangeBlock, ChangeRow, Changes, Field};

use super::App;
use super::piece_frame::in_piece;
use super::resources::Of;
use super::respond::{Wants, respond};
use super::sent;
use super::session::SignedIn;
use crate::store::pieces::Piece;
use crate::work::Result;
use crate::work::against::Judged;
use crate::work::changes::{self, Change, Changed};
use crate::work::evidence::Evidence;

/// The page.
pub(super) async fn show(
    State(app): State<App>,
    who: SignedIn,
    wants: Wants,
    Of(piece): Of<Piece>,
    sent::Asked(query): sent::Asked,
) -> Result<Response> {
    let (evidence, measure, found) = changes::show(&app.store, piece.id, query.text("measure")).await?;
    let names = evidence.compared();
    let page = Changes {
        frame: in_piece(&app, &who, &piece, "Against", evidence.to_review().count()),
        key: piece.key,
        measure: Field::of(measure.key()),
        measures: names.iter().map(|m| (m.key().to_owned(), m.name().to_owned())).collect(),
        changes: found.iter().map(|change| block(&evidence, change)).collect(),
    };
    respond(wants, &page)
}

fn block(evidence: &Evidence, of: &Change) -> ChangeBlock {
    let rows = of.cells.iter().map(|cell| {
        let names = &evidence.registers;
        let what = evidence.cells.get(&cell.cell).map_or_else(String::new, |found| {
            let of = &found.cell.of;
            let (scene, setting) = (names.scene_name(of.scene_id), names.setting_name(of.setting_id));
            format!("{}: {scene}, {setting}", names.tuning_name(of.tuning_id))
        });
        row(what, &cell.judged, cell.p)
    });
    ChangeBlock {
        what: match of.changed {
            Changed::Driver => "Driver",
            Changed::Build => "Build",
            Changed::Base => "Rig",
        },
        of: of.of.clone(),
        from: of.from_to.0.clone(),
        to: of.from_to.1.clone(),
        cells: rows.collect(),
        overall: of.overall.as_ref().map(|judged| row(String::new(), judged, None)),
    }
}

fn row(what: String, of: &Judged, p: Option<f64>) -> ChangeRow {
    let count = |n: usize| u64::try_from(n).unwrap_or(u64::MAX);
    ChangeRow {
        what,
        ratio: of.ratio.ratio,
        interval: of.ratio.bounds.map(|b| (b.interval.low, b.interval.high)),
        p,
        passes: (count(of.ratio.passes_baseline), count(of.ratio.passes_contender)),
        verdict: of.verdict.words(),
        way: super::against::way(&of.verdict),
        marks: of.ratio.marks.iter().map(|mark| mark.words()).collect(),
    }
}
