//! Frame times of cells over time, one below the other: of each the pass whose average is the middle one.

use weighhouse_measure::recording::Window;
use weighhouse_web::charts::{Caption, Lane, Strip};
use weighhouse_web::format::Unit;

use crate::http::lane;
use crate::store::{Store, strips};
use crate::work::Result;
use crate::work::evidence::{CellEvidence, Evidence, PassEvidence};
use crate::work::figures::value::cell_name;
use crate::work::foot::foot;

/// Width of the picture as it stands in a page.
const WIDTH: u32 = 960;
/// Columns: finer than the page, since the picture is drawn larger for video.
const COLUMNS: u32 = 1600;

/// The picture; nothing where a cell has no kept pass.
pub(super) async fn of_cells(
    store: &Store,
    evidence: &Evidence,
    cells: &[&CellEvidence],
) -> Result<Option<Strip>> {
    let chosen: Option<Vec<&PassEvidence>> = cells.iter().map(|cell| middle(cell)).collect();
    let Some(chosen) = chosen else { return Ok(None) };
    let to_ns = chosen.iter().map(|pass| pass.row.window().length_ns()).max().unwrap_or(0);
    let mut lanes = Vec::new();
    for (series, (cell, pass)) in cells.iter().zip(&chosen).enumerate() {
        let start_ns = pass.row.window().start_ns;
        let stretch = Window { start_ns, end_ns: start_ns + to_ns };
        let columns = strips::strip(store, pass.row.segment_id, stretch, COLUMNS).await?;
        let drawn = lane::frames(pass, &columns, COLUMNS, (Unit::Ms, |ns| ns as f64 / 1e6));
        lanes.push(Lane {
            name: cell_name(evidence, cell.cell.id),
            note: format!("pass {}, {}, driver {}", pass.row.number, pass.row.rig, pass.row.driver),
            series,
            window_ns: None,
            spans: Vec::new(),
            ..drawn
        });
    }
    let caption = caption(foot(evidence, cells.iter().copied()));
    Ok(Some(Strip { caption, from_ns: 0, to_ns, width: WIDTH, cut: None, lanes }))
}

fn caption([passes, builds]: [String; 2]) -> Caption {
    let title = "Frame times over time".to_owned();
    Caption {
        id: "strips".to_owned(),
        desc: format!("{title}: least and most frame time of each pixel, a strip for each cell."),
        title,
        subtitle: "Least and most frame time of each pixel, from the start of the window; lower is faster."
            .to_owned(),
        foot: vec![
            "Of each cell the pass whose average is the middle one of its kept passes.".to_owned(),
            passes,
            builds,
        ],
        draft: false,
    }
}

/// The kept pass whose average is the middle one; of an even number the lower of both.
fn middle(cell: &CellEvidence) -> Option<&PassEvidence> {
    let mut kept: Vec<&PassEvidence> = cell.kept().collect();
    let average = |pass: &PassEvidence| pass.measures.average_fps.unwrap_or_default();
    kept.sort_by(|a, b| average(a).total_cmp(&average(b)));
    kept.get(kept.len().checked_sub(1)? / 2).copied()
}
