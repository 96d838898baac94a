//! Pictures as PNG: the same SVG, drawn with the bundled font and no other.

use std::sync::{Arc, LazyLock};

use resvg::{tiny_skia, usvg};

/// Why a picture could not be made.
#[derive(Debug, thiserror::Error)]
pub enum PngError {
    /// The SVG is not well formed.
    #[error("the chart is no valid SVG: {0}")]
    Svg(#[from] usvg::Error),
    /// Zero or more pixels than can be had.
    #[error("a picture of {width} x {height} pixels cannot be made; choose a scale from 0.1 to 8")]
    Size {
        /// Pixels.
        width: u32,
        /// Pixels.
        height: u32,
    },
    /// The encoder refused.
    #[error("the picture could not be encoded: {0}")]
    Encode(String),
}

/// Only the bundled faces: a chart looks the same on each machine, or fails a test.
static FONTS: LazyLock<Arc<usvg::fontdb::Database>> = LazyLock::new(|| {
    let mut fonts = usvg::fontdb::Database::new();
    fonts.load_font_data(notosans::REGULAR_TTF.to_vec());
    fonts.load_font_data(notosans::BOLD_TTF.to_vec());
    Arc::new(fonts)
});

/// Draws an SVG at `scale` pixels a unit (2 for print and video).
///
/// # Errors
/// When the SVG is not well formed or the picture would have no pixels or too many.
pub fn from_svg(svg: &str, scale: f32) -> Result<Vec<u8>, PngError> {
    let tree = tree(svg)?;
    let scale = scale.clamp(0.1, 8.0);
    let size = tree.size().to_int_size().scale_by(scale).unwrap_or(tree.size().to_int_size());
    encoded(&tree, (size.width(), size.height()), scale)
}

/// Draws an SVG so many pixels wide; its height follows.
///
/// # Errors
/// As [`from_svg`].
pub fn wide(svg: &str, width: u32) -> Result<Vec<u8>, PngError> {
    let tree = tree(svg)?;
    let size = tree.size().to_int_size();
    let height = (size.height() * width + size.width() / 2) / size.width();
    encoded(&tree, (width, height), width as f32 / tree.size().width())
}

fn tree(svg: &str) -> Result<usvg::Tree, PngError> {
    let options = usvg::Options {
        fontdb: Arc::clone(&FONTS),
        font_family: super::canvas::FONT.into(),
        ..Default::default()
    };
    Ok(usvg::Tree::from_str(svg, &options)?)
}

fn encoded(tree: &usvg::Tree, (width, height): (u32, u32), scale: f32) -> Result<Vec<u8>, PngError> {
    let mut pixels = tiny_skia::Pixmap::new(width, height).ok_or(PngError::Size { width, height })?;
    resvg::render(tree, tiny_skia::Transform::from_scale(scale, scale), &mut pixels.as_mut());
    pixels.encode_png().map_err(|e| PngError::Encode(e.to_string()))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn picture(body: &str) -> tiny_skia::Pixmap {
        let svg = format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"200\" height=\"40\" font-family=\"Noto Sans\">{body}</svg>"
        );
        tiny_skia::Pixmap::decode_png(&from_svg(&svg, 1.0).unwrap()).unwrap()
    }

    fn inked(pixels: &tiny_skia::Pixmap) -> usize {
        pixels.pixels().iter().filter(|p| p.alpha() > 128).count()
    }

    /// Text vanishes without a word where no font is found: count what was drawn, in both weights.
    #[test]
    fn glyphs_are_drawn() {
        assert_eq!(inked(&picture("")), 0);
        let regular = inked(&picture("<text x=\"4\" y=\"30\" font-size=\"24\">124.01 fps</text>"));
        let bold =
            inked(&picture("<text x=\"4\" y=\"30\" font-size=\"24\" font-weight=\"700\">124.01 fps</text>"));
        assert!(regular > 300, "{regular}");
        assert!(bold > regular * 11 / 10, "{bold} of {regular}");
    }

    /// The width that labels are placed by is the width that is drawn, to a pixel and a half.
    #[test]
    fn measured_and_drawn_widths_agree() {
        let words = "Hollow Regatta 0123456789";
        let pixels = picture(&format!("<text x=\"0\" y=\"30\" font-size=\"14\">{words}</text>"));
        let last =
            (0..200).rev().find(|x| (0..40).any(|y| pixels.pixel(*x, y).unwrap().alpha() > 40)).unwrap();
        let measured = super::super::text::width(words, 14.0, false);
        // The right edge of the last pixel; the last digit keeps less than a pixel of white to its right.
        assert!((f64::from(last + 1) - measured).abs() < 1.5, "{last} against {measured}");
    }

    #[test]
    fn a_picture_is_as_wide_as_asked() {
        let svg = "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"1136\" height=\"639\"><rect width=\"9\" height=\"9\"/></svg>";
        for (width, height) in [(1920, 1080), (3840, 2160)] {
            let pixels = tiny_skia::Pixmap::decode_png(&wide(svg, width).unwrap()).unwrap();
            assert_eq!((pixels.width(), pixels.height()), (width, height));
        }
        assert!(wide(svg, 0).is_err());
    }

    #[test]
    fn what_is_no_picture_is_refused_in_words() {
        assert!(from_svg("no svg", 1.0).unwrap_err().to_string().contains("no valid SVG"));
    }
}
