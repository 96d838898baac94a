//! Review: the queue of flagged passes, the worst first, one of them looked at, and ruling on it.

use std::cmp::Ordering;
use std::collections::BTreeMap;

use weighhouse_measure::measures::strip::Column;
use weighhouse_measure::recording::Window;
use weighhouse_measure::screens::{Flag, FlagKind};

use super::evidence::{CellEvidence, Evidence, PassEvidence, Standing};
use super::once::By;
use super::rule::{self, NewRuling};
use super::{Kind, Refusal, Result};
use crate::store::rulings::Verdict;
use crate::store::{PartId, PersonId, PieceId, Store, people, strips};

/// What the strongest evidence counts for where its effect on the average cannot be computed.
const STRONGEST: f64 = 0.1;

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
}

/// A pass that waits, beside its siblings.
#[derive(Clone, Debug)]
pub struct Shown {
    /// Its place in the queue.
    pub at: usize,
    /// The stretch that the strips cover: the longest pass of the cell.
    pub stretch: Window,
    /// What each pass of the cell shows, by its key.
    pub strips: BTreeMap<String, Vec<Column>>,
    /// Median frame time of the cell, ms: the middle one of its passes'.
    pub median_ms: Option<f64>,
}

/// How much a pass could spoil: the most that one of its flags moves the average (share). A flag whose effect cannot be
/// computed counts by its strength, up to 10%.
pub fn weight(flags: &[Flag]) -> f64 {
    let of = |flag: &Flag| flag.moves.unwrap_or(flag.strength * STRONGEST);
    flags.iter().map(of).fold(0.0, f64::max)
}

/// The passes that wait for a ruling, the worst first. Equal ones stand by their keys, which tell nothing.
pub fn queue(evidence: &Evidence) -> Vec<(&CellEvidence, &PassEvidence)> {
    let mut queue: Vec<_> = evidence.to_review().collect();
    queue.sort_by(|(_, a), (_, b)| {
        let by_weight = weight(&b.flags).partial_cmp(&weight(&a.flags)).unwrap_or(Ordering::Equal);
        by_weight.then_with(|| a.row.key.cmp(&b.row.key))
    });
    queue
}

impl Review {
    /// The queue with the pass of this key, or with the first that waits, on strips of `columns` columns.
    ///
    /// # Errors
    /// Refused when the piece has no such pass.
    pub async fn of_piece(store: &Store, piece: PieceId, asked: Option<&str>, columns: u32) -> Result<Self> {
        let evidence = evidence(store, piece).await?;
        let queue: Vec<String> = queue(&evidence).iter().map(|(_, pass)| pass.row.key.clone()).collect();
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
            Some((cell, _)) => Some(Shown::of(store, cell, at, columns).await?),
            None => None,
        };
        let people = people::all(&mut *store.read().await?).await?;
        let people = people.into_iter().map(|person| (person.id, person.name)).collect();
        Ok(Self { evidence, queue, shown, settled, people })
    }

    /// The pass that is looked at, in its cell.
    pub fn pass(&self) -> Option<(&Shown, &CellEvidence, &PassEvidence)> {
        let shown = self.shown.as_ref()?;
        let (cell, pass) = self.evidence.pass(self.queue.get(shown.at)?)?;
        Some((shown, cell, pass))
    }

    /// Passes that people ruled on, beside those that still wait.
    pub fn ruled(&self) -> usize {
        let ruled = |pass: &&PassEvidence| {
            pass.standing != Standing::Flagged && !matches!(pass.row.verdict, None | Some(Verdict::Open))
        };
        self.evidence.passes().filter(ruled).count()
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
    async fn of(store: &Store, cell: &CellEvidence, at: usize, columns: u32) -> Result<Self> {
        let end_ns = cell.passes.iter().map(|pass| pass.row.span_ns).max().unwrap_or(0);
        let stretch = Window { start_ns: 0, end_ns };
        let mut strips = BTreeMap::new();
        for pass in &cell.passes {
            let columns = strips::strip(store, pass.row.segment_id, stretch, columns).await?;
            strips.insert(pass.row.key.clone(), columns);
        }
        let mut medians: Vec<f64> =
            cell.passes.iter().filter_map(|pass| Some(pass.measures.frame_time_ms.as_ref()?.p50)).collect();
        medians.sort_by(f64::total_cmp);
        Ok(Self { at, stretch, strips, median_ms: medians.get(medians.len() / 2).copied() })
    }
}

async fn evidence(store: &Store, piece: PieceId) -> Result<Evidence> {
    let evidence = Evidence::of_piece(store, piece).await?;
    evidence.ok_or_else(|| Refusal::missing("piece", piece).into())
}

/// What was ruled, on which pass of which part: told only now.
#[derive(Clone, Debug)]
pub struct Ruled {
    /// Part, tuning, scene, setting, number and rig of the pass.
    pub on: String,
    /// The decision.
    pub verdict: Verdict,
    /// [`rule::version`] of the pass now, for taking it back.
    pub version: i64,
    /// Key of the pass that follows in the queue.
    pub next: Option<String>,
}

/// Rules on a pass of a piece.
///
/// # Errors
/// As [`rule::rule`]; refused when the piece has no such pass, or its kinds of flag are not those that the form showed.
pub async fn rule(
    store: &Store,
    by: impl Into<By>,
    piece: PieceId,
    key: &str,
    ruling: NewRuling,
) -> Result<Ruled> {
    let by = by.into();
    let evidence = evidence(store, piece).await?;
    let (cell, pass) = evidence.pass(key).ok_or_else(|| Refusal::missing("pass", key))?;
    let again = by.first::<i64>(store).await?.is_some();
    if !again && ruling.verdict != Verdict::Open && ruling.version == rule::version(&pass.row) {
        same_flags(pass, &ruling)?;
    }
    let verdict = ruling.verdict;
    let version = rule::rule(store, by, key, ruling).await?;
    let queue = queue(&evidence);
    let next = queue.iter().position(|(_, waiting)| waiting.row.key == key).and_then(|at| queue.get(at + 1));
    Ok(Ruled {
        on: named(&evidence, cell, pass),
        verdict,
        version,
        next: next.map(|(_, pass)| pass.row.key.clone()),
    })
}

/// Takes back the ruling that stands on a pass of a piece: see [`rule::undo`]. Answers with the verdict that stands now.
///
/// # Errors
/// As [`rule::undo`]; refused when the piece has no such pass.
pub async fn undo(
    store: &Store,
    by: impl Into<By>,
    piece: PieceId,
    key: &str,
    version: i64,
) -> Result<Verdict> {
    let evidence = evidence(store, piece).await?;
    evidence.pass(key).ok_or_else(|| Refusal::missing("pass", key))?;
    rule::undo(store, by, key, version).await
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

#[cfg(test)]
mod tests {
    use super::*;

    fn flag(moves: Option<f64>, strength: f64) -> Flag {
        Flag { kind: FlagKind::Gap, start_ns: 0, end_ns: 1, strength, moves, says: String::new() }
    }

    #[test]
    fn a_pass_weighs_as_much_as_its_worst_flag() {
        assert_eq!(weight(&[]), 0.0);
        assert_eq!(weight(&[flag(Some(0.02), 1.0), flag(Some(0.14), 0.1)]), 0.14);
        assert!((weight(&[flag(None, 0.5)]) - 0.05).abs() < 1e-12);
    }
}
