//! A rig's board, for a phone beside it: the last pass, the next one, and what to set for it.

use askama::Template;
use jiff::Timestamp;
use serde::Serialize;

use super::{Frame, Page};
use crate::format;
use crate::marks::Mark;

/// The board of a rig.
#[derive(Template, Serialize)]
#[template(path = "board.html")]
pub struct Board {
    #[serde(skip)]
    /// Around the page: nobody is signed in.
    pub frame: Frame,
    /// The rig.
    pub rig: String,
    /// Name of the piece.
    pub piece: String,
    /// When the page was made.
    pub now: Timestamp,
    /// When the piece is due.
    pub deadline: Option<Timestamp>,
    /// IANA name of the zone of times.
    pub zone: String,
    /// What came in last.
    pub last: Option<LastIn>,
    /// The next pass; none when nothing is left to run.
    pub next: Option<NextPass>,
    /// Passes after it.
    pub then: Vec<ThenLine>,
    /// Missing passes that do not fit before the deadline.
    pub left_out: u64,
}

/// What came in last.
#[derive(Clone, Debug, Serialize)]
pub struct LastIn {
    /// Whether it is good; none where a person must say something first.
    pub good: Option<bool>,
    /// Its mark.
    pub mark: Mark,
    /// What it is: a cell with its pass, or a file.
    pub what: String,
    /// Kinds of flag, or what a person must do first.
    pub says: Vec<String>,
    /// When it came in.
    pub at: Timestamp,
}

/// The next pass.
#[derive(Clone, Debug, Serialize)]
pub struct NextPass {
    /// The part.
    pub part: String,
    /// How it is run.
    pub tuning: String,
    /// The scene.
    pub scene: String,
    /// The setting.
    pub setting: String,
    /// Number of the pass.
    pub number: u64,
    /// Why, where it is not a missing pass.
    pub why: &'static str,
    /// What comes before it, with its seconds.
    pub before: Vec<(String, u32)>,
    /// What to set and check: name and value.
    pub ticks: Vec<(String, String)>,
    /// A name for its log that Intake reads.
    pub file: String,
    /// The tuning past the maker's limits, in words; empty within them.
    pub past_limits: String,
    /// How long it takes, seconds.
    pub takes_s: u32,
}

/// A pass after the next one.
#[derive(Clone, Debug, Serialize)]
pub struct ThenLine {
    /// The part where it changes; empty where it stays.
    pub part: String,
    /// Tuning, scene and setting.
    pub what: String,
}

impl LastIn {
    fn word(&self) -> &'static str {
        match self.good {
            Some(true) => "Good",
            Some(false) => "Look at it",
            None => "Waits",
        }
    }
}

impl NextPass {
    fn takes(&self) -> String {
        format::whole_minutes(self.takes_s)
    }
}

impl Board {
    fn time(&self, at: &Timestamp) -> String {
        format::hour(*at, &self.zone)
    }

    fn left(&self) -> String {
        self.deadline.map_or_else(String::new, |at| format::left(at, self.now))
    }

    /// Changes when there is news: the page is then opened anew.
    fn state(&self) -> String {
        let last = self.last.as_ref().map(|last| (&last.what, last.good, last.at));
        let next = self.next.as_ref().map(|next| (&next.file, next.before.len()));
        format!("{last:?} {next:?}")
    }
}

impl Page for Board {
    fn title(&self) -> String {
        format!("Rig {}", self.rig)
    }

    fn samples() -> Vec<Self> {
        let at = |minutes: i64| Timestamp::from_second(minutes * 60).unwrap_or_default();
        let last = |good: Option<bool>, mark, says: &[&str]| LastIn {
            good,
            mark,
            what: "Vellum Rally, hairpin, pass 2".into(),
            says: says.iter().map(|text| (*text).to_owned()).collect(),
            at: at(-1),
        };
        let next = |past: &str| NextPass {
            part: "Tarnwick Curlew".into(),
            tuning: "420 W".into(),
            scene: "Vellum Rally, hairpin".into(),
            setting: "2160p native".into(),
            number: 2,
            why: "control scene",
            before: vec![
                ("Swap: Tarnwick Curlew goes in".into(), 900),
                ("Soak with Tin Quarry, haul".into(), 720),
            ],
            ticks: vec![("Resolution".into(), "3840 × 2160".into()), ("Upscaling".into(), "none".into())],
            file: "curlew_hairpin_2160pnative_alder_p2".into(),
            past_limits: past.into(),
            takes_s: 210,
        };
        let full = |last, past: &str| Board {
            frame: Frame::default(),
            rig: "alder".into(),
            piece: "Is the Curlew worth it?".into(),
            now: at(0),
            deadline: Some(at(31 * 60)),
            zone: "Europe/Berlin".into(),
            last: Some(last),
            next: Some(next(past)),
            then: vec![
                ThenLine { part: String::new(), what: "Saltmarsh, tide gate · 2160p native".into() },
                ThenLine { part: "Sedge Thole".into(), what: "Tin Quarry, haul · 2160p native".into() },
            ],
            left_out: 3,
        };
        vec![
            full(last(Some(true), Mark::Sound, &[]), ""),
            full(last(Some(false), Mark::Flagged, &["hitch cluster"]), "+150 MHz"),
            full(last(None, Mark::NotRuled, &["Waits at Intake for its cell."]), ""),
            Board {
                last: None,
                next: None,
                then: vec![],
                left_out: 0,
                deadline: None,
                ..full(last(None, Mark::Sound, &[]), "")
            },
        ]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn news_change_the_state_and_time_alone_does_not() {
        let samples = Board::samples();
        assert_ne!(samples[0].state(), samples[1].state());
        let later = Board { now: Timestamp::MAX, ..Board::samples().remove(0) };
        assert_eq!(later.state(), samples[0].state());
    }
}
