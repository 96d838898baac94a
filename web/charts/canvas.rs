//! A sheet to draw on: SVG elements with escaped text and colours as presentation attributes.

use std::fmt::Write as _;

use super::sheet::Sheet;
use super::text;
use super::theme::{Paint, Theme};

/// Name of the bundled face inside pictures.
pub(super) const FONT: &str = "Noto Sans";

/// Where a text stands relative to its point.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Anchor {
    Start,
    Middle,
    End,
}

/// How a text looks.
#[derive(Clone, Copy, Debug)]
pub(super) struct Type {
    pub size: f64,
    pub bold: bool,
    pub paint: Paint,
    pub anchor: Anchor,
}

impl Type {
    pub(super) const fn plain(size: f64, paint: Paint) -> Self {
        Type { size, bold: false, paint, anchor: Anchor::Start }
    }

    pub(super) const fn bold(self) -> Self {
        Type { bold: true, ..self }
    }

    pub(super) const fn at(self, anchor: Anchor) -> Self {
        Type { anchor, ..self }
    }

    pub(super) fn width(self, words: &str) -> f64 {
        text::width(words, self.size, self.bold)
    }
}

/// A sheet of a width; its height is known when all is drawn.
pub(super) struct Canvas<'a> {
    body: String,
    theme: &'a Theme,
    pub width: f64,
    /// The height that the sheet is filled up to.
    pub height: Option<f64>,
}

/// A coordinate with at most two decimals: finer than a printer, and the same bytes everywhere.
pub(super) fn number(value: f64) -> String {
    let text = format!("{value:.2}");
    let text = text.trim_end_matches('0').trim_end_matches('.');
    if text == "-0" || text.is_empty() { "0".to_owned() } else { text.to_owned() }
}

/// Escapes text for SVG content and attributes, and drops what XML 1.0 (section 2.2) does not allow.
pub(super) fn escape(words: &str) -> String {
    let mut out = String::with_capacity(words.len());
    for c in words.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            '\t' | '\n' | '\r' => out.push(' '),
            c if c.is_control() || matches!(c, '\u{fffe}' | '\u{ffff}') => {}
            c => out.push(c),
        }
    }
    out
}

impl<'a> Canvas<'a> {
    pub(super) fn new(sheet: Sheet, theme: &'a Theme) -> Self {
        let Sheet { width, height, .. } = sheet;
        Canvas { body: String::with_capacity(8 * 1024), theme, width, height }
    }

    fn put(&mut self, args: std::fmt::Arguments<'_>) {
        // Writing to a String cannot fail.
        let _ = self.body.write_fmt(args);
    }

    fn fill(&self, paint: Paint) -> String {
        format!("class=\"f-{}\" fill=\"{}\"", paint.class(), paint.colour(self.theme))
    }

    fn stroke(&self, paint: Paint, width: f64) -> String {
        let (class, colour) = (paint.class(), paint.colour(self.theme));
        format!("class=\"s-{class}\" fill=\"none\" stroke=\"{colour}\" stroke-width=\"{}\"", number(width))
    }

    pub(super) fn line(&mut self, from: (f64, f64), to: (f64, f64), paint: Paint, width: f64) {
        self.path(
            &format!("M{} {}L{} {}", number(from.0), number(from.1), number(to.0), number(to.1)),
            paint,
            width,
        );
    }

    pub(super) fn dashed(&mut self, from: (f64, f64), to: (f64, f64), paint: Paint) {
        let d = format!("M{} {}L{} {}", number(from.0), number(from.1), number(to.0), number(to.1));
        let stroke = self.stroke(paint, 1.0);
        self.put(format_args!("<path d=\"{d}\" {stroke} stroke-dasharray=\"3 3\"/>"));
    }

    pub(super) fn path(&mut self, d: &str, paint: Paint, width: f64) {
        let stroke = self.stroke(paint, width);
        self.put(format_args!("<path d=\"{d}\" {stroke} stroke-linejoin=\"round\"/>"));
    }

    /// `opacity` from 0 to 1.
    pub(super) fn rect(&mut self, at: (f64, f64), size: (f64, f64), paint: Paint, opacity: f64) {
        let fill = self.fill(paint);
        let (x, y, w, h) = (number(at.0), number(at.1), number(size.0.max(0.0)), number(size.1.max(0.0)));
        let opacity =
            if opacity < 1.0 { format!(" fill-opacity=\"{}\"", number(opacity)) } else { String::new() };
        self.put(format_args!("<rect x=\"{x}\" y=\"{y}\" width=\"{w}\" height=\"{h}\" {fill}{opacity}/>"));
    }

    pub(super) fn area(&mut self, d: &str, paint: Paint) {
        let fill = self.fill(paint);
        self.put(format_args!("<path d=\"{d}\" {fill}/>"));
    }

    /// A faint area; `opacity` from 0 to 1.
    pub(super) fn shade(&mut self, d: &str, paint: Paint, opacity: f64) {
        let (fill, opacity) = (self.fill(paint), number(opacity));
        self.put(format_args!("<path d=\"{d}\" {fill} fill-opacity=\"{opacity}\"/>"));
    }

    pub(super) fn text(&mut self, at: (f64, f64), words: &str, look: Type) {
        if words.is_empty() {
            return;
        }
        let fill = self.fill(look.paint);
        let anchor = match look.anchor {
            Anchor::Start => "",
            Anchor::Middle => " text-anchor=\"middle\"",
            Anchor::End => " text-anchor=\"end\"",
        };
        let weight = if look.bold { " font-weight=\"700\"" } else { "" };
        let (x, y, size) = (number(at.0), number(at.1), number(look.size));
        // Where the face is not at hand another one is fitted to the width that labels are placed by (SVG 2, 11.4.2).
        let wide = number(look.width(words));
        let words = escape(words);
        self.put(format_args!(
            "<text x=\"{x}\" y=\"{y}\" font-size=\"{size}\"{weight}{anchor} textLength=\"{wide}\" \
             lengthAdjust=\"spacingAndGlyphs\" {fill}>{words}</text>"
        ));
    }

    /// The shape of a series: disc, square, triangle, diamond, upturned triangle, cross.
    pub(super) fn dot(&mut self, at: (f64, f64), radius: f64, series: usize) {
        self.marker(at, radius, series, Paint::Series(series));
    }

    /// The shape of a series in another colour.
    pub(super) fn marker(&mut self, (x, y): (f64, f64), r: f64, series: usize, paint: Paint) {
        let corners: &[(f64, f64)] = match series % super::theme::SERIES {
            0 => {
                let fill = self.fill(paint);
                let (x, y, r) = (number(x), number(y), number(r));
                self.put(format_args!("<circle cx=\"{x}\" cy=\"{y}\" r=\"{r}\" {fill}/>"));
                return;
            }
            1 => &[(-0.9, -0.9), (0.9, -0.9), (0.9, 0.9), (-0.9, 0.9)],
            2 => &[(0.0, -1.15), (1.1, 0.85), (-1.1, 0.85)],
            3 => &[(0.0, -1.25), (1.25, 0.0), (0.0, 1.25), (-1.25, 0.0)],
            4 => &[(0.0, 1.15), (1.1, -0.85), (-1.1, -0.85)],
            _ => &[
                (-0.35, -1.0),
                (0.35, -1.0),
                (0.35, -0.35),
                (1.0, -0.35),
                (1.0, 0.35),
                (0.35, 0.35),
                (0.35, 1.0),
                (-0.35, 1.0),
                (-0.35, 0.35),
                (-1.0, 0.35),
                (-1.0, -0.35),
                (-0.35, -0.35),
            ],
        };
        let mut d = String::new();
        for (n, (dx, dy)) in corners.iter().enumerate() {
            let _ =
                write!(d, "{}{} {}", if n == 0 { 'M' } else { 'L' }, number(x + dx * r), number(y + dy * r));
        }
        d.push('Z');
        self.area(&d, paint);
    }

    /// A line of the paper's colour below another one, where there is paper.
    pub(super) fn halo(&mut self, d: &str, width: f64) {
        if !self.theme.clear {
            self.path(d, Paint::Paper, width);
        }
    }

    /// An interval: a line with ends `cap` high to each side, on a halo so that it reads on dark bars.
    pub(super) fn interval(&mut self, (low, high): (f64, f64), y: f64, cap: f64, paint: Paint, weight: f64) {
        let d = format!(
            "M{0} {3}V{4}M{0} {2}H{1}M{1} {3}V{4}",
            number(low),
            number(high),
            number(y),
            number(y - cap),
            number(y + cap)
        );
        self.halo(&d, weight + 2.0);
        self.path(&d, paint, weight);
    }

    /// Says to a screen reader and to the pointer what all that `draw` draws means.
    pub(super) fn group(&mut self, says: &str, draw: impl FnOnce(&mut Self)) {
        let says = escape(says);
        self.put(format_args!("<g><title>{says}</title>"));
        draw(self);
        self.body.push_str("</g>");
    }

    /// The word across a picture that nobody agreed on.
    pub(super) fn across(&mut self, word: &str, (x, y): (f64, f64), size: f64) {
        let fill = self.fill(Paint::Ink);
        let (x, y, size) = (number(x), number(y), number(size));
        self.put(format_args!(
            "<text x=\"{x}\" y=\"{y}\" font-size=\"{size}\" font-weight=\"700\" text-anchor=\"middle\" \
             fill-opacity=\"0.1\" transform=\"rotate(-18 {x} {y})\" {fill}>{word}</text>"
        ));
    }

    /// The finished picture. `attributes` are further ones of the root, ready to print.
    pub(super) fn finish(self, height: f64, id: &str, title: &str, desc: &str, attributes: &str) -> String {
        let (w, h) = (number(self.width), number(height));
        let ground = if self.theme.clear {
            String::new()
        } else {
            format!("<rect width=\"{w}\" height=\"{h}\" {}/>", self.fill(Paint::Paper))
        };
        let (id, title, desc) = (escape(id), escape(title), escape(desc));
        format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {w} {h}\" width=\"{w}\" height=\"{h}\" \
             role=\"img\" aria-labelledby=\"{id}-title {id}-desc\" font-family=\"{FONT}, sans-serif\"{attributes}>\
             <title id=\"{id}-title\">{title}</title><desc id=\"{id}-desc\">{desc}</desc>\
             {ground}{}</svg>",
            self.body
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn text_cannot_leave_its_element() {
        assert_eq!(escape("a<b>&\"'\u{0}\u{8}"), "a&lt;b&gt;&amp;&quot;&#39;");
        let mut canvas = Canvas::new(Sheet::wide(100.0), &Theme::LIGHT);
        canvas.text((0.0, 10.0), "</text><script>x</script>", Type::plain(10.0, Paint::Ink));
        let svg = canvas.finish(20.0, "a", "t", "d", "");
        assert!(!svg.contains("<script"));
    }

    #[test]
    fn coordinates_are_short_and_have_no_negative_zero() {
        for (value, want) in [(1.0, "1"), (1.256, "1.26"), (-0.001, "0"), (100.0, "100"), (-2.5, "-2.5")] {
            assert_eq!(number(value), want);
        }
    }
}
