//! Readings: values without a frame log, told from their repeats; and sensor logs of a soak.
//!
//! A reading is an amount (watts, seconds, degrees, points: arithmetic mean) or a [`level`] in decibels, which is
//! never averaged or subtracted as a number but as the energy that it stands for. [`told()`] puts the repeats
//! together; [`soak`] finds where a part running warm holds its temperature.

pub mod level;
pub mod soak;

use serde::Serialize;

use crate::stats::distributions::{normal_quantile, t_two_sided};
use crate::stats::limits::Interval;
use crate::stats::sum::{mean, sum};

/// Version of everything in this module; rises when a result changes for the same input.
pub const VERSION: u32 = 1;

/// Degrees of freedom from which on an interval is the normal distribution's.
const MANY: f64 = 1e6;

/// How the repeats of a reading are put together.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Scale {
    /// Arithmetic mean.
    Amount,
    /// Decibels: mean of the energies.
    Level,
}

impl Scale {
    /// The scale of a unit: what begins with `dB` is a level.
    pub fn of_unit(unit: &str) -> Scale {
        if unit.starts_with("dB") { Scale::Level } else { Scale::Amount }
    }
}

/// One repeat of a reading.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Repeat {
    /// What was read, in the reading's unit.
    pub value: f64,
    /// Step of the instrument, in the same unit: the last digit that was written down.
    pub step: f64,
    /// Level of the room with the part silent, dB; `None`: not taken off. No meaning for amounts.
    pub background: Option<f64>,
}

/// What the repeats say together.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Told {
    /// Mean, in the reading's unit; of levels the level of the mean energy.
    pub value: f64,
    /// 95% interval; `None` with one repeat.
    pub interval: Option<Interval>,
    /// Repeats in it.
    pub repeats: usize,
}

/// Puts repeats together; `None` of nothing, and where a level does not stand out from its background
/// ([`level::without_background`]).
///
/// The interval has the scatter of the repeats and the step of the instrument: u^2 = s^2 / n + d^2 / 12 (JCGM
/// 100:2008, F.2.2.1), on Welch and Satterthwaite's degrees of freedom (G.4.1), the step's being endless. So repeats
/// that read the same do not pass for certain. For levels, s is taken on the levels themselves, as ISO 3744:2010 does
/// in its annex C (from memory) for the standard deviation of repeatability.
pub fn told(scale: Scale, repeats: &[Repeat]) -> Option<Told> {
    let values = match scale {
        Scale::Amount => repeats.iter().map(|repeat| repeat.value).collect::<Vec<f64>>(),
        Scale::Level => {
            let own = |repeat: &Repeat| match repeat.background {
                Some(background) => level::without_background(repeat.value, background),
                None => Some(repeat.value),
            };
            repeats.iter().map(own).collect::<Option<Vec<f64>>>()?
        }
    };
    let plain = mean(&values)?;
    let value = if scale == Scale::Level { level::mean(&values)? } else { plain };
    let step = repeats.iter().map(|repeat| repeat.step).fold(0.0, f64::max);
    let half = half_width(&values, plain, step);
    let interval = half.map(|half| Interval { low: value - half, high: value + half });
    Some(Told { value, interval, repeats: values.len() })
}

/// Half of the 95% interval of a mean; `None` with one value.
fn half_width(values: &[f64], mean: f64, step: f64) -> Option<f64> {
    if values.len() < 2 {
        return None;
    }
    let n = values.len() as f64;
    let scatter = sum(values.iter().map(|v| (v - mean) * (v - mean))) / (n - 1.0) / n;
    let total = scatter + step * step / 12.0;
    if total == 0.0 {
        return Some(0.0);
    }
    let df = total * total * (n - 1.0) / (scatter * scatter);
    // Far beyond any t of a table; and an instrument's step alone has endless degrees of freedom.
    let t = if df < MANY { t_two_sided(0.95, df) } else { normal_quantile(0.975) };
    Some(t * total.sqrt())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn repeats(values: &[f64], step: f64, background: Option<f64>) -> Vec<Repeat> {
        values.iter().map(|&value| Repeat { value, step, background }).collect()
    }

    #[test]
    fn what_is_in_decibels_is_a_level() {
        assert_eq!(Scale::of_unit("dB(A)"), Scale::Level);
        assert_eq!(Scale::of_unit("dB"), Scale::Level);
        assert_eq!(Scale::of_unit("W"), Scale::Amount);
    }

    #[test]
    fn one_repeat_has_no_interval_and_none_has_no_value() {
        let one = told(Scale::Amount, &repeats(&[41.0], 1.0, None)).unwrap();
        assert_eq!((one.value, one.interval, one.repeats), (41.0, None, 1));
        assert_eq!(told(Scale::Amount, &[]), None);
        assert_eq!(told(Scale::Level, &repeats(&[41.0, 39.9], 0.1, Some(37.0))), None, "2.9 dB apart");
    }

    /// JCGM 100:2008, F.2.2.1: a step of 1 alone has a standard uncertainty of 0.29.
    #[test]
    fn equal_repeats_are_as_sure_as_the_instrument_can_be() {
        let same = told(Scale::Amount, &repeats(&[41.0, 41.0, 41.0], 1.0, None)).unwrap();
        let half = (same.interval.unwrap().high - same.interval.unwrap().low) / 2.0;
        assert!((half - 1.959_963_984_540_054 * 0.288_675_134_594_812_9).abs() < 1e-9, "{half}");
        let exact = told(Scale::Amount, &repeats(&[41.0, 41.0], 0.0, None)).unwrap();
        assert_eq!(exact.interval, Some(Interval { low: 41.0, high: 41.0 }));
    }

    #[test]
    fn levels_are_put_together_as_energies() {
        let loud = told(Scale::Level, &repeats(&[30.0, 40.0], 0.0, None)).unwrap();
        assert!((loud.value - 37.403_626_894_942_44).abs() < 1e-9, "not 35: {}", loud.value);
        let amounts = told(Scale::Amount, &repeats(&[30.0, 40.0], 0.0, None)).unwrap();
        assert_eq!(amounts.value, 35.0);
        assert_eq!(
            loud.interval.map(|i| (i.high - i.low).round()),
            amounts.interval.map(|i| (i.high - i.low).round())
        );
    }
}
