//! The one proof that needs no names: a column of durations is the differences of a column of stamps.

use super::layout::StampAt;
use super::sample::{Column, middle};

/// Share of the rows that have to agree to within the digits written.
const ROWS_THAT_AGREE: f64 = 0.9;
/// Most by which the durations' sum may miss the span of the stamps, where single rows cannot be told apart.
const SUM_MISS: f64 = 0.01;
/// Rows on which two columns that do not belong together are told apart cheaply.
const FIRST: usize = 64;

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
    /// Relative miss of the sum of durations against the span of the stamps.
    pub miss: f64,
    /// Share of rows that agree.
    pub share: f64,
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
    let steps: Vec<(f64, f64)> = stamps
        .values
        .windows(2)
        .zip(spans.values.iter().skip(lag))
        .map(|(t, &d)| (t[1] - t[0], d))
        .filter(|(step, d)| step.is_finite() && *step >= 0.0 && *d > 0.0)
        .collect();
    if steps.len() < 2 || steps.len() * 2 < stamps.values.len() {
        return None;
    }
    let digits = (stamps.step(), spans.step());
    if hopeless(&steps[..steps.len().min(FIRST)], digits) {
        return None;
    }
    let sum = |pick: fn(&(f64, f64)) -> f64| steps.iter().map(pick).sum::<f64>();
    let (span, total) = (sum(|s| s.0), sum(|s| s.1));
    let median = median_ratio(&steps);
    let ratio = if median > 0.0 { median } else { span / total };
    if ratio <= 0.0 {
        return None;
    }
    let power = nearest_power(ratio)?;
    let scale = 10_f64.powi(-power);
    let coarse = coarseness(digits, scale);
    let share = agreeing(&steps, scale, coarse);
    let miss = (total - span * scale).abs() / (span * scale);
    // Stamps coarser than a frame agree with anything: then only the long sum speaks.
    let typical = total / steps.len() as f64;
    let sum_needed = coarse > 0.25 * typical;
    let sum_holds = miss <= SUM_MISS && span * scale > 50.0 * coarse;
    (share >= ROWS_THAT_AGREE && (!sum_needed || sum_holds)).then_some(Pair {
        clock,
        durations,
        power,
        at,
        miss,
        share,
    })
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
        agreeing(first, scale, coarseness(digits, scale)) < 0.5
    })
}

fn median_ratio(steps: &[(f64, f64)]) -> f64 {
    middle(steps.iter().map(|(step, d)| step / d).collect()).unwrap_or(f64::NAN)
}

/// By how much a step may differ from its duration because both are written with so many digits.
fn coarseness((stamps, spans): (f64, f64), scale: f64) -> f64 {
    1.1 * stamps * scale + 0.6 * spans
}

fn agreeing(steps: &[(f64, f64)], scale: f64, coarse: f64) -> f64 {
    let agree = steps.iter().filter(|(step, d)| (step * scale - d).abs() <= coarse + 1e-4 * d).count();
    agree as f64 / steps.len() as f64
}

/// The power of ten next to a ratio, when it is within 5 % of one and steps between units of time.
fn nearest_power(ratio: f64) -> Option<i32> {
    [-9, -6, -3, 0, 3, 6, 9].into_iter().find(|&p| (ratio / 10_f64.powi(p) - 1.0).abs() < 0.05)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn column(values: &[f64], digits: i32) -> Column {
        Column {
            values: values.to_vec(),
            numbers: values.len(),
            digits: Some((digits, digits)),
            ..Column::default()
        }
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
}
