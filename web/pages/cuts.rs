//! Where a long log is cut into passes.

use askama::Template;
use serde::Serialize;

use super::{Field, Frame, Page};

/// A log with its stretches.
#[derive(Template, Serialize)]
#[template(path = "cuts.html")]
pub struct Cuts {
    #[serde(skip)]
    /// Around the page.
    pub frame: Frame,
    /// Number of the log's segment.
    pub log: i64,
    /// File name.
    pub file: String,
    /// How long it is.
    pub seconds: String,
    #[serde(skip)]
    /// Its end in seconds, for the strip.
    pub end_s: String,
    #[serde(skip)]
    /// The strip (SVG).
    pub strip: String,
    /// Its stretches, in order of time.
    pub lines: Vec<CutLine>,
    #[serde(skip)]
    /// Key of the piece that one came from; empty: none.
    pub piece: String,
    #[serde(skip)]
    /// A stretch that a person adds: from and to, as written.
    pub more: (Field, Field),
    #[serde(skip)]
    /// What was refused; empty when nothing was.
    pub refused: String,
}

/// A stretch.
#[derive(Clone, Debug, Serialize)]
pub struct CutLine {
    /// Start, seconds.
    pub from: String,
    /// End, seconds.
    pub to: String,
    /// How long it is.
    pub length: String,
    /// Frames in it.
    pub frames: String,
    /// Their average rate.
    pub average: String,
    /// What it looks like; empty when it was cut out.
    pub looks: String,
    #[serde(skip)]
    /// Whether it is ticked.
    pub ticked: bool,
    /// Whether it was cut out.
    pub cut: bool,
    /// Whether a pass rests on it.
    pub in_use: bool,
}

impl Cuts {
    /// The page again after a refusal, with what was ticked and written in the form.
    pub fn refused(mut self, sent: &[(String, String)], says: &str) -> Self {
        let of = |name: String| sent.iter().find(|(of, _)| *of == name).map(|(_, text)| text.clone());
        for (n, line) in self.lines.iter_mut().enumerate() {
            line.ticked = sent.contains(&("take".to_owned(), n.to_string()));
            line.from = of(format!("from-{n}")).unwrap_or_else(|| line.from.clone());
            line.to = of(format!("to-{n}")).unwrap_or_else(|| line.to.clone());
        }
        let field = |name: &str| Field { value: of(name.to_owned()).unwrap_or_default(), ..Field::default() };
        self.more = (field("from-more"), field("to-more"));
        self.refused = says.to_owned();
        self
    }

    fn cut_out(&self) -> bool {
        self.lines.iter().any(|line| line.cut)
    }

    fn may_join(&self) -> bool {
        self.lines.iter().any(|line| line.cut && !line.in_use)
    }
}

impl Page for Cuts {
    fn title(&self) -> String {
        format!("Cut {}", self.file)
    }

    fn samples() -> Vec<Self> {
        let line = |from: &str, to: &str, looks: &str, ticked, cut| CutLine {
            from: from.to_owned(),
            to: to.to_owned(),
            length: "60.000 s".to_owned(),
            frames: "5 460".to_owned(),
            average: "91.0 fps".to_owned(),
            looks: looks.to_owned(),
            ticked,
            cut,
            in_use: cut,
        };
        let page = |role: &str, lines: Vec<CutLine>, refused: &str| Cuts {
            frame: Frame::signed_in("Maren Oake", role, ""),
            log: 9,
            file: "evening.csv".to_owned(),
            seconds: "300.000 s".to_owned(),
            end_s: "300".to_owned(),
            strip: String::new(),
            lines,
            piece: "k3v9".to_owned(),
            more: (Field::default(), Field::default()),
            refused: refused.to_owned(),
        };
        let lines = vec![
            line("0", "8", "4.7 times the rate of the others: a menu or a loading screen?", false, false),
            line("8", "68", "like a pass", true, false),
            line("80", "140", "", false, true),
        ];
        vec![
            page("member", lines.clone(), ""),
            page("member", lines.clone(), "Two stretches share frames."),
            page("member", vec![line("0", "300", "like a pass", true, false)], ""),
            page("guest", lines, ""),
        ]
    }
}
