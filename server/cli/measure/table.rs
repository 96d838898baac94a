//! `measure` for people: a line for each segment, then what was found in it.

use std::fmt::Write;

use weighhouse_measure::recording::Kind;
use weighhouse_web::format::{Unit, bare, count};

use super::report::Report;

const HEADINGS: [&str; 11] = [
    "log",
    "frames",
    "seconds",
    "average fps",
    "at least ±",
    "1% low fps",
    "at least ±",
    "0.1% low fps",
    "p99 ms",
    "watts",
    "joules a frame",
];

/// All reports as text.
pub(super) fn text(reports: &[Report]) -> String {
    let rows: Vec<[String; 11]> = reports.iter().filter(|r| r.kind == Some(Kind::Frames)).map(row).collect();
    let mut out = String::new();
    if !rows.is_empty() {
        let width = |i: usize| {
            rows.iter().map(|r| r[i].chars().count()).chain([HEADINGS[i].chars().count()]).max().unwrap_or(0)
        };
        let widths: Vec<usize> = (0..HEADINGS.len()).map(width).collect();
        line(&mut out, &HEADINGS.map(str::to_owned), &widths);
        for row in &rows {
            line(&mut out, row, &widths);
        }
        out += "\nLows: quantile of the frame times (type 7), as a rate. --json has the tail mean and the time share too.\n\
                At least ±: half the 95% interval from this pass alone; the next pass will differ by more.\n";
    }
    for report in reports {
        remarks(&mut out, report);
    }
    out
}

/// The first cell to the left, numbers to the right.
fn line(out: &mut String, cells: &[String; 11], widths: &[usize]) {
    for (i, (cell, &width)) in cells.iter().zip(widths).enumerate() {
        let written = if i == 0 { write!(out, "{cell:<width$}") } else { write!(out, "  {cell:>width$}") };
        debug_assert!(written.is_ok(), "writing to a string cannot fail");
    }
    out.push('\n');
}

fn row(report: &Report) -> [String; 11] {
    [
        name(report),
        report.frames.map_or_else(|| "–".to_owned(), |n| count(u64::try_from(n).unwrap_or(u64::MAX))),
        bare(report.seconds, Unit::S),
        bare(report.average_fps, Unit::Fps),
        bare(report.average_at_least, Unit::Fps),
        bare(report.lows.low_1_quantile_fps, Unit::Fps),
        bare(report.low_at_least, Unit::Fps),
        bare(report.lows.low_01_quantile_fps, Unit::Fps),
        bare(report.frame_time_ms.map(|t| t.p99), Unit::Ms),
        bare(report.power_w, Unit::W),
        bare(report.joules_per_frame, Unit::J),
    ]
}

fn name(report: &Report) -> String {
    let mut name = report.file.clone();
    if !report.member.is_empty() {
        name = format!("{name}: {}", report.member);
    }
    match report.segment {
        Some(n) if n > 1 => format!("{name}, segment {n}"),
        _ => name,
    }
}

fn remarks(out: &mut String, report: &Report) {
    let mut lines = Vec::new();
    lines.extend(report.error.iter().cloned());
    if report.kind == Some(Kind::Companion) {
        lines.push(format!("companion, {} s", bare(report.seconds, Unit::S)));
    }
    lines.extend(report.flags.iter().map(|f| format!("flag: {}", f.says)));
    lines.extend(report.notices.iter().map(|n| format!("notice: {n}")));
    lines.extend(report.problems.iter().map(|p| match (p.line, p.column) {
        (0, _) => format!("problem: {}", p.says),
        (line, 0) => format!("problem: line {line}: {}", p.says),
        (line, column) => format!("problem: line {line}, column {column}: {}", p.says),
    }));
    if lines.is_empty() {
        return;
    }
    out.push('\n');
    out.push_str(&name(report));
    out.push('\n');
    for line in lines {
        out.push_str("  ");
        out.push_str(&line);
        out.push('\n');
    }
}
