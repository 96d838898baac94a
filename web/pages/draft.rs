//! The draft of a piece: its text, and each number in it tied to a figure or marked.

use askama::Template;
use jiff::Timestamp;
use serde::Serialize;

use super::{Field, Frame, Page};
use crate::format;
use crate::told::Tone;

/// The page.
#[derive(Clone, Debug, Template, Serialize)]
#[template(path = "draft.html")]
pub struct Draft {
    /// Around the page.
    #[serde(skip)]
    pub frame: Frame,
    /// Key of the piece.
    pub piece: String,
    /// When the page was made.
    pub now: Timestamp,
    /// How the text is written.
    pub form: Field,
    /// The text.
    pub body: Field,
    /// Number of the latest version; 0: none is kept.
    pub version: i64,
    /// Whether the text is the latest version; else it was only checked, or is an older one.
    pub kept: bool,
    /// Its numbers in order.
    pub numbers: Vec<NumberLine>,
    /// Place of the number to look at now; past the end: none.
    pub at: usize,
    /// The text with its marks.
    pub lines: Vec<TextLine>,
    /// How many numbers people left alone.
    pub left: u64,
    /// What a number can quote: key and name.
    pub choices: Vec<(String, String)>,
    /// Versions, newest first.
    pub versions: Vec<TextVersion>,
    /// Head of the audit trail.
    pub head: String,
}

/// A number of the text.
#[derive(Clone, Debug, Serialize)]
pub struct NumberLine {
    /// Its place, from 1.
    pub n: usize,
    /// As written.
    pub number: String,
    /// Words before it.
    pub before: String,
    /// Words behind it.
    pub behind: String,
    /// Key of the verdict.
    pub verdict: String,
    /// The verdict in a few words.
    pub word: String,
    /// How serious it is.
    pub tone: Tone,
    /// What is so, and what to do.
    pub says: String,
    /// The figure it quotes; empty: none.
    pub link: String,
    /// That figure's name.
    pub figure: String,
    /// Address of that figure's page; empty where it has none.
    pub href: String,
    /// Whether a person said so.
    pub confirmed: bool,
    /// The most likely figures: key and name.
    pub suggested: Vec<(String, String)>,
}

/// A line of the text with its marks.
#[derive(Clone, Debug, Serialize)]
pub struct TextLine {
    /// Its pieces in order.
    pub pieces: Vec<TextPiece>,
}

/// A piece of a line.
#[derive(Clone, Debug, Serialize)]
pub struct TextPiece {
    /// As written.
    pub text: String,
    /// The number it is: its place, from 1; 0: none.
    pub n: usize,
}

/// A version of the text.
#[derive(Clone, Debug, Serialize)]
pub struct TextVersion {
    /// Its number.
    pub number: i64,
    /// Who kept it.
    pub by: String,
    /// When.
    pub at: Timestamp,
    /// Its SHA-256.
    pub digest: String,
}

impl TextLine {
    /// Whether a number stands in it.
    fn marked(&self) -> bool {
        self.pieces.iter().any(|piece| piece.n > 0)
    }

    /// The numbers that stand in it.
    fn marks<'a>(&'a self, all: &'a [NumberLine]) -> impl Iterator<Item = &'a NumberLine> {
        self.pieces.iter().filter_map(|piece| all.get(piece.n.checked_sub(1)?))
    }
}

impl Draft {
    fn forms() -> [(&'static str, &'static str); 4] {
        [
            ("plain", "Plain text"),
            ("markdown", "Markdown"),
            ("srt", "Subtitles, SRT"),
            ("vtt", "Subtitles, WebVTT"),
        ]
    }

    fn present(&self) -> Option<&NumberLine> {
        self.numbers.get(self.at)
    }

    fn line(&self, n: usize) -> Option<&NumberLine> {
        self.numbers.get(n.checked_sub(1)?)
    }

    /// `24 numbers: 16 agreed and right, 3 to settle, 5 wrong.`
    fn summary(&self) -> String {
        let of = |tone: Tone| self.numbers.iter().filter(|line| line.tone == tone).count();
        let count = |n: usize| format::count(u64::try_from(n).unwrap_or(u64::MAX));
        let all = format::plural(u64::try_from(self.numbers.len()).unwrap_or(0), "number", "numbers");
        let mut says = format!(
            "{all}: {} agreed and right, {} to settle, {} wrong.",
            count(of(Tone::Good)),
            count(of(Tone::Open)),
            count(of(Tone::Bad))
        );
        if self.left > 0 {
            says.push_str(&format!(" {} left alone.", format::count(self.left)));
        }
        says
    }

    /// Whether a person may decide on numbers: only of the text that is kept.
    fn may_decide(&self) -> bool {
        self.kept && self.frame.may_edit()
    }

    fn ago(&self, version: &TextVersion) -> String {
        format::ago(version.at, self.now)
    }
}

impl Page for Draft {
    fn title(&self) -> String {
        "Draft".to_owned()
    }

    fn samples() -> Vec<Self> {
        let empty = Draft {
            frame: Frame::sample("Draft"),
            piece: "k3v9".to_owned(),
            now: Timestamp::from_second(7200).unwrap_or_default(),
            form: Field::of("plain"),
            body: Field::default(),
            version: 0,
            kept: true,
            numbers: Vec::new(),
            at: 0,
            lines: Vec::new(),
            left: 0,
            choices: Vec::new(),
            versions: Vec::new(),
            head: "812".to_owned(),
        };
        let line = |n: usize, number: &str, tone, word: &str| NumberLine {
            n,
            number: number.to_owned(),
            before: "In Vellum Rally the Curlew makes".to_owned(),
            behind: "and the Dunlin less.".to_owned(),
            verdict: "wrong".to_owned(),
            word: word.to_owned(),
            tone,
            says: "The figure says 150 fps.".to_owned(),
            link: "f1".to_owned(),
            figure: "Curlew, Vellum Rally (hairpin), 2160p native: average frame rate".to_owned(),
            href: crate::paths::figure("f1"),
            confirmed: n == 1,
            suggested: vec![("f1".to_owned(), "Curlew, Vellum Rally".to_owned())],
        };
        let piece = |text: &str, n| TextPiece { text: text.to_owned(), n };
        let full = Draft {
            body: Field::of("The Curlew makes 150 fps.\nThe Dunlin 96 fps, or 2 more."),
            version: 2,
            numbers: vec![
                line(1, "150 fps", Tone::Good, "agreed and right"),
                line(2, "96 fps", Tone::Bad, "wrong"),
                NumberLine {
                    link: String::new(),
                    figure: String::new(),
                    href: String::new(),
                    suggested: Vec::new(),
                    ..line(3, "2 W", Tone::Open, "unsupported")
                },
            ],
            at: 1,
            lines: vec![
                TextLine { pieces: vec![piece("The Curlew makes ", 0), piece("150 fps", 1), piece(".", 0)] },
                TextLine {
                    pieces: vec![
                        piece("The Dunlin ", 0),
                        piece("96 fps", 2),
                        piece(", or ", 0),
                        piece("2 W", 3),
                    ],
                },
            ],
            left: 1,
            choices: vec![("f1".to_owned(), "Curlew, Vellum Rally".to_owned())],
            versions: vec![TextVersion {
                number: 2,
                by: "Maren Oake".to_owned(),
                at: Timestamp::UNIX_EPOCH,
                digest: "ab".repeat(32),
            }],
            ..empty.clone()
        };
        let checked = Draft { kept: false, ..full.clone() };
        let refused = Draft { body: Field::wrong("x", "The text has too many characters."), ..full.clone() };
        let guest = Draft { frame: Frame::signed_in("Ada Fenn", "guest", "Pieces"), ..full.clone() };
        vec![empty, full, checked, refused, guest]
    }
}
