//! Review: the queue of flagged passes without ruling. Part, unit, driver, tuning and file name of a pass are not in
//! this page until it is ruled, and its frame times are relative, so that nobody chooses by the result.

use askama::Template;
use serde::Serialize;

use super::{Field, Frame, Page, RuledLine};
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
    /// Passes that were ruled on: those to be run again, those set aside, those kept.
    pub ruled: Vec<RuledLine>,
    /// Passes that wait, the worst first.
    pub queue: Vec<Queued>,
    /// The one that is looked at; none when nothing waits.
    pub pass: Option<UnderReview>,
    /// Passes on which rulings of two people stand.
    pub contested: Vec<Contested>,
    /// What became of the pass that was asked for, when it waits no more; empty otherwise.
    pub settled: String,
    /// Passes set aside or to be run again, of how many: one pair for each part, without its name.
    pub set_aside: Vec<(u64, u64)>,
    /// Passes that the screens looked at.
    pub screened: u64,
    /// Names of the screens.
    pub screens: Vec<&'static str>,
    /// The team's reasons, in the order of their keys.
    pub usual_reasons: Vec<String>,
    /// Version of that list.
    pub reasons_version: i64,
    #[serde(skip)]
    /// The chosen usual reason.
    pub usual: Field,
    #[serde(skip)]
    /// A reason in own words.
    pub words: Field,
    #[serde(skip)]
    /// How far the ruling reaches: empty, `cell` or `scene`.
    pub reach: String,
    #[serde(skip)]
    /// From, to and reason of another window.
    pub shorten: [Field; 3],
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
    /// By how much it could move a figure, as a share: leaving it out of its cell; none: cannot be computed.
    pub moves: Option<f64>,
    /// Names of its kinds of flag.
    pub kinds: Vec<&'static str>,
    /// The ruling that counts meanwhile and the one beside it, where two people's stand.
    pub rulings: Option<(Said, Said)>,
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
    /// Name of the kind of flag that matters most on it.
    pub lead: &'static str,
    /// Others of its cell that wait with that kind.
    pub alike_cell: u64,
    /// Others of its scene that do.
    pub alike_scene: u64,
    /// The window that counts, in words.
    pub window: String,
    /// Whether that is its own.
    pub own_window: bool,
    /// Version of the pass, for stale forms of its window.
    pub pass_version: i64,
    #[serde(skip)]
    /// It and its siblings on one time axis.
    pub strip: Strip,
    #[serde(skip)]
    /// Address of other stretches.
    pub strip_href: String,
    #[serde(skip)]
    /// End of the longest of them, exact seconds.
    pub strip_end_s: String,
}

/// A pass on which rulings of two people stand.
#[derive(Clone, Debug, Serialize)]
pub struct Contested {
    /// Which.
    #[serde(flatten)]
    pub waiting: Queued,
    /// For stale forms.
    pub version: i64,
    /// Keys of its kinds of flag.
    pub saw: Vec<&'static str>,
    /// The ruling that counts meanwhile.
    pub first: Said,
    /// The one beside it.
    pub second: Said,
}

/// What a person ruled.
#[derive(Clone, Debug, Serialize)]
pub struct Said {
    /// `keep`, `set aside`, `run again`.
    pub verdict: String,
    /// Why; may be empty.
    pub reason: String,
    /// Who.
    pub by: String,
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
}

impl Queued {
    /// `Maren Oake: keep; Iver Stroud: set aside: an updater ran`; empty where it is not disputed.
    fn rulings(&self) -> String {
        let both = |(first, second): &(Said, Said)| {
            format!("{}: {}; {}: {}", first.by, first.words(), second.by, second.words())
        };
        self.rulings.as_ref().map_or_else(String::new, both)
    }

    fn moves(&self) -> String {
        let by = |share: f64| format!("moves a figure by {}", format::value(share * 100.0, Unit::Percent));
        self.moves.map_or_else(String::new, by)
    }
}

impl Said {
    fn words(&self) -> String {
        if self.reason.is_empty() {
            self.verdict.clone()
        } else {
            format!("{}: {}", self.verdict, self.reason)
        }
    }
}

impl Found {
    fn at(&self) -> String {
        format::span_ns(self.start_ns, self.end_ns)
    }
}

impl Review {
    /// The pass that follows; after the last one the first, since it may have been passed over.
    fn next(&self) -> Option<String> {
        let at = self.pass.as_ref()?.at + 1;
        let next = self.queue.get(at).or_else(|| self.queue.first())?;
        (self.queue.len() > 1).then(|| self.link(next))
    }

    fn ruled_on(&self) -> String {
        format::plural(self.ruled.len() as u64, "pass", "passes")
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
        format!(
            "{} of {} left",
            format::count(left),
            format::count(left.saturating_add(self.ruled.len() as u64))
        )
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

    /// Where the first disputed pass is looked at.
    fn first_dispute(&self) -> String {
        self.contested.first().map_or_else(String::new, |one| self.link(&one.waiting))
    }

    /// What the ruling's buttons begin with.
    fn settling(&self) -> &'static str {
        let disputed = self.pass.as_ref().is_some_and(|pass| pass.waiting.rulings.is_some());
        if disputed { "Settle: " } else { "" }
    }

    fn ruling(&self, word: &str) -> String {
        match self.settling() {
            "" => format::sentence(word),
            settle => format!("{settle}{word}"),
        }
    }

    /// `1 dispute`.
    fn disputed(&self) -> String {
        let count = u64::try_from(self.contested.len()).unwrap_or(u64::MAX);
        format::plural(count, "dispute", "disputes")
    }

    fn others(count: u64) -> String {
        format::plural(count, "other", "others")
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
        ghosts: Vec::new(),
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
            rulings: None,
        };
        let found = Found {
            kind: "level_step",
            name: "step in level",
            says: "from 21.0 s to 27.0 s frames take 14 % longer than in the other passes".to_owned(),
            start_ns: 21_000_000_000,
            end_ns: 27_000_000_000,
        };
        let pass = UnderReview {
            waiting: waiting("q7", 4, Some(0.023)),
            at: 0,
            version: 0,
            flags: vec![found],
            notices: vec!["its window holds 37.2 s, 38 % shorter than the scene's 60.0 s".to_owned()],
            before: "It was kept before ('belongs to the scene'); a new kind of flag opened it again."
                .to_owned(),
            lead: "step in level",
            alike_cell: 1,
            alike_scene: 7,
            window: "0.0 s to 60.0 s".to_owned(),
            own_window: true,
            pass_version: 2,
            strip: sample_strip(),
            strip_href: paths::with_query(&paths::review_strip("k3v9"), &[("pass", "q7")]),
            strip_end_s: "40".to_owned(),
        };
        let said = |verdict: &str, reason: &str, by: &str| Said {
            verdict: verdict.to_owned(),
            reason: reason.to_owned(),
            by: by.to_owned(),
        };
        let both = (said("keep", "", "Maren Oake"), said("set aside", "an updater ran", "Iver Stroud"));
        let disputed = Queued { rulings: Some(both), ..waiting("q9", 2, Some(0.004)) };
        let contested = Contested {
            waiting: disputed.clone(),
            version: 12,
            saw: vec!["level_step"],
            first: said("keep", "", "Maren Oake"),
            second: said("set aside", "an updater ran", "Iver Stroud"),
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
            ruled: vec![RuledLine::sample(); 3],
            queue: vec![disputed.clone(), waiting("q7", 4, Some(0.023)), waiting("q8", 1, None)],
            pass: Some(pass.clone()),
            contested: vec![contested.clone()],
            settled: String::new(),
            set_aside: vec![(6, 40), (0, 40)],
            screened: 80,
            screens: vec!["step in level", "frame cap"],
            usual_reasons: ["another program ran beside it", "wrong passage"].map(str::to_owned).to_vec(),
            reasons_version: 0,
            usual: Field::default(),
            words: Field::default(),
            reach: String::new(),
            shorten: [Field::of("0"), Field::of("60"), Field::default()],
        };
        let refused = Review {
            usual: Field::of("wrong passage"),
            words: Field::wrong("", "A reason is needed for 'set aside'."),
            reach: "scene".to_owned(),
            shorten: [Field::of("0"), Field::wrong("70", "It must end within the pass."), Field::default()],
            settled: "Pass 3 was ruled meanwhile.".to_owned(),
            ..full("member")
        };
        let empty = Review { queue: Vec::new(), contested: Vec::new(), pass: None, ..full("owner") };
        let settling = Review {
            pass: Some(UnderReview { waiting: disputed.clone(), ..pass.clone() }),
            ..full("member")
        };
        vec![full("owner"), refused, full("guest"), settling, empty]
    }
}
