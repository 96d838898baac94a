//! Charts of readings.

use super::caption;
use crate::charts::{Amount, Amounts};

/// Power as bars, or noise as dots.
pub(crate) fn amounts(levels: bool) -> Amounts {
    let row = |series: usize, name: &str, note: &str, value: f64, half: f64| Amount {
        name: name.into(),
        note: note.into(),
        series,
        value: Some(value),
        interval: (half > 0.0).then_some((value - half, value + half)),
    };
    let rows = if levels {
        vec![
            row(0, "Tarnwick Dunlin", "birch, in a case, maker's fan curve", 38.2, 0.5),
            row(1, "Tarnwick Curlew", "birch, in a case, maker's fan curve", 43.3, 0.6),
            row(1, "Tarnwick Curlew", "alder, open bench, fan set to 1 600 1/min", 36.3, 0.4),
            Amount {
                value: None,
                ..row(2, "Ullmere Thole", "alder, open bench, maker's fan curve", 0.0, 0.0)
            },
        ]
    } else {
        vec![
            row(0, "whole system with Tarnwick Dunlin", "alder, open bench", 61.8, 0.7),
            row(1, "whole system with Tarnwick Curlew", "alder, open bench", 74.2, 1.1),
            row(2, "whole system with Ullmere Thole", "alder, open bench", 58.0, 0.0),
        ]
    };
    let (title, subtitle) = if levels {
        (
            "Noise under load at 50 cm",
            "Dot: level. Line: 95% interval. A level has no zero, so that the axis has none.",
        )
    } else {
        ("Idle power", "Bar: mean. Line: 95% interval. Lower is better.")
    };
    Amounts {
        caption: caption(if levels { "levels" } else { "amounts" }, title, subtitle),
        axis: title.to_lowercase(),
        unit: if levels { "dB(A)" } else { "W" }.into(),
        levels,
        places: 1,
        rows,
    }
}
