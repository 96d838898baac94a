//! Embargo and notes of a piece: until when nothing leaves, and what its methods page says in the team's words.

use askama::Template;
use jiff::Timestamp;
use serde::Serialize;

use super::{Field, Frame, Page};
use crate::format;

/// The page.
#[derive(Template, Serialize)]
#[template(path = "notes.html")]
pub struct Notes {
    /// Around the page.
    #[serde(skip)]
    pub frame: Frame,
    /// Key of the piece.
    pub piece: String,
    /// IANA name of the embargo's zone.
    pub zone_name: String,
    /// End of the embargo, in words; empty: there is none.
    pub until: String,
    /// Whether nothing may leave now.
    pub holds: bool,
    /// What owners said, oldest first.
    pub said: Vec<SaidLine>,
    /// Lent units under embargoes of their own, each in words.
    pub units: Vec<String>,
    /// For stale forms.
    pub version: i64,
    /// End of the embargo, local date and time.
    pub embargo: Field,
    /// Its zone.
    pub zone: Field,
    /// How settings were checked.
    pub settings: Field,
    /// Caches cold or warm.
    pub caches: Field,
    /// In which order things were run.
    pub order_of_run: Field,
    /// Samples, sponsors and other ties.
    pub disclosure: Field,
    /// An owner's reason, as it was sent.
    #[serde(skip)]
    pub reason: Field,
}

/// What an owner said of an embargo.
#[derive(Clone, Debug, Serialize)]
pub struct SaidLine {
    /// `let it go` or `hold it`.
    pub says: String,
    /// Why.
    pub reason: String,
    /// Who.
    pub by: String,
    /// When.
    pub at: Timestamp,
}

/// An embargo that has not ended, for pages from which something leaves.
#[derive(Clone, Debug, Serialize)]
pub struct Embargo {
    /// Its end in the piece's zone, in words.
    pub until: String,
    /// Whether nothing may leave now.
    pub holds: bool,
    /// The owner's word that stands on it.
    pub word: Option<SaidLine>,
    /// When that was said, in the piece's zone, in words.
    pub said: String,
}

impl Embargo {
    /// One that holds, or one that an owner let go.
    pub fn sample(holds: bool) -> Self {
        let word = SaidLine {
            says: "let it go".to_owned(),
            reason: "to the printer, under the same embargo".to_owned(),
            by: "Maren Oake".to_owned(),
            at: Timestamp::UNIX_EPOCH,
        };
        Self {
            until: "Fri 27 Nov 2026, 18:00 CET".to_owned(),
            holds,
            word: (!holds).then_some(word),
            said: "Thu 26 Nov 2026, 09:12 CET".to_owned(),
        }
    }
}

impl Notes {
    fn is_owner(&self) -> bool {
        self.frame.person.as_ref().is_some_and(|person| person.role == "owner")
    }

    fn at(&self, said: &SaidLine) -> String {
        format::moment(said.at, &self.zone_name)
    }
}

impl Page for Notes {
    fn title(&self) -> String {
        "Embargo and notes".to_owned()
    }

    fn samples() -> Vec<Self> {
        let page = |role: &str, until: &str, holds| Notes {
            frame: Frame::signed_in("Maren Oake", role, "Pieces"),
            piece: "k3v9".to_owned(),
            zone_name: "Europe/Berlin".to_owned(),
            until: until.to_owned(),
            holds,
            units: if holds {
                vec!["Tarnwick Curlew, unit A: until Fri 27 Nov 2026, 18:00 CET".into()]
            } else {
                vec![]
            },
            said: if holds || until.is_empty() {
                Vec::new()
            } else {
                vec![SaidLine {
                    says: "let it go".to_owned(),
                    reason: "to the printer, under the same embargo".to_owned(),
                    by: "Maren Oake".to_owned(),
                    at: Timestamp::UNIX_EPOCH,
                }]
            },
            version: 1,
            embargo: Field::default(),
            zone: Field::of("Europe/Berlin"),
            settings: Field::of("The settings file of each game was compared before each session."),
            caches: Field::default(),
            order_of_run: Field::default(),
            disclosure: Field::wrong("", "Too long."),
            reason: Field::default(),
        };
        vec![
            page("owner", "", false),
            page("owner", "27 Nov 2026, 18:00 CET", true),
            page("owner", "27 Nov 2026, 18:00 CET", false),
            page("guest", "27 Nov 2026, 18:00 CET", true),
        ]
    }
}
