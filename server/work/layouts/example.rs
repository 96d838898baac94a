//! The first rows of a log, as they are written.

use std::io::{Cursor, Read as _};

use weighhouse_measure::intake::container::{self, Container};
use weighhouse_measure::intake::lines::{Cells, Line, Lines};
use weighhouse_measure::intake::text::{self, Utf8Stream};
use weighhouse_measure::intake::{Encoding, table};

use crate::store::{CaptureId, Store, captures};
use crate::work::{Internal, Result};

/// Rows that are shown.
const ROWS: usize = 8;
/// Bytes of text that they are looked for in.
const HEAD: u64 = 256 * 1024;

/// First rows of a capture; none where it is packed with others or is no lines of text.
///
/// # Errors
/// When the store fails.
pub(super) async fn first_rows(store: &Store, id: CaptureId) -> Result<Vec<Vec<String>>> {
    let chunk = captures::chunk(&mut *store.read().await?, id, 0).await?.unwrap_or_default();
    let rows = tokio::task::spawn_blocking(move || rows(&chunk).unwrap_or_default());
    Ok(rows.await.map_err(|e| Internal(format!("reading first rows: {e}")))?)
}

/// The head of a log, unpacked as far as it goes.
fn head(chunk: &[u8]) -> Option<Vec<u8>> {
    let mut head = Vec::new();
    let mut bytes = Cursor::new(chunk);
    // What comes before the end of the chunk is enough: that the rest is missing is no fault.
    let _ended = match container::of(chunk) {
        Container::Plain => bytes.take(HEAD).read_to_end(&mut head),
        Container::Gzip => container::gunzip(&mut bytes, HEAD).ok()?.take(HEAD).read_to_end(&mut head),
        Container::Zstd => container::unzstd(&mut bytes, HEAD).ok()?.take(HEAD).read_to_end(&mut head),
        _ => return None,
    };
    Some(head)
}

fn rows(chunk: &[u8]) -> Option<Vec<Vec<String>>> {
    let head = head(chunk)?;
    let (encoding, mark) = text::detect(&head).ok()?;
    let mut text = head.get(mark..)?.to_vec();
    if matches!(encoding, Encoding::Utf16Le | Encoding::Utf16Be) {
        let mut decoded = Vec::new();
        Utf8Stream::new(text.as_slice(), encoding).read_to_end(&mut decoded).ok()?;
        text = decoded;
    }
    let whole = u64::try_from(head.len()).is_ok_and(|bytes| bytes < HEAD);
    let table = table::find(&text, whole, encoding).ok()?;
    let mut lines = Lines::held(&text, table.line_end);
    let mut cells = Cells::default();
    let mut rows = Vec::new();
    while rows.len() < ROWS {
        let number = lines.number() + 1;
        let Some(Line::Text(line, _)) = lines.advance().ok()? else { break };
        if number < table.first_row || table.is_aside(line) {
            continue;
        }
        cells.split(line, table.delimiter);
        rows.push(cells.all(line).map(|cell| text::words(cell, encoding).into_owned()).collect());
    }
    Some(rows)
}

#[cfg(test)]
mod tests {
    use std::io::Write as _;

    use super::*;

    fn log() -> String {
        let rows = (0..40).map(|i| format!("0,{:04};8,{}\n", i * 82, 1 + i % 5));
        format!("made on a rig\nat;took\n{}", rows.collect::<String>())
    }

    fn first(bytes: &[u8]) -> Option<Vec<String>> {
        rows(bytes).and_then(|rows| rows.into_iter().next())
    }

    #[test]
    fn rows_are_shown_as_written_whatever_they_are_packed_in() {
        let log = log();
        let wide: Vec<u8> = log.encode_utf16().flat_map(u16::to_le_bytes).collect();
        let mut gzip = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::fast());
        gzip.write_all(log.as_bytes()).unwrap();
        let zstd = zstd::encode_all(log.as_bytes(), 1).unwrap();
        for bytes in [log.into_bytes(), wide, gzip.finish().unwrap(), zstd] {
            assert_eq!(first(&bytes).unwrap(), ["0,0000", "8,1"]);
            assert_eq!(rows(&bytes).unwrap().len(), ROWS);
        }
    }

    #[test]
    fn what_is_no_text_shows_no_rows() {
        assert_eq!(first(b"PK\x03\x04 an archive"), None);
        assert_eq!(first(&[0, 159, 146, 150]), None);
        assert_eq!(first(b""), None);
    }
}
