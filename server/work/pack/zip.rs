//! A zip that is the same, byte for byte, for the same files: sorted, with one fixed date.

use std::io::{Cursor, Write as _};

use zip::write::{SimpleFileOptions, ZipWriter};
use zip::{CompressionMethod, DateTime};

use super::File;
use crate::work::{Internal, Result};

/// Packs files, sorted by path, under one folder.
///
/// # Errors
/// When two files have one path.
pub fn zip(folder: &str, mut files: Vec<File>) -> Result<Vec<u8>> {
    files.sort_by(|a, b| a.path.cmp(&b.path));
    let broken = |e: &dyn std::fmt::Display| Internal(format!("packing: {e}"));
    let mut writer = ZipWriter::new(Cursor::new(Vec::new()));
    let options = SimpleFileOptions::default()
        .compression_method(CompressionMethod::Deflated)
        .last_modified_time(DateTime::default())
        .unix_permissions(0o644);
    for file in &files {
        writer.start_file(format!("{folder}/{}", file.path), options).map_err(|e| broken(&e))?;
        writer.write_all(&file.bytes).map_err(|e| broken(&e))?;
    }
    Ok(writer.finish().map_err(|e| broken(&e))?.into_inner())
}

#[cfg(test)]
mod tests {
    use std::io::Read as _;

    use super::*;

    #[test]
    fn the_order_of_the_files_does_not_matter_and_each_comes_out_again() {
        let files = || vec![File::text("b.csv", "2,3\n"), File::text("a/c.svg", "<svg/>")];
        let one = zip("pack", files()).unwrap();
        let mut turned = files();
        turned.reverse();
        assert_eq!(one, zip("pack", turned).unwrap());

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
