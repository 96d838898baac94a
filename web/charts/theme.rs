//! Colours of charts, one value for each medium.
//!
//! Hues: Okabe & Ito (2008), Color Universal Design, darkened or lightened until a mark stands out 3:1 and text
//! 4.5:1 from its paper (WCAG 2.2, 1.4.11 and 1.4.3). A series also has its own shape, so that grey print works.

/// Series that can be told apart; a chart with more repeats them.
pub const SERIES: usize = 6;

/// Colours of a medium, as `#rrggbb`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Theme {
    pub(super) paper: &'static str,
    pub(super) line: &'static str,
    pub(super) soft: &'static str,
    pub(super) ink: &'static str,
    pub(super) series: [&'static str; SERIES],
}

impl Theme {
    /// For light pages and video on light ground.
    pub const LIGHT: Theme = Theme {
        paper: "#fbfcf9",
        line: "#cad7ca",
        soft: "#4b594f",
        ink: "#17211b",
        series: ["#0064a0", "#b34700", "#00704f", "#96416f", "#855800", "#2a759f"],
    };

    /// For dark pages and video on dark ground.
    pub const DARK: Theme = Theme {
        paper: "#111613",
        line: "#2d3831",
        soft: "#a5b2a9",
        ink: "#e3e9e3",
        series: ["#74c0f0", "#ff9355", "#3fc79d", "#e3a1c8", "#edb33f", "#9ad0ee"],
    };

    /// For print on white.
    pub const PRINT: Theme =
        Theme { paper: "#ffffff", line: "#cccccc", soft: "#4d4d4d", ink: "#000000", ..Theme::LIGHT };

    /// All themes with their names, for exports.
    pub const ALL: [(&'static str, Theme); 3] =
        [("light", Theme::LIGHT), ("dark", Theme::DARK), ("print", Theme::PRINT)];
}

/// A colour by what it is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Paint {
    Paper,
    Line,
    Soft,
    Ink,
    Series(usize),
}

impl Paint {
    pub(super) fn colour(self, theme: &Theme) -> &'static str {
        match self {
            Paint::Paper => theme.paper,
            Paint::Line => theme.line,
            Paint::Soft => theme.soft,
            Paint::Ink => theme.ink,
            Paint::Series(n) => theme.series[n % SERIES],
        }
    }

    /// End of the class name by which a page's style sheet knows it.
    pub(super) fn class(self) -> &'static str {
        match self {
            Paint::Paper => "paper",
            Paint::Line => "line",
            Paint::Soft => "soft",
            Paint::Ink => "ink",
            Paint::Series(n) => ["p0", "p1", "p2", "p3", "p4", "p5"][n % SERIES],
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Relative luminance and contrast ratio: WCAG 2.2, definitions.
    fn luminance(colour: &str) -> f64 {
        let channel = |at: usize| {
            let c = f64::from(u8::from_str_radix(&colour[at..at + 2], 16).unwrap()) / 255.0;
            if c <= 0.04045 { c / 12.92 } else { ((c + 0.055) / 1.055).powf(2.4) }
        };
        0.2126 * channel(1) + 0.7152 * channel(3) + 0.0722 * channel(5)
    }

    fn contrast(a: &str, b: &str) -> f64 {
        let (a, b) = (luminance(a), luminance(b));
        (a.max(b) + 0.05) / (a.min(b) + 0.05)
    }

    /// WCAG 2.2: black on white is 21:1; #767676 on white is the known limit of 4.5:1 (4.54).
    #[test]
    fn contrast_is_computed_as_published() {
        assert!((contrast("#000000", "#ffffff") - 21.0).abs() < 1e-9);
        assert!((contrast("#767676", "#ffffff") - 4.54).abs() < 0.005);
    }

    #[test]
    fn text_and_series_stand_out_from_paper_and_tint() {
        // The tints are those of the style sheet, on which pages write too.
        for ((name, theme), tint) in Theme::ALL.into_iter().zip(["#eff4ec", "#19201c", "#ffffff"]) {
            for ground in [theme.paper, tint] {
                for text in [theme.ink, theme.soft].into_iter().chain(theme.series) {
                    assert!(contrast(text, ground) >= 4.5, "{name}: {text} on {ground}");
                }
            }
        }
    }

    #[test]
    fn the_style_sheet_says_the_same_colours() {
        let css = include_str!("../static/weighhouse.css");
        for theme in [Theme::LIGHT, Theme::DARK] {
            let all = [theme.paper, theme.line, theme.soft, theme.ink].into_iter().chain(theme.series);
            for colour in all {
                assert!(css.contains(&format!(": {colour};")), "{colour}");
            }
        }
    }
}
