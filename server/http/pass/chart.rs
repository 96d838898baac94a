//! The strips of a pass as a chart: lanes of frame times with marks and spans, what was sampled beside it below.

use weighhouse_web::charts::{Caption, Lane, Span, SpanKind, Strip};
use weighhouse_web::format::{self, Unit};

use super::super::lane;
use crate::store::rulings::Remark;
use crate::store::strips::Frame;
use crate::work::evidence::{Evidence, PassEvidence};
use crate::work::pass::{self, Strips};

/// `Frame 3 104 at 12.345 s: 8.31 ms; the longest of 37 here`.
pub(super) fn frame_says(frame: &Frame) -> String {
    let ms = format::printed(frame.frame_ns as f64 / 1e6, 2, Unit::Ms);
    let of = if frame.of > 1 {
        format!("; the longest of {} here", format::count(frame.of))
    } else {
        String::new()
    };
    format!("Frame {} at {}: {ms}{of}", format::count(frame.number), format::at_ns(frame.at_ns))
}

/// The chart.
pub(super) fn strip(evidence: &Evidence, strips: &Strips, key: &str, width: u32) -> Strip {
    let px = Strip::columns(width);
    let cell = evidence.pass(key).map(|(cell, _)| cell);
    let passes = cell.map_or(&[][..], |cell| &cell.passes[..]);
    let mut lanes: Vec<Lane> = strips
        .lanes
        .iter()
        .filter_map(|lane| {
            let pass = passes.iter().find(|pass| pass.row.id == lane.pass)?;
            Some(frames(lane, pass, pass.row.key == key, px))
        })
        .collect();
    let (own, others): (Vec<_>, Vec<_>) = lanes.iter_mut().partition(|lane| !lane.slim);
    let ghosts: Vec<_> = others.into_iter().map(|lane| lane.columns.clone()).collect();
    own.into_iter().for_each(|lane| lane.ghosts.clone_from(&ghosts));
    lanes.extend(strips.beside.iter().enumerate().map(|(n, one)| lane::beside(one, n)));
    Strip {
        caption: Caption {
            id: "pass-strip".to_owned(),
            title: String::new(),
            subtitle: "Least and most frame time of each pixel; this pass first".to_owned(),
            desc: "Frame times of the cell's passes over time; the table below says the same of this pass in numbers"
                .to_owned(),
            ..Caption::default()
        },
        from_ns: strips.window.start_ns,
        to_ns: strips.window.end_ns,
        width,
        cut: None,
        lanes,
    }
}

fn frames(lane: &pass::Lane, pass: &PassEvidence, this: bool, px: u32) -> Lane {
    let mut note = format!("{}, {}, driver {}", pass.standing.word(), pass.row.rig, pass.row.driver);
    if let Some(reason) = pass.row.reason.as_deref().filter(|reason| !reason.is_empty() && !pass.row.kept()) {
        note = format!("{note}: {reason}");
    }
    let mut drawn = lane::frames(pass, &lane.columns, px, (Unit::Ms, |ns| ns as f64 / 1e6));
    drawn.spans.extend(lane.remarks.iter().filter_map(remark));
    drawn.spans.sort_by_key(|span| span.start_ns);
    Lane { note, slim: !this, ..drawn }
}

/// A remark on a stretch.
fn remark(remark: &Remark) -> Option<Span> {
    let (start_ns, end_ns) = (remark.start_ns?, remark.end_ns?);
    Some(Span { kind: SpanKind::Remark, start_ns, end_ns, says: remark.says.clone() })
}
