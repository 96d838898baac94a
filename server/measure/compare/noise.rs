//! How far passes of a cell scatter: the spread within rigs, and the noise prior of a piece that steadies it.
//!
//! Three passes alone say little about their spread: a 95% interval from them is three times as wide as one from
//! many. So the cells of one kind of scene lend each other degrees of freedom ([`crate::stats::moderation`]). The
//! prior is made once, from all cells, and then kept under a version until a person renews it: a new pass moves its
//! own cell and no other. What it holds is rounded to 12 significant digits and written as decimal strings, because
//! a figure's digest covers it.
//!
//! s0^2 is what the moments of ln s^2 give (Smyth 2004, section 6.2), not the pooled variance. Where the spreads of scenes
//! lie a factor of ten apart it sits near the small ones, and the 95% interval of a ratio then holds the truth in some
//! 92% of the cells that scatter most (`tests/reference/coverage.rs`). The pooled variance would mend that, but one cell
//! with a bad pass that nobody has ruled on yet would widen every interval of the piece.

use super::{PassLog, SceneKind, rigs};
use crate::stats::moderation::{self, Prior, Variance};
use crate::stats::sum::{Sum, mean, sum};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// Version of how a prior is made; rises when the same cells give another one.
pub const METHOD: u32 = 2;

/// Where the spread of a cell comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub enum Source {
    /// From its own passes alone: fewer than five cells of its kind were there to steady it.
    Own,
    /// From its own passes, moderated by its kind.
    Moderated,
    /// One pass: borrowed from the other cells of its scene.
    Scene,
    /// One pass, and no other cell of its scene has two: borrowed from its kind of scene.
    Kind,
}

/// Variance of the logarithm of a measure from pass to pass, as intervals use it.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Spread {
    /// s~^2 of ln(measure); above 0.
    pub s2: f64,
    /// Degrees of freedom.
    pub df: f64,
    /// Where it comes from.
    pub source: Source,
}

/// A variance and its degrees of freedom as they are kept.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Kept {
    /// Variance of ln(measure).
    #[serde(with = "decimal")]
    pub s2: f64,
    /// Degrees of freedom.
    #[serde(with = "decimal")]
    pub df: f64,
}

/// What one kind of scene, or all of them, says about one measure.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct KindPrior {
    /// Cells with at least two passes in one rig that it rests on.
    pub cells: usize,
    /// s0^2 on d0 (capped) degrees of freedom; none below five cells.
    pub prior: Option<Kept>,
    /// Pooled variance of the kind's cells.
    pub pooled: Option<Kept>,
    /// Pooled variance of each scene's cells, by the scene's id.
    pub scenes: BTreeMap<i64, Kept>,
}

/// The noise prior of a piece: per measure and kind of scene.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct NoisePrior {
    /// [`METHOD`] it was made with; 0 when empty.
    pub method: u32,
    /// By measure, then by kind of scene.
    pub measures: BTreeMap<String, BTreeMap<SceneKind, KindPrior>>,
    /// Variance from rig to rig by measure, where it is known ([`super::rigs::between_rigs`]).
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub rigs: BTreeMap<String, Kept>,
}

/// A cell's kept passes for one measure, as [`renew`] takes them.
#[derive(Clone, Copy, Debug)]
pub struct NoiseCell<'a> {
    /// Key of the measure.
    pub measure: &'a str,
    /// Kind of its scene.
    pub kind: SceneKind,
    /// Id of its scene.
    pub scene: i64,
    /// Kept passes.
    pub passes: &'a [PassLog],
}

/// Variance of the logs within rigs, pooled over rigs: sum of squares about each rig's mean over sum of (n - 1).
/// `None` where no rig has two passes.
pub fn within_rigs(passes: &[PassLog]) -> Option<Variance> {
    let (mut squares, mut df) = (Sum::default(), 0.0);
    for logs in by_rig(passes).values() {
        let Some(centre) = mean(logs) else { continue };
        logs.iter().for_each(|x| squares.add((x - centre) * (x - centre)));
        df += logs.len() as f64 - 1.0;
    }
    (df > 0.0).then(|| Variance { s2: squares.value() / df, df })
}

/// Logs of the passes by rig.
pub(super) fn by_rig(passes: &[PassLog]) -> BTreeMap<i64, Vec<f64>> {
    let mut rigs: BTreeMap<i64, Vec<f64>> = BTreeMap::new();
    for pass in passes {
        rigs.entry(pass.rig).or_default().push(pass.ln());
    }
    rigs
}

/// A new prior from all cells of a piece. Cells without two passes in one rig say nothing of spread and are passed
/// over. The result does not depend on the order of `cells`.
pub fn renew(cells: &[NoiseCell<'_>]) -> NoisePrior {
    let mut families: BTreeMap<(&str, SceneKind), Vec<(i64, Variance)>> = BTreeMap::new();
    for cell in cells {
        if let Some(variance) = within_rigs(cell.passes) {
            families.entry((cell.measure, cell.kind)).or_default().push((cell.scene, variance));
        }
    }
    let mut prior = NoisePrior { method: METHOD, ..NoisePrior::default() };
    for ((measure, kind), mut family) in families {
        family.sort_by(|a, b| a.0.cmp(&b.0).then(a.1.s2.total_cmp(&b.1.s2)).then(a.1.df.total_cmp(&b.1.df)));
        prior.measures.entry(measure.to_owned()).or_default().insert(kind, of_family(&family));
    }
    prior.rigs = between_rigs(cells);
    prior
}

fn between_rigs(cells: &[NoiseCell<'_>]) -> BTreeMap<String, Kept> {
    let mut measures: BTreeMap<&str, Vec<&[PassLog]>> = BTreeMap::new();
    for cell in cells {
        measures.entry(cell.measure).or_default().push(cell.passes);
    }
    let known = |passes: &[&[PassLog]]| rigs::between_rigs(passes).map(|v| Kept::rounded(v.s2, v.df));
    measures.into_iter().filter_map(|(measure, passes)| Some((measure.to_owned(), known(&passes)?))).collect()
}

fn of_family(family: &[(i64, Variance)]) -> KindPrior {
    let variances: Vec<Variance> = family.iter().map(|(_, v)| *v).collect();
    let mut scenes: BTreeMap<i64, Vec<Variance>> = BTreeMap::new();
    for (scene, variance) in family {
        scenes.entry(*scene).or_default().push(*variance);
    }
    let estimate =
        (variances.len() >= moderation::FEWEST).then(|| moderation::estimate(&variances)).flatten();
    KindPrior {
        cells: family.len(),
        prior: estimate.map(|p| p.capped()).map(|p| Kept::rounded(p.s0_2, p.d0)),
        pooled: pooled(&variances),
        scenes: scenes.into_iter().filter_map(|(id, v)| Some((id, pooled(&v)?))).collect(),
    }
}

/// Mean of variances weighted by their degrees of freedom; `None` where it is zero or there are none.
fn pooled(variances: &[Variance]) -> Option<Kept> {
    let df = sum(variances.iter().map(|v| v.df));
    let s2 = sum(variances.iter().map(|v| v.df * v.s2)) / df;
    (s2 > 0.0).then(|| Kept::rounded(s2, df))
}

/// s~^2 and its degrees of freedom (Smyth 2004, section 4); without a prior, the variance as it is.
pub fn moderated(own: Variance, prior: Option<Kept>) -> Variance {
    match prior {
        Some(kept) => Prior { d0: kept.df, s0_2: kept.s2 }.moderate(own),
        None => own,
    }
}

impl NoisePrior {
    /// What the prior says for one measure in one scene.
    pub fn at(&self, measure: &str, kind: SceneKind, scene: i64) -> Local {
        let Some(of_kind) = self.measures.get(measure).and_then(|kinds| kinds.get(&kind)) else {
            return Local::default();
        };
        Local { prior: of_kind.prior, scene: of_kind.scenes.get(&scene).copied(), kind: of_kind.pooled }
    }

    /// Variance from rig to rig of a measure's logarithm, where it is known.
    pub fn between_rigs(&self, measure: &str) -> Option<Variance> {
        self.rigs.get(measure).map(|kept| Variance::from(*kept))
    }
}

/// The noise prior as it stands for one measure in one scene. The default knows nothing.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Local {
    /// s0^2 on d0 of the kind.
    pub prior: Option<Kept>,
    /// Pooled variance of the scene's cells.
    pub scene: Option<Kept>,
    /// Pooled variance of the kind's cells.
    pub kind: Option<Kept>,
}

impl Local {
    /// Spread of a cell with these passes: its own, moderated; with one pass a rig, its scene's (moderated), else its
    /// kind's. `None` where nothing is known, or where its passes are equal to the last digit and nothing moderates
    /// them: a spread of zero cannot be believed.
    pub fn spread(&self, passes: &[PassLog]) -> Option<Spread> {
        let (variance, source) = match within_rigs(passes) {
            Some(own) if self.prior.is_some() => (moderated(own, self.prior), Source::Moderated),
            Some(own) => (own, Source::Own),
            None => match (self.scene, self.prior.or(self.kind)) {
                (Some(scene), _) => (moderated(scene.into(), self.prior), Source::Scene),
                (None, Some(kind)) => (kind.into(), Source::Kind),
                (None, None) => return None,
            },
        };
        (variance.s2 > 0.0).then_some(Spread { s2: variance.s2, df: variance.df, source })
    }

    /// The variance of a pass for sums over many cells: unmoderated, because a moderated variance is too small on
    /// average where cells truly differ (its degrees of freedom make up for that in one cell, not in a sum). The
    /// cell's own, else the pooled one of its scene, else of its kind.
    pub(super) fn plain(&self, passes: &[PassLog]) -> Option<Variance> {
        within_rigs(passes).or_else(|| self.scene.or(self.kind).map(Variance::from))
    }
}

impl From<Spread> for Variance {
    fn from(spread: Spread) -> Variance {
        Variance { s2: spread.s2, df: spread.df }
    }
}

impl From<Kept> for Variance {
    fn from(kept: Kept) -> Variance {
        Variance { s2: kept.s2, df: kept.df }
    }
}

impl Kept {
    fn rounded(s2: f64, df: f64) -> Kept {
        Kept { s2: decimal::rounded(s2), df: decimal::rounded(df) }
    }
}

/// Numbers as decimal strings: shortest digits that read back to the same double, never an exponent.
mod decimal {
    use serde::{Deserialize, Deserializer, Serializer, de::Error};

    /// To 12 significant digits, so that the last bits of a machine's arithmetic never reach a digest.
    pub(super) fn rounded(x: f64) -> f64 {
        format!("{x:.11e}").parse().unwrap_or(x)
    }

    pub(super) fn serialize<S: Serializer>(x: &f64, to: S) -> Result<S::Ok, S::Error> {
        to.serialize_str(&x.to_string())
    }

    pub(super) fn deserialize<'de, D: Deserializer<'de>>(from: D) -> Result<f64, D::Error> {
        let text = String::deserialize(from)?;
        match text.parse::<f64>() {
            Ok(x) if x.is_finite() && x > 0.0 => Ok(x),
            _ => Err(D::Error::custom(format!("'{text}' is not a decimal number above 0"))),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn passes(values: &[f64]) -> Vec<PassLog> {
        values.iter().map(|&v| PassLog::new(v, 1, 1, true).unwrap()).collect()
    }

    fn six_scenes() -> Vec<(i64, Vec<PassLog>)> {
        let spreads = [0.4, 1.1, 0.7, 0.2, 2.0, 0.9];
        (1..).zip(spreads.map(|s| passes(&[100.0, 100.0 + s, 100.0 - s / 2.0]))).collect()
    }

    fn prior_of(cells: &[(i64, Vec<PassLog>)]) -> NoisePrior {
        let cells: Vec<NoiseCell<'_>> = cells
            .iter()
            .map(|(scene, passes)| NoiseCell {
                measure: "average",
                kind: SceneKind::Replay,
                scene: *scene,
                passes,
            })
            .collect();
        renew(&cells)
    }

    #[test]
    fn the_spread_within_rigs_leaves_out_the_step_between_them() {
        let mut both = passes(&[100.0, 101.0]);
        both.extend([99.0, 100.0].map(|v| PassLog::new(v, 2, 1, true).unwrap()));
        let v = within_rigs(&both).unwrap();
        let half = |a: f64, b: f64| libm::log(b / a) * libm::log(b / a) / 2.0;
        assert_eq!(v.df, 2.0);
        assert!((v.s2 - (half(100.0, 101.0) + half(99.0, 100.0)) / 2.0).abs() < 1e-17);
        assert_eq!(within_rigs(&passes(&[100.0])), None);
    }

    #[test]
    fn a_prior_is_kept_as_decimal_strings_and_reads_back_the_same() {
        let prior = prior_of(&six_scenes());
        let text = serde_json::to_string(&prior).unwrap();
        assert!(text.contains(r#""average":{"replay":{"cells":6,"prior":{"s2":"0.0000"#), "{text}");
        assert_eq!(serde_json::from_str::<NoisePrior>(&text).unwrap(), prior);
        let wrong = text.replacen(r#""s2":"0."#, r#""s2":"-0."#, 1);
        let says = serde_json::from_str::<NoisePrior>(&wrong).unwrap_err().to_string();
        assert!(says.contains("is not a decimal number above 0"), "{says}");
    }

    #[test]
    fn the_order_of_cells_does_not_matter() {
        let mut cells = six_scenes();
        let there = prior_of(&cells);
        cells.reverse();
        assert_eq!(there, prior_of(&cells));
    }

    #[test]
    fn below_five_cells_nothing_is_moderated() {
        let cells = six_scenes();
        let four = prior_of(&cells[..4]);
        let local = four.at("average", SceneKind::Replay, 1);
        assert_eq!(local.prior, None);
        let own = within_rigs(&cells[0].1).unwrap();
        let spread = local.spread(&cells[0].1).unwrap();
        assert_eq!((spread.s2, spread.df, spread.source), (own.s2, own.df, Source::Own));
        assert!(prior_of(&cells[..5]).at("average", SceneKind::Replay, 1).prior.is_some());
    }

    #[test]
    fn one_cell_with_a_bad_pass_does_not_widen_the_others() {
        let mut cells: Vec<(i64, Vec<PassLog>)> = (1..)
            .zip([0.2, 0.25, 0.3, 0.22, 0.28, 0.24, 0.26, 0.3])
            .map(|(scene, s)| (scene, passes(&[100.0, 100.0 + s, 100.0 - s])))
            .collect();
        let sd = |cells: &[(i64, Vec<PassLog>)]| {
            prior_of(cells).at("average", SceneKind::Replay, 1).spread(&cells[0].1).unwrap().s2.sqrt()
        };
        let sound = sd(&cells);
        cells.push((9, passes(&[100.0, 100.2, 70.0])));
        assert!(sd(&cells) < 2.0 * sound, "{} beside {sound}", sd(&cells));
    }

    #[test]
    fn a_single_pass_borrows_from_its_scene_then_from_its_kind() {
        let prior = prior_of(&six_scenes());
        let one = passes(&[100.0]);
        let in_scene = prior.at("average", SceneKind::Replay, 5).spread(&one).unwrap();
        let elsewhere = prior.at("average", SceneKind::Replay, 99).spread(&one).unwrap();
        assert_eq!((in_scene.source, elsewhere.source), (Source::Scene, Source::Kind));
        assert!(in_scene.s2 > elsewhere.s2, "scene 5 scatters most");
        assert_eq!(elsewhere.df, prior.at("average", SceneKind::Replay, 99).prior.unwrap().df);
        assert_eq!(prior.at("average", SceneKind::ByHand, 5).spread(&one), None);
        assert_eq!(prior.at("low", SceneKind::Replay, 5).spread(&one), None);
    }

    #[test]
    fn equal_passes_have_a_spread_only_where_others_lend_one() {
        let same = passes(&[100.0, 100.0, 100.0]);
        assert_eq!(Local::default().spread(&same), None);
        assert!(prior_of(&six_scenes()).at("average", SceneKind::Replay, 1).spread(&same).unwrap().s2 > 0.0);
    }
}
