//! Quoted numbers of a piece: what people type of them, checked and kept, and the change of one over another.

use weighhouse_web::format;

use super::evidence::Registers;
use super::once::By;
use super::registers::typed::{Typed, day_of, number};
use super::{Error, Kind, Refusal, Result};
use crate::store::quotes::{self, Quote, QuoteFields};
use crate::store::{PieceId, QuoteId, Store};

/// Units beside the codes of currencies, in the order in which they are offered.
pub const UNITS: [&str; 10] = ["W", "GB", "MHz", "fps", "ms", "°C", "J", "EUR", "USD", "GBP"];
/// Characters of a source: the schema's rule.
const SOURCE_LENGTH: usize = 400;

/// Reads a quoted number from typed texts; `there` are those of the piece, `own` the one that is changed.
///
/// # Errors
/// Refused, naming every field that is wrong.
pub fn read(
    piece_id: PieceId,
    (names, there): (&Registers, &[Quote]),
    own: Option<QuoteId>,
    mut typed: Typed<'_>,
) -> Result<QuoteFields> {
    let unit = typed.text("unit");
    if !UNITS.contains(&unit) {
        typed.wrong("unit", format!("'{unit}' is no unit: choose one of {}.", UNITS.join(", ")));
    }
    let source = typed.free("source");
    if !(1..=SOURCE_LENGTH).contains(&source.chars().count()) {
        typed.wrong(
            "source",
            "Say where it stands, such as: data sheet of 3 November. At most 400 characters.",
        );
    }
    let link = typed.free("link");
    if !link.is_empty() && !link.starts_with("https://") && !link.starts_with("http://") {
        typed.wrong("link", "An address begins with https:// or http://; it may stay empty.");
    }
    let part_id = chosen(&mut typed, "part", names.parts.keys().map(|id| (id.0, *id)));
    let others = there.iter().filter(|quote| Some(quote.id) != own && quote.fields.unit == unit);
    let over_id = chosen(&mut typed, "over", others.map(|quote| (quote.id.0, quote.id)));
    let fields = QuoteFields {
        piece_id,
        name: typed.name("name", "The number's name"),
        part_id,
        value: typed.amount("value"),
        unit: unit.to_owned(),
        source,
        link,
        dated_us: typed.day("dated"),
        over_id,
    };
    typed.done().map(|()| fields)
}

/// One of several rows by its id; none where nothing was chosen.
fn chosen<T>(
    typed: &mut Typed<'_>,
    field: &'static str,
    mut of: impl Iterator<Item = (i64, T)>,
) -> Option<T> {
    let text = typed.text(field);
    if text.is_empty() {
        return None;
    }
    let found = of.find(|(id, _)| id.to_string() == text).map(|(_, row)| row);
    if found.is_none() {
        typed.wrong(field, "Choose one of the list; a change is told between numbers of one unit.");
    }
    found
}

/// A quoted number as a form shows it: name of the field and its text.
pub fn texts(of: &QuoteFields) -> Vec<(String, String)> {
    [
        ("name", of.name.clone()),
        ("part", number(of.part_id.map(|id| id.0))),
        ("value", of.value.clone()),
        ("unit", of.unit.clone()),
        ("source", of.source.clone()),
        ("link", of.link.clone()),
        ("dated", day_of(of.dated_us)),
        ("over", number(of.over_id.map(|id| id.0))),
    ]
    .map(|(name, text)| (name.to_owned(), text))
    .to_vec()
}

/// The value with its unit: `32 GB`.
pub fn shown(of: &QuoteFields) -> String {
    format::text_in(&of.value, &of.unit)
}

/// The quote over the one that it is told against, as a ratio; `None` where there is none, or that is 0.
pub fn over(of: &QuoteFields, all: &[Quote]) -> Option<f64> {
    let base = all.iter().find(|quote| Some(quote.id) == of.over_id)?;
    let (value, base): (f64, f64) = (of.value.parse().ok()?, base.fields.value.parse().ok()?);
    (base > 0.0).then(|| value / base)
}

/// Adds one.
///
/// # Errors
/// Refused when the name is taken.
pub async fn add(store: &Store, by: impl Into<By>, fields: QuoteFields) -> Result<QuoteId> {
    by.into().write(store, async move |tx| Ok(quotes::add(tx, &fields).await?)).await
}

/// Changes what was read at `version`.
///
/// # Errors
/// Refused when somebody was faster, with both texts, and when the name is taken.
pub async fn edit(
    store: &Store,
    by: impl Into<By>,
    id: QuoteId,
    version: i64,
    fields: QuoteFields,
) -> Result<()> {
    by.into()
        .write(store, async move |tx| {
            let now = quotes::by_id(tx, id).await?.ok_or_else(|| Refusal::missing("quote", id))?;
            if now.version != version {
                return Err(stale(&fields, &now.fields));
            }
            Ok(quotes::edit(tx, id, version, &fields).await?)
        })
        .await
}

/// Takes one out: what it was.
///
/// # Errors
/// Refused when somebody changed it since it was read, or another is told against it.
pub async fn take_out(store: &Store, by: impl Into<By>, quote: Quote, version: i64) -> Result<QuoteFields> {
    by.into()
        .write(store, async move |tx| {
            if quote.version != version {
                return Err(stale(&quote.fields, &quote.fields));
            }
            let all = quotes::of_piece(tx, quote.fields.piece_id).await?;
            if let Some(other) = all.iter().find(|other| other.fields.over_id == Some(quote.id)) {
                let says = format!("The change of '{}' is told against it.", other.fields.name);
                return Err(Refusal::new(Kind::Clash, "Not taken out", says, "Change that one first.").into());
            }
            quotes::remove(tx, quote.id, version).await?;
            Ok(quote.fields)
        })
        .await
}

fn stale(yours: &QuoteFields, theirs: &QuoteFields) -> Error {
    let lines = |of: &QuoteFields| {
        texts(of).into_iter().map(|(name, text)| format!("{name}: {text}")).collect::<Vec<_>>().join("\n")
    };
    Refusal::stale("this number", lines(yours), lines(theirs)).into()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::work::made_up;

    fn typed_as(with: &[(&'static str, &'static str)], there: &[Quote]) -> Result<QuoteFields> {
        let usual = [
            ("name", "memory"),
            ("value", "32"),
            ("unit", "GB"),
            ("source", "data sheet"),
            ("dated", "2026-11-03"),
        ];
        let text = |field: &str| {
            let own = with.iter().chain(&usual).find(|(name, _)| *name == field);
            own.map_or("", |(_, text)| *text)
        };
        read(PieceId(1), (&made_up::piece(1, 1).registers, there), None, Typed::new(&text))
    }

    fn quote(id: i64, value: &str, over: Option<i64>) -> Quote {
        let fields = typed_as(&[], &[]).unwrap();
        let fields = QuoteFields { value: value.to_owned(), over_id: over.map(QuoteId), ..fields };
        Quote { id: QuoteId(id), fields, version: 1 }
    }

    #[test]
    fn what_has_no_source_or_no_unit_is_refused_by_field() {
        assert_eq!(typed_as(&[("part", "1")], &[]).unwrap().part_id.map(|id| id.0), Some(1));
        for wrong in [
            ("source", ""),
            ("unit", "GiB"),
            ("link", "ftp://x"),
            ("value", "a lot"),
            ("part", "9"),
            ("over", "4"),
        ] {
            let Err(Error::Refused(refusal)) = typed_as(&[wrong], &[]) else { panic!("{wrong:?}") };
            assert_eq!(refusal.fields.iter().map(|(name, _)| *name).collect::<Vec<_>>(), [wrong.0]);
        }
    }

    /// Common practice, no source: 24 to 32 GB is a third more, 450 to 575 W is 28 %.
    #[test]
    fn a_change_is_told_between_two_quotes() {
        let all =
            [quote(1, "24", None), quote(2, "32", Some(1)), quote(3, "0", None), quote(4, "5", Some(3))];
        let over = |at: usize| over(&all[at].fields, &all);
        assert!((over(1).unwrap() - 4.0 / 3.0).abs() < 1e-12);
        assert_eq!((over(0), over(3)), (None, None));
        assert_eq!(shown(&all[1].fields).replace('\u{a0}', " "), "32 GB");
        assert_eq!(typed_as(&[("over", "1")], &all).unwrap().over_id, Some(QuoteId(1)));
    }
}
