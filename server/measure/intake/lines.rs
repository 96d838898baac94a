//! A stream cut into lines and lines into cells, in bounded memory.
//!
//! Quotes follow RFC 4180 (2005, section 2), line breaks inside them included. A quote that is not closed within a few
//! lines is a stray one: it spoils its line, not the rest of the log.

use std::borrow::Cow;
use std::io::{self, Read};

use memchr::memchr;
use wide::u8x16;

use super::block::{Block, Row};

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
pub struct Lines<'a, R> {
    source: R,
    buffer: Cow<'a, [u8]>,
    start: usize,
    filled: usize,
    end: u8,
    number: u64,
    finished: bool,
    unquoted: bool,
}

impl<'a> Lines<'a, Box<dyn Read + 'a>> {
    /// Lines of a text that is held whole: nothing of it is copied.
    pub fn held(text: &'a [u8], end: u8) -> Self {
        let buffer = Cow::Borrowed(text);
        Self { buffer, filled: text.len(), finished: true, ..Self::empty(Box::new(io::empty()), end) }
    }
}

impl<R: Read> Lines<'_, R> {
    /// `end` is `\n` or `\r`.
    pub fn new(source: R, end: u8) -> Self {
        Self { buffer: Cow::Owned(vec![0; CHUNK]), ..Self::empty(source, end) }
    }

    fn empty(source: R, end: u8) -> Self {
        Self {
            source,
            buffer: Cow::Borrowed(&[]),
            start: 0,
            filled: 0,
            end,
            number: 0,
            finished: false,
            unquoted: false,
        }
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
                if !self.unquoted && leaves_open(row) {
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

    /// Cuts the plain rows ahead, as far as they are held, into `block`; gives their text.
    pub fn plain_rows(&mut self, block: &mut Block, delimiter: u8) -> &[u8] {
        let from = self.start;
        self.start += block.cut(&self.buffer[from..self.filled], self.end, delimiter);
        self.number += u64::try_from(block.rows()).unwrap_or(0);
        &self.buffer[from..self.start]
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
        let buffer = self.buffer.to_mut();
        buffer.copy_within(self.start..self.filled, 0);
        self.filled -= self.start;
        self.start = 0;
        if self.filled + CHUNK / 2 > buffer.len() {
            buffer.resize(buffer.len() * 2, 0);
        }
        let from = self.filled;
        let read = loop {
            match self.source.read(&mut buffer[from..]) {
                Err(e) if e.kind() == io::ErrorKind::Interrupted => {}
                other => break other?,
            }
        };
        self.filled += read;
        self.finished = read == 0;
        Ok(from)
    }
}

pub(super) fn without_return(line: &[u8]) -> &[u8] {
    line.strip_suffix(b"\r").unwrap_or(line)
}

/// Whether a row ends inside quotes.
pub(super) fn leaves_open(row: &[u8]) -> bool {
    // Most rows have no quotes.
    if memchr(b'"', row).is_none() {
        return false;
    }
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
    /// Cells of the line, also where the bounds of the last ones are not kept.
    count: usize,
    unquoted: Vec<u8>,
    quoted: bool,
}

impl Cells {
    /// Cuts `line` at `delimiter`; [`BLANKS`] cuts it at each run of blanks.
    pub fn split(&mut self, line: &[u8], delimiter: u8) {
        self.split_first(line, delimiter, usize::MAX);
    }

    /// Cuts off the first `wanted` cells at least; the others are only counted.
    pub fn split_first(&mut self, line: &[u8], delimiter: u8, wanted: usize) {
        self.bounds.clear();
        self.quoted = false;
        match delimiter {
            BLANKS => self.split_blanks(line),
            b'|' => {
                self.split_plain(line, delimiter, usize::MAX);
                self.drop_frame(line);
            }
            _ => self.split_plain(line, delimiter, wanted),
        }
        if self.quoted {
            self.count = self.bounds.len();
        }
    }

    /// Cells without quotes, up to the first quote: then the line is cut anew.
    fn split_plain(&mut self, line: &[u8], delimiter: u8, wanted: usize) {
        let (mut from, mut count) = (0, 1);
        let (blocks, rest) = line.as_chunks::<BLOCK>();
        let mut last = [0; BLOCK];
        last[..rest.len()].copy_from_slice(rest);
        for (block, base) in
            blocks.iter().chain((!rest.is_empty()).then_some(&last)).zip((0..).step_by(BLOCK))
        {
            let (mut ends, quotes) = places(block, delimiter);
            if quotes != 0 {
                self.bounds.clear();
                self.quoted = true;
                return self.split_quoted(line, delimiter);
            }
            let here = ends.count_ones() as usize;
            count += here;
            if self.bounds.len() < wanted {
                let so_far = self.bounds.len();
                self.bounds.resize(so_far + here, (0, 0));
                for bound in &mut self.bounds[so_far..] {
                    let at = base + ends.trailing_zeros() as usize;
                    *bound = (from, at);
                    from = at + 1;
                    ends &= ends - 1;
                }
            }
        }
        if self.bounds.len() + 1 == count {
            self.bounds.push((from, line.len()));
        }
        self.count = count;
    }

    /// A line that begins and ends with a bar has no cells outside them.
    fn drop_frame(&mut self, line: &[u8]) {
        let line = line.trim_ascii();
        if self.bounds.len() > 2 && line.starts_with(b"|") && line.ends_with(b"|") {
            self.bounds.pop();
            self.bounds.remove(0);
            self.count = self.bounds.len();
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
        self.count
    }

    /// Cell `index` (from 0) of `line`, which must be the line that was cut; empty where the line has fewer.
    #[inline]
    pub fn get<'a>(&'a self, line: &'a [u8], index: usize) -> &'a [u8] {
        let bytes = if self.quoted { &self.unquoted } else { line };
        self.bounds.get(index).map_or(&[], |&(from, to)| match &bytes[from..to] {
            cell @ [b'!'..=b'~', .., b'!'..=b'~'] => cell,
            cell => cell.trim_ascii(),
        })
    }

    /// All cells of `line`.
    pub fn all<'a>(&'a self, line: &'a [u8]) -> impl Iterator<Item = &'a [u8]> {
        (0..self.bounds.len()).map(move |i| self.get(line, i))
    }
}

/// A line and its cells.
#[derive(Clone, Copy)]
pub struct RowOfLine<'a>(pub &'a Cells, pub &'a [u8]);

impl Row for RowOfLine<'_> {
    fn cell(&self, column: usize) -> &[u8] {
        self.0.get(self.1, column)
    }
}

/// Bytes that are compared at once.
const BLOCK: usize = 64;

/// Where in a block its delimiters and its quotes stand, a bit for each byte.
fn places(block: &[u8; BLOCK], delimiter: u8) -> (u64, u64) {
    let (delimiter, quote) = (u8x16::splat(delimiter), u8x16::splat(b'"'));
    let (parts, _) = block.as_chunks::<16>();
    let (mut delimiters, mut quotes) = (0, 0);
    for (part, shift) in parts.iter().zip((0..).step_by(16)) {
        let part = u8x16::new(*part);
        delimiters |= u64::from(part.simd_eq(delimiter).to_bitmask()) << shift;
        quotes |= u64::from(part.simd_eq(quote).to_bitmask()) << shift;
    }
    (delimiters, quotes)
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

    #[test]
    fn cells_that_are_not_wanted_are_counted_all_the_same() {
        let line = (0..100).map(|i| format!("{i}.5")).collect::<Vec<_>>().join(";");
        let mut cells = Cells::default();
        cells.split_first(line.as_bytes(), b';', 3);
        assert_eq!((cells.count(), cells.get(line.as_bytes(), 2)), (100, &b"2.5"[..]));
        cells.split(line.as_bytes(), b';');
        assert_eq!((cells.count(), cells.get(line.as_bytes(), 99)), (100, &b"99.5"[..]));
        assert_eq!(cells.all(line.as_bytes()).count(), 100);
        for quoted in ["1;\"a;b\";3", "1 \"a b\" 3"] {
            cells.split_first(quoted.as_bytes(), if quoted.contains(';') { b';' } else { BLANKS }, 1);
            assert_eq!(cells.count(), 3);
        }
    }

    #[test]
    fn lines_of_a_held_text_are_those_of_a_stream() {
        let text = b"1,\"a\nb\",2\n3\n4";
        let mut held = Lines::held(text, b'\n');
        let mut out = Vec::new();
        while let Some(Line::Text(line, ended)) = held.advance().unwrap() {
            out.push((line.to_vec(), ended));
        }
        assert_eq!(out, lines(text, b'\n'));
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
