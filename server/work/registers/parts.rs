//! Parts with their units, drivers and prices. Their tunings are in [`super::tunings`].

use super::typed::{day_of, moment_of, number};
use super::{Add, Edit, Entered, Entry, Texts, Typed};
use crate::store::people;
use crate::store::registers::parts::{
    self, Driver, DriverFields, Origin, Part, PartFields, PartKind, Price, PriceFields, PriceKind, Unit,
    UnitFields,
};
use crate::store::registers::tunings::{self, Tuning};
use crate::store::{Db, DriverId, PartId, PriceId, Store, StoreError, Tx, UnitId};
use crate::work::{Result, notes};

/// Watts and MiB beyond which a text is taken for a slip.
const MOST_W: i64 = 5_000;
const MOST_MIB: i64 = 4 * 1024 * 1024;

/// A new part, with its first unit and driver where they were typed too.
#[derive(Clone, Debug)]
pub struct NewPart {
    part: PartFields,
    unit: Option<UnitFields>,
    driver: Option<DriverFields>,
}

/// A part with all that belongs to it.
#[derive(Clone, Debug)]
pub struct PartWithAll {
    /// The part.
    pub part: Part,
    /// Samples in hand, by label.
    pub units: Vec<Unit>,
    /// Newest first.
    pub drivers: Vec<Driver>,
    /// Newest first.
    pub prices: Vec<Price>,
    /// 'stock' first, each with the name of who read its cautions.
    pub tunings: Vec<(Tuning, Option<String>)>,
}

/// All parts by maker and model, in one view of the store.
///
/// # Errors
/// When the store fails.
pub async fn all(store: &Store) -> Result<Vec<PartWithAll>> {
    let mut db = store.read().await?;
    let people = people::all(&mut db).await?;
    let units = parts::units(&mut db).await?;
    let drivers = parts::drivers(&mut db).await?;
    let prices = parts::prices(&mut db).await?;
    let tunings = tunings::all(&mut db).await?;
    let reader = |tuning: &Tuning| {
        let id = tuning.fields.cautions_read_by?;
        people.iter().find(|person| person.id == id).map(|person| person.name.clone())
    };
    let with_all = |part: Part| PartWithAll {
        units: units.iter().filter(|row| row.fields.part_id == part.id).cloned().collect(),
        drivers: drivers.iter().filter(|row| row.fields.part_id == part.id).cloned().collect(),
        prices: prices.iter().filter(|row| row.fields.part_id == part.id).cloned().collect(),
        tunings: tunings
            .iter()
            .filter(|row| row.fields.part_id == part.id)
            .map(|row| (row.clone(), reader(row)))
            .collect(),
        part,
    };
    Ok(parts::all(&mut db).await?.into_iter().map(with_all).collect())
}

fn part_fields(typed: &mut Typed<'_>) -> PartFields {
    PartFields {
        maker: typed.name("maker", "The maker's name"),
        model: typed.name("model", "The model"),
        kind: typed.word("kind", PartKind::ALL, PartKind::Card),
        rated_power_w: typed.whole("rated_power_w", "watts", 1..=MOST_W),
        memory_mib: typed.whole("memory_mib", "MiB", 1..=MOST_MIB),
        note: typed.free("note"),
    }
}

impl Entry for NewPart {
    const THING: &'static str = "part";
    type Of = ();

    fn read((): (), mut typed: Typed<'_>) -> Result<Self> {
        let part = part_fields(&mut typed);
        // The part's id is filled in when it has one.
        let part_id = PartId(0);
        let unit = (!typed.text("unit").is_empty())
            .then(|| UnitFields::bought(part_id, &typed.name("unit", "The unit's label")));
        let driver = (!typed.text("driver").is_empty()).then(|| DriverFields {
            part_id,
            name: typed.name("driver", "The driver's name"),
            dated_us: typed.day("driver_dated"),
        });
        typed.done()?;
        Ok(NewPart { part, unit, driver })
    }

    fn texts(&self) -> Texts {
        let mut texts = self.part.texts();
        texts.extend(self.unit.iter().map(|unit| ("unit", unit.label.clone())));
        if let Some(driver) = &self.driver {
            texts.extend([("driver", driver.name.clone()), ("driver_dated", day_of(driver.dated_us))]);
        }
        texts
    }

    fn called(&self) -> String {
        self.part.called()
    }
}

impl Add for NewPart {
    async fn add(self, tx: &mut Tx<'_>) -> Result<i64> {
        let part_id = parts::add(tx, &self.part).await?;
        if let Some(unit) = self.unit {
            parts::add_unit(tx, &UnitFields { part_id, ..unit }).await?;
        }
        if let Some(driver) = self.driver {
            parts::add_driver(tx, &DriverFields { part_id, ..driver }).await?;
        }
        Ok(part_id.0)
    }
}

impl Entry for PartFields {
    const THING: &'static str = "part";
    type Of = ();

    fn read((): (), mut typed: Typed<'_>) -> Result<Self> {
        let fields = part_fields(&mut typed);
        typed.done().map(|()| fields)
    }

    fn texts(&self) -> Texts {
        vec![
            ("maker", self.maker.clone()),
            ("model", self.model.clone()),
            ("kind", self.kind.to_string()),
            ("rated_power_w", number(self.rated_power_w)),
            ("memory_mib", number(self.memory_mib)),
            ("note", self.note.clone()),
        ]
    }

    fn called(&self) -> String {
        format!("{} {}", self.maker, self.model)
    }
}

impl Edit for PartFields {
    fn of(&self) {}

    async fn find(db: &mut Db, id: i64) -> std::result::Result<Option<Entered<Self>>, StoreError> {
        let row = parts::by_id(db, PartId(id)).await?;
        Ok(row.map(|row| Entered { id, entry: row.fields, version: row.version }))
    }

    async fn edit(self, tx: &mut Tx<'_>, id: i64, version: i64) -> Result<()> {
        Ok(parts::edit(tx, PartId(id), version, &self).await?)
    }
}

impl Entry for UnitFields {
    const THING: &'static str = "unit";
    type Of = PartId;

    fn read(part_id: PartId, mut typed: Typed<'_>) -> Result<Self> {
        let fields = UnitFields {
            part_id,
            label: typed.name("label", "The unit's label"),
            serial: typed.free("serial"),
            origin: typed.word("origin", Origin::ALL, Origin::Bought),
            firmware: typed.free("firmware"),
            lender: typed.free("lender"),
            terms: typed.free("terms"),
            embargo_us: Some(typed.moment("embargo")).filter(|at| *at != 0),
        };
        let lent = fields.origin == Origin::Lent;
        for (field, is_there) in [
            ("lender", !fields.lender.is_empty()),
            ("terms", !fields.terms.is_empty()),
            ("embargo", fields.embargo_us.is_some()),
        ] {
            if is_there && !lent {
                typed.wrong(field, "The unit is bought: choose 'lent', or leave this empty.");
            }
        }
        if fields.lender.chars().count() > 80 {
            typed.wrong("lender", "At most 80 characters; the rest belongs to the terms.");
        }
        if fields.terms.chars().count() > 400 {
            typed.wrong("terms", "At most 400 characters.");
        }
        typed.done().map(|()| fields)
    }

    fn texts(&self) -> Texts {
        vec![
            ("label", self.label.clone()),
            ("serial", self.serial.clone()),
            ("origin", self.origin.to_string()),
            ("firmware", self.firmware.clone()),
            ("lender", self.lender.clone()),
            ("terms", self.terms.clone()),
            ("embargo", self.embargo_us.map_or_else(String::new, moment_of)),
        ]
    }

    fn called(&self) -> String {
        format!("Unit {}", self.label)
    }
}

impl Add for UnitFields {
    async fn add(self, tx: &mut Tx<'_>) -> Result<i64> {
        Ok(parts::add_unit(tx, &self).await?.0)
    }
}

impl Edit for UnitFields {
    fn of(&self) -> PartId {
        self.part_id
    }

    async fn find(db: &mut Db, id: i64) -> std::result::Result<Option<Entered<Self>>, StoreError> {
        let row = parts::units(db).await?.into_iter().find(|row| row.id.0 == id);
        Ok(row.map(|row| Entered { id, entry: row.fields, version: row.version }))
    }

    async fn edit(self, tx: &mut Tx<'_>, id: i64, version: i64) -> Result<()> {
        let before = parts::units(tx).await?.into_iter().find(|row| row.id.0 == id);
        let held = before.and_then(|row| row.fields.embargo_us).filter(|end| tx.at_us < *end);
        if held.is_some() && self.embargo_us < held {
            notes::owner_acts(tx).await?;
        }
        Ok(parts::edit_unit(tx, UnitId(id), version, &self).await?)
    }
}

impl Entry for DriverFields {
    const THING: &'static str = "driver";
    type Of = PartId;

    fn read(part_id: PartId, mut typed: Typed<'_>) -> Result<Self> {
        let name = typed.name("name", "The driver's name");
        let fields = DriverFields { part_id, name, dated_us: typed.day("dated") };
        typed.done().map(|()| fields)
    }

    fn texts(&self) -> Texts {
        vec![("name", self.name.clone()), ("dated", day_of(self.dated_us))]
    }

    fn called(&self) -> String {
        format!("Driver {}", self.name)
    }
}

impl Add for DriverFields {
    async fn add(self, tx: &mut Tx<'_>) -> Result<i64> {
        Ok(parts::add_driver(tx, &self).await?.0)
    }
}

impl Edit for DriverFields {
    fn of(&self) -> PartId {
        self.part_id
    }

    async fn find(db: &mut Db, id: i64) -> std::result::Result<Option<Entered<Self>>, StoreError> {
        let row = parts::drivers(db).await?.into_iter().find(|row| row.id.0 == id);
        Ok(row.map(|row| Entered { id, entry: row.fields, version: row.version }))
    }

    async fn edit(self, tx: &mut Tx<'_>, id: i64, version: i64) -> Result<()> {
        Ok(parts::edit_driver(tx, DriverId(id), version, &self).await?)
    }
}

impl Entry for PriceFields {
    const THING: &'static str = "price";
    type Of = PartId;

    fn read(part_id: PartId, mut typed: Typed<'_>) -> Result<Self> {
        let fields = PriceFields {
            part_id,
            amount: typed.amount("amount"),
            currency: typed.currency("currency"),
            kind: typed.word("kind", PriceKind::ALL, PriceKind::Street),
            country: typed.free("country"),
            source: typed.free("source"),
            dated_us: typed.day("dated"),
        };
        typed.done().map(|()| fields)
    }

    fn texts(&self) -> Texts {
        vec![
            ("amount", self.amount.clone()),
            ("currency", self.currency.clone()),
            ("kind", self.kind.to_string()),
            ("country", self.country.clone()),
            ("source", self.source.clone()),
            ("dated", day_of(self.dated_us)),
        ]
    }

    fn called(&self) -> String {
        format!("The {} price of {} {}", self.kind, self.amount, self.currency)
    }
}

impl Add for PriceFields {
    async fn add(self, tx: &mut Tx<'_>) -> Result<i64> {
        Ok(parts::add_price(tx, &self).await?.0)
    }
}

impl Edit for PriceFields {
    fn of(&self) -> PartId {
        self.part_id
    }

    async fn find(db: &mut Db, id: i64) -> std::result::Result<Option<Entered<Self>>, StoreError> {
        let row = parts::prices(db).await?.into_iter().find(|row| row.id.0 == id);
        Ok(row.map(|row| Entered { id, entry: row.fields, version: row.version }))
    }

    async fn edit(self, tx: &mut Tx<'_>, id: i64, version: i64) -> Result<()> {
        Ok(parts::edit_price(tx, PriceId(id), version, &self).await?)
    }
}
