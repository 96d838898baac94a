//! How rigs agree: which one reads high and by how much, and how far rigs scatter beyond their passes.
//!
//! Cells that ran in several rigs are looked at on natural logarithms, so that scenes of 60 and of 400 fps say the same
//! of a rig. A rig's *reading* is the mean over those cells of its mean less the mean of the other rigs' means, with the
//! variance s^2 (1/n_r + sum 1/n_j / (k - 1)^2) of each cell. *Agreement* pools ISO 5725-2's s_r^2 and s_L^2
//! ([`crate::stats::precision`]) over the cells. Which rig is odd is said from [`FEWEST_FOR_VERDICTS`] rigs on; below,
//! h and k can hardly exceed their limits (with three rigs never 1.155 and 1.73) and stand as values alone.

use super::PassLog;
use super::noise::{Local, by_rig};
use super::ratio::{Bounds, bounds, satterthwaite};
use crate::stats::consistency::{cochran, cochran_limit, grubbs, grubbs_limit};
use crate::stats::moderation::Variance;
use crate::stats::precision::{Precision, precision};
use crate::stats::sum::{mean, sum};
use serde::Serialize;
use std::collections::BTreeMap;

/// Fewest rigs from which one of them is called odd (ISO 5725-2 plans for more).
pub const FEWEST_FOR_VERDICTS: usize = 5;

/// A cell's kept passes of one measure with what the noise prior says of it.
#[derive(Clone, Debug)]
pub struct RigCell {
    /// Kept passes, of one part as it is run in one scene at one setting.
    pub passes: Vec<PassLog>,
    /// For cells that have one pass a rig.
    pub noise: Local,
}

/// How a rig reads against the others.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Reading {
    /// The rig.
    pub rig: i64,
    /// Its value over that of the other rigs.
    pub ratio: f64,
    /// `None` where the spread of a cell is not known.
    pub bounds: Option<Bounds>,
    /// Cells that it shares with another rig.
    pub cells: usize,
    /// Its passes in them.
    pub passes: usize,
}

/// How each rig reads against the others, by rig; those without a shared cell are left out.
pub fn readings(cells: &[RigCell]) -> Vec<Reading> {
    let mut found: BTreeMap<i64, Vec<(f64, usize, Option<Variance>)>> = BTreeMap::new();
    for cell in cells {
        let rigs = by_rig(&cell.passes);
        for (rig, logs) in &rigs {
            let others: Vec<&Vec<f64>> = rigs.iter().filter(|(id, _)| *id != rig).map(|(_, l)| l).collect();
            let means: Vec<f64> = others.iter().filter_map(|logs| mean(logs)).collect();
            let (Some(own), Some(theirs)) = (mean(logs), mean(&means)) else { continue };
            let k = others.len() as f64;
            let per = 1.0 / logs.len() as f64 + sum(others.iter().map(|o| 1.0 / o.len() as f64)) / (k * k);
            let variance = cell.noise.plain(&cell.passes).map(|v| Variance { s2: v.s2 * per, ..v });
            found.entry(*rig).or_default().push((own - theirs, logs.len(), variance));
        }
    }
    found.into_iter().filter_map(|(rig, of_cells)| reading(rig, &of_cells)).collect()
}

fn reading(rig: i64, cells: &[(f64, usize, Option<Variance>)]) -> Option<Reading> {
    let ln = mean(&cells.iter().map(|(d, ..)| *d).collect::<Vec<f64>>())?;
    let share = 1.0 / (cells.len() as f64 * cells.len() as f64);
    let parts: Option<Vec<Variance>> =
        cells.iter().map(|(_, _, v)| v.map(|v| Variance { s2: v.s2 * share, ..v })).collect();
    Some(Reading {
        rig,
        ratio: libm::exp(ln),
        bounds: parts.and_then(|parts| satterthwaite(&parts)).map(|error| bounds(ln, error)),
        cells: cells.len(),
        passes: cells.iter().map(|(_, n, _)| n).sum(),
    })
}

/// Repeatability, between-rig spread and reproducibility, as standard deviations of ln(measure): shares of 1.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Agreement {
    /// Cells with passes in several rigs.
    pub cells: usize,
    /// Rigs in them.
    pub rigs: usize,
    /// s_r: the same rig, once more.
    pub repeatability: f64,
    /// s_L: from rig to rig, beyond what passes explain; 0 where they explain it all.
    pub between: f64,
    /// s_R: another rig.
    pub reproducibility: f64,
}

/// How rigs agree over the cells that several of them ran. `None` where there is none with two passes in one rig.
pub fn agreement(cells: &[&[PassLog]]) -> Option<Agreement> {
    let shared = shared(cells);
    let within_df = sum(shared.iter().map(|p| p.df_within));
    let s_r2 = sum(shared.iter().map(|p| p.df_within * p.repeatability2)) / within_df;
    let s_l2 = between2(&shared).max(0.0);
    (within_df > 0.0).then(|| Agreement {
        cells: shared.len(),
        rigs: rigs_in(cells),
        repeatability: s_r2.sqrt(),
        between: s_l2.sqrt(),
        reproducibility: (s_r2 + s_l2).sqrt(),
    })
}

/// s_L^2 of ln(measure), for comparisons that cross rigs. A rig reads high in all its cells alike, so the degrees of
/// freedom are those of the rigs, not of the cells. `None` where it is not known to be above 0.
pub fn between_rigs(cells: &[&[PassLog]]) -> Option<Variance> {
    let s2 = between2(&shared(cells));
    let rigs = rigs_in(cells);
    (s2 > 0.0 && rigs > 1).then_some(Variance { s2, df: rigs as f64 - 1.0 })
}

fn shared(cells: &[&[PassLog]]) -> Vec<Precision> {
    let mut shared: Vec<Precision> = cells.iter().filter_map(|passes| precision(&groups(passes))).collect();
    // Sums must not depend on the order of cells.
    shared.sort_by(|a, b| a.between_estimate.total_cmp(&b.between_estimate));
    shared
}

fn groups(passes: &[PassLog]) -> Vec<Vec<f64>> {
    by_rig(passes).into_values().collect()
}

/// Mean of the cells' estimates before truncation, weighted by rigs less one; truncating each would raise it.
fn between2(shared: &[Precision]) -> f64 {
    let weight = |p: &Precision| p.groups as f64 - 1.0;
    sum(shared.iter().map(|p| weight(p) * p.between_estimate)) / sum(shared.iter().map(weight))
}

/// Rigs that share a cell with another.
fn rigs_in(cells: &[&[PassLog]]) -> usize {
    let mut rigs: Vec<i64> = cells
        .iter()
        .map(|passes| by_rig(passes))
        .filter(|rigs| rigs.len() > 1)
        .flat_map(|rigs| rigs.into_keys().collect::<Vec<i64>>())
        .collect();
    rigs.sort_unstable();
    rigs.dedup();
    rigs.len()
}

/// How far a test says a rig stands out.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub enum Beyond {
    /// Beyond the 5% value: a straggler.
    Straggler,
    /// Beyond the 1% value: an outlier.
    Outlier,
}

/// A rig that stands out in a cell.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub enum Odd {
    /// Its passes scatter more than the other rigs' (Cochran).
    Scatters(i64, Beyond),
    /// Its mean lies off the other rigs' (Grubbs).
    Off(i64, Beyond),
}

/// Cochran's test, then Grubbs', on a cell's rigs. `None` below [`FEWEST_FOR_VERDICTS`] rigs or where none stands out.
pub fn odd(passes: &[PassLog]) -> Option<Odd> {
    let rigs = by_rig(passes);
    let p = rigs.len();
    if p < FEWEST_FOR_VERDICTS {
        return None;
    }
    let ids: Vec<i64> = rigs.keys().copied().collect();
    let groups: Vec<Vec<f64>> = rigs.into_values().collect();
    let beyond = |statistic: f64, limit: &dyn Fn(f64) -> Option<f64>| {
        let exceeds = |alpha| limit(alpha).is_some_and(|limit| statistic > limit);
        if exceeds(0.01) { Some(Beyond::Outlier) } else { exceeds(0.05).then_some(Beyond::Straggler) }
    };
    // Cochran's table is for equal n: the mean number of passes stands in where rigs differ.
    let scatters = cochran(&groups).and_then(|worst| {
        let limit = |alpha| cochran_limit(p, passes.len() / p, alpha);
        Some(Odd::Scatters(*ids.get(worst.at)?, beyond(worst.statistic, &limit)?))
    });
    let off = || {
        let means: Vec<f64> = groups.iter().filter_map(|logs| mean(logs)).collect();
        let worst = grubbs(&means)?;
        Some(Odd::Off(*ids.get(worst.at)?, beyond(worst.statistic, &|alpha| grubbs_limit(p, alpha))?))
    };
    scatters.or_else(off)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn passes(rigs: &[(i64, &[f64])]) -> Vec<PassLog> {
        let of = |(rig, values): &(i64, &[f64])| -> Vec<PassLog> {
            values.iter().map(|v| PassLog::new(*v, *rig, 1, true).unwrap()).collect()
        };
        rigs.iter().flat_map(of).collect()
    }

    fn cell(rigs: &[(i64, &[f64])]) -> RigCell {
        RigCell { passes: passes(rigs), noise: Local::default() }
    }

    #[test]
    fn a_rig_that_reads_low_does_so_by_what_was_put_in() {
        let cells = [
            cell(&[(1, &[100.0, 100.2, 99.8]), (2, &[99.0, 99.2, 98.8])]),
            cell(&[(1, &[400.0, 401.0]), (2, &[396.0, 397.0])]),
            cell(&[(1, &[50.0, 51.0])]),
        ];
        let found = readings(&cells);
        assert_eq!(
            found.iter().map(|r| (r.rig, r.cells, r.passes)).collect::<Vec<_>>(),
            [(1, 2, 5), (2, 2, 5)]
        );
        let low = &found[1];
        assert!((low.ratio - 0.99).abs() < 1e-4, "{}", low.ratio);
        assert!(low.bounds.unwrap().interval.holds(0.99) && !low.bounds.unwrap().interval.holds(1.0));
        assert!((found[0].ratio * low.ratio - 1.0).abs() < 1e-12, "two rigs mirror each other");
    }

    #[test]
    fn the_variance_of_a_reading_is_that_of_a_difference_of_means() {
        let one = cell(&[(1, &[100.0, 102.0]), (2, &[99.0, 101.0]), (3, &[98.0])]);
        let found = readings(std::slice::from_ref(&one));
        let half = |a: f64, b: f64| libm::log(b / a) * libm::log(b / a) / 2.0;
        let s2 = (half(100.0, 102.0) + half(99.0, 101.0)) / 2.0;
        let se = found[0].bounds.unwrap().se_ln;
        assert!((se * se - s2 * (0.5 + (0.5 + 1.0) / 4.0)).abs() < 1e-15);
        assert_eq!(found[0].bounds.unwrap().df, 2.0);
    }

    #[test]
    fn agreement_parts_what_rigs_add_from_what_passes_scatter() {
        let stepped = passes(&[(1, &[100.0, 101.0]), (2, &[110.0, 111.0])]);
        let alike = passes(&[(1, &[100.0, 101.0]), (2, &[100.0, 101.0])]);
        let alone = passes(&[(1, &[100.0, 101.0])]);
        let a = agreement(&[&stepped, &alone]).unwrap();
        assert_eq!((a.cells, a.rigs), (1, 2));
        assert!(a.between > 10.0 * a.repeatability / 2.0);
        assert!((a.reproducibility.powi(2) - a.between.powi(2) - a.repeatability.powi(2)).abs() < 1e-15);
        assert_eq!(agreement(&[&alike]).unwrap().between, 0.0);
        assert_eq!(agreement(&[&alone]), None);
        assert_eq!((between_rigs(&[&alike]), between_rigs(&[&alone])), (None, None));
        assert_eq!(between_rigs(&[&stepped]).unwrap().df, 1.0);
    }

    #[test]
    fn rigs_are_called_odd_from_five_on() {
        let calm: [&[f64]; 4] =
            [&[100.0, 100.2, 99.9], &[100.1, 99.9, 100.0], &[99.8, 100.1, 100.0], &[100.2, 100.0, 99.9]];
        let with = |last: &'static [f64]| -> Vec<(i64, &[f64])> {
            (1..).zip(calm.into_iter().chain([last])).collect()
        };
        assert_eq!(odd(&passes(&with(&[100.0, 99.9, 100.2]))), None);
        let off = passes(&with(&[110.0, 110.2, 110.1]));
        assert_eq!(odd(&off), Some(Odd::Off(5, Beyond::Outlier)));
        let scattered = passes(&with(&[97.0, 100.0, 103.0]));
        assert_eq!(odd(&scattered), Some(Odd::Scatters(5, Beyond::Outlier)));
        assert_eq!(odd(&passes(&with(&[110.0, 110.2, 110.1])[1..])), None, "four rigs");
    }
}
