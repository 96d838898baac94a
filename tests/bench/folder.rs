//! How fast a folder of logs becomes measures: bytes to measures without their intervals, a file for each core.
//!
//! `folder.py` makes the folder, runs this beside general-purpose table readers, and holds their numbers together.

use std::fs::File;
use std::io::{self, Write};
use std::path::PathBuf;
use std::time::Instant;

use rayon::prelude::*;
use weighhouse_measure::intake::{Known, Outcome, read_log};
use weighhouse_measure::measures::{PassInput, PassMeasures, Seed, without_intervals};
use weighhouse_measure::memory::keep_between_logs;

/// Measures of each segment of frames in a file.
fn file(path: &PathBuf) -> io::Result<Vec<PassMeasures>> {
    let reading = read_log(&mut File::open(path)?, "log", &Known::default())?;
    let segments = reading.members.into_iter().flat_map(|member| match member.outcome {
        Outcome::Read { segments, .. } => segments,
        Outcome::Ask(_) | Outcome::Refuse { .. } => Vec::new(),
    });
    let measured = segments.map(|segment| {
        let recording = &segment.recording;
        let seed = Seed { digest: [0; 32], segment: 0 };
        without_intervals(&PassInput { recording, window: recording.whole(), companions: &[], seed })
    });
    Ok(measured.collect())
}

fn main() -> io::Result<()> {
    keep_between_logs();
    let mut args = std::env::args().skip(1);
    let folder = args.next().unwrap_or_else(|| ".".to_owned());
    let rounds = args.next().and_then(|n| n.parse().ok()).unwrap_or(1);
    let mut paths: Vec<PathBuf> =
        std::fs::read_dir(folder)?.map(|entry| Ok(entry?.path())).collect::<io::Result<_>>()?;
    paths.sort();
    let mut seconds = Vec::new();
    let mut all = Vec::new();
    for _ in 0..rounds {
        let begun = Instant::now();
        all = paths.par_iter().map(file).collect::<io::Result<Vec<_>>>()?;
        seconds.push(begun.elapsed().as_secs_f64());
    }
    let first = all.first().and_then(|of| of.first());
    let frames: usize = all.iter().flatten().map(|of| of.frames).sum();
    let told = serde_json::json!({ "seconds": seconds, "frames": frames, "first": first });
    writeln!(io::stdout(), "{told}")
}
