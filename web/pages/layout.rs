//! What the columns of a log are, where that is not certain: first rows, ways to read it, and a question.

use askama::Template;
use serde::Serialize;
use weighhouse_measure::intake::Column;

use super::{Frame, Page};

/// The question about a capture.
#[derive(Template, Serialize)]
#[template(path = "layout.html")]
pub struct Layout {
    #[serde(skip)]
    /// Around the page.
    pub frame: Frame,
    /// Number of the capture.
    pub capture: i64,
    /// Its version.
    pub version: i64,
    /// File name.
    pub file: String,
    /// Why it is not certain.
    pub why: String,
    /// Its columns, with what is known or guessed of each.
    pub columns: Vec<Column>,
    /// First rows as written.
    pub rows: Vec<Vec<String>>,
    /// Ways to read it with what each would give, the likeliest first.
    pub candidates: Vec<String>,
    /// Whether its rows are frames, as far as is known.
    pub frames: bool,
    #[serde(skip)]
    /// Key of the piece that one came from; empty: none.
    pub piece: String,
    #[serde(skip)]
    /// What was refused; empty when nothing was.
    pub refused: String,
}

impl Page for Layout {
    fn title(&self) -> String {
        format!("Columns of {}", self.file)
    }

    fn samples() -> Vec<Self> {
        use weighhouse_measure::recording::{Role, Unit};
        let column = |index, name: &str, role, unit| Column {
            index,
            name: name.to_owned(),
            role,
            unit,
            why: "its unit is not named".to_owned(),
        };
        let page = |role: &str, refused: &str| Layout {
            frame: Frame::signed_in("Maren Oake", role, ""),
            capture: 9,
            version: 1,
            file: "bench.csv".to_owned(),
            why: "'took' could be milliseconds or microseconds.".to_owned(),
            columns: vec![
                column(1, "at", Role::Elapsed, Unit::Second),
                column(2, "took", Role::FrameTime, Unit::None),
            ],
            rows: vec![vec!["0.0".to_owned(), "8.1".to_owned()], vec!["0.0081".to_owned(), "8.3".to_owned()]],
            candidates: vec!["'took' is frame time in ms (8243 frames in 60.000 s, 137.383 fps)".to_owned()],
            frames: true,
            piece: "k3v9".to_owned(),
            refused: refused.to_owned(),
        };
        vec![page("member", ""), page("member", "Column 2 (took) needs a unit of time."), page("guest", "")]
    }
}
