//! The pack: what leaves the house of a piece, as files of one zip. The same store gives the same bytes: nothing in it
//! tells when or by whom it was asked for.

pub mod bars;
pub mod carried;
pub mod columns;
pub mod figures;
pub mod left_out;
pub mod methods;
pub mod names;
pub mod package;
pub mod prices;
pub mod readers;
pub mod readings;
pub mod sheet;
pub mod state;
pub mod tables;
pub mod with_captures;
pub mod zip;

use sha2::{Digest as _, Sha256};

use super::results::hex;

/// A file of the pack.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct File {
    /// Path inside the pack.
    pub path: String,
    /// Its bytes.
    pub bytes: Vec<u8>,
}

impl File {
    /// A file of text.
    pub fn text(path: &str, text: impl Into<String>) -> Self {
        File { path: path.to_owned(), bytes: text.into().into_bytes() }
    }
}

/// SHA-256 in hexadecimal digits.
fn sha256(bytes: &[u8]) -> String {
    hex(&Sha256::digest(bytes))
}

/// A file's name made of words: letters and digits stay, all else becomes one hyphen.
pub fn file_name(words: &str) -> String {
    let mut name = String::new();
    for c in words.chars() {
        if c.is_alphanumeric() {
            name.extend(c.to_lowercase());
        } else if !name.is_empty() && !name.ends_with('-') {
            name.push('-');
        }
    }
    name.trim_end_matches('-').to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn file_names_are_plain() {
        assert_eq!(file_name("Is the Curlew worth it?"), "is-the-curlew-worth-it");
        assert_eq!(file_name("../2160p  native"), "2160p-native");
    }
}
