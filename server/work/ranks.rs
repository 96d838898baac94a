//! Ranks of all compared parts, without false order.
//!
//! Every pair has its overall ratio over the scenes that all ran, and the p of all pairs are adjusted together after
//! Holm. Two are told apart where the verdict says that they differ and the adjusted p is small; the rest share ranks.

use std::collections::BTreeMap;

use weighhouse_measure::compare::ranks::{self, Order, Rank};
use weighhouse_measure::compare::verdict::Verdict;
use weighhouse_measure::measures::Measure;
use weighhouse_measure::stats::holm;

use super::against::{self, Choice, OverallRatio};
use super::evidence::Evidence;
use crate::store::TuningId;

/// Adjusted p from which on two are not told apart.
const TOO_LARGE: f64 = 0.05;

/// Ranks of all that are compared.
#[derive(Clone, Debug, PartialEq)]
pub struct Ranks {
    /// Pairs in the family.
    pub pairs: usize,
    /// The best first.
    pub ranked: Vec<Ranked>,
}

/// One of them.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ranked {
    /// Which.
    pub tuning: TuningId,
    /// The ranks that it can have.
    pub rank: Rank,
    /// Adjusted p of being level with the baseline; `None` for the baseline and where there is no test.
    pub p: Option<f64>,
}

/// Ranks of what is compared; `None` of fewer than three, and where no scene is left that all ran.
pub fn ranks(evidence: &Evidence, choice: &Choice) -> Option<Ranks> {
    let compared = choice.compared();
    if compared.len() < 3 {
        return None;
    }
    let mut places = Vec::new();
    let mut pairs = Vec::new();
    for (i, first) in compared.iter().enumerate() {
        for (j, second) in compared.iter().enumerate().skip(i + 1) {
            let pair = (*first, *second);
            places.push((i, j));
            pairs.push(against::overall(evidence, choice.measure, choice.setting, pair, &compared)?);
        }
    }
    let adjusted = holm::adjusted(&pairs.iter().map(p).collect::<Vec<_>>());
    let orders = pairs.iter().zip(&adjusted).map(|(pair, p)| order(choice.measure, pair, *p));
    let orders: BTreeMap<(usize, usize), Order> = places.into_iter().zip(orders).collect();
    let spans = ranks::ranks(compared.len(), |i, j| orders.get(&(i, j)).copied().unwrap_or(Order::Open));
    // The baseline is the first: its pairs stand at the head.
    let p = [None].into_iter().chain(adjusted.iter().map(|p| Some(*p).filter(|p| p.is_finite())));
    let each = compared.into_iter().zip(spans).zip(p);
    let mut ranked: Vec<Ranked> = each.map(|((tuning, rank), p)| Ranked { tuning, rank, p }).collect();
    ranked.sort_by_key(|ranked| (ranked.rank.best, ranked.rank.worst));
    Some(Ranks { pairs: pairs.len(), ranked })
}

/// p of a pair; not a number where it is not tested.
fn p(pair: &OverallRatio) -> f64 {
    let these = &pair.overall.these;
    these.bounds.filter(|_| these.like_with_like()).map_or(f64::NAN, |bounds| bounds.p)
}

/// Which of a pair is better: the ratio is the second's over the first's.
fn order(measure: Measure, pair: &OverallRatio, adjusted: f64) -> Order {
    let told_apart = matches!(pair.verdict, Verdict::Differs(_)) && adjusted < TOO_LARGE;
    if !told_apart {
        return Order::Open;
    }
    let more_is_better = measure.higher_is_better() != Some(false);
    if (pair.overall.these.ratio > 1.0) == more_is_better { Order::Second } else { Order::First }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::work::against::{Asked, choose};
    use crate::work::made_up::{self, add_cell};

    fn found(averages: &[f64]) -> Option<Ranks> {
        let parts = i64::try_from(averages.len()).unwrap();
        let mut evidence = made_up::piece(parts, 2);
        for (part, average) in (1..).zip(averages) {
            for scene in 1..=2 {
                add_cell(&mut evidence, part, scene, &[average * 0.995, *average, average * 1.005]);
            }
        }
        let choice = choose(&evidence, &Asked::default()).unwrap().unwrap();
        ranks(&evidence, &choice)
    }

    #[test]
    fn who_is_not_told_apart_shares_ranks() {
        let found = found(&[100.0, 100.3, 130.0, 80.0]).unwrap();
        let spans: Vec<_> = found.ranked.iter().map(|r| (r.tuning.0, r.rank.best, r.rank.worst)).collect();
        assert_eq!(spans, [(3, 1, 1), (1, 2, 3), (2, 2, 3), (4, 4, 4)]);
        assert_eq!(found.pairs, 6);
    }

    #[test]
    fn each_p_is_adjusted_for_all_pairs() {
        let found = found(&[100.0, 101.0, 130.0]).unwrap();
        let p_of = |tuning: i64| found.ranked.iter().find(|r| r.tuning.0 == tuning).unwrap().p;
        assert_eq!(p_of(1), None);
        // The largest of a family stays as it is: of three pairs 100 against 101.
        let alone = {
            let mut evidence = made_up::piece(2, 2);
            for (part, average) in [(1, 100.0), (2, 101.0)] {
                for scene in 1..=2 {
                    add_cell(&mut evidence, part, scene, &[average * 0.995, average, average * 1.005]);
                }
            }
            let choice = choose(&evidence, &Asked::default()).unwrap().unwrap();
            let pair = (choice.baseline, choice.contenders[0]);
            p(&against::overall(&evidence, choice.measure, choice.setting, pair, &[]).unwrap())
        };
        assert!((p_of(2).unwrap() - alone).abs() < 1e-12);
        assert!(p_of(3).unwrap() < 0.001);
    }

    #[test]
    fn two_have_no_ranks() {
        assert_eq!(found(&[100.0, 130.0]), None);
    }
}
