//! All pieces: what is being worked on, its deadline, and how far it has come.

use askama::Template;
use jiff::Timestamp;
use serde::Serialize;

use super::{Field, Frame, Page};
use crate::format;

/// The list of pieces and the form for another one.
#[derive(Template, Serialize)]
#[template(path = "pieces.html")]
pub struct Pieces {
    #[serde(skip)]
    /// Around the page.
    pub frame: Frame,
    /// When the page was made: what is left to a deadline is counted from here.
    pub now: Timestamp,
    /// Nearest deadline first, those without one last.
    pub pieces: Vec<Progress>,
    /// The form for a new piece, with what was refused.
    #[serde(skip)]
    pub new: NewPiece,
}

/// How far a piece has come.
#[derive(Clone, Debug, Serialize)]
pub struct Progress {
    /// Stable key.
    pub key: String,
    /// Name.
    pub name: String,
    /// When it is due.
    pub deadline: Option<Timestamp>,
    /// IANA name of the zone in which the deadline was said.
    pub zone: String,
    /// Passes that stand.
    pub passes: u64,
    /// Passes that its cells want.
    pub passes_wanted: u64,
    /// Flagged passes without a ruling.
    pub flags: u64,
    /// Figures, but for withdrawn ones.
    pub figures: u64,
    /// Figures that two people agreed on and that still stand.
    pub agreed: u64,
    /// Figures whose agreement lapsed.
    pub lapsed: u64,
}

/// Fields of the form for a new piece.
#[derive(Clone, Debug, Default)]
pub struct NewPiece {
    /// Name.
    pub name: Field,
    /// `card`, `processor` or `device`.
    pub kind: Field,
    /// Local date and time as a browser writes it: `2026-11-27T18:00`; may be empty.
    pub deadline: Field,
    /// IANA name of a zone.
    pub zone: Field,
}

impl NewPiece {
    /// The empty form; `zone` is the person's last one.
    pub fn empty(zone: &str) -> Self {
        NewPiece { kind: Field::of("card"), zone: Field::of(zone), ..NewPiece::default() }
    }
}

impl Pieces {
    fn left(&self, piece: &Progress) -> String {
        piece.deadline.map_or_else(|| "no deadline".to_owned(), |at| format::left(at, self.now))
    }

    fn due(piece: &Progress) -> String {
        piece.deadline.map_or_else(String::new, |at| format::moment(at, &piece.zone))
    }
}

impl Page for Pieces {
    fn title(&self) -> String {
        "Pieces".to_owned()
    }

    fn samples() -> Vec<Self> {
        let now = Timestamp::UNIX_EPOCH;
        let piece = Progress {
            key: "k3v9".into(),
            name: "Is the Curlew worth it?".into(),
            deadline: Timestamp::from_second(31 * 3600 + 120).ok(),
            zone: "Europe/Berlin".into(),
            passes: 171,
            passes_wanted: 192,
            flags: 9,
            figures: 14,
            agreed: 11,
            lapsed: 2,
        };
        let open = Progress {
            key: "m2c4".into(),
            name: "Quiet cases for warm rooms, a comparison that takes its time".into(),
            deadline: None,
            passes: 0,
            passes_wanted: 24,
            flags: 0,
            figures: 0,
            agreed: 0,
            lapsed: 0,
            ..piece.clone()
        };
        let page = |frame: Frame, pieces, new| Pieces { frame, now, pieces, new };
        let owner = || Frame::signed_in("Maren Oake", "owner", "Pieces");
        let refused = NewPiece {
            name: Field::wrong("", "Give the piece a name of 1 to 120 letters."),
            deadline: Field::wrong("2026-02-30T18:00", "There is no 30 February: pick another day."),
            ..NewPiece::empty("Europe/Berlin")
        };
        vec![
            page(owner(), vec![], NewPiece::empty("UTC")),
            page(owner(), vec![piece.clone(), open], NewPiece::empty("Europe/Berlin")),
            page(Frame::signed_in("Ada Fenn", "guest", "Pieces"), vec![piece], NewPiece::empty("UTC")),
            page(owner(), vec![], refused),
        ]
    }
}
