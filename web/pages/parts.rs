//! Parts: all of them, and one with its units, drivers, prices and tunings.

use askama::Template;
use jiff::Timestamp;
use serde::Serialize;

use super::part_forms::{driver, edit_part, new_part, price, tuning, unit};
use super::{Filled, Form, Frame, Page, Sending};
use crate::{format, paths};

/// All parts and the form for another one.
#[derive(Template, Serialize)]
#[template(path = "part_list.html")]
pub struct Parts {
    #[serde(skip)]
    /// Around the page.
    pub frame: Frame,
    /// By maker and model.
    pub parts: Vec<PartEntry>,
    /// The form for another one.
    #[serde(skip)]
    pub new: Form,
}

/// One part.
#[derive(Template, Serialize)]
#[template(path = "part.html")]
pub struct Part {
    #[serde(skip)]
    /// Around the page.
    pub frame: Frame,
    /// The part.
    pub part: PartEntry,
    /// Its forms: each adds another one, or changes the one that was asked for.
    #[serde(skip)]
    pub forms: PartForms,
}

/// Forms on the page of a part.
#[derive(Clone, Debug)]
pub struct PartForms {
    /// For a unit.
    pub unit: Form,
    /// For a driver.
    pub driver: Form,
    /// For a tuning.
    pub tuning: Form,
    /// For a price.
    pub price: Form,
    /// For the part itself.
    pub edit: Form,
}

/// A part with all that belongs to it.
#[derive(Clone, Debug, Serialize)]
pub struct PartEntry {
    /// Row id.
    pub id: i64,
    /// Who makes it.
    pub maker: String,
    /// Model.
    pub model: String,
    /// `card`, `processor` or `device`.
    pub kind: String,
    /// The maker's rated power limit, watts.
    pub rated_power_w: Option<i64>,
    /// Its own memory, MiB.
    pub memory_mib: Option<i64>,
    /// Anything else.
    pub note: String,
    /// Samples in hand.
    pub units: Vec<Unit>,
    /// Newest first.
    pub drivers: Vec<Driver>,
    /// 'stock' first.
    pub tunings: Vec<Tuning>,
    /// Newest first.
    pub prices: Vec<Price>,
    /// For stale forms.
    pub version: i64,
}

/// A sample in hand.
#[derive(Clone, Debug, Serialize)]
pub struct Unit {
    /// Row id.
    pub id: i64,
    /// What it is called.
    pub label: String,
    /// Serial number.
    pub serial: String,
    /// `bought` or `lent`.
    pub origin: String,
    /// Position of its firmware switch.
    pub firmware: String,
    /// Who lent it; empty: not said.
    pub lender: String,
    /// On which terms.
    pub terms: String,
    /// Until when nothing of it may be published.
    pub embargo: Option<Timestamp>,
    /// For stale forms.
    pub version: i64,
}

/// A dated driver.
#[derive(Clone, Debug, Serialize)]
pub struct Driver {
    /// Row id.
    pub id: i64,
    /// Name or number.
    pub name: String,
    /// When it came out.
    pub dated: Timestamp,
    /// For stale forms.
    pub version: i64,
}

/// How the part is run.
#[derive(Clone, Debug, Serialize)]
pub struct Tuning {
    /// Row id.
    pub id: i64,
    /// Name.
    pub name: String,
    /// Power limit, watts; none: the part's own.
    pub power_limit_w: Option<i64>,
    /// Offset of the core clock, MHz.
    pub core_offset_mhz: i64,
    /// Offset of the memory clock, MHz.
    pub memory_offset_mhz: i64,
    /// Offset of the voltage, mV.
    pub voltage_offset_mv: i64,
    /// In what it is past the maker's rated limits; empty: within them.
    pub past_limits: Vec<String>,
    /// Who read the cautions.
    pub cautions_read_by: Option<String>,
    /// Whether it is the part as its maker runs it, which is not changed.
    pub stock: bool,
    /// For stale forms.
    pub version: i64,
}

/// A dated price.
#[derive(Clone, Debug, Serialize)]
pub struct Price {
    /// Row id.
    pub id: i64,
    /// Decimal text.
    pub amount: String,
    /// Three letters.
    pub currency: String,
    /// `list` or `street`.
    pub kind: String,
    /// Where.
    pub country: String,
    /// Who says so.
    pub source: String,
    /// When.
    pub dated: Timestamp,
    /// For stale forms.
    pub version: i64,
}

impl PartEntry {
    fn name(&self) -> String {
        format!("{} {}", self.maker, self.model)
    }

    fn rated(&self) -> String {
        format::whole(self.rated_power_w, "W")
    }

    fn memory(&self) -> String {
        format::whole(self.memory_mib, "MiB")
    }

    fn newest_price(&self) -> String {
        self.prices.first().map_or_else(|| format::NOTHING.to_owned(), Price::shown)
    }

    fn newest_driver(&self) -> String {
        self.drivers.first().map_or_else(|| format::NOTHING.to_owned(), |driver| driver.name.clone())
    }

    /// What passes of this part still need, in words; empty: nothing.
    fn wants(&self) -> String {
        match (self.units.is_empty(), self.drivers.is_empty()) {
            (true, true) => "needs a unit and a driver",
            (true, false) => "needs a unit",
            (false, true) => "needs a driver",
            (false, false) => "",
        }
        .to_owned()
    }

    fn past(&self) -> impl Iterator<Item = &Tuning> {
        self.tunings.iter().filter(|tuning| !tuning.past_limits.is_empty())
    }
}

impl Driver {
    fn since(&self) -> String {
        format::day(self.dated, "UTC")
    }
}

impl Tuning {
    fn limit(&self) -> String {
        self.power_limit_w
            .map_or_else(|| "the part's own".to_owned(), |watts| format::whole(Some(watts), "W"))
    }

    fn offsets(&self) -> [String; 3] {
        [
            format::offset(self.core_offset_mhz, "MHz"),
            format::offset(self.memory_offset_mhz, "MHz"),
            format::offset(self.voltage_offset_mv, "mV"),
        ]
    }

    /// How it stands to the maker's limits, in words.
    fn limits(&self) -> String {
        if self.past_limits.is_empty() {
            return "within".to_owned();
        }
        let read = match &self.cautions_read_by {
            Some(name) => format!("Cautions read by {name}."),
            None => "Cautions not read.".to_owned(),
        };
        format!("past: {}. {read}", self.past_limits.join("; "))
    }
}

impl Price {
    fn shown(&self) -> String {
        format::money(&self.amount, &self.currency)
    }

    fn since(&self) -> String {
        format::day(self.dated, "UTC")
    }
}

impl Unit {
    fn until(&self) -> String {
        self.embargo.map_or_else(String::new, |end| format::moment(end, "UTC"))
    }
}

impl Page for Parts {
    fn title(&self) -> String {
        "Parts".to_owned()
    }

    fn samples() -> Vec<Self> {
        let page = |role, parts| Parts {
            frame: Frame::signed_in("Maren Oake", role, "Parts"),
            parts,
            new: new_part(&Filled::default()),
        };
        let error =
            ("rated_power_w".to_owned(), "'lots' is not a whole number of watts from 1 to 5000.".to_owned());
        let texts = vec![("rated_power_w".to_owned(), "lots".to_owned())];
        let refused = Filled { texts, errors: vec![error], focus: true };
        let bare =
            PartEntry { units: vec![], drivers: vec![], prices: vec![], rated_power_w: None, ..sample() };
        vec![
            page("owner", vec![]),
            page("member", vec![sample(), bare]),
            page("guest", vec![]),
            Parts { new: new_part(&refused), ..page("owner", vec![]) },
        ]
    }
}

fn sample() -> PartEntry {
    let dated = Timestamp::from_second(1_772_366_400).unwrap_or_default();
    let stock = Tuning {
        id: 1,
        name: "stock".into(),
        power_limit_w: None,
        core_offset_mhz: 0,
        memory_offset_mhz: 0,
        voltage_offset_mv: 0,
        past_limits: vec![],
        cautions_read_by: None,
        stock: true,
        version: 1,
    };
    let past = Tuning {
        id: 2,
        name: "limit 560 W".into(),
        power_limit_w: Some(560),
        memory_offset_mhz: 1500,
        voltage_offset_mv: -50,
        past_limits: vec!["a power limit of 560 W, rated at 500 W".into(), "memory clock +1500 MHz".into()],
        cautions_read_by: Some("Maren Oake".into()),
        stock: false,
        ..stock.clone()
    };
    PartEntry {
        id: 1,
        maker: "Tarnwick".into(),
        model: "Curlew".into(),
        kind: "card".into(),
        rated_power_w: Some(500),
        memory_mib: Some(24_576),
        note: String::new(),
        units: vec![
            Unit {
                id: 1,
                label: "A".into(),
                serial: "TW-0117".into(),
                origin: "lent".into(),
                firmware: "quiet".into(),
                lender: "Larkmoor Supplies".into(),
                terms: "goes back after the piece".into(),
                embargo: Some(dated),
                version: 1,
            },
            Unit {
                id: 2,
                label: "B".into(),
                serial: String::new(),
                origin: "bought".into(),
                firmware: String::new(),
                lender: String::new(),
                terms: String::new(),
                embargo: None,
                version: 1,
            },
        ],
        drivers: vec![Driver { id: 1, name: "501.2".into(), dated, version: 1 }],
        tunings: vec![stock, past],
        prices: vec![Price {
            id: 1,
            amount: "1790.00".into(),
            currency: "EUR".into(),
            kind: "list".into(),
            country: "Germany".into(),
            source: "the maker's sheet".into(),
            dated,
            version: 1,
        }],
        version: 1,
    }
}

impl Page for Part {
    fn title(&self) -> String {
        self.part.name()
    }

    fn samples() -> Vec<Self> {
        let none = Filled::default();
        let forms = || PartForms {
            unit: unit(paths::units(1), Sending::Add, &none),
            driver: driver(paths::drivers(1), Sending::Add, &none),
            tuning: tuning(paths::tunings(1), Sending::Add, &none, None),
            price: price(paths::prices(1), Sending::Add, &none),
            edit: edit_part(1, 1, &none),
        };
        let page =
            |role, part| Part { frame: Frame::signed_in("Maren Oake", role, "Parts"), part, forms: forms() };
        let bare = PartEntry {
            units: vec![],
            drivers: vec![],
            prices: vec![],
            note: "Due on Friday".into(),
            ..sample()
        };
        let error = ("cautions_read".to_owned(), "Read the cautions and tick 'I have read this'.".to_owned());
        let unread = Filled { texts: Vec::new(), errors: vec![error], focus: true };
        let unread = tuning(paths::tunings(1), Sending::Add, &unread, Some("limit 560 W".into()));
        vec![
            page("owner", sample()),
            page("guest", sample()),
            page("owner", bare),
            Part { forms: PartForms { tuning: unread, ..forms() }, ..page("member", sample()) },
        ]
    }
}
