//! The ratio of two parts in one scene, with its interval.
//!
//! d = mean of ln(contender) - mean of ln(baseline) with variance s~_A^2/n_A + s~_B^2/n_B and Satterthwaite's degrees of
//! freedom (Satterthwaite 1946, Biometrics Bull. 2:110-114; Welch 1947, Biometrika 34:28-35) on the moderated ones:
//! df = (v_A + v_B)^2 / (v_A^2/df_A + v_B^2/df_B). Interval of the ratio: exp(d -+ t_{0.975, df} sqrt(v_A + v_B)).
//!
//! With several rigs d is the mean, over the rigs that both parts ran in, of the differences within each rig: what a
//! rig adds to both drops out. Without a common rig the two cells' values are compared, marked as crossing; where the
//! variance s_L^2 between rigs is known it widens the interval by s_L^2 (1/k_A + 1/k_B), 2 s_L^2 for a rig each.

use super::cell::mean_of_rigs;
use super::noise::{Local, by_rig};
use super::passes::df_at;
use super::{Interval, PassLog};
use crate::stats::distributions::{t_two_sided, t_two_sided_p};
use crate::stats::moderation::Variance;
use crate::stats::sum::sum;
use serde::Serialize;
use std::collections::{BTreeMap, BTreeSet};

/// What makes a comparison cross from one condition to another. It stands on every page and chart that shows it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
pub enum Crossing {
    /// No rig ran both parts.
    Rigs {
        /// Whether a known spread between rigs widens the interval.
        widened: bool,
    },
    /// The passes are of more than one build of the game.
    Builds,
    /// A pass ran on another driver than the one declared for its part.
    Driver,
}

impl Crossing {
    /// In words.
    pub fn words(self) -> &'static str {
        match self {
            Crossing::Rigs { widened: true } => "crosses rigs (interval widened by the spread between rigs)",
            Crossing::Rigs { widened: false } => "crosses rigs",
            Crossing::Builds => "crosses builds of the game",
            Crossing::Driver => "has passes on a driver that is not the declared one",
        }
    }

    /// Whether it forbids a verdict.
    pub fn bars_verdict(self) -> bool {
        self != Crossing::Rigs { widened: true }
    }
}

/// How sure a ratio is.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Bounds {
    /// Standard error of ln(ratio).
    pub se_ln: f64,
    /// Degrees of freedom behind it.
    pub df: f64,
    /// 95% interval of the ratio.
    pub interval: Interval,
    /// 90% interval of the ratio: within a margin when it lies inside (Schuirmann 1987).
    pub interval90: Interval,
    /// Two-sided p of a true ratio of 1.
    pub p: f64,
}

/// One cell's part in the variance of ln(ratio), kept so that it can be said what more passes would do.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Term {
    /// Variance of a pass as the intervals use it; `None`: not known.
    pub(super) variance: Option<Variance>,
    /// The same, unmoderated, for sums over scenes.
    plain: Option<Variance>,
    /// Passes that are used.
    pub(super) passes: u32,
    /// Variance of the cell's mean over that of a pass.
    per: f64,
    /// Square of the weight that the cell's mean has in ln(ratio).
    weight: f64,
}

impl Term {
    /// With the unmoderated variance, and its weight times `share`.
    fn plain(&self, share: f64) -> Term {
        Term { variance: self.plain, weight: self.weight * share, ..*self }
    }

    /// Contribution once the cell has `n` passes (as it stands, where it has as many).
    fn variance_at(&self, n: u32) -> Option<Variance> {
        let Variance { s2, df } = self.variance?;
        if n <= self.passes {
            return Some(Variance { s2: self.weight * s2 * self.per, df });
        }
        Some(Variance { s2: self.weight * s2 / f64::from(n), df: df_at(df, self.passes, n) })
    }
}

/// A ratio of contender to baseline.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Ratio {
    /// Contender over baseline.
    pub ratio: f64,
    /// Its natural logarithm.
    pub ln: f64,
    /// `None` where a spread is not known: one pass and nothing to borrow from.
    pub bounds: Option<Bounds>,
    /// Passes of the baseline in it.
    pub passes_baseline: usize,
    /// Passes of the contender in it.
    pub passes_contender: usize,
    /// Kept passes that are not in it, because their rig did not run the other part.
    pub left_out: usize,
    /// What it crosses, each once.
    pub marks: Vec<Crossing>,
    #[serde(skip)]
    pub(super) terms: Vec<Term>,
    /// Variance between rigs, which no further pass takes away.
    #[serde(skip)]
    pub(super) between: Option<Variance>,
}

impl Ratio {
    /// Puts a ratio together from the cells' terms.
    pub(super) fn of(ln: f64, counts: [usize; 3], marks: Vec<Crossing>, parts: Parts) -> Ratio {
        let [passes_baseline, passes_contender, left_out] = counts;
        let Parts { terms, between } = parts;
        let error = error_at(&terms, between, 0);
        Ratio {
            ratio: libm::exp(ln),
            ln,
            bounds: error.map(|e| bounds(ln, e)),
            passes_baseline,
            passes_contender,
            left_out,
            marks,
            terms,
            between,
        }
    }

    /// The weighted geometric mean of ratios of different cells; `None` without a weight above 0. Its error is summed
    /// from the cells' own variances, as that of the overall ratio.
    pub(super) fn weighted(ratios: &[(f64, Ratio)]) -> Option<Ratio> {
        let total = sum(ratios.iter().map(|(weight, _)| *weight));
        if total <= 0.0 {
            return None;
        }
        if let [(_, only)] = ratios {
            return Some(only.clone());
        }
        let shares: Vec<(f64, &Ratio)> = ratios.iter().map(|(weight, r)| (weight / total, r)).collect();
        let ln = sum(shares.iter().map(|(share, r)| share * r.ln));
        Some(Ratio::of(ln, counts(ratios.iter().map(|(_, r)| r)), marks(&shares), Parts::of_shares(&shares)))
    }

    /// This ratio over another one of other cells: how far a lead grows or a cost differs. Errors add; 1 is no change.
    pub fn over(&self, other: &Ratio) -> Ratio {
        let sides = [(1.0, self), (1.0, other)];
        let terms = self.terms.iter().chain(&other.terms).copied().collect();
        // What rigs add to a lead they add to both: it drops out.
        let parts = Parts { terms, between: None };
        Ratio::of(self.ln - other.ln, counts([self, other].into_iter()), marks(&sides), parts)
    }

    /// Variance of ln(ratio) once every cell has at least `n` passes.
    pub(super) fn error_at(&self, n: u32) -> Option<Variance> {
        error_at(&self.terms, self.between, n)
    }

    /// The same once the contender has `n` passes and the baseline as many as now.
    pub(super) fn contender_at(&self, n: u32) -> Option<Variance> {
        let [baseline, contender] = self.terms.as_slice() else { return None };
        satterthwaite(&[baseline.variance_at(0)?, contender.variance_at(n)?])
    }

    /// Variance of ln(ratio) that comes from passes, unmoderated, without what rigs add.
    pub(super) fn error_of_passes(&self) -> Option<f64> {
        let each = self.terms.iter().map(|term| Some(term.plain(1.0).variance_at(0)?.s2));
        Some(sum(each.collect::<Option<Vec<f64>>>()?))
    }

    /// Whether a verdict may be given.
    pub fn like_with_like(&self) -> bool {
        !self.marks.iter().any(|mark| mark.bars_verdict())
    }
}

/// What the variance of a ratio is made of.
pub(super) struct Parts {
    pub(super) terms: Vec<Term>,
    pub(super) between: Option<Variance>,
}

impl Parts {
    /// The ratios' parts together, unmoderated, as they enter the mean of the ratios' logs. What a rig adds it adds in
    /// every scene: it is averaged, not thinned out.
    pub(super) fn of_mean(ratios: &[Ratio]) -> Parts {
        let k = ratios.len() as f64;
        Parts::of_shares(&ratios.iter().map(|r| (1.0 / k, r)).collect::<Vec<_>>())
    }

    /// The same with a share of each ratio; shares sum to 1.
    fn of_shares(ratios: &[(f64, &Ratio)]) -> Parts {
        let terms = ratios.iter().flat_map(|(share, r)| r.terms.iter().map(move |t| t.plain(share * share)));
        let shared: Vec<(f64, Variance)> =
            ratios.iter().filter_map(|(share, r)| Some((*share, r.between?))).collect();
        let mean_s = sum(shared.iter().map(|(share, v)| share * v.s2.sqrt()));
        let df = shared.iter().map(|(_, v)| v.df).fold(f64::INFINITY, f64::min);
        let between = (mean_s > 0.0).then_some(Variance { s2: mean_s * mean_s, df });
        Parts { terms: terms.collect(), between }
    }
}

/// Passes of all ratios: the baselines', the contenders', those left out.
fn counts<'a>(ratios: impl Iterator<Item = &'a Ratio>) -> [usize; 3] {
    ratios.fold([0; 3], |[a, b, out], r| [a + r.passes_baseline, b + r.passes_contender, out + r.left_out])
}

/// What any of them crosses, each once.
fn marks(ratios: &[(f64, &Ratio)]) -> Vec<Crossing> {
    let all: BTreeSet<Crossing> = ratios.iter().flat_map(|(_, r)| r.marks.iter().copied()).collect();
    all.into_iter().collect()
}

fn error_at(terms: &[Term], between: Option<Variance>, n: u32) -> Option<Variance> {
    let mut all = terms.iter().map(|term| term.variance_at(n)).collect::<Option<Vec<Variance>>>()?;
    all.extend(between);
    satterthwaite(&all)
}

/// Sum of independent variances and its degrees of freedom (Satterthwaite 1946). `None` of nothing or of zeros.
pub(super) fn satterthwaite(parts: &[Variance]) -> Option<Variance> {
    let s2 = sum(parts.iter().map(|v| v.s2));
    let inverse = sum(parts.iter().map(|v| v.s2 * v.s2 / v.df));
    (s2 > 0.0).then(|| Variance { s2, df: s2 * s2 / inverse })
}

/// Intervals and p of a log ratio with this squared standard error.
pub(super) fn bounds(ln: f64, error: Variance) -> Bounds {
    let se_ln = error.s2.sqrt();
    let at = |level| Interval::of_logs(ln, t_two_sided(level, error.df) * se_ln);
    let p = t_two_sided_p(ln / se_ln, error.df);
    Bounds { se_ln, df: error.df, interval: at(0.95), interval90: at(0.9), p }
}

/// Ratio of `contender` to `baseline` in one scene, over their kept passes of one measure. `between_rigs` is s_L^2 of
/// that measure's logarithm, where it is known. `None` where a side has no pass.
pub fn in_scene(
    baseline: &[PassLog],
    contender: &[PassLog],
    noise: &Local,
    between_rigs: Option<Variance>,
) -> Option<Ratio> {
    let (mut a, mut b) = (by_rig(baseline), by_rig(contender));
    let common: Vec<i64> = a.keys().filter(|&rig| b.contains_key(rig)).copied().collect();
    let mut between = None;
    let mut marks = Vec::new();
    if common.is_empty() {
        between = between_rigs.map(|v| Variance { s2: v.s2 * (one_over(a.len()) + one_over(b.len())), ..v });
        marks.push(Crossing::Rigs { widened: between.is_some() });
    } else {
        a.retain(|rig, _| common.contains(rig));
        b.retain(|rig, _| common.contains(rig));
    }
    let used = |pass: &&PassLog| common.is_empty() || common.contains(&pass.rig);
    let passes: Vec<&PassLog> = baseline.iter().chain(contender).filter(used).collect();
    if passes.windows(2).any(|pair| pair[0].build != pair[1].build) {
        marks.push(Crossing::Builds);
    }
    if passes.iter().any(|pass| !pass.declared_driver) {
        marks.push(Crossing::Driver);
    }
    let (mean_a, term_a) = side(&a, baseline, noise)?;
    let (mean_b, term_b) = side(&b, contender, noise)?;
    let (n_a, n_b) = (passes_in(&a), passes_in(&b));
    let counts = [n_a, n_b, baseline.len() + contender.len() - n_a - n_b];
    Some(Ratio::of(mean_b - mean_a, counts, marks, Parts { terms: vec![term_a, term_b], between }))
}

/// Mean and term of a cell with `kept` passes over the rigs in use. Over rigs common to both sides the difference of
/// the means of rig means is the mean of the differences within rigs.
fn side(rigs: &BTreeMap<i64, Vec<f64>>, kept: &[PassLog], noise: &Local) -> Option<(f64, Term)> {
    let (mean, per) = mean_of_rigs(rigs)?;
    let passes = u32::try_from(passes_in(rigs)).unwrap_or(u32::MAX);
    let variance = noise.spread(kept).map(Variance::from);
    Some((mean, Term { variance, plain: noise.plain(kept), passes, per, weight: 1.0 }))
}

fn passes_in(rigs: &BTreeMap<i64, Vec<f64>>) -> usize {
    rigs.values().map(Vec::len).sum()
}

fn one_over(n: usize) -> f64 {
    1.0 / n as f64
}

#[cfg(test)]
mod tests {
    use super::*;

    fn pass(value: f64, rig: i64) -> PassLog {
        PassLog::new(value, rig, 1, true).unwrap()
    }

    fn between(baseline: &[PassLog], contender: &[PassLog]) -> Ratio {
        in_scene(baseline, contender, &Local::default(), None).unwrap()
    }

    #[test]
    fn swapping_the_parts_turns_the_ratio_over() {
        let (a, b) = ([pass(100.0, 1), pass(101.0, 1)], [pass(120.0, 1), pass(123.0, 1), pass(121.0, 1)]);
        let (there, back) = (between(&a, &b), between(&b, &a));
        let (there_95, back_95) = (there.bounds.unwrap().interval, back.bounds.unwrap().interval);
        assert!((there.ratio * back.ratio - 1.0).abs() < 1e-14);
        assert!((there_95.low * back_95.high - 1.0).abs() < 1e-14);
        assert_eq!(there.bounds.unwrap().df, back.bounds.unwrap().df);
    }

    #[test]
    fn what_a_rig_adds_to_both_parts_drops_out() {
        // Rig 2 reads 10% high and ran the parts unequally often.
        let a = [pass(100.0, 1), pass(100.2, 1), pass(110.0, 2)];
        let b = [pass(120.0, 1), pass(120.24, 1), pass(132.0, 2), pass(132.0, 2), pass(132.0, 2)];
        let ratio = between(&a, &b);
        assert!((ratio.ratio - 1.2).abs() < 1e-12, "{}", ratio.ratio);
        assert_eq!((ratio.passes_baseline, ratio.passes_contender, ratio.left_out), (3, 5, 0));
        assert!(ratio.marks.is_empty());
    }

    #[test]
    fn passes_of_a_rig_that_did_not_run_the_other_part_are_left_out() {
        let a = [pass(100.0, 1), pass(101.0, 1), pass(300.0, 3)];
        let b = [pass(120.0, 1), pass(121.0, 1)];
        let ratio = between(&a, &b);
        assert_eq!(ratio.left_out, 1);
        assert!((ratio.ln - between(&a[..2], &b).ln).abs() < 1e-15);
    }

    #[test]
    fn crossing_rigs_is_marked_and_widened_where_the_spread_between_rigs_is_known() {
        let (a, b) = ([pass(100.0, 1), pass(101.0, 1)], [pass(120.0, 2), pass(121.0, 2)]);
        let bare = between(&a, &b);
        assert_eq!(bare.marks, [Crossing::Rigs { widened: false }]);
        assert!(!bare.like_with_like());
        let known = Variance { s2: 4e-4, df: 7.0 };
        let wide = in_scene(&a, &b, &Local::default(), Some(known)).unwrap();
        assert!(wide.like_with_like());
        let (bare_se, wide_se) = (bare.bounds.unwrap().se_ln, wide.bounds.unwrap().se_ln);
        assert!((wide_se * wide_se - bare_se * bare_se - 8e-4).abs() < 1e-15);
    }

    #[test]
    fn builds_and_undeclared_drivers_are_marked() {
        let a = [pass(100.0, 1), pass(101.0, 1)];
        let mut b = [pass(120.0, 1), pass(121.0, 1)];
        b[0].build = 2;
        b[1].declared_driver = false;
        let ratio = between(&a, &b);
        assert_eq!(ratio.marks, [Crossing::Builds, Crossing::Driver]);
        assert!(!ratio.like_with_like());
    }

    #[test]
    fn a_ratio_over_another_adds_their_errors() {
        let (a, b) = ([pass(100.0, 1), pass(101.0, 1)], [pass(120.0, 1), pass(123.0, 1)]);
        let (c, d) = ([pass(60.0, 1), pass(61.0, 1)], [pass(66.0, 1), pass(67.5, 1)]);
        let (first, second) = (between(&a, &b), between(&c, &d));
        let change = second.over(&first);
        assert!((change.ln - (second.ln - first.ln)).abs() < 1e-15);
        let squares = |r: &Ratio| r.bounds.unwrap().se_ln.powi(2);
        assert!((squares(&change) - squares(&first) - squares(&second)).abs() < 1e-15);
    }

    #[test]
    fn a_pass_each_gives_a_ratio_without_bounds() {
        let ratio = between(&[pass(94.0, 1)], &[pass(150.0, 1)]);
        assert!(ratio.bounds.is_none());
        assert!(in_scene(&[], &[pass(1.0, 1)], &Local::default(), None).is_none());
    }
}
