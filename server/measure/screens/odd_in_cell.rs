//! Odd among the passes of its cell: a measure of one pass lies further from the others than passes of the piece do.
//!
//! Method: the most distant pass is held against the mean of the others by a t statistic on the piece's
//! moderated standard deviation (which one bad pass does not swell, so nothing is masked), two-sided, then
//! left out and the rest asked again. Without a noise prior the others' own standard deviation serves, from
//! four passes on (this is Grubbs' test, NIST/SEMATECH e-Handbook 1.3.5.17.1, written with the pass left out).
//!
//! Sentences do not say on which side a pass lies.

use serde::{Deserialize, Serialize};

use super::{Flag, FlagKind, strength, words};
use crate::recording::Window;
use crate::stats::distributions::t_two_sided;

/// Chance that a sound pass is flagged by its average.
const AVERAGE_CHANCE: f64 = 0.003;
/// Chance that a sound pass is flagged by its low.
const LOW_CHANCE: f64 = 0.001;
/// Least distance of an average that is told, log scale: what no reader would notice is not held up.
const AVERAGE_LEAST: f64 = 0.01;
/// Least distance of a low that is told, log scale.
const LOW_LEAST: f64 = 0.03;

/// What is known of a pass when the passes of its cell are compared.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct CellPass {
    /// Its window: where the flag stands.
    pub window: Window,
    /// Natural log of its average frame rate in frames per second.
    pub ln_average: f64,
    /// Natural log of its low as the piece declares it, where it has one.
    pub ln_low: Option<f64>,
}

/// Standard deviation between passes of a cell, log scale, and the degrees of freedom it stands on.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Spread {
    /// Moderated standard deviation; more than 0.
    pub sd: f64,
    /// Its degrees of freedom; more than 0.
    pub df: f64,
}

/// The spreads of a cell's measures by the piece's noise prior.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct CellSpread {
    /// Of the average; none where the piece has no prior yet.
    pub average: Option<Spread>,
    /// Of the low.
    pub low: Option<Spread>,
}

/// For each pass of a cell, in the order given, the flag if it lies apart. One flag a pass: the stronger of average
/// and low.
pub fn screen_cell(passes: &[CellPass], spread: &CellSpread) -> Vec<Option<Flag>> {
    let averages: Vec<Option<f64>> = passes.iter().map(|p| Some(p.ln_average)).collect();
    let lows: Vec<Option<f64>> = passes.iter().map(|p| p.ln_low).collect();
    let by_average = odd_ones(&averages, spread.average, AVERAGE_CHANCE, AVERAGE_LEAST);
    let by_low = odd_ones(&lows, spread.low, LOW_CHANCE, LOW_LEAST);
    let both = by_average.into_iter().zip(by_low);
    both.zip(passes)
        .map(|((average, low), pass)| {
            let moves = average.as_ref().map(|o| o.distance);
            let stronger = match (average, low) {
                (Some(a), Some(l)) if l.evidence > a.evidence => Some((l, "low")),
                (Some(a), _) => Some((a, "average")),
                (None, l) => l.map(|l| (l, "low")),
            };
            stronger.map(|(odd, measure)| Flag {
                kind: FlagKind::OddInCell,
                start_ns: pass.window.start_ns,
                end_ns: pass.window.end_ns,
                strength: strength(odd.evidence),
                moves: moves.map(|m| libm::exp(m) - 1.0),
                says: odd.says(measure),
            })
        })
        .collect()
}

/// How a pass lies apart.
#[derive(Clone, Debug)]
struct Odd {
    /// Distance from the mean of the others, log scale, without sign.
    distance: f64,
    /// With how many others it was compared.
    others: usize,
    /// Whether it is one of two that differ.
    of_two: bool,
    /// Standard deviation it was held against, and whether that is the piece's.
    sd: f64,
    of_piece: bool,
    evidence: f64,
}

impl Odd {
    fn says(&self, measure: &str) -> String {
        let apart = words::percent(libm::exp(self.distance) - 1.0);
        let usual = words::percent(libm::exp(self.sd) - 1.0);
        let whose = if self.of_piece { "passes of this piece" } else { "those passes among themselves" };
        if self.of_two {
            return format!(
                "its {measure} and that of the only other pass left to compare are {apart} apart; {whose} usually differ by {usual}; either of the two may be the odd one"
            );
        }
        format!(
            "its {measure} is {apart} away from the other {} passes of its cell; {whose} usually differ by {usual}",
            words::count(self.others)
        )
    }
}

fn odd_ones(values: &[Option<f64>], prior: Option<Spread>, chance: f64, least: f64) -> Vec<Option<Odd>> {
    let mut odd = vec![None; values.len()];
    let mut left: Vec<(usize, f64)> =
        values.iter().enumerate().filter_map(|(i, v)| v.filter(|v| v.is_finite()).map(|v| (i, v))).collect();
    while left.len() >= 2 {
        let Some((place, found)) = most_distant(&left, prior, chance, least) else { break };
        if found.of_two {
            for (i, _) in &left {
                odd[*i] = Some(found.clone());
            }
            break;
        }
        odd[left[place].0] = Some(found);
        left.remove(place);
    }
    odd
}

/// The pass furthest from the mean of the others, if it is too far.
fn most_distant(
    left: &[(usize, f64)],
    prior: Option<Spread>,
    chance: f64,
    least: f64,
) -> Option<(usize, Odd)> {
    let others = left.len() - 1;
    let mean_without = |place: usize| {
        left.iter().enumerate().filter(|(j, _)| *j != place).map(|(_, (_, v))| v).sum::<f64>() / others as f64
    };
    let (place, distance) = (0..left.len())
        .map(|place| (place, (left[place].1 - mean_without(place)).abs()))
        .max_by(|a, b| a.1.total_cmp(&b.1))?;
    let spread = match prior {
        Some(spread) => spread,
        None if others >= 3 => {
            let mean = mean_without(place);
            let square: f64 = left
                .iter()
                .enumerate()
                .filter(|(j, _)| *j != place)
                .map(|(_, (_, v))| (v - mean) * (v - mean))
                .sum();
            Spread { sd: (square / (others - 1) as f64).sqrt(), df: (others - 1) as f64 }
        }
        None => return None,
    };
    // Passes of a sort that never differ at all would make every difference infinite.
    let sd = spread.sd.max(1e-6);
    let t = distance / (sd * (1.0 + 1.0 / others as f64).sqrt());
    let limit = t_two_sided(1.0 - chance, spread.df);
    let evidence = (t / limit).min(distance / least);
    let of_two = others == 1;
    (evidence >= 1.0)
        .then_some((place, Odd { distance, others, of_two, sd, of_piece: prior.is_some(), evidence }))
}

#[cfg(test)]
mod tests {
    use super::*;

    const PIECE: CellSpread = CellSpread {
        average: Some(Spread { sd: 0.004, df: 40.0 }),
        low: Some(Spread { sd: 0.02, df: 40.0 }),
    };

    fn passes(averages: &[f64]) -> Vec<CellPass> {
        let window = Window { start_ns: 0, end_ns: 60_000_000_000 };
        averages.iter().map(|a| CellPass { window, ln_average: libm::log(*a), ln_low: None }).collect()
    }

    fn flagged(averages: &[f64], spread: &CellSpread) -> Vec<usize> {
        let found = screen_cell(&passes(averages), spread);
        (0..found.len()).filter(|&i| found[i].is_some()).collect()
    }

    #[test]
    fn the_odd_one_is_told_on_either_side_and_only_it() {
        assert_eq!(flagged(&[100.0, 100.3, 99.8, 104.2], &PIECE), [3]);
        assert_eq!(flagged(&[100.0, 95.8, 100.3, 99.8], &PIECE), [1]);
        assert_eq!(flagged(&[100.0, 100.4, 99.7, 100.6], &PIECE), [0_usize; 0]);
        // Two odd ones do not hide each other.
        assert_eq!(flagged(&[100.0, 100.3, 99.8, 105.0, 105.3, 99.9, 100.1], &PIECE), [3, 4]);
    }

    #[test]
    fn sentences_hide_the_side() {
        let found = screen_cell(&passes(&[100.0, 100.0, 100.0, 104.2]), &PIECE);
        let says = &found[3].as_ref().unwrap().says;
        assert_eq!(
            says,
            "its average is 4.2 % away from the other three passes of its cell; passes of this piece usually differ by 0.40 %"
        );
        let of_two = screen_cell(&passes(&[100.0, 103.0]), &PIECE);
        assert!(of_two.iter().all(|f| f.as_ref().unwrap().says.contains("either of the two")));
    }

    #[test]
    fn without_a_prior_three_others_are_needed() {
        let none = CellSpread::default();
        assert_eq!(flagged(&[100.0, 110.0], &none), [0_usize; 0]);
        assert_eq!(flagged(&[100.0, 100.1, 110.0], &none), [0_usize; 0]);
        assert_eq!(flagged(&[100.0, 100.1, 99.9, 100.2, 110.0], &none), [4]);
    }

    #[test]
    fn a_low_can_be_odd_by_itself() {
        let mut cell = passes(&[100.0, 100.1, 99.9]);
        for (pass, low) in cell.iter_mut().zip([60.0, 48.0, 61.0]) {
            pass.ln_low = Some(libm::log(low));
        }
        let found = screen_cell(&cell, &PIECE);
        assert!(found[0].is_none() && found[2].is_none());
        let flag = found[1].as_ref().unwrap();
        assert!(flag.says.starts_with("its low is "), "{}", flag.says);
        assert_eq!(flag.moves, None);
    }
}
