//! Review: the queue of flagged passes, the worst first, one of them looked at, and ruling on it and on those like it.

mod queue;

use std::collections::{BTreeMap, BTreeSet};

use weighhouse_measure::measures::Measure;
use weighhouse_measure::measures::strip::Column;
use weighhouse_measure::recording::Window;
use weighhouse_measure::screens::FlagKind;

use crate::store::pieces::{self, Piece};
use crate::store::rulings::Verdict;
use crate::store::{PartId, PersonId, PieceId, Store, passes, people, strips};
use crate::work::evidence::{CellEvidence, Evidence, PassEvidence};
use crate::work::once::By;
use crate::work::reasons::{self, Reasons};
use crate::work::rule::{self, NewRuling, Outcome};
use crate::work::sway::way;
use crate::work::{Kind, Refusal, Result};

pub use queue::{Reach, Waiting, alike, lead, moves, queue, waits};

/// The queue of a piece, and the pass that is looked at.
#[derive(Clone, Debug)]
pub struct Review {
    /// All of the piece.
    pub evidence: Evidence,
    /// Keys of the passes that wait for a ruling, the worst first.
    pub queue: Vec<String>,
    /// The pass that is looked at; none when nothing waits.
    pub shown: Option<Shown>,
    /// The pass that was asked for and waits no more.
    pub settled: Option<String>,
    /// Names of the people who ruled.
    pub people: BTreeMap<PersonId, String>,
    /// The team's reasons.
    pub reasons: Reasons,
}

/// What to look at.
#[derive(Clone, Copy, Debug)]
pub struct Look<'a> {
    /// Key of the pass; the first that waits without one.
    pub pass: Option<&'a str>,
    /// From and to, ns; none: all of it.
    pub stretch: (Option<i64>, Option<i64>),
    /// Columns of the strips.
    pub columns: u32,
}

/// A pass that waits, beside its siblings.
#[derive(Clone, Debug)]
pub struct Shown {
    /// Its place in the queue.
    pub at: usize,
    /// The stretch that the strips cover.
    pub stretch: Window,
    /// End of the longest pass of the cell, ns.
    pub end_ns: i64,
    /// What each pass of the cell shows, by its key.
    pub strips: BTreeMap<String, Vec<Column>>,
    /// Median frame time of the cell, ms: the middle one of its passes'.
    pub median_ms: Option<f64>,
}

/// Strips of a pass of a piece over a stretch, as the review shows them: the cell alone is read.
///
/// # Errors
/// Refused when the piece has no such pass or the stretch is empty.
pub async fn zoom(store: &Store, piece: &Piece, look: Look<'_>) -> Result<(CellEvidence, String, Shown)> {
    let key = look.pass.unwrap_or("");
    let missing = || Refusal::missing("pass", key);
    let mut db = store.read().await?;
    let row = passes::by_key(&mut db, key).await?.ok_or_else(missing)?;
    let selecting = pieces::selecting(&mut db, row.cell_id).await?;
    drop(db);
    selecting.iter().find(|one| one.id == piece.id).ok_or_else(missing)?;
    let evidence = Evidence::of_cell_in(store, piece.clone(), row.cell_id).await?;
    let cell = evidence.and_then(|mut evidence| evidence.cells.remove(&row.cell_id)).ok_or_else(missing)?;
    let shown = Shown::of(store, &cell, 0, look).await?;
    Ok((cell, row.key, shown))
}

impl Review {
    /// The queue, and what is looked at.
    ///
    /// # Errors
    /// Refused when the piece has no such pass or the stretch is empty.
    pub async fn of_piece(store: &Store, piece: PieceId, look: Look<'_>) -> Result<Self> {
        let evidence = evidence(store, piece).await?;
        let queue: Vec<String> = queue(&evidence).iter().map(|one| one.pass.row.key.clone()).collect();
        let asked = look.pass;
        let place = asked.and_then(|asked| queue.iter().position(|key| key == asked));
        let settled = match (asked, place) {
            (Some(asked), None) => {
                evidence.pass(asked).ok_or_else(|| Refusal::missing("pass", asked))?;
                Some(asked.to_owned())
            }
            _ => None,
        };
        let at = place.unwrap_or(0);
        let shown = match queue.get(at).and_then(|key| evidence.pass(key)) {
            Some((cell, _)) => Some(Shown::of(store, cell, at, look).await?),
            None => None,
        };
        let people = people::all(&mut *store.read().await?).await?;
        let people = people.into_iter().map(|person| (person.id, person.name)).collect();
        let reasons = reasons::read(store).await?;
        Ok(Self { evidence, queue, shown, settled, people, reasons })
    }

    /// The pass that is looked at, in its cell.
    pub fn pass(&self) -> Option<(&Shown, &CellEvidence, &PassEvidence)> {
        let shown = self.shown.as_ref()?;
        let (cell, pass) = self.evidence.pass(self.queue.get(shown.at)?)?;
        Some((shown, cell, pass))
    }

    /// Passes on which rulings of two people stand.
    pub fn disputed(&self) -> impl Iterator<Item = (&CellEvidence, &PassEvidence)> {
        let all =
            self.evidence.cells.values().flat_map(|cell| cell.passes.iter().map(move |pass| (cell, pass)));
        all.filter(|(_, pass)| pass.row.disputed())
    }

    /// Passes that people ruled on, beside those that still wait: to be run again, set aside, kept.
    pub fn ruled(&self) -> Vec<(&CellEvidence, &PassEvidence)> {
        let ruled =
            |pass: &PassEvidence| !waits(pass) && !matches!(pass.row.verdict, None | Some(Verdict::Open));
        let cells = self.evidence.cells.values();
        let all = cells.flat_map(|cell| cell.passes.iter().map(move |pass| (cell, pass)));
        let mut found: Vec<_> = all.filter(|(_, pass)| ruled(pass)).collect();
        let place = |verdict: Option<Verdict>| {
            [Verdict::RunAgain, Verdict::SetAside].iter().position(|one| Some(*one) == verdict).unwrap_or(2)
        };
        found.sort_by_key(|(_, pass)| place(pass.row.verdict));
        found
    }

    /// For each part with passes: how many were set aside or are to be run again, of how many.
    pub fn set_aside(&self) -> Vec<(usize, usize)> {
        let mut counts: BTreeMap<PartId, (usize, usize)> = BTreeMap::new();
        for pass in self.evidence.passes() {
            let (out, all) = counts.entry(pass.row.part_id).or_default();
            *out += usize::from(!pass.row.kept());
            *all += 1;
        }
        counts.into_values().collect()
    }
}

impl Shown {
    async fn of(store: &Store, cell: &CellEvidence, at: usize, look: Look<'_>) -> Result<Self> {
        let end_ns = cell.passes.iter().map(|pass| pass.row.span_ns).max().unwrap_or(0);
        let (from, to) = look.stretch;
        let stretch = Window { start_ns: from.unwrap_or(0), end_ns: to.unwrap_or(end_ns) };
        if stretch.start_ns < 0 || (stretch.length_ns() <= 0 && end_ns > 0) {
            let says = "The stretch must end after it begins, and begin at 0 or later.";
            return Err(Refusal::field("to", says).into());
        }
        let mut strips = BTreeMap::new();
        for pass in &cell.passes {
            let columns = strips::strip(store, pass.row.segment_id, stretch, look.columns).await?;
            strips.insert(pass.row.key.clone(), columns);
        }
        let mut medians: Vec<f64> =
            cell.passes.iter().filter_map(|pass| Some(pass.measures.frame_time_ms.as_ref()?.p50)).collect();
        medians.sort_by(f64::total_cmp);
        Ok(Self { at, stretch, end_ns, strips, median_ms: medians.get(medians.len() / 2).copied() })
    }
}

async fn evidence(store: &Store, piece: PieceId) -> Result<Evidence> {
    let evidence = Evidence::of_piece(store, piece).await?;
    evidence.ok_or_else(|| Refusal::missing("piece", piece).into())
}

/// What was ruled, on which passes of which parts: told only now.
#[derive(Clone, Debug)]
pub struct Ruled {
    /// Part, tuning, scene, setting, number and rig of each pass.
    pub on: Vec<String>,
    /// The decision.
    pub verdict: Verdict,
    /// Key of each pass with its [`rule::version`] now, for taking it back; none where it settled a dispute.
    pub back: Vec<(String, i64)>,
    /// Whether it settled rulings that contradicted each other.
    pub settles: bool,
    /// Of the pass itself: who ruled otherwise before, and how; their ruling stands beside this one.
    pub against: Option<(String, Verdict)>,
    /// Which measure of its cell leaving the pass out moves most, and to how much of it; none where several were ruled.
    pub way: Option<(Measure, f64)>,
    /// Key of the pass that follows in the queue.
    pub next: Option<String>,
}

/// A ruling that is sent from the queue.
#[derive(Clone, Debug)]
pub struct Sent {
    /// Key of the pass that was looked at.
    pub key: String,
    /// What was decided on it.
    pub ruling: NewRuling,
    /// How far it reaches.
    pub reach: Reach,
    /// How many other passes the form said that it reaches.
    pub others: usize,
}

/// Rules on a pass of a piece, and on those like it where asked.
///
/// # Errors
/// As [`rule::rule_all`]; refused when the piece has no such pass, its kinds of flag are not those that the form
/// showed, or others are like it now than the form said.
pub async fn rule(store: &Store, by: impl Into<By>, piece: PieceId, sent: Sent) -> Result<Ruled> {
    let by = by.into();
    let evidence = evidence(store, piece).await?;
    let (cell, pass) = evidence.pass(&sent.key).ok_or_else(|| Refusal::missing("pass", &sent.key))?;
    let (key, verdict) = (sent.key.clone(), sent.ruling.verdict);
    let again = by.first::<Vec<Outcome>>(store).await?.is_some();
    let others = if again { Vec::new() } else { reached(&evidence, pass, &sent)? };
    let next = next(&evidence, &key, &others);
    let of_other = |one: &&PassEvidence| {
        (one.row.key.clone(), NewRuling { version: rule::version(&one.row), ..sent.ruling.clone() })
    };
    let others: Vec<_> = others.iter().map(of_other).collect();
    let all = [(sent.key, sent.ruling)].into_iter().chain(others).collect();
    let outcomes = rule::rule_all(store, by, all).await?;
    let disputed = outcomes.first().is_some_and(|outcome| outcome.disputed);
    let named = |key: &str| evidence.pass(key).map(|(cell, pass)| named(&evidence, cell, pass));
    Ok(Ruled {
        on: outcomes.iter().filter_map(|outcome| named(&outcome.pass)).collect(),
        verdict,
        settles: outcomes.iter().any(|outcome| outcome.settled),
        against: if disputed { against(store, &key).await? } else { None },
        way: if outcomes.len() == 1 { way(&evidence, cell, pass) } else { None },
        back: back(outcomes),
        next,
    })
}

/// The others that a ruling reaches. Refused where the form showed something else than there is now.
fn reached<'a>(evidence: &'a Evidence, pass: &PassEvidence, sent: &Sent) -> Result<Vec<&'a PassEvidence>> {
    if sent.ruling.verdict != Verdict::Open && sent.ruling.version == rule::version(&pass.row) {
        same_flags(pass, &sent.ruling)?;
    }
    let others = alike(evidence, &sent.key, sent.reach);
    if others.len() != sent.others {
        return Err(others_now(sent.others, others.len()).into());
    }
    Ok(others)
}

/// What takes a ruling back, pass by pass; what settled two stays.
fn back(outcomes: Vec<Outcome>) -> Vec<(String, i64)> {
    let back = outcomes.into_iter().filter(|outcome| !outcome.settled);
    back.map(|outcome| (outcome.pass, outcome.version)).collect()
}

/// The pass that follows in the queue, past those that are ruled along.
fn next(evidence: &Evidence, key: &str, alike: &[&PassEvidence]) -> Option<String> {
    let queue = queue(evidence);
    let gone: BTreeSet<&str> = alike.iter().map(|one| one.row.key.as_str()).collect();
    let at = queue.iter().position(|waiting| waiting.pass.row.key == key)?;
    let mut after = queue.iter().skip(at + 1).map(|waiting| waiting.pass.row.key.as_str());
    after.find(|one| !gone.contains(one)).map(str::to_owned)
}

/// Who made the ruling that counts on a disputed pass.
async fn against(store: &Store, key: &str) -> Result<Option<(String, Verdict)>> {
    let mut db = store.read().await?;
    let Some(row) = passes::by_key(&mut db, key).await? else { return Ok(None) };
    let (Some(by), Some(verdict)) = (row.ruled_by, row.verdict) else { return Ok(None) };
    Ok(people::by_id(&mut db, by).await?.map(|person| (person.name, verdict)))
}

fn others_now(said: usize, now: usize) -> Refusal {
    let says =
        format!("The form said that {said} others are like it; now there are {now}. Nothing was kept.");
    Refusal::new(Kind::Stale, "Others now", says, "Open the pass again and look which ones it reaches.")
}

/// Takes back rulings on passes of a piece: see [`rule::undo_all`]. Answers with the verdicts that stand now.
///
/// # Errors
/// As [`rule::undo_all`]; refused when the piece has no such pass.
pub async fn undo(
    store: &Store,
    by: impl Into<By>,
    piece: PieceId,
    back: Vec<(String, i64)>,
) -> Result<Vec<Verdict>> {
    let evidence = evidence(store, piece).await?;
    for (key, _) in &back {
        evidence.pass(key).ok_or_else(|| Refusal::missing("pass", key))?;
    }
    rule::undo_all(store, by, back).await
}

/// Whether a pass of a piece waits for a ruling.
///
/// # Errors
/// Refused when the piece has no such pass.
pub async fn still_waits(store: &Store, piece: PieceId, key: &str) -> Result<bool> {
    let evidence = evidence(store, piece).await?;
    let (_, pass) = evidence.pass(key).ok_or_else(|| Refusal::missing("pass", key))?;
    Ok(waits(pass))
}

fn same_flags(pass: &PassEvidence, ruling: &NewRuling) -> Result<()> {
    let now = pass.flag_kinds();
    if now.len() == ruling.saw.len() && ruling.saw.iter().all(|kind| now.contains(kind.as_str())) {
        return Ok(());
    }
    let kinds: Vec<&str> = now.iter().filter_map(|key| FlagKind::from_key(key)).map(FlagKind::name).collect();
    let kinds = if kinds.is_empty() { "none".to_owned() } else { kinds.join(", ") };
    Err(Refusal::new(
        Kind::Stale,
        "Other flags now",
        format!(
            "The flags of this pass changed after you opened it; now they are: {kinds}. Nothing was kept."
        ),
        "Look at the pass again and rule on what it shows now.",
    )
    .into())
}

/// `Tarnwick Curlew, stock, Vellum Rally (hairpin), 2160p native, pass 2 on birch`.
pub fn named(evidence: &Evidence, cell: &CellEvidence, pass: &PassEvidence) -> String {
    let registers = &evidence.registers;
    let part = registers.parts.get(&cell.cell.part_id).map(|part| part.name()).unwrap_or_default();
    let tuning = registers.tunings.get(&cell.cell.of.tuning_id).map(|t| t.fields.name.as_str()).unwrap_or("");
    let (scene, setting) = place(evidence, cell);
    format!("{part}, {tuning}, {scene}, {setting}, pass {} on {}", pass.row.number, pass.row.rig)
}

/// Names of a cell's scene and setting: what may be told of it before a ruling.
pub fn place(evidence: &Evidence, cell: &CellEvidence) -> (String, String) {
    let (scene, setting) = (cell.cell.of.scene_id, cell.cell.of.setting_id);
    let scene = evidence.registers.scenes.get(&scene);
    let scene = scene.map(|s| format!("{} ({})", s.fields.game, s.fields.passage)).unwrap_or_default();
    let setting =
        evidence.registers.settings.get(&setting).map(|s| s.fields.name.clone()).unwrap_or_default();
    (scene, setting)
}
