//! The front: what nothing else beats at once in what it costs (watts, milliseconds) and what it gives (frames).
//!
//! i is dominated when some j costs no more and gives no less, one of them strictly. Measurements scatter: a dominated
//! point counts as shown worse only where it also lies outside the interval of a point that dominates it; else it is
//! 'not shown worse'.

use super::Interval;
use serde::Serialize;

/// A choice with what it costs and gives.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Choice {
    /// Less is better.
    pub cost: f64,
    /// More is better.
    pub gain: f64,
    /// 95% interval of the cost; `None`: not known, taken as exact.
    pub cost_interval: Option<Interval>,
    /// 95% interval of the gain; `None`: not known, taken as exact.
    pub gain_interval: Option<Interval>,
}

/// How a choice stands to the others.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub enum Place {
    /// Nothing beats it.
    OnFront,
    /// Something seems to beat it, within the noise.
    NotShownWorse,
    /// Something costs no more and gives no less, beyond the noise in one of them.
    ShownWorse,
}

impl Place {
    /// In words.
    pub fn words(self) -> &'static str {
        match self {
            Place::OnFront => "on the front",
            Place::NotShownWorse => "not shown worse",
            Place::ShownWorse => "shown worse",
        }
    }
}

/// Place of each choice, in the order given.
pub fn places(choices: &[Choice]) -> Vec<Place> {
    let place = |own: &Choice| {
        let above: Vec<&Choice> = choices.iter().filter(|other| dominates(other, own)).collect();
        if above.is_empty() {
            Place::OnFront
        } else if above.iter().any(|other| shows_worse(other, own)) {
            Place::ShownWorse
        } else {
            Place::NotShownWorse
        }
    };
    choices.iter().map(place).collect()
}

fn dominates(other: &Choice, own: &Choice) -> bool {
    other.cost <= own.cost && other.gain >= own.gain && (other.cost < own.cost || other.gain > own.gain)
}

fn shows_worse(other: &Choice, own: &Choice) -> bool {
    let dearer = own.cost > other.cost_interval.map_or(other.cost, |interval| interval.high);
    let less = own.gain < other.gain_interval.map_or(other.gain, |interval| interval.low);
    dearer || less
}

#[cfg(test)]
mod tests {
    use super::*;

    fn exact(cost: f64, gain: f64) -> Choice {
        Choice { cost, gain, cost_interval: None, gain_interval: None }
    }

    /// Common practice, no source: with clock offsets 96 fps at 450 W and 99 at 600 W, at stock 83, 88, 91 and 93 fps at
    /// 400, 450, 500 and 575 W: better than stock for over 100 W less.
    #[test]
    fn offsets_beat_stock_for_over_a_hundred_watts_less() {
        let all = [(400.0, 83.0), (450.0, 88.0), (500.0, 91.0), (575.0, 93.0), (450.0, 96.0), (600.0, 99.0)];
        let found = places(&all.map(|(watts, fps)| exact(watts, fps)));
        use Place::{OnFront, ShownWorse};
        assert_eq!(found, [OnFront, ShownWorse, ShownWorse, ShownWorse, OnFront, OnFront]);
    }

    #[test]
    fn equal_choices_all_stay_and_noise_is_respected() {
        assert_eq!(places(&[exact(1.0, 2.0), exact(1.0, 2.0)]), [Place::OnFront; 2]);
        let noisy = Choice {
            cost_interval: Some(Interval { low: 395.0, high: 405.0 }),
            gain_interval: Some(Interval { low: 87.0, high: 89.0 }),
            ..exact(400.0, 88.0)
        };
        assert_eq!(places(&[noisy, exact(402.0, 87.5)])[1], Place::NotShownWorse);
        assert_eq!(places(&[noisy, exact(402.0, 86.5)])[1], Place::ShownWorse);
        assert_eq!(places(&[noisy, exact(410.0, 88.0)])[1], Place::ShownWorse);
    }

    /// Against the definition: a sweep by rising cost that keeps new maxima (methods of every textbook on dominance).
    #[test]
    fn a_sweep_finds_the_same_front() {
        let mut state = 7_u64;
        let mut next = || {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            f64::from(u8::try_from(state >> 60).unwrap())
        };
        for _ in 0..200 {
            let choices: Vec<Choice> = (0..8).map(|_| exact(next(), next())).collect();
            let mut order: Vec<usize> = (0..8).collect();
            order.sort_by(|&a, &b| {
                choices[a].cost.total_cmp(&choices[b].cost).then(choices[b].gain.total_cmp(&choices[a].gain))
            });
            let (mut best, mut front) = (None::<Choice>, vec![false; 8]);
            for i in order {
                let same = best.is_some_and(|b| (b.cost, b.gain) == (choices[i].cost, choices[i].gain));
                if same || best.is_none_or(|b| choices[i].gain > b.gain) {
                    (front[i], best) = (true, Some(choices[i]));
                }
            }
            let found: Vec<bool> = places(&choices).iter().map(|p| *p == Place::OnFront).collect();
            assert_eq!(found, front, "{choices:?}");
        }
    }
}
