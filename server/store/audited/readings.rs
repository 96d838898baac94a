//! Readings in the trail: kinds, sittings, what instruments showed, rulings and files.

use super::Audited;

/// A kind of reading.
pub const READING_KIND: Audited =
    Audited::of("reading_kind", &["id", "name", "unit", "better", "read_at", "repeats", "method", "version"]);
/// A sitting.
pub const READING: Audited = Audited::of(
    "reading",
    &[
        "id",
        "key",
        "kind_id",
        "tuning_id",
        "unit_id",
        "rig_base_id",
        "driver_id",
        "at_us",
        "background",
        "ambient_c",
        "part_c",
        "fan_rpm",
        "note",
        "person_id",
        "made_us",
        "version",
    ],
);
/// What an instrument showed.
pub const REPEAT: Audited = Audited::of("repeat", &["id", "reading_id", "n", "value"]);
/// A ruling on it.
pub const REPEAT_RULING: Audited =
    Audited::of("repeat_ruling", &["id", "repeat_id", "verdict", "reason", "person_id", "at_us"]);
/// A sensor log of a part that runs warm.
pub const SOAK: Audited = Audited::of(
    "soak",
    &[
        "id",
        "key",
        "segment_id",
        "tuning_id",
        "unit_id",
        "rig_base_id",
        "driver_id",
        "ambient_c",
        "note",
        "person_id",
        "made_us",
        "version",
    ],
);
/// A file that shows a sitting; its bytes are held to its digest.
pub const PROOF: Audited = Audited {
    bytes: &["digest"],
    ..Audited::of("proof", &["id", "reading_id", "name", "kind", "bytes", "person_id", "at_us"])
};
