//! Widths of text in the bundled font, so that labels are placed where they fit and never on each other.

use std::sync::LazyLock;

use ttf_parser::Face;

struct Faces {
    regular: Option<Face<'static>>,
    bold: Option<Face<'static>>,
}

static FACES: LazyLock<Faces> = LazyLock::new(|| Faces {
    regular: Face::parse(notosans::REGULAR_TTF, 0).ok(),
    bold: Face::parse(notosans::BOLD_TTF, 0).ok(),
});

/// Width of `text` in user units at a font size. Kerning is not counted: it only makes text narrower here.
pub(super) fn width(text: &str, size: f64, bold: bool) -> f64 {
    let Some(face) = (if bold { &FACES.bold } else { &FACES.regular }) else {
        return 0.0;
    };
    let units: u64 = text
        .chars()
        .map(|c| {
            let glyph = face.glyph_index(c).unwrap_or(ttf_parser::GlyphId(0));
            u64::from(face.glyph_hor_advance(glyph).unwrap_or(0))
        })
        .sum();
    units as f64 * size / f64::from(face.units_per_em())
}

/// Breaks `text` at spaces into lines no wider than `most`; a single word that is wider is cut.
pub(super) fn wrap(text: &str, size: f64, bold: bool, most: f64) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in text.split(' ').filter(|word| !word.is_empty()) {
        let longer = lines.last().map(|line| format!("{line} {word}"));
        match (longer, lines.last_mut()) {
            (Some(longer), Some(line)) if width(&longer, size, bold) <= most => *line = longer,
            _ => lines.push(cut(word, size, bold, most)),
        }
    }
    lines
}

/// At most `lines` lines; what does not fit ends in an ellipsis.
pub(super) fn wrap_to(text: &str, size: f64, bold: bool, most: f64, lines: usize) -> Vec<String> {
    let mut all = wrap(text, size, bold, most);
    if all.len() > lines && lines > 0 {
        let rest = all.split_off(lines - 1).join(" ");
        all.push(cut(&rest, size, bold, most));
    }
    all
}

/// `text`, or as much of it as fits with an ellipsis behind.
pub(super) fn cut(text: &str, size: f64, bold: bool, most: f64) -> String {
    if width(text, size, bold) <= most {
        return text.to_owned();
    }
    let mut kept = text.to_owned();
    while kept.pop().is_some() {
        let shown = format!("{}…", kept.trim_end());
        if width(&shown, size, bold) <= most {
            return shown;
        }
    }
    String::new()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The advance widths of the digits in the font's own `hmtx` table are equal: figures stand under each other.
    #[test]
    fn digits_are_tabular() {
        let widths: Vec<f64> = "0123456789".chars().map(|c| width(&c.to_string(), 13.0, false)).collect();
        assert!(widths.iter().all(|w| (w - widths[0]).abs() < 1e-12));
        assert!(widths[0] > 5.0 && widths[0] < 9.0);
    }

    #[test]
    fn text_is_wrapped_and_cut_to_its_place() {
        let text = "Saltmarsh Couriers, causeway at low tide, long way round";
        for most in [60.0, 90.0, 120.0] {
            let lines = wrap_to(text, 13.0, false, most, 2);
            assert!(lines.len() <= 2 && lines.iter().all(|line| width(line, 13.0, false) <= most));
            assert!(lines.last().unwrap().ends_with('…'), "{lines:?}");
        }
        assert_eq!(wrap(text, 13.0, false, 1e6), [text]);
        assert_eq!(cut("abc", 13.0, false, 0.5), "");
    }

    /// Signs that the formats use must be in the font, or an exported chart shows boxes.
    #[test]
    fn the_font_has_every_sign_in_use() {
        let face = FACES.regular.as_ref().unwrap();
        for sign in "+−–±·×≥…°µ%\u{a0}\u{202f}".chars() {
            assert!(face.glyph_index(sign).is_some(), "{sign:?} U+{:04X}", u32::from(sign));
        }
    }
}
