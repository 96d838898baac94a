//! Where a companion's clock stands on its pass's clock, from what both logs saw of the same load.
//!
//! The work that the frames did in each stretch of time is held against the power (or load) that the companion read,
//! at every offset at which at least half of the shorter log overlaps the other: Pearson's correlation of the
//! overlap (methods, section 9: cross-correlation of two series resampled to one grid; normalised, since a raw sum
//! favours some offsets). The highest point is the offset; a parabola through it and its neighbours gives the part of
//! a stretch. The answer is given only when the peak is high and no other comes near it.
//!
//! A reading stands for the time since the reading before it (common practice, no source). Load readings lag by up to a
//! second behind the work (measured on real cards), so that an answer from load is good to a second only.

mod grid;

use crate::recording::{Kind, NS_PER_S, Placing, Recording, Role};
use crate::stats::correlation::{Moved, moved};
use crate::stats::robust::median;
use crate::stats::trend::theil_sen_at;

use self::grid::{Held, Work};

/// Lowest correlation that counts as the same load (our choice).
pub const LEAST_PEAK: f64 = 0.75;
/// Highest second peak beside the first one (our choice): a load that repeats gives several offsets.
pub const MOST_SECOND: f64 = 0.7;
/// Another peak is one this far off, or further.
const APART_NS: i64 = NS_PER_S / 2;
/// Fewest stretches that have to overlap.
const LEAST_CELLS: usize = 40;
/// Products that are summed at most; longer logs are held together on longer stretches.
const MOST_PRODUCTS: usize = 400_000_000;
/// Windows of this length give the drift, and there have to be so many.
const WINDOW_NS: i64 = 60 * NS_PER_S;
const LEAST_WINDOWS: usize = 5;
/// How far a clock may have drifted in a window from the offset of the whole.
const MOST_DRIFTED_NS: i64 = 2 * NS_PER_S;
/// A good answer from load is good to this.
const LOAD_LAG_NS: i64 = NS_PER_S;

/// A placing that both logs speak for; a proposal until a person accepts it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Aligned {
    /// Where the companion stands.
    pub placing: Placing,
    /// What it was found by: power or load.
    pub by: Role,
    /// Correlation there.
    pub peak: f64,
    /// The highest correlation elsewhere, 0 where there is none.
    pub second: f64,
    /// The answer is good to about this, ns.
    pub good_to_ns: i64,
}

impl Aligned {
    /// The second peak beside the first, a share.
    pub fn sharpness(&self) -> f64 {
        self.second.max(0.0) / self.peak
    }
}

/// Finds where a companion stands.
///
/// # Errors
/// Why it cannot be said, in words.
pub fn align(frames: &Recording, companion: &Recording) -> Result<Aligned, String> {
    if frames.kind != Kind::Frames || companion.kind != Kind::Companion {
        return Err("only a companion can be placed beside frames".to_owned());
    }
    let (by, held) = [Role::Power, Role::Load]
        .into_iter()
        .find_map(|role| Some((role, Held::of(companion, role)?)))
        .ok_or("it has neither a power nor a load track")?;
    let work = Work::of(frames).ok_or("the log has no frames")?;
    let cell_ns = cell(&work, &held);
    let (a, b) = (work.cells(0, work.end_ns(), cell_ns), held.cells(cell_ns));
    let least = a.len().min(b.len()).div_ceil(2);
    if least < LEAST_CELLS {
        return Err(format!("the logs are too short to be held against each other: {least} readings"));
    }
    let all = moved(&a, &b, least);
    let best = highest(&all).ok_or("the load never changes")?;
    let (offset_cells, peak) = (best.at, best.value);
    let apart = (APART_NS as f64 / cell_ns as f64).max(4.0);
    let second = all
        .iter()
        .filter(|m| (m.by as f64 - offset_cells).abs() > apart)
        .map(|m| m.value)
        .fold(0.0, f64::max);
    let name = if by == Role::Power { "power" } else { "load" };
    if peak < LEAST_PEAK {
        return Err(format!("{name} does not follow the work of the frames: correlation {peak:.2} at best"));
    }
    if second > MOST_SECOND * peak {
        let percent = 100.0 * second / peak;
        return Err(format!(
            "{name} follows the work of the frames at several offsets: the second peak is at {percent:.0} % of the first"
        ));
    }
    let offset_ns = to_ns(offset_cells * cell_ns as f64);
    let placing = Placing { offset_ns, drift_ppb: 0 };
    let placing = drifted(&work, &held, placing, cell_ns).unwrap_or(placing);
    let good_to_ns = if by == Role::Load { cell_ns.max(LOAD_LAG_NS) } else { cell_ns };
    Ok(Aligned { placing, by, peak, second, good_to_ns })
}

/// Length of the stretches: the companion's usual step, longer where the logs are very long.
fn cell(work: &Work, held: &Held) -> i64 {
    let mut cell_ns = held.step_ns();
    let count = |span_ns: i64, cell_ns: i64| usize::try_from(span_ns / cell_ns).unwrap_or(usize::MAX);
    while count(work.end_ns(), cell_ns).saturating_mul(count(held.span_ns(), cell_ns)) > MOST_PRODUCTS {
        cell_ns *= 2;
    }
    cell_ns
}

/// A peak, placed between the moves.
struct Peak {
    at: f64,
    value: f64,
}

fn highest(all: &[Moved]) -> Option<Peak> {
    let best = (0..all.len()).max_by(|&i, &j| all[i].value.total_cmp(&all[j].value))?;
    let value = all[best].value;
    let beside = best.checked_sub(1).and_then(|i| all.get(i)).zip(all.get(best + 1));
    let part = beside.map_or(0.0, |(before, after)| {
        let bend = before.value - 2.0 * value + after.value;
        if bend < 0.0 { (before.value - after.value) / (2.0 * bend) } else { 0.0 }
    });
    value.is_finite().then(|| Peak { at: all[best].by as f64 + part.clamp(-0.5, 0.5), value })
}

/// Offset and drift from windows of the pass, where there are enough of them that agree.
fn drifted(work: &Work, held: &Held, placing: Placing, cell_ns: i64) -> Option<Placing> {
    let b = held.cells(cell_ns);
    let around = to_ns(placing.offset_ns as f64 / cell_ns as f64);
    let reach = MOST_DRIFTED_NS / cell_ns;
    let mut found: Vec<(f64, f64)> = Vec::new();
    for n in 0..work.end_ns() / WINDOW_NS {
        let from_ns = n * WINDOW_NS;
        let a = work.cells(from_ns, from_ns + WINDOW_NS, cell_ns);
        // The companion's cells that this window may meet.
        let first = from_ns / cell_ns - around - reach;
        let (Ok(first), Ok(wide)) = (usize::try_from(first), usize::try_from(2 * reach)) else { continue };
        let Some(b) = b.get(first..first + a.len() + wide) else { continue };
        let Some(peak) = highest(&moved(&a, b, a.len())) else { continue };
        if peak.value < LEAST_PEAK {
            continue;
        }
        let offset_ns = (peak.at + (from_ns / cell_ns) as f64 - first as f64) * cell_ns as f64;
        let middle_ns = (from_ns + WINDOW_NS / 2) as f64 - offset_ns;
        found.push((middle_ns, offset_ns));
    }
    if found.len() < LEAST_WINDOWS {
        return None;
    }
    let line = theil_sen_at(&found)?;
    let off = |&(t, offset): &(f64, f64)| (offset - line.intercept - line.slope * t).abs();
    let scatter = median(&found.iter().map(off).collect::<Vec<_>>());
    // A slope that moves the ends by less than the windows scatter is none.
    let moves = (line.slope * work.end_ns() as f64).abs();
    let slope = if moves > 2.0 * scatter { line.slope } else { return None };
    Some(Placing { offset_ns: to_ns(line.intercept), drift_ppb: to_ns(slope * 1e9) })
}

/// To a whole number; clamped far outside of what clocks show.
fn to_ns(value: f64) -> i64 {
    #[expect(clippy::cast_possible_truncation, reason = "clamped to whole numbers that fit")]
    let whole = value.round().clamp(-9e18, 9e18) as i64;
    whole
}

#[cfg(test)]
mod tests;
