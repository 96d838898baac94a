//! A zoo of invented layouts, each with its truth: what is read right, asked rightly, refused rightly, and what is
//! misread without a word.
//!
//! Common practice, no source: tables are written with these delimiters, marks, encodings and words. No layout is
//! that of a known program.
#![expect(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

mod columns;
mod dice;
mod dress;
mod layouts;
mod plots;
mod same;
mod words;

use std::collections::BTreeMap;
use std::io::Cursor;
use std::time::Duration;

use weighhouse_measure::intake::{Candidate, Known, Outcome, Segment, read_log};
use weighhouse_measure::recording::Kind;

use self::layouts::{Animal, Truth, animal};

/// How many layouts the test reads; others by `ZOO=FROM..TO`. `ZOO_SAYS=FILE` writes what came of them there.
const LAYOUTS: u64 = 420;

#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Judged {
    ReadRight,
    AskedRightly,
    RefusedRightly,
    AskedWrongly,
    RefusedWrongly,
    SilentMisread,
}

fn seconds_of(segments: &[Segment]) -> Vec<(usize, i64)> {
    segments.iter().map(|s| (s.recording.frame_ns.len(), s.recording.frame_ns.iter().sum())).collect()
}

/// Same frames, and the same time to the digits written.
fn same(got: (usize, i64), want: (usize, i64), slack_ns: i64) -> bool {
    let digits = i64::try_from(want.0).unwrap() / 20 + want.1 / 10_000_000 + 20_000;
    got.0 == want.0 && (got.1 - want.1).abs() <= slack_ns.max(digits)
}

fn read_right(truth: &Truth, segments: &[Segment]) -> bool {
    if segments[0].recording.kind == Kind::Companion {
        return truth.companion == Some(segments.iter().map(|s| s.recording.rows()).sum());
    }
    let got = seconds_of(segments);
    truth.frames.iter().any(|want| {
        want.len() == got.len() && want.iter().zip(&got).all(|(w, g)| same(*g, *w, truth.slack_ns))
    })
}

fn offered(truth: &Truth, candidates: &[Candidate]) -> bool {
    candidates.iter().any(|c| {
        if c.layout.kind == Kind::Companion {
            return truth.companion.is_some_and(|rows| rows as u64 == c.frames);
        }
        truth.frames.iter().any(|want| {
            let all = want.iter().fold((0, 0), |(n, ns), s| (n + s.0, ns + s.1));
            let ns = i64::try_from(Duration::from_secs_f64(c.seconds).as_nanos()).unwrap();
            same((usize::try_from(c.frames).unwrap(), ns), all, truth.slack_ns)
        })
    })
}

fn judge(animal: &Animal) -> (Judged, String) {
    let truth = &animal.truth;
    let mut source = Cursor::new(&animal.bytes);
    let mut reading = read_log(&mut source, "log", &Known::default()).unwrap();
    match reading.members.remove(0).outcome {
        Outcome::Read { segments, layout } => {
            let says = format!("{:?} {:?}", seconds_of(&segments), layout.columns);
            let right = read_right(truth, &segments) && !truth.must_ask;
            (if right { Judged::ReadRight } else { Judged::SilentMisread }, says)
        }
        Outcome::Ask(question) => {
            let says: Vec<String> = question.candidates.iter().map(Candidate::in_words).collect();
            let right = offered(truth, &question.candidates);
            let judged = if right { Judged::AskedRightly } else { Judged::AskedWrongly };
            (judged, format!("{} {}", question.why, says.join("; ")))
        }
        Outcome::Refuse { says } => {
            (if truth.none { Judged::RefusedRightly } else { Judged::RefusedWrongly }, says)
        }
    }
}

/// The seeds asked for, else the first ones.
fn range(count: u64) -> std::ops::Range<u64> {
    let asked = std::env::var("ZOO").ok();
    let parts = asked.as_deref().and_then(|r| r.split_once(".."));
    parts.map_or(0..count, |(from, to)| from.parse().unwrap()..to.parse().unwrap())
}

#[test]
fn nothing_is_misread_and_nearly_all_is_read_or_asked_rightly() {
    let mut counts: BTreeMap<Judged, usize> = BTreeMap::new();
    let mut wrong = Vec::new();
    let mut by_plot: BTreeMap<String, BTreeMap<Judged, usize>> = BTreeMap::new();
    for seed in range(LAYOUTS) {
        let animal = animal(seed);
        let (judged, says) = judge(&animal);
        *counts.entry(judged).or_default() += 1;
        let plot = animal.says.split(' ').next().unwrap().to_owned();
        *by_plot.entry(plot).or_default().entry(judged).or_default() += 1;
        if judged > Judged::RefusedRightly {
            wrong.push(format!(
                "{judged:?} {}: {}\n  {:?}\n  {}",
                animal.seed,
                animal.says,
                animal.truth,
                says.chars().take(900).collect::<String>()
            ));
        }
    }
    let table: Vec<String> = by_plot.iter().map(|(plot, of)| format!("{plot}: {of:?}")).collect();
    let of = |judged| counts.get(&judged).copied().unwrap_or(0);
    let all: usize = counts.values().sum();
    let good = of(Judged::ReadRight) + of(Judged::AskedRightly) + of(Judged::RefusedRightly);
    let report = format!("{counts:?}\n{}\n{}", table.join("\n"), wrong.join("\n"));
    if let Ok(file) = std::env::var("ZOO_SAYS") {
        std::fs::write(file, &report).unwrap();
    }
    assert_eq!(of(Judged::SilentMisread), 0, "{report}");
    assert!(good * 100 >= all * 98, "{report}");
    // Asking about everything would be no help: most of it proves itself.
    assert!(of(Judged::ReadRight) * 100 >= all * 55, "{report}");
}

/// `ZOO_TO=FOLDER` writes them as files, to be looked at.
#[test]
fn layouts_are_the_same_for_the_same_seed() {
    for seed in range(40) {
        assert_eq!(animal(seed).bytes, animal(seed).bytes);
    }
    if let Ok(folder) = std::env::var("ZOO_TO") {
        for seed in range(LAYOUTS) {
            std::fs::write(format!("{folder}/{seed}.log"), animal(seed).bytes).unwrap();
        }
    }
}
