//! Names in logs that tell more than they should: folders of somebody's machine, the user's name in them, serial numbers,
//! identifiers of machines. Found here, and masked: the same text becomes the same mask.
//!
//! A folder is masked and the file's own name behind it is kept. What counts as a serial number is a choice of ours
//! (common practice, no source): a false mark costs a word in a pack, a missed one an owner's privacy.

mod folders;
mod serials;

use std::collections::HashMap;
use std::ops::Range;

use serde::Serialize;

/// What a name tells.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum What {
    /// Where something lies on a machine.
    Folder,
    /// Who is signed in there.
    User,
    /// Which sample or machine it is.
    Serial,
}

impl What {
    /// In words.
    pub fn says(self) -> &'static str {
        match self {
            What::Folder => "folder",
            What::User => "user's name",
            What::Serial => "serial number or machine",
        }
    }
}

/// A stretch of a text that tells too much.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Found {
    /// Bytes of the text.
    pub at: Range<usize>,
    /// What it tells.
    pub what: What,
}

/// Whether a byte belongs to a word: letters, digits, and all beyond ASCII.
fn is_word(byte: u8) -> bool {
    byte.is_ascii_alphanumeric() || byte >= 0x80
}

/// All of a text, in order, none overlapping. `users` are names that are known from elsewhere in the same log.
pub fn find(text: &str, users: &[String]) -> Vec<Found> {
    let bytes = text.as_bytes();
    let mut found = Vec::new();
    let mut at = 0;
    while at < bytes.len() {
        let run = bytes[at..].iter().take_while(|byte| is_word(**byte)).count();
        let least = found.last().map_or(0, |found: &Found| found.at.end);
        if let Some(folder) = folders::at(text, at, run, least) {
            at = folder.end.max(at + 1);
            found.push(Found { at: folder, what: What::Folder });
        } else if let Some(end) = (run > 0).then(|| serials::at(bytes, at, at + run)).flatten() {
            found.push(Found { at: at..end, what: What::Serial });
            at = end;
        } else {
            at += run.max(1);
        }
    }
    let mut known = users.to_vec();
    known.extend(self::users(text, &found));
    known.sort();
    known.dedup();
    for user in &known {
        found.extend(words(text, user, &found));
    }
    found.sort_by_key(|found| found.at.start);
    found
}

/// Users whose folders are among what was found in a text, in lower case.
pub fn users<'a>(text: &'a str, found: &'a [Found]) -> impl Iterator<Item = String> + 'a {
    let folders = found.iter().filter(|found| found.what == What::Folder);
    folders.filter_map(|folder| folders::user(&text[folder.at.clone()]))
}

/// Where a user's name stands by itself, outside of what was found.
fn words(text: &str, user: &str, found: &[Found]) -> Vec<Found> {
    let lower = text.to_ascii_lowercase();
    let bytes = text.as_bytes();
    let free = |at: &Range<usize>| {
        let alone = |byte: Option<&u8>| byte.is_none_or(|byte| !is_word(*byte));
        alone(at.start.checked_sub(1).and_then(|before| bytes.get(before)))
            && alone(bytes.get(at.end))
            && found.iter().all(|found| found.at.end <= at.start || at.end <= found.at.start)
    };
    let places = lower.match_indices(user).map(|(start, name)| start..start + name.len());
    places.filter(free).map(|at| Found { at, what: What::User }).collect()
}

/// What stands in the place of each name: `name 1`, `name 2`, in the order in which they were first met.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Masks(HashMap<String, usize>);

impl Masks {
    /// The mask of a name, a new one where it is new. A user's name is one in any case of its letters.
    pub fn give(&mut self, name: &str, what: What) -> String {
        let next = self.0.len() + 1;
        mask(*self.0.entry(key(name, what)).or_insert(next))
    }

    /// The text with each name in it masked; as it is where nothing was ever met.
    pub fn masked(&self, text: &str, users: &[String]) -> String {
        let mut out = String::new();
        let mut from = 0;
        if self.0.is_empty() {
            return text.to_owned();
        }
        for Found { at, what } in find(text, users) {
            out.push_str(&text[from..at.start]);
            let known = self.0.get(&key(&text[at.clone()], what));
            out.push_str(&known.map_or_else(|| "a name".to_owned(), |number| mask(*number)));
            from = at.end;
        }
        out.push_str(&text[from..]);
        out
    }
}

fn key(name: &str, what: What) -> String {
    if what == What::User { name.to_ascii_lowercase() } else { name.to_owned() }
}

fn mask(number: usize) -> String {
    format!("name {number}")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn found(text: &str) -> Vec<(&str, What)> {
        find(text, &[]).into_iter().map(|found| (&text[found.at], found.what)).collect()
    }

    #[test]
    fn folders_are_found_however_they_are_written_and_the_files_own_name_is_left() {
        for (text, folder) in [
            (r"C:\Users\Ada\hairpin 2.csv", r"C:\Users\Ada"),
            (r"D:\Bench Logs\Curlew week\run.csv", r"D:\Bench Logs\Curlew week"),
            ("D:/bench/logs/run.csv", "D:/bench/logs"),
            (r"\\STORE-2\reviews\curlew\run.csv", r"\\STORE-2\reviews\curlew"),
            (r#"{"p":"C:\\Users\\Ada\\vellum.exe"}"#, r"C:\\Users\\Ada"),
            ("/home/ada/run.csv", "/home/ada"),
            ("program=/opt/games/vellum/vellum.bin,16.6", "/opt/games/vellum"),
            ("file:///home/ada/x.csv", "/home/ada"),
            ("~/logs/run.csv", "~/logs"),
            (r"QUILL-PC\ada", r"QUILL-PC\ada"),
        ] {
            assert_eq!(found(text).first(), Some(&(folder, What::Folder)), "{text}");
        }
    }

    #[test]
    fn a_path_ends_where_the_sentence_goes_on() {
        assert_eq!(
            found(r"Wrote C:\Games\Vellum Racing\vellum.exe at 12:00")[0].0,
            r"C:\Games\Vellum Racing"
        );
        assert_eq!(found(r"Folder C:\Games\Vellum, 3 passes")[0].0, r"C:\Games\Vellum");
        assert_eq!(found("x;/mnt/disk2/logs;y")[0].0, "/mnt/disk2/logs");
    }

    #[test]
    fn a_users_name_is_found_wherever_it_stands_in_the_same_log() {
        let text = "# C:\\Users\\Quillmoor\\run.csv\n# operator: quillmoor, not quillmoors\n";
        let names = found(text);
        assert_eq!(names, [("C:\\Users\\Quillmoor", What::Folder), ("quillmoor", What::User)]);
        let users = |text| super::users(text, &find(text, &[])).collect::<Vec<String>>();
        assert_eq!(users(text), ["quillmoor"]);
        let elsewhere = find("curlew-QUILLMOOR-3.csv", &users(text));
        assert_eq!(elsewhere, [Found { at: 7..16, what: What::User }]);
        assert_eq!(users(r"C:\Users\Public\run.csv"), Vec::<String>::new(), "nobody's name");
        assert_eq!(users("/home/ada quill"), ["ada"]);
    }

    #[test]
    fn serial_numbers_and_identifiers_of_machines_are_found() {
        for name in [
            "GPU0123456789AB",
            "TW0099887766",
            "A1B2C3D4E5F6",
            "6f9619ff-8b86-d011-b42d-00c04fc964ff",
            "00:1A:2b:3c:4D:5e",
            "00-1A-2B-3C-4D-5E",
            "0x1f3a9c2277de01",
        ] {
            assert_eq!(found(&format!("card {name}, fine")), [(name, What::Serial)], "{name}");
        }
        assert_eq!(found("Serial number: 00998877"), [("00998877", What::Serial)]);
        assert_eq!(found("s/n,\"44556677\""), [("44556677", What::Serial)]);
    }

    #[test]
    fn ordinary_names_and_numbers_are_left_alone() {
        for text in [
            "Tarnwick Curlew",
            "curlew-hairpin-3.csv.gz",
            "vellum_20261124T2230.csv",
            "run 20261124223033.csv",
            "run20261124223033.csv",
            "2026-11-24T22:30:33.123456789Z",
            "24/11/2026 22:30",
            "frame time (ms)",
            "frames/s; ms/frame; N/A; CPU/GPU",
            "https://example.org/notes/run.html",
            "2160p native, DX12, 16GB",
            "tarn32dx11umd64.dll",
            "Vellum Racing 4.1.0.22871",
            "0.016667123,1.2345678901234e-05,1234567890123",
            "16667000ns 1234567890us",
            "C: and /x and a\\b",
            "18446744073709551615",
            "Rig A, Renske's bench",
            "{\"t\":0.5,\"says\":\"a\\nb\"}",
        ] {
            assert_eq!(found(text), [], "{text}");
        }
    }

    #[test]
    fn the_same_text_becomes_the_same_mask_and_what_is_no_name_stays_to_the_byte() {
        let log = "C:\\Users\\Ada\\a.exe,1\nC:\\Users\\Ada\\b.exe,2\nADA,GPU0123456789AB\n";
        let mut masks = Masks::default();
        assert_eq!(masks.masked(log, &[]), log, "nothing was met");
        for Found { at, what } in find(log, &[]) {
            masks.give(&log[at], what);
        }
        assert_eq!(masks.masked(log, &[]), "name 1\\a.exe,1\nname 1\\b.exe,2\nname 2,name 3\n");
        assert_eq!(masks.masked("é /home/zoe/é.csv", &[]), "é a name/é.csv", "one that was never met");
        assert_eq!(masks.give("ada", What::User), "name 2", "in any case of letters");
    }
}
