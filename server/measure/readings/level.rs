//! Levels in decibels: their mean, what a background leaves of them, how two of them differ.
//!
//! A level stands for an energy, E = 10^(L / 10); means and differences are those of the energies (ISO 1996-1:2016,
//! 3.1.7, and ISO 3744:2010, 8.2: from memory).

use crate::stats::sum::sum;

/// A level closer than this to its background says more of the room than of the part, dB (ISO 1996-2:2017: from
/// memory).
pub const LEAST_APART_DB: f64 = 3.0;

/// The energy that a level stands for, over the reference's.
fn energy(level: f64) -> f64 {
    libm::exp10(level / 10.0)
}

/// The level of an energy.
fn of_energy(energy: f64) -> f64 {
    10.0 * libm::log10(energy)
}

/// Level of the mean energy, dB; `None` of nothing.
pub fn mean(levels: &[f64]) -> Option<f64> {
    let count = levels.len() as f64;
    (count > 0.0).then(|| of_energy(sum(levels.iter().map(|level| energy(*level))) / count))
}

/// What a level would be without its background, dB: 10 lg(10^(L/10) - 10^(B/10)). `None` where the two are less than
/// [`LEAST_APART_DB`] apart: nothing that a correction gives there can be trusted.
pub fn without_background(level: f64, background: f64) -> Option<f64> {
    // Both are typed with a decimal or two: what differs by rounding alone is not nearer.
    let apart = level - background >= LEAST_APART_DB - 1e-9;
    apart.then(|| of_energy(energy(level) - energy(background)))
}

/// The level at a temperature, straight between the nearest that were read (degrees Celsius, dB); `None` outside of
/// them.
pub fn at_temperature(read: &[(f64, f64)], celsius: f64) -> Option<f64> {
    let mut read = read.to_vec();
    read.sort_by(|a, b| a.0.total_cmp(&b.0));
    read.windows(2).find_map(|pair| {
        let [(cool, above), (warm, below)] = [pair[0], pair[1]];
        let inside = cool <= celsius && celsius <= warm && warm > cool;
        inside.then(|| above + (below - above) * (celsius - cool) / (warm - cool))
    })
}

/// How many times as loud a level is heard as another that is `difference` dB lower: twice for every 10 dB (common
/// practice, no source).
pub fn times_as_loud(difference: f64) -> f64 {
    libm::exp2(difference / 10.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn near(got: Option<f64>, want: f64) {
        assert!((got.unwrap() - want).abs() < 0.005, "{got:?} is not {want}");
    }

    /// The formulas of ISO 3744 and ISO 1996 with numbers worked by hand.
    #[test]
    fn two_equal_sources_are_three_decibels_more_and_a_background_comes_off_as_energy() {
        // Two of 40 dB give 43.01: without the one the other is left.
        near(without_background(43.0103, 40.0), 40.0);
        near(mean(&[40.0, 40.0]), 40.0);
        near(without_background(40.0, 37.0), 36.98);
        near(without_background(50.0, 40.0), 49.54);
        near(without_background(46.0, 40.0), 44.74);
    }

    #[test]
    fn between_two_temperatures_the_level_is_straight_and_outside_there_is_none() {
        let read = [(73.0, 34.0), (62.5, 42.9), (67.0, 38.5)];
        near(at_temperature(&read, 70.0), 36.25);
        near(at_temperature(&read, 62.5), 42.9);
        assert_eq!(at_temperature(&read, 74.0), None);
        assert_eq!(at_temperature(&read[..1], 73.0), None);
    }

    #[test]
    fn what_does_not_stand_out_is_refused() {
        assert_eq!(without_background(39.9, 37.0), None);
        assert_eq!(without_background(37.0, 40.0), None);
        assert!(without_background(40.3, 37.3).is_some(), "3 dB in binary digits is no less");
        assert_eq!(mean(&[]), None);
    }

    /// Common practice, no source: ten decibels more sound about twice as loud. Doubling the distance to a small source
    /// outdoors takes 6 dB: a quarter of the energy.
    #[test]
    fn ten_decibels_sound_twice_as_loud() {
        assert_eq!(times_as_loud(10.0), 2.0);
        assert_eq!(times_as_loud(0.0), 1.0);
        let silence = f64::NEG_INFINITY;
        near(mean(&[46.0206, silence, silence, silence]), 40.0);
    }
}
