//! A zip that is the same, byte for byte, for the same files in the same order, with one fixed date. It is written to a
//! nameless file beside the store: of what it holds, only what is being packed is in memory.

use std::fs::File as Written;
use std::io::{BufWriter, Seek as _, Write as _};
use std::path::Path;

use zip::write::{SimpleFileOptions, ZipWriter};
use zip::{CompressionMethod, DateTime};

use super::File;
use crate::work::spool::{disk, nameless};
use crate::work::{Internal, Result};

/// Quickest level of deflate.
const QUICK: i64 = 1;

/// A zip being filled, file after file.
pub struct Zipping {
    folder: String,
    writer: ZipWriter<BufWriter<Written>>,
}

fn broken(error: zip::result::ZipError) -> crate::work::Error {
    match error {
        zip::result::ZipError::Io(error) => disk(error),
        error => Internal(format!("packing: {error}")).into(),
    }
}

impl Zipping {
    /// An empty one beside the store, whose files go under this folder.
    ///
    /// # Errors
    /// When there is no room for it.
    pub fn new(store: &Path, folder: &str) -> Result<Self> {
        Ok(Self::into(nameless(store).map_err(disk)?, folder))
    }

    fn into(file: Written, folder: &str) -> Self {
        Self { folder: folder.to_owned(), writer: ZipWriter::new(BufWriter::new(file)) }
    }

    /// Begins a file of so many bytes, which [`Self::write`] gives. Captures are packed at the quickest level: they are most
    /// of the bytes.
    ///
    /// # Errors
    /// When there is a file with its path.
    pub fn start(&mut self, path: &str, bytes: u64) -> Result<()> {
        let options = SimpleFileOptions::default()
            .compression_method(CompressionMethod::Deflated)
            .compression_level(path.starts_with("captures/").then_some(QUICK))
            .large_file(u32::try_from(bytes).is_err())
            .last_modified_time(DateTime::default())
            .unix_permissions(0o644);
        self.writer.start_file(format!("{}/{path}", self.folder), options).map_err(broken)
    }

    /// The next bytes of the file that was begun.
    ///
    /// # Errors
    /// When there is no room for them.
    pub fn write(&mut self, bytes: &[u8]) -> Result<()> {
        self.writer.write_all(bytes).map_err(disk)
    }

    /// Adds a file.
    ///
    /// # Errors
    /// When there is a file with its path, or no room.
    pub fn add(&mut self, file: &File) -> Result<()> {
        self.start(&file.path, file.bytes.len() as u64)?;
        self.write(&file.bytes)
    }

    /// The zip, at its start, and its length in bytes.
    ///
    /// # Errors
    /// When there is no room for the rest of it.
    pub fn done(self) -> Result<(Written, u64)> {
        let mut file =
            self.writer.finish().map_err(broken)?.into_inner().map_err(|e| disk(e.into_error()))?;
        let length = file.stream_position().map_err(disk)?;
        file.rewind().map_err(disk)?;
        Ok((file, length))
    }
}

#[cfg(test)]
mod tests {
    use std::io::Read as _;

    use super::*;

    fn zipped(files: &[File]) -> Result<Vec<u8>> {
        let mut zipping = Zipping::into(tempfile::tempfile().unwrap(), "pack");
        files.iter().try_for_each(|file| zipping.add(file))?;
        let (mut file, length) = zipping.done()?;
        let mut bytes = Vec::new();
        file.read_to_end(&mut bytes).unwrap();
        assert_eq!(bytes.len() as u64, length);
        Ok(bytes)
    }

    #[test]
    fn the_same_files_give_the_same_bytes_and_each_comes_out_again() {
        let files = [File::text("a/c.svg", "<svg/>"), File::text("b.csv", "2,3\n")];
        let one = zipped(&files).unwrap();
        assert_eq!(one, zipped(&files).unwrap());
        let mut archive = zip::ZipArchive::new(std::io::Cursor::new(one)).unwrap();
        let names: Vec<String> = archive.file_names().map(|name| name.unwrap().into_owned()).collect();
        assert_eq!(names, ["pack/a/c.svg", "pack/b.csv"]);
        let mut text = String::new();
        archive.by_name("pack/b.csv").unwrap().read_to_string(&mut text).unwrap();
        assert_eq!(text, "2,3\n");
    }

    #[test]
    fn a_file_in_pieces_is_the_file_at_once() {
        let mut zipping = Zipping::into(tempfile::tempfile().unwrap(), "pack");
        zipping.start("captures/a", 6).unwrap();
        for piece in [b"fra", b"mes"] {
            zipping.write(piece).unwrap();
        }
        let mut archive = zip::ZipArchive::new(zipping.done().unwrap().0).unwrap();
        let mut text = String::new();
        archive.by_name("pack/captures/a").unwrap().read_to_string(&mut text).unwrap();
        assert_eq!(text, "frames");
    }

    #[test]
    fn one_path_twice_is_told() {
        assert!(zipped(&[File::text("a", "1"), File::text("a", "2")]).is_err());
    }
}
