//! The pack of a piece: what is in it, what of it is agreed, and the way to take it.

use askama::Template;
use serde::Serialize;

use super::{Embargo, Frame, Page};
use crate::format;

/// The pack page.
#[derive(Clone, Debug, Template, Serialize)]
#[template(path = "pack.html")]
pub struct Pack {
    /// Around the page.
    #[serde(skip)]
    pub frame: Frame,
    /// Key of the piece.
    pub piece: String,
    /// Figures that are agreed.
    pub agreed: u64,
    /// All figures that were not withdrawn.
    pub figures: u64,
    /// Figures that lapsed.
    pub lapsed: u64,
    /// Figures built on a pass on which rulings of two people stand.
    pub disputed: u64,
    /// Flagged passes that nobody ruled on: they count in all numbers.
    pub flagged: u64,
    /// Charts, in the order of the pack.
    pub charts: Vec<ChartEntry>,
    /// Other files.
    pub files: Vec<FileEntry>,
    /// What is to be known of parts that were carried over, before the pack leaves.
    pub carried: Vec<String>,
    /// Bytes of the captures that can go along.
    pub captured: u64,
    /// The piece's embargo, until it ends.
    pub embargo: Option<Embargo>,
    /// Names in logs that look like paths or serial numbers.
    pub names_found: u64,
    /// The first of them, with what they become.
    pub names: Vec<NameEntry>,
    /// Logs with names in them that cannot be masked.
    pub not_masked: Vec<String>,
    /// Head of the audit trail.
    pub head: String,
}

impl Pack {
    fn held(&self) -> bool {
        self.embargo.as_ref().is_some_and(|embargo| embargo.holds)
    }

    /// How many names are not listed, in words; empty: none.
    pub fn more_names(&self) -> String {
        let more = self.names_found.saturating_sub(self.names.len() as u64);
        if more == 0 { String::new() } else { format!("{} more are masked too.", format::count(more)) }
    }
}

/// A chart of the pack.
#[derive(Clone, Debug, Serialize)]
pub struct ChartEntry {
    /// File name without folder and ending.
    pub name: String,
    /// Title.
    pub title: String,
    /// Whether a number in it is not agreed: it then says so across itself.
    pub draft: bool,
    /// Whether the piece keeps it with words of its own.
    pub kept: bool,
    /// The chart, light.
    #[serde(skip)]
    pub svg: String,
}

/// A file of the pack.
#[derive(Clone, Debug, Serialize)]
pub struct FileEntry {
    /// Path in the pack.
    pub path: String,
    /// What it holds.
    pub says: String,
}

/// A name in a log that looks like a path or a serial number.
#[derive(Clone, Debug, Serialize)]
pub struct NameEntry {
    /// As it stands in the log.
    pub text: String,
    /// What it tells, in words.
    pub what: String,
    /// What stands there in a pack.
    pub mask: String,
    /// The first log that it was found in.
    pub log: String,
    /// How many more logs hold it.
    pub more: u64,
}

impl Page for Pack {
    fn title(&self) -> String {
        "Pack".to_owned()
    }

    fn samples() -> Vec<Self> {
        let empty = Pack {
            frame: Frame::sample("Pack"),
            piece: "k3v9".to_owned(),
            agreed: 0,
            figures: 0,
            lapsed: 0,
            disputed: 1,
            flagged: 0,
            charts: Vec::new(),
            files: Vec::new(),
            captured: 0,
            embargo: None,
            names_found: 0,
            names: Vec::new(),
            not_masked: Vec::new(),
            carried: Vec::new(),
            head: "0".to_owned(),
        };
        let chart = |name: &str, draft| ChartEntry {
            name: name.to_owned(),
            title: "Average frame rate, 2160p native".to_owned(),
            draft,
            kept: draft,
            svg: String::new(),
        };
        let full = Pack {
            agreed: 3,
            figures: 5,
            lapsed: 1,
            disputed: 1,
            flagged: 2,
            carried: vec![
                "Tarnwick Dunlin was carried over and not checked: no spot check has run.".to_owned(),
            ],
            captured: 326_000_000,
            embargo: Some(Embargo::sample(true)),
            names_found: 2,
            names: vec![
                NameEntry {
                    text: "C:\\Users\\Quillmoor\\captures".to_owned(),
                    what: "folder".to_owned(),
                    mask: "name 1".to_owned(),
                    log: "curlew-hairpin-1.csv".to_owned(),
                    more: 11,
                },
                NameEntry {
                    text: "TW0099887766".to_owned(),
                    what: "serial number or machine".to_owned(),
                    mask: "name 2".to_owned(),
                    log: "curlew-TW0099887766.csv".to_owned(),
                    more: 0,
                },
            ],
            not_masked: vec!["dunlin-week.zip".to_owned()],
            charts: vec![chart("bars-2160p-native", true), chart("ratios-2160p-native", false)],
            files: vec![FileEntry {
                path: "tables/cells.csv".to_owned(),
                says: "a row a cell and measure".to_owned(),
            }],
            ..empty.clone()
        };
        let let_go = Pack { embargo: Some(Embargo::sample(false)), ..full.clone() };
        vec![empty, full, let_go]
    }
}
