//! How the team's kinds of log are read, and what follows from reading them otherwise.

mod example;

use std::collections::BTreeMap;

use weighhouse_measure::intake::{Dropped, Layout, Only, Question, StampAt};
use weighhouse_measure::recording::{Kind, Role, Unit};
use weighhouse_web::marks::Standing;

use super::figures::ledger::{Seen, ledger};
use super::take_in::TakeIn;
use super::{Error, Refusal, Result};
use crate::store::layouts::{self, LayoutRow, Used};
use crate::store::segments::{self, NewSegment, SegmentRow};
use crate::store::{CaptureId, PersonId, Store, people, pieces};

/// Logs of a layout that are read otherwise before it is decided, the newest ones.
const TRIED: usize = 5;

/// A layout with what hangs on it.
#[derive(Clone, Debug)]
pub struct Listed {
    /// The version.
    pub row: LayoutRow,
    /// How it reads.
    pub layout: Layout,
    /// Who said so; empty: proved by the data.
    pub by: String,
    /// How often it is used; none: by no log.
    pub used: Option<Used>,
    /// Whether it is what a person said last of its shape.
    pub remembered: bool,
}

/// The names and uses that all layouts are listed with.
struct Known {
    names: BTreeMap<PersonId, String>,
    used: Vec<Used>,
    remembered: Vec<LayoutRow>,
}

impl Known {
    async fn read(db: &mut crate::store::Db) -> Result<Self> {
        Ok(Self {
            names: people::all(db).await?.into_iter().map(|person| (person.id, person.name)).collect(),
            used: layouts::used(db).await?,
            remembered: layouts::remembered(db).await?,
        })
    }

    /// None where it is of an older form, which nothing can be read with any more.
    fn list(&self, row: LayoutRow) -> Option<Listed> {
        Some(Listed {
            layout: row.layout()?,
            by: row.decided_by.and_then(|by| self.names.get(&by).cloned()).unwrap_or_default(),
            used: self.used.iter().find(|used| used.layout_id == row.id).cloned(),
            remembered: self.remembered.iter().any(|said| said.id == row.id),
            row,
        })
    }
}

/// All layouts that logs are read with, last seen first, then those that are remembered and read none yet.
///
/// # Errors
/// When the store fails.
pub async fn list(store: &Store) -> Result<Vec<Listed>> {
    let mut db = store.read().await?;
    let known = Known::read(&mut db).await?;
    let mut rows = Vec::new();
    for used in &known.used {
        rows.extend(layouts::by_id(&mut db, used.layout_id).await?);
    }
    let waiting = known.remembered.iter().filter(|said| known.used.iter().all(|u| u.layout_id != said.id));
    rows.extend(waiting.cloned());
    Ok(rows.into_iter().filter_map(|row| known.list(row)).collect())
}

/// One layout, with an example.
#[derive(Clone, Debug)]
pub struct One {
    /// The layout.
    pub listed: Listed,
    /// Newest version of its shape.
    pub newest: i64,
    /// First rows of the newest log that is read with it; empty where they cannot be shown.
    pub rows: Vec<Vec<String>>,
    /// The other versions of its shape, newest first.
    pub others: Vec<Listed>,
}

/// Reads one.
///
/// # Errors
/// Refused where its form is an older one; when the store fails.
pub async fn one(store: &Store, row: LayoutRow) -> Result<One> {
    let mut db = store.read().await?;
    let known = Known::read(&mut db).await?;
    let versions = layouts::of_shape(&mut db, &row.shape).await?;
    let newest = versions.first().map_or(row.version, |newest| newest.version);
    let others = versions.into_iter().filter(|other| other.id != row.id);
    let others = others.filter_map(|other| known.list(other)).collect();
    let id = row.id;
    let listed = known.list(row).ok_or_else(|| Refusal::missing("layout that can be read", id))?;
    drop(db);
    let rows = match &listed.used {
        Some(used) => example::first_rows(store, used.newest).await?,
        None => Vec::new(),
    };
    Ok(One { listed, newest, rows, others })
}

/// What is said beside the columns; what is not said stays.
#[derive(Clone, Debug, Default)]
pub struct Beyond {
    /// Where in their frames stamps were taken.
    pub stamp_at: Option<StampAt>,
    /// The program whose rows are read; empty: all of them.
    pub program: Option<String>,
    /// Whether rows that are marked as dropped count as frames.
    pub dropped_count: Option<bool>,
}

/// The layout with other roles and units for its columns, and what is said beside them.
///
/// # Errors
/// Refused when these do not say how the rows are timed.
pub fn otherwise(layout: &Layout, kind: Kind, columns: &[(Role, Unit)], beyond: Beyond) -> Result<Layout> {
    let question =
        Question { why: String::new(), rows: Vec::new(), guess: layout.clone(), candidates: Vec::new() };
    let mut other =
        Layout::answer(&question, kind, columns).map_err(|says| Refusal::field("columns", says))?;
    other.stamp_at = beyond.stamp_at.unwrap_or(layout.stamp_at);
    let names = other.column(Role::Program).map(|column| column.index);
    other.only = match (names, beyond.program) {
        (None, _) => None,
        (Some(_), None) => layout.only.clone(),
        (Some(column), Some(is)) => (!is.is_empty()).then_some(Only { column, is }),
    };
    other.dropped =
        layout.dropped.map(|marks| Dropped { counts: beyond.dropped_count.unwrap_or(marks.counts), ..marks });
    Ok(other)
}

/// A log as it is read and as it would be.
#[derive(Clone, Debug)]
pub struct Tried {
    /// File name.
    pub file: String,
    /// Its stretches now.
    pub now: Vec<SegmentRow>,
    /// Its stretches then, or why it would stay as it is.
    pub then: std::result::Result<Vec<NewSegment>, String>,
}

/// What the newest logs of a layout would give with another one.
///
/// # Errors
/// When the store fails.
pub async fn tried(store: &Store, take_in: &TakeIn, of: &LayoutRow, layout: &Layout) -> Result<Vec<Tried>> {
    let mut by_capture: BTreeMap<CaptureId, Vec<SegmentRow>> = BTreeMap::new();
    for segment in segments::of_layout(&mut *store.read().await?, of.id).await? {
        by_capture.entry(segment.capture_id).or_default().push(segment);
    }
    let mut tried = Vec::new();
    for (id, now) in by_capture.into_iter().rev().take(TRIED) {
        let then = match take_in.would_give(id, layout.clone()).await {
            Ok(then) => Ok(then),
            Err(Error::Refused(refusal)) => Err(refusal.says),
            Err(error) => return Err(error),
        };
        let file = now.first().map_or_else(String::new, |segment| segment.capture.clone());
        tried.push(Tried { file, now, then });
    }
    Ok(tried)
}

/// Proposed and agreed figures of all pieces that rest on a log which is read with this version, each with the name of
/// its piece.
///
/// # Errors
/// When the store fails.
pub async fn lapsing(store: &Store, of: &LayoutRow) -> Result<Vec<(String, Seen)>> {
    let version = format!("{} {}", of.shape, of.version);
    let mut found = Vec::new();
    let all = pieces::all(&mut *store.read().await?).await?;
    for piece in all {
        for seen in ledger(store, piece.id).await?.figures {
            let stands = matches!(seen.state.standing, Standing::Proposed | Standing::Agreed);
            if stands && seen.fields.0.iter().any(|(_, value)| value.ends_with(&version)) {
                found.push((piece.fields.name.clone(), seen));
            }
        }
    }
    Ok(found)
}
