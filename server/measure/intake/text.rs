//! Bytes to text: which encoding a log is in, and UTF-16 turned into UTF-8 while streaming.
//!
//! UTF-8 and windows-1252 are both supersets of ASCII, and numbers, delimiters and line ends are ASCII, so those two
//! are read as bytes and only names and words are decoded. UTF-16 has to be turned into UTF-8 first.

use std::borrow::Cow;
use std::io::{self, Read};

use encoding_rs::{CoderResult, Decoder, UTF_8, UTF_16BE, UTF_16LE, WINDOWS_1252};
use serde::{Deserialize, Serialize};

/// Encoding of a log.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Encoding {
    /// UTF-8, with or without a mark.
    #[serde(rename = "UTF-8")]
    Utf8,
    /// UTF-16, low byte first.
    #[serde(rename = "UTF-16LE")]
    Utf16Le,
    /// UTF-16, high byte first.
    #[serde(rename = "UTF-16BE")]
    Utf16Be,
    /// Western European single bytes: what is left when the bytes are not valid UTF-8.
    #[serde(rename = "windows-1252")]
    Windows1252,
}

/// Encoding and the length of the byte order mark, judged on the first bytes of the log.
///
/// # Errors
/// The position of the first byte that no text has.
pub fn detect(head: &[u8]) -> Result<(Encoding, usize), usize> {
    match head {
        [0xEF, 0xBB, 0xBF, ..] => return Ok((Encoding::Utf8, 3)),
        [0xFF, 0xFE, ..] => return Ok((Encoding::Utf16Le, 2)),
        [0xFE, 0xFF, ..] => return Ok((Encoding::Utf16Be, 2)),
        _ => {}
    }
    if memchr::memchr(0, head).is_some() {
        // Text of Latin letters and digits in UTF-16 has a zero in every other byte.
        let zeros = |from: usize| head.iter().skip(from).step_by(2).filter(|&&b| b == 0).count();
        let (even, odd) = (zeros(0), zeros(1));
        return match () {
            () if odd * 5 > head.len() * 2 && even * 20 < head.len() => Ok((Encoding::Utf16Le, 0)),
            () if even * 5 > head.len() * 2 && odd * 20 < head.len() => Ok((Encoding::Utf16Be, 0)),
            () => Err(head.iter().position(|&b| b == 0).unwrap_or(0)),
        };
    }
    let control = |b: u8| b < 0x20 && !matches!(b, b'\t' | b'\n' | b'\r' | 0x0C | 0x1A);
    // Whole stretches at once, without an early way out of each, go through wide registers; most have line feeds alone.
    let bare = |stretch: &[u8]| !stretch.iter().fold(false, |any, &b| any | (b < 0x20 && b != b'\n'));
    if head.chunks(1024).any(|stretch| !bare(stretch) && stretch.iter().any(|&b| control(b))) {
        return Err(head.iter().position(|&b| control(b)).unwrap_or(0));
    }
    match std::str::from_utf8(head) {
        Ok(_) => Ok((Encoding::Utf8, 0)),
        // `error_len` is `None` when the head merely ends inside a character.
        Err(e) if e.error_len().is_none() => Ok((Encoding::Utf8, 0)),
        Err(_) => Ok((Encoding::Windows1252, 0)),
    }
}

/// A name or a word of the log as text. Bytes of a stream that went through [`Utf8Stream`] are UTF-8.
pub fn words(bytes: &[u8], encoding: Encoding) -> Cow<'_, str> {
    match encoding {
        Encoding::Windows1252 => WINDOWS_1252.decode_without_bom_handling(bytes).0,
        Encoding::Utf8 | Encoding::Utf16Le | Encoding::Utf16Be => UTF_8.decode_without_bom_handling(bytes).0,
    }
}

/// The bytes of a word as the log has them, after what [`Utf8Stream`] does.
pub fn bytes(word: &str, encoding: Encoding) -> Vec<u8> {
    match encoding {
        Encoding::Windows1252 => WINDOWS_1252.encode(word).0.into_owned(),
        Encoding::Utf8 | Encoding::Utf16Le | Encoding::Utf16Be => word.as_bytes().to_vec(),
    }
}

/// A log's bytes after the mark: UTF-16 comes out as UTF-8, all else as it is.
pub struct Utf8Stream<R> {
    source: R,
    decoder: Option<Decoder>,
    input: Vec<u8>,
    start: usize,
    end: usize,
    finished: bool,
    /// Decoded, but more than there was room for.
    left: Vec<u8>,
}

const CHUNK: usize = 64 * 1024;
/// `decode_to_utf8` makes no progress in less room than the longest character takes.
const LEAST_ROOM: usize = 16;

impl<R: Read> Utf8Stream<R> {
    /// `source` stands after the mark.
    pub fn new(source: R, encoding: Encoding) -> Self {
        let decoder = match encoding {
            Encoding::Utf16Le => Some(UTF_16LE.new_decoder_without_bom_handling()),
            Encoding::Utf16Be => Some(UTF_16BE.new_decoder_without_bom_handling()),
            Encoding::Utf8 | Encoding::Windows1252 => None,
        };
        let input = if decoder.is_some() { vec![0; CHUNK] } else { Vec::new() };
        Self { source, decoder, input, start: 0, end: 0, finished: false, left: Vec::new() }
    }
}

impl<R: Read> Read for Utf8Stream<R> {
    fn read(&mut self, out: &mut [u8]) -> io::Result<usize> {
        if self.left.is_empty() && (out.len() >= LEAST_ROOM || self.decoder.is_none()) {
            return self.decode(out);
        }
        if self.left.is_empty() && !out.is_empty() {
            let mut room = [0; LEAST_ROOM];
            let read = self.decode(&mut room)?;
            self.left.extend_from_slice(&room[..read]);
        }
        let read = out.len().min(self.left.len());
        out[..read].copy_from_slice(&self.left[..read]);
        self.left.drain(..read);
        Ok(read)
    }
}

impl<R: Read> Utf8Stream<R> {
    /// Reads into no less room than [`LEAST_ROOM`] where there is something to decode.
    fn decode(&mut self, out: &mut [u8]) -> io::Result<usize> {
        let Some(decoder) = &mut self.decoder else { return self.source.read(out) };
        loop {
            if self.finished {
                return Ok(0);
            }
            if self.start == self.end {
                self.start = 0;
                self.end = self.source.read(&mut self.input)?;
            }
            let last = self.end == 0;
            let (result, read, written, _) =
                decoder.decode_to_utf8(&self.input[self.start..self.end], out, last);
            self.start += read;
            self.finished = last && result == CoderResult::InputEmpty;
            if written > 0 {
                return Ok(written);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn text_comes_out_whole_however_little_room_there_is() {
        let text = "Zeit [ms]; température °C; 🂡 16,7".repeat(40);
        let bytes: Vec<u8> = text.encode_utf16().flat_map(u16::to_le_bytes).collect();
        for room in 1..40 {
            let mut stream = Utf8Stream::new(bytes.as_slice(), Encoding::Utf16Le);
            let (mut out, mut piece) = (Vec::new(), vec![0; room]);
            loop {
                match stream.read(&mut piece).unwrap() {
                    0 => break,
                    n => out.extend_from_slice(&piece[..n]),
                }
            }
            assert_eq!(String::from_utf8(out).unwrap(), text, "{room}");
        }
    }
}
