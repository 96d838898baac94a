//! Making passes of the segments that wait, and giving each pass its companions.

use weighhouse_measure::recording::{Kind, Placing};

use super::{Kind as Sort, Refusal, Result};
use crate::chance::Chance;
use crate::store::companions::{self, PlacedBy};
use crate::store::passes::{self, NewPass};
use crate::store::segments::{self, SegmentRow};
use crate::store::{Actor, Conflict, PassId, PersonId, SegmentId, Store, StoreError, Tx, captures};

/// A pass that was made, with the companions that were found for it by name.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Made {
    /// Row id.
    pub id: PassId,
    /// Key in addresses.
    pub key: String,
    /// Companions, and how each was placed.
    pub companions: Vec<(SegmentId, PlacedBy)>,
}

/// Makes passes of waiting segments, all or none, and pairs each with the waiting companions of its name.
///
/// # Errors
/// Refused when a segment is no longer waiting, holds no frames, or unit, driver, build and cell do not belong together.
pub async fn assign(
    store: &Store,
    chance: &Chance,
    by: PersonId,
    passes_to_make: Vec<NewPass>,
) -> Result<Vec<Made>> {
    let mut keyed = Vec::with_capacity(passes_to_make.len());
    for new in passes_to_make {
        keyed.push((chance.key()?, new));
    }
    store
        .write(Actor::Person(by), async move |tx| {
            let mut waiting = segments::waiting(tx).await?;
            let mut made = Vec::with_capacity(keyed.len());
            for (key, new) in keyed {
                made.push(make(tx, key, &new, &mut waiting).await?);
            }
            Ok(made)
        })
        .await
}

/// Makes one pass of a waiting segment, which leaves `waiting` with its companions.
pub(super) async fn make(
    tx: &mut Tx<'_>,
    key: String,
    new: &NewPass,
    waiting: &mut Vec<SegmentRow>,
) -> Result<Made> {
    let at = waiting.iter().position(|s| s.id == new.segment_id && s.kind == Kind::Frames);
    let Some(at) = at else { return Err(not_waiting(new.segment_id)) };
    let frames = waiting.remove(at);
    let id = passes::add(tx, &key, new).await.map_err(|error| not_together(error, &frames.capture))?;
    let mut companions = Vec::new();
    while let Some(at) = waiting.iter().position(|other| beside(&frames, other)) {
        let other = waiting.remove(at);
        let by = pair(tx, id, &frames, &other).await?;
        companions.push((other.id, by));
    }
    Ok(Made { id, key, companions })
}

/// Gives a pass a companion and places it as far as clocks allow.
pub async fn pair(
    tx: &mut Tx<'_>,
    pass: PassId,
    frames: &SegmentRow,
    companion: &SegmentRow,
) -> Result<PlacedBy> {
    let given = captures::by_id(tx, frames.capture_id).await?.and_then(|capture| capture.start_us);
    let (placing, by) = placing(frames.wall_start_ns, given, companion.wall_start_ns);
    companions::add(tx, pass, companion.id, placing, by).await?;
    Ok(by)
}

/// Where a companion stands: by the wall clocks of both logs, else by the start that was given for the frames
/// (microseconds UTC), else nowhere. Clocks of one machine or synchronised ones do not drift within a pass.
pub fn placing(
    frames_ns: Option<i64>,
    given_us: Option<i64>,
    companion_ns: Option<i64>,
) -> (Option<Placing>, PlacedBy) {
    let at = |start_ns: i64, by| {
        companion_ns.map(|ns| (Some(Placing { offset_ns: ns - start_ns, drift_ppb: 0 }), by))
    };
    match (frames_ns, given_us.and_then(|us| us.checked_mul(1000))) {
        (Some(ns), _) => at(ns, PlacedBy::WallClock),
        (None, Some(ns)) => at(ns, PlacedBy::StartTime),
        (None, None) => None,
    }
    .unwrap_or((None, PlacedBy::Nobody))
}

/// Whether `other` is a companion of `frames` by its name: the same name with `_sensors` or another word after it.
fn beside(frames: &SegmentRow, other: &SegmentRow) -> bool {
    let in_one_file = frames.capture_id == other.capture_id && frames.member == other.member;
    // Of a log that was cut no name tells which stretch of the companion is whose: wall clocks do, on the intake page.
    if frames.cut.window().is_some() || other.cut.window().is_some() {
        return false;
    }
    let named = |s: &SegmentRow| stem(if s.member.is_empty() { &s.capture } else { &s.member }).to_owned();
    other.kind == Kind::Companion && !in_one_file && companion_name(&named(frames), &named(other))
}

/// Whether a companion with this name (without its ending) belongs to a frame log with that one.
pub fn companion_name(frames: &str, companion: &str) -> bool {
    let rest = companion.strip_prefix(frames).and_then(|rest| rest.strip_prefix(['_', '-', '.', ' ']));
    rest.is_some_and(|word| !word.is_empty() && word.chars().all(char::is_alphabetic))
}

/// A file's name without folders and without its ending.
pub fn stem(name: &str) -> &str {
    let name = name.rsplit(['/', '\\']).next().unwrap_or(name);
    name.rsplit_once('.').map_or(name, |(stem, _)| stem)
}

fn not_waiting(segment: SegmentId) -> super::Error {
    Refusal::new(
        Sort::Clash,
        "Not waiting any more",
        format!("Log segment {segment} has become a pass already, or holds no frames."),
        "Open the intake page again to see what still waits.",
    )
    .into()
}

fn not_together(error: StoreError, file: &str) -> super::Error {
    match error {
        StoreError::Conflict { kind: Conflict::Reference, .. } => Refusal::new(
            Sort::Invalid,
            "These do not belong together",
            format!(
                "For '{file}': the unit and the driver must be of the cell's part, the build of its scene."
            ),
            "Choose them anew; a missing one is entered under Parts or Scenes.",
        )
        .into(),
        other => other.into(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_companion_is_known_by_the_name_before_its_own_word() {
        assert!(companion_name("dunlin_hairpin_p1", "dunlin_hairpin_p1_sensors"));
        assert!(!companion_name("dunlin_hairpin_p1", "dunlin_hairpin_p10"));
        assert!(!companion_name("dunlin_hairpin_p1", "dunlin_hairpin_p1"));
        assert!(!companion_name("dunlin_hairpin_p1", "dunlin_hairpin_p1_"));
        assert!(!companion_name("dunlin_hairpin", "dunlin_hairpin_p1_sensors"));
        assert_eq!(stem("a/b/dunlin.v2.csv"), "dunlin.v2");
        assert_eq!(stem("C:\\logs\\dunlin"), "dunlin");
    }

    #[test]
    fn placed_by_wall_clocks_else_by_the_given_start_else_nowhere() {
        let offset = |(placing, by): (Option<Placing>, PlacedBy)| (placing.map(|p| p.offset_ns), by);
        assert_eq!(offset(placing(Some(5_000), Some(1), Some(4_000))), (Some(-1_000), PlacedBy::WallClock));
        assert_eq!(offset(placing(None, Some(3), Some(4_000))), (Some(1_000), PlacedBy::StartTime));
        assert_eq!(offset(placing(None, None, Some(4_000))), (None, PlacedBy::Nobody));
        assert_eq!(offset(placing(Some(1), Some(1), None)), (None, PlacedBy::Nobody));
    }
}
