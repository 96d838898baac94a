//! A sensor log without frames: how a part warms up, and the temperature that it holds.
//!
//! The log is told in blocks of equal time. Where the warming ends is found by the truncation rule of
//! [`crate::stats::truncation`]; what is left is steady only if it goes on for long enough and no longer drifts. The
//! steady temperature's interval comes from means of batches (Law 2015, Simulation Modeling and Analysis, 9.5.3: from
//! memory).

use serde::Serialize;

use crate::screens::throttled;
use crate::stats::distributions::t_two_sided;
use crate::stats::limits::Interval;
use crate::stats::sum::mean;
use crate::stats::truncation::mser;

/// Seconds of a block.
pub const BLOCK_S: f64 = 10.0;
/// Blocks that a log needs before anything is said: two minutes.
const LEAST_BLOCKS: usize = 12;
/// A steady stretch is at least this long, s.
const LEAST_STEADY_S: f64 = 120.0;
/// What still drifts faster is not steady: kelvin a minute. Common practice, no source.
pub const DRIFT_C_PER_MIN: f64 = 0.1;
/// What is this near is told as reached, kelvin. Common practice, no source.
pub const NEAR_C: f64 = 1.0;
/// Batches of the steady stretch.
const BATCHES: usize = 6;

/// A log in blocks of equal time.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Blocks {
    /// Seconds of a block.
    pub block_s: f64,
    /// Mean of each block from the first row on; `None` where it has no row.
    pub means: Vec<Option<f64>>,
}

/// What a soak came to.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub enum Steady {
    /// It holds.
    Holds {
        /// From when on it is within [`NEAR_C`] of what it holds for good, s after the first row.
        near_s: f64,
        /// From when on rows are in the mean, s after the first row.
        from_s: f64,
        /// Until when, s after the first row.
        to_s: f64,
        /// Mean there, in the track's unit.
        value: f64,
        /// 95% interval of that mean.
        interval: Interval,
    },
    /// The log ends before it holds.
    NotYet {
        /// Change at its end, in the track's unit a minute.
        per_minute: f64,
    },
    /// The log is too short to say.
    TooShort,
}

/// Means of blocks. `at_s`: seconds of each row, ascending; `values`: what was read; rows without a number are left
/// out.
pub fn blocks(at_s: &[f64], values: &[f64]) -> Blocks {
    let first = at_s.first().copied().unwrap_or(0.0);
    let mut rows: Vec<Vec<f64>> = Vec::new();
    for (at, value) in at_s.iter().zip(values).filter(|(at, value)| at.is_finite() && value.is_finite()) {
        // A negative or huge quotient saturates: the first block, or a log that is refused before.
        let block = block_of(at - first);
        if rows.len() <= block {
            rows.resize(block + 1, Vec::new());
        }
        rows[block].push(*value);
    }
    Blocks { block_s: BLOCK_S, means: rows.iter().map(|row| mean(row)).collect() }
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "whole, within the blocks of a month"
)]
fn block_of(after_s: f64) -> usize {
    const MONTH_S: f64 = 31.0 * 86_400.0;
    (after_s.clamp(0.0, MONTH_S) / BLOCK_S).floor() as usize
}

/// The longest stretch of blocks without a gap: where it begins, and its means.
fn unbroken(blocks: &Blocks) -> (usize, Vec<f64>) {
    let mut best = (0, Vec::new());
    let mut now = (0, Vec::new());
    for (at, block) in blocks.means.iter().enumerate() {
        match block {
            Some(mean) => {
                if now.1.is_empty() {
                    now.0 = at;
                }
                now.1.push(*mean);
            }
            None => now.1.clear(),
        }
        if now.1.len() > best.1.len() {
            best = now.clone();
        }
    }
    best
}

/// Blocks without a row between others: where the log has a gap, s after the first row.
pub fn gaps(blocks: &Blocks) -> Vec<(f64, f64)> {
    let mut found: Vec<(f64, f64)> = Vec::new();
    let mut start = None;
    for (at, block) in blocks.means.iter().enumerate() {
        let at_s = at as f64 * blocks.block_s;
        match (block, start) {
            (None, None) => start = Some(at_s),
            (Some(_), Some(from)) => {
                found.push((from, at_s));
                start = None;
            }
            _ => {}
        }
    }
    found
}

/// A stretch in which the part throttled.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Throttles {
    /// From when on, s after the first row.
    pub from_s: f64,
    /// Until when, s after the first row.
    pub to_s: f64,
    /// By what share the clock fell, or power where no clock was logged.
    pub falls: f64,
}

/// Where the part throttled, by the rule of the screen of passes ([`crate::screens`]): clock or power fall while the
/// temperature stands at its top and the load does not. Looked for in the longest stretch without a gap.
pub fn throttles(
    temperature: &Blocks,
    clock: Option<&Blocks>,
    power: Option<&Blocks>,
    load: Option<&Blocks>,
) -> Vec<Throttles> {
    let (begin, hot) = unbroken(temperature);
    let beside = |of: Option<&Blocks>| -> Option<Vec<f64>> {
        of?.means.get(begin..begin + hot.len())?.iter().copied().collect()
    };
    let (clock, power, load) = (beside(clock), beside(power), beside(load));
    let found = throttled(&hot, clock.as_deref(), power.as_deref(), load.as_deref());
    let at_s = |block: usize| (begin + block) as f64 * temperature.block_s;
    found
        .into_iter()
        .map(|one| Throttles {
            from_s: at_s(one.from),
            to_s: at_s(one.to),
            falls: 1.0 - libm::exp(-one.fall),
        })
        .collect()
}

/// Where the log holds its value.
pub fn steady(blocks: &Blocks) -> Steady {
    let (begin, means) = unbroken(blocks);
    if means.len() < LEAST_BLOCKS {
        return Steady::TooShort;
    }
    let cut = settled(&means);
    let rest = &means[cut..];
    let long = rest.len() as f64 * blocks.block_s;
    let per_minute = slope(rest) / blocks.block_s * 60.0;
    if long < LEAST_STEADY_S || per_minute.abs() > DRIFT_C_PER_MIN {
        return Steady::NotYet { per_minute };
    }
    let Some((value, interval)) = of_batches(rest) else { return Steady::TooShort };
    let at_s = |block: usize| (begin + block) as f64 * blocks.block_s;
    let far = means.iter().rposition(|mean| (mean - value).abs() > NEAR_C);
    let near_s = at_s(far.map_or(0, |far| far + 1));
    Steady::Holds { near_s, from_s: at_s(cut), to_s: at_s(cut) + long, value, interval }
}

/// Blocks to leave out. The rule looks at cuts in the first half of what it is given; where it cuts there, more may
/// have to go, and it is asked again.
fn settled(means: &[f64]) -> usize {
    let mut cut = 0;
    loop {
        let rest = &means[cut..];
        let more = mser(rest);
        cut += more;
        if more < rest.len() / 2 || means.len() - cut < LEAST_BLOCKS {
            return cut;
        }
    }
}

/// Least-squares slope a step.
fn slope(values: &[f64]) -> f64 {
    let middle = (values.len() as f64 - 1.0) / 2.0;
    let offsets: Vec<f64> = (0..values.len()).map(|at| at as f64 - middle).collect();
    let squares: f64 = crate::stats::sum::dot(&offsets, &offsets);
    if squares > 0.0 { crate::stats::sum::dot(&offsets, values) / squares } else { 0.0 }
}

/// Mean with its interval from means of batches; what does not fill the last batch is in the mean of the first.
fn of_batches(values: &[f64]) -> Option<(f64, Interval)> {
    let size = values.len() / BATCHES;
    let spare = values.len() - size * BATCHES;
    let batches: Vec<f64> = values.get(spare..)?.chunks(size.max(1)).filter_map(mean).collect();
    let value = mean(values)?;
    let centre = mean(&batches)?;
    let n = batches.len() as f64;
    let s2: f64 = batches.iter().map(|m| (m - centre) * (m - centre)).sum::<f64>() / (n - 1.0);
    let half = t_two_sided(0.95, n - 1.0) * (s2 / n).sqrt();
    Some((value, Interval { low: value - half, high: value + half }))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A part that warms from 30 towards `top` with a time constant of 120 s, a row a second.
    fn warming(seconds: usize, top: f64) -> (Vec<f64>, Vec<f64>) {
        let at: Vec<f64> = (0..seconds).map(|s| s as f64).collect();
        let wobble = |s: f64| 0.2 * (s * 0.7).sin();
        let values = at.iter().map(|s| top - (top - 30.0) * (-s / 120.0).exp() + wobble(*s)).collect();
        (at, values)
    }

    #[test]
    fn a_part_that_warms_up_holds_its_temperature_in_the_end() {
        let (at, values) = warming(1500, 71.0);
        let Steady::Holds { near_s, from_s, to_s, value, interval } = steady(&blocks(&at, &values)) else {
            panic!("not steady")
        };
        // 41 K of warmth have fallen to one after 120 s times ln 41, to a tenth after 120 s times ln 410.
        assert!((near_s - 445.6).abs() <= BLOCK_S, "{near_s}");
        assert!((650.0..=950.0).contains(&from_s), "{from_s}");
        assert_eq!(to_s, 1500.0);
        assert!((value - 71.0).abs() < 0.3 && interval.low < value && value < interval.high, "{value}");
    }

    #[test]
    fn a_log_that_ends_too_early_is_not_called_steady() {
        let (at, values) = warming(240, 71.0);
        let Steady::NotYet { per_minute } = steady(&blocks(&at, &values)) else { panic!("steady") };
        assert!(per_minute > 1.0, "{per_minute}");
        let (at, values) = warming(90, 71.0);
        assert_eq!(steady(&blocks(&at, &values)), Steady::TooShort);
        assert_eq!(steady(&blocks(&[], &[])), Steady::TooShort);
    }

    #[test]
    fn a_gap_is_told_and_never_bridged() {
        let (at, values) = warming(1500, 71.0);
        let rows = at.iter().zip(&values).filter(|(at, _)| !(400.0..460.0).contains(*at));
        let (at, values): (Vec<f64>, Vec<f64>) = rows.map(|(at, value)| (*at, *value)).unzip();
        let told = blocks(&at, &values);
        assert_eq!(gaps(&told), [(400.0, 460.0)]);
        let Steady::Holds { from_s, .. } = steady(&told) else { panic!("not steady") };
        assert!(from_s >= 460.0, "{from_s}");
    }

    #[test]
    fn a_part_that_lowers_its_clock_at_the_top_of_its_temperature_throttles() {
        let (at, values) = warming(1500, 84.0);
        let lower = |at: f64, high: f64, low: f64| if at < 540.0 { high } else { low };
        let clock: Vec<f64> = at.iter().map(|at| lower(*at, 2_690.0, 2_480.0)).collect();
        let power: Vec<f64> = at.iter().map(|at| lower(*at, 480.0, 431.0)).collect();
        let (hot, clock, power) = (blocks(&at, &values), blocks(&at, &clock), blocks(&at, &power));
        let found = throttles(&hot, Some(&clock), Some(&power), None);
        assert_eq!(found.len(), 1);
        assert_eq!((found[0].from_s, found[0].to_s), (540.0, 1500.0));
        assert!((found[0].falls - (1.0 - 2_480.0 / 2_690.0)).abs() < 1e-3, "{}", found[0].falls);
        // Common practice, no source: at its power limit a part lowers its clock while power stands; that is no fault.
        let stands = blocks(&at, &vec![480.0; at.len()]);
        assert_eq!(throttles(&hot, Some(&clock), Some(&stands), None), []);
        assert_eq!(throttles(&hot, None, None, None), []);
    }

    #[test]
    fn what_is_no_number_is_left_out() {
        let told = blocks(&[0.0, 1.0, 12.0], &[f64::NAN, 4.0, 5.0]);
        assert_eq!(told.means, [Some(4.0), Some(5.0)]);
    }
}
