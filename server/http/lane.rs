//! Lanes of frame times and of what was sampled beside them, as the strips of passes, of the review and of soaks have them.

use weighhouse_measure::measures::strip;
use weighhouse_measure::recording::Role;
use weighhouse_measure::screens::{Flag, FlagKind};
use weighhouse_web::charts::{Column, Lane, Span, SpanKind};
use weighhouse_web::format::Unit;

use crate::work::evidence::PassEvidence;
use crate::work::pass::{Beside, Value};

/// Columns without a frame of their own that are bridged: a long frame, or blocks that are wider than a pixel.
const BRIDGED: usize = 8;

/// The frames of a pass in `px` columns, in `unit`; `in_unit` takes ns. Its callers say how it stands and is drawn.
pub(super) fn frames(
    pass: &PassEvidence,
    columns: &[strip::Column],
    px: u32,
    (unit, in_unit): (Unit, impl Fn(i64) -> f64),
) -> Lane {
    let window = pass.row.window();
    Lane {
        name: format!("Pass {}", pass.row.number),
        note: String::new(),
        unit,
        series: 0,
        slim: false,
        columns: filled(columns, px, in_unit),
        window_ns: Some((window.start_ns, window.end_ns)),
        spans: flags(&pass.flags),
        ghosts: Vec::new(),
    }
}

/// Flags with a stretch of their own.
fn flags(flags: &[Flag]) -> Vec<Span> {
    let own = flags.iter().filter(|flag| flag.kind != FlagKind::OddInCell);
    own.map(|flag| Span {
        kind: SpanKind::Flag,
        start_ns: flag.start_ns,
        end_ns: flag.end_ns,
        says: flag.kind.name().to_owned(),
    })
    .collect()
}

/// All `px` columns; the last frame before a narrow gap holds in it.
pub(super) fn filled(
    columns: &[strip::Column],
    px: u32,
    in_unit: impl Fn(i64) -> f64,
) -> Vec<Option<Column>> {
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
            [column.first_ns, column.min_ns, column.max_ns, column.last_ns].map(&in_unit);
        out.push(Some(Column { first, min, max, last }));
    }
    out.resize(usize::try_from(px).unwrap_or(0), None);
    out
}

/// A lane of what was sampled.
pub(super) fn beside(one: &Beside, n: usize) -> Lane {
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
        ghosts: Vec::new(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn column(x: u32, ns: i64) -> strip::Column {
        strip::Column { x, first_ns: ns, min_ns: ns - 1, max_ns: ns + 1, last_ns: ns }
    }

    #[test]
    fn a_long_frame_holds_until_the_next_and_a_wide_gap_stays_empty() {
        let out = filled(&[column(1, 10), column(4, 20), column(20, 30)], 24, |ns| ns as f64 * 2.0);
        let first: Vec<_> = out.iter().map(|c| c.map(|c| (c.first, c.max))).collect();
        assert_eq!(
            first[..5],
            [None, Some((20.0, 22.0)), Some((20.0, 20.0)), Some((20.0, 20.0)), Some((40.0, 42.0))]
        );
        assert!(first[5..20].iter().all(Option::is_none));
        assert_eq!((out.len(), first[20], first[21]), (24, Some((60.0, 62.0)), None));
    }
}
