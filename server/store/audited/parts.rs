//! Parts with their units, drivers and prices, in the trail.

use super::Audited;

/// A part.
pub const PART: Audited =
    Audited::of("part", &["id", "maker", "model", "kind", "rated_power_w", "memory_mib", "note", "version"]);
/// A unit.
pub const UNIT: Audited = Audited {
    since: &["lender", "terms", "embargo_us"],
    ..Audited::of("unit", &["id", "part_id", "label", "serial", "origin", "firmware", "version"])
};
/// A driver.
pub const DRIVER: Audited = Audited::of("driver", &["id", "part_id", "name", "dated_us", "version"]);
/// A price.
pub const PRICE: Audited = Audited::of(
    "price",
    &["id", "part_id", "amount", "currency", "kind", "country", "source", "dated_us", "version"],
);
