//! Parts with their units, drivers, tunings and prices.

use weighhouse_web::pages::parts::{Driver, PartEntry, PartForms, Price, Tuning, Unit};
use weighhouse_web::pages::{Form, Part, Parts, part_forms as pages};
use weighhouse_web::paths;

use super::App;
use super::registers::{Kind, Open, Top, at};
use super::resources::Of;
use super::session::SignedIn;
use crate::store::PartId;
use crate::store::registers::parts::{self as rows, DriverFields, PartFields, PriceFields, UnitFields};
use crate::store::registers::tunings::STOCK;
use crate::work::registers::parts::{self, NewPart, PartWithAll};
use crate::work::registers::tunings::{TypedTuning, past_limits};
use crate::work::registers::typed::day_of;
use crate::work::registers::{Entered, Entry};
use crate::work::{Refusal, Result};

/// Label of the register's entry in the frame.
const HERE: &str = "Parts";

impl Kind for NewPart {
    type Page = Parts;
    type Owner = Top;

    fn under(_: Top) {}

    async fn page(app: &App, who: &SignedIn, (): (), open: &Open) -> Result<Parts> {
        let frame = who.frame(HERE);
        let parts = parts::all(&app.store).await?;
        let usual = vec![("unit", "A".to_owned()), ("driver_dated", day_of(app.clock.now_us()))];
        let new = pages::new_part(&open.filled(Self::THING, usual));
        Ok(Parts { frame, parts: parts.into_iter().map(entry).collect(), new })
    }

    fn place((): (), id: i64) -> String {
        paths::part(id)
    }

    fn next((): ()) -> String {
        format!("{}#new-part-maker", paths::parts())
    }
}

impl Kind for PartFields {
    type Page = Part;
    type Owner = Top;

    fn under(_: Top) {}

    async fn page(app: &App, who: &SignedIn, (): (), open: &Open) -> Result<Part> {
        page(app, who, PartId(open.row().unwrap_or(0)), open).await
    }

    fn place((): (), id: i64) -> String {
        paths::part(id)
    }

    fn next((): ()) -> String {
        paths::parts()
    }
}

macro_rules! of_a_part {
    ($($kind:ty, $start:literal;)+) => {$(
        impl Kind for $kind {
            type Page = Part;
            type Owner = Of<Entered<PartFields>>;

            fn under(Of(part): Self::Owner) -> PartId {
                PartId(part.id)
            }

            async fn page(app: &App, who: &SignedIn, part: PartId, open: &Open) -> Result<Part> {
                page(app, who, part, open).await
            }

            fn place(part: PartId, _: i64) -> String {
                paths::part(part.0)
            }

            fn next(part: PartId) -> String {
                format!("{}#{}", paths::part(part.0), $start)
            }
        }
    )+};
}

of_a_part! {
    UnitFields, "unit-label";
    DriverFields, "driver-name";
    PriceFields, "price-amount";
    TypedTuning, "tuning-name";
}

/// The page of one part.
async fn page(app: &App, who: &SignedIn, id: PartId, open: &Open) -> Result<Part> {
    let frame = who.frame(HERE);
    let parts = parts::all(&app.store).await?;
    let newest = parts.iter().flat_map(|found| &found.prices).max_by_key(|price| price.id);
    let currency = newest.map_or("EUR", |price| &price.fields.currency).to_owned();
    let found = parts.into_iter().find(|found| found.part.id == id);
    let found = found.ok_or_else(|| Refusal::missing(PartFields::THING, id))?;
    let forms = forms(&found, open, day_of(app.clock.now_us()), currency);
    Ok(Part { frame, part: entry(found), forms })
}

fn forms(of: &PartWithAll, open: &Open, today: String, currency: String) -> PartForms {
    let id = of.part.id.0;
    let form = |thing, add: fn(i64) -> String, edit| open.sends(thing, add(id), edit, paths::part(id));
    let (unit, driver, price) = (UnitFields::THING, DriverFields::THING, PriceFields::THING);
    let (unit_to, unit_does) = form(unit, paths::units, paths::unit);
    let (driver_to, driver_does) = form(driver, paths::drivers, paths::driver);
    let (price_to, price_does) = form(price, paths::prices, paths::price);
    let own = open.filled_own(PartFields::THING, of.part.fields.texts());
    let usual_price = vec![("currency", currency), ("dated", today.clone())];
    PartForms {
        unit: pages::unit(unit_to, unit_does, &open.filled(unit, Vec::new())),
        driver: pages::driver(driver_to, driver_does, &open.filled(driver, vec![("dated", today)])),
        tuning: tuning_form(of, open),
        price: pages::price(price_to, price_does, &open.filled(price, usual_price)),
        edit: pages::edit_part(id, of.part.version, &own),
    }
}

/// The form for a tuning, with the cautions where what is open is past the maker's limits.
fn tuning_form(of: &PartWithAll, open: &Open) -> Form {
    let id = of.part.id.0;
    let thing = TypedTuning::THING;
    let (to, does) = open.sends(thing, paths::tunings(id), paths::tuning, paths::part(id));
    let rated_w = of.part.fields.rated_power_w;
    let past = of
        .tunings
        .iter()
        .any(|(row, _)| open.row() == Some(row.id.0) && !past_limits(&row.fields, rated_w).is_empty());
    let caution = open.is(thing) && (past || open.mentions("cautions_read"));
    let about = caution.then(|| "this tuning".to_owned());
    pages::tuning(to, does, &open.filled(thing, Vec::new()), about)
}

fn entry(of: PartWithAll) -> PartEntry {
    let PartWithAll { part, units, drivers, prices, tunings } = of;
    let f = part.fields;
    let rated_power_w = f.rated_power_w;
    PartEntry {
        id: part.id.0,
        maker: f.maker,
        model: f.model,
        kind: f.kind.to_string(),
        rated_power_w,
        memory_mib: f.memory_mib,
        note: f.note,
        units: units.into_iter().map(unit).collect(),
        drivers: drivers.into_iter().map(driver).collect(),
        tunings: tunings
            .into_iter()
            .map(|(row, reader)| Tuning {
                id: row.id.0,
                past_limits: past_limits(&row.fields, rated_power_w),
                stock: row.fields.name == STOCK,
                name: row.fields.name,
                power_limit_w: row.fields.power_limit_w,
                core_offset_mhz: row.fields.core_offset_mhz,
                memory_offset_mhz: row.fields.memory_offset_mhz,
                voltage_offset_mv: row.fields.voltage_offset_mv,
                cautions_read_by: reader,
                version: row.version,
            })
            .collect(),
        prices: prices.into_iter().map(price).collect(),
        version: part.version,
    }
}

fn unit(row: rows::Unit) -> Unit {
    let f = row.fields;
    Unit {
        id: row.id.0,
        label: f.label,
        serial: f.serial,
        origin: f.origin.to_string(),
        firmware: f.firmware,
        lender: f.lender,
        terms: f.terms,
        embargo: f.embargo_us.map(at),
        version: row.version,
    }
}

fn driver(row: rows::Driver) -> Driver {
    Driver { id: row.id.0, name: row.fields.name, dated: at(row.fields.dated_us), version: row.version }
}

fn price(row: rows::Price) -> Price {
    let f = row.fields;
    Price {
        id: row.id.0,
        amount: f.amount,
        currency: f.currency,
        kind: f.kind.to_string(),
        country: f.country,
        source: f.source,
        dated: at(f.dated_us),
        version: row.version,
    }
}
