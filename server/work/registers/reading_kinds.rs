//! Kinds of reading.

use super::{Add, Edit, Entered, Entry, Texts, Typed};
use crate::store::registers::reading_kinds::{self, Better, ReadAt, ReadingKind, ReadingKindFields};
use crate::store::{Db, ReadingKindId, StoreError, Tx};
use crate::work::Result;

/// Characters of a unit, as the schema has it.
const UNIT: usize = 12;
/// Repeats that are wanted where nothing is said.
const REPEATS: i64 = 3;

impl Entry for ReadingKindFields {
    const THING: &'static str = "kind";
    type Of = ();

    fn read((): (), mut typed: Typed<'_>) -> Result<Self> {
        let unit = typed.text("unit");
        if !(1..=UNIT).contains(&unit.chars().count()) {
            let says =
                "The unit is missing; write what stands behind the number, such as dB(A), W, s or points.";
            typed.wrong("unit", if unit.is_empty() { says } else { "A unit has at most 12 characters." });
        }
        let read_at = typed.word("read_at", ReadAt::ALL, ReadAt::Part);
        if unit.starts_with("dB") && read_at == ReadAt::Wall {
            typed.wrong("read_at", "Decibels are no power at the wall: choose the air beside it.");
        }
        let fields = ReadingKindFields {
            name: typed.name("name", "The name"),
            unit: unit.to_owned(),
            better: typed.word("better", Better::ALL, Better::Lower),
            read_at,
            repeats: typed.whole("repeats", "repeats", 1..=50).unwrap_or(REPEATS),
            method: typed.free("method"),
        };
        typed.done().map(|()| fields)
    }

    fn texts(&self) -> Texts {
        vec![
            ("name", self.name.clone()),
            ("unit", self.unit.clone()),
            ("better", self.better.to_string()),
            ("read_at", self.read_at.to_string()),
            ("repeats", self.repeats.to_string()),
            ("method", self.method.clone()),
        ]
    }

    fn called(&self) -> String {
        format!("'{}'", self.name)
    }
}

impl Add for ReadingKindFields {
    async fn add(self, tx: &mut Tx<'_>) -> Result<i64> {
        Ok(reading_kinds::add(tx, &self).await?.0)
    }
}

impl Edit for ReadingKindFields {
    fn of(&self) -> Self::Of {}

    async fn find(db: &mut Db, id: i64) -> std::result::Result<Option<Entered<Self>>, StoreError> {
        let row = reading_kinds::by_id(db, ReadingKindId(id)).await?;
        Ok(row.map(|ReadingKind { id, fields, version }| Entered { id: id.0, entry: fields, version }))
    }

    async fn edit(self, tx: &mut Tx<'_>, id: i64, version: i64) -> Result<()> {
        Ok(reading_kinds::edit(tx, ReadingKindId(id), version, &self).await?)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::work::Error;

    fn typed(pairs: &[(&'static str, &'static str)]) -> Result<ReadingKindFields> {
        let text = |field: &str| pairs.iter().find(|(name, _)| *name == field).map_or("", |(_, text)| *text);
        ReadingKindFields::read((), Typed::new(&text))
    }

    #[test]
    fn a_kind_has_a_unit_and_sound_is_not_read_at_the_wall() {
        let kind = typed(&[("name", "idle power"), ("unit", "W"), ("read_at", "wall")]).unwrap();
        assert_eq!((kind.repeats, kind.better), (REPEATS, Better::Lower));
        for (pairs, field) in [
            (&[("name", "idle power"), ("unit", "")][..], "unit"),
            (&[("name", "noise"), ("unit", "dB(A)"), ("read_at", "wall")][..], "read_at"),
            (&[("name", ""), ("unit", "W")][..], "name"),
            (&[("name", "noise"), ("unit", "W"), ("better", "louder")][..], "better"),
        ] {
            let Err(Error::Refused(refusal)) = typed(pairs) else { panic!("{pairs:?} is kept") };
            assert_eq!(refusal.fields.iter().map(|(name, _)| *name).collect::<Vec<_>>(), [field]);
        }
    }

    #[test]
    fn what_is_typed_comes_back() {
        let pairs =
            [("name", "noise"), ("unit", "dB(A)"), ("read_at", "air"), ("repeats", "5"), ("better", "lower")];
        let kind = typed(&pairs).unwrap();
        let back = kind.texts();
        for (name, text) in pairs {
            assert!(back.contains(&(name, text.to_owned())), "{name}");
        }
    }
}
