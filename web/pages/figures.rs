//! The ledger of a piece's figures: what lapsed, what waits for whom, what two people agreed on.

use askama::Template;
use jiff::Timestamp;
use serde::Serialize;

use super::{Frame, Page};
use crate::format;
use crate::marks::Standing;
use crate::paths;

/// The ledger.
#[derive(Template, Serialize)]
#[template(path = "figures.html")]
pub struct Figures {
    /// Around the page.
    #[serde(skip)]
    pub frame: Frame,
    /// Key of the piece.
    pub piece: String,
    /// When the page was made.
    pub now: Timestamp,
    /// Lapsed first, then what waits, then the rest.
    pub figures: Vec<FigureLine>,
    /// Head of the audit trail.
    pub head: String,
    /// Whether an agreement asks for the password.
    #[serde(skip)]
    pub asks_password: bool,
    /// What is wrong with a step that was refused; empty otherwise.
    #[serde(skip)]
    pub refused: String,
}

/// A figure in the ledger.
#[derive(Clone, Debug, Serialize)]
pub struct FigureLine {
    /// Key in addresses.
    pub key: String,
    /// What it is called.
    pub name: String,
    /// Where it stands.
    pub standing: Standing,
    /// As it is printed; `None` where it has no value now, or is hidden until a second look.
    pub shown: Option<String>,
    /// Its interval in words; empty where none is known.
    pub interval: String,
    /// As it was printed when it was proposed or agreed: where it lapsed.
    pub before: Option<String>,
    /// What changed since then.
    pub changes: Vec<String>,
    /// Passes beneath it on which rulings of two people stand, in sentences; empty: it is not disputed.
    pub disputes: Vec<String>,
    /// Passes beneath it that were ruled out, with reasons; empty: none.
    pub ruled_out: String,
    /// Who proposed it.
    pub proposed_by: Option<String>,
    /// Who agreed.
    pub agreed_by: Option<String>,
    /// Whether the proposer agreed, working alone.
    pub alone: bool,
    /// When the last step was taken.
    pub at: Option<Timestamp>,
    /// Digest of what it rests on now.
    pub digest: String,
    /// Whether the reader may agree to it now.
    pub may_agree: bool,
    /// Whether it may be proposed now.
    pub may_propose: bool,
    /// Whether the reader, working alone, has proposed it and is due a second look without the value.
    pub hidden: bool,
    /// Whether the row comes ticked: it was, when the form was refused.
    #[serde(skip)]
    pub ticked: bool,
}

/// The ledger of a piece with all lines of this section ticked, at what can be done with them.
pub(super) fn ticked(piece: &str, section: &str) -> String {
    format!("{}#do", paths::with_query(&paths::figures(piece), &[("tick", section)]))
}

impl FigureLine {
    /// Who did what, in words: `proposed by Ada, agreed by Ben`.
    pub fn who(&self) -> String {
        match (&self.proposed_by, &self.agreed_by) {
            (Some(_), Some(by)) if self.alone => format!("proposed and agreed by {by}, alone"),
            (Some(first), Some(second)) if self.standing == Standing::Proposed => {
                format!("proposed by {first}, so far agreed by {second}")
            }
            (Some(first), Some(second)) => format!("proposed by {first}, agreed by {second}"),
            (Some(first), None) => format!("proposed by {first}"),
            (None, _) => String::new(),
        }
    }

    pub(super) fn value(&self) -> &str {
        self.shown.as_deref().unwrap_or(format::NOTHING)
    }

    fn tick(&self) -> String {
        format!("{} {}", self.key, self.digest)
    }

    /// Whether the print value did not move since the figure was agreed.
    pub(super) fn same(&self) -> bool {
        self.before.is_some() && self.before == self.shown
    }
}

impl Figures {
    fn ago(&self, line: &FigureLine) -> String {
        line.at.map_or_else(String::new, |at| format::ago(at, self.now))
    }

    /// Sections that have lines: id, title, lines.
    fn sections(&self) -> Vec<(&'static str, &'static str, Vec<&FigureLine>)> {
        let of = |belongs: &dyn Fn(&FigureLine) -> bool| {
            let own = self.figures.iter().filter(|line| belongs(line));
            own.collect::<Vec<&FigureLine>>()
        };
        let lapsed = |line: &FigureLine| line.standing == Standing::Lapsed;
        let all: [(_, _, Vec<&FigureLine>); 3] = [
            ("lapsed", "Lapsed", of(&lapsed)),
            ("waiting", "Waits for you", of(&|line| self.waits(line))),
            ("others", "All others", of(&|line| !lapsed(line) && !self.waits(line))),
        ];
        all.into_iter().filter(|(_, _, lines)| !lines.is_empty()).collect()
    }

    /// The page with all lines of this section ticked, at what can be done with them.
    fn tick_all(&self, section: &str) -> String {
        ticked(&self.piece, section)
    }

    /// Ticks all lines of the section with this id.
    pub fn tick(&mut self, section: &str) {
        let sections = self.sections();
        let own = sections.into_iter().filter(|(id, ..)| *id == section).flat_map(|(.., lines)| lines);
        let keys: Vec<String> = own.filter(|line| !line.hidden).map(|line| line.key.clone()).collect();
        self.figures.iter_mut().for_each(|line| line.ticked = keys.contains(&line.key));
    }

    fn waits(&self, line: &FigureLine) -> bool {
        line.standing == Standing::Proposed && (line.may_agree || line.hidden)
    }
}

impl FigureLine {
    /// Made-up lines, one in each state.
    pub(super) fn samples() -> Vec<FigureLine> {
        let line = |n: usize, standing| FigureLine {
            key: format!("f{n}"),
            name: format!("Curlew over Dunlin, Vellum Rally (hairpin), 2160p native: average frame rate {n}"),
            standing,
            shown: Some("+24.1%".to_owned()),
            interval: "+23.2% to +25.0%".to_owned(),
            before: None,
            changes: Vec::new(),
            disputes: Vec::new(),
            ruled_out: "1 of 8 passes ruled out: another program ran beside it".to_owned(),
            proposed_by: Some("Maren Oake".to_owned()),
            agreed_by: None,
            alone: false,
            at: Some(Timestamp::UNIX_EPOCH),
            digest: "ab".repeat(32),
            may_agree: false,
            may_propose: false,
            hidden: false,
            ticked: false,
        };
        let lapsed = FigureLine {
            before: Some("+24.6%".to_owned()),
            changes: vec![
                "Pass 3 of Curlew, Vellum Rally (hairpin), 2160p native was set aside by Iver Stroud."
                    .to_owned(),
            ],
            agreed_by: Some("Iver Stroud".to_owned()),
            may_propose: true,
            ..line(1, Standing::Lapsed)
        };
        let same = FigureLine {
            before: Some("+24.1%".to_owned()),
            may_agree: true,
            ..FigureLine { key: "f7".to_owned(), ..lapsed.clone() }
        };
        vec![
            lapsed,
            same,
            FigureLine { may_agree: true, ..line(2, Standing::Proposed) },
            FigureLine {
                disputes: vec![
                    "Pass 3 of Curlew, Vellum Rally (hairpin), 2160p native: Maren Oake ruled 'keep', Iver Stroud 'set aside' (an updater ran)."
                        .to_owned(),
                ],
                ..line(8, Standing::Proposed)
            },
            FigureLine { hidden: true, shown: None, interval: String::new(), ..line(3, Standing::Proposed) },
            FigureLine { agreed_by: Some("Iver Stroud".to_owned()), ..line(4, Standing::Agreed) },
            FigureLine { proposed_by: None, at: None, may_propose: true, ..line(5, Standing::Draft) },
            FigureLine { proposed_by: None, shown: None, ..line(6, Standing::Withdrawn) },
        ]
    }
}

impl Page for Figures {
    fn title(&self) -> String {
        "Figures".to_owned()
    }

    fn samples() -> Vec<Self> {
        let page = |frame, figures, refused: &str| Figures {
            frame,
            piece: "k3v9".to_owned(),
            now: Timestamp::from_second(7200).unwrap_or_default(),
            figures,
            head: format!("812 {}", "ab".repeat(32)),
            asks_password: !refused.is_empty(),
            refused: refused.to_owned(),
        };
        let guest = Frame::signed_in("Ada Fenn", "guest", "Pieces");
        vec![
            page(Frame::sample("Figures"), Vec::new(), ""),
            page(Frame::sample("Figures"), FigureLine::samples(), ""),
            page(
                Frame::sample("Figures"),
                FigureLine::samples(),
                "This is not your password; type it again.",
            ),
            page(guest, FigureLine::samples(), ""),
        ]
    }
}
