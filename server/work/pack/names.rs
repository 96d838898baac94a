//! Names in the logs of a piece that look like paths or serial numbers: found in file names and in the logs themselves,
//! listed before anything leaves, and masked in its packs. What people typed is not looked through.

use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::sync::{Arc, LazyLock, Mutex, PoisonError};

use serde_json::Value;
use weighhouse_measure::intake::{Layout, Limits, plain};
use weighhouse_measure::names::{Found, Masks, What, find, users};

use crate::store::captures::{self, Capture};
use crate::store::{CaptureId, PieceId, Store, StoreError, extract};
use crate::work::{Internal, Result};

/// A name, and what it becomes.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Named {
    /// As it stands in the log.
    pub text: String,
    /// What it tells.
    pub what: What,
    /// What stands there in a pack.
    pub mask: String,
    /// File names of the logs that it stands in, as they came.
    pub logs: Vec<String>,
}

/// The names in the logs of a piece.
#[derive(Clone, Debug, Default)]
pub struct Names {
    masks: Masks,
    users: Vec<String>,
    inside: BTreeMap<CaptureId, Arc<Inside>>,
    /// In the order of their masks.
    pub all: Vec<Named>,
    /// File names of logs with names in them that no pack can mask: archives and Parquet tables.
    pub fixed: Vec<String>,
}

/// What stands inside of a log.
#[derive(Debug, Default)]
struct Inside {
    /// Each name once, in the order of the log.
    names: Vec<(String, What)>,
    /// Users whose folders are named in it.
    users: Vec<String>,
    /// Whether its text can be changed.
    masks: bool,
}

/// Bytes of a capture never change: what was found in them, by digest and by the users that were looked for, is kept until
/// too many are.
static SEEN: LazyLock<Mutex<Seen>> = LazyLock::new(Mutex::default);
type Seen = HashMap<(String, Vec<String>), Arc<Inside>>;
const MOST: usize = 20_000;

impl Names {
    /// None: all stays as it is.
    pub fn none() -> Self {
        Self::default()
    }

    /// A text of a log with the names in it masked.
    pub fn masked(&self, text: &str) -> String {
        self.masks.masked(text, &self.users)
    }

    /// Whether names stand inside of a log, not only in its file name.
    pub fn inside(&self, capture: CaptureId) -> bool {
        self.inside.get(&capture).is_some_and(|inside| !inside.names.is_empty())
    }

    /// A log with the names in it masked; `None`: it is an archive or a table, which cannot be.
    ///
    /// # Errors
    /// When what is packed in it is damaged.
    pub fn masked_log(&self, bytes: &[u8]) -> Result<Option<Vec<u8>>> {
        let masked = plain::changed(bytes, Limits::default().unpacked, |text| self.masked(text));
        Ok(masked.map_err(|e| Internal(format!("masking names: {e}")))?)
    }

    /// A layout as it is of masked logs.
    pub fn masked_layout(&self, layout: &Layout) -> Layout {
        let mut masked = layout.clone();
        for column in &mut masked.columns {
            column.name = self.masked(&column.name);
            column.why = self.masked(&column.why);
        }
        if let Some(only) = &mut masked.only {
            only.is = self.masked(&only.is);
        }
        masked
    }

    /// Masks the texts in a value.
    pub fn mask_all(&self, value: &mut Value) {
        match value {
            Value::String(text) => *text = self.masked(text),
            Value::Array(values) => values.iter_mut().for_each(|value| self.mask_all(value)),
            Value::Object(fields) => fields.values_mut().for_each(|value| self.mask_all(value)),
            Value::Null | Value::Bool(_) | Value::Number(_) => {}
        }
    }

    fn of(logs: Vec<(Capture, Arc<Inside>)>, users: Vec<String>) -> Self {
        let mut names = Names { users, ..Names::default() };
        let mut at: BTreeMap<String, usize> = BTreeMap::new();
        for (capture, inside) in logs {
            let own = find(&capture.name, &names.users);
            let own = own.into_iter().map(|Found { at, what }| (capture.name[at].to_owned(), what));
            for (text, what) in own.chain(inside.names.iter().cloned()) {
                let mask = names.masks.give(&text, what);
                let n = *at.entry(mask.clone()).or_insert(names.all.len());
                if n == names.all.len() {
                    names.all.push(Named { text, what, mask, logs: Vec::new() });
                }
                let logs = &mut names.all[n].logs;
                if logs.last() != Some(&capture.name) {
                    logs.push(capture.name.clone());
                }
            }
            if !inside.names.is_empty() && !inside.masks {
                names.fixed.push(capture.name.clone());
            }
            names.inside.insert(capture.id, inside);
        }
        names
    }
}

/// The names in the logs of a piece. The first call reads each log; later ones only those that are new.
///
/// # Errors
/// When the store fails.
pub async fn of_piece(store: &Store, piece: PieceId) -> Result<Names> {
    let logs = extract::captures(&mut *store.read().await?, piece).await?;
    let mut known: BTreeSet<String> =
        logs.iter().flat_map(|log| users(&log.name, &find(&log.name, &[])).collect::<Vec<_>>()).collect();
    for log in &logs {
        known.extend(inside(store, log, &[]).await?.users.iter().cloned());
    }
    let known: Vec<String> = known.into_iter().collect();
    let mut read = Vec::with_capacity(logs.len());
    for log in logs {
        let inside = inside(store, &log, &known).await?;
        read.push((log, inside));
    }
    Ok(Names::of(read, known))
}

async fn inside(store: &Store, log: &Capture, known: &[String]) -> Result<Arc<Inside>> {
    let key = (log.digest.clone(), known.to_vec());
    if let Some(inside) = SEEN.lock().unwrap_or_else(PoisonError::into_inner).get(&key) {
        return Ok(Arc::clone(inside));
    }
    let bytes = captures::whole(&mut *store.read().await?, log.id).await?;
    let known = known.to_vec();
    let looked = tokio::task::spawn_blocking(move || look(&bytes, &known)).await;
    let inside = Arc::new(looked.map_err(|e| StoreError::Other(format!("looking for names: {e}")))?);
    let mut seen = SEEN.lock().unwrap_or_else(PoisonError::into_inner);
    if seen.len() >= MOST {
        seen.clear();
    }
    seen.insert(key, Arc::clone(&inside));
    Ok(inside)
}

/// A log that is damaged holds no pass: nothing of it is looked at.
fn look(bytes: &[u8], known: &[String]) -> Inside {
    let mut inside = Inside::default();
    let mut met: BTreeSet<String> = BTreeSet::new();
    let (texts, masks) = plain::texts(bytes, Limits::default().unpacked).unwrap_or_default();
    for text in texts {
        let found = find(&text, known);
        inside.users.extend(users(&text, &found));
        for Found { at, what } in found {
            if !met.contains(&text[at.clone()]) {
                met.insert(text[at.clone()].to_owned());
                inside.names.push((text[at].to_owned(), what));
            }
        }
    }
    inside.masks = masks;
    inside
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::captures::Outcome;

    #[test]
    fn each_name_is_listed_once_with_its_logs_and_logs_that_cannot_be_masked_are_named() {
        let log = |id, name: &str, text: &[u8]| {
            let capture = Capture {
                id: CaptureId(id),
                digest: String::new(),
                name: name.to_owned(),
                bytes: 0,
                uploaded_us: 0,
                person_id: None,
                person: None,
                rig_key_id: None,
                rig_id: None,
                start_us: None,
                settings_sha256: None,
                outcome: Outcome::Read,
                says: String::new(),
                question: None,
                version: 1,
            };
            (capture, Arc::new(look(text, &["ada".to_owned()])))
        };
        let packed = [b"PAR1".as_slice(), b"C:\\Users\\Ada"].concat();
        let logs = vec![
            log(1, "run-GPU0123456789AB.csv", b"# C:\\Users\\Ada\\x.exe, Ada\nframe time (ms)\n16.6\n"),
            log(2, "ada 2.csv", b"frame time (ms)\n16.6\n"),
            log(3, "table", &packed),
        ];
        let names = Names::of(logs, vec!["ada".to_owned()]);
        let told: Vec<_> =
            names.all.iter().map(|n| (n.text.as_str(), n.mask.as_str(), n.logs.len())).collect();
        assert_eq!(
            told,
            [("GPU0123456789AB", "name 1", 1), ("C:\\Users\\Ada", "name 2", 1), ("Ada", "name 3", 2)]
        );
        assert_eq!(names.masked("run-GPU0123456789AB.csv"), "run-name 1.csv");
        assert_eq!(names.masked("ada 2.csv"), "name 3 2.csv");
        assert!(names.inside(CaptureId(1)) && !names.inside(CaptureId(2)));
        assert_eq!(names.fixed, Vec::<String>::new(), "a damaged table holds no text");
        assert_eq!(Names::none().masked("run-GPU0123456789AB.csv"), "run-GPU0123456789AB.csv");
        let mut value = serde_json::json!([{ "says": "line 1: ADA", "line": 1 }]);
        names.mask_all(&mut value);
        assert_eq!(value, serde_json::json!([{ "says": "line 1: name 3", "line": 1 }]));
    }
}
