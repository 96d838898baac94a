//! A stream cut into lines and lines into cells, in bounded memory.
//!
//! A row never reaches past its line: a stray quote spoils one line, not the rest of the log, and every cell has a
//! line number. Quotes follow RFC 4180 (2005, section 2) within the line.

use std::io::{self, Read};

use memchr::memchr;

/// Longest line that is still taken for a row of a log, bytes.
pub const LONGEST_LINE: usize = 1024 * 1024;
const CHUNK: usize = 256 * 1024;

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
}

impl<R: Read> Lines<R> {
    /// `end` is `\n` or `\r`.
    pub fn new(source: R, end: u8) -> Self {
        Self { source, buffer: vec![0; CHUNK], start: 0, filled: 0, end, number: 0, finished: false }
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
        loop {
            if let Some(found) = memchr(self.end, &self.buffer[searched..self.filled]) {
                let (from, to) = (self.start, searched + found);
                self.start = to + 1;
                self.number += 1;
                return Ok(Some(Line::Text(without_return(&self.buffer[from..to]), true)));
            }
            if self.finished {
                let from = std::mem::replace(&mut self.start, self.filled);
                if from == self.filled {
                    return Ok(None);
                }
                self.number += 1;
                return Ok(Some(Line::Text(without_return(&self.buffer[from..self.filled]), false)));
            }
            if self.filled - self.start > LONGEST_LINE {
                self.number += 1;
                return Ok(Some(Line::TooLong));
            }
            searched = self.fill()?;
        }
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
        self.filled += read;
        self.finished = read == 0;
        Ok(from)
    }
}

fn without_return(line: &[u8]) -> &[u8] {
    line.strip_suffix(b"\r").unwrap_or(line)
}

/// The cells of one line; its buffers are used again for the next.
#[derive(Default)]
pub struct Cells {
    bounds: Vec<(usize, usize)>,
    unquoted: Vec<u8>,
    quoted: bool,
}

impl Cells {
    /// Cuts `line` at `delimiter`.
    pub fn split(&mut self, line: &[u8], delimiter: u8) {
        self.bounds.clear();
        self.quoted = false;
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
                return;
            }
        }
        self.bounds.push((from, line.len()));
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
