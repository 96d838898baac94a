//! Kinds of reading: what the team reads off instruments, and how.

use askama::Template;
use serde::Serialize;

use super::{Filled, Form, Frame, How, Page, Sending};
use crate::paths;

/// All kinds, and the form for another one or for one that is changed.
#[derive(Template, Serialize)]
#[template(path = "reading_kinds.html")]
pub struct ReadingKinds {
    /// Around the page.
    #[serde(skip)]
    pub frame: Frame,
    /// In the order in which they were added.
    pub kinds: Vec<KindLine>,
    /// The form.
    #[serde(skip)]
    pub form: Form,
}

/// A kind of reading.
#[derive(Clone, Debug, Serialize)]
pub struct KindLine {
    /// Row id.
    pub id: i64,
    /// Name.
    pub name: String,
    /// Unit.
    pub unit: String,
    /// `higher` or `lower`.
    pub better: String,
    /// What it is a number of, in words.
    pub of: String,
    /// Repeats wanted.
    pub repeats: i64,
    /// How it is read.
    pub method: String,
    /// For stale forms.
    pub version: i64,
}

/// The form for a kind.
pub fn kind_form(action: String, sending: Sending, filled: &Filled) -> Form {
    const READ_AT: [(&str, &str); 3] = [
        ("part", "the part itself: a score, seconds, its own sensor"),
        ("wall", "the whole system, at the wall"),
        ("air", "the air beside it: sound"),
    ];
    const BETTER: [(&str, &str); 2] = [("lower", "lower is better"), ("higher", "higher is better")];
    Form::new("kind", "kind", action, sending)
        .line("name", "Name", "With what makes it another number: 'noise at 50 cm', 'idle power'")
        .required()
        .line("unit", "Unit", "Such as dB(A), W, °C, s, points. What begins with dB is averaged as energy")
        .required()
        .ask(
            "read_at",
            "It is a number of",
            "What is read at the wall is never shown as the part's",
            How::OneOf(READ_AT.to_vec()),
        )
        .ask("better", "Better", "", How::OneOf(BETTER.to_vec()))
        .ask("repeats", "Repeats wanted", "Three where nothing is said", How::Whole)
        .ask(
            "method",
            "How it is read",
            "Distance and side of the meter, program and version, minutes of soak",
            How::Lines,
        )
        .filled(filled)
}

impl Page for ReadingKinds {
    fn title(&self) -> String {
        "Kinds of reading".to_owned()
    }

    fn samples() -> Vec<Self> {
        let kind = |id: i64, name: &str, unit: &str, of: &str| KindLine {
            id,
            name: name.to_owned(),
            unit: unit.to_owned(),
            better: "lower".to_owned(),
            of: of.to_owned(),
            repeats: 3,
            method: "meter class 2, in front, 50 cm".to_owned(),
            version: 1,
        };
        let page = |role: &str, kinds| ReadingKinds {
            frame: Frame::signed_in("Maren Oake", role, ""),
            kinds,
            form: kind_form(paths::reading_kinds(), Sending::Add, &Filled::default()),
        };
        let two = vec![
            kind(1, "noise at 50 cm", "dB(A)", "the air beside it"),
            KindLine { method: String::new(), ..kind(2, "idle power", "W", "the whole system, at the wall") },
        ];
        let change = Sending::Edit { version: 1, back: Some(paths::reading_kinds()) };
        let form = kind_form(paths::reading_kind(1), change, &Filled::default());
        vec![
            page("owner", Vec::new()),
            page("guest", two.clone()),
            ReadingKinds { form, ..page("member", two) },
        ]
    }
}
