//! Charts that a piece keeps: all of them with the team's own colour, and one with its words, scenes and shapes.

use askama::Template;
use serde::Serialize;

use super::{Field, Frame, Page};
use crate::charts::{Shape, Theme};
use crate::paths;

/// Widths of a chart as PNG, pixels: of the common frames of video, 1080 and 2160 lines high at 16:9.
pub const WIDTHS: [u32; 2] = [1920, 3840];

/// All kept charts of a piece.
#[derive(Clone, Debug, Template, Serialize)]
#[template(path = "charts.html")]
pub struct Charts {
    /// Around the page.
    #[serde(skip)]
    pub frame: Frame,
    /// Key of the piece.
    pub piece: String,
    /// In the order in which they were kept.
    pub charts: Vec<ChartLine>,
    /// Settings that averages can be drawn at: ids and names.
    #[serde(skip)]
    pub settings: Vec<(String, String)>,
    /// Cells with frames that can be drawn: ids and names.
    #[serde(skip)]
    pub cells: Vec<(String, String)>,
    /// The team's own colour, `#rrggbb`; empty: the program's own.
    #[serde(skip)]
    pub accent: Field,
    /// For stale forms of it.
    #[serde(skip)]
    pub look_version: i64,
    /// What was refused; empty when nothing was.
    #[serde(skip)]
    pub refused: String,
}

/// A kept chart in the list.
#[derive(Clone, Debug, Serialize)]
pub struct ChartLine {
    /// Row id.
    pub id: i64,
    /// Its title.
    pub title: String,
    /// What it shows, in a word or two.
    pub kind: &'static str,
    /// Whether a number in it is not agreed: it then says so across itself.
    pub draft: bool,
    /// Why it cannot be drawn now; empty: it can.
    pub missing: String,
}

/// One kept chart.
#[derive(Clone, Debug, Template, Serialize)]
#[template(path = "chart.html")]
pub struct Chart {
    /// Around the page.
    #[serde(skip)]
    pub frame: Frame,
    /// Key of the piece.
    pub piece: String,
    /// The chart.
    #[serde(flatten)]
    pub line: ChartLine,
    /// For stale forms.
    pub version: i64,
    /// Its own title, where it was not changed.
    pub own_title: String,
    /// The changed title.
    #[serde(skip)]
    pub title: Field,
    /// The note.
    #[serde(skip)]
    pub note: Field,
    /// Scenes that it can show, with the place of each; empty where it has none to choose.
    pub scenes: Vec<ScenePlace>,
    /// What is wrong with the places; empty: nothing.
    #[serde(skip)]
    pub wrong_places: String,
}

/// A scene of a chart.
#[derive(Clone, Debug, Serialize)]
pub struct ScenePlace {
    /// Id of the scene.
    pub id: i64,
    /// Its name.
    pub name: String,
    /// Its place from 1, as text; empty: not shown.
    pub place: String,
}

impl Chart {
    /// The picture in a shape and theme; `form`: `svg`, or the width of a PNG.
    fn picture(&self, shape: &str, theme: &str, form: &str) -> String {
        let query = [("shape", shape), ("theme", theme), ("form", form)];
        paths::with_query(&paths::chart_picture(self.line.id), &query)
    }

    fn shapes() -> Vec<(&'static str, &'static str)> {
        let words = |shape| match shape {
            Shape::Page => "as wide as a page",
            Shape::Wide => "16:9",
            Shape::Square => "square",
        };
        Shape::ALL.iter().map(|(name, shape)| (*name, words(*shape))).collect()
    }

    fn themes() -> Vec<(&'static str, &'static str)> {
        let words = |name: &str| match name {
            "dark" => "dark",
            "print" => "print, on white",
            "clear" => "transparent, for light ground",
            "clear-dark" => "transparent, for dark ground",
            _ => "light",
        };
        Theme::ALL.iter().map(|(name, _)| (*name, words(name))).collect()
    }

    fn forms() -> Vec<(String, String)> {
        let png = WIDTHS.iter().map(|width| (width.to_string(), format!("PNG, {width} pixels wide")));
        [("svg".to_owned(), "SVG".to_owned())].into_iter().chain(png).collect()
    }
}

impl Page for Charts {
    fn title(&self) -> String {
        "Charts".to_owned()
    }

    fn samples() -> Vec<Self> {
        let line = ChartLine {
            id: 1,
            title: "A quarter faster".into(),
            kind: "parts against a baseline",
            draft: true,
            missing: String::new(),
        };
        let gone = ChartLine { missing: "nothing is logged there any more".into(), ..line.clone() };
        let page = |frame, charts: Vec<ChartLine>, refused: &str| Charts {
            frame,
            piece: "k3v9".into(),
            charts,
            settings: vec![("1".into(), "2160p native".into())],
            cells: vec![("1".into(), "Tarnwick Curlew in Driftglass, arena at 2160p native".into())],
            accent: Field::of("#0a4d8c"),
            look_version: 1,
            refused: refused.into(),
        };
        vec![
            page(Frame::sample("Pack"), vec![], ""),
            page(Frame::sample("Pack"), vec![line.clone(), gone], "Choose two cells."),
            page(Frame::signed_in("Ada Fenn", "guest", "Pieces"), vec![line], ""),
        ]
    }
}

impl Page for Chart {
    fn title(&self) -> String {
        self.line.title.clone()
    }

    fn samples() -> Vec<Self> {
        let place = |id, name: &str, place: &str| ScenePlace { id, name: name.into(), place: place.into() };
        let page = |frame, missing: &str, wrong: &str| Chart {
            frame,
            piece: "k3v9".into(),
            line: ChartLine {
                id: 1,
                title: "A quarter faster".into(),
                kind: "parts against a baseline",
                draft: missing.is_empty(),
                missing: missing.into(),
            },
            version: 2,
            own_title: "Average frame rate against Tarnwick Dunlin, 2160p native".into(),
            title: Field::of("A quarter faster"),
            note: Field::of("Open bench."),
            scenes: vec![place(1, "Driftglass, arena", "1"), place(2, "Tin Comet, corridor", "")],
            wrong_places: wrong.into(),
        };
        vec![
            page(Frame::sample("Pack"), "", ""),
            page(Frame::sample("Pack"), "no comparison is left", "'x' is no place: write a whole number."),
            page(Frame::signed_in("Ada Fenn", "guest", "Pieces"), "", ""),
        ]
    }
}
