//! A zip that is the same, byte for byte, for the same files: sorted, with one fixed date.

use std::io::{Cursor, Write as _};

use zip::write::{SimpleFileOptions, ZipWriter};
use zip::{CompressionMethod, DateTime};

use super::File;
use crate::work::{Internal, Result};

/// Quickest level of deflate.
const QUICK: i64 = 1;

/// A zip being filled, file after file: none but the one that is packed is held unpacked.
pub struct Zipping {
    folder: String,
    writer: ZipWriter<Cursor<Vec<u8>>>,
}

fn broken(error: &dyn std::fmt::Display) -> Internal {
    Internal(format!("packing: {error}"))
}

impl Zipping {
    /// An empty one, whose files go under this folder.
    pub fn new(folder: &str) -> Self {
        Self { folder: folder.to_owned(), writer: ZipWriter::new(Cursor::new(Vec::new())) }
    }

    /// Adds a file. Captures are packed at the quickest level: they are most of the bytes.
    ///
    /// # Errors
    /// When there is a file with its path.
    pub fn add(&mut self, file: &File) -> Result<()> {
        let options = SimpleFileOptions::default()
            .compression_method(CompressionMethod::Deflated)
            .compression_level(file.path.starts_with("captures/").then_some(QUICK))
            .large_file(u32::try_from(file.bytes.len()).is_err())
            .last_modified_time(DateTime::default())
            .unix_permissions(0o644);
        let path = format!("{}/{}", self.folder, file.path);
        self.writer.start_file(path, options).map_err(|e| broken(&e))?;
        Ok(self.writer.write_all(&file.bytes).map_err(|e| broken(&e))?)
    }

    /// The zip.
    ///
    /// # Errors
    /// Never into memory.
    pub fn done(self) -> Result<Vec<u8>> {
        Ok(self.writer.finish().map_err(|e| broken(&e))?.into_inner())
    }
}

/// Packs files, sorted by path, under one folder.
///
/// # Errors
/// When two files have one path.
pub fn zip(folder: &str, files: Vec<File>) -> Result<Zipping> {
    let mut zipping = Zipping::new(folder);
    for file in sorted(files) {
        zipping.add(&file)?;
    }
    Ok(zipping)
}

fn sorted(mut files: Vec<File>) -> Vec<File> {
    files.sort_by(|a, b| a.path.cmp(&b.path));
    files
}

#[cfg(test)]
mod tests {
    use std::io::Read as _;

    use super::*;

    #[test]
    fn the_order_of_the_files_does_not_matter_and_each_comes_out_again() {
        let files = || vec![File::text("b.csv", "2,3\n"), File::text("a/c.svg", "<svg/>")];
        let zip = |files| super::zip("pack", files).and_then(Zipping::done);
        let one = zip(files()).unwrap();
        let mut turned = files();
        turned.reverse();
        assert_eq!(one, zip(turned).unwrap());

        let mut archive = zip::ZipArchive::new(Cursor::new(one)).unwrap();
        let names: Vec<String> = archive.file_names().map(|name| name.unwrap().into_owned()).collect();
        assert_eq!(names, ["pack/a/c.svg", "pack/b.csv"]);
        let mut text = String::new();
        archive.by_name("pack/b.csv").unwrap().read_to_string(&mut text).unwrap();
        assert_eq!(text, "2,3\n");
    }

    #[test]
    fn one_path_twice_is_told() {
        assert!(zip("pack", vec![File::text("a", "1"), File::text("a", "2")]).is_err());
    }
}
