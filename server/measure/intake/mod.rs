//! Bytes to recordings: which file it is, its text, its table, what its columns are, its rows.
//!
//! ```text
//! container -> text -> lines -> table -> sample -> evidence -> layout -> assemble -> segments
//! ```
//!
//! A log is read three times over from its start (head, sample, rows) and never held whole: a line is the most that
//! is kept of its text. What its columns are is judged by what is in them; see [`evidence`] for the rules. Reading
//! never fails half-way: it gives recordings with a list of problems, a question to a person, or a refusal in words.

mod alone;
mod assemble;
mod clock;
pub mod container;
mod contradiction;
pub mod evidence;
pub mod headers;
pub mod layout;
pub mod lines;
pub mod number;
mod problems;
mod proof;
mod refusals;
mod sample;
mod shape;
mod table;
pub mod text;
mod tracks;

use std::io::{self, Read, Seek, SeekFrom};

use flate2::read::MultiGzDecoder;
use jiff::tz::TimeZone;

use self::assemble::{Assembled, Conditions};
use self::container::{Capped, Container, TooMuch};
use self::evidence::Verdict;
pub use self::layout::{Candidate, Column, Layout, Question, StampAt};
pub use self::problems::LISTED;
use self::sample::Sample;
use self::table::{NoTable, Table};
pub use self::text::Encoding;
use self::text::Utf8Stream;
use crate::recording::{Kind, Problem, Recording};

/// How much of the text the encoding and the table are judged on, bytes.
const HEAD: u64 = 1024 * 1024;
/// Ways to read a log that are offered at most.
const OFFERED: usize = 6;

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
}

impl Default for Limits {
    /// 4 GiB, and 20 million rows (five and a half hours at 1000 fps).
    fn default() -> Self {
        Self { unpacked: 4 << 30, rows: 20_000_000 }
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
    let bytes = source.seek(SeekFrom::End(0))?;
    let mut magic = [0; 64];
    source.rewind()?;
    let got = read_up_to(&mut *source, &mut magic)?;
    let packed = match container::of(&magic[..got]) {
        _ if bytes == 0 => return Ok(one(refuse(refusals::empty(name)))),
        Container::Unread(what) => return Ok(one(refuse(format!("{name}, line 1: it is {what}.")))),
        Container::Gzip => true,
        Container::Plain => false,
    };
    let mut log = Log { source, name, known, packed, bytes };
    match log.read() {
        Err(e) if packed && e.get_ref().is_some_and(|inner| inner.is::<TooMuch>()) => {
            Ok(one(refuse(refusals::unpacks_too_far(name, known.limits.unpacked))))
        }
        Err(e)
            if packed
                && matches!(
                    e.kind(),
                    io::ErrorKind::InvalidInput | io::ErrorKind::InvalidData | io::ErrorKind::UnexpectedEof
                ) =>
        {
            Ok(one(refuse(refusals::damaged(name, &e))))
        }
        outcome => Ok(one(outcome?)),
    }
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
        match source.read(&mut into[filled..])? {
            0 => break,
            n => filled += n,
        }
    }
    Ok(filled)
}

/// One log of a file, to be streamed from its start as often as needed.
struct Log<'a, R> {
    source: &'a mut R,
    name: &'a str,
    known: &'a Known<'a>,
    packed: bool,
    bytes: u64,
}

impl<R: Read + Seek> Log<'_, R> {
    /// The unpacked bytes from the start.
    fn raw(&mut self) -> io::Result<Box<dyn Read + '_>> {
        self.source.rewind()?;
        Ok(if self.packed {
            Box::new(Capped::new(
                MultiGzDecoder::new(io::BufReader::new(&mut self.source)),
                self.known.limits.unpacked,
            ))
        } else {
            Box::new(&mut self.source)
        })
    }

    /// The text from its start.
    fn text(&mut self, encoding: Encoding, mark: usize) -> io::Result<Utf8Stream<Box<dyn Read + '_>>> {
        let mut raw = self.raw()?;
        read_up_to(&mut raw, &mut [0; 4][..mark])?;
        Ok(Utf8Stream::new(raw, encoding))
    }

    fn read(&mut self) -> io::Result<Outcome> {
        let mut head = Vec::new();
        self.raw()?.take(HEAD).read_to_end(&mut head)?;
        let (encoding, mark) = match text::detect(&head) {
            Ok(found) => found,
            Err(at) => {
                return Ok(refuse(refusals::not_text(self.name, &head, at)));
            }
        };
        let whole = head.len() < 1024 * 1024;
        if matches!(encoding, Encoding::Utf16Le | Encoding::Utf16Be) {
            head.clear();
            self.text(encoding, mark)?.take(HEAD).read_to_end(&mut head)?;
        } else {
            head.drain(..mark);
        }
        let table = match table::find(&head, whole, encoding) {
            Ok(table) => table,
            Err(why) => return Ok(refuse(refusals::no_table(self.name, &why))),
        };
        let sample = sample::take(self.text(encoding, mark)?, &table)?;
        if sample.rows == 0 {
            return Ok(refuse(refusals::no_table(
                self.name,
                &NoTable::NoRows(table.header_line.max(1), table.names.len()),
            )));
        }
        let shape = layout::shape(char::from(table.delimiter), table.names.iter().map(String::as_str));
        let remembered = (self.known.remembered)(&shape).filter(|l| l.columns.len() == table.names.len());
        match (remembered, evidence::judge(&table, &sample)) {
            (Some(layout), verdict) => self.read_remembered(layout, verdict, &table, mark, &sample),
            (None, Verdict::Certain(layout)) => self.read_certain(layout, &table, mark, &sample),
            (None, Verdict::Unsure { why, guess, ways }) => self.ask(why, guess, ways, &table, mark, &sample),
            (None, Verdict::Untimed) => Ok(refuse(refusals::untimed(self.name, &table))),
            (None, Verdict::Summary) => Ok(refuse(refusals::summary(self.name, &table))),
        }
    }

    fn read_certain(
        &mut self,
        layout: Layout,
        table: &Table,
        mark: usize,
        sample: &Sample,
    ) -> io::Result<Outcome> {
        Ok(match self.rows(&layout, table, mark, sample)? {
            Assembled::Segments(segments) if segments.is_empty() => {
                refuse(refusals::no_frame(self.name, table, &layout))
            }
            Assembled::Segments(mut segments) => {
                self.note_zone(&layout, sample, &mut segments);
                Outcome::Read { layout, segments }
            }
            Assembled::TooLong(line) => refuse(refusals::no_table(self.name, &NoTable::TooLong(line))),
            Assembled::TooMany(line) => refuse(refusals::too_many(self.name, line, self.known.limits.rows)),
        })
    }

    /// Reads by what a person once said, unless this log contradicts it.
    fn read_remembered(
        &mut self,
        mut layout: Layout,
        verdict: Verdict,
        table: &Table,
        mark: usize,
        sample: &Sample,
    ) -> io::Result<Outcome> {
        layout.delimiter = char::from(table.delimiter);
        layout.decimal = char::from(table.mark);
        layout.encoding = table.encoding;
        layout.header_line = table.header_line;
        let Some(contradiction) = contradiction::contradicts(&layout, table, sample) else {
            return self.read_certain(layout, table, mark, sample);
        };
        let why = format!("The layout remembered for this header does not fit this log: {contradiction}");
        let ways = match verdict {
            Verdict::Certain(found) => vec![("as its own numbers say".to_owned(), found)],
            Verdict::Unsure { ways, .. } => ways,
            Verdict::Untimed | Verdict::Summary => Vec::new(),
        };
        self.ask(why, layout, ways, table, mark, sample)
    }

    fn rows(
        &mut self,
        layout: &Layout,
        table: &Table,
        mark: usize,
        sample: &Sample,
    ) -> io::Result<Assembled> {
        let conditions = Conditions {
            zone: self.known.zone,
            most_rows: self.known.limits.rows,
            expected_rows: self.expected_rows(table, sample),
        };
        let last = sample.columns.last().and_then(|c| c.digits).filter(|(low, high)| low == high && *low > 0);
        assemble::assemble(self.text(table.encoding, mark)?, table, layout, last.map(|d| d.0), conditions)
    }

    /// Rows to make room for: exact for a short log, by the file's length for a longer one.
    fn expected_rows(&self, table: &Table, sample: &Sample) -> usize {
        if sample.passed < sample::ROWS || self.packed {
            return sample.passed;
        }
        let width = if matches!(table.encoding, Encoding::Utf16Be | Encoding::Utf16Le) { 2 } else { 1 };
        let rows = self.bytes * u64::try_from(sample.passed).unwrap_or(0) / (sample.bytes * width).max(1);
        usize::try_from(rows + rows / 64).unwrap_or(usize::MAX).min(self.known.limits.rows)
    }

    fn ask(
        &mut self,
        why: String,
        guess: Layout,
        ways: Vec<(String, Layout)>,
        table: &Table,
        mark: usize,
        sample: &Sample,
    ) -> io::Result<Outcome> {
        let mut candidates = Vec::new();
        for (says, layout) in ways.into_iter().take(OFFERED) {
            let Assembled::Segments(segments) = self.rows(&layout, table, mark, sample)? else { continue };
            let (frames, ns) = totals(&segments);
            let seconds = ns as f64 / 1e9;
            candidates.push(Candidate {
                says,
                layout,
                frames,
                seconds,
                average_fps: frames as f64 / seconds,
            });
        }
        candidates.retain(|c| c.frames > 0 && c.seconds > 0.0);
        Ok(Outcome::Ask(Box::new(Question { why, rows: sample.shown.clone(), guess, candidates })))
    }

    fn note_zone(&self, layout: &Layout, sample: &Sample, segments: &mut [Segment]) {
        let Some(wall) = layout.column(crate::recording::Role::WallClock) else { return };
        let column = &sample.columns[evidence::place(wall.index)];
        if column.stamps == 0 || column.zoned > 0 {
            return;
        }
        let says = match self.known.zone.map(|z| z.iana_name().unwrap_or("the zone given").to_owned()) {
            Some(zone) => format!("The stamps name no zone; they are taken as {zone}, the zone of the rig."),
            None => "The stamps name no zone: without the rig's zone, companions cannot be placed by them."
                .to_owned(),
        };
        for segment in segments {
            segment.problems.push(Problem {
                line: layout.header_line,
                column: wall.index,
                says: says.clone(),
            });
        }
    }
}

/// Frames and their time in ns; rows and their span for companions.
fn totals(segments: &[Segment]) -> (u64, i64) {
    segments.iter().fold((0, 0), |(frames, ns), s| {
        let recording = &s.recording;
        let time = match recording.kind {
            Kind::Frames => recording.frame_ns.iter().sum(),
            Kind::Companion => recording.span_ns(),
        };
        (frames + u64::try_from(recording.rows()).unwrap_or(0), ns + time)
    })
}

#[cfg(test)]
mod tests;
