//! What a file is by its first bytes, its bytes from the start as often as needed, and streams that cannot grow
//! without end.

use std::io::{self, Cursor, Read, Seek, SeekFrom};

use flate2::read::MultiGzDecoder;
use zip::ZipArchive;

/// Kinds of file that the first bytes tell apart.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Container {
    /// Text, as far as the first bytes tell.
    Plain,
    /// RFC 1952 (1996), section 2.3.1.
    Gzip,
    /// RFC 8878 (2021), section 3.1.1.
    Zstd,
    /// A zip archive, by its local file header or, when empty, its end record.
    Zip,
    /// Apache Parquet.
    Parquet,
    /// A JSON object at its start.
    Json,
    /// Known, but not read; in words.
    Unread(&'static str),
}

/// Judges by the first bytes.
pub fn of(head: &[u8]) -> Container {
    match head {
        [0x1F, 0x8B, ..] => Container::Gzip,
        [b'P', b'K', 3, 4, ..] | [b'P', b'K', 5, 6, ..] => Container::Zip,
        [0x28, 0xB5, 0x2F, 0xFD, ..] => Container::Zstd,
        [b'P', b'A', b'R', b'1', ..] => Container::Parquet,
        _ => match head.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(head).trim_ascii_start() {
            [b'{', ..] => Container::Json,
            [b'[', b'{' | b'[', ..] => Container::Unread(
                "one JSON array: write it as JSON Lines (an object on each line) or as delimited text, a row for each frame",
            ),
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

/// Where the bytes of one log come from; they can be had from the start as often as needed.
pub enum Bytes<'a, R> {
    /// A plain file.
    File(&'a mut R),
    /// Held whole.
    Memory(&'a [u8]),
    /// Packed, and too large to be held.
    Gzip(&'a mut R, u64),
    /// Packed, and too large to be held.
    Zstd(&'a mut R, u64),
    /// One file of an archive, too large to be held.
    Entry(&'a mut ZipArchive<R>, usize, u64),
}

impl<R: Read + Seek> Bytes<'_, R> {
    /// The bytes from the start.
    ///
    /// # Errors
    /// Those of the source, and [`TooMuch`] while reading.
    pub fn open(&mut self) -> io::Result<Box<dyn Read + '_>> {
        Ok(match self {
            Self::File(file) => {
                file.rewind()?;
                Box::new(file)
            }
            Self::Memory(bytes) => Box::new(Cursor::new(*bytes)),
            Self::Gzip(file, limit) => gunzip(file, *limit)?,
            Self::Zstd(file, limit) => unzstd(file, *limit)?,
            Self::Entry(archive, index, limit) => {
                let entry = archive.by_index(*index).map_err(io::Error::other)?;
                Box::new(Capped::new(entry, *limit))
            }
        })
    }

    /// The bytes from somewhere else, where that needs no unpacking.
    ///
    /// # Errors
    /// Those of the source.
    pub fn open_at(&mut self, at: u64) -> io::Result<Option<Box<dyn Read + '_>>> {
        Ok(match self {
            Self::File(file) => {
                file.seek(SeekFrom::Start(at))?;
                Some(Box::new(file))
            }
            Self::Memory(bytes) => {
                let at = usize::try_from(at).unwrap_or(usize::MAX).min(bytes.len());
                Some(Box::new(Cursor::new(&bytes[at..])))
            }
            Self::Gzip(..) | Self::Zstd(..) | Self::Entry(..) => None,
        })
    }
}

/// Unpacks gzip; several members after one another are one.
///
/// # Errors
/// Those of the source.
pub fn gunzip<R: Read + Seek>(file: &mut R, limit: u64) -> io::Result<Box<dyn Read + '_>> {
    file.rewind()?;
    Ok(Box::new(Capped::new(MultiGzDecoder::new(io::BufReader::new(file)), limit)))
}

/// Unpacks zstd.
///
/// # Errors
/// Those of the source.
pub fn unzstd<R: Read + Seek>(file: &mut R, limit: u64) -> io::Result<Box<dyn Read + '_>> {
    file.rewind()?;
    Ok(Box::new(Capped::new(zstd::Decoder::new(file)?, limit)))
}

/// All bytes of a stream where they are at most `most`; `None` where they are more.
///
/// # Errors
/// Those of the source.
pub fn held_whole(source: impl Read, most: u64) -> io::Result<Option<Vec<u8>>> {
    let mut bytes = Vec::new();
    source.take(most + 1).read_to_end(&mut bytes)?;
    Ok((bytes.len() as u64 <= most).then_some(bytes))
}
