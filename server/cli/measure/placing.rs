//! Which companion goes with which frame log, by their file names, and where its clock stands.

use std::path::{Path, PathBuf};

use weighhouse_measure::recording::{Placing, Recording};

/// What the name of a companion holds behind the name of its frame log.
const COMPANION: &str = "_sensors";

/// The frame log's name that a companion's name holds: `a_p1_sensors.csv` goes with `a_p1.csv` or `a_p1.txt`.
pub(super) fn goes_with(companion: &Path) -> Option<(PathBuf, String)> {
    let stem = stem(companion)?;
    let (frames, _) = stem.split_once(COMPANION)?;
    (!frames.is_empty()).then(|| (folder(companion), frames.to_owned()))
}

/// Whether a companion's name goes with a frame log's.
pub(super) fn belongs(companion: &Path, frames: &Path) -> bool {
    goes_with(companion)
        .is_some_and(|(of, name)| of == folder(frames) && stem(frames).is_some_and(|s| s == name))
}

/// Name without what follows its first dot: `a_p1.csv.gz` is `a_p1`.
fn stem(path: &Path) -> Option<String> {
    let name = path.file_name()?.to_str()?;
    Some(name.split('.').next().unwrap_or(name).to_owned())
}

fn folder(path: &Path) -> PathBuf {
    path.parent().map(Path::to_path_buf).unwrap_or_default()
}

/// Placing by wall clock; `None` where one of the two has none or they do not meet.
pub(super) fn by_wall_clock(frames: &Recording, companion: &Recording) -> Option<Placing> {
    let offset_ns = companion.wall_start_ns?.checked_sub(frames.wall_start_ns?)?;
    let meets = offset_ns < frames.span_ns() && offset_ns.checked_add(companion.span_ns())? > 0;
    meets.then_some(Placing { offset_ns, drift_ppb: 0 })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_pair_within_a_folder() {
        let belongs = |companion: &str, frames: &str| belongs(Path::new(companion), Path::new(frames));
        assert!(belongs("logs/a_p1_sensors.csv", "logs/a_p1.txt"));
        assert!(belongs("a_p1_sensors_wall.csv", "a_p1.csv.gz"));
        assert!(!belongs("logs/a_p1_sensors.csv", "a_p1.csv"));
        assert!(!belongs("a_p1_sensors.csv", "a_p11.csv"));
        assert!(!belongs("_sensors.csv", ".csv"));
    }
}
