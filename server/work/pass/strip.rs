//! What a strip shows of a cell's passes: frame times of all of them, and what was sampled beside one.

use weighhouse_measure::recording::{Placing, Recording, Role, Window};

use super::seen_in;
use crate::store::rulings::{self, Remark};
use crate::store::strips::{self, Column};
use crate::store::{PassId, Store, passes, pieces, segments};
use crate::work::evidence::{CellEvidence, Evidence};
use crate::work::{Error, Internal, Refusal, Result};

/// What a lane below the passes can show, in this order.
const ROLES: [Role; 4] = [Role::Power, Role::Clock, Role::Temperature, Role::Load];
/// Samples further apart than this are not joined: as the measures take them.
const HOLE_NS: i64 = weighhouse_measure::measures::sampled::LONGEST_HOLE_NS;

/// The strips of a stretch of time.
#[derive(Clone, Debug)]
pub struct Strips {
    /// The stretch that is shown.
    pub window: Window,
    /// The pass's end, ns.
    pub end_ns: i64,
    /// Passes of the cell: the one asked for first, then its siblings by number.
    pub lanes: Vec<Lane>,
    /// What was sampled beside the pass.
    pub beside: Vec<Beside>,
}

/// Frame times of a pass.
#[derive(Clone, Debug)]
pub struct Lane {
    /// Which pass.
    pub pass: PassId,
    /// Columns in which frames start.
    pub columns: Vec<Column>,
    /// Remarks on it.
    pub remarks: Vec<Remark>,
}

/// A track beside the pass.
#[derive(Clone, Debug)]
pub struct Beside {
    /// What it is.
    pub role: Role,
    /// Its header in the log.
    pub name: String,
    /// File it comes from.
    pub capture: String,
    /// What each column holds, in the role's base unit; none where nothing was sampled.
    pub columns: Vec<Option<Value>>,
}

/// What a column holds.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Value {
    /// First value in it.
    pub first: f64,
    /// Least.
    pub min: f64,
    /// Most.
    pub max: f64,
    /// Last.
    pub last: f64,
}

/// The strips of the pass with this key over a stretch (ns; none: all of it) in `px` columns, and the evidence of its
/// cell that marks and flags are taken from.
///
/// # Errors
/// Refused when there is no such pass or the stretch is empty; when the store fails.
pub async fn zoom(
    store: &Store,
    key: &str,
    piece: &str,
    stretch: (Option<i64>, Option<i64>),
    px: u32,
) -> Result<(Evidence, Strips)> {
    let mut db = store.read().await?;
    let row = passes::by_key(&mut db, key).await?.ok_or_else(|| Refusal::missing("pass", key))?;
    let selecting = pieces::selecting(&mut db, row.cell_id).await?;
    drop(db);
    let evidence = match seen_in(&selecting, piece) {
        Some(piece) => Evidence::of_cell_in(store, piece.clone(), row.cell_id).await?,
        None => Evidence::of_cell(store, row.cell_id).await?,
    };
    let evidence = evidence.ok_or_else(|| gone(key))?;
    let strips = strips(store, &evidence, key, stretch, px).await?;
    Ok((evidence, strips))
}

/// The same, where the evidence has been read.
///
/// # Errors
/// As [`zoom`].
pub async fn strips(
    store: &Store,
    evidence: &Evidence,
    key: &str,
    stretch: (Option<i64>, Option<i64>),
    px: u32,
) -> Result<Strips> {
    let (cell, pass) = evidence.pass(key).ok_or_else(|| gone(key))?;
    let end_ns = cell.passes.iter().map(|pass| pass.row.span_ns).max().unwrap_or(pass.row.span_ns);
    let window = Window { start_ns: stretch.0.unwrap_or(0), end_ns: stretch.1.unwrap_or(end_ns) };
    if window.start_ns < 0 || window.length_ns() <= 0 {
        let says = "The stretch must end after it begins, and begin at 0 or later.";
        return Err(Refusal::field("to", says).into());
    }
    let lanes = lanes(store, cell, key, window, px).await?;
    let beside = beside(store, pass, window, px).await?;
    Ok(Strips { window, end_ns, lanes, beside })
}

/// The longest frame of a pass that begins in a stretch, ns, else the one that reaches into it.
///
/// # Errors
/// Refused when there is no such pass, or no frame in the stretch.
pub async fn longest(store: &Store, key: &str, stretch: Window) -> Result<strips::Frame> {
    let row = passes::by_key(&mut *store.read().await?, key).await?;
    let row = row.ok_or_else(|| Refusal::missing("pass", key))?;
    let found = strips::longest(store, row.segment_id, stretch).await?;
    found.ok_or_else(|| Refusal::field("from", "No frame begins before the end of this stretch.").into())
}

fn gone(key: &str) -> Error {
    Internal(format!("pass {key} is not in its own evidence")).into()
}

async fn lanes(store: &Store, cell: &CellEvidence, key: &str, window: Window, px: u32) -> Result<Vec<Lane>> {
    let mut passes: Vec<_> = cell.passes.iter().collect();
    passes.sort_by_key(|pass| (pass.row.key != key, pass.row.number));
    let mut lanes = Vec::with_capacity(passes.len());
    for pass in passes {
        let columns = strips::strip(store, pass.row.segment_id, window, px).await?;
        let remarks = rulings::remarks(&mut *store.read().await?, pass.row.id).await?;
        lanes.push(Lane { pass: pass.row.id, columns, remarks });
    }
    Ok(lanes)
}

/// Of each role the first placed companion that has it, as the measures take it, else the pass's own track.
async fn beside(
    store: &Store,
    pass: &crate::work::evidence::PassEvidence,
    window: Window,
    px: u32,
) -> Result<Vec<Beside>> {
    let mut sources: Vec<(String, Recording, Placing)> = Vec::new();
    for companion in &pass.companions {
        let Some(placing) = companion.placing() else { continue };
        if let Some(recording) = segments::recording(store, companion.segment_id).await? {
            sources.push((companion.capture.clone(), recording, placing));
        }
    }
    if let Some(own) = segments::beside(store, pass.row.segment_id, &ROLES).await? {
        sources.push((pass.row.capture.clone(), own, Placing { offset_ns: 0, drift_ppb: 0 }));
    }
    let found = ROLES.iter().filter_map(|role| {
        let with = |(capture, recording, placing): &(String, Recording, Placing)| {
            let track = recording.track(*role)?;
            let samples = recording.at_ns.iter().zip(&track.values);
            let placed = samples.map(|(&at, &value)| (on_pass(at, *placing), value));
            let columns = sampled(placed, window, px);
            Some(Beside { role: *role, name: track.name.clone(), capture: capture.clone(), columns })
        };
        sources.iter().find_map(with)
    });
    Ok(found.collect())
}

/// Pass time of a companion's time.
fn on_pass(at_ns: i64, placing: Placing) -> i64 {
    let drift = i128::from(at_ns) * i128::from(placing.drift_ppb) / 1_000_000_000;
    placing.offset_ns + at_ns + i64::try_from(drift).unwrap_or(0)
}

/// Columns of samples in order of time. Between two samples the last one holds, unless they lie far apart.
pub fn sampled(samples: impl Iterator<Item = (i64, f64)>, window: Window, px: u32) -> Vec<Option<Value>> {
    let mut columns: Vec<Option<Value>> = vec![None; usize::try_from(px).unwrap_or(0)];
    let length = i128::from(window.length_ns().max(1));
    let column = |at: i64| {
        let into = i128::from(at) - i128::from(window.start_ns);
        into.div_euclid(length.max(1))
            .eq(&0)
            .then(|| usize::try_from(into * i128::from(px) / length).ok())
            .flatten()
    };
    let mut before: Option<(i64, f64)> = None;
    for (at, value) in samples.filter(|(_, value)| value.is_finite()) {
        if let Some((earlier, held)) = before.filter(|(earlier, _)| at - earlier <= HOLE_NS) {
            let from = column(earlier).map_or(0, |x| x + 1);
            let to = column(at).unwrap_or(columns.len());
            if earlier < window.end_ns && at >= window.start_ns {
                let still = Value { first: held, min: held, max: held, last: held };
                columns.iter_mut().take(to).skip(from).for_each(|place| *place = Some(still));
            }
        }
        if let Some(place) = column(at).and_then(|x| columns.get_mut(x)) {
            let one = Value { first: value, min: value, max: value, last: value };
            let joined = |v: Value| Value { min: v.min.min(value), max: v.max.max(value), last: value, ..v };
            *place = Some(place.map_or(one, joined));
        }
        before = Some((at, value));
    }
    columns
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_sample_holds_until_the_next_and_not_across_a_hole() {
        let window = Window { start_ns: 0, end_ns: 10_000_000_000 };
        let samples = [(-500_000_000, 1.0), (1_500_000_000, 2.0), (1_600_000_000, 5.0), (9_500_000_000, 3.0)];
        let columns = sampled(samples.into_iter(), window, 10);
        let seen: Vec<Option<(f64, f64)>> = columns.iter().map(|c| c.map(|v| (v.min, v.max))).collect();
        assert_eq!(seen[..3], [Some((1.0, 1.0)), Some((2.0, 5.0)), None]);
        assert_eq!(seen[9], Some((3.0, 3.0)));
    }

    #[test]
    fn a_stretch_between_two_samples_shows_what_holds() {
        let window = Window { start_ns: 1_000_000_000, end_ns: 1_100_000_000 };
        let columns = sampled([(900_000_000, 7.0), (1_900_000_000, 8.0)].into_iter(), window, 4);
        assert!(columns.iter().all(|c| c.is_some_and(|v| v.last == 7.0)));
    }

    #[test]
    fn clocks_that_drift_are_set_right() {
        assert_eq!(on_pass(1_000_000_000, Placing { offset_ns: 5, drift_ppb: 1000 }), 1_000_001_005);
    }
}
