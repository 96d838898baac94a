//! What the invented team read off instruments: noise, power at the wall, seconds of a render.

use jiff::Timestamp;

use crate::registers::{ALDER, BIRCH, CURLEW, DUNLIN, THOLE, hours_before};

/// A kind of reading.
#[derive(Clone, Copy, Debug)]
pub struct ReadingKind {
    /// Name.
    pub name: &'static str,
    /// Unit.
    pub unit: &'static str,
    /// `higher` or `lower`.
    pub better: &'static str,
    /// `part`, `wall` or `air`.
    pub read_at: &'static str,
    /// How it is read.
    pub method: &'static str,
}

/// A sitting. Rows are indices into the demo's lists.
#[derive(Clone, Copy, Debug)]
pub struct DemoReading {
    /// Who read it.
    pub by: usize,
    /// Index into `reading_kinds`.
    pub kind: usize,
    /// Index into `tunings`; stock is the part's own index.
    pub tuning: usize,
    /// Index into `rigs`.
    pub rig: usize,
    /// When.
    pub at: Timestamp,
    /// What the instrument showed.
    pub repeats: &'static [&'static str],
    /// Level of the room with the part silent.
    pub background: Option<&'static str>,
    /// Temperature of the part, degrees Celsius.
    pub part_c: Option<&'static str>,
    /// Fan speed that was set, 1/min.
    pub fan_rpm: Option<i64>,
    /// Number and reason of a repeat that was set aside.
    pub set_aside: Option<(i64, &'static str)>,
}

/// Indices into the kinds.
const NOISE: usize = 0;
const IDLE: usize = 1;
const RENDER: usize = 2;
/// Indices into the team.
const TOBIN: usize = 1;
const RENSKE: usize = 2;

pub fn kinds() -> Vec<ReadingKind> {
    let kind = |name, unit, better, read_at, method| ReadingKind { name, unit, better, read_at, method };
    vec![
        kind(
            "noise under load at 50 cm",
            "dB(A)",
            "lower",
            "air",
            "Class 2 meter, 50 cm before the cooler's middle, after 15 minutes of Vellum Rally; the room with the part silent is the background",
        ),
        kind(
            "idle power",
            "W",
            "lower",
            "wall",
            "Certified plug-in meter, mean over five minutes at the desktop, one screen at 60 Hz",
        ),
        kind(
            "lattice render",
            "s",
            "lower",
            "part",
            "The renderer's own lattice scene, second run of each start",
        ),
    ]
}

/// Sittings, oldest first. A door was in one of the Curlew's; in birch's closed case it is louder still; on alder the
/// fans were swept too, so that both cards can be heard at one temperature.
pub fn readings(now: Timestamp) -> Vec<DemoReading> {
    let read = |kind, tuning, rig, hours, repeats| DemoReading {
        by: if kind == NOISE { RENSKE } else { TOBIN },
        kind,
        tuning,
        rig,
        at: hours_before(now, hours),
        repeats,
        background: None,
        part_c: None,
        fan_rpm: None,
        set_aside: None,
    };
    let noise = |tuning, rig, hours, part_c, repeats| DemoReading {
        background: Some(if rig == BIRCH { "29.4" } else { "28.6" }),
        part_c: Some(part_c),
        ..read(NOISE, tuning, rig, hours, repeats)
    };
    let swept = |tuning, rpm, part_c, repeats| DemoReading {
        fan_rpm: Some(rpm),
        ..noise(tuning, ALDER, if tuning == DUNLIN { 76 } else { 52 }, part_c, repeats)
    };
    vec![
        noise(DUNLIN, BIRCH, 121, "74.0", &["40.6", "40.9", "40.5"]),
        noise(CURLEW, BIRCH, 78, "83.5", &["46.1", "45.7", "46.0"]),
        read(IDLE, DUNLIN, ALDER, 77, &["61", "62", "61"]),
        noise(DUNLIN, ALDER, 77, "68.5", &["38.1", "38.3", "38.0"]),
        swept(DUNLIN, 1_200, "73.0", &["35.0", "35.2", "35.1"]),
        swept(DUNLIN, 1_500, "67.0", &["38.9", "39.1", "38.8"]),
        swept(DUNLIN, 1_800, "62.5", &["43.0", "43.2", "42.9"]),
        read(RENDER, DUNLIN, ALDER, 76, &["148.2", "147.9", "148.4"]),
        read(IDLE, CURLEW, ALDER, 53, &["67", "66", "67"]),
        DemoReading {
            set_aside: Some((3, "a door or a voice")),
            ..noise(CURLEW, ALDER, 53, "72.5", &["42.5", "42.3", "49.8", "42.7"])
        },
        swept(CURLEW, 1_300, "79.0", &["38.2", "38.0", "38.3"]),
        swept(CURLEW, 1_600, "72.0", &["42.0", "42.2", "42.1"]),
        swept(CURLEW, 1_900, "66.5", &["45.9", "46.1", "45.8"]),
        read(RENDER, CURLEW, ALDER, 52, &["113.6", "114.1", "113.8"]),
        read(IDLE, THOLE, ALDER, 30, &["54", "54", "55"]),
        noise(THOLE, ALDER, 30, "66.0", &["36.4", "36.2"]),
        read(RENDER, THOLE, ALDER, 30, &["181.0", "180.4", "181.3"]),
    ]
}
