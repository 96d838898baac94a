//! Editions: the list of a piece's, and one with what was printed and what it changed.

use askama::Template;
use jiff::Timestamp;
use serde::Serialize;

use super::{Embargo, Field, Frame, Page};
use crate::format;

/// The editions of a piece, and the form for the next one.
#[derive(Template, Serialize)]
#[template(path = "editions.html")]
pub struct Editions {
    /// Around the page.
    #[serde(skip)]
    pub frame: Frame,
    /// Key of the piece.
    pub piece: String,
    /// IANA name of the zone of times.
    pub zone: String,
    /// The piece's embargo, until it ends.
    pub embargo: Option<Embargo>,
    /// Newest first.
    pub editions: Vec<EditionLine>,
    /// Figures that would be in the next one.
    pub agreed: u64,
    /// Why the figures cannot be frozen as they stand; empty: they can.
    pub in_the_way: Vec<String>,
    /// What the next one is for.
    #[serde(skip)]
    pub note: Field,
    /// Why it was not frozen; empty otherwise.
    #[serde(skip)]
    pub refused: String,
}

/// An edition in the list.
#[derive(Clone, Debug, Serialize)]
pub struct EditionLine {
    /// From 1.
    pub number: i64,
    /// What it is for; may be empty.
    pub note: String,
    /// Figures in it.
    pub figures: u64,
    /// What differs from the one before.
    pub changes: Vec<EditionChange>,
    /// Who froze it.
    pub by: String,
    /// When.
    pub at: Timestamp,
}

/// What became of a figure since the edition before.
#[derive(Clone, Debug, Serialize)]
pub struct EditionChange {
    /// What it is called.
    pub name: String,
    /// As it was printed; none: it was not there.
    pub was: Option<String>,
    /// As it is printed; none: it is gone.
    pub is: Option<String>,
    /// What changed beneath it, in sentences.
    pub why: Vec<String>,
}

/// One edition.
#[derive(Default, Template, Serialize)]
#[template(path = "edition.html")]
pub struct Edition {
    /// Around the page.
    #[serde(skip)]
    pub frame: Frame,
    /// Key of the piece; empty where it was handed over.
    pub piece: String,
    /// Name of the piece.
    pub name: String,
    /// IANA name of the zone of times.
    pub zone: String,
    /// When the page was made.
    #[serde(skip)]
    pub now: Timestamp,
    /// From 1.
    pub number: i64,
    /// What it is for; may be empty.
    pub note: String,
    /// Who froze it.
    pub by: String,
    /// When.
    pub at: Timestamp,
    /// Digest of all it holds.
    pub digest: String,
    /// Head of the audit trail just before.
    pub head: String,
    /// Its figures.
    pub figures: Vec<EditionFigure>,
    /// What differs from the edition before.
    pub changes: Vec<EditionChange>,
    /// Address of its methods page.
    pub methods: String,
    /// The piece's embargo, until it ends; none on what was handed over.
    pub embargo: Option<Embargo>,
    /// Links that open it without a sign-in.
    pub links: Vec<LinkLine>,
    /// When the link ends by which it was opened; none for who is signed in.
    pub until: Option<Timestamp>,
    /// Days that a new link lasts.
    #[serde(skip)]
    pub days: Field,
    /// A link that was made just now.
    #[serde(skip)]
    pub link: Option<String>,
}

/// A figure as it was printed.
#[derive(Clone, Debug, Serialize)]
pub struct EditionFigure {
    /// Key.
    pub key: String,
    /// What it is called.
    pub name: String,
    /// As it was printed.
    pub printed: String,
    /// Its 95% interval; empty where none is known.
    pub interval: String,
    /// How it was come by.
    pub method: String,
    /// Passes beneath it that were ruled out; empty: none.
    pub ruled_out: String,
    /// The team's note.
    pub note: String,
    /// Who proposed it.
    pub proposed_by: String,
    /// Who agreed.
    pub agreed_by: String,
    /// Whether that was the same person, working alone.
    pub alone: bool,
    /// Digest of what it rested on.
    pub digest: String,
}

/// A link to an edition.
#[derive(Clone, Debug, Serialize)]
pub struct LinkLine {
    /// Row id.
    pub id: i64,
    /// Who made it.
    pub by: String,
    /// When.
    pub made: Timestamp,
    /// When it ends.
    pub expires: Timestamp,
    /// When it was opened last.
    pub opened: Option<Timestamp>,
    /// Whether it was taken back.
    pub taken_back: bool,
}

impl EditionChange {
    fn says(&self) -> String {
        match (&self.was, &self.is) {
            (Some(was), Some(is)) if was == is => format!("{is}, as before"),
            (Some(was), Some(is)) => format!("{was} is now {is}"),
            (None, Some(is)) => format!("{is}, new"),
            (Some(was), None) => format!("{was} is withdrawn"),
            (None, None) => String::new(),
        }
    }
}

impl EditionFigure {
    fn who(&self) -> String {
        if self.alone {
            return format!("proposed and agreed by {}, alone", self.agreed_by);
        }
        format!("proposed by {}, agreed by {}", self.proposed_by, self.agreed_by)
    }
}

impl Editions {
    fn when(&self, at: &Timestamp) -> String {
        format::moment(*at, &self.zone)
    }
}

impl Edition {
    fn when(&self, at: &Timestamp) -> String {
        format::moment(*at, &self.zone)
    }

    fn held(&self) -> bool {
        self.embargo.as_ref().is_some_and(|embargo| embargo.holds)
    }

    fn handed(&self) -> bool {
        self.until.is_some()
    }

    fn stands(&self, link: &LinkLine) -> String {
        let opened = link.opened.map_or_else(
            || "not opened yet".to_owned(),
            |at| format!("opened last {}", format::ago(at, self.now)),
        );
        if link.taken_back {
            format!("taken back; {opened}")
        } else if link.expires <= self.now {
            format!("ended {}; {opened}", self.when(&link.expires))
        } else {
            format!("opens until {}; {opened}", self.when(&link.expires))
        }
    }
}

fn made_up_changes() -> Vec<EditionChange> {
    let change = |name: &str, was: Option<&str>, is: Option<&str>, why: &[&str]| EditionChange {
        name: name.to_owned(),
        was: was.map(str::to_owned),
        is: is.map(str::to_owned),
        why: why.iter().map(|text| (*text).to_owned()).collect(),
    };
    let rally = "Curlew over Dunlin, Vellum Rally (hairpin), 2160p native: average frame rate";
    vec![
        change(
            rally,
            Some("+24.6%"),
            Some("+24.1%"),
            &["Pass 3 of Curlew, Vellum Rally (hairpin) was set aside."],
        ),
        change("Curlew, delay", Some("34 ms"), Some("34 ms"), &["It was called 'Delay'."]),
        change("Curlew, price of a frame", None, Some("14.08 EUR"), &[]),
        change("Thole, Hollow Regatta", Some("61 fps"), None, &[]),
    ]
}

impl Page for Editions {
    fn title(&self) -> String {
        "Editions".to_owned()
    }

    fn samples() -> Vec<Self> {
        let line = |number: i64, changes| EditionLine {
            number,
            note: if number == 1 { "for the video".to_owned() } else { String::new() },
            figures: 40,
            changes,
            by: "Maren Oake".to_owned(),
            at: Timestamp::UNIX_EPOCH,
        };
        let page = |editions, in_the_way: &[&str], agreed| Editions {
            frame: Frame::sample("Pieces").in_piece(
                "k",
                "Is the Curlew worth it?",
                "30 h left".into(),
                "Pack",
                3,
            ),
            piece: "k".to_owned(),
            zone: "Europe/Berlin".to_owned(),
            embargo: None,
            editions,
            agreed,
            in_the_way: in_the_way.iter().map(|text| (*text).to_owned()).collect(),
            note: Field::default(),
            refused: String::new(),
        };
        vec![
            page(Vec::new(), &["No figure is agreed yet."], 0),
            Editions {
                embargo: Some(Embargo::sample(true)),
                ..page(vec![line(2, made_up_changes()), line(1, Vec::new())], &[], 41)
            },
            Editions {
                refused: "Curlew: it has lapsed.".to_owned(),
                ..page(vec![line(1, Vec::new())], &["Curlew: it has lapsed.", "Thole: it is proposed."], 38)
            },
        ]
    }
}

impl Page for Edition {
    fn title(&self) -> String {
        if self.handed() {
            format!("{}, edition {}", self.name, self.number)
        } else {
            format!("Edition {}", self.number)
        }
    }

    fn samples() -> Vec<Self> {
        let figure = |n: usize, alone| EditionFigure {
            key: format!("f{n}"),
            name: format!("Curlew over Dunlin, Vellum Rally (hairpin), 2160p native: average frame rate {n}"),
            printed: "+24.1%".to_owned(),
            interval: "+23.2% to +25.0%".to_owned(),
            method: "Average frame rate: ratio of geometric means over 9 kept passes.".to_owned(),
            ruled_out: if alone {
                String::new()
            } else {
                "1 of 8 passes ruled out: a frame cap was on".to_owned()
            },
            note: String::new(),
            proposed_by: "Maren Oake".to_owned(),
            agreed_by: if alone { "Maren Oake".to_owned() } else { "Iver Stroud".to_owned() },
            alone,
            digest: "ab".repeat(32),
        };
        let link = |id: i64, expires: i64, opened: bool, taken_back| LinkLine {
            id,
            by: "Maren Oake".to_owned(),
            made: Timestamp::UNIX_EPOCH,
            expires: Timestamp::from_second(expires).unwrap_or_default(),
            opened: opened.then_some(Timestamp::UNIX_EPOCH),
            taken_back,
        };
        let page = |changes| Edition {
            frame: Frame::sample("Pieces").in_piece(
                "k",
                "Is the Curlew worth it?",
                "30 h left".into(),
                "Pack",
                3,
            ),
            piece: "k".to_owned(),
            name: "Is the Curlew worth it?".to_owned(),
            zone: "Europe/Berlin".to_owned(),
            now: Timestamp::from_second(3600).unwrap_or_default(),
            number: 2,
            note: "for print".to_owned(),
            by: "Maren Oake".to_owned(),
            digest: "cd".repeat(32),
            head: format!("1569 {}", "ef".repeat(32)),
            figures: vec![figure(1, false), figure(2, true)],
            changes,
            methods: "/pieces/k/editions/2/methods".to_owned(),
            days: Field::of("7"),
            ..Edition::default()
        };
        vec![
            Edition {
                embargo: Some(Embargo::sample(true)),
                links: vec![
                    link(3, 9000, true, false),
                    link(2, 10, false, false),
                    link(1, 9000, false, true),
                ],
                ..page(made_up_changes())
            },
            Edition { link: Some("http://127.0.0.1:7300/handed/5f1c".to_owned()), ..page(Vec::new()) },
            Edition {
                frame: Frame::default(),
                piece: String::new(),
                until: Some(Timestamp::from_second(9000).unwrap_or_default()),
                methods: "/handed/5f1c/methods".to_owned(),
                ..page(made_up_changes())
            },
        ]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_change_is_told_in_words_fit_for_print() {
        let said: Vec<String> = made_up_changes().iter().map(EditionChange::says).collect();
        assert_eq!(
            said,
            ["+24.6% is now +24.1%", "34 ms, as before", "14.08 EUR, new", "61 fps is withdrawn"]
        );
    }

    #[test]
    fn what_is_handed_over_leads_nowhere_else() {
        let pages = Edition::samples();
        let handed = pages.iter().find(|page| page.handed()).unwrap().render().unwrap();
        assert!(!handed.contains("href=\"/pieces") && !handed.contains("<nav"), "{handed}");
        assert!(handed.contains("/handed/5f1c/methods"));
    }
}
