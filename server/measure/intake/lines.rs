//! A stream cut into lines and lines into cells, in bounded memory.
//!
//! Quotes follow RFC 4180 (2005, section 2), line breaks inside them included. A quote that is not closed within a few
//! lines is a stray one: it spoils its line, not the rest of the log.

use std::io::{self, Read};

use memchr::memchr;

use super::table::Table;

/// Longest line that is still taken for a row of a log, bytes.
pub const LONGEST_LINE: usize = 1024 * 1024;
const CHUNK: usize = 256 * 1024;
/// Line breaks that a quoted cell may hold, and bytes of such a row.
const MOST_BREAKS: u64 = 16;
const LONGEST_QUOTED: usize = 64 * 1024;
/// Stands for runs of blanks between cells.
pub const BLANKS: u8 = b' ';

/// What [`Lines::advance`] gives.
#[derive(Debug, PartialEq, Eq)]
pub enum Line<'a> {
    /// Its bytes without the line end, and whether a line end followed.
    Text(&'a [u8], bool),
    /// Longer than [`LONGEST_LINE`].
    TooLong,
}

/// Lines of a stream. The line end is `\n`, `\r\n` or (where the log has no `\n`) `\r`.
pub struct Lines<R> {
    source: R,
    buffer: Vec<u8>,
    start: usize,
    filled: usize,
    end: u8,
    number: u64,
    finished: bool,
    /// Whether a quote was seen so far: most logs have none, and are spared the look for open ones.
    quotes: bool,
    unquoted: bool,
}

impl<R: Read> Lines<R> {
    /// `end` is `\n` or `\r`.
    pub fn new(source: R, end: u8) -> Self {
        let buffer = vec![0; CHUNK];
        Self {
            source,
            buffer,
            start: 0,
            filled: 0,
            end,
            number: 0,
            finished: false,
            quotes: false,
            unquoted: false,
        }
    }

    /// Those of a table's log.
    pub fn of(source: R, table: &Table) -> Self {
        Self::new(source, table.line_end)
    }

    /// Lines in which quotes mean nothing: each ends at its line end.
    #[must_use]
    pub fn unquoted(mut self) -> Self {
        self.unquoted = true;
        self
    }

    /// Number of the line given last, from 1.
    pub fn number(&self) -> u64 {
        self.number
    }

    /// The next line.
    ///
    /// # Errors
    /// Those of the source.
    pub fn advance(&mut self) -> io::Result<Option<Line<'_>>> {
        let mut searched = self.start;
        let (mut breaks, mut first_end) = (0, None);
        loop {
            if let Some(found) = memchr(self.end, &self.buffer[searched..self.filled]) {
                let to = searched + found;
                let row = &self.buffer[self.start..to];
                if self.quotes && leaves_open(row) {
                    first_end.get_or_insert(row.len());
                    if breaks < MOST_BREAKS && row.len() < LONGEST_QUOTED {
                        breaks += 1;
                        searched = to + 1;
                        continue;
                    }
                    return Ok(Some(self.give(first_end, 0, true)));
                }
                return Ok(Some(self.give(Some(row.len()), breaks, true)));
            }
            if self.finished {
                if self.start == self.filled {
                    return Ok(None);
                }
                let closed = breaks == 0 || !leaves_open(&self.buffer[self.start..self.filled]);
                return Ok(Some(if closed {
                    self.give(None, breaks, false)
                } else {
                    self.give(first_end, 0, true)
                }));
            }
            if self.filled - self.start > LONGEST_LINE {
                self.number += 1;
                return Ok(Some(Line::TooLong));
            }
            searched = self.fill()?;
        }
    }

    /// The next `length` bytes (all that are left without one) as a row that takes `breaks` lines more than one.
    fn give(&mut self, length: Option<usize>, breaks: u64, ended: bool) -> Line<'_> {
        let from = self.start;
        let to = length.map_or(self.filled, |length| from + length);
        self.start = if length.is_some() { to + 1 } else { to };
        self.number += 1 + breaks;
        Line::Text(without_return(&self.buffer[from..to]), ended)
    }

    /// Reads on, moving what is left to the front; gives where the new bytes begin.
    fn fill(&mut self) -> io::Result<usize> {
        self.buffer.copy_within(self.start..self.filled, 0);
        self.filled -= self.start;
        self.start = 0;
        if self.filled + CHUNK / 2 > self.buffer.len() {
            self.buffer.resize(self.buffer.len() * 2, 0);
        }
        let from = self.filled;
        let read = loop {
            match self.source.read(&mut self.buffer[from..]) {
                Err(e) if e.kind() == io::ErrorKind::Interrupted => {}
                other => break other?,
            }
        };
        self.quotes =
            self.quotes || !self.unquoted && memchr(b'"', &self.buffer[from..from + read]).is_some();
        self.filled += read;
        self.finished = read == 0;
        Ok(from)
    }
}

fn without_return(line: &[u8]) -> &[u8] {
    line.strip_suffix(b"\r").unwrap_or(line)
}

/// Whether a row ends inside quotes.
pub(super) fn leaves_open(row: &[u8]) -> bool {
    let (mut inside, mut at_start) = (false, true);
    for &b in row {
        match b {
            b'"' if inside => inside = false,
            // A quote right after one that closed is an escaped one.
            b'"' if at_start => inside = true,
            _ => {}
        }
        at_start = matches!(b, b',' | b';' | b'\t' | b'|' | b' ' | b'"');
    }
    inside
}

/// The cells of one line; its buffers are used again for the next.
#[derive(Default)]
pub struct Cells {
    bounds: Vec<(usize, usize)>,
    unquoted: Vec<u8>,
    quoted: bool,
}

impl Cells {
    /// Cuts `line` at `delimiter`; [`BLANKS`] cuts it at each run of blanks.
    pub fn split(&mut self, line: &[u8], delimiter: u8) {
        self.bounds.clear();
        self.quoted = false;
        if delimiter == BLANKS {
            return self.split_blanks(line);
        }
        let mut from = 0;
        // Cells are a few bytes long: one sweep is faster than a search for each delimiter and one for quotes.
        for (at, &b) in line.iter().enumerate() {
            if b == delimiter {
                self.bounds.push((from, at));
                from = at + 1;
            } else if b == b'"' {
                self.bounds.clear();
                self.quoted = true;
                self.split_quoted(line, delimiter);
                break;
            }
        }
        if !self.quoted {
            self.bounds.push((from, line.len()));
        }
        if delimiter == b'|' {
            self.drop_frame(line);
        }
    }

    /// A line that begins and ends with a bar has no cells outside them.
    fn drop_frame(&mut self, line: &[u8]) {
        let line = line.trim_ascii();
        if self.bounds.len() > 2 && line.starts_with(b"|") && line.ends_with(b"|") {
            self.bounds.pop();
            self.bounds.remove(0);
        }
    }

    fn split_blanks(&mut self, line: &[u8]) {
        self.quoted = true;
        self.unquoted.clear();
        let mut rest = line.trim_ascii();
        while let Some((&first, after)) = rest.split_first() {
            let from = self.unquoted.len();
            let closing = if first == b'"' { closing(after) } else { None };
            let cell;
            if let Some(end) = closing {
                let mut escaped = false;
                for &b in &after[..end] {
                    escaped = b == b'"' && !escaped;
                    if !escaped {
                        self.unquoted.push(b);
                    }
                }
                rest = &after[end + 1..];
            } else {
                let end = rest.iter().position(|b| matches!(b, b' ' | b'\t')).unwrap_or(rest.len());
                (cell, rest) = rest.split_at(end);
                self.unquoted.extend_from_slice(cell);
            }
            self.bounds.push((from, self.unquoted.len()));
            rest = rest.trim_ascii_start();
        }
    }

    fn split_quoted(&mut self, line: &[u8], delimiter: u8) {
        self.unquoted.clear();
        let mut from = 0;
        let mut inside = false;
        let mut bytes = line.iter().copied().peekable();
        let mut at_start = true;
        while let Some(b) = bytes.next() {
            match b {
                b'"' if inside && bytes.peek() == Some(&b'"') => {
                    bytes.next();
                    self.unquoted.push(b'"');
                }
                b'"' if inside => inside = false,
                b'"' if at_start => inside = true,
                b if b == delimiter && !inside => {
                    self.bounds.push((from, self.unquoted.len()));
                    from = self.unquoted.len();
                    at_start = true;
                    continue;
                }
                b => self.unquoted.push(b),
            }
            at_start = false;
        }
        self.bounds.push((from, self.unquoted.len()));
    }

    /// Number of cells.
    pub fn count(&self) -> usize {
        self.bounds.len()
    }

    /// Cell `index` (from 0) of `line`, which must be the line that was cut; empty where the line has fewer.
    pub fn get<'a>(&'a self, line: &'a [u8], index: usize) -> &'a [u8] {
        let bytes = if self.quoted { &self.unquoted } else { line };
        self.bounds.get(index).map_or(&[], |&(from, to)| bytes[from..to].trim_ascii())
    }

    /// All cells of `line`.
    pub fn all<'a>(&'a self, line: &'a [u8]) -> impl Iterator<Item = &'a [u8]> {
        (0..self.count()).map(move |i| self.get(line, i))
    }
}

/// Where a quoted cell ends: the quote before a blank or the end.
fn closing(text: &[u8]) -> Option<usize> {
    let mut at = 0;
    while let Some(found) = memchr(b'"', &text[at..]) {
        at += found;
        match text.get(at + 1) {
            Some(b'"') => at += 2,
            None | Some(b' ' | b'\t') => return Some(at),
            Some(_) => return None,
        }
    }
    None
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn lines(bytes: &[u8], end: u8) -> Vec<(Vec<u8>, bool)> {
        let mut lines = Lines::new(bytes, end);
        let mut out = Vec::new();
        while let Some(Line::Text(line, ended)) = lines.advance().unwrap() {
            out.push((line.to_vec(), ended));
        }
        out
    }

    #[test]
    fn line_ends_of_all_three_kinds() {
        let want = vec![(b"a".to_vec(), true), (b"".to_vec(), true), (b"b".to_vec(), false)];
        assert_eq!(lines(b"a\n\nb", b'\n'), want);
        assert_eq!(lines(b"a\r\n\r\nb", b'\n'), want);
        assert_eq!(lines(b"a\r\rb", b'\r'), want);
        assert_eq!(lines(b"", b'\n'), vec![]);
    }

    #[test]
    fn a_quoted_cell_may_hold_line_ends_and_a_stray_quote_spoils_one_line() {
        let rows = |text: &str| {
            lines(text.as_bytes(), b'\n')
                .into_iter()
                .map(|l| String::from_utf8(l.0).unwrap())
                .collect::<Vec<_>>()
        };
        assert_eq!(rows("1,\"a\nb\",2\n3\n"), ["1,\"a\nb\",2", "3"]);
        assert_eq!(rows("1,\"a \"\"x\"\"\",2\n3\n"), ["1,\"a \"\"x\"\"\",2", "3"]);
        let stray = format!("1,\"a\n{}", "2,3\n".repeat(30));
        assert_eq!(rows(&stray).len(), 31);
        assert_eq!(rows("1,\"a\n2"), ["1,\"a", "2"]);
        let mut joined = Lines::new(&b"\"a\nb\"\nc\n"[..], b'\n');
        joined.advance().unwrap();
        assert_eq!(joined.number(), 2);
    }

    #[test]
    fn runs_of_blanks_and_bars() {
        let cut = |line: &str, delimiter: u8| {
            let mut cells = Cells::default();
            cells.split(line.as_bytes(), delimiter);
            cells.all(line.as_bytes()).map(|c| String::from_utf8(c.to_vec()).unwrap()).collect::<Vec<_>>()
        };
        assert_eq!(cut("  1.5   2\t\"a b\" \"\" 3 ", BLANKS), ["1.5", "2", "a b", "", "3"]);
        assert_eq!(cut("| 1.5 | 2 |", b'|'), ["1.5", "2"]);
        assert_eq!(cut("1.5|2|", b'|'), ["1.5", "2", ""]);
    }

    #[test]
    fn a_line_over_the_limit_is_said_not_kept() {
        let long = vec![b'7'; LONGEST_LINE + CHUNK];
        assert_eq!(Lines::new(long.as_slice(), b'\n').advance().unwrap(), Some(Line::TooLong));
    }

    proptest! {
        #![proptest_config(ProptestConfig { rng_seed: proptest::test_runner::RngSeed::Fixed(11), ..ProptestConfig::default() })]

        /// Outside reference: the `csv` crate writes the line, this reads it.
        #[test]
        fn reads_what_the_csv_crate_writes(row in prop::collection::vec("[a-z0-9,;\"\\. ]{0,8}", 1..9)) {
            let mut writer = csv::WriterBuilder::new().from_writer(Vec::new());
            writer.write_record(&row).unwrap();
            let line = writer.into_inner().unwrap();
            let line = line.strip_suffix(b"\n").unwrap();
            let mut cells = Cells::default();
            cells.split(line, b',');
            let got: Vec<_> = cells.all(line).map(|c| String::from_utf8(c.to_vec()).unwrap()).collect();
            let want: Vec<_> = row.iter().map(|c| c.trim().to_owned()).collect();
            prop_assert_eq!(got, want);
        }
    }
}
