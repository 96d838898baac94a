//! Notes of a piece and words on its embargo in the trail.

use super::Audited;

/// Notes of a piece, with its embargo.
pub const PIECE_NOTES: Audited = Audited::of(
    "piece_notes",
    &[
        "id",
        "piece_id",
        "embargo_us",
        "embargo_zone",
        "settings",
        "caches",
        "order_of_run",
        "disclosure",
        "version",
    ],
);
/// An owner's word on an embargo.
pub const EMBARGO_WORD: Audited =
    Audited::of("embargo_word", &["id", "piece_id", "embargo_us", "says", "reason", "person_id", "at_us"]);
