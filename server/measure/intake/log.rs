//! One log from its bytes to what came of it.

use std::io::{self, Read, Seek};

use super::assemble::{self, Assembled, Conditions};
use super::container::{self, Bytes, TooMuch};
use super::contradiction;
use super::describe::place;
use super::evidence::{Evidence, Verdict};
use super::held;
use super::json_lines::{self, JsonLines};
use super::layout::{Candidate, Layout, Question, shape};
use super::lines::Lines;
use super::refusals;
use super::sample::Sample;
use super::several;
use super::table::{self, NoTable, Table};
use super::text::{self, Encoding, Utf8Stream};
use super::{Known, Outcome, Segment};
use crate::recording::{Kind, Problem, Role, Unit};

/// How much of the text the encoding and the table are judged on, bytes.
const HEAD: u64 = 1024 * 1024;
/// Ways to read a log that are offered at most.
const OFFERED: usize = 12;

/// How a log's bytes become lines of a table.
pub enum Form {
    /// They are lines.
    Text,
    /// Objects with these keys.
    Json(Vec<String>),
    /// Lines that were made from another kind of table; its rows are numbered without the header.
    Made,
}

/// One log, to be streamed from its start as often as needed.
pub struct Log<'a, R> {
    pub bytes: Bytes<'a, R>,
    pub form: Form,
    pub name: &'a str,
    pub known: &'a Known<'a>,
    /// Length of the file, where it is not packed.
    pub length: Option<u64>,
}

/// The text of a log, as found from its head.
struct Text {
    table: Table,
    /// Bytes of the byte order mark.
    mark: usize,
    /// All of it, where it is short.
    held: Option<Vec<u8>>,
    /// Column that marks dropped frames, from 0.
    dropped: Option<usize>,
}

/// What is remembered of a log of this shape, and what this one says.
enum Remembered {
    /// Nothing; what the log says.
    Not(Verdict),
    /// A layout that fits.
    Stands(Layout),
    /// A layout that does not fit, why, and what the log says.
    Contradicted(Layout, String, Verdict),
}

impl<R: Read + Seek> Log<'_, R> {
    /// Reads it.
    ///
    /// # Errors
    /// Those of the source; what is damaged or unpacks too far is refused.
    pub fn read(&mut self) -> io::Result<Outcome> {
        match self.read_text() {
            Err(e) if e.get_ref().is_some_and(|inner| inner.is::<TooMuch>()) => {
                Ok(refuse(refusals::unpacks_too_far(self.name, self.known.limits.unpacked)))
            }
            Err(e) if !matches!(self.bytes, Bytes::File(_)) && is_damage(&e) => {
                Ok(refuse(refusals::damaged(self.name, &e)))
            }
            outcome => outcome,
        }
    }

    /// The text from its start.
    fn text(&mut self, encoding: Encoding, mark: usize) -> io::Result<Utf8Stream<Box<dyn Read + '_>>> {
        let mut raw = self.bytes.open()?;
        let raw: Box<dyn Read> = match &self.form {
            Form::Text | Form::Made => {
                super::read_up_to(&mut raw, &mut [0; 4][..mark])?;
                raw
            }
            Form::Json(keys) => Box::new(JsonLines::new(raw, keys, true)),
        };
        Ok(Utf8Stream::new(raw, encoding))
    }

    /// The lines of the text from its start.
    fn lines<'t>(&'t mut self, text: &'t Text) -> io::Result<Lines<'t, Box<dyn Read + 't>>> {
        Ok(match &text.held {
            Some(held) => Lines::held(held, text.table.line_end),
            None => Lines::new(Box::new(self.text(text.table.encoding, text.mark)?), text.table.line_end),
        })
    }

    fn head(&mut self, encoding: Encoding, mark: usize) -> io::Result<Vec<u8>> {
        let mut head = Vec::new();
        self.text(encoding, mark)?.take(HEAD).read_to_end(&mut head)?;
        Ok(head)
    }

    fn read_text(&mut self) -> io::Result<Outcome> {
        let room = self.length.unwrap_or(HEAD).saturating_add(64).min(HEAD);
        let mut head = Vec::with_capacity(usize::try_from(room).unwrap_or(0));
        self.bytes.open()?.take(HEAD).read_to_end(&mut head)?;
        if container::of(&head) == container::Container::Json {
            match json_lines::keys(&head) {
                Some(keys) => {
                    self.form = Form::Json(keys);
                    head = self.head(Encoding::Utf8, 0)?;
                }
                None => return Ok(refuse(refusals::json(self.name))),
            }
        }
        let (encoding, mark) = match text::detect(&head) {
            Ok(found) => found,
            Err(at) => return Ok(refuse(refusals::not_text(self.name, &head, at))),
        };
        if matches!(encoding, Encoding::Utf16Le | Encoding::Utf16Be) {
            head = self.head(encoding, mark)?;
        } else {
            head.drain(..mark);
        }
        let whole = ((head.len() + mark) as u64) < HEAD;
        let table = match table::find(&head, whole, encoding) {
            Ok(table) => table,
            Err(why) => return Ok(refuse(refusals::no_table(self.name, &why))),
        };
        let mut text = Text { table, mark, held: whole.then_some(head), dropped: None };
        let mut sample = self.sample(&text)?;
        if text.table.settled.unsettle(&sample.odd, sample.rows) {
            sample = self.sample(&text)?;
        }
        if sample.rows == 0 {
            let none = NoTable::NoRows(text.table.header_line.max(1), text.table.names.len());
            return Ok(refuse(refusals::no_table(self.name, &none)));
        }
        let verdict = {
            let evidence = Evidence::gather(&text.table, &sample);
            text.dropped = evidence.dropped_column();
            match self.remembered(&text.table) {
                Some(layout) => match contradiction::contradicts(&layout, &evidence) {
                    None => Remembered::Stands(layout),
                    Some(why) => Remembered::Contradicted(layout, why, evidence.judge()),
                },
                None => Remembered::Not(evidence.judge()),
            }
        };
        let table = &text.table;
        match verdict {
            Remembered::Stands(layout) => self.read_certain(layout, &text, &sample, true),
            Remembered::Contradicted(layout, why, verdict) => {
                self.ask_again(layout, &why, verdict, &text, &sample)
            }
            Remembered::Not(Verdict::Certain(layout)) => self.read_certain(layout, &text, &sample, false),
            Remembered::Not(Verdict::Unsure { why, guess, ways }) => {
                self.ask(why, guess, ways, &text, &sample)
            }
            Remembered::Not(Verdict::Untimed) => Ok(refuse(refusals::untimed(self.name, table))),
            Remembered::Not(Verdict::Backwards(column)) => {
                Ok(refuse(refusals::backwards(self.name, table, column)))
            }
            Remembered::Not(Verdict::Summary) => Ok(refuse(refusals::summary(self.name, table))),
        }
    }

    /// Rows of the head; where the log goes on and can be opened anywhere, of its middle and its tail too.
    fn sample(&mut self, text: &Text) -> io::Result<Sample> {
        let table = &text.table;
        let mut sample = Sample::new(table);
        sample.take_head(self.lines(text)?, table)?;
        let length = text.held.as_ref().map(|held| held.len() as u64).or(self.length);
        let Some(length) = length.filter(|_| !sample.whole) else { return Ok(sample) };
        let wide = match table.encoding {
            Encoding::Utf16Be | Encoding::Utf16Le if text.held.is_none() => 2,
            _ => 1,
        };
        let row = sample.bytes / u64::try_from(sample.rows).unwrap_or(1).max(1) + 1;
        let block = u64::try_from(Sample::block_rows(table)).unwrap_or(0) * row * wide;
        for at in [length / 2, length.saturating_sub(block)] {
            if let Some(held) = &text.held {
                let from = usize::try_from(at).unwrap_or(usize::MAX).min(held.len());
                sample.take_block(Lines::held(&held[from..], table.line_end), table)?;
                continue;
            }
            // A whole number of characters from the mark.
            let at = at - at.saturating_sub(text.mark as u64) % wide;
            if let Some(raw) = self.bytes.open_at(at)? {
                let raw: Box<dyn Read> = match &self.form {
                    Form::Json(keys) => Box::new(JsonLines::new(raw, keys, false)),
                    Form::Text | Form::Made => raw,
                };
                sample.take_block(Lines::new(Utf8Stream::new(raw, table.encoding), table.line_end), table)?;
            }
        }
        Ok(sample)
    }

    fn read_certain(
        &mut self,
        layout: Layout,
        text: &Text,
        sample: &Sample,
        said: bool,
    ) -> io::Result<Outcome> {
        let table = &text.table;
        let (mut segments, marked, broken) = match self.rows(&layout, text, sample)? {
            Assembled::Read { segments, marked, broken } => (segments, marked, broken),
            Assembled::TooLong(line) => {
                return Ok(refuse(refusals::no_table(self.name, &NoTable::TooLong(line))));
            }
            Assembled::TooMany(line) => {
                return Ok(refuse(refusals::too_many(self.name, line, self.known.limits.rows)));
            }
        };
        if segments.is_empty() {
            return Ok(refuse(refusals::no_frame(self.name, table, &layout)));
        }
        // What a person said stands, also where the log changes; it is told all the same.
        let broken = broken.map(|broken| refusals::broken(&layout, broken));
        match broken {
            Some((_, why)) if !said => return self.ask_broken(&why, layout, text, sample),
            Some((line, says)) => segments[0].problems.push(Problem { line, column: 0, says }),
            None => {}
        }
        if let (Some(column), true, false) = (text.dropped, marked > 0, said)
            && let Verdict::Unsure { why, guess, ways } = several::dropped_or_not(&layout, column)
        {
            return self.ask(why, guess, ways, text, sample);
        }
        self.note_zone(&layout, sample, &mut segments);
        Ok(Outcome::Read { layout, segments })
    }

    /// The proof holds for part of the log only.
    fn ask_broken(&mut self, why: &str, layout: Layout, text: &Text, sample: &Sample) -> io::Result<Outcome> {
        let mut ways = vec![("as the first rows prove".to_owned(), layout.clone())];
        if layout.clock.is_some() && layout.column(Role::FrameTime).is_some() {
            let durations = Layout { clock: None, ..layout.clone() };
            ways.push(("by the frame times alone".to_owned(), durations));
            let mut stamps = layout.clone();
            stamps
                .columns
                .iter_mut()
                .filter(|c| c.role == Role::FrameTime)
                .for_each(|c| c.role = Role::Other);
            ways.push(("by the stamps alone".to_owned(), stamps));
        }
        self.ask(why.to_owned(), layout, ways, text, sample)
    }

    /// What a person once said of this shape of log, in this log's own clothes.
    fn remembered(&self, table: &Table) -> Option<Layout> {
        let shape = shape(char::from(table.delimiter), table.names.iter().map(String::as_str));
        let layout = (self.known.remembered)(&shape).filter(|l| l.columns.len() == table.names.len())?;
        Some(Layout {
            delimiter: char::from(table.delimiter),
            decimal: char::from(table.marks.decimal),
            grouped: table.marks.grouped,
            encoding: table.encoding,
            header_line: table.header_line,
            ..layout
        })
    }

    /// The log contradicts what a person once said.
    fn ask_again(
        &mut self,
        layout: Layout,
        why: &str,
        verdict: Verdict,
        text: &Text,
        sample: &Sample,
    ) -> io::Result<Outcome> {
        let why = format!("The layout remembered for this header does not fit this log: {why}");
        let ways = match verdict {
            Verdict::Certain(found) => vec![("as its own numbers say".to_owned(), found)],
            Verdict::Unsure { ways, .. } => ways,
            Verdict::Untimed | Verdict::Backwards(_) | Verdict::Summary => Vec::new(),
        };
        self.ask(why, layout, ways, text, sample)
    }

    fn rows(&mut self, layout: &Layout, text: &Text, sample: &Sample) -> io::Result<Assembled> {
        let table = &text.table;
        let last = sample
            .columns
            .last()
            .and_then(super::sample::Column::digits)
            .filter(|(low, high)| low == high && *low > 0);
        let dropped = text.dropped.filter(|_| layout.dropped.is_none());
        let conditions = Conditions {
            zone: self.known.zone,
            most_rows: self.known.limits.rows,
            expected_rows: self.expected_rows(table, sample),
            slack_ns: held::slack_ns(layout, sample),
            dropped,
            last_digits: last.map(|d| d.0),
            lines_added: u64::from(!matches!(self.form, Form::Text)),
        };
        assemble::assemble(self.lines(text)?, table, layout, conditions)
    }

    /// Rows to make room for: exact for a short log, by the file's length for a longer one.
    fn expected_rows(&self, table: &Table, sample: &Sample) -> usize {
        let Some(length) = self.length.filter(|_| !sample.whole) else { return sample.rows };
        let width = if matches!(table.encoding, Encoding::Utf16Be | Encoding::Utf16Le) { 2 } else { 1 };
        let rows = length * u64::try_from(sample.rows).unwrap_or(0) / (sample.bytes * width).max(1);
        usize::try_from(rows + rows / 64).unwrap_or(usize::MAX).min(self.known.limits.rows)
    }

    fn ask(
        &mut self,
        why: String,
        guess: Layout,
        ways: Vec<(String, Layout)>,
        text: &Text,
        sample: &Sample,
    ) -> io::Result<Outcome> {
        let mut candidates = Vec::new();
        for (says, layout) in ways.into_iter().take(OFFERED) {
            let Assembled::Read { segments, .. } = self.rows(&layout, text, sample)? else { continue };
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
        let Some(wall) = layout.column(Role::WallClock) else { return };
        let column = &sample.columns[place(wall.index)];
        if column.stamps == 0 || column.zoned > 0 {
            return;
        }
        let says = match self.known.zone.map(|z| z.iana_name().unwrap_or("the zone given").to_owned()) {
            _ if wall.unit == Unit::TimeOfDay => {
                "The stamps have no date: companions cannot be placed by them.".to_owned()
            }
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

fn is_damage(error: &io::Error) -> bool {
    !matches!(error.kind(), io::ErrorKind::TimedOut | io::ErrorKind::Interrupted)
}

fn refuse(says: String) -> Outcome {
    Outcome::Refuse { says }
}

/// Frames and their time in ns; rows and their span for companions.
fn totals(segments: &[Segment]) -> (u64, i128) {
    segments.iter().fold((0, 0), |(frames, ns), s| {
        let recording = &s.recording;
        let time = match recording.kind {
            Kind::Frames => recording.frame_ns.iter().map(|ns| i128::from(*ns)).sum(),
            Kind::Companion => i128::from(recording.span_ns()),
        };
        (frames + u64::try_from(recording.rows()).unwrap_or(0), ns + time)
    })
}
