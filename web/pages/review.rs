//! Review: the queue of flagged passes without ruling. Part, unit, driver, tuning and file name of a pass are not in
//! this page until it is ruled, and its frame times are relative, so that nobody chooses by the result.

use askama::Template;
use serde::Serialize;

use super::{Field, Frame, Page};
use crate::charts::{Caption, Column, Lane, Span, SpanKind, Strip, Theme};
use crate::format::{self, Unit};
use crate::paths;

/// One pass with its evidence, the ruling below it, the queue beside it.
#[derive(Template, Serialize)]
#[template(path = "review.html")]
pub struct Review {
    #[serde(skip)]
    /// Around the page.
    pub frame: Frame,
    /// Key of the piece.
    pub piece: String,
    /// Passes that were ruled on.
    pub ruled: u64,
    /// Passes that wait, the worst first.
    pub queue: Vec<Queued>,
    /// The one that is looked at; none when nothing waits.
    pub pass: Option<UnderReview>,
    /// What became of the pass that was asked for, when it waits no more; empty otherwise.
    pub settled: String,
    /// Passes set aside or to be run again, of how many: one pair for each part, without its name.
    pub set_aside: Vec<(u64, u64)>,
    /// Passes that the screens looked at.
    pub screened: u64,
    /// Names of the screens.
    pub screens: Vec<&'static str>,
    /// Reasons that come up again and again.
    pub usual_reasons: Vec<&'static str>,
    #[serde(skip)]
    /// The chosen usual reason.
    pub usual: Field,
    #[serde(skip)]
    /// A reason in own words.
    pub words: Field,
}

/// A pass that waits.
#[derive(Clone, Debug, Serialize)]
pub struct Queued {
    /// Key of the pass: random, it tells nothing.
    pub key: String,
    /// Game and passage.
    pub scene: String,
    /// Setting.
    pub setting: String,
    /// Number in its cell.
    pub number: i64,
    /// Rig.
    pub rig: String,
    /// Most that one of its flags moves the average of the pass, as a share; none: cannot be computed.
    pub moves: Option<f64>,
    /// Names of its kinds of flag.
    pub kinds: Vec<&'static str>,
}

/// The pass that is looked at.
#[derive(Clone, Debug, Serialize)]
pub struct UnderReview {
    /// What stands in the queue.
    #[serde(flatten)]
    pub waiting: Queued,
    /// Its place in the queue, from 0.
    pub at: usize,
    /// For stale forms.
    pub version: i64,
    /// What the screens found.
    pub flags: Vec<Found>,
    /// What is good to know.
    pub notices: Vec<String>,
    /// What an earlier ruling said, when a new kind of flag re-opened it; empty otherwise.
    pub before: String,
    #[serde(skip)]
    /// It and its siblings on one time axis.
    pub strip: Strip,
}

/// What a screen found.
#[derive(Clone, Debug, Serialize)]
pub struct Found {
    /// Key of its kind.
    pub kind: &'static str,
    /// Its name.
    pub name: &'static str,
    /// In words.
    pub says: String,
    /// From, ns of the pass.
    pub start_ns: i64,
    /// To, ns.
    pub end_ns: i64,
    /// Share by which it moves the average of the pass.
    pub moves: Option<f64>,
}

fn moves(share: Option<f64>) -> String {
    share.map_or_else(String::new, |s| {
        format!("moves the average by {}", format::value(s * 100.0, Unit::Percent))
    })
}

impl Queued {
    fn moves(&self) -> String {
        moves(self.moves)
    }
}

impl Found {
    /// Where, and by how much.
    fn at(&self) -> String {
        let at = format::span_ns(self.start_ns, self.end_ns);
        if self.moves.is_some() { format!("{at}, {}", moves(self.moves)) } else { at }
    }
}

impl Review {
    /// The pass that follows; after the last one the first, since it may have been passed over.
    fn next(&self) -> Option<String> {
        let at = self.pass.as_ref()?.at + 1;
        let next = self.queue.get(at).or_else(|| self.queue.first())?;
        (self.queue.len() > 1).then(|| self.link(next))
    }

    fn previous(&self) -> Option<String> {
        let at = self.pass.as_ref()?.at.checked_sub(1)?;
        self.queue.get(at).map(|waiting| self.link(waiting))
    }

    fn link(&self, waiting: &Queued) -> String {
        paths::with_query(&paths::review(&self.piece), &[("pass", &waiting.key)])
    }

    fn is_shown(&self, waiting: &Queued) -> bool {
        self.pass.as_ref().is_some_and(|pass| pass.waiting.key == waiting.key)
    }

    /// `9 of 13 left`.
    fn left(&self) -> String {
        let left = u64::try_from(self.queue.len()).unwrap_or(u64::MAX);
        format!("{} of {} left", format::count(left), format::count(left.saturating_add(self.ruled)))
    }

    fn set_aside(&self) -> String {
        let pair = |(out, all): &(u64, u64)| format!("{} of {}", format::count(*out), format::count(*all));
        let pairs: Vec<String> = self.set_aside.iter().map(pair).collect();
        match pairs.split_last() {
            Some((last, [])) => last.clone(),
            Some((last, first)) => format!("{} and {last}", first.join(", ")),
            None => String::new(),
        }
    }

    fn screened(&self) -> String {
        format::plural(self.screened, "pass was screened", "passes were screened")
    }

    fn picture(pass: &UnderReview) -> String {
        pass.strip.svg(&Theme::LIGHT)
    }
}

fn sample_strip() -> Strip {
    let column = |i: u32| {
        let most = 104.0 + f64::from(i % 7);
        Some(Column { first: 99.0, min: 96.0, max: most, last: 101.0 })
    };
    let span = Span {
        kind: SpanKind::Flag,
        start_ns: 21_000_000_000,
        end_ns: 27_000_000_000,
        says: "step in level".to_owned(),
    };
    let lane = |name: &str, spans| Lane {
        name: name.to_owned(),
        note: String::new(),
        unit: Unit::Percent,
        series: 0,
        slim: false,
        columns: (0..200).map(column).collect(),
        window_ns: None,
        spans,
    };
    Strip {
        caption: Caption {
            id: "strip".to_owned(),
            title: "Passes of one cell".to_owned(),
            ..Caption::default()
        },
        from_ns: 0,
        to_ns: 40_000_000_000,
        width: 1080,
        cut: Some(180.0),
        lanes: vec![lane("Pass 4", vec![span]), lane("Pass 2", Vec::new())],
    }
}

impl Page for Review {
    fn title(&self) -> String {
        "Review".to_owned()
    }

    fn samples() -> Vec<Self> {
        let waiting = |key: &str, number, moves| Queued {
            key: key.to_owned(),
            scene: "Saltmarsh Couriers (causeway)".to_owned(),
            setting: "2160p native".to_owned(),
            number,
            rig: "alder".to_owned(),
            moves,
            kinds: vec!["step in level"],
        };
        let found = Found {
            kind: "level_step",
            name: "step in level",
            says: "from 21.0 s to 27.0 s frames take 14 % longer than in the other passes".to_owned(),
            start_ns: 21_000_000_000,
            end_ns: 27_000_000_000,
            moves: Some(0.023),
        };
        let pass = UnderReview {
            waiting: waiting("q7", 4, Some(0.023)),
            at: 0,
            version: 0,
            flags: vec![found],
            notices: vec!["its window holds 37.2 s, 38 % shorter than the scene's 60.0 s".to_owned()],
            before: "It was kept before ('belongs to the scene'); a new kind of flag opened it again."
                .to_owned(),
            strip: sample_strip(),
        };
        let full = |role| Review {
            frame: Frame::signed_in("Maren Oake", role, "Pieces").in_piece(
                "k3v9",
                "Is it worth it?",
                "31\u{a0}h left".to_owned(),
                "Review",
                2,
            ),
            piece: "k3v9".to_owned(),
            ruled: 3,
            queue: vec![waiting("q7", 4, Some(0.023)), waiting("q8", 1, None)],
            pass: Some(pass.clone()),
            settled: String::new(),
            set_aside: vec![(6, 40), (0, 40)],
            screened: 80,
            screens: vec!["step in level", "frame cap"],
            usual_reasons: vec!["another program ran beside it", "wrong passage"],
            usual: Field::default(),
            words: Field::default(),
        };
        let refused = Review {
            usual: Field::of("wrong passage"),
            words: Field::wrong("", "A reason is needed for 'set aside'."),
            settled: "Pass 3 was ruled meanwhile.".to_owned(),
            ..full("member")
        };
        let empty = Review { queue: Vec::new(), pass: None, ..full("owner") };
        vec![full("owner"), refused, full("guest"), empty]
    }
}
