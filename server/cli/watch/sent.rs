//! What was sent, in a file: a line for each log, added when the server has answered.
//!
//! The first line names the server; what was sent to another one counts for nothing here. Then
//! `SHA-256 outcome bytes changed-ns name`. A line that was cut while it was written is left out: that log is sent again, and the
//! server knows its bytes.

use std::collections::{HashMap, HashSet};
use std::fs::File;
use std::io::{self, Write as _};
use std::path::Path;

use super::rest::Stamp;

/// Name of the file where none is given.
pub(super) const NAME: &str = ".weighhouse-sent";

/// What the server made of a log.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Outcome {
    /// It keeps it.
    Taken,
    /// It does not: it is not sent again unless it changes.
    Refused,
}

/// What was sent.
#[derive(Debug)]
pub(super) struct Sent {
    file: File,
    /// By name.
    known: HashMap<String, Stamp>,
    taken: HashSet<String>,
    refused: bool,
}

impl Sent {
    /// Reads it, or begins anew where there is none or it is about another server.
    ///
    /// # Errors
    /// When the file cannot be read or written.
    pub(super) fn open(path: &Path, server: &str) -> io::Result<Self> {
        let text = match std::fs::read(path) {
            Ok(bytes) => String::from_utf8_lossy(&bytes).into_owned(),
            Err(error) if error.kind() == io::ErrorKind::NotFound => String::new(),
            Err(error) => return Err(error),
        };
        let head = format!("to {server}\n");
        let ours = text.strip_prefix(&head);
        let mut file = match ours {
            Some(_) => File::options().append(true).open(path)?,
            None => {
                let mut file = File::create(path)?;
                file.write_all(head.as_bytes())?;
                file
            }
        };
        // A line that was cut must not run into the next one.
        if ours.is_some() && !text.ends_with('\n') {
            file.write_all(b"\n")?;
        }
        let (mut known, mut taken) = (HashMap::new(), HashSet::new());
        for (digest, outcome, stamp, name) in ours.unwrap_or_default().lines().filter_map(entry) {
            if outcome == Outcome::Taken {
                taken.insert(digest);
            }
            known.insert(name, stamp);
        }
        Ok(Self { file, known, taken, refused: false })
    }

    /// Whether this very file was sent.
    pub(super) fn knows(&self, name: &str, stamp: Stamp) -> bool {
        self.known.get(name) == Some(&stamp)
    }

    /// Whether these bytes were taken.
    pub(super) fn has(&self, digest: &str) -> bool {
        self.taken.contains(digest)
    }

    /// Whether one was refused since it was opened.
    pub(super) fn refused_some(&self) -> bool {
        self.refused
    }

    /// Adds one.
    ///
    /// # Errors
    /// When it cannot be written.
    pub(super) fn add(&mut self, name: &str, stamp: Stamp, digest: &str, outcome: Outcome) -> io::Result<()> {
        let word = if outcome == Outcome::Taken { "taken" } else { "refused" };
        let escaped = name.replace('\\', "\\\\").replace('\n', "\\n");
        let line = format!("{digest} {word} {} {} {escaped}\n", stamp.bytes, stamp.changed_ns);
        self.file.write_all(line.as_bytes())?;
        self.file.sync_data()?;
        self.known.insert(name.to_owned(), stamp);
        if outcome == Outcome::Taken {
            self.taken.insert(digest.to_owned());
        }
        self.refused |= outcome == Outcome::Refused;
        Ok(())
    }
}

fn entry(line: &str) -> Option<(String, Outcome, Stamp, String)> {
    let mut words = line.splitn(5, ' ');
    let digest = words.next().filter(|digest| digest.len() == 64)?.to_owned();
    let outcome = match words.next()? {
        "taken" => Outcome::Taken,
        "refused" => Outcome::Refused,
        _ => return None,
    };
    let stamp = Stamp { bytes: words.next()?.parse().ok()?, changed_ns: words.next()?.parse().ok()? };
    Some((digest, outcome, stamp, unescaped(words.next()?)))
}

fn unescaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    let mut letters = text.chars();
    while let Some(letter) = letters.next() {
        match letter {
            '\\' => out.push(if letters.next() == Some('n') { '\n' } else { '\\' }),
            other => out.push(other),
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    const STAMP: Stamp = Stamp { bytes: 5, changed_ns: 7 };

    #[test]
    fn what_was_sent_is_known_again_and_only_to_its_server() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("sent");
        let (digest, other) = ("a".repeat(64), "b".repeat(64));
        let name = "day 1/a \\n line\nb.csv";
        let mut sent = Sent::open(&path, "http://h").unwrap();
        assert!(!sent.knows(name, STAMP));
        sent.add(name, STAMP, &digest, Outcome::Taken).unwrap();
        sent.add("notes.txt", STAMP, &other, Outcome::Refused).unwrap();
        assert!(sent.refused_some());
        let again = Sent::open(&path, "http://h").unwrap();
        assert!(again.knows(name, STAMP) && again.knows("notes.txt", STAMP));
        assert!(!again.knows(name, Stamp { bytes: 6, ..STAMP }), "it grew");
        assert!(again.has(&digest) && !again.has(&other) && !again.refused_some());
        assert!(!Sent::open(&path, "http://elsewhere").unwrap().knows(name, STAMP));
    }

    #[test]
    fn a_line_that_was_cut_is_left_out_and_the_next_one_is_whole() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("sent");
        let digest = "a".repeat(64);
        std::fs::write(&path, format!("to http://h\n{digest} taken 5")).unwrap();
        let mut sent = Sent::open(&path, "http://h").unwrap();
        assert!(!sent.has(&digest));
        sent.add("a.csv", STAMP, &digest, Outcome::Taken).unwrap();
        assert!(Sent::open(&path, "http://h").unwrap().knows("a.csv", STAMP));
    }
}
