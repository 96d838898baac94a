//! Rigs: all of them, and one with its dated bases.

use askama::Template;
use jiff::Timestamp;
use serde::Serialize;

use super::{Filled, Form, Frame, How, Page, Sending};
use crate::{format, paths};

/// All rigs and the form for another one.
#[derive(Template, Serialize)]
#[template(path = "rigs.html")]
pub struct Rigs {
    #[serde(skip)]
    /// Around the page.
    pub frame: Frame,
    /// By name.
    pub rigs: Vec<RigEntry>,
    /// The form for another one.
    #[serde(skip)]
    pub new: Form,
}

/// One rig.
#[derive(Template, Serialize)]
#[template(path = "rig.html")]
pub struct Rig {
    #[serde(skip)]
    /// Around the page.
    pub frame: Frame,
    /// The rig.
    pub rig: RigEntry,
    /// The form for a base: another one, or the one that is being changed.
    #[serde(skip)]
    pub base: Form,
    /// The form for the rig itself.
    #[serde(skip)]
    pub edit: Form,
}

/// A rig with its bases.
#[derive(Clone, Debug, Serialize)]
pub struct RigEntry {
    /// Row id.
    pub id: i64,
    /// Name.
    pub name: String,
    /// Anything else.
    pub note: String,
    /// Newest first.
    pub bases: Vec<Base>,
    /// For stale forms.
    pub version: i64,
}

/// The base of a rig from a moment on.
#[derive(Clone, Debug, Serialize)]
pub struct Base {
    /// Row id.
    pub id: i64,
    /// From when on; 1970 stands for 'from the start'.
    pub from: Timestamp,
    /// Main board.
    pub board: String,
    /// Processor.
    pub processor: String,
    /// Memory.
    pub memory: String,
    /// Build of the operating system.
    pub os_build: String,
    /// Firmware of the board.
    pub firmware: String,
    /// Cooling.
    pub cooling: String,
    /// Case or open bench.
    pub enclosure: String,
    /// IANA name.
    pub time_zone: String,
    /// For stale forms.
    pub version: i64,
}

impl RigEntry {
    fn newest(&self) -> Option<&Base> {
        self.bases.first()
    }
}

impl Base {
    fn since(&self) -> String {
        if self.from == Timestamp::UNIX_EPOCH {
            "the start".to_owned()
        } else {
            format::moment(self.from, "UTC")
        }
    }

    /// What a base consists of, in the columns of its table.
    fn columns(&self) -> [&str; 8] {
        [
            &self.board,
            &self.processor,
            &self.memory,
            &self.os_build,
            &self.firmware,
            &self.cooling,
            &self.enclosure,
            &self.time_zone,
        ]
    }

    /// The columns, each with whether it differs from the base before.
    fn changes<'a>(&'a self, before: Option<&Base>) -> Vec<(&'a str, bool)> {
        let columns = self.columns().into_iter().enumerate();
        let differs = |at: usize, text: &str| before.is_some_and(|before| before.columns()[at] != text);
        columns.map(|(at, text)| (text, differs(at, text))).collect()
    }
}

impl Rig {
    /// Bases, newest first, each with the one before it.
    fn dated(&self) -> impl Iterator<Item = (&Base, Option<&Base>)> {
        self.rig.bases.iter().enumerate().map(|(at, base)| (base, self.rig.bases.get(at + 1)))
    }
}

fn ask_base(form: Form) -> Form {
    const STANDS: [(&str, &str); 3] =
        [("", "not said"), ("open bench", "on an open bench"), ("case", "in a case")];
    form.line("board", "Board", "")
        .line("processor", "Processor", "")
        .line("memory", "Memory", "Size, speed and timings")
        .line("os_build", "OS build", "")
        .later()
        .line("firmware", "Firmware", "Of the board")
        .later()
        .line("cooling", "Cooling", "")
        .later()
        .ask("enclosure", "Stands", "", How::OneOf(STANDS.to_vec()))
        .line("time_zone", "Time zone", "In which its loggers write local times, such as Europe/Berlin")
}

/// The form for a new rig with its first base.
pub fn new_rig(filled: &Filled) -> Form {
    let form = Form::new("new-rig", "rig", paths::rigs(), Sending::Add)
        .line("name", "Name", "The word the team says")
        .required();
    ask_base(form).line("note", "Note", "").later().filled(filled)
}

/// The form for the rig itself.
pub fn edit_rig(id: i64, version: i64, filled: &Filled) -> Form {
    Form::new("rig", "rig", paths::rig(id), Sending::Edit { version, back: None })
        .line("name", "Name", "The word the team says")
        .required()
        .line("note", "Note", "")
        .filled(filled)
}

/// The form for a base.
pub fn base(action: String, sending: Sending, filled: &Filled) -> Form {
    let form = Form::new("base", "base", action, sending).ask(
        "from",
        "From (UTC)",
        "Passes recorded from then on have it; empty: from the start",
        How::Moment,
    );
    ask_base(form).filled(filled)
}

impl Page for Rigs {
    fn title(&self) -> String {
        "Rigs".to_owned()
    }

    fn samples() -> Vec<Self> {
        let form = || new_rig(&Filled::default());
        let page =
            |role, rigs| Rigs { frame: Frame::signed_in("Maren Oake", role, "Rigs"), rigs, new: form() };
        let error = ("name".to_owned(), "The rig's name is missing; write 1 to 80 characters.".to_owned());
        let refused = Filled { texts: Vec::new(), errors: vec![error], focus: true };
        vec![
            page("owner", vec![]),
            page("member", vec![sample(1, "alder"), RigEntry { bases: vec![], ..sample(2, "birch") }]),
            page("guest", vec![]),
            Rigs { new: new_rig(&refused), ..page("owner", vec![sample(1, "alder")]) },
        ]
    }
}

fn sample(id: i64, name: &str) -> RigEntry {
    let first = Base {
        id,
        from: Timestamp::UNIX_EPOCH,
        board: "Quillon M1".into(),
        processor: "Osier 8".into(),
        memory: "32 GB at 6000".into(),
        os_build: "26100.1".into(),
        firmware: "1.20".into(),
        cooling: "air, 140 mm".into(),
        enclosure: "open bench".into(),
        time_zone: "Europe/Berlin".into(),
        version: 1,
    };
    let from = Timestamp::from_second(1_772_366_400).unwrap_or_default();
    let second = Base { id: id + 10, from, firmware: "1.31".into(), ..first.clone() };
    RigEntry { id, name: name.into(), note: "By the window".into(), bases: vec![second, first], version: 1 }
}

impl Page for Rig {
    fn title(&self) -> String {
        self.rig.name.clone()
    }

    fn samples() -> Vec<Self> {
        let page = |role, rig: RigEntry| Rig {
            frame: Frame::signed_in("Maren Oake", role, "Rigs"),
            base: base(paths::bases(rig.id), Sending::Add, &Filled::default()),
            edit: edit_rig(rig.id, rig.version, &Filled::default()),
            rig,
        };
        let change = Sending::Edit { version: 3, back: Some(paths::rig(1)) };
        let editing = base(paths::base(11), change, &Filled { focus: true, ..Filled::default() });
        vec![
            page("owner", sample(1, "alder")),
            page("guest", sample(1, "alder")),
            page("owner", RigEntry { bases: vec![], note: String::new(), ..sample(2, "birch") }),
            Rig { base: editing, ..page("member", sample(1, "alder")) },
        ]
    }
}
