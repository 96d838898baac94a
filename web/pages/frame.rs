//! What stands around each page: who is signed in, where one can go, what just happened and how to undo it.

use std::sync::atomic::{AtomicU32, Ordering};

use serde::Serialize;

use crate::paths;

/// The frame of a page. It is skipped in JSON: `#[serde(skip)] pub frame: Frame`.
#[derive(Clone, Debug, Default)]
pub struct Frame {
    /// Who is signed in.
    pub person: Option<SignedIn>,
    /// Entries for everybody: pieces and registers. Only what is in here is shown.
    pub entries: Vec<Entry>,
    /// The present piece and its entries.
    pub piece: Option<PieceFrame>,
    /// What must be said on every page, such as plain http beyond this machine.
    pub warnings: Vec<String>,
    /// What the last action did.
    pub flash: Option<Flash>,
    /// What a new team does one after the other; empty once it has a pass, and for guests.
    pub steps: Vec<FirstStep>,
    /// Go along with the forms that make something (`parts::once`): sent twice, a form makes one.
    pub once: FormKeys,
}

/// Keys of the forms of a page, for each its own: a second form that goes to the same address is another request.
#[derive(Debug, Default)]
pub struct FormKeys {
    page: String,
    given: AtomicU32,
}

impl FormKeys {
    /// Those of a page with this key, which no other page has; empty: its forms have none.
    pub fn of(page: String) -> Self {
        FormKeys { page, given: AtomicU32::new(0) }
    }

    fn next(&self) -> String {
        if self.page.is_empty() {
            return String::new();
        }
        format!("{}.{}", self.page, self.given.fetch_add(1, Ordering::Relaxed))
    }
}

impl Clone for FormKeys {
    fn clone(&self) -> Self {
        FormKeys { page: self.page.clone(), given: AtomicU32::new(self.given.load(Ordering::Relaxed)) }
    }
}

/// The signed-in person.
#[derive(Clone, Debug)]
pub struct SignedIn {
    /// Name.
    pub name: String,
    /// `owner`, `member` or `guest`.
    pub role: String,
}

/// A place to go.
#[derive(Clone, Debug)]
pub struct Entry {
    /// Its word.
    pub label: String,
    /// From `paths`.
    pub href: String,
    /// Whether it is the present page.
    pub current: bool,
    /// A count worth knowing before going there, such as open flags; 0 is not shown.
    pub count: u64,
}

/// The present piece.
#[derive(Clone, Debug)]
pub struct PieceFrame {
    /// Name.
    pub name: String,
    /// Its own address.
    pub href: String,
    /// `31 h left`, from `format::left`; empty without a deadline.
    pub left: String,
    /// Its pages.
    pub entries: Vec<Entry>,
}

/// A first step of a new team.
#[derive(Clone, Debug)]
pub struct FirstStep {
    /// What it gives: 'Rig'.
    pub label: &'static str,
    /// Where it is done; empty while another step has to come first.
    pub href: String,
    /// Whether it is done.
    pub done: bool,
}

/// What the last action did.
#[derive(Clone, Debug)]
pub struct Flash {
    /// In words.
    pub says: String,
    /// How to take it back.
    pub undo: Option<Undo>,
}

/// A form of one button that takes an action back.
#[derive(Clone, Debug)]
pub struct Undo {
    /// Where it posts to.
    pub action: String,
    /// Hidden fields: name and value.
    pub fields: Vec<(String, String)>,
}

impl Entry {
    /// An entry; `current` is the label of the present page.
    pub fn new(label: &str, href: String, current: &str) -> Self {
        Entry { label: label.to_owned(), href, current: label == current, count: 0 }
    }

    /// The same with a count beside it.
    #[must_use]
    pub fn counting(mut self, count: u64) -> Self {
        self.count = count;
        self
    }
}

impl Frame {
    /// For the registers: all entries there are, with the one labelled `current` marked.
    pub fn signed_in(name: &str, role: &str, current: &str) -> Self {
        let to = |label: &str, href: String| Entry::new(label, href, current);
        Frame {
            person: Some(SignedIn { name: name.to_owned(), role: role.to_owned() }),
            entries: vec![
                to("Pieces", paths::pieces()),
                to("Rigs", paths::rigs()),
                to("Parts", paths::parts()),
                to("Scenes", paths::scenes()),
                to("Layouts", paths::layouts()),
                to("People", paths::people()),
            ],
            ..Frame::default()
        }
    }

    /// The same inside a piece; `flags` are the passes that wait for a ruling.
    #[must_use]
    pub fn in_piece(mut self, key: &str, name: &str, left: String, current: &str, flags: u64) -> Self {
        let to = |label: &str, href: String| Entry::new(label, href, current);
        self.piece = Some(PieceFrame {
            name: name.to_owned(),
            href: paths::piece(key),
            left,
            entries: vec![
                to("Plan", paths::plan(key)),
                to("Intake", paths::intake(key)),
                to("Review", paths::review(key)).counting(flags),
                to("Against", paths::against(key)),
                to("Tuning", paths::piece_tuning(key)),
                to("Latency", paths::latency(key)),
                to("Worth", paths::worth(key)),
                to("Readings", paths::readings(key)),
                to("Figures", paths::figures(key)),
                to("Draft", paths::draft(key)),
                to("Pack", paths::pack(key)),
            ],
        });
        self
    }

    /// The key of the next form, in the order in which they are written.
    pub(super) fn form_key(&self) -> String {
        self.once.next()
    }

    /// Whether this is the first of the first steps that is not done.
    pub(super) fn is_next(&self, step: &FirstStep) -> bool {
        self.steps.iter().find(|step| !step.done).is_some_and(|next| next.label == step.label)
    }

    /// A made-up frame for samples.
    pub fn sample(current: &str) -> Self {
        Frame::signed_in("Maren Oake", "owner", "Pieces").in_piece(
            "k3v9",
            "Is the Curlew worth it?",
            "31\u{a0}h left".to_owned(),
            current,
            3,
        )
    }

    /// Whether the signed-in person may change things (guests read).
    pub fn may_edit(&self) -> bool {
        self.person.as_ref().is_some_and(|person| person.role != "guest")
    }
}

/// A form field as it was sent: what was written, and what is wrong with it in words (empty when nothing is).
#[derive(Clone, Debug, Default, Serialize)]
pub struct Field {
    /// As written.
    pub value: String,
    /// What is wrong and how to mend it.
    pub error: String,
}

impl Field {
    /// A field with a value and no error.
    pub fn of(value: impl Into<String>) -> Self {
        Field { value: value.into(), error: String::new() }
    }

    /// Whether this option is the chosen one.
    pub fn is(&self, option: impl AsRef<str>) -> bool {
        self.value == option.as_ref()
    }

    /// A refused field.
    pub fn wrong(value: impl Into<String>, error: impl Into<String>) -> Self {
        Field { value: value.into(), error: error.into() }
    }
}
