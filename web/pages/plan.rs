//! The coverage board of a piece: its cells with their passes as marks, their values, and what is missing.

use askama::Template;
use jiff::{SignedDuration, Timestamp};
use serde::Serialize;

use super::{Frame, Missing, Page, Session};
use crate::format::{self, Unit};
use crate::marks::Mark;

/// The plan of a piece.
#[derive(Template, Serialize)]
#[template(path = "plan.html")]
pub struct Plan {
    #[serde(skip)]
    /// Around the page.
    pub frame: Frame,
    /// The piece's key.
    pub key: String,
    /// When the page was made.
    pub now: Timestamp,
    /// When the piece is due.
    pub deadline: Option<Timestamp>,
    /// IANA name of the zone in which the deadline was said.
    pub zone: String,
    /// Key of the measure that is shown.
    pub measure: &'static str,
    /// The measure spelled out; a low says how it is computed.
    pub measure_name: &'static str,
    /// The piece's low spelled out.
    pub low_name: &'static str,
    /// Whether the low is shown.
    pub low: bool,
    /// Passes wanted for each cell.
    pub wanted: u64,
    /// Precision target, per cent.
    pub precision: f64,
    /// Columns: parts as they are run.
    pub columns: Vec<Column>,
    /// Rows: scenes at settings.
    pub rows: Vec<PlanRow>,
    /// Notices that hold for all cells with passes.
    pub said_once: Vec<&'static str>,
    /// Missing passes by column.
    pub missing: Vec<Session>,
    /// How long the missing passes take, ns; none where nothing is recorded yet.
    pub bench_ns: Option<i64>,
    /// Passes that are to be run again.
    pub again: Vec<Again>,
    /// Passes and readings that rest on another state than the piece compares.
    pub outdated: u64,
    /// Registers that are still empty.
    #[serde(skip)]
    pub nothing_to_choose: bool,
    /// Usual reasons for a cell that does not run.
    #[serde(skip)]
    pub reasons: &'static [&'static str],
    /// What is wrong with the sent reason; empty when nothing is.
    #[serde(skip)]
    pub refused: String,
}

/// A column of the board.
#[derive(Clone, Debug, Serialize)]
pub struct Column {
    /// The part's name.
    pub part: String,
    /// Its tuning.
    pub tuning: String,
}

/// A row of the board.
#[derive(Clone, Debug, Serialize)]
pub struct PlanRow {
    /// Game and passage.
    pub scene: String,
    /// Setting.
    pub setting: String,
    /// One for each column; none where the piece has no such cell.
    pub spots: Vec<Option<Spot>>,
}

/// A cell on the board.
#[derive(Clone, Debug, Serialize)]
pub struct Spot {
    /// The cell's id.
    pub id: i64,
    /// For stale forms.
    pub version: i64,
    /// In words.
    pub label: String,
    /// Its passes and the missing ones.
    pub marks: Vec<PassMark>,
    /// Why it did not run; empty: it runs.
    pub did_not_run: String,
    /// Value of the measure over its kept passes.
    pub value: Option<f64>,
    /// Ends of its 95% interval.
    pub interval: Option<(f64, f64)>,
    /// Kept passes.
    pub kept: u64,
    /// Standard deviation of its own passes, per cent.
    pub spread: Option<f64>,
    /// Passes wanted further for the precision: expected, and to be sure.
    pub more: Option<(u64, u64)>,
    /// No count of passes reaches the precision.
    pub out_of_reach: bool,
    /// Notices, and what the cell mixes that should be alike.
    pub says: Vec<String>,
}

/// A pass as a mark, or one that is missing.
#[derive(Clone, Debug, Serialize)]
pub struct PassMark {
    /// Its state.
    pub mark: Mark,
    /// Its key; none where it is missing.
    pub key: Option<String>,
    /// In words.
    pub says: String,
}

/// A pass that is to be run again.
#[derive(Clone, Debug, Serialize)]
pub struct Again {
    /// Its key.
    pub key: String,
    /// Its number in the cell.
    pub number: i64,
    /// Rig.
    pub rig: String,
    /// Part.
    pub part: String,
    /// Tuning.
    pub tuning: String,
    /// Scene.
    pub scene: String,
    /// Setting.
    pub setting: String,
    /// Why.
    pub reason: String,
    /// What took its place: key, number, rig.
    pub replaced_by: Option<(String, i64, String)>,
    /// What could be that: passes that came in since.
    pub proposed: Vec<(String, i64, String)>,
}

impl Spot {
    fn half(&self) -> Option<f64> {
        self.interval.map(|(low, high)| (high - low) / 2.0)
    }

    fn value(&self) -> String {
        match (self.value, self.half()) {
            (Some(value), Some(half)) => format::bare_to(value, half, Unit::Fps),
            (value, _) => format::bare(value, Unit::Fps),
        }
    }

    fn give_or_take(&self) -> String {
        self.half().map_or_else(String::new, |half| format!("± {}", format::bare_to(half, half, Unit::Fps)))
    }

    fn spread(&self) -> String {
        self.spread.map_or_else(String::new, |spread| {
            format!("spread {}", format::value_to(spread, spread, Unit::Percent))
        })
    }

    /// A flagged pass that nobody ruled on: while it counts, what it does to the spread is no count of passes.
    fn to_rule(&self) -> Option<&str> {
        self.marks.iter().find(|pass| pass.mark == Mark::Flagged).and_then(|pass| pass.key.as_deref())
    }

    fn more(&self) -> String {
        let count = |n: u64, word: &str| format!("{}{word}", format::count(n));
        match self.more {
            _ if self.to_rule().is_some() => String::new(),
            _ if self.out_of_reach => "too noisy for the target".to_owned(),
            None | Some((0, 0)) => String::new(),
            Some((0, sure)) => count(sure, " more to be sure"),
            Some((expected, sure)) if sure > expected => {
                format!("{}, {}", count(expected, " more"), count(sure, " to be sure"))
            }
            Some((expected, _)) => count(expected, " more"),
        }
    }
}

impl Plan {
    fn missing_passes(&self) -> u64 {
        self.missing.iter().map(Session::passes).sum()
    }

    /// `2 passes`, without those whose place is taken.
    fn to_repeat(&self) -> String {
        let left = self.again.iter().filter(|one| one.replaced_by.is_none()).count();
        format::plural(u64::try_from(left).unwrap_or(u64::MAX), "pass", "passes")
    }

    fn bench(&self) -> String {
        self.bench_ns.map_or_else(String::new, |ns| format::duration(SignedDuration::from_nanos(ns)))
    }

    fn left(&self) -> String {
        self.deadline.map_or_else(String::new, |at| format::left(at, self.now))
    }

    fn due(&self) -> String {
        self.deadline.map_or_else(String::new, |at| format::moment(at, &self.zone))
    }

    fn target(&self) -> String {
        format::value_to(self.precision, self.precision, Unit::Percent)
    }

    /// Cells without a kept pass: those that may be said not to have run.
    fn without_passes(&self) -> Vec<&Spot> {
        self.spots().filter(|spot| spot.kept == 0 && spot.did_not_run.is_empty()).collect()
    }

    fn not_run(&self) -> Vec<&Spot> {
        self.spots().filter(|spot| !spot.did_not_run.is_empty()).collect()
    }

    fn spots(&self) -> impl Iterator<Item = &Spot> {
        self.rows.iter().flat_map(|row| row.spots.iter().flatten())
    }

    fn average_href(&self) -> String {
        crate::paths::plan(&self.key)
    }

    fn low_href(&self) -> String {
        crate::paths::with_query(&crate::paths::plan(&self.key), &[("show", "low")])
    }
}

impl Page for Plan {
    fn title(&self) -> String {
        "Plan".to_owned()
    }

    fn samples() -> Vec<Self> {
        let mark = |mark: Mark, n: u32| PassMark {
            mark,
            key: (mark != Mark::Missing).then(|| format!("p{n}")),
            says: format!("pass {n}: {}", mark.word()),
        };
        let spot = |id: i64, marks: Vec<PassMark>| Spot {
            id,
            version: 1,
            label: format!("Tarnwick Curlew, stock: scene {id}, 2160p native"),
            marks,
            did_not_run: String::new(),
            value: Some(124.012),
            interval: Some((123.66, 124.36)),
            kept: 3,
            spread: Some(0.31),
            more: Some((2, 4)),
            out_of_reach: false,
            says: vec!["two builds".into()],
        };
        let bare = |id| Spot {
            value: None,
            interval: None,
            kept: 0,
            spread: None,
            more: None,
            says: vec![],
            ..spot(id, vec![])
        };
        let row = |scene: &str, spots| PlanRow { scene: scene.into(), setting: "2160p native".into(), spots };
        let again = |number: i64, replaced_by, proposed| Again {
            key: format!("p{number}"),
            number,
            rig: "alder".into(),
            part: "Tarnwick Curlew".into(),
            tuning: "380 W".into(),
            scene: "Vellum Rally, hairpin".into(),
            setting: "2160p native".into(),
            reason: "wrong passage".into(),
            replaced_by,
            proposed,
        };
        let full = |frame: Frame, low| Plan {
            frame,
            key: "k3v9".into(),
            now: Timestamp::UNIX_EPOCH,
            deadline: Timestamp::from_second(31 * 3600).ok(),
            zone: "Europe/Berlin".into(),
            measure: "average_fps",
            measure_name: "average frame rate",
            low_name: "1% low: mean of the slowest 1% of frames",
            low,
            wanted: 3,
            precision: 1.0,
            columns: vec![
                Column { part: "Tarnwick Dunlin".into(), tuning: "stock".into() },
                Column { part: "Tarnwick Curlew".into(), tuning: "380 W".into() },
            ],
            rows: vec![
                row(
                    "Vellum Rally, hairpin",
                    vec![
                        Some(spot(
                            1,
                            vec![mark(Mark::Sound, 1), mark(Mark::Flagged, 2), mark(Mark::SetAside, 3)],
                        )),
                        None,
                    ],
                ),
                row(
                    "Hollow Regatta, night harbour",
                    vec![
                        Some(Spot { did_not_run: "out of memory".into(), ..bare(2) }),
                        Some(Spot { marks: vec![mark(Mark::Missing, 1)], ..bare(3) }),
                    ],
                ),
            ],
            said_once: vec!["too few frames for a low"],
            missing: vec![Session {
                part: "Tarnwick Curlew".into(),
                tuning: "380 W".into(),
                cells: vec![Missing {
                    scene: "Hollow Regatta, night harbour".into(),
                    setting: "2160p native".into(),
                    passes: 1,
                    again: 1,
                }],
            }],
            bench_ns: Some(60_000_000_000 * 24),
            again: vec![
                again(3, None, vec![("p5".into(), 5, "alder".into())]),
                again(4, Some(("p6".into(), 6, "birch".into())), vec![]),
                again(2, None, vec![]),
            ],
            outdated: if low { 0 } else { 12 },
            nothing_to_choose: false,
            reasons: &["out of memory"],
            refused: String::new(),
        };
        let guest =
            Frame { person: Frame::signed_in("Ada Fenn", "guest", "Pieces").person, ..Frame::sample("Plan") };
        let empty = |nothing_to_choose| Plan {
            rows: vec![],
            columns: vec![],
            missing: vec![],
            said_once: vec![],
            bench_ns: None,
            deadline: None,
            nothing_to_choose,
            ..full(Frame::sample("Plan"), false)
        };
        vec![
            full(Frame::sample("Plan"), false),
            full(guest, true),
            Plan { refused: "Say why it did not run.".into(), ..full(Frame::sample("Plan"), false) },
            empty(true),
            empty(false),
        ]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn spot(more: Option<(u64, u64)>, out_of_reach: bool) -> Spot {
        let plan = Plan::samples().remove(0);
        let sample = plan.rows[0].spots[0].clone().unwrap();
        let marks = sample.marks.into_iter().filter(|pass| pass.mark != Mark::Flagged).collect();
        Spot { more, out_of_reach, marks, ..sample }
    }

    #[test]
    fn what_is_wanted_further_is_said_shortly() {
        let said = |more, out| spot(more, out).more();
        assert_eq!(said(Some((2, 4)), false), "2 more, 4 to be sure");
        assert_eq!(said(Some((0, 4)), false), "4 more to be sure");
        assert_eq!(said(Some((3, 3)), false), "3 more");
        assert_eq!(said(Some((0, 0)), false), "");
        assert_eq!(said(None, true), "too noisy for the target");
    }

    #[test]
    fn a_flagged_pass_is_ruled_on_before_more_are_wanted() {
        let flagged = Plan::samples().remove(0).rows[0].spots[0].clone().unwrap();
        assert!(flagged.to_rule().is_some());
        assert_eq!(Spot { more: Some((71, 185)), ..flagged }.more(), "");
    }

    /// JCGM 100:2008, 7.2.6.
    #[test]
    fn values_have_the_digits_that_their_interval_supports() {
        let spot = spot(None, false);
        assert_eq!((spot.value().as_str(), spot.give_or_take().as_str()), ("124.01", "± 0.35"));
        assert_eq!(Spot { interval: None, ..spot }.value(), "124.0");
    }
}
