//! The figures of a piece as they stand at one moment of the store.

use std::collections::BTreeMap;

use weighhouse_web::marks::Standing;

use super::changes::{self, Change};
use super::digest::{Fields, rests_on};
use super::state::{Now, State, state};
use super::value::{self, Valued};
use super::what::What;
use crate::store::audit::{self, Head};
use crate::store::figures::{self, Figure, FigureStep};
use crate::store::people;
use crate::store::quotes::{self, Quote};
use crate::store::{Db, FigureId, PersonId, PieceId, Store, StoreError};
use crate::work::evidence::{Evidence, PassEvidence};
use crate::work::{Internal, Refusal, Result};

/// A figure with all that follows for it.
#[derive(Clone, Debug)]
pub struct Seen {
    /// The figure.
    pub figure: Figure,
    /// What it is.
    pub what: What,
    /// Its value; `None` where there is none any more.
    pub valued: Option<Valued>,
    /// What it rests on.
    pub fields: Fields,
    /// Digest and printed value.
    pub now: Now,
    /// Where it stands.
    pub state: State,
    /// Since it was proposed or agreed; empty unless it lapsed.
    pub changes: Vec<Change>,
    /// Passes it rests on on which rulings of two people stand, in sentences.
    pub disputes: Vec<String>,
    /// What people did with it, oldest first.
    pub steps: Vec<FigureStep>,
}

/// All figures of a piece.
#[derive(Clone, Debug)]
pub struct Ledger {
    /// What they are computed from.
    pub evidence: Evidence,
    /// In the order in which they were made.
    pub figures: Vec<Seen>,
    /// Numbers of the piece that nobody measured.
    pub quotes: Vec<Quote>,
    /// Where the audit trail stood before anything was read.
    pub head: Head,
}

impl Ledger {
    /// The figure with this key.
    pub fn figure(&self, key: &str) -> Option<&Seen> {
        self.figures.iter().find(|seen| seen.figure.key == key)
    }

    /// The figures that two people agreed on and that still stand: what a pack may mark so.
    pub fn agreed(&self) -> impl Iterator<Item = &Seen> {
        self.figures.iter().filter(|seen| seen.state.standing == Standing::Agreed)
    }
}

/// Reads the figures of a piece.
///
/// # Errors
/// Refused when there is no such piece; when the store fails.
pub async fn ledger(store: &Store, piece: PieceId) -> Result<Ledger> {
    let head = audit::head(&mut *store.read().await?).await.map_err(StoreError::from)?;
    let evidence = Evidence::of_piece(store, piece).await?.ok_or_else(|| Refusal::missing("piece", piece))?;
    let mut db = store.read().await?;
    let mut steps: BTreeMap<FigureId, Vec<FigureStep>> = BTreeMap::new();
    for step in figures::steps_of_piece(&mut db, piece).await? {
        steps.entry(step.figure_id).or_default().push(step);
    }
    let mut figures = Vec::new();
    for figure in figures::of_piece(&mut db, piece).await? {
        let own = steps.remove(&figure.id).unwrap_or_default();
        figures.push(seen(&evidence, figure, own)?);
    }
    let quotes = quotes::of_piece(&mut db, piece).await?;
    let names = people::all(&mut db).await?.into_iter().map(|person| (person.id, person.name)).collect();
    for seen in &mut figures {
        seen.disputes = disputes(&evidence, &seen.what, &names);
        explain(&mut db, &evidence, &names, seen).await?;
    }
    Ok(Ledger { evidence, figures, quotes, head })
}

fn seen(evidence: &Evidence, figure: Figure, steps: Vec<FigureStep>) -> Result<Seen> {
    let what: What = serde_json::from_str(&figure.what)
        .map_err(|e| Internal(format!("figure {} is of no known kind: {e}", figure.key)))?;
    let fields = rests_on(evidence, &what);
    let valued = value::value(evidence, &what);
    let shown = valued.as_ref().map(|valued| valued.shown(figure.fields.places));
    let disputed =
        value::cells(evidence, &what).iter().any(|cell| cell.passes.iter().any(|p| p.row.disputed()));
    let needed = evidence.piece.fields.agreements.and_then(|n| usize::try_from(n).ok()).unwrap_or(1);
    let now = Now { digest: fields.digest(), shown, disputed, needed };
    let state = state(&steps, &now);
    Ok(Seen { figure, what, valued, fields, now, state, changes: Vec::new(), disputes: Vec::new(), steps })
}

/// `Pass 3 of Curlew, ...: Ada ruled 'keep', Ben 'set aside' (an updater ran).`
fn disputes(evidence: &Evidence, what: &What, names: &BTreeMap<PersonId, String>) -> Vec<String> {
    let name = |by: Option<PersonId>| by.and_then(|by| names.get(&by)).map_or("somebody", String::as_str);
    let mut says = Vec::new();
    for cell in value::cells(evidence, what) {
        for row in cell.passes.iter().map(|pass| &pass.row).filter(|row| row.disputed()) {
            let (first, second) =
                (row.verdict.map_or("", |v| v.as_str()), row.against_verdict.map_or("", |v| v.as_str()));
            let why = row.against_reason.as_deref().filter(|why| !why.is_empty());
            let why = why.map_or_else(String::new, |why| format!(" ({why})"));
            says.push(format!(
                "Pass {} of {}: {} ruled '{first}', {} '{second}'{why}.",
                row.number,
                value::cell_name(evidence, cell.cell.id),
                name(row.ruled_by),
                name(row.against_by),
            ));
        }
    }
    says
}

/// Says of a lapsed figure what changed, and who did it where that is known.
async fn explain(
    db: &mut Db,
    evidence: &Evidence,
    names: &BTreeMap<PersonId, String>,
    seen: &mut Seen,
) -> Result<()> {
    if seen.state.standing != Standing::Lapsed {
        return Ok(());
    }
    let Some(step) = seen.state.last() else { return Ok(()) };
    let before = Fields::read(&step.rests_on).unwrap_or_default();
    let mut who = BTreeMap::new();
    for key in changes::passes(&before, &seen.fields) {
        if let Some((_, pass)) = evidence.pass(&key)
            && let Some(name) = who_changed(db, names, pass, step.at_us).await?
        {
            who.insert(key, name);
        }
    }
    let rounded = (step.digest == seen.now.digest).then(|| step.shown.clone());
    seen.changes = changes::changes(evidence, &before, &seen.fields, &who);
    if let Some(before) = rounded {
        let now = seen.now.shown.as_deref().unwrap_or("nothing");
        seen.changes.push(Change { says: format!("It is printed as {now}, no longer as {before}.") });
    }
    Ok(())
}

/// Who ruled on a pass or changed it last, after a moment.
async fn who_changed(
    db: &mut Db,
    names: &BTreeMap<PersonId, String>,
    pass: &PassEvidence,
    after_us: i64,
) -> Result<Option<String>> {
    let row = &pass.row;
    if row.ruled_us.is_some_and(|at| at >= after_us) {
        return Ok(row.ruled_by.and_then(|id| names.get(&id).cloned()));
    }
    let entries = audit::of_row(db, &audit::PASS, row.id).await?;
    let last = entries.iter().rev().find(|entry| entry.at_us >= after_us);
    Ok(last.and_then(|entry| names.get(&entry.person_id?).cloned()))
}
