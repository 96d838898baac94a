//! The strips of a pass as a chart: lanes of frame times with marks and spans, what was sampled beside it below.

use weighhouse_measure::measures::strip;
use weighhouse_measure::recording::Role;
use weighhouse_measure::screens::FlagKind;
use weighhouse_web::charts::{Caption, Column, Lane, Span, SpanKind, Strip};
use weighhouse_web::format::Unit;

use crate::work::evidence::{Evidence, PassEvidence};
use crate::work::pass::{self, Beside, Strips, Value};

/// Columns without a frame of their own that are bridged: a long frame, or blocks that are wider than a pixel.
const BRIDGED: usize = 8;

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
    lanes.extend(strips.beside.iter().enumerate().map(|(n, one)| beside(one, n)));
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
    let window = pass.row.window();
    Lane {
        name: format!("Pass {}", pass.row.number),
        note,
        unit: Unit::Ms,
        series: 0,
        slim: !this,
        columns: filled(&lane.columns, px),
        window_ns: Some((window.start_ns, window.end_ns)),
        spans: spans(lane, pass),
    }
}

/// Flags with a stretch of their own, and remarks on one; in order of time.
fn spans(lane: &pass::Lane, pass: &PassEvidence) -> Vec<Span> {
    let flags = pass.flags.iter().filter(|flag| flag.kind != FlagKind::OddInCell).map(|flag| Span {
        kind: SpanKind::Flag,
        start_ns: flag.start_ns,
        end_ns: flag.end_ns,
        says: flag.kind.name().to_owned(),
    });
    let remarks = lane.remarks.iter().filter_map(|remark| {
        let (start_ns, end_ns) = (remark.start_ns?, remark.end_ns?);
        Some(Span { kind: SpanKind::Remark, start_ns, end_ns, says: remark.says.clone() })
    });
    let mut spans: Vec<Span> = flags.chain(remarks).collect();
    spans.sort_by_key(|span| span.start_ns);
    spans
}

fn filled(columns: &[strip::Column], px: u32) -> Vec<Option<Column>> {
    let mut out: Vec<Option<Column>> = Vec::with_capacity(columns.len());
    for column in columns {
        let x = usize::try_from(column.x).unwrap_or(0);
        if let Some(held) = out.last().copied().flatten().map(|before| before.last) {
            let still = Column { first: held, min: held, max: held, last: held };
            let gap = x.saturating_sub(out.len());
            out.extend(std::iter::repeat_n((gap <= BRIDGED).then_some(still), gap));
        }
        out.resize(x, None);
        let [first, min, max, last] =
            [column.first_ns, column.min_ns, column.max_ns, column.last_ns].map(|ns| ns as f64 / 1e6);
        out.push(Some(Column { first, min, max, last }));
    }
    out.resize(usize::try_from(px).unwrap_or(0), None);
    out
}

fn beside(one: &Beside, n: usize) -> Lane {
    let (name, unit, by) = match one.role {
        Role::Clock => ("Clock", Unit::MHz, 1e-6),
        Role::Temperature => ("Temperature", Unit::C, 1.0),
        Role::Load => ("Load", Unit::Percent, 100.0),
        _ => ("Power", Unit::W, 1.0),
    };
    let scaled =
        |v: Value| Column { first: v.first * by, min: v.min * by, max: v.max * by, last: v.last * by };
    Lane {
        name: name.to_owned(),
        note: format!("{} in {}", one.name, one.capture),
        unit,
        series: n + 2,
        slim: true,
        columns: one.columns.iter().map(|column| column.map(scaled)).collect(),
        window_ns: None,
        spans: Vec::new(),
    }
}
