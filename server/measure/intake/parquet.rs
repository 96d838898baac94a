//! Apache Parquet as a table of text: the flat columns of each row, written as they are.

use std::fmt::Write as _;
use std::io::{self, Read};
use std::panic::{AssertUnwindSafe, catch_unwind};

use ::parquet::column::page::Page;
use ::parquet::file::reader::{FileReader, SerializedFileReader};
use ::parquet::record::reader::RowIter;
use ::parquet::record::{Field, Row};
use bytes::Bytes;

use super::container::held_whole;

/// The lines of a table that is held whole; `None` where they are more than `most` bytes.
///
/// # Errors
/// When it is damaged. The crate that reads it stops at some damages with a panic instead of an error: that is one too.
pub fn lines(held: Vec<u8>, most: u64) -> io::Result<Option<Vec<u8>>> {
    let read = AssertUnwindSafe(|| Rows::open(held.into()).and_then(|rows| held_whole(rows, most)));
    catch_unwind(read).unwrap_or_else(|_| Err(damaged("its pages contradict each other")))
}

/// A stream of lines of tab-separated text, a header first.
struct Rows {
    rows: RowIter<'static>,
    out: String,
    given: usize,
}

impl Rows {
    /// Opens a file that is held whole.
    ///
    /// # Errors
    /// When it is damaged.
    fn open(bytes: Bytes) -> io::Result<Self> {
        let file = SerializedFileReader::new(bytes).map_err(damaged)?;
        hold_dictionaries(&file)?;
        let names: Vec<String> =
            file.metadata().file_metadata().schema().get_fields().iter().map(|f| cell(f.name())).collect();
        let mut out = names.join("\t");
        out.push('\n');
        Ok(Self { rows: RowIter::from_file_into(Box::new(file)), out, given: 0 })
    }
}

/// Refuses dictionaries that claim more values than they have bytes: the crate makes room for all of them before it reads
/// one. (A value of a dictionary takes a byte at least: Parquet format, Encodings, PLAIN.)
fn hold_dictionaries(file: &dyn FileReader) -> io::Result<()> {
    for group in 0..file.num_row_groups() {
        let group = file.get_row_group(group).map_err(damaged)?;
        for column in 0..group.num_columns() {
            let mut pages = group.get_column_page_reader(column).map_err(damaged)?;
            while let Some(next) = pages.peek_next_page().map_err(damaged)? {
                if !next.is_dict {
                    pages.skip_next_page().map_err(damaged)?;
                    continue;
                }
                let Some(Page::DictionaryPage { buf, num_values, .. }) =
                    pages.get_next_page().map_err(damaged)?
                else {
                    return Err(damaged("a dictionary is something else"));
                };
                if usize::try_from(num_values).map_or(true, |values| values > buf.len()) {
                    return Err(damaged("a dictionary claims more values than it holds"));
                }
            }
        }
    }
    Ok(())
}

fn damaged(error: impl std::fmt::Display) -> io::Error {
    io::Error::new(io::ErrorKind::InvalidData, error.to_string())
}

fn cell(words: &str) -> String {
    if words.contains(['\t', '\n', '\r', '"']) {
        format!("\"{}\"", words.replace(['\n', '\r'], " ").replace('"', "\"\""))
    } else {
        words.to_owned()
    }
}

fn write(out: &mut String, row: &Row) {
    for (i, (_, field)) in row.get_column_iter().enumerate() {
        if i > 0 {
            out.push('\t');
        }
        let written = match field {
            Field::Null => Ok(()),
            Field::Str(words) => out.write_str(&cell(words)),
            Field::Float(v) => write!(out, "{v}"),
            Field::Double(v) => write!(out, "{v}"),
            Field::TimestampMillis(v) | Field::TimestampMicros(v) => write!(out, "{v}"),
            other => out.write_str(&cell(&other.to_string())),
        };
        debug_assert!(written.is_ok(), "writing to a string does not fail");
    }
    out.push('\n');
}

impl Read for Rows {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        while self.given == self.out.len() {
            self.out.clear();
            self.given = 0;
            match self.rows.next() {
                None => return Ok(0),
                Some(row) => write(&mut self.out, &row.map_err(damaged)?),
            }
        }
        let left = &self.out.as_bytes()[self.given..];
        let count = left.len().min(into.len());
        into[..count].copy_from_slice(&left[..count]);
        self.given += count;
        Ok(count)
    }
}
