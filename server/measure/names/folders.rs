//! Paths: with a drive, of a network, of a home, or words with a backslash between.

use std::ops::Range;

use super::is_word;

/// Folders of which the next one is called after a user.
const HOMES: [&str; 3] = ["users", "home", "documents and settings"];
/// What a user's folder is called where it is nobody's.
const NOBODY: [&str; 11] = [
    "public",
    "default",
    "shared",
    "user",
    "users",
    "all users",
    "admin",
    "administrator",
    "guest",
    "owner",
    "root",
];
/// Letters of a file's ending at most.
const ENDING: usize = 7;

fn is_separator(byte: u8) -> bool {
    byte == b'\\' || byte == b'/'
}

/// Whether a byte can stand in a name of a folder.
fn is_path(byte: u8) -> bool {
    byte >= 0x20
        && !matches!(byte, b'"' | b'<' | b'>' | b'|' | b'?' | b'*' | b',' | b';' | b':' | b'{' | b'}')
}

/// Whether a byte can stand in a name without spaces.
fn is_plain(byte: u8) -> bool {
    is_word(byte) || matches!(byte, b'-' | b'_' | b'.' | b'+')
}

fn count(bytes: &[u8], of: impl Fn(u8) -> bool) -> usize {
    bytes.iter().take_while(|byte| of(**byte)).count()
}

/// The folders of a path that begins here; `run` is the length of the word here, and nothing before `least` is looked at.
pub(super) fn at(text: &str, at: usize, run: usize, least: usize) -> Option<Range<usize>> {
    let bytes = text.as_bytes();
    let next = *bytes.get(at + run)?;
    let before = at.checked_sub(1).and_then(|before| bytes.get(before)).copied();
    let (start, first, spaces) = if run == 0 {
        match next {
            b'\\' if before != Some(b'\\') && bytes.get(at + 1) == Some(&b'\\') => (at, at, true),
            b'/' if stands_apart(bytes, at) && components(&bytes[at..]) > 1 => (at, at, false),
            b'~' if bytes.get(at + 1) == Some(&b'/') && components(&bytes[at + 1..]) > 0 => {
                (at, at + 1, false)
            }
            _ => return None,
        }
    } else if run == 1 && next == b':' && bytes[at].is_ascii_alphabetic() {
        (at, at + 2, true)
    } else if next == b'\\' {
        let own = bytes[least..at].iter().rev().take_while(|byte| is_plain(**byte)).count();
        if own + run < 2 {
            return None;
        }
        (at - own, at + run, true)
    } else {
        return None;
    };
    let separators = count(&bytes[first..], is_separator);
    let word = count(&bytes[first + separators..], is_word);
    let relative = first == at + run && run > 0;
    if separators == 0 || word == 0 || relative && word < 2 {
        return None;
    }
    let end = end(bytes, first, spaces);
    let end = folders_end(text, first, end);
    (end > first).then_some(start..end)
}

/// Whether nothing of a word, of an address or of a path stands before this byte.
fn stands_apart(bytes: &[u8], at: usize) -> bool {
    let Some(before) = at.checked_sub(1).map(|before| bytes[before]) else { return true };
    // `file://` and three strokes: the third begins a path.
    let file = bytes[..at].ends_with(b"file://");
    file || before.is_ascii_whitespace()
        || matches!(before, b'"' | b'\'' | b'=' | b':' | b'(' | b'[' | b',' | b';')
}

/// Names of at least two letters with a stroke before each.
fn components(mut bytes: &[u8]) -> usize {
    let mut found = 0;
    while bytes.first() == Some(&b'/') {
        let plain = count(&bytes[1..], is_plain);
        if plain < 2 {
            break;
        }
        bytes = &bytes[1 + plain..];
        found += 1;
    }
    found
}

/// Where the path ends whose first separator is at `first`: spaces belong to it where a separator follows, or a file's
/// ending at its end.
fn end(bytes: &[u8], first: usize, spaces: bool) -> usize {
    if !spaces {
        return first + count(&bytes[first..], |byte| is_plain(byte) || byte == b'/');
    }
    let most = first + count(&bytes[first..], is_path);
    let last =
        bytes[first..most].iter().rposition(|byte| is_separator(*byte)).map_or(first, |at| first + at + 1);
    if has_ending(&bytes[last..most]) {
        return most;
    }
    last + count(&bytes[last..most], |byte| byte != b' ')
}

fn has_ending(name: &[u8]) -> bool {
    let Some(dot) = name.iter().rposition(|byte| *byte == b'.') else { return false };
    let ending = &name[dot + 1..];
    dot > 0
        && (1..=ENDING).contains(&ending.len())
        && ending.iter().all(u8::is_ascii_alphanumeric)
        && ending.iter().any(u8::is_ascii_alphabetic)
}

/// Where the folders end: before a file's own name, or with the path.
fn folders_end(text: &str, first: usize, end: usize) -> usize {
    let bytes = text.as_bytes();
    let last = bytes[first..end].iter().rposition(|byte| is_separator(*byte)).map_or(first, |at| first + at);
    if !has_ending(&bytes[last + 1..end]) {
        return end;
    }
    let strokes = bytes[first..=last].iter().rev().take_while(|byte| is_separator(**byte)).count();
    last + 1 - strokes
}

/// Whose home a path lies in, in lower case.
pub(super) fn user(path: &str) -> Option<String> {
    let mut names = path.split(['\\', '/']).filter(|name| !name.is_empty());
    names.find(|name| HOMES.iter().any(|home| home.eq_ignore_ascii_case(name)))?;
    let user = names.next()?.to_ascii_lowercase();
    (user.len() >= 3 && !NOBODY.contains(&user.as_str())).then_some(user)
}
