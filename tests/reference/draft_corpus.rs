//! Reads the sentences of `tests/data/draft` and counts how well the checker of drafts finds, links and judges.

use std::fs;
use std::path::PathBuf;

use weighhouse_measure::draft::{
    Checked, Currency, Form, Hedge, Kind, Known, LowBy, Sense, Source, Standing, Verdict, check,
};

/// A number of a sentence, as it truly is.
pub struct Truth {
    /// As it stands in the text.
    pub text: String,
    /// Kind, lower and upper value; the sign of a change where it is said.
    kind: Kind,
    low: f64,
    high: f64,
    sign: Option<Sense>,
    hedge: Hedge,
    /// Figure; empty: none.
    pub link: String,
    /// Verdict.
    pub verdict: Verdict,
}

/// A sentence with its numbers.
pub struct Entry {
    /// The text.
    pub text: String,
    form: Form,
    /// Its numbers in order.
    pub truths: Vec<Truth>,
}

/// How many of each.
#[derive(Clone, Copy, Debug, Default)]
pub struct Counts {
    /// Numbers in truth, found, and both alike in kind and value.
    pub true_numbers: usize,
    pub found: usize,
    pub right_found: usize,
    /// Of those: hedge and direction alike.
    pub right_hedges: usize,
    /// Links in truth, suggested, alike.
    pub true_links: usize,
    pub links: usize,
    pub right_links: usize,
    /// Verdicts alike, of numbers in truth and of numbers found.
    pub right_verdicts: usize,
}

fn file(name: &str) -> String {
    let path = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../../tests/data/draft").join(name);
    fs::read_to_string(&path).unwrap_or_else(|e| panic!("{}: {e}", path.display()))
}

/// The figures.
pub fn figures() -> Vec<Known> {
    let text = file("figures.txt");
    text.lines().filter(|l| !l.starts_with('#') && !l.is_empty()).map(figure).collect()
}

fn figure(line: &str) -> Known {
    let f: Vec<&str> = line.split('|').map(str::trim).collect();
    let [key, kind, value, places, measure, part, baseline, scene, standing, more] = f[..] else {
        panic!("{line}")
    };
    let mut known = Known {
        key: key.to_owned(),
        name: key.to_owned(),
        kind: kind_of(kind),
        value: value.parse().unwrap(),
        places: places.parse().unwrap(),
        measure: measure.to_owned(),
        part: part.to_owned(),
        baseline: baseline.to_owned(),
        scene: if scene == "overall" { String::new() } else { scene.to_owned() },
        setting: String::new(),
        overall: scene == "overall",
        standing: match standing {
            "agreed" => Standing::Agreed,
            "lapsed" => Standing::Lapsed,
            _ => Standing::NotAgreed,
        },
        was: None,
        once: Vec::new(),
        interval: None,
        low: measure.contains("1% low").then_some(LowBy::Quantile),
        source: Source::Measured,
    };
    for word in more.split(';').map(str::trim) {
        let w: Vec<&str> = word.split_whitespace().collect();
        match w[..] {
            ["interval", low, high] => known.interval = Some((low.parse().unwrap(), high.parse().unwrap())),
            ["was", was] => known.was = Some(was.parse().unwrap()),
            ["once", once] => known.once.push(once.parse().unwrap()),
            ["quoted"] => known.source = Source::Missing,
            ["quoted", ..] => known.source = Source::Named,
            _ => {}
        }
    }
    known
}

fn kind_of(word: &str) -> Kind {
    match word {
        "fps" => Kind::Fps,
        "W" => Kind::W,
        "ms" => Kind::Ms,
        "C" => Kind::C,
        "MHz" => Kind::MHz,
        "GB" => Kind::GB,
        "J" => Kind::J,
        "dB" => Kind::Db,
        "EUR" => Kind::Money(Currency::Eur),
        "USD" => Kind::Money(Currency::Usd),
        "GBP" => Kind::Money(Currency::Gbp),
        "scenes" => Kind::Scenes,
        "%" | "change" => Kind::Change,
        "x" => Kind::Times,
        _ => panic!("no kind: {word}"),
    }
}

/// The sentences of a file.
pub fn entries(name: &str) -> Vec<Entry> {
    let text = file(name);
    let blocks = text.split("\n\n").map(|block| block.lines().filter(|l| !l.starts_with("# ")).collect());
    blocks.map(|lines: Vec<&str>| entry(&lines)).filter(|e| !e.text.trim().is_empty()).fold(
        Vec::new(),
        |mut all: Vec<Entry>, next| {
            // A heading or list is set off by a blank line of its own: what has no truth and is followed by a list.
            if all.last().is_some_and(|last| last.text.starts_with("## ") && last.truths.is_empty()) {
                let last = all.pop().unwrap();
                all.push(Entry { text: format!("{}\n\n{}", last.text, next.text), ..next });
            } else {
                all.push(next);
            }
            all
        },
    )
}

fn entry(lines: &[&str]) -> Entry {
    let mut form = Form::Markdown;
    let mut text = Vec::new();
    let mut truths = Vec::new();
    for line in lines {
        match (*line, line.strip_prefix("  ")) {
            ("@srt", _) => form = Form::Srt,
            ("@vtt", _) => form = Form::Vtt,
            ("~", _) => text.push(""),
            (_, Some(says)) => truths.push(truth(says)),
            (line, None) => text.push(line),
        }
    }
    Entry { text: text.join("\n"), form, truths }
}

fn truth(line: &str) -> Truth {
    let f: Vec<&str> = line.split('|').map(str::trim).collect();
    let [text, value, hedge, link, verdict] = f[..] else { panic!("{line}") };
    let (kind, value) = value.split_once(' ').unwrap();
    let sign = match value.chars().next() {
        Some('+') => Some(Sense::More),
        Some('-') => Some(Sense::Less),
        _ => None,
    };
    let value = value.trim_start_matches(['+', '-']);
    let (low, high) = value.split_once("..").unwrap_or((value, value));
    let hedges = [
        Hedge::None,
        Hedge::About,
        Hedge::Nearly,
        Hedge::Under,
        Hedge::Over,
        Hedge::JustOver,
        Hedge::AtLeast,
        Hedge::UpTo,
        Hedge::Exactly,
    ];
    let word = |h: &Hedge| if *h == Hedge::None { "-".to_owned() } else { h.word().replace(' ', "-") };
    Truth {
        text: text.to_owned(),
        kind: kind_of(kind),
        low: low.parse().unwrap(),
        high: high.parse().unwrap(),
        sign,
        hedge: hedges.into_iter().find(|h| word(h) == hedge).unwrap_or_else(|| panic!("{line}")),
        link: if link == "-" { String::new() } else { link.to_owned() },
        verdict: Verdict::ALL
            .into_iter()
            .find(|v| v.key() == verdict)
            .unwrap_or_else(|| panic!("{line}: {verdict}")),
    }
}

fn alike(truth: &Truth, one: &Checked) -> bool {
    let close = |a: f64, b: f64| (a - b).abs() <= 1e-4 * b.abs().max(1.0);
    truth.kind.fits(one.number.kind)
        && (truth.kind.compares() || !one.number.kind.compares())
        && (truth.kind == one.number.kind || !truth.kind.compares())
        && close(one.number.low, truth.low)
        && close(one.number.high, truth.high)
}

/// Counts, and says in a line each what went otherwise.
pub fn count(entries: &[Entry], known: &[Known]) -> (Counts, Vec<String>) {
    let mut all = Counts::default();
    let mut says = Vec::new();
    for entry in entries {
        let checked = check(&entry.text, entry.form, known, &[]).numbers;
        let mut from = 0;
        let mut met = vec![false; checked.len()];
        all.found += checked.len();
        for truth in &entry.truths {
            let at = entry.text[from..]
                .find(&truth.text)
                .unwrap_or_else(|| panic!("'{}' is not in '{}'", truth.text, entry.text))
                + from;
            let span = at..at + truth.text.len();
            from = span.end;
            let over = |one: &Checked| one.number.span.start < span.end && span.start < one.number.span.end;
            let found = checked.iter().position(over);
            all.true_numbers += 1;
            all.true_links += usize::from(!truth.link.is_empty());
            let Some(at) = found else {
                says.push(format!("missed '{}' in: {}", truth.text, entry.text));
                continue;
            };
            met[at] = true;
            let one = &checked[at];
            let link = one.link.map_or(String::new(), |link| link.text(known));
            let value = alike(truth, one);
            let hedged = one.number.hedge == truth.hedge && truth.sign.is_none_or(|s| s == one.number.sense);
            all.right_found += usize::from(value);
            all.right_hedges += usize::from(value && hedged);
            all.links += usize::from(!link.is_empty());
            all.right_links += usize::from(!link.is_empty() && link == truth.link);
            all.right_verdicts += usize::from(one.judged.verdict == truth.verdict);
            if !value || !hedged || link != truth.link || one.judged.verdict != truth.verdict {
                says.push(format!(
                    "'{}' {:?} {}..{} {:?} {:?}: link '{link}' for '{}', {} for {} in: {}",
                    truth.text,
                    one.number.kind,
                    one.number.low,
                    one.number.high,
                    one.number.hedge,
                    one.number.sense,
                    truth.link,
                    one.judged.verdict.key(),
                    truth.verdict.key(),
                    entry.text
                ));
            }
        }
        for (one, _) in checked.iter().zip(met).filter(|(_, met)| !met) {
            all.links += usize::from(one.link.is_some());
            let text = entry.text.get(one.number.span.clone()).unwrap_or("");
            says.push(format!("too many: '{text}' {:?} in: {}", one.number.kind, entry.text));
        }
    }
    (all, says)
}
