//! `measure`: reads logs and prints their measures with no server, for a rig, a script, a quick look.

mod placing;
mod report;
mod table;

use std::fs::File;
use std::io::{self, Read, Write};
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use clap::Args as ClapArgs;
use jiff::tz::TimeZone;
use rayon::prelude::*;
use sha2::{Digest, Sha256};
use weighhouse_measure::intake::{
    Candidate, Known, LogReading, Member, Outcome, Question, Segment, read_log,
};
use weighhouse_measure::measures::{self, PassInput, PassMeasures, Seed, Tail};
use weighhouse_measure::memory::keep_between_logs;
use weighhouse_measure::recording::{Kind, Placed, Recording};
use weighhouse_measure::screens::notices::{FEWEST_IN_TAIL, too_few_for_low};
use weighhouse_measure::screens::{self, ScreenInput};

use self::report::Report;
use super::say;

/// Read logs and print their measures, without a server.
///
/// Ends with 0 when all logs were read, 3 when some log needs a person to say how it is read, 4 when a named file is
/// not a log, 2 when it was used wrongly; 2 comes before 4 and 4 before 3.
#[derive(Debug, ClapArgs)]
pub(super) struct Args {
    /// Logs, or folders of logs
    #[arg(required = true, value_name = "FILE|FOLDER")]
    paths: Vec<PathBuf>,
    /// Print an array of objects, one for each segment
    #[arg(long)]
    json: bool,
    /// Zone of the rig (such as Europe/Vienna) for stamps that name none
    #[arg(long, value_name = "ZONE")]
    zone: Option<String>,
}

/// How it ended, the worst of all logs.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Ending {
    AllRead = 0,
    Ask = 3,
    NoLog = 4,
    /// Above the others though its number is not.
    WrongUse = 5,
}

impl Ending {
    fn code(self) -> ExitCode {
        ExitCode::from(match self {
            Self::AllRead => 0,
            Self::Ask => 3,
            Self::NoLog => 4,
            Self::WrongUse => 2,
        })
    }
}

/// A file to be read, and whether it was named (not found in a folder).
#[derive(Debug, PartialEq, Eq)]
struct Wanted {
    path: PathBuf,
    named: bool,
}

/// A file that was read.
struct Log {
    wanted: Wanted,
    digest: [u8; 32],
    reading: LogReading,
}

pub(super) fn run(args: &Args) -> anyhow::Result<ExitCode> {
    let mut says = Vec::new();
    let (ending, reports) = measure(args, &mut says);
    for line in says {
        writeln!(io::stderr(), "{line}")?;
    }
    let text = if args.json { serde_json::to_string_pretty(&reports)? } else { table::text(&reports) };
    match say(text.trim_end()) {
        // Whoever reads the output has seen enough.
        Err(e) if e.downcast_ref::<io::Error>().is_some_and(|e| e.kind() == io::ErrorKind::BrokenPipe) => {}
        other => other?,
    }
    Ok(ending.code())
}

fn measure(args: &Args, says: &mut Vec<String>) -> (Ending, Vec<Report>) {
    keep_between_logs();
    let zone = match args.zone.as_deref().map(TimeZone::get).transpose() {
        Ok(zone) => zone,
        Err(_) => {
            says.push("--zone: not the name of a time zone, such as Europe/Vienna".to_owned());
            return (Ending::WrongUse, Vec::new());
        }
    };
    let mut ending = Ending::AllRead;
    let wanted = match files(&args.paths) {
        Ok(wanted) => wanted,
        Err(why) => {
            says.push(why);
            return (Ending::WrongUse, Vec::new());
        }
    };
    let read: Vec<_> = wanted
        .into_par_iter()
        .map(|wanted| {
            let log = read_file(&wanted.path, zone.as_ref());
            (wanted, log)
        })
        .collect();
    let mut logs = Vec::new();
    for (wanted, log) in read {
        match log {
            Ok((digest, reading)) => logs.push(Log { wanted, digest, reading }),
            Err(e) => {
                says.push(format!("{}: {e}", wanted.path.display()));
                ending = Ending::WrongUse;
            }
        }
    }
    let beside = companions_beside(&logs, zone.as_ref());
    let all: Vec<&Log> = logs.iter().chain(&beside).collect();
    let mut reports = Vec::new();
    let told: Vec<Vec<Told>> = logs.par_iter().map(|log| tell(log, &all)).collect();
    for told in told.into_iter().flatten() {
        match told {
            Told::Segment(report) => reports.push(*report),
            Told::Asks(report) => {
                ending = ending.max(Ending::Ask);
                reports.push(*report);
            }
            Told::NoLog(report) => {
                ending = ending.max(Ending::NoLog);
                reports.push(*report);
            }
            Told::PassedOver(why) => says.push(format!("passed over: {why}")),
        }
    }
    (ending, reports)
}

/// The files meant: those named, and what stands in a folder (in the order of their names, not what begins with a dot).
fn files(paths: &[PathBuf]) -> Result<Vec<Wanted>, String> {
    let mut wanted = Vec::new();
    for path in paths {
        let told = |e: io::Error| format!("{}: {e}", path.display());
        if !path.metadata().map_err(told)?.is_dir() {
            wanted.push(Wanted { path: path.clone(), named: true });
            continue;
        }
        let mut inside = Vec::new();
        for entry in path.read_dir().map_err(told)? {
            let entry = entry.map_err(told)?.path();
            let hidden = entry.file_name().is_some_and(|n| n.as_encoded_bytes().starts_with(b"."));
            if entry.is_file() && !hidden {
                inside.push(entry);
            }
        }
        inside.sort();
        wanted.extend(inside.into_iter().map(|path| Wanted { path, named: false }));
    }
    Ok(wanted)
}

fn read_file(path: &Path, zone: Option<&TimeZone>) -> io::Result<([u8; 32], LogReading)> {
    let mut file = File::open(path)?;
    let name =
        path.file_name().map_or_else(|| path.display().to_string(), |n| n.to_string_lossy().into_owned());
    let reading = read_log(&mut file, &name, &Known { zone, ..Known::default() })?;
    Ok((digest(path)?, reading))
}

fn digest(path: &Path) -> io::Result<[u8; 32]> {
    let mut file = File::open(path)?;
    let mut digest = Sha256::new();
    let mut buffer = vec![0; 256 * 1024];
    loop {
        match file.read(&mut buffer)? {
            0 => return Ok(digest.finalize().into()),
            n => digest.update(&buffer[..n]),
        }
    }
}

/// Companions that stand next to the logs but were not asked for themselves.
fn companions_beside(logs: &[Log], zone: Option<&TimeZone>) -> Vec<Log> {
    let mut beside: Vec<Log> = Vec::new();
    for log in logs {
        let folder = log.wanted.path.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
        let Ok(entries) = folder.read_dir() else { continue };
        let mut paths: Vec<PathBuf> = entries
            .flatten()
            .filter_map(|e| Some(log.wanted.path.parent()?.join(e.file_name())))
            .filter(|p| placing::belongs(p, &log.wanted.path))
            .collect();
        paths.sort();
        for path in paths {
            if logs.iter().chain(&beside).any(|l| l.wanted.path == path) {
                continue;
            }
            if let Ok((digest, reading)) = read_file(&path, zone) {
                beside.push(Log { wanted: Wanted { path, named: false }, digest, reading });
            }
        }
    }
    beside
}

/// What is said of one log or segment.
enum Told {
    Segment(Box<Report>),
    Asks(Box<Report>),
    NoLog(Box<Report>),
    PassedOver(String),
}

fn tell(log: &Log, all: &[&Log]) -> Vec<Told> {
    let file = log.wanted.path.display().to_string();
    let mut told = Vec::new();
    for Member { name, outcome } in &log.reading.members {
        match outcome {
            Outcome::Read { layout, segments } => {
                for (i, segment) in segments.iter().enumerate() {
                    let report = match segment.recording.kind {
                        Kind::Frames => frames(&file, name, log, i, segment, all),
                        Kind::Companion => Report::companion(&file, name, &segment.recording),
                    };
                    told.push(Told::Segment(Box::new(report.read_as(i + 1, layout, &segment.problems))));
                }
            }
            Outcome::Ask(question) => told.push(Told::Asks(Box::new(asks(&file, name, question)))),
            Outcome::Refuse { says } if log.wanted.named => {
                told.push(Told::NoLog(Box::new(Report::without(&file, name, says.clone()))));
            }
            Outcome::Refuse { says } => told.push(Told::PassedOver(says.clone())),
        }
    }
    told
}

fn asks(file: &str, member: &str, question: &Question) -> Report {
    let ways: Vec<String> = question.candidates.iter().map(Candidate::in_words).collect();
    let or = if ways.is_empty() { String::new() } else { format!(" It could be: {}.", ways.join("; ")) };
    let error = format!("{file} needs a person to say how it is read. {}{or}", question.why);
    Report::without(file, member, error)
}

fn frames(file: &str, member: &str, log: &Log, index: usize, segment: &Segment, all: &[&Log]) -> Report {
    let recording = &segment.recording;
    let mut notices = Vec::new();
    let companions = placed(log, recording, all, &mut notices);
    let window = recording.whole();
    let seed = Seed { digest: log.digest, segment: u32::try_from(index).unwrap_or(u32::MAX) };
    let measures = measures::measure(&PassInput { recording, window, companions: &companions, seed });
    let flags = screens::screen_pass(&ScreenInput { recording, window, companions: &companions });
    notices.extend(few_frames(&measures));
    let mut report = Report::frames(file, member, &measures, flags);
    report.notices = notices;
    report
}

/// The companions of a frame log, placed by wall clock; those that cannot be are said.
fn placed<'a>(log: &Log, frames: &Recording, all: &[&'a Log], notices: &mut Vec<String>) -> Vec<Placed<'a>> {
    let mut placed = Vec::new();
    for other in all.iter().filter(|o| placing::belongs(&o.wanted.path, &log.wanted.path)) {
        let name = other.wanted.path.file_name().unwrap_or_default().to_string_lossy();
        let segments = other.reading.members.iter().flat_map(|m| match &m.outcome {
            Outcome::Read { segments, .. } => segments.as_slice(),
            Outcome::Ask(_) | Outcome::Refuse { .. } => &[],
        });
        let found: Vec<Placed<'_>> = segments
            .filter(|s| s.recording.kind == Kind::Companion)
            .filter_map(|s| {
                let recording = &s.recording;
                placing::by_wall_clock(frames, recording).map(|placing| Placed { recording, placing })
            })
            .collect();
        if found.is_empty() {
            let why = match frames.wall_start_ns {
                None => "the frame log has no wall clock",
                Some(_) => "no wall clock of its own meets the frames",
            };
            notices.push(format!("companion {name} is not placed: {why}"));
        }
        placed.extend(found);
    }
    placed
}

/// Lows that rest on too few frames.
fn few_frames(measures: &PassMeasures) -> Vec<String> {
    let frames = u64::try_from(measures.frames).unwrap_or(u64::MAX);
    let low = |tail: Tail| format!("{}%", f64::from(tail.permille()) / 10.0);
    Tail::ALL
        .into_iter()
        .filter(|tail| too_few_for_low(frames, 1000 / u64::from(tail.permille())))
        .map(low)
        .map(|low| {
            format!(
                "too few frames for a {low} low: the slowest {low} of {frames} frames are fewer than {FEWEST_IN_TAIL}"
            )
        })
        .collect()
}
