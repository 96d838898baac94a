//! Bytes to recordings: which file it is, its text, its table, what its columns are, its rows.
//!
//! ```text
//! container -> text -> lines -> table -> sample -> evidence -> layout -> rows, held -> segments
//! ```
//!
//! A log is read three times over from its start (head, sample, rows). A plain one is never held whole: a line is the
//! most that is kept of its text; a packed one is held while it is small. What its columns are is judged by what is in
//! them; see [`evidence`] for the rules. Reading never fails half-way: it gives recordings with a list of problems, a
//! question to a person, or a refusal in words.

mod alone;
mod assemble;
mod block;
mod candidate;
mod clock;
pub mod container;
mod contradiction;
mod describe;
pub mod evidence;
pub mod headers;
mod held;
mod json_lines;
pub mod layout;
pub mod lines;
mod log;
mod marks;
pub mod number;
mod parquet;
pub mod plain;
mod problems;
mod proof;
mod refusals;
mod rows;
mod sample;
mod settled;
mod several;
mod shape;
pub mod stamp;
pub mod table;
pub mod text;
mod tracks;
mod unnamed;
mod usual;

use std::io::{self, Read, Seek, SeekFrom};

use jiff::tz::TimeZone;
use zip::ZipArchive;

use self::container::{Bytes, Container, TooMuch, held_whole};
pub use self::layout::{Candidate, Column, Dropped, Layout, Only, Question, StampAt};
use self::log::{Form, Log};
pub use self::problems::LISTED;
pub use self::text::Encoding;
use crate::recording::{Problem, Recording};

/// A packed log of at most so many bytes is unpacked once and held.
const HELD_BYTES: u64 = 16 << 20;

/// What is known before reading.
#[derive(Clone, Copy)]
pub struct Known<'a> {
    /// The layout that a person confirmed for a shape ([`Layout::shape`]).
    pub remembered: &'a dyn Fn(&str) -> Option<Layout>,
    /// Zone of the rig, for stamps that name none.
    pub zone: Option<&'a TimeZone>,
    /// What is too much.
    pub limits: Limits,
}

impl Default for Known<'_> {
    fn default() -> Self {
        Self { remembered: &|_| None, zone: None, limits: Limits::default() }
    }
}

/// Limits that bound the memory and time that a log may take.
#[derive(Clone, Copy, Debug)]
pub struct Limits {
    /// Bytes that a packed log may unpack to.
    pub unpacked: u64,
    /// Rows of one log.
    pub rows: usize,
    /// Logs of one archive.
    pub members: usize,
    /// Bytes of a Parquet table, which is held whole.
    pub parquet: u64,
}

impl Default for Limits {
    /// 4 GiB, 20 million rows (five and a half hours at 1000 fps), 1000 logs, 192 MiB.
    fn default() -> Self {
        Self { unpacked: 4 << 30, rows: 20_000_000, members: 1000, parquet: 192 << 20 }
    }
}

/// What reading a file gave: a plain file has one member with an empty name.
#[derive(Debug)]
pub struct LogReading {
    /// The logs in the file.
    pub members: Vec<Member>,
}

/// One log of a file.
#[derive(Debug)]
pub struct Member {
    /// Its name inside the file; empty for a plain one.
    pub name: String,
    /// What came of it.
    pub outcome: Outcome,
}

/// What came of a log.
#[derive(Debug)]
pub enum Outcome {
    /// It was read.
    Read {
        /// How.
        layout: Layout,
        /// At least one.
        segments: Vec<Segment>,
    },
    /// A person has to say how.
    Ask(Box<Question>),
    /// It is no log that can be read.
    Refuse {
        /// File, line and mend, in words.
        says: String,
    },
}

/// A stretch of a log with one running clock.
#[derive(Clone, Debug)]
pub struct Segment {
    /// Its rows.
    pub recording: Recording,
    /// What could not be understood of it.
    pub problems: Vec<Problem>,
}

/// Reads a log; `name` is used in sentences.
///
/// # Errors
/// Those of the source. A file that is damaged or no log is no error but an [`Outcome::Refuse`].
pub fn read_log<R: Read + Seek>(source: &mut R, name: &str, known: &Known<'_>) -> io::Result<LogReading> {
    let name = &refusals::shown(name);
    let length = source.seek(SeekFrom::End(0))?;
    source.rewind()?;
    let mut magic = [0; 64];
    let got = read_up_to(&mut *source, &mut magic)?;
    let limit = known.limits.unpacked;
    Ok(match container::of(&magic[..got]) {
        _ if length == 0 => one(refuse(refusals::empty(name))),
        Container::Unread(what) => one(refuse(format!("{name}, line 1: it is {what}."))),
        Container::Zip => return archive(source, name, known),
        Container::Parquet if length > known.limits.parquet => {
            one(refuse(refusals::table_too_large(name, known.limits.parquet)))
        }
        Container::Parquet => {
            source.rewind()?;
            let held = held_whole(&mut *source, known.limits.parquet)?.unwrap_or_default();
            one(parquet_log::<R>(held, name, known)?)
        }
        Container::Gzip => {
            let held = container::gunzip(source, limit).and_then(|unpacked| held_whole(unpacked, HELD_BYTES));
            one(packed(held, Bytes::Gzip(source, limit), name, known)?)
        }
        Container::Zstd => {
            let held = container::unzstd(source, limit).and_then(|unpacked| held_whole(unpacked, HELD_BYTES));
            one(packed(held, Bytes::Zstd(source, limit), name, known)?)
        }
        Container::Plain | Container::Json => {
            let bytes = Bytes::File(source);
            one(Log { bytes, form: Form::Text, name, known, length: Some(length) }.read()?)
        }
    })
}

/// A log that was packed: by itself where it could be held, else streamed.
fn packed<R: Read + Seek>(
    held: io::Result<Option<Vec<u8>>>,
    mut streamed: Bytes<'_, R>,
    name: &str,
    known: &Known<'_>,
) -> io::Result<Outcome> {
    match held {
        Ok(Some(held)) => inside::<R>(held, name, known),
        Ok(None) => {
            let mut magic = [0; 64];
            let got = read_up_to(streamed.open()?, &mut magic)?;
            match container::of(&magic[..got]) {
                Container::Plain | Container::Json => {
                    Log { bytes: streamed, form: Form::Text, name, known, length: None }.read()
                }
                _ => Ok(refuse(refusals::nested(name))),
            }
        }
        Err(e) if e.kind() == io::ErrorKind::TimedOut => Err(e),
        Err(e) if e.get_ref().is_some_and(|inner| inner.is::<TooMuch>()) => {
            Ok(refuse(refusals::unpacks_too_far(name, known.limits.unpacked)))
        }
        Err(e) => Ok(refuse(refusals::damaged(name, &e))),
    }
}

/// What was packed, held in memory: a log, or one more layer of packing.
fn inside<R: Read + Seek>(held: Vec<u8>, name: &str, known: &Known<'_>) -> io::Result<Outcome> {
    match container::of(&held) {
        _ if held.is_empty() => Ok(refuse(refusals::empty(name))),
        Container::Plain | Container::Json => {
            let length = Some(held.len() as u64);
            Log::<R> { bytes: Bytes::Memory(&held), form: Form::Text, name, known, length }.read()
        }
        Container::Parquet => parquet_log::<R>(held, name, known),
        Container::Unread(what) => Ok(refuse(format!("{name}, line 1: it is {what}."))),
        Container::Gzip | Container::Zstd | Container::Zip => Ok(refuse(refusals::nested(name))),
    }
}

/// A Parquet table, turned into lines of text.
fn parquet_log<R: Read + Seek>(held: Vec<u8>, name: &str, known: &Known<'_>) -> io::Result<Outcome> {
    let lines = parquet::lines(held, known.limits.parquet);
    match lines {
        Ok(Some(lines)) => {
            let length = Some(lines.len() as u64);
            Log::<R> { bytes: Bytes::Memory(&lines), form: Form::Made, name, known, length }.read()
        }
        Ok(None) => Ok(refuse(refusals::table_too_large(name, known.limits.parquet))),
        Err(e) => Ok(refuse(refusals::damaged(name, &e))),
    }
}

/// The logs of a zip archive, each under the last part of its path.
fn archive<R: Read + Seek>(source: &mut R, name: &str, known: &Known<'_>) -> io::Result<LogReading> {
    source.rewind()?;
    let mut archive = match ZipArchive::new(&mut *source) {
        Ok(archive) => archive,
        Err(e) => return Ok(one(refuse(refusals::damaged(name, &io::Error::other(e))))),
    };
    if archive.len() > known.limits.members {
        return Ok(one(refuse(refusals::too_many_members(name, archive.len(), known.limits.members))));
    }
    let mut members: Vec<Member> = Vec::new();
    let mut left = known.limits.unpacked;
    for index in 0..archive.len() {
        let (member, held) = match archive.by_index(index) {
            Ok(entry) if entry.is_dir() => continue,
            Ok(entry) => {
                let path =
                    entry.name().map_or_else(|_| format!("file {}", index + 1), |name| name.into_owned());
                let member = refusals::shown(&last_part(&path));
                let held = held_whole(container::Capped::new(entry, left), HELD_BYTES);
                (member, held)
            }
            Err(e) => {
                let outcome = refuse(refusals::damaged(name, &io::Error::other(e)));
                members.push(Member { name: format!("file {}", index + 1), outcome });
                continue;
            }
        };
        // What is hidden was put there by the packer, not by a logger.
        if member.starts_with('.') {
            continue;
        }
        if let Ok(Some(held)) = &held {
            left = left.saturating_sub(held.len() as u64);
        }
        let said = format!("{member} in {name}");
        let outcome = packed(held, Bytes::Entry(&mut archive, index, left), &said, known)?;
        members.push(Member { name: distinct(&members, member), outcome });
    }
    if members.is_empty() {
        return Ok(one(refuse(refusals::no_members(name))));
    }
    Ok(LogReading { members })
}

/// The last part of a path, whichever way it is written.
fn last_part(path: &str) -> String {
    path.rsplit(['/', '\\']).next().unwrap_or(path).to_owned()
}

/// Two files of one name in different folders are told apart by a number.
fn distinct(members: &[Member], name: String) -> String {
    let same = members.iter().filter(|m| m.name == name || m.name.starts_with(&format!("{name} ("))).count();
    if same == 0 { name } else { format!("{name} ({})", same + 1) }
}

fn one(outcome: Outcome) -> LogReading {
    LogReading { members: vec![Member { name: String::new(), outcome }] }
}

fn refuse(says: String) -> Outcome {
    Outcome::Refuse { says }
}

fn read_up_to<R: Read>(mut source: R, into: &mut [u8]) -> io::Result<usize> {
    let mut filled = 0;
    while filled < into.len() {
        match source.read(&mut into[filled..]) {
            Ok(0) => break,
            Ok(n) => filled += n,
            Err(e) if e.kind() == io::ErrorKind::Interrupted => {}
            Err(e) => return Err(e),
        }
    }
    Ok(filled)
}

#[cfg(test)]
mod tests;
