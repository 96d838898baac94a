//! The one proof that needs no names: a column of durations is the differences of a column of stamps.

use super::layout::StampAt;
use super::sample::{Column, middle};

/// Share of the rows that have to agree to within the digits written.
const ROWS_THAT_AGREE: f64 = 0.9;
/// Rows on which two columns that do not belong together are told apart cheaply.
const FIRST: usize = 64;
/// Stamps coarser than this share of a frame tell single rows apart no more: the running sum has to follow them.
const COARSE: f64 = 0.25;
/// Stamps coarser than this share of a frame leave room for a column that only follows the durations.
const FINE: f64 = 0.02;
/// Share of rows whose step may be shorter than their duration, by more than the digits written.
const SHORT_STEPS: f64 = 0.02;
/// Stamps whose last digit is more than this share of the whole span prove little by themselves.
const LOOSE: f64 = 0.02;

/// Stamps and durations that belong together.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pair {
    /// Column of the stamps, from 0.
    pub clock: usize,
    /// Column of the durations, from 0.
    pub durations: usize,
    /// A step of the stamps is a duration times ten to this power.
    pub power: i32,
    /// Where in its frame the stamp was taken.
    pub at: StampAt,
    /// Relative miss of the sum of durations against the steps of the stamps, over the rows that agree.
    pub miss: f64,
    /// How much of a miss the digits written explain.
    pub explained: f64,
    /// Share of rows that agree.
    pub share: f64,
    /// The stamps are too coarse to time single frames.
    pub coarse: bool,
    /// They are so coarse that other columns might follow them as well.
    pub loose: bool,
}

/// Holds a column of durations against a column of stamps; `None` when they do not belong together.
pub fn pair(clock: (usize, &Column), durations: (usize, &Column)) -> Option<Pair> {
    [StampAt::Start, StampAt::End]
        .into_iter()
        .filter_map(|at| pair_at(clock, durations, at))
        .reduce(|start, end| if end.share > start.share + 0.02 { end } else { start })
}

fn pair_at(
    (clock, stamps): (usize, &Column),
    (durations, spans): (usize, &Column),
    at: StampAt,
) -> Option<Pair> {
    let lag = usize::from(at == StampAt::End);
    let digits = (stamps.step(), spans.step());
    let all = || {
        let spans = spans.values.iter().skip(lag);
        stamps.fine.windows(2).zip(spans).map(|(t, &d)| (t[1] - t[0], d))
    };
    let usable = |(step, d): &(f64, f64)| step.is_finite() && *step >= 0.0 && *d > 0.0;
    let first: Vec<(f64, f64)> = all().filter(usable).take(FIRST).collect();
    if first.len() < 2 || hopeless(&first, digits) {
        return None;
    }
    let steps: Vec<(f64, f64)> = all().filter(usable).collect();
    if steps.len() * 2 < stamps.values.len() {
        return None;
    }
    let sum = |pick: fn(&(f64, f64)) -> f64| steps.iter().map(pick).sum::<f64>();
    let (span, total) = (sum(|s| s.0), sum(|s| s.1));
    let median = median_ratio(&steps);
    let ratio =
        if median > 0.0 && digits.0 < COARSE * span / steps.len() as f64 { median } else { span / total };
    let power = nearest_power(ratio)?;
    let scale = 10_f64.powi(-power);
    let slack = coarseness(digits, scale);
    let agrees = |s: &&(f64, f64)| (s.0 * scale - s.1).abs() <= slack + 1e-4 * s.1;
    let count = steps.iter().filter(agrees).count();
    let share = count as f64 / steps.len() as f64;
    let (agreed_span, agreed) =
        steps.iter().filter(agrees).fold((0.0, 0.0), |(a, b), s| (a + s.0 * scale, b + s.1));
    let coarse = slack > COARSE * total / steps.len() as f64;
    let explained = (slack + 0.6 * digits.1 * (steps.len() as f64).sqrt()) / total;
    let (held, miss) = if coarse {
        (
            follows(all(), scale, slack) && span * scale > 3.0 * slack,
            (total - span * scale).abs() / (span * scale),
        )
    } else {
        let miss = (agreed - agreed_span).abs() / agreed_span;
        // Missing rows and pauses make steps longer, never shorter; a mean over rows does both.
        let short = steps.iter().filter(|s| s.0 * scale < s.1 - slack - 1e-4 * s.1).count();
        let smoothed = slack > FINE * total / steps.len() as f64
            && (short as f64 > SHORT_STEPS * steps.len() as f64 || miss > 5.0 * explained + 0.002);
        (share >= ROWS_THAT_AGREE && !smoothed, miss)
    };
    let loose = coarse && slack > LOOSE * total;
    held.then_some(Pair { clock, durations, power, at, miss, explained, share, coarse, loose })
}

/// Whether the running sum of the durations stays within the digits of stamps that are coarser than a frame.
fn follows(steps: impl Iterator<Item = (f64, f64)>, scale: f64, slack: f64) -> bool {
    let (mut sum, mut low, mut high, mut rows, mut parted) = (0.0_f64, 0.0_f64, 0.0_f64, 0_usize, 0_usize);
    for (step, d) in steps {
        if !(step.is_finite() && d > 0.0) {
            // What happened in between is unknown.
            (sum, low, high) = (0.0, 0.0, 0.0);
            continue;
        }
        let miss = step * scale - d;
        if miss.abs() > 1.5 * slack {
            // A pause, or rows that are missing.
            parted += 1;
            (sum, low, high) = (0.0, 0.0, 0.0);
            continue;
        }
        sum += miss;
        (low, high) = (low.min(sum), high.max(sum));
        rows += 1;
        // What parts row by row is no pause: it goes at another pace.
        if high - low > 2.2 * slack {
            return false;
        }
    }
    parted * 200 <= rows
}

/// Whether the first rows already say that two columns do not belong together: stamps much finer than a frame, and
/// not even half of the rows agree.
fn hopeless(first: &[(f64, f64)], digits: (f64, f64)) -> bool {
    let typical = first.iter().map(|s| s.1).sum::<f64>() / first.len() as f64;
    let ratio = median_ratio(first);
    // The power that is near in order of magnitude tells how coarse the stamps are beside a frame.
    let scale = 1.0 / ratio;
    if !scale.is_finite() || coarseness(digits, scale) > 0.1 * typical {
        return false;
    }
    nearest_power(ratio).is_none_or(|power| {
        let scale = 10_f64.powi(-power);
        let slack = coarseness(digits, scale);
        let agree = first.iter().filter(|(step, d)| (step * scale - d).abs() <= slack + 1e-4 * d).count();
        agree * 2 < first.len()
    })
}

fn median_ratio(steps: &[(f64, f64)]) -> f64 {
    middle(steps.iter().map(|(step, d)| step / d).collect()).unwrap_or(f64::NAN)
}

/// By how much a step may differ from its duration because both are written with so many digits.
fn coarseness((stamps, spans): (f64, f64), scale: f64) -> f64 {
    1.1 * stamps * scale + 0.6 * spans
}

/// The power of ten next to a ratio, when it is within 5 % of one and steps between units of time.
fn nearest_power(ratio: f64) -> Option<i32> {
    [-9, -6, -3, 0, 3, 6, 9].into_iter().find(|&p| (ratio / 10_f64.powi(p) - 1.0).abs() < 0.05)
}

/// Durations (seconds) that a column of frame rates gives, as a column of its own.
pub fn from_rates(rates: &Column) -> Column {
    let values: Vec<f64> = rates.values.iter().map(|v| if *v > 0.0 { 1.0 / v } else { f64::NAN }).collect();
    // Half a step of a rate is so much of a duration, at the highest rate but few.
    let most = values.iter().copied().filter(|v| v.is_finite()).fold(0.0, f64::max);
    let step = (rates.step() * most * most).log10().floor();
    let digits = if step.is_finite() { (-step).clamp(0.0, 12.0) } else { 9.0 };
    #[expect(clippy::cast_possible_truncation, reason = "between 0 and 12")]
    let digits = digits as i32;
    Column::of(values, digits)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn column(values: &[f64], digits: i32) -> Column {
        Column::of(values.to_vec(), digits)
    }

    #[test]
    fn the_lag_tells_start_from_end() {
        let starts = [100.0, 100.016, 100.048, 100.059, 100.07];
        let durations = [16.0, 32.0, 11.0, 11.0, 40.0];
        let found = pair((0, &column(&starts, 3)), (1, &column(&durations, 1))).unwrap();
        assert_eq!((found.power, found.at), (-3, StampAt::Start));
        let ends = [100.016, 100.048, 100.059, 100.07, 100.11];
        let found = pair((0, &column(&ends, 3)), (1, &column(&durations, 1))).unwrap();
        assert_eq!((found.power, found.at), (-3, StampAt::End));
    }

    #[test]
    fn work_times_beside_the_stamps_are_not_their_differences() {
        let starts = [0.0, 4.0, 8.1, 12.0, 16.2];
        let work = [3.9, 3.8, 4.0, 3.7, 3.9];
        assert_eq!(pair((0, &column(&starts, 3)), (1, &column(&work, 3))), None);
    }

    #[test]
    fn a_running_mean_beside_coarse_stamps_is_not_their_differences() {
        let durations: Vec<f64> = (0..600).map(|i| 5.0 + f64::from(i * 7919 % 13) * 0.2).collect();
        let mean = durations.iter().scan(6.2, |mean, d| {
            *mean = 0.9 * *mean + 0.1 * d;
            Some(*mean)
        });
        let mean: Vec<f64> = mean.collect();
        let stamps = durations.iter().scan(0.0, |at, d| Some(std::mem::replace(at, *at + d)));
        let stamps: Vec<f64> = stamps.map(|ms: f64| ms.round()).collect();
        let found = pair((0, &column(&stamps, 0)), (1, &column(&durations, 3)));
        assert_eq!(found.map(|pair| (pair.power, pair.at)), Some((0, StampAt::Start)));
        assert_eq!(pair((0, &column(&stamps, 0)), (1, &column(&mean, 3))), None);
    }

    #[test]
    fn stamps_of_whole_seconds_are_followed_by_the_sum_alone() {
        let durations: Vec<f64> = (0..9000).map(|i| 15.0 + f64::from(i % 5)).collect();
        let seconds = |factor: f64| -> Vec<f64> {
            durations
                .iter()
                .scan(0.0, |at, d| Some(std::mem::replace(at, *at + d * factor)))
                .map(|ms| (ms / 1e3).floor())
                .collect()
        };
        let found = pair((0, &column(&seconds(1.0), 0)), (1, &column(&durations, 1))).unwrap();
        assert_eq!((found.power, found.coarse, found.loose), (-3, true, false));
        assert_eq!(pair((0, &column(&seconds(1.04), 0)), (1, &column(&durations, 1))), None);
    }
}
