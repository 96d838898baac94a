//! The kinds of reader that the invented piece asks for, each with the answer that is true of the Curlew.

use crate::registers::{COMET, DRIFTGLASS, DUNLIN, NATIVE, ORCHARD, QHD, QUARRY, REGATTA, TRACED, VELLUM};
use crate::types::Reader;

/// One who owns the baseline and plays what no driver step touched, so that there is an answer from the start; one who
/// plays a single game every day; and one whose screen nobody measured at.
pub fn readers() -> Vec<Reader> {
    let reader = |name, owns, judges_by, asks_percent, refresh_hz, hours_a_week, answer| Reader {
        name,
        owns,
        judges_by,
        asks_percent,
        refresh_hz,
        hours_a_week,
        kwh_price: "0.35",
        kwh_currency: "EUR",
        scenes: Vec::new(),
        settings: Vec::new(),
        answer,
    };
    vec![
        Reader {
            scenes: [VELLUM, REGATTA, QUARRY, DRIFTGLASS, COMET].map(|scene| (scene, 1)).to_vec(),
            settings: vec![(NATIVE, 1)],
            ..reader("owns a Dunlin", Some(DUNLIN), "average", 40, 120, 10, "no")
        },
        Reader {
            scenes: vec![(ORCHARD, 1)],
            settings: vec![(TRACED, 1)],
            ..reader("plays Orchard of Static daily", None, "low", 40, 60, 25, "yes")
        },
        Reader {
            scenes: (VELLUM..=COMET).map(|scene| (scene, 1)).collect(),
            settings: vec![(QHD, 1)],
            ..reader("has a 1440p screen", None, "average", 25, 165, 8, "not measured")
        },
    ]
}
