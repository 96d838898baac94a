//! What a person sees when something was refused or went wrong: what, the mend, and a way on.

use askama::Template;
use serde::Serialize;

use super::{Entry, Frame, Page};
use crate::paths;

/// An error page; its JSON twin carries the same sentences.
#[derive(Template, Serialize)]
#[template(path = "refusal.html")]
pub struct Refusal {
    #[serde(skip)]
    /// Around the page.
    pub frame: Frame,
    /// HTTP status.
    pub status: u16,
    /// What went wrong, as a title: `No such piece`.
    pub what: String,
    /// Which value or place, in words.
    pub says: String,
    /// What to do about it.
    pub mend: String,
    #[serde(skip)]
    /// Where to go on.
    pub ways: Vec<Entry>,
    /// Number under which an internal error is in the log; empty for others.
    pub log_id: String,
    /// What the person had written, when a stale form was refused: kept, so that nothing is lost.
    pub yours: String,
    /// What stands there now, beside [`Refusal::yours`].
    pub theirs: String,
}

impl Page for Refusal {
    fn title(&self) -> String {
        self.what.clone()
    }

    fn samples() -> Vec<Self> {
        let missing = Refusal {
            frame: Frame::signed_in("Maren Oake", "owner", ""),
            status: 404,
            what: "No such piece".into(),
            says: "No piece has the key 'k3v8'.".into(),
            mend: "Look for it in the list of pieces; its key never changes when its name does.".into(),
            ways: vec![Entry::new("All pieces", paths::pieces(), "")],
            log_id: String::new(),
            yours: String::new(),
            theirs: String::new(),
        };
        let internal = Refusal {
            frame: Frame::default(),
            status: 500,
            what: "That did not work".into(),
            says: "Something failed on our side; nothing was changed.".into(),
            mend: "Try again. If it fails again, give the number below to whoever runs this service.".into(),
            ways: vec![Entry::new("Front door", paths::home(), "")],
            log_id: "7f3a-19".into(),
            yours: String::new(),
            theirs: String::new(),
        };
        let stale = Refusal {
            frame: Frame::sample(""),
            status: 412,
            what: "Somebody was faster".into(),
            says: "Iver Stroud changed this rig's note at 14:02, after you opened it.".into(),
            mend: "Both texts are below. Open the rig again and write what should stand.".into(),
            ways: vec![Entry::new("The rig as it is now", paths::rig(2), "")],
            log_id: String::new(),
            yours: "Closed case, fans at 900 rpm".into(),
            theirs: "Closed case, fans at 1100 rpm".into(),
        };
        vec![missing, internal, stale]
    }
}
