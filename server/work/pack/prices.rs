//! The prices of a piece's parts for the pack, each with where and when it was read.

use std::collections::BTreeSet;

use super::sheet::{About, Kind, Sheet, fields};
use super::tables::words;
use crate::work::evidence::Evidence;
use crate::work::registers::typed::day_of;

/// The table.
pub const ABOUT: About = About {
    name: "prices",
    says: "a row for each price of a part, with its source and day",
    key: &["number"],
    of_passes: false,
};

/// The rows: by part, newest first.
pub fn sheet(evidence: &Evidence) -> Sheet {
    let mut sheet = Sheet::new(
        ABOUT,
        fields(&[
            ("number", Kind::Whole, "counts the rows"),
            ("part", Kind::Words, "the part"),
            ("amount", Kind::Number, "the price, in the currency beside it"),
            ("currency", Kind::Words, "code of the currency (ISO 4217)"),
            ("kind", Kind::Words, "'list' or 'street'"),
            ("country", Kind::Words, "where it is asked; empty: not said"),
            ("source", Kind::Words, "where it was read"),
            ("read_on", Kind::Day, "the day on which it was read, in UTC"),
        ]),
    );
    let parts: BTreeSet<_> = evidence.cells.values().map(|cell| cell.cell.part_id).collect();
    let of_piece = evidence.prices.iter().filter(|price| parts.contains(&price.fields.part_id));
    for (number, price) in (1..).zip(of_piece) {
        let f = &price.fields;
        sheet.row([
            i64::to_string(&number),
            words(&evidence.registers.part_name(f.part_id)),
            f.amount.clone(),
            words(&f.currency),
            f.kind.as_str().to_owned(),
            words(&f.country),
            words(&f.source),
            day_of(f.dated_us),
        ]);
    }
    sheet
}
