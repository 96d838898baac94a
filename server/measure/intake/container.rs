//! What a file is by its first bytes, and a stream out of it that cannot grow without end.

use std::io::{self, Read};

/// Kinds of file that the first bytes tell apart.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Container {
    /// Text, as far as the first bytes tell.
    Plain,
    /// RFC 1952 (1996), section 2.3.1.
    Gzip,
    /// Known, but not read; in words.
    Unread(&'static str),
}

/// Judges by the first bytes.
pub fn of(head: &[u8]) -> Container {
    match head {
        [0x1F, 0x8B, ..] => Container::Gzip,
        [b'P', b'K', 3, 4, ..] => Container::Unread("a zip archive: unpack it and give the logs in it"),
        [0x28, 0xB5, 0x2F, 0xFD, ..] => Container::Unread("packed with zstd: unpack it first"),
        [b'P', b'A', b'R', b'1', ..] => {
            Container::Unread("a Parquet table: write it as delimited text with the units in its header")
        }
        _ => match head.trim_ascii_start() {
            [b'{', ..] | [b'[', b'{' | b'[', ..] => {
                Container::Unread("JSON: write it as delimited text, a row for each frame")
            }
            _ => Container::Plain,
        },
    }
}

/// Unpacking went past the limit.
#[derive(Debug, thiserror::Error)]
#[error("unpacks to more than {limit} bytes")]
pub struct TooMuch {
    /// The limit, bytes.
    pub limit: u64,
}

/// A stream that ends in [`TooMuch`] instead of giving more than its limit.
pub struct Capped<R> {
    source: R,
    limit: u64,
    left: u64,
}

impl<R> Capped<R> {
    /// At most `limit` bytes.
    pub fn new(source: R, limit: u64) -> Self {
        Self { source, limit, left: limit }
    }
}

impl<R: Read> Read for Capped<R> {
    fn read(&mut self, out: &mut [u8]) -> io::Result<usize> {
        let read = self.source.read(out)?;
        self.left = self
            .left
            .checked_sub(u64::try_from(read).unwrap_or(u64::MAX))
            .ok_or_else(|| io::Error::new(io::ErrorKind::InvalidData, TooMuch { limit: self.limit }))?;
        Ok(read)
    }
}
