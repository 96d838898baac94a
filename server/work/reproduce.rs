//! The figures of a pack computed anew from its captures, by the code that computed them first, in a store of its own:
//! the pack's rows say what people declared, ruled and agreed; all that is computed comes from the captures.

mod files;

use serde::Serialize;
use serde_json::{Map, Value};
use sha2::{Digest as _, Sha256};

use super::figures::ledger::{Ledger, ledger};
use super::pack::sheet::Sheet;
use super::pack::state::{FORMAT, State};
use super::pack::{File, figures, with_captures};
use super::recheck;
use super::results::{hex, measure_versions};
use super::{Internal, Result};
use crate::store::captures::{self, Capture};
use crate::store::segments::{self, SegmentRow};
use crate::store::{Actor, Store, StoreError, extract, strips};

/// A field of a figure of which the pack says another thing than what was computed.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Differs {
    /// Its name in `figures.json`.
    pub field: String,
    /// What the pack says.
    pub pack: Value,
    /// What was computed.
    pub computed: Value,
}

/// A figure of the pack, held against what was computed.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Compared {
    /// Key.
    pub key: String,
    /// Name.
    pub name: String,
    /// The value that was computed, in full; null: none.
    pub computed: Value,
    /// Digest of what it rests on.
    pub digest: Value,
    /// What is not the same to the last digit; empty: all agrees.
    pub differs: Vec<Differs>,
}

/// What came of it.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Report {
    /// Captures that were read.
    pub captures: u64,
    /// Of these, with names masked.
    pub masked: u64,
    /// The figures, in the order of the pack.
    pub figures: Vec<Compared>,
    /// Tables of the pack, each with whether it is the same, byte for byte.
    pub tables: Vec<(String, bool)>,
    /// Its charts as SVG, likewise: drawn anew from what was computed.
    pub charts: Vec<(String, bool)>,
    /// Tracks, companions and measures for column engines, likewise.
    pub columns: Vec<(String, bool)>,
    /// Files of the pack that are not computed: words, what they are set in, and pictures of the charts in pixels.
    pub not_computed: Vec<String>,
    /// What else is not as it must be, in sentences.
    pub wrong: Vec<String>,
}

impl Report {
    /// Whether all that the pack says was found again.
    pub fn agrees(&self) -> bool {
        self.wrong.is_empty()
            && self.figures.iter().all(|figure| figure.differs.is_empty())
            && [&self.tables, &self.charts, &self.columns].into_iter().flatten().all(|(_, same)| *same)
    }
}

/// The files of a pack by their path in it.
pub trait Files {
    /// The bytes of a file; `None`: there is none.
    ///
    /// # Errors
    /// When the pack is damaged there.
    fn file(&mut self, path: &str) -> Result<Option<Vec<u8>>>;
    /// Paths of all files.
    fn paths(&self) -> Vec<String>;
}

/// What the pages make of a ledger, and a pack holds.
pub struct Drawn {
    /// The table of ratios.
    pub ratios: Sheet,
    /// The charts as SVG.
    pub charts: Vec<File>,
}

/// Computes the figures of a pack in `store`, which must be empty, and compares. `told` hears how far it is; `drawn` makes
/// the table of ratios and the charts of a ledger.
///
/// # Errors
/// When the pack has no captures, was made by another format, or its rows are not those of a store.
pub async fn reproduce(
    store: &Store,
    pack: &mut impl Files,
    told: impl Fn(&str),
    drawn: impl AsyncFnOnce(&Store, &Ledger) -> Result<Drawn>,
) -> Result<Report> {
    let mut report = Report::default();
    let state: State = parsed(pack, "state.json")?;
    // Format 1 is 2 without masked captures.
    if !(1..=FORMAT).contains(&state.format) {
        let says = format!("state.json has format {}, this program reads 1 to {FORMAT}", state.format);
        return Err(Internal(says).into());
    }
    if state.measures != measure_versions() {
        report.wrong.push(format!(
            "the pack's measures are of other versions: {} there, {} here",
            state.measures,
            measure_versions()
        ));
    }
    let rows = state.tables;
    store.write(Actor::Server, async move |tx| extract::fill(tx, &rows).await).await?;
    let all = captures::newest(&mut *store.read().await?, u32::MAX).await?;
    for (n, capture) in (1..).zip(all.iter().rev()) {
        if n % 25 == 0 || n == all.len() {
            told(&format!("capture {n} of {}", all.len()));
        }
        let masked = state.masked.get(&capture.digest);
        let path = with_captures::path(&capture.digest, masked.is_some());
        report.masked += u64::from(masked.is_some());
        match pack.file(&path)? {
            Some(bytes) => {
                report.wrong.extend(as_said(&path, capture, masked, &bytes));
                report.wrong.extend(read_in(store, &path, capture, bytes).await?);
            }
            None => report.wrong.push(format!("{path} ({}) is not in the pack", capture.name)),
        }
        report.captures += 1;
    }
    told("the figures");
    let read = ledger(store, state.piece).await?;
    compare(&parsed(pack, "figures.json")?, &read, &mut report)?;
    told("tables and charts");
    files::hold(store, pack, &read, drawn(store, &read).await?, &mut report).await?;
    Ok(report)
}

fn parsed<T: serde::de::DeserializeOwned>(pack: &mut impl Files, path: &str) -> Result<T> {
    let bytes = pack.file(path)?.ok_or_else(|| {
        Internal(format!(
            "there is no {path} in it: take the pack with its captures, which can be computed anew"
        ))
    })?;
    Ok(serde_json::from_slice(&bytes).map_err(|e| Internal(format!("{path} cannot be read: {e}")))?)
}

/// What is wrong with the bytes of a capture, as they came or as they were masked.
fn as_said(path: &str, capture: &Capture, masked: Option<&String>, bytes: &[u8]) -> Option<String> {
    let digest = hex(&Sha256::digest(bytes));
    let same = digest == *masked.unwrap_or(&capture.digest);
    (!same).then(|| format!("{path} ({}): its bytes are others, with SHA-256 {digest}", capture.name))
}

/// Reads a capture into the tracks of its segments; says what is not as the pack has it.
async fn read_in(store: &Store, path: &str, capture: &Capture, bytes: Vec<u8>) -> Result<Vec<String>> {
    let mut wrong = Vec::new();
    let name = &capture.name;
    let mut db = store.read().await?;
    let kept = segments::of_capture(&mut db, capture.id).await?;
    let read_with = recheck::layouts(&mut db, &kept).await?;
    let mut given = match recheck::again(&mut db, capture, &kept, read_with, bytes).await {
        Ok(given) => given,
        Err(error) => {
            wrong.push(format!("{path} ({name}): {error}"));
            return Ok(wrong);
        }
    };
    drop(db);
    for segment in kept {
        let Some((packed, strip)) = given.remove(&(segment.member.clone(), segment.n, segment.cut)) else {
            wrong.push(format!("{}: its bytes give no such stretch", said(&segment)));
            continue;
        };
        let recording = packed.unpack()?;
        let rows = i64::try_from(recording.rows()).unwrap_or(i64::MAX);
        let computed = (rows, recording.span_ns(), recording.wall_start_ns);
        if computed != (segment.rows, segment.span_ns, segment.wall_start_ns) {
            wrong.push(format!(
                "{}: {} rows over {} ns in the pack, {rows} over {} ns computed",
                said(&segment),
                segment.rows,
                segment.span_ns,
                recording.span_ns()
            ));
        }
        store
            .write(Actor::Server, async move |tx| {
                for (n, track) in (0..).zip(&packed.tracks) {
                    segments::stage_track(tx, segment.id, n, track).await?;
                }
                strips::stage(tx, segment.id, &strip).await?;
                Ok::<_, StoreError>(())
            })
            .await?;
    }
    Ok(wrong)
}

fn said(segment: &SegmentRow) -> String {
    format!("captures/{} ({}), stretch {}", segment.digest, segment.capture, segment.cut.names(segment.n))
}

fn compare(pack: &Value, read: &Ledger, report: &mut Report) -> Result<()> {
    let text = figures::json(read);
    let computed: Value =
        serde_json::from_str(&text).map_err(|e| Internal(format!("figures that cannot be read: {e}")))?;
    let of = |all: &Value| -> Vec<Map<String, Value>> {
        let figures = all["figures"].as_array().into_iter().flatten();
        figures.filter_map(|figure| figure.as_object().cloned()).collect()
    };
    let (there, mut here) = (of(pack), of(&computed));
    for figure in there {
        let at = here.iter().position(|other| other.get("key") == figure.get("key"));
        let other = at.map(|at| here.remove(at)).unwrap_or_default();
        report.figures.push(compared(&figure, &other));
    }
    let left = here.iter().map(|other| compared(&Map::new(), other));
    report.figures.extend(left);
    for field in ["format", "piece", "quoted"] {
        if pack[field] != computed[field] {
            report
                .wrong
                .push(format!("figures.json, {field}: {} there, {} computed", pack[field], computed[field]));
        }
    }
    Ok(())
}

fn compared(pack: &Map<String, Value>, computed: &Map<String, Value>) -> Compared {
    let of = |from: &Map<String, Value>, field: &str| from.get(field).cloned().unwrap_or_default();
    let words = |field: &str| {
        let value = pack.get(field).or(computed.get(field));
        value.and_then(Value::as_str).unwrap_or_default().to_owned()
    };
    let fields = pack.keys().chain(computed.keys().filter(|field| !pack.contains_key(*field)));
    let differs = fields.filter(|field| of(pack, field) != of(computed, field)).map(|field| Differs {
        field: field.clone(),
        pack: of(pack, field),
        computed: of(computed, field),
    });
    Compared {
        key: words("key"),
        name: words("name"),
        computed: of(computed, "value"),
        digest: of(computed, "digest"),
        differs: differs.collect(),
    }
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::*;

    #[test]
    fn a_changed_number_is_named_with_both_values_and_a_missing_figure_is_too() {
        let of = |value: Value| value.as_object().cloned().unwrap();
        let a = of(json!({ "key": "k", "name": "n", "value": "131.25", "passes": 3 }));
        assert_eq!(compared(&a, &a).differs, []);
        let b = of(json!({ "key": "k", "name": "n", "value": "131.26", "passes": 3 }));
        let told = compared(&a, &b);
        assert_eq!((told.key.as_str(), &told.computed), ("k", &json!("131.26")));
        let differs = Differs { field: "value".to_owned(), pack: json!("131.25"), computed: json!("131.26") };
        assert_eq!(told.differs, [differs]);
        assert_eq!(compared(&a, &Map::new()).differs.len(), 4);
        assert_eq!(compared(&Map::new(), &a).name, "n");
    }
}
