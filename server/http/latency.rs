//! Delay against frame rate.

use axum::extract::State;
use axum::response::Response;
use serde_json::json;
use weighhouse_measure::compare::cell::CellValue;
use weighhouse_measure::compare::difference::Difference;
use weighhouse_measure::measures::Measure;
use weighhouse_web::charts::{Caption, Plane, Series, Spot};
use weighhouse_web::format::Unit;
use weighhouse_web::pages::{DelayBlock, DelayRow, Latency, Measured};

use super::App;
use super::against::count;
use super::piece_frame::in_piece;
use super::resources::Of;
use super::respond::{Wants, respond};
use super::session::SignedIn;
use super::tuning::ends;
use crate::store::pieces::Piece;
use crate::work::evidence::{Evidence, Registers};
use crate::work::figures::what::What;
use crate::work::latency::{self, Block, Row};
use crate::work::{Result, foot};

/// The page.
pub(super) async fn show(
    State(app): State<App>,
    who: SignedIn,
    wants: Wants,
    Of(piece): Of<Piece>,
) -> Result<Response> {
    let (evidence, blocks) = latency::show(&app.store, piece.id).await?;
    let page = Latency {
        frame: in_piece(&app, &who, &piece, "Latency", evidence.to_review().count()),
        key: piece.key,
        blocks: blocks.iter().map(|found| block(&evidence, found)).collect(),
    };
    respond(wants, &page)
}

/// A scene and setting in the words of the page.
pub(super) fn block(evidence: &Evidence, found: &Block) -> DelayBlock {
    let names = &evidence.registers;
    let (scene, setting) = (names.scene_name(found.scene), names.setting_name(found.setting));
    DelayBlock {
        scene_id: found.scene.0,
        setting_id: found.setting.0,
        rows: found.rows.iter().map(|of| row(names, found, of)).collect(),
        chart: drawn(evidence, found, &scene, &setting),
        scene,
        setting,
    }
}

fn row(names: &Registers, block: &Block, found: &Row) -> DelayRow {
    // Rows of one tuning stand by factor: the first of them and the one before are what it is held against.
    let own = || block.rows.iter().filter(|row| row.tuning == found.tuning && row.delay.is_some());
    let before = own().take_while(|row| row.cell != found.cell).last();
    let more = |than: Option<&Row>, of: Option<Difference>| {
        let (than, _) = than.zip(of)?;
        Some(What::Step { measure: Measure::LatencyMs, first: than.cell, second: found.cell }.json())
    };
    let what = |measure: Measure| {
        json!({ "kind": "cell", "measure": measure.key(), "cell": found.cell }).to_string()
    };
    let (rendered, interval) = found.rendered;
    DelayRow {
        part: names.tuning_name(found.tuning),
        factor: found.factor,
        shown: of_cell(&found.shown),
        rendered: Measured { value: Some(rendered), interval: interval.map(ends) },
        delay: found.delay.as_ref().map(of_cell).unwrap_or_default(),
        step: of_difference(found.step),
        in_all: of_difference(found.in_all),
        place: found.place.map_or("", |place| place.words()),
        passes: count(found.shown.passes),
        what_shown: what(Measure::AverageFps),
        what_step: more(before, found.step).unwrap_or_default(),
        what_in_all: more(own().next(), found.in_all).unwrap_or_default(),
        what_delay: if found.delay.is_some() { what(Measure::LatencyMs) } else { String::new() },
    }
}

fn of_cell(cell: &CellValue) -> Measured {
    Measured { value: Some(cell.value), interval: cell.interval.map(ends) }
}

fn of_difference(of: Option<Difference>) -> Measured {
    Measured { value: of.map(|of| of.value), interval: of.and_then(|of| of.interval).map(ends) }
}

/// Delay across, shown rate up: less to the left and more above is better.
fn drawn(evidence: &Evidence, found: &Block, scene: &str, setting: &str) -> Plane {
    let names = &evidence.registers;
    let mut series: Vec<Series> = Vec::new();
    for row in &found.rows {
        let Some(delay) = &row.delay else { continue };
        let name = names.tuning_name(row.tuning);
        if series.last().is_none_or(|last| last.name != name) {
            series.push(Series { name: name.clone(), ..Series::default() });
        }
        let factor =
            if row.factor == 1 { "none generated".to_owned() } else { format!("{} for 1", row.factor) };
        let (rate, ms) = (of_cell(&row.shown).shown(Unit::Fps), of_cell(delay).shown(Unit::Ms));
        let spot = Spot {
            says: format!("{name}, {factor}: {rate} shown, {ms} delay"),
            name: factor,
            x: delay.value,
            y: row.shown.value,
            x_interval: delay.interval.map(ends),
            y_interval: row.shown.interval.map(ends),
        };
        if let Some(last) = series.last_mut() {
            last.points.push(spot);
        }
    }
    let title = format!("Delay and shown frame rate: {scene}, {setting}");
    let [passes, builds] =
        foot::foot(evidence, found.rows.iter().filter_map(|row| evidence.cells.get(&row.cell)));
    Plane {
        caption: Caption {
            id: format!("latency-{}-{}", found.scene, found.setting),
            desc: format!("{title}: a dot for each factor; the table has the same numbers."),
            title,
            subtitle: "Dots: frames as shown, most of them generated where a factor stands beside. Lines: 95% intervals."
                .to_owned(),
            foot: vec![
                "Shown is not rendered: rendered is the shown rate divided by the factor, and the delay follows it."
                    .to_owned(),
                passes,
                builds,
            ],
            draft: false,
        },
        across: "Mean delay from input to the shown frame (ms)".to_owned(),
        up: "Average frame rate as shown (fps)".to_owned(),
        series,
        places: Vec::new(),
    }
}
