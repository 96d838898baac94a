//! The checked text to take away: with a footnote behind each number, or its numbers as a table.

use weighhouse_measure::draft::{Checked as Number, Form, Kind, Known, Link, Source};
use weighhouse_web::{format, told};

use super::{Checked, Text};
use crate::work::pack::tables::{self, Table};

/// What a number quotes, in words: a figure's name, 'A over B', 'A less B'; empty where it quotes nothing.
pub fn name(known: &[Known], link: Option<Link>) -> String {
    let name = |at: usize| known.get(at).map_or("", |k| k.name.as_str());
    match link {
        None => String::new(),
        Some(Link::Figure(a)) => name(a).to_owned(),
        Some(Link::Ratio(a, b)) => format!("{}, over {}", name(a), name(b)),
        Some(Link::Difference(a, b)) => format!("{}, less {}", name(a), name(b)),
    }
}

/// What its figure says, as it would be printed in the number's place; empty where there is none.
pub fn right(known: &[Known], number: &Number) -> String {
    let Some((kind, value)) = number.judged.right else { return String::new() };
    let places = match number.link {
        Some(Link::Figure(at)) => {
            let agreed = known.get(at).map_or(0, |k| k.places);
            if kind == Kind::Times { agreed + 2 } else { agreed }
        }
        _ => format::places_of(number.number.step),
    };
    format::in_text(kind, value, places)
}

/// A verdict in a sentence.
pub fn says(known: &[Known], number: &Number) -> String {
    told::says(number.judged.verdict, &right(known, number), number.judged.cents)
}

/// The text with footnotes, as Markdown; of subtitles, whose form has none, the notes alone.
pub fn notes(text: &Text, checked: &Checked, head: &str) -> String {
    let mut out = String::new();
    let mut from = 0;
    if matches!(text.form, Form::Plain | Form::Markdown) {
        for (at, number) in checked.report.numbers.iter().enumerate() {
            let end = number.number.span.end;
            out.push_str(text.body.get(from..end).unwrap_or(""));
            out.push_str(&format!("[^{}]", at + 1));
            from = end;
        }
        out.push_str(text.body.get(from..).unwrap_or(""));
        out.push_str("\n\n");
    }
    for (at, number) in checked.report.numbers.iter().enumerate() {
        let name = name(&checked.known, number.link);
        let written = text.body.get(number.number.span.clone()).unwrap_or("");
        let of = if name.is_empty() { String::new() } else { format!(" {name}.") };
        let verdict = told::word(number.judged.verdict);
        let says = says(&checked.known, number);
        out.push_str(&format!("[^{}]: '{written}':{of} {}. {says}\n", at + 1, format::sentence(verdict)));
    }
    out.push_str(&format!("\nAudit trail: {head}\n"));
    out
}

/// A row for each number.
pub fn table(text: &Text, checked: &Checked) -> String {
    let mut table = Table::new(&["number", "written", "quotes", "confirmed", "verdict", "right", "source"]);
    for (at, number) in checked.report.numbers.iter().enumerate() {
        let figures = number.link.map(Link::figures).unwrap_or_default();
        let sources = figures.iter().filter_map(|at| checked.known.get(*at)).map(|k| match k.source {
            Source::Measured => "measured",
            Source::Named => "quoted, with its source",
            Source::Missing => "quoted, without a source",
        });
        let sources: std::collections::BTreeSet<&str> = sources.collect();
        table.row([
            (at + 1).to_string(),
            tables::words(text.body.get(number.number.span.clone()).unwrap_or("")),
            tables::words(&name(&checked.known, number.link)),
            if number.confirmed { "yes" } else { "no" }.to_owned(),
            told::word(number.judged.verdict).to_owned(),
            tables::words(&right(&checked.known, number)),
            sources.into_iter().collect::<Vec<_>>().join("; "),
        ]);
    }
    table.into_text()
}
