//! Which files of a folder have stayed as they are for a while.

use std::collections::HashMap;
use std::fs;
use std::io;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant, UNIX_EPOCH};

/// Folders in folders, at most; a link may lead round in a circle.
const DEEPEST: usize = 8;

/// Length and time of a file, by which it is seen that it changed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Stamp {
    /// Bytes.
    pub(super) bytes: u64,
    /// When it was changed last, nanoseconds since 1970.
    pub(super) changed_ns: u128,
}

/// All files below a folder but hidden ones and empty ones, by path.
///
/// # Errors
/// When the folder itself cannot be read; one inside it that cannot is left out.
pub(super) fn look(folder: &Path) -> io::Result<Vec<(PathBuf, Stamp)>> {
    let mut found = Vec::new();
    let mut todo = vec![(fs::read_dir(folder)?, 0)];
    while let Some((entries, depth)) = todo.pop() {
        for entry in entries.filter_map(Result::ok) {
            if entry.file_name().to_string_lossy().starts_with('.') {
                continue;
            }
            // What is gone again since it was listed is left out.
            let Ok(about) = fs::metadata(entry.path()) else { continue };
            if about.is_dir() && depth < DEEPEST {
                todo.extend(fs::read_dir(entry.path()).ok().map(|inside| (inside, depth + 1)));
            } else if about.is_file() && about.len() > 0 {
                let changed = about.modified().ok().and_then(|at| at.duration_since(UNIX_EPOCH).ok());
                let changed_ns = changed.map_or(0, |since| since.as_nanos());
                found.push((entry.path(), Stamp { bytes: about.len(), changed_ns }));
            }
        }
    }
    found.sort_by(|a, b| a.0.cmp(&b.0));
    Ok(found)
}

/// Since when each file is as it is.
#[derive(Debug)]
pub(super) struct Resting {
    rest: Duration,
    since: HashMap<PathBuf, (Stamp, Instant)>,
    moving: usize,
}

impl Resting {
    pub(super) fn new(rest: Duration) -> Self {
        Self { rest, since: HashMap::new(), moving: 0 }
    }

    /// The files that have not changed for as long as is asked for, in their order.
    pub(super) fn finished(&mut self, now: Instant, files: &[(PathBuf, Stamp)]) -> Vec<(PathBuf, Stamp)> {
        let mut finished = Vec::new();
        let mut since = HashMap::with_capacity(files.len());
        for (path, stamp) in files {
            let before = self.since.get(path).filter(|(was, _)| was == stamp).map(|(_, at)| *at);
            let at = before.unwrap_or(now);
            if now.duration_since(at) >= self.rest {
                finished.push((path.clone(), *stamp));
            }
            since.insert(path.clone(), (*stamp, at));
        }
        self.moving = files.len() - finished.len();
        self.since = since;
        finished
    }

    /// Whether no file had changed when it was looked last.
    pub(super) fn all_still(&self) -> bool {
        self.moving == 0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn file(name: &str, bytes: u64, changed_ns: u128) -> (PathBuf, Stamp) {
        (PathBuf::from(name), Stamp { bytes, changed_ns })
    }

    #[test]
    fn a_file_is_finished_once_size_and_time_rest() {
        let mut resting = Resting::new(Duration::from_secs(10));
        let start = Instant::now();
        let at = |s| start + Duration::from_secs(s);
        let done = |resting: &mut Resting, s, file: (PathBuf, Stamp)| {
            let still = resting.finished(at(s), &[file]);
            (still.len(), resting.all_still())
        };
        assert_eq!(done(&mut resting, 0, file("a", 5, 1)), (0, false));
        assert_eq!(done(&mut resting, 9, file("a", 5, 1)), (0, false));
        assert_eq!(done(&mut resting, 10, file("a", 5, 1)), (1, true));
        assert_eq!(done(&mut resting, 11, file("a", 6, 1)), (0, false), "it grew");
        assert_eq!(done(&mut resting, 20, file("a", 6, 2)), (0, false), "it was touched");
        assert_eq!(done(&mut resting, 29, file("a", 6, 2)), (0, false));
        assert_eq!(done(&mut resting, 30, file("a", 6, 2)), (1, true));
        assert!(resting.finished(at(31), &[]).is_empty());
        assert_eq!(done(&mut resting, 32, file("a", 6, 2)), (0, false), "it was away");
    }

    #[test]
    fn folders_in_the_folder_are_looked_at_and_hidden_and_empty_files_are_not() {
        let folder = tempfile::tempdir().unwrap();
        fs::create_dir_all(folder.path().join("day 1")).unwrap();
        for (name, text) in [("b.csv", "x"), ("day 1/a.csv", "yy"), (".sent", "z"), ("empty.csv", "")] {
            fs::write(folder.path().join(name), text).unwrap();
        }
        let found = look(folder.path()).unwrap();
        let names: Vec<_> =
            found.iter().map(|(path, s)| (path.strip_prefix(folder.path()).unwrap(), s.bytes)).collect();
        assert_eq!(names, [(Path::new("b.csv"), 1), (Path::new("day 1/a.csv"), 2)]);
        assert!(look(&folder.path().join("nowhere")).is_err());
    }
}
