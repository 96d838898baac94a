//! A chart as a picture that leaves the house: shape, ground and form as an address asks for them.

use axum::http::header::{CONTENT_DISPOSITION, CONTENT_TYPE};
use axum::response::{IntoResponse as _, Response};
use weighhouse_web::charts::{Colour, Picture, Shape, Theme, png};
use weighhouse_web::pages::WIDTHS;

use crate::http::sent::Sent;
use crate::work::pack::file_name;
use crate::work::{Internal, Kind, Refusal, Result};

/// What an address asks for.
#[derive(Clone, Copy, Debug)]
pub(super) struct Export {
    theme: Theme,
    shape: Shape,
    /// Width of a PNG, pixels; `None`: SVG.
    width: Option<u32>,
    /// Whether to be saved rather than looked at.
    save: bool,
}

impl Export {
    /// Reads `theme`, `shape`, `form` and `save`; what is not said is light, as wide as a page, SVG, looked at.
    ///
    /// # Errors
    /// Refused when there is none of that name.
    pub(super) fn asked(query: &Sent, accent: Option<Colour>) -> Result<Self> {
        let theme = named("theme", query.text("theme"), &Theme::ALL)?;
        Ok(Export {
            theme: accent.map_or(theme, |accent| theme.accented(accent)),
            shape: named("shape", query.text("shape"), &Shape::ALL)?,
            width: width(query.text("form"))?,
            save: !query.text("save").is_empty(),
        })
    }

    /// The picture as an answer; `title` names its file.
    pub(super) async fn answer(self, picture: Box<dyn Picture + Send>, title: &str) -> Result<Response> {
        let drawn = tokio::task::spawn_blocking(move || self.bytes(picture.as_ref()));
        let bytes = drawn.await.map_err(|e| Internal(format!("drawing: {e}")))??;
        let (kind, ending) =
            if self.width.is_some() { ("image/png", "png") } else { ("image/svg+xml", "svg") };
        let mut answer = ([(CONTENT_TYPE, kind)], bytes).into_response();
        if self.save {
            let ascii: String = file_name(title).chars().filter(char::is_ascii).collect();
            let name = format!("attachment; filename=\"{ascii}.{ending}\"");
            let name = name.parse().map_err(|e| Internal(format!("a file name: {e}")))?;
            answer.headers_mut().insert(CONTENT_DISPOSITION, name);
        }
        Ok(answer)
    }

    fn bytes(self, picture: &dyn Picture) -> Result<Vec<u8>> {
        let svg = picture.shaped(&self.theme, self.shape);
        match self.width {
            None => Ok(svg.into_bytes()),
            Some(width) => Ok(png::wide(&svg, width).map_err(|e| Internal(format!("a picture: {e}")))?),
        }
    }
}

/// The one of this name; the first where none is named.
fn named<T: Copy>(field: &'static str, name: &str, all: &[(&'static str, T)]) -> Result<T> {
    let found = all.iter().find(|(known, _)| name.is_empty() || *known == name).map(|(_, one)| *one);
    found.ok_or_else(|| {
        let known: Vec<&str> = all.iter().map(|(known, _)| *known).collect();
        not_drawn(
            format!("'{name}' is no {field} of a chart."),
            format!("It is one of {}.", known.join(", ")),
        )
        .into()
    })
}

fn width(form: &str) -> Result<Option<u32>> {
    if form.is_empty() || form == "svg" {
        return Ok(None);
    }
    let found = WIDTHS.into_iter().find(|width| width.to_string() == form);
    found.map(Some).ok_or_else(|| {
        let says = format!("'{form}' is no form of a chart.");
        not_drawn(says, format!("It is svg, or the width of a PNG: {} or {}.", WIDTHS[0], WIDTHS[1])).into()
    })
}

pub(super) fn not_drawn(says: String, mend: String) -> Refusal {
    Refusal::new(Kind::Invalid, "Not drawn", says, mend)
}
