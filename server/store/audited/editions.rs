//! What went to print, and the links that hand it over, in the trail.

use super::{Audited, SECRET};

/// A frozen edition.
pub const EDITION: Audited = Audited {
    bytes: &["digest"],
    left_out: &[("body", "held to its digest")],
    ..Audited::of("edition", &["id", "piece_id", "number", "note", "person_id", "at_us"])
};
/// A link to an edition.
pub const EDITION_LINK: Audited = Audited {
    left_out: &[("token_hash", SECRET), ("opened_us", "who looked, not who changed")],
    ..Audited::of("edition_link", &["id", "edition_id", "made_by", "made_us", "expires_us", "revoked_us"])
};
