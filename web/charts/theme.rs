//! Colours of charts, one value for each medium.
//!
//! Hues: Okabe & Ito (2008), Color Universal Design, darkened or lightened until a mark stands out 3:1 and text
//! 4.5:1 from its paper (WCAG 2.2, 1.4.11 and 1.4.3). A series also has its own shape, so that grey print works.

use std::fmt;

/// Series that can be told apart; a chart with more repeats them.
pub const SERIES: usize = 6;

/// Contrast of text to its paper (WCAG 2.2, 1.4.3).
const TEXT: f64 = 4.5;

/// A colour of sRGB, written `#rrggbb`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Colour(u32);

impl Colour {
    /// Reads `#rrggbb`; `None` where it is something else.
    pub fn parse(text: &str) -> Option<Self> {
        let digits = text.strip_prefix('#').filter(|digits| digits.len() == 6)?;
        digits.chars().all(|c| c.is_ascii_hexdigit()).then_some(())?;
        u32::from_str_radix(digits, 16).ok().map(Colour)
    }

    fn channels(self) -> [u32; 3] {
        [16, 8, 0].map(|shift| (self.0 >> shift) & 0xff)
    }

    /// Relative luminance (WCAG 2.2, definitions).
    fn luminance(self) -> f64 {
        let linear = |channel: u32| {
            let c = f64::from(channel) / 255.0;
            if c <= 0.04045 { c / 12.92 } else { ((c + 0.055) / 1.055).powf(2.4) }
        };
        let [red, green, blue] = self.channels().map(linear);
        0.2126 * red + 0.7152 * green + 0.0722 * blue
    }

    /// Contrast ratio of two colours, 1 to 21 (WCAG 2.2, definitions).
    fn contrast(self, other: Colour) -> f64 {
        let (a, b) = (self.luminance(), other.luminance());
        (a.max(b) + 0.05) / (a.min(b) + 0.05)
    }

    /// So many hundredths of the way to another colour.
    fn towards(self, other: Colour, hundredths: u32) -> Colour {
        let both = self.channels().into_iter().zip(other.channels());
        let mixed = both.map(|(a, b)| (a * (100 - hundredths) + b * hundredths + 50) / 100);
        Colour(mixed.fold(0, |all, channel| all << 8 | channel))
    }

    /// The same hue, as far towards `ink` as it takes to be read on `paper`.
    fn readable(self, paper: Colour, ink: Colour) -> Colour {
        let mut steps = (0..=100).step_by(2).map(|hundredths| self.towards(ink, hundredths));
        steps.find(|colour| colour.contrast(paper) >= TEXT).unwrap_or(ink)
    }
}

impl fmt::Display for Colour {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "#{:06x}", self.0)
    }
}

/// Colours of a medium.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Theme {
    pub(super) paper: Colour,
    pub(super) line: Colour,
    pub(super) soft: Colour,
    pub(super) ink: Colour,
    pub(super) series: [Colour; SERIES],
    /// Whether the ground shows through: there is no paper.
    pub(super) clear: bool,
}

impl Theme {
    /// For light pages and video on light ground.
    pub const LIGHT: Theme = Theme {
        paper: Colour(0xfb_fc_f9),
        line: Colour(0xca_d7_ca),
        soft: Colour(0x4b_59_4f),
        ink: Colour(0x17_21_1b),
        series: [
            Colour(0x00_64_a0),
            Colour(0xb3_47_00),
            Colour(0x00_70_4f),
            Colour(0x96_41_6f),
            Colour(0x85_58_00),
            Colour(0x2a_75_9f),
        ],
        clear: false,
    };

    /// For dark pages and video on dark ground.
    pub const DARK: Theme = Theme {
        paper: Colour(0x11_16_13),
        line: Colour(0x2d_38_31),
        soft: Colour(0xa5_b2_a9),
        ink: Colour(0xe3_e9_e3),
        series: [
            Colour(0x74_c0_f0),
            Colour(0xff_93_55),
            Colour(0x3f_c7_9d),
            Colour(0xe3_a1_c8),
            Colour(0xed_b3_3f),
            Colour(0x9a_d0_ee),
        ],
        clear: false,
    };

    /// For print on white.
    pub const PRINT: Theme = Theme {
        paper: Colour(0xff_ff_ff),
        line: Colour(0xcc_cc_cc),
        soft: Colour(0x4d_4d_4d),
        ink: Colour(0x00_00_00),
        ..Theme::LIGHT
    };

    /// All themes with their names, for exports: the last two let the ground show through, a light and a dark one.
    pub const ALL: [(&'static str, Theme); 5] = [
        ("light", Theme::LIGHT),
        ("dark", Theme::DARK),
        ("print", Theme::PRINT),
        ("clear", Theme { clear: true, ..Theme::LIGHT }),
        ("clear-dark", Theme { clear: true, ..Theme::DARK }),
    ];

    /// With the team's own colour for the first series, darkened or lightened until it is read on the paper.
    #[must_use]
    pub fn accented(self, accent: Colour) -> Theme {
        let mut theme = self;
        theme.series[0] = accent.readable(self.paper, self.ink);
        theme
    }
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
    pub(super) fn colour(self, theme: &Theme) -> Colour {
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

    fn colour(text: &str) -> Colour {
        Colour::parse(text).unwrap()
    }

    /// WCAG 2.2: black on white is 21:1; #767676 on white is the known limit of 4.5:1 (4.54).
    #[test]
    fn contrast_is_computed_as_published() {
        assert!((colour("#000000").contrast(colour("#ffffff")) - 21.0).abs() < 1e-9);
        assert!((colour("#767676").contrast(colour("#ffffff")) - 4.54).abs() < 0.005);
    }

    #[test]
    fn text_and_series_stand_out_from_paper_and_tint() {
        // The tints are those of the style sheet, on which pages write too.
        for ((name, theme), tint) in Theme::ALL.into_iter().zip(["#eff4ec", "#19201c", "#ffffff"]) {
            for ground in [theme.paper, colour(tint)] {
                for text in [theme.ink, theme.soft].into_iter().chain(theme.series) {
                    assert!(text.contrast(ground) >= TEXT, "{name}: {text} on {ground}");
                }
            }
        }
    }

    #[test]
    fn an_accent_keeps_its_hue_and_is_read_on_each_paper() {
        for (_, theme) in Theme::ALL {
            for accent in ["#ffe600", "#0000ff", "#777777", "#ffffff", "#000000"] {
                let own = theme.accented(colour(accent));
                assert!(own.series[0].contrast(theme.paper) >= TEXT, "{accent} became {}", own.series[0]);
                assert_eq!(own.series[1..], theme.series[1..]);
            }
        }
        let fine = colour("#0a4d8c");
        assert_eq!(Theme::LIGHT.accented(fine).series[0], fine, "what is read stays as it is");
    }

    #[test]
    fn a_colour_is_read_as_it_is_written() {
        assert_eq!(colour("#00AAff").to_string(), "#00aaff");
        for wrong in ["", "red", "#12345", "#1234567", "#12345g", "123456", "#+12345"] {
            assert_eq!(Colour::parse(wrong), None, "{wrong}");
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
