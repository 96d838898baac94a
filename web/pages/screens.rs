//! Which screens a piece runs and how strict, with what a choice would do to its own passes.

use askama::Template;
use serde::Serialize;

use super::{Frame, Page};
use crate::format;

/// The choice.
#[derive(Template, Serialize)]
#[template(path = "screens.html")]
pub struct Screens {
    /// Around the page.
    #[serde(skip)]
    pub frame: Frame,
    /// Key of the piece.
    pub piece: String,
    /// Version of the choice that stands; 0: none was made.
    pub version: i64,
    /// Whether another choice than the one that stands is tried.
    pub tried: bool,
    /// Passes of the piece.
    pub passes: u64,
    /// Passes that wait for a ruling.
    pub waiting: u64,
    /// Passes that would.
    pub would_wait: u64,
    /// Every screen.
    pub screens: Vec<ScreenLine>,
    /// Passes whose flags would differ.
    pub changes: Vec<ScreenChange>,
}

/// A screen.
#[derive(Clone, Debug, Serialize)]
pub struct ScreenLine {
    /// Its key.
    pub key: &'static str,
    /// Its name.
    pub name: &'static str,
    /// How strict it is: `usual`, `twice`, `four times` or `off`.
    pub kept: &'static str,
    /// How strict it would be.
    pub chosen: &'static str,
    /// Passes that it flags.
    pub now: u64,
    /// Passes that it would flag.
    pub then: u64,
}

/// A pass whose flags would differ.
#[derive(Clone, Debug, Serialize)]
pub struct ScreenChange {
    /// Scene, setting, number and rig.
    pub pass: String,
    /// Flags that would be raised no more.
    pub gone: Vec<&'static str>,
    /// Flags that would be raised.
    pub new: Vec<&'static str>,
    /// How it would stand.
    pub stands: &'static str,
}

impl Screens {
    /// How strict a screen can be: word and meaning.
    const HOW: [(&'static str, &'static str); 4] = [
        ("usual", "as calibrated"),
        ("twice", "from twice the evidence"),
        ("four times", "from four times the evidence"),
        ("off", "not at all"),
    ];

    fn effect(&self) -> String {
        let passes = |n: u64| format::plural(n, "pass waits", "passes wait");
        let (now, then) = (passes(self.waiting), passes(self.would_wait));
        if self.changes.is_empty() {
            format!(
                "No flag of the piece's {} changes; {now} for a ruling.",
                format::plural(self.passes, "pass", "passes")
            )
        } else {
            format!("{now} for a ruling now; then {then}.")
        }
    }

    fn all_usual(&self) -> bool {
        self.screens.iter().all(|screen| screen.kept == "usual")
    }
}

impl ScreenLine {
    fn is(&self, word: &str) -> bool {
        self.chosen == word
    }

    fn differs(&self) -> bool {
        self.now != self.then
    }
}

impl ScreenChange {
    fn words(&self) -> String {
        let gone = self.gone.iter().map(|name| format!("no more '{name}'"));
        let new = self.new.iter().map(|name| format!("'{name}'"));
        gone.chain(new).collect::<Vec<_>>().join(", ")
    }
}

impl Page for Screens {
    fn title(&self) -> String {
        "Screens".to_owned()
    }

    fn samples() -> Vec<Self> {
        let page = |role: &str, tried, changes: Vec<ScreenChange>| Screens {
            frame: Frame::signed_in("Maren Oake", role, "Pieces").in_piece(
                "k3v9",
                "Is the Curlew worth it?",
                String::new(),
                "Review",
                3,
            ),
            piece: "k3v9".to_owned(),
            version: 1,
            tried,
            passes: 223,
            waiting: 9,
            would_wait: if changes.is_empty() { 9 } else { 7 },
            screens: vec![
                ScreenLine {
                    key: "gap",
                    name: "gap or clock jump",
                    kept: "usual",
                    chosen: "usual",
                    now: 1,
                    then: 1,
                },
                ScreenLine {
                    key: "frame_cap",
                    name: "frame cap",
                    kept: "twice",
                    chosen: "off",
                    now: 2,
                    then: 0,
                },
            ],
            changes,
        };
        let change = ScreenChange {
            pass: "Vellum Rally (hairpin), 2160p native, pass 2 on birch".to_owned(),
            gone: vec!["frame cap"],
            new: vec![],
            stands: "sound",
        };
        vec![page("member", true, vec![change]), page("member", true, vec![]), page("guest", false, vec![])]
    }
}
