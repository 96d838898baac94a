//! What a piece carries over from earlier ones, with the spot checks of it, and what else could be carried over.

use askama::Template;
use jiff::{SignedDuration, Timestamp};
use serde::Serialize;

use super::{Field, Frame, Page};
use crate::format::{self, Unit};

/// The page.
#[derive(Template, Serialize)]
#[template(path = "carried.html")]
pub struct CarriedOver {
    /// Around the page.
    #[serde(skip)]
    pub frame: Frame,
    /// Key of the piece.
    pub piece: String,
    /// When the page was made.
    pub now: Timestamp,
    /// What is carried over, in the order of carrying.
    pub parts: Vec<CarriedPart>,
    /// What could be.
    pub offers: Vec<CarryOffer>,
    /// Why, as it was sent.
    #[serde(skip)]
    pub reason: Field,
    /// What is wrong with what was sent; empty: nothing is.
    #[serde(skip)]
    pub refused: String,
}

/// On what passes ran.
#[derive(Clone, Debug, Serialize)]
pub struct RanOn {
    /// Passes that count.
    pub passes: u64,
    /// When the newest was recorded.
    pub newest: Option<Timestamp>,
    /// Drivers of the part.
    pub drivers: Vec<String>,
    /// Builds of the games.
    pub builds: Vec<String>,
    /// Rigs with their bases.
    pub bases: Vec<String>,
}

/// A part as it is run that could be carried over.
#[derive(Clone, Debug, Serialize)]
pub struct CarryOffer {
    /// Id of the tuning.
    pub tuning: i64,
    /// The part as it is run.
    pub name: String,
    /// Cells that fit.
    pub cells: u64,
    /// Pieces that have them.
    pub pieces: Vec<String>,
    /// On what their passes ran.
    pub ran: RanOn,
}

/// A part as it is run, carried over.
#[derive(Clone, Debug, Serialize)]
pub struct CarriedPart {
    /// Row id.
    pub id: i64,
    /// For stale forms.
    pub version: i64,
    /// The part as it is run.
    pub name: String,
    /// The moment of carrying.
    pub from: Timestamp,
    /// Who did it.
    pub by: String,
    /// Why; may be empty.
    pub reason: String,
    /// On what its earlier passes ran.
    pub ran: RanOn,
    /// The driver that the piece declares; empty: none.
    pub driver: String,
    /// What the checks say together: `holds within the margin`, `run again`, `not settled`, `not checked`.
    pub says: &'static str,
    /// The same counted: `2 hold, 1 run again`.
    pub counted: String,
    /// Spot checks.
    pub checks: Vec<SpotCheck>,
    /// All its cells.
    pub cells: Vec<CarriedCell>,
    /// Passes that are to be run: cell and how many.
    pub to_run: Vec<(String, u64)>,
}

/// A cell that is carried over.
#[derive(Clone, Debug, Serialize)]
pub struct CarriedCell {
    /// Id.
    pub id: i64,
    /// Scene and setting.
    pub name: String,
    /// Its earlier passes.
    pub passes: u64,
    /// Whether it is a spot check.
    pub spot_check: bool,
    /// Why it is proposed as one; empty: it is not.
    pub why: &'static str,
}

/// A spot check.
#[derive(Clone, Debug, Serialize)]
pub struct SpotCheck {
    /// Scene and setting.
    pub name: String,
    /// Why it was chosen.
    pub why: &'static str,
    /// Earlier value, fps, and its passes.
    pub earlier: Option<(f64, u64)>,
    /// Fresh value, fps, and its passes.
    pub fresh: Option<(f64, u64)>,
    /// Fresh over earlier.
    pub ratio: Option<f64>,
    /// Ends of its 95% interval.
    pub interval: Option<(f64, f64)>,
    /// Which sign stands before what it says: `level`, `up`, `down`, `open`.
    pub way: &'static str,
    /// What it says.
    pub says: String,
    /// Fresh passes that ran in another state than the present one.
    pub elsewhere: u64,
}

impl RanOn {
    /// `44 days`, to the day of `to`.
    fn age(&self, to: &Timestamp) -> String {
        let days = |from: Timestamp| to.duration_since(from).max(SignedDuration::ZERO).as_hours() / 24;
        let days = self.newest.and_then(|from| u64::try_from(days(from)).ok());
        days.map_or_else(|| format::NOTHING.to_owned(), |days| format::plural(days, "day", "days"))
    }

    fn newest(&self) -> String {
        self.newest.map_or_else(|| format::NOTHING.to_owned(), |at| format::day(at, "UTC"))
    }
}

impl CarriedPart {
    fn since(&self) -> String {
        format::day(self.from, "UTC")
    }

    fn way(&self) -> &'static str {
        match self.says {
            "holds within the margin" => "level",
            "run again" => "down",
            _ => "open",
        }
    }

    fn runs_all_again(&self) -> bool {
        self.says == "run again"
    }

    fn number_of_cells(&self) -> u64 {
        u64::try_from(self.cells.len()).unwrap_or(u64::MAX)
    }

    fn still_to_run(&self) -> u64 {
        self.to_run.iter().map(|(_, passes)| passes).sum()
    }
}

impl SpotCheck {
    fn value(of: &Option<(f64, u64)>) -> String {
        of.map_or_else(|| format::NOTHING.to_owned(), |(value, _)| format::value(value, Unit::Fps))
    }

    fn passes(of: &Option<(f64, u64)>) -> String {
        of.map_or_else(|| "no pass".to_owned(), |(_, passes)| format::plural(passes, "pass", "passes"))
    }

    fn change(&self) -> String {
        match (self.ratio, self.interval) {
            (Some(ratio), Some((low, high))) => format::change_to(ratio, low, high),
            (Some(ratio), None) => format::change(ratio),
            (None, _) => format::NOTHING.to_owned(),
        }
    }

    fn within(&self) -> String {
        let told = self.interval.map(|(low, high)| format::change_interval(low, high));
        told.unwrap_or_else(|| format::NOTHING.to_owned())
    }
}

impl Page for CarriedOver {
    fn title(&self) -> String {
        "Carried over".to_owned()
    }

    fn samples() -> Vec<Self> {
        let ran = RanOn {
            passes: 24,
            newest: Some(Timestamp::UNIX_EPOCH),
            drivers: vec!["31.2".to_owned()],
            builds: vec!["Vellum Rally 1.3".to_owned(), "Tin Comet 2.0".to_owned()],
            bases: vec!["alder (26100)".to_owned()],
        };
        let never = RanOn { passes: 0, newest: None, drivers: vec![], builds: vec![], bases: vec![] };
        let check = |says: &str, way, fresh: Option<(f64, u64)>| SpotCheck {
            name: "Vellum Rally, hairpin, 2160p native".to_owned(),
            why: "highest rate: processor and driver weigh most",
            earlier: Some((91.3, 3)),
            fresh,
            ratio: fresh.map(|(fps, _)| fps / 91.3),
            interval: fresh.filter(|(_, passes)| *passes > 1).map(|_| (0.93, 0.95)),
            way,
            says: says.to_owned(),
            elsewhere: u64::from(fresh.is_some()),
        };
        let cell = |id, spot_check, why| CarriedCell {
            id,
            name: format!("Vellum Rally, hairpin, setting {id}"),
            passes: 3,
            spot_check,
            why,
        };
        let part = |id, says, checks: Vec<SpotCheck>| CarriedPart {
            id,
            version: 2,
            name: "Tarnwick Dunlin".to_owned(),
            from: Timestamp::UNIX_EPOCH,
            by: "Maren Oake".to_owned(),
            reason: if checks.is_empty() { String::new() } else { "back at its maker".to_owned() },
            ran: if checks.is_empty() { never.clone() } else { ran.clone() },
            driver: if checks.is_empty() { String::new() } else { "33.0".to_owned() },
            says,
            counted: "1 run again, 1 not run yet".to_owned(),
            cells: vec![
                cell(id * 10, true, "lowest rate: the part weighs most"),
                cell(id * 10 + 1, false, ""),
            ],
            to_run: checks.iter().map(|check| (check.name.clone(), 3)).collect(),
            checks,
        };
        let page =
            |frame: Frame, parts: Vec<CarriedPart>, offers: Vec<CarryOffer>, refused: &str| CarriedOver {
                frame,
                piece: "k3v9".to_owned(),
                now: Timestamp::UNIX_EPOCH,
                parts,
                offers,
                reason: Field::default(),
                refused: refused.to_owned(),
            };
        let again = vec![
            check("run again (6.0% slower)", "down", Some((86.0, 3))),
            check("not checked", "open", None),
        ];
        let offer = CarryOffer {
            tuning: 4,
            name: "Tarnwick Dunlin".to_owned(),
            cells: 8,
            pieces: vec!["The autumn cards".to_owned()],
            ran: ran.clone(),
        };
        let member = || Frame::signed_in("Maren Oake", "member", "Pieces");
        vec![
            page(member(), vec![], vec![], ""),
            page(
                member(),
                vec![],
                vec![offer.clone(), CarryOffer { tuning: 5, ran: never.clone(), ..offer.clone() }],
                "No.",
            ),
            page(
                member(),
                vec![
                    part(1, "run again", again),
                    part(
                        2,
                        "holds within the margin",
                        vec![check("holds within 2%", "level", Some((91.0, 1)))],
                    ),
                    part(3, "not checked", vec![]),
                ],
                vec![],
                "",
            ),
            page(
                Frame::signed_in("Tove Linden", "guest", "Pieces"),
                vec![part(1, "not checked", vec![])],
                vec![offer],
                "",
            ),
        ]
    }
}
