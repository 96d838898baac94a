//! Bench sessions of a piece: what is to be run in each rig, what was run, and what steps take.

use askama::Template;
use jiff::{SignedDuration, Timestamp};
use serde::Serialize;

use super::{Field, Frame, Page};
use crate::format;

/// The sessions of a piece.
#[derive(Template, Serialize)]
#[template(path = "sessions.html")]
pub struct Sessions {
    #[serde(skip)]
    /// Around the page.
    pub frame: Frame,
    /// The piece's key.
    pub key: String,
    /// When the page was made; times of the plan count from here.
    pub now: Timestamp,
    /// When the piece is due.
    pub deadline: Option<Timestamp>,
    /// IANA name of the zone in which the deadline was said.
    pub zone: String,
    /// The control scene with its setting; empty where the piece has none.
    pub control: String,
    /// Rigs.
    pub rigs: Vec<RigSessions>,
    /// Parts that several rigs want.
    pub shared: Vec<String>,
    /// What steps take, minutes: name of the field, label, hint, as written.
    pub costs: Vec<CostField>,
    /// For stale forms.
    pub costs_version: i64,
    /// Boards that still open.
    pub boards: Vec<BoardLine>,
    /// The address of a board that was made just now.
    #[serde(skip)]
    pub link: Option<String>,
    /// Rigs that a board can be made for: id and name.
    #[serde(skip)]
    pub all_rigs: Vec<(String, String)>,
}

/// A rig's sessions.
#[derive(Clone, Debug, Serialize)]
pub struct RigSessions {
    /// The rig.
    pub rig: String,
    /// What is to be run, in its order.
    pub sessions: Vec<SessionLine>,
    /// What does not fit before the deadline: cell and passes.
    pub left_out: Vec<(String, u64)>,
    /// What is said of the first part's return; empty where one part is all there is.
    pub back: &'static str,
    /// What was run, newest first.
    pub ran: Vec<RanLine>,
}

/// A session that is to be run.
#[derive(Clone, Debug, Serialize)]
pub struct SessionLine {
    /// The part.
    pub part: String,
    /// Whether it is the first part's return.
    pub back: bool,
    /// Passes.
    pub passes: u64,
    /// When it begins.
    pub starts: Timestamp,
    /// When it ends.
    pub ends: Timestamp,
    /// Its steps.
    pub steps: Vec<StepLine>,
}

/// A step.
#[derive(Clone, Debug, Serialize)]
pub struct StepLine {
    /// What is done: 'swap', 'soak', 'pass 2' ...
    pub what: String,
    /// What it is done with: the scene and setting, the driver, the tuning.
    pub with: String,
    /// How the part is run, for passes off stock.
    pub tuning: String,
    /// Why, where it is not a missing pass.
    pub why: &'static str,
    /// How long it takes, seconds.
    pub takes_s: u32,
    /// When it ends.
    pub ends: Timestamp,
    /// Whether it is a pass.
    pub pass: bool,
}

/// A session that was run.
#[derive(Clone, Debug, Serialize)]
pub struct RanLine {
    /// The part.
    pub part: String,
    /// Its unit.
    pub unit: String,
    /// Its drivers.
    pub drivers: String,
    /// When its first pass began.
    pub from: Timestamp,
    /// When its last pass ended.
    pub to: Timestamp,
    /// Whether all moments are those of the logs' clocks.
    pub by_clock: bool,
    /// The order that was run: scenes with their passes in a row.
    pub order: Vec<OrderLine>,
    /// Passes.
    pub passes: u64,
    /// Passes of the control scene.
    pub control: u64,
    /// What the control scene says of drift.
    pub drift: Option<DriftLine>,
}

/// Passes of one cell that were run in a row.
#[derive(Clone, Debug, Serialize)]
pub struct OrderLine {
    /// The cell.
    pub cell: String,
    /// Keys and numbers of the passes.
    pub passes: Vec<(String, i64)>,
}

/// What the control scene says of drift.
#[derive(Clone, Debug, Serialize)]
pub struct DriftLine {
    /// Rate at the end over that at the start.
    pub change: f64,
    /// 95% interval.
    pub interval: Option<(f64, f64)>,
    /// Whether it drifted; none where that cannot be told.
    pub found: Option<bool>,
    /// Time between its first and last pass, seconds.
    pub over_s: i64,
}

/// A time of a step.
#[derive(Clone, Debug, Serialize)]
pub struct CostField {
    /// Name of its field.
    pub name: &'static str,
    /// Label.
    pub label: &'static str,
    /// Hint.
    pub hint: &'static str,
    /// As written, minutes.
    pub field: Field,
}

/// A board that still opens.
#[derive(Clone, Debug, Serialize)]
pub struct BoardLine {
    /// Row id.
    pub id: i64,
    /// The rig.
    pub rig: String,
    /// When it was made.
    pub made: Timestamp,
    /// When it was opened last.
    pub opened: Option<Timestamp>,
}

impl SessionLine {
    /// `swap 15 min, soak 14 min, 9 passes 31 min`.
    fn takes(&self) -> String {
        let mut said: Vec<String> = Vec::new();
        for step in self.steps.iter().filter(|step| !step.pass) {
            said.push(format!("{} {}", step.what, format::whole_minutes(step.takes_s)));
        }
        let passes = self.steps.iter().filter(|step| step.pass);
        let seconds = passes.map(|step| step.takes_s).fold(0, u32::saturating_add);
        said.push(format!(
            "{} {}",
            format::plural(self.passes, "pass", "passes"),
            format::whole_minutes(seconds)
        ));
        said.join(", ")
    }
}

impl StepLine {
    fn takes(&self) -> String {
        format::whole_minutes(self.takes_s)
    }
}

impl DriftLine {
    fn says(&self) -> String {
        let change = match self.interval {
            Some((low, high)) => format::change_to(self.change, low, high),
            None => format::change(self.change),
        };
        let over = format::duration(SignedDuration::from_secs(self.over_s));
        match self.found {
            Some(true) => format!("drifted: {change} over {over}"),
            Some(false) => format!("no drift seen: {change} over {over}"),
            None => format!("{change} over {over}; not enough to tell"),
        }
    }

    fn interval(&self) -> String {
        self.interval.map_or_else(String::new, |(low, high)| format::change_interval(low, high))
    }

    fn drifted(&self) -> bool {
        self.found == Some(true)
    }
}

impl Sessions {
    fn time(&self, at: &Timestamp) -> String {
        format::hour(*at, &self.zone)
    }

    fn day(&self, at: &Timestamp) -> String {
        format::day(*at, &self.zone)
    }

    fn to_run(&self) -> usize {
        self.rigs.iter().map(|rig| rig.sessions.len()).sum()
    }

    fn out(&self) -> u64 {
        self.rigs.iter().flat_map(|rig| &rig.left_out).map(|(_, passes)| passes).sum()
    }

    /// One sentence on what fits.
    fn says(&self) -> String {
        let ends = self.rigs.iter().flat_map(|rig| &rig.sessions).map(|session| session.ends).max();
        let Some(ends) = ends else {
            return match self.out() {
                0 => "Nothing is missing.".to_owned(),
                out => {
                    format!("No time is left for {}.", format::plural(out, "missing pass", "missing passes"))
                }
            };
        };
        let sessions = u64::try_from(self.to_run()).unwrap_or(u64::MAX);
        let mut says = format!(
            "{}, done {} if begun now",
            format::plural(sessions, "session", "sessions"),
            self.time(&ends)
        );
        if let Some(due) = self.deadline {
            says.push_str(&format!("; due {}", self.time(&due)));
        }
        if self.out() > 0 {
            let out = format::plural(self.out(), "pass does", "passes do");
            says.push_str(&format!("; {out} not fit"));
        }
        says + "."
    }
}

impl Page for Sessions {
    fn title(&self) -> String {
        "Sessions".to_owned()
    }

    fn samples() -> Vec<Self> {
        let at = |minutes: i64| Timestamp::from_second(minutes * 60).unwrap_or_default();
        let step = |what: &str, with: &str, takes_s: u32, ends: i64| StepLine {
            what: what.into(),
            with: with.into(),
            tuning: String::new(),
            why: "",
            takes_s,
            ends: at(ends),
            pass: what.starts_with("pass"),
        };
        let session = |part: &str, back| SessionLine {
            part: part.into(),
            back,
            passes: 2,
            starts: at(0),
            ends: at(34),
            steps: vec![
                step("swap", "", 900, 15),
                step("soak", "Tin Quarry, haul", 810, 29),
                StepLine {
                    why: "control scene",
                    ..step("pass 4", "Tin Quarry, haul · 2160p native", 120, 31)
                },
                StepLine {
                    tuning: "400 W".into(),
                    ..step("pass 1", "Vellum Rally, hairpin · 2160p", 210, 34)
                },
            ],
        };
        let drift = |found| DriftLine { change: 0.988, interval: Some((0.981, 0.995)), found, over_s: 9000 };
        let ran = |drift| RanLine {
            part: "Tarnwick Curlew".into(),
            unit: "A".into(),
            drivers: "581.2".into(),
            from: at(-300),
            to: at(-60),
            by_clock: false,
            order: vec![OrderLine {
                cell: "Vellum Rally, hairpin · 2160p".into(),
                passes: vec![("p1".into(), 1), ("p2".into(), 2)],
            }],
            passes: 2,
            control: 2,
            drift,
        };
        let rig = |rig: &str| RigSessions {
            rig: rig.into(),
            sessions: vec![session("Tarnwick Dunlin", false), session("Tarnwick Curlew", true)],
            left_out: vec![("Sedge Thole, stock: Vellum Rally, hairpin, 2160p".into(), 3)],
            back: "The first part comes back last.",
            ran: vec![
                ran(Some(drift(Some(true)))),
                ran(Some(drift(None))),
                ran(Some(drift(Some(false)))),
                ran(None),
            ],
        };
        let costs = |error: &str| {
            let field = Field { value: "15".into(), error: error.into() };
            vec![CostField { name: "swap", label: "Swap", hint: "another part", field }]
        };
        let full = |frame: Frame| Sessions {
            frame,
            key: "k3v9".into(),
            now: at(0),
            deadline: Some(at(31 * 60)),
            zone: "Europe/Berlin".into(),
            control: "Tin Quarry, haul · 2160p native".into(),
            rigs: vec![rig("alder"), RigSessions { sessions: vec![], ran: vec![], ..rig("birch") }],
            shared: vec!["Tarnwick Curlew".into()],
            costs: costs(""),
            costs_version: 1,
            boards: vec![
                BoardLine { id: 1, rig: "alder".into(), made: at(-90), opened: Some(at(-2)) },
                BoardLine { id: 2, rig: "birch".into(), made: at(-90), opened: None },
            ],
            link: None,
            all_rigs: vec![("1".into(), "alder".into())],
        };
        let guest =
            Frame { person: Frame::signed_in("Ada Fenn", "guest", "Pieces").person, ..Frame::sample("Plan") };
        let empty = Sessions {
            rigs: vec![],
            boards: vec![],
            shared: vec![],
            control: String::new(),
            deadline: None,
            all_rigs: vec![],
            ..full(Frame::sample("Plan"))
        };
        let made = Sessions {
            link: Some("http://127.0.0.1:7300/boards/5f1c".into()),
            costs: costs("'x' is no time."),
            ..full(Frame::sample("Plan"))
        };
        vec![full(Frame::sample("Plan")), full(guest), empty, made]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_session_says_what_it_takes_and_the_page_what_fits() {
        let page = Sessions::samples().remove(0);
        let takes = page.rigs[0].sessions[0].takes().replace('\u{a0}', " ");
        assert_eq!(takes, "swap 15 min, soak 14 min, 2 passes 6 min");
        let says = page.says().replace('\u{a0}', " ");
        assert!(says.ends_with("6 passes do not fit."), "{says}");
    }

    #[test]
    fn drift_is_said_with_its_interval_and_its_time() {
        let page = Sessions::samples().remove(0);
        let says = |at: usize| page.rigs[0].ran[at].drift.as_ref().unwrap().says().replace('\u{a0}', " ");
        assert!(says(0).starts_with("drifted: "), "{}", says(0));
        assert!(says(0).ends_with("over 2 h"), "{}", says(0));
        assert!(says(1).ends_with("not enough to tell"));
    }
}
