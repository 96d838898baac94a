//! Parts with their units, drivers and prices.

use serde::{Deserialize, Serialize};

use super::tunings::{self, TuningFields};
use crate::store::audit::{DRIVER, PART, PRICE, UNIT};
use crate::store::words::words;
use crate::store::{Db, DriverId, PartId, PriceId, StoreError, Tx, UnitId, hit};

words! {
    /// What a part is, and with it what may differ by design between the things a piece compares.
    PartKind {
        /// A card in a rig.
        Card = "card",
        /// A processor on a platform.
        Processor = "processor",
        /// A whole device.
        Device = "device",
    }
}

/// What people type of a part.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, sqlx::FromRow)]
pub struct PartFields {
    /// Who makes it.
    pub maker: String,
    /// Its model, unique with the maker.
    pub model: String,
    /// What it is.
    pub kind: PartKind,
    /// The maker's rated power limit, watts.
    pub rated_power_w: Option<i64>,
    /// Its own memory, MiB.
    pub memory_mib: Option<i64>,
    /// Anything else.
    pub note: String,
}

/// A model under test.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, sqlx::FromRow)]
pub struct Part {
    /// Row id.
    pub id: PartId,
    /// What people typed.
    #[sqlx(flatten)]
    #[serde(flatten)]
    pub fields: PartFields,
    /// For stale forms.
    pub version: i64,
}

impl Part {
    /// Maker and model.
    pub fn name(&self) -> String {
        format!("{} {}", self.fields.maker, self.fields.model)
    }
}

macro_rules! parts {
    ($rest:literal) => {
        concat!("SELECT id, maker, model, kind, rated_power_w, memory_mib, note, version FROM part ", $rest)
    };
}

/// All parts, by maker and model.
pub async fn all(db: &mut Db) -> Result<Vec<Part>, StoreError> {
    Ok(sqlx::query_as(parts!("ORDER BY maker, model")).fetch_all(db).await?)
}

/// One part.
pub async fn by_id(db: &mut Db, id: PartId) -> Result<Option<Part>, StoreError> {
    Ok(sqlx::query_as(parts!("WHERE id = ?")).bind(id).fetch_optional(db).await?)
}

/// Adds a part, and with it its tuning 'stock'.
pub async fn add(tx: &mut Tx<'_>, f: &PartFields) -> Result<PartId, StoreError> {
    let id = sqlx::query_scalar(
        "INSERT INTO part (maker, model, kind, rated_power_w, memory_mib, note) VALUES (?, ?, ?, ?, ?, ?)
         RETURNING id",
    )
    .bind(&f.maker)
    .bind(&f.model)
    .bind(f.kind)
    .bind(f.rated_power_w)
    .bind(f.memory_mib)
    .bind(&f.note)
    .fetch_one(&mut **tx)
    .await
    .map(PartId)?;
    tx.record("add", &PART, id).await?;
    tunings::add(tx, &TuningFields::stock(id)).await?;
    Ok(id)
}

/// Changes a part.
pub async fn edit(tx: &mut Tx<'_>, id: PartId, version: i64, f: &PartFields) -> Result<(), StoreError> {
    let done = sqlx::query(
        "UPDATE part SET maker = ?, model = ?, kind = ?, rated_power_w = ?, memory_mib = ?, note = ?,
                version = version + 1 WHERE id = ? AND version = ?",
    )
    .bind(&f.maker)
    .bind(&f.model)
    .bind(f.kind)
    .bind(f.rated_power_w)
    .bind(f.memory_mib)
    .bind(&f.note)
    .bind(id)
    .bind(version)
    .execute(&mut **tx)
    .await?;
    hit(&done)?;
    tx.record("edit", &PART, id).await
}

words! {
    /// Where a unit came from.
    Origin {
        /// Bought.
        Bought = "bought",
        /// Lent by a maker or seller: said in the pack.
        Lent = "lent",
    }
}

/// What people type of a unit.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, sqlx::FromRow)]
pub struct UnitFields {
    /// Its part.
    pub part_id: PartId,
    /// What it is called, unique for the part.
    pub label: String,
    /// Serial number.
    pub serial: String,
    /// Bought or lent.
    pub origin: Origin,
    /// Position of its firmware switch.
    pub firmware: String,
    /// Who lent it.
    pub lender: String,
    /// On which terms.
    pub terms: String,
    /// Until when nothing of it may be published, microseconds UTC.
    pub embargo_us: Option<i64>,
}

impl UnitFields {
    /// A bought unit of which nothing else is known.
    pub fn bought(part_id: PartId, label: &str) -> Self {
        let (serial, firmware, lender, terms) = Default::default();
        let (label, origin) = (label.to_owned(), Origin::Bought);
        Self { part_id, label, serial, origin, firmware, lender, terms, embargo_us: None }
    }
}

/// A sample in hand.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, sqlx::FromRow)]
pub struct Unit {
    /// Row id.
    pub id: UnitId,
    /// What people typed.
    #[sqlx(flatten)]
    #[serde(flatten)]
    pub fields: UnitFields,
    /// For stale forms.
    pub version: i64,
}

/// All units, by part.
pub async fn units(db: &mut Db) -> Result<Vec<Unit>, StoreError> {
    Ok(sqlx::query_as(
        "SELECT id, part_id, label, serial, origin, firmware, coalesce(lender, '') AS lender,
                coalesce(terms, '') AS terms, embargo_us, version FROM unit ORDER BY part_id, label",
    )
    .fetch_all(db)
    .await?)
}

/// Adds a unit.
pub async fn add_unit(tx: &mut Tx<'_>, f: &UnitFields) -> Result<UnitId, StoreError> {
    let id = sqlx::query_scalar(
        "INSERT INTO unit (part_id, label, serial, origin, firmware, lender, terms, embargo_us)
         VALUES (?, ?, ?, ?, ?, nullif(?, ''), nullif(?, ''), ?) RETURNING id",
    )
    .bind(f.part_id)
    .bind(&f.label)
    .bind(&f.serial)
    .bind(f.origin)
    .bind(&f.firmware)
    .bind(&f.lender)
    .bind(&f.terms)
    .bind(f.embargo_us)
    .fetch_one(&mut **tx)
    .await
    .map(UnitId)?;
    tx.record("add", &UNIT, id).await?;
    Ok(id)
}

/// Changes a unit; it stays with its part.
pub async fn edit_unit(tx: &mut Tx<'_>, id: UnitId, version: i64, f: &UnitFields) -> Result<(), StoreError> {
    let done = sqlx::query(
        "UPDATE unit SET label = ?, serial = ?, origin = ?, firmware = ?, lender = nullif(?, ''),
                terms = nullif(?, ''), embargo_us = ?, version = version + 1
         WHERE id = ? AND version = ?",
    )
    .bind(&f.label)
    .bind(&f.serial)
    .bind(f.origin)
    .bind(&f.firmware)
    .bind(&f.lender)
    .bind(&f.terms)
    .bind(f.embargo_us)
    .bind(id)
    .bind(version)
    .execute(&mut **tx)
    .await?;
    hit(&done)?;
    tx.record("edit", &UNIT, id).await
}

/// What people type of a driver.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, sqlx::FromRow)]
pub struct DriverFields {
    /// Its part.
    pub part_id: PartId,
    /// Name or number, unique for the part.
    pub name: String,
    /// When it came out, microseconds UTC.
    pub dated_us: i64,
}

/// A part's dated driver.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, sqlx::FromRow)]
pub struct Driver {
    /// Row id.
    pub id: DriverId,
    /// What people typed.
    #[sqlx(flatten)]
    #[serde(flatten)]
    pub fields: DriverFields,
    /// For stale forms.
    pub version: i64,
}

/// All drivers, by part, newest first.
pub async fn drivers(db: &mut Db) -> Result<Vec<Driver>, StoreError> {
    Ok(sqlx::query_as(
        "SELECT id, part_id, name, dated_us, version FROM driver ORDER BY part_id, dated_us DESC, id DESC",
    )
    .fetch_all(db)
    .await?)
}

/// Adds a driver.
pub async fn add_driver(tx: &mut Tx<'_>, f: &DriverFields) -> Result<DriverId, StoreError> {
    let id = sqlx::query_scalar("INSERT INTO driver (part_id, name, dated_us) VALUES (?, ?, ?) RETURNING id")
        .bind(f.part_id)
        .bind(&f.name)
        .bind(f.dated_us)
        .fetch_one(&mut **tx)
        .await
        .map(DriverId)?;
    tx.record("add", &DRIVER, id).await?;
    Ok(id)
}

/// Changes a driver; it stays with its part.
pub async fn edit_driver(
    tx: &mut Tx<'_>,
    id: DriverId,
    version: i64,
    f: &DriverFields,
) -> Result<(), StoreError> {
    let done = sqlx::query(
        "UPDATE driver SET name = ?, dated_us = ?, version = version + 1 WHERE id = ? AND version = ?",
    )
    .bind(&f.name)
    .bind(f.dated_us)
    .bind(id)
    .bind(version)
    .execute(&mut **tx)
    .await?;
    hit(&done)?;
    tx.record("edit", &DRIVER, id).await
}

words! {
    /// What a price is.
    PriceKind {
        /// The maker's list price.
        List = "list",
        /// What shops ask.
        Street = "street",
    }
}

/// What people type of a price.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, sqlx::FromRow)]
pub struct PriceFields {
    /// Its part.
    pub part_id: PartId,
    /// Decimal text, a point before the decimals.
    pub amount: String,
    /// Three capital letters.
    pub currency: String,
    /// List or street.
    pub kind: PriceKind,
    /// Where.
    pub country: String,
    /// Who says so.
    pub source: String,
    /// When, microseconds UTC.
    pub dated_us: i64,
}

/// A part's dated price.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, sqlx::FromRow)]
pub struct Price {
    /// Row id.
    pub id: PriceId,
    /// What people typed.
    #[sqlx(flatten)]
    #[serde(flatten)]
    pub fields: PriceFields,
    /// For stale forms.
    pub version: i64,
}

/// All prices, by part, newest first.
pub async fn prices(db: &mut Db) -> Result<Vec<Price>, StoreError> {
    Ok(sqlx::query_as(
        "SELECT id, part_id, amount, currency, kind, country, source, dated_us, version
         FROM price ORDER BY part_id, dated_us DESC, id DESC",
    )
    .fetch_all(db)
    .await?)
}

/// Adds a price.
pub async fn add_price(tx: &mut Tx<'_>, f: &PriceFields) -> Result<PriceId, StoreError> {
    let id = sqlx::query_scalar(
        "INSERT INTO price (part_id, amount, currency, kind, country, source, dated_us)
         VALUES (?, ?, ?, ?, ?, ?, ?) RETURNING id",
    )
    .bind(f.part_id)
    .bind(&f.amount)
    .bind(&f.currency)
    .bind(f.kind)
    .bind(&f.country)
    .bind(&f.source)
    .bind(f.dated_us)
    .fetch_one(&mut **tx)
    .await
    .map(PriceId)?;
    tx.record("add", &PRICE, id).await?;
    Ok(id)
}

/// Changes a price; it stays with its part.
pub async fn edit_price(
    tx: &mut Tx<'_>,
    id: PriceId,
    version: i64,
    f: &PriceFields,
) -> Result<(), StoreError> {
    let done = sqlx::query(
        "UPDATE price SET amount = ?, currency = ?, kind = ?, country = ?, source = ?, dated_us = ?,
                version = version + 1 WHERE id = ? AND version = ?",
    )
    .bind(&f.amount)
    .bind(&f.currency)
    .bind(f.kind)
    .bind(&f.country)
    .bind(&f.source)
    .bind(f.dated_us)
    .bind(id)
    .bind(version)
    .execute(&mut **tx)
    .await?;
    hit(&done)?;
    tx.record("edit", &PRICE, id).await
}
