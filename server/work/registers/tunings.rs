//! Tunings: which of them are past the maker's rated limits, and that their cautions were read before they are kept.

use super::typed::number;
use super::{Add, Edit, Entered, Entry, Texts, Typed};
use crate::store::registers::parts;
use crate::store::registers::tunings::{self, STOCK, Tuning, TuningFields};
use crate::store::{Actor, Db, PartId, StoreError, TuningId, Tx};
use crate::work::{Kind, Refusal, Result};

/// Watts, MHz and mV beyond which a text is taken for a slip.
const MOST_W: i64 = 5_000;
const MOST_MHZ: i64 = 10_000;
const MOST_MV: i64 = 1_000;

/// In what a tuning is past the maker's rated limits, in words; empty: within them.
///
/// A power limit counts as past them when the rated one is not known: nobody can say that it is within.
pub fn past_limits(tuning: &TuningFields, rated_power_w: Option<i64>) -> Vec<String> {
    let mut past = Vec::new();
    match (tuning.power_limit_w, rated_power_w) {
        (Some(limit), Some(rated)) if limit > rated => {
            past.push(format!("a power limit of {limit} W, rated at {rated} W"));
        }
        (Some(limit), None) => past.push(format!("a power limit of {limit} W, with no rated one entered")),
        _ => {}
    }
    for (offset, unit, what) in [
        (tuning.core_offset_mhz, "MHz", "core clock"),
        (tuning.memory_offset_mhz, "MHz", "memory clock"),
        (tuning.voltage_offset_mv, "mV", "voltage"),
    ] {
        if offset > 0 {
            past.push(format!("{what} {offset:+} {unit}"));
        }
    }
    past
}

/// A tuning as it was typed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TypedTuning {
    /// Its fields; who read the cautions is filled in when it is kept.
    pub fields: TuningFields,
    /// Whether 'I have read this' is ticked.
    pub cautions_read: bool,
}

impl From<Tuning> for Entered<TypedTuning> {
    fn from(row: Tuning) -> Self {
        let entry = TypedTuning { fields: row.fields, cautions_read: false };
        Entered { id: row.id.0, entry, version: row.version }
    }
}

impl TypedTuning {
    /// The fields to keep.
    ///
    /// # Errors
    /// Refused when the tuning is past the limits and the cautions are not ticked as read.
    async fn settled(self, tx: &mut Tx<'_>) -> Result<TuningFields> {
        let part_id = self.fields.part_id;
        let part = parts::by_id(tx, part_id).await?.ok_or_else(|| Refusal::missing("part", part_id))?;
        let past = past_limits(&self.fields, part.fields.rated_power_w);
        let reader = match tx.by {
            Actor::Person(person) if !past.is_empty() => Some(person),
            _ => None,
        };
        if !past.is_empty() && !self.cautions_read {
            return Err(unread(&past).into());
        }
        Ok(TuningFields { cautions_read_by: reader, ..self.fields })
    }
}

fn unread(past: &[String]) -> Refusal {
    let says = format!(
        "This is past the maker's rated limits ({}): read the cautions and tick 'I have read this', or stay within the limits.",
        past.join("; ")
    );
    Refusal::field("cautions_read", says)
}

impl Entry for TypedTuning {
    const THING: &'static str = "tuning";
    type Of = PartId;

    fn read(part_id: PartId, mut typed: Typed<'_>) -> Result<Self> {
        let fields = TuningFields {
            part_id,
            name: typed.name("name", "The tuning's name"),
            power_limit_w: typed.whole("power_limit_w", "watts", 1..=MOST_W),
            core_offset_mhz: typed.whole("core_offset_mhz", "MHz", -MOST_MHZ..=MOST_MHZ).unwrap_or(0),
            memory_offset_mhz: typed.whole("memory_offset_mhz", "MHz", -MOST_MHZ..=MOST_MHZ).unwrap_or(0),
            voltage_offset_mv: typed.whole("voltage_offset_mv", "mV", -MOST_MV..=MOST_MV).unwrap_or(0),
            cautions_read_by: None,
        };
        let cautions_read = matches!(typed.text("cautions_read"), "1" | "true" | "on");
        typed.done()?;
        Ok(TypedTuning { fields, cautions_read })
    }

    fn texts(&self) -> Texts {
        let f = &self.fields;
        let offset = |value| number(Some(value).filter(|value| *value != 0));
        vec![
            ("name", f.name.clone()),
            ("power_limit_w", number(f.power_limit_w)),
            ("core_offset_mhz", offset(f.core_offset_mhz)),
            ("memory_offset_mhz", offset(f.memory_offset_mhz)),
            ("voltage_offset_mv", offset(f.voltage_offset_mv)),
        ]
    }

    fn called(&self) -> String {
        format!("Tuning {}", self.fields.name)
    }
}

impl Add for TypedTuning {
    async fn add(self, tx: &mut Tx<'_>) -> Result<i64> {
        let fields = self.settled(tx).await?;
        Ok(tunings::add(tx, &fields).await?.0)
    }
}

impl Edit for TypedTuning {
    fn of(&self) -> PartId {
        self.fields.part_id
    }

    async fn find(db: &mut Db, id: i64) -> std::result::Result<Option<Entered<Self>>, StoreError> {
        Ok(tunings::by_id(db, TuningId(id)).await?.map(Entered::from))
    }

    async fn edit(self, tx: &mut Tx<'_>, id: i64, version: i64) -> Result<()> {
        let before = tunings::by_id(tx, TuningId(id)).await?;
        if before.is_some_and(|before| before.fields.name == STOCK) {
            return Err(stock().into());
        }
        let fields = self.settled(tx).await?;
        Ok(tunings::edit(tx, TuningId(id), version, &fields).await?)
    }
}

fn stock() -> Refusal {
    Refusal::new(
        Kind::NotAllowed,
        "Stock stays stock",
        "The tuning 'stock' is the part as its maker runs it; it is not changed.",
        "Add another tuning with the limits and offsets that you set.",
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    fn tuning(power_limit_w: Option<i64>, offsets: [i64; 3]) -> TuningFields {
        let [core_offset_mhz, memory_offset_mhz, voltage_offset_mv] = offsets;
        let stock = TuningFields::stock(PartId(1));
        TuningFields { power_limit_w, core_offset_mhz, memory_offset_mhz, voltage_offset_mv, ..stock }
    }

    #[test]
    fn stock_lower_limits_and_negative_offsets_are_within_the_makers_limits() {
        for within in [
            tuning(None, [0; 3]),
            tuning(Some(400), [0; 3]),
            tuning(Some(250), [0; 3]),
            tuning(None, [-100, -50, -75]),
        ] {
            assert_eq!(past_limits(&within, Some(400)), Vec::<String>::new(), "{within:?}");
        }
        assert_eq!(past_limits(&tuning(None, [0; 3]), None), Vec::<String>::new());
    }

    #[test]
    fn a_higher_limit_and_any_positive_offset_are_past_them() {
        assert_eq!(
            past_limits(&tuning(Some(401), [0; 3]), Some(400)),
            ["a power limit of 401 W, rated at 400 W"]
        );
        assert_eq!(
            past_limits(&tuning(Some(250), [1, 1500, 25]), Some(400)),
            ["core clock +1 MHz", "memory clock +1500 MHz", "voltage +25 mV"]
        );
        assert_eq!(past_limits(&tuning(Some(250), [0; 3]), None).len(), 1);
    }
}
