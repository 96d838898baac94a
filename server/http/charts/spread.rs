//! How frame times are spread, as a chart: of the passes of a cell, or of several cells.

use weighhouse_measure::measures::distribution::BINS_PER_DECADE;
use weighhouse_web::charts::{Caption, Distribution, Histogram};

use crate::work::evidence::{CellEvidence, Evidence, PassEvidence};
use crate::work::figures::value::cell_name;
use crate::work::foot::foot;

/// Shares of frames of each pass of a cell; nothing where none has frame times.
pub(in crate::http) fn of_passes(
    cell: &CellEvidence,
    cumulative: bool,
    caption: Caption,
) -> Option<Distribution> {
    let each = cell.passes.iter().map(|pass| (format!("Pass {}", pass.row.number), vec![pass]));
    spread(each.collect(), cumulative, caption)
}

/// Shares of frames of the kept passes of each cell, added up.
pub(super) fn of_cells(evidence: &Evidence, cells: &[&CellEvidence]) -> Option<Distribution> {
    let each = cells.iter().map(|cell| (cell_name(evidence, cell.cell.id), cell.kept().collect()));
    let [passes, builds] = foot(evidence, cells.iter().copied());
    let title = "Shares of frames by frame time, added up".to_owned();
    let caption = Caption {
        id: "shares".to_owned(),
        desc: format!("{title}: a line for each cell, of the frames of all its kept passes."),
        title,
        subtitle: "All frames of the kept passes. Further left and steeper is faster and steadier."
            .to_owned(),
        foot: vec![passes, builds],
        draft: false,
    };
    spread(each.collect(), true, caption)
}

/// Beyond all but a thousandth of the frames it is cut off, and said.
fn spread(
    each: Vec<(String, Vec<&PassEvidence>)>,
    cumulative: bool,
    caption: Caption,
) -> Option<Distribution> {
    let timed = |passes: &[&PassEvidence]| passes.iter().any(|pass| !pass.times.counts.is_empty());
    let each: Vec<_> = each.into_iter().filter(|(_, passes)| timed(passes)).collect();
    let all = each.iter().flat_map(|(_, passes)| passes).filter(|pass| !pass.times.counts.is_empty());
    let first = all.map(|pass| pass.times.from_ms).min_by(f64::total_cmp)?;
    let edge = |k: usize| first * f64::powf(10.0, k as f64 / f64::from(BINS_PER_DECADE));
    let counts: Vec<Vec<u64>> = each.iter().map(|(_, passes)| added(passes, edge)).collect();
    let shown = counts.iter().map(|counts| classes_for(counts)).max().unwrap_or(1);
    let series = each.iter().zip(&counts).map(|((name, _), counts)| Histogram {
        name: name.clone(),
        counts: (0..shown).map(|k| counts.get(k).copied().unwrap_or(0)).collect(),
        beyond: counts.iter().skip(shown).sum(),
    });
    Some(Distribution {
        caption,
        edges_ms: (0..=shown).map(edge).collect(),
        series: series.collect(),
        cumulative,
    })
}

/// Frames of all passes in classes of one grid.
fn added(passes: &[&PassEvidence], edge: impl Fn(usize) -> f64) -> Vec<u64> {
    let mut sum: Vec<u64> = Vec::new();
    for pass in passes.iter().filter(|pass| !pass.times.counts.is_empty()) {
        // The grid is the same everywhere: only where it begins differs.
        let offset = (0..).find(|k| edge(*k) >= pass.times.from_ms * 0.999).unwrap_or(0);
        sum.resize(sum.len().max(offset + pass.times.counts.len()), 0);
        pass.times.counts.iter().enumerate().for_each(|(k, n)| sum[offset + k] += n);
    }
    sum
}

/// Classes until all but a thousandth of the frames are in.
fn classes_for(counts: &[u64]) -> usize {
    let all: u64 = counts.iter().sum();
    let mut sum = 0;
    let until = counts.iter().position(|n| {
        sum += n;
        sum >= all - all / 1000
    });
    until.map_or(counts.len(), |at| at + 1)
}
