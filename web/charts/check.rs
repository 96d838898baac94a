//! For tests: no text of a chart lies on another or leaves the sheet, and the picture keeps the content policy.

use scraper::{Html, Selector};

use super::text;

struct Label {
    words: String,
    left: f64,
    right: f64,
    top: f64,
    bottom: f64,
}

pub(crate) fn sound(svg: &str) {
    let html = Html::parse_fragment(svg);
    let root = html.select(&Selector::parse("svg").unwrap()).next().unwrap();
    let size = |name: &str| -> f64 { root.attr(name).unwrap().parse().unwrap() };
    let (width, height) = (size("width"), size("height"));
    let labels: Vec<Label> = html
        .select(&Selector::parse("text:not([transform])").unwrap())
        .map(|e| {
            let get = |name: &str| -> f64 { e.attr(name).unwrap().parse().unwrap() };
            let words: String = e.text().collect();
            let wide = text::width(&words, get("font-size"), e.attr("font-weight").is_some());
            let left = match e.attr("text-anchor") {
                Some("middle") => get("x") - wide / 2.0,
                Some("end") => get("x") - wide,
                _ => get("x"),
            };
            let (top, bottom) = (get("y") - get("font-size") * 0.72, get("y") + get("font-size") * 0.2);
            Label { words, left, right: left + wide, top, bottom }
        })
        .collect();
    assert!(!labels.is_empty());
    for (n, a) in labels.iter().enumerate() {
        let inside = a.left >= 0.0 && a.right <= width && a.top >= 0.0 && a.bottom <= height;
        assert!(inside, "'{}' leaves the sheet: {}..{} of {width}", a.words, a.left, a.right);
        for b in &labels[n + 1..] {
            let apart = a.right <= b.left || b.right <= a.left || a.bottom <= b.top || b.bottom <= a.top;
            assert!(apart, "'{}' lies on '{}'", a.words, b.words);
        }
    }
    for element in html.select(&Selector::parse("*").unwrap()) {
        assert!(!["style", "script"].contains(&element.value().name()));
        for (name, value) in element.value().attrs() {
            let clean = name != "style"
                && !name.starts_with("on")
                && !value.contains("NaN")
                && !value.contains("inf");
            assert!(clean, "{name}=\"{value}\"");
        }
    }
    assert!(svg.contains("<title id=") && svg.contains("<desc id="));
}

/// A name of 40 letters.
pub(crate) fn long_name(n: usize) -> String {
    format!("{:-<40}", format!("Wide Mountain Workshop Moorland {n} "))
}
