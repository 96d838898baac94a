//! The text of a log as it came, for what is looked up in it, and the log with its text changed.

use std::io::{self, Cursor};

use encoding_rs::WINDOWS_1252;
use zip::ZipArchive;

use super::container::{self, Container, held_whole};
use super::parquet;
use super::text::{self, Encoding};

/// Bytes on which the encoding is judged.
const HEAD: usize = 1 << 20;

/// A file's text in its encoding, behind a byte order mark.
struct Text {
    mark: Vec<u8>,
    encoding: Encoding,
    text: String,
}

impl Text {
    /// `None`: the bytes are no text.
    fn of(bytes: &[u8]) -> Option<Self> {
        let (encoding, mark) = text::detect(&bytes[..bytes.len().min(HEAD)]).ok()?;
        let (mark, rest) = bytes.split_at(mark);
        let pairs = |of: fn([u8; 2]) -> u16| rest.chunks_exact(2).map(move |pair| of([pair[0], pair[1]]));
        let (encoding, text) = match encoding {
            Encoding::Utf16Le => {
                (encoding, String::from_utf16_lossy(&pairs(u16::from_le_bytes).collect::<Vec<_>>()))
            }
            Encoding::Utf16Be => {
                (encoding, String::from_utf16_lossy(&pairs(u16::from_be_bytes).collect::<Vec<_>>()))
            }
            // One byte that is no UTF-8, far down, makes none of the file.
            Encoding::Utf8 | Encoding::Windows1252 => match std::str::from_utf8(rest) {
                Ok(text) => (Encoding::Utf8, text.to_owned()),
                Err(_) => {
                    (Encoding::Windows1252, WINDOWS_1252.decode_without_bom_handling(rest).0.into_owned())
                }
            },
        };
        Some(Self { mark: mark.to_vec(), encoding, text })
    }

    fn into_bytes(self) -> Vec<u8> {
        let mut bytes = self.mark;
        match self.encoding {
            Encoding::Utf16Le => bytes.extend(self.text.encode_utf16().flat_map(u16::to_le_bytes)),
            Encoding::Utf16Be => bytes.extend(self.text.encode_utf16().flat_map(u16::to_be_bytes)),
            Encoding::Utf8 | Encoding::Windows1252 => bytes.extend(text::bytes(&self.text, self.encoding)),
        }
        bytes
    }
}

/// A log that was packed by itself, unpacked to at most `limit` bytes.
fn unpacked(bytes: &[u8], limit: u64) -> io::Result<Option<Vec<u8>>> {
    match container::of(bytes) {
        Container::Gzip => held_whole(container::gunzip(&mut Cursor::new(bytes), limit)?, limit),
        Container::Zstd => held_whole(container::unzstd(&mut Cursor::new(bytes), limit)?, limit),
        _ => Ok(None),
    }
}

/// All text of a file: its own, or that of each log in an archive; a Parquet table as lines. Empty where it has none. And
/// whether [`changed`] can change it.
///
/// # Errors
/// When what is packed is damaged, or unpacks to more than `limit` bytes.
pub fn texts(bytes: &[u8], limit: u64) -> io::Result<(Vec<String>, bool)> {
    let unpacked = unpacked(bytes, limit)?;
    let bytes = unpacked.as_deref().unwrap_or(bytes);
    let parts = match container::of(bytes) {
        Container::Plain | Container::Json => {
            let texts: Vec<String> = Text::of(bytes).map(|text| text.text).into_iter().collect();
            let changes = !texts.is_empty();
            return Ok((texts, changes));
        }
        Container::Parquet => parquet::lines(bytes.to_vec(), limit)?.into_iter().collect(),
        Container::Zip => entries(bytes, limit)?,
        Container::Gzip | Container::Zstd | Container::Unread(_) => Vec::new(),
    };
    Ok((parts.iter().filter_map(|part| Text::of(part)).map(|text| text.text).collect(), false))
}

/// The names of an archive's files, and their bytes.
fn entries(bytes: &[u8], limit: u64) -> io::Result<Vec<Vec<u8>>> {
    let mut archive = ZipArchive::new(Cursor::new(bytes)).map_err(io::Error::other)?;
    let names: Vec<String> = archive.file_names().filter_map(|name| Some(name.ok()?.into_owned())).collect();
    let (mut parts, mut left) = (vec![names.join("\n").into_bytes()], limit);
    for index in 0..archive.len() {
        let entry = archive.by_index(index).map_err(io::Error::other)?;
        let Some(part) = held_whole(container::Capped::new(entry, left), left)? else { break };
        left = left.saturating_sub(part.len() as u64);
        parts.push(part);
    }
    Ok(parts)
}

/// The log with its text changed, plain where it was packed by itself. `None` where that cannot be done to the byte: an
/// archive, a Parquet table, bytes that are no text.
///
/// # Errors
/// As [`texts`].
pub fn changed(bytes: &[u8], limit: u64, change: impl Fn(&str) -> String) -> io::Result<Option<Vec<u8>>> {
    let unpacked = unpacked(bytes, limit)?;
    let bytes = unpacked.as_deref().unwrap_or(bytes);
    if !matches!(container::of(bytes), Container::Plain | Container::Json) {
        return Ok(None);
    }
    let Some(mut text) = Text::of(bytes) else { return Ok(None) };
    text.text = change(&text.text);
    Ok(Some(text.into_bytes()))
}

#[cfg(test)]
mod tests {
    use std::io::Write as _;

    use super::*;

    const MOST: u64 = 1 << 20;
    const LOG: &str = "# fé C:\\Users\\Ada\nframe time (ms)\n16.6\n";

    fn utf16(text: &str) -> Vec<u8> {
        [0xFF, 0xFE].into_iter().chain(text.encode_utf16().flat_map(u16::to_le_bytes)).collect()
    }

    #[test]
    fn text_comes_out_of_each_encoding_and_goes_back_to_the_byte() {
        let western = WINDOWS_1252.encode(LOG).0.into_owned();
        let marked = [b"\xEF\xBB\xBF", LOG.as_bytes()].concat();
        for bytes in [LOG.as_bytes().to_vec(), western, utf16(LOG), marked] {
            assert_eq!(texts(&bytes, MOST).unwrap(), (vec![LOG.to_owned()], true));
            assert_eq!(changed(&bytes, MOST, str::to_owned).unwrap(), Some(bytes));
        }
        let there = changed(&utf16(LOG), MOST, |text| text.replace("Ada", "name 1")).unwrap();
        assert_eq!(there, Some(utf16(&LOG.replace("Ada", "name 1"))));
        assert_eq!(texts(b"\x00\x01\x02\x00", MOST).unwrap(), (Vec::new(), false));
    }

    #[test]
    fn packed_logs_are_looked_into_and_an_archive_cannot_be_changed() {
        let mut gzip = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::fast());
        gzip.write_all(LOG.as_bytes()).unwrap();
        let gzip = gzip.finish().unwrap();
        assert_eq!(texts(&gzip, MOST).unwrap(), (vec![LOG.to_owned()], true));
        assert_eq!(changed(&gzip, MOST, str::to_owned).unwrap().as_deref(), Some(LOG.as_bytes()), "plain");
        assert!(texts(&gzip, 10).is_err(), "unpacks to more");
        let mut archive = zip::ZipWriter::new(Cursor::new(Vec::new()));
        archive.start_file("home/a.csv", zip::write::SimpleFileOptions::default()).unwrap();
        archive.write_all(LOG.as_bytes()).unwrap();
        let archive = archive.finish().unwrap().into_inner();
        assert_eq!(texts(&archive, MOST).unwrap(), (vec!["home/a.csv".to_owned(), LOG.to_owned()], false));
        assert_eq!(changed(&archive, MOST, str::to_owned).unwrap(), None);
    }
}
