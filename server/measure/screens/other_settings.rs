//! Other settings: a pass that ran with another settings file than the other passes of its cell in the same rig.
//!
//! Digests of the files are compared, not what is in them: whether the change matters is for a person to say. A pass of
//! whose file nothing is known says nothing.

use super::{Flag, FlagKind};
use crate::recording::Window;
use std::collections::BTreeMap;

/// Digits of a digest that a sentence shows.
const SHOWN: usize = 8;

/// A pass as it is looked at.
#[derive(Clone, Copy, Debug)]
pub struct RanWith<'a> {
    /// Its number in the cell.
    pub number: i64,
    /// Digest of its settings file, hexadecimal, where it is known.
    pub file: Option<&'a str>,
    /// What counts of it.
    pub window: Window,
}

/// The passes that ran with another file than most of them, by their places in `passes`, each flagged; where no file has
/// more passes than the others, the one of the earliest pass is held to be meant.
pub fn other_settings(passes: &[RanWith<'_>]) -> Vec<(usize, Flag)> {
    let mut files: BTreeMap<&str, Vec<i64>> = BTreeMap::new();
    for pass in passes {
        if let Some(file) = pass.file {
            files.entry(file).or_default().push(pass.number);
        }
    }
    let most = |numbers: &Vec<i64>| (numbers.len(), std::cmp::Reverse(numbers.iter().min().copied()));
    let Some((usual, numbers)) = files.iter().max_by_key(|(_, numbers)| most(numbers)) else {
        return Vec::new();
    };
    let others = passes.iter().enumerate().filter_map(|(at, pass)| Some((at, pass, pass.file?)));
    others
        .filter(|(.., file)| file != usual)
        .map(|(at, pass, file)| (at, flag(pass.window, file, usual, numbers)))
        .collect()
}

fn flag(window: Window, file: &str, usual: &str, numbers: &[i64]) -> Flag {
    let short = |digest: &str| digest.get(..SHOWN).unwrap_or(digest).to_owned();
    let numbers: Vec<String> = numbers.iter().map(i64::to_string).collect();
    let passes = if numbers.len() == 1 { "pass" } else { "passes" };
    Flag {
        kind: FlagKind::OtherSettings,
        start_ns: window.start_ns,
        end_ns: window.end_ns,
        strength: 1.0,
        moves: None,
        says: format!(
            "ran with another settings file ({}) than {passes} {} ({})",
            short(file),
            numbers.join(", "),
            short(usual)
        ),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn found(files: &[Option<&str>]) -> Vec<(usize, String)> {
        let window = Window { start_ns: 0, end_ns: 60_000_000_000 };
        let ran = (1..).zip(files).map(|(number, file)| RanWith { number, file: *file, window });
        let passes: Vec<RanWith<'_>> = ran.collect();
        other_settings(&passes).into_iter().map(|(at, flag)| (at, flag.says)).collect()
    }

    #[test]
    fn the_pass_with_another_file_is_named_with_those_it_differs_from() {
        let (a, b) = ("aaaaaaaa00", "bbbbbbbb00");
        let says = "ran with another settings file (bbbbbbbb) than passes 1, 3 (aaaaaaaa)".to_owned();
        assert_eq!(found(&[Some(a), Some(b), Some(a), None]), [(1, says)]);
        let says = "ran with another settings file (aaaaaaaa) than pass 1 (bbbbbbbb)".to_owned();
        assert_eq!(found(&[Some(b), Some(a)]), [(1, says)], "the earliest is meant");
    }

    #[test]
    fn one_file_or_none_that_is_known_says_nothing() {
        assert_eq!(found(&[]), []);
        assert_eq!(found(&[None, None]), []);
        assert_eq!(found(&[Some("a"), None, Some("a")]), []);
    }
}
