//! What pieces carry over from earlier ones, in the trail.

use super::Audited;

/// A part as it is run, carried over into a piece.
pub const CARRIED: Audited = Audited::of(
    "carried",
    &["id", "piece_id", "tuning_id", "from_us", "reason", "person_id", "let_go_us", "version"],
);
/// A cell of it.
pub const CARRIED_CELL: Audited =
    Audited::of("carried_cell", &["id", "carried_id", "cell_id", "brought", "spot_check"]);
