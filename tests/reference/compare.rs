//! The comparison statistics against outside references: scipy, statsmodels, limma, metafor, published tables, and
//! coverage by simulation. Vectors are made by `make_compare_vectors.py`, which says how.

#![expect(clippy::unwrap_used, reason = "a vector that cannot be read fails its test")]

use rand_core::Rng;
use rand_pcg::Pcg64Dxsm;
use serde_json::Value;
use std::f64::consts::SQRT_2;
use weighhouse_measure::compare::noise::{Local, NoiseCell, NoisePrior, Source, Spread, renew};
use weighhouse_measure::compare::overall::overall;
use weighhouse_measure::compare::passes::wanted;
use weighhouse_measure::compare::ratio::{Ratio, in_scene};
use weighhouse_measure::compare::verdict::{Sense, Verdict, Way, verdict};
use weighhouse_measure::compare::{Interval, PassLog, SceneKind, cell};
use weighhouse_measure::stats::distributions::{normal_quantile, t_quantile, t_two_sided_p};
use weighhouse_measure::stats::moderation::{Prior, Variance, estimate};

fn vectors() -> Value {
    serde_json::from_str(include_str!("vectors/compare.json")).unwrap()
}

fn from_r() -> Value {
    serde_json::from_str(include_str!("vectors/compare_r.json")).unwrap()
}

fn items(v: &Value) -> &Vec<Value> {
    v.as_array().unwrap()
}

fn number(v: &Value) -> f64 {
    v.as_f64().unwrap()
}

fn numbers(v: &Value) -> Vec<f64> {
    items(v).iter().map(number).collect()
}

fn passes(values: &[f64], rig: i64) -> Vec<PassLog> {
    values.iter().map(|&v| PassLog::new(v, rig, 1, true).unwrap()).collect()
}

#[track_caller]
fn near(got: f64, want: f64, relative: f64) {
    assert!((got - want).abs() <= relative * want.abs(), "{got} is not {want} to {relative}");
}

#[track_caller]
fn near_interval(got: Interval, want: &Value, relative: f64) {
    near(got.low, number(&want[0]), relative);
    near(got.high, number(&want[1]), relative);
}

fn plain(baseline: &[f64], contender: &[f64]) -> Ratio {
    in_scene(&passes(baseline, 1), &passes(contender, 1), &Local::default(), None).unwrap()
}

/// scipy.stats.t.ppf and norm.ppf.
#[test]
fn quantiles_agree_with_scipy() {
    let v = vectors();
    for row in items(&v["distributions"]["t_quantile"]) {
        let (p, df, want) = (number(&row[0]), number(&row[1]), number(&row[2]));
        near(t_quantile(p, df), want, 1e-8);
    }
    for row in items(&v["distributions"]["normal_quantile"]) {
        let want = number(&row[1]);
        assert!((normal_quantile(number(&row[0])) - want).abs() <= 1e-12 * want.abs().max(1.0));
    }
}

/// 2 * scipy.stats.t.sf.
#[test]
fn tail_probabilities_agree_with_scipy() {
    for row in items(&vectors()["distributions"]["t_two_sided_p"]) {
        let (t, df, want) = (number(&row[0]), number(&row[1]), number(&row[2]));
        near(t_two_sided_p(t, df), want, 1e-8);
    }
}

/// scipy.stats.ttest_ind(ln b, ln a, equal_var=False) with confidence_interval(), exponentiated.
#[test]
fn an_unmoderated_ratio_is_welch_on_logs() {
    for case in items(&vectors()["welch"]) {
        let ratio = plain(&numbers(&case["a"]), &numbers(&case["b"]));
        let bounds = ratio.bounds.unwrap();
        near(ratio.ratio, number(&case["ratio"]), 1e-13);
        near(bounds.df, number(&case["df"]), 1e-9);
        near(bounds.p, number(&case["p"]), 1e-8);
        near_interval(bounds.interval, &case["interval"], 1e-10);
        near_interval(bounds.interval90, &case["interval90"], 1e-10);
    }
}

/// statsmodels ttost_ind(b, a, 1/m, m, usevar='unequal', transform=np.log): level exactly when its p is at most 5%.
#[test]
fn level_is_what_two_one_sided_tests_say() {
    let (mut level, mut apart) = (0, 0);
    for case in items(&vectors()["welch"]) {
        let ratio = plain(&numbers(&case["a"]), &numbers(&case["b"]));
        let said = verdict(&ratio, number(&case["margin"]), Sense::Rate);
        let is_level = matches!(said, Verdict::Level { .. } | Verdict::LevelWithin { .. });
        assert_eq!(is_level, number(&case["tost_p"]) <= 0.05, "{said:?}");
        let differs = matches!(said, Verdict::Differs(_) | Verdict::Level { .. });
        assert_eq!(differs, number(&case["p"]) < 0.05, "{said:?}");
        level += i32::from(is_level);
        apart += i32::from(differs);
    }
    assert!(level >= 5 && apart >= 5, "the cases show both answers: {level}, {apart}");
}

/// Smyth's moments written apart with scipy's polygamma and a bracketing root finder.
#[test]
fn priors_agree_with_smyths_moments() {
    for case in items(&vectors()["moderation"]) {
        let prior = estimate(&variances(&case["s2"], &case["df"])).unwrap();
        near(prior.s0_2, number(&case["s0_2"]), 1e-10);
        match case["d0"].as_f64() {
            Some(d0) => near(prior.d0, d0, 1e-9),
            None => assert!(prior.d0.is_infinite()),
        }
    }
}

/// limma::squeezeVar (R package limma 3.54.1), which has no cap on d0.
#[test]
fn moderated_variances_agree_with_limma() {
    let (v, r) = (vectors(), from_r());
    let mut finite = 0;
    for of_limma in items(&r["squeeze_var"]) {
        let case = items(&v["moderation"]).iter().find(|c| c["name"] == of_limma["name"]).unwrap();
        let sample = variances(&case["s2"], &case["df"]);
        let prior = estimate(&sample).unwrap();
        near(prior.s0_2, number(&of_limma["s0_2"][0]), 1e-9);
        if let Some(d0) = of_limma["d0"][0].as_f64() {
            near(prior.d0, d0, 1e-8);
            finite += 1;
        }
        for (variance, want) in sample.iter().zip(numbers(&of_limma["moderated"])) {
            near(prior.moderate(*variance).s2, want, 1e-9);
        }
    }
    assert!(finite >= 2, "both a finite and an infinite d0 are checked");
}

fn variances(s2: &Value, df: &Value) -> Vec<Variance> {
    numbers(s2).into_iter().zip(numbers(df)).map(|(s2, df)| Variance { s2, df }).collect()
}

/// The whole chain on eight scenes, written apart with numpy and scipy.
#[test]
fn a_suite_with_moderated_spreads_agrees_with_numpy() {
    let v = vectors();
    let suite = &v["suite"];
    let cells: Vec<(Vec<PassLog>, Vec<PassLog>)> = items(&suite["scenes"])
        .iter()
        .map(|s| (passes(&numbers(&s["a"]), 1), passes(&numbers(&s["b"]), 1)))
        .collect();
    let prior = prior_of(&cells);
    let kept = prior.at("average", SceneKind::Replay, 0).prior.unwrap();
    near(kept.df, number(&suite["d0"]), 1e-9);
    near(kept.s2, number(&suite["s0_2"]), 1e-9);

    let mut ratios = Vec::new();
    for (scene, ((a, b), want)) in (0..).zip(cells.iter().zip(items(&suite["scenes"]))) {
        let local = prior.at("average", SceneKind::Replay, scene);
        let ratio = in_scene(a, b, &local, None).unwrap();
        let bounds = ratio.bounds.unwrap();
        near(ratio.ratio, number(&want["ratio"]), 1e-12);
        near(bounds.df, number(&want["df"]), 1e-8);
        near_interval(bounds.interval, &want["interval"], 1e-9);
        let baseline = cell::value(a, &local).unwrap();
        near(baseline.value, number(&want["cell_a"][0]), 1e-12);
        near(baseline.interval.unwrap().low, number(&want["cell_a"][1]), 1e-9);
        near(baseline.interval.unwrap().high, number(&want["cell_a"][2]), 1e-9);
        assert_eq!(baseline.spread.unwrap().source, Source::Moderated);
        ratios.push(ratio);
    }
    let all = overall(&ratios).unwrap();
    near(all.these.ratio, number(&suite["overall"]), 1e-12);
    near(all.these.bounds.unwrap().df, number(&suite["df"]), 1e-8);
    near_interval(all.these.bounds.unwrap().interval, &suite["interval"], 1e-9);
    near_interval(all.another.unwrap().interval, &suite["another"], 1e-9);
    near(all.another.unwrap().tau2, number(&suite["tau2"]), 1e-9);
    for (got, want) in all.without.iter().zip(numbers(&suite["without"])) {
        near(*got, want, 1e-12);
    }
}

fn prior_of(cells: &[(Vec<PassLog>, Vec<PassLog>)]) -> NoisePrior {
    let of = |scene, passes| NoiseCell { measure: "average", kind: SceneKind::Replay, scene, passes };
    let all: Vec<NoiseCell<'_>> =
        (0..).zip(cells).flat_map(|(scene, (a, b))| [of(scene, a.as_slice()), of(scene, b)]).collect();
    renew(&all)
}

/// Mean of the differences within two rigs, written apart with numpy and scipy.
#[test]
fn a_ratio_over_two_rigs_agrees_with_numpy() {
    let v = vectors();
    let case = &v["two_rigs"];
    let both = |rigs: &Value| [passes(&numbers(&rigs[0]), 1), passes(&numbers(&rigs[1]), 2)].concat();
    let ratio = in_scene(&both(&case["a"]), &both(&case["b"]), &Local::default(), None).unwrap();
    near(ratio.ratio, number(&case["ratio"]), 1e-12);
    near(ratio.bounds.unwrap().df, number(&case["df"]), 1e-9);
    near_interval(ratio.bounds.unwrap().interval, &case["interval"], 1e-10);
}

/// metafor::rma(method="HE") of R: tau^2 the same; its prediction interval (test="knha", weighted=FALSE) within 3e-4
/// relative, because it estimates the error of the mean otherwise.
#[test]
fn another_scene_like_these_agrees_with_metafor() {
    let r = from_r();
    let scenes: Vec<Ratio> = numbers(&r["y"])
        .iter()
        .zip(numbers(&r["se"]))
        .map(|(y, se)| {
            // Two passes d either side of a mean have s^2/n = d^2; two such cells give se^2 = 2 d^2.
            let d = se / SQRT_2;
            let around = |x: f64| [(x - d).exp(), (x + d).exp()];
            plain(&around(0.0), &around(*y))
        })
        .collect();
    let another = overall(&scenes).unwrap().another.unwrap();
    near(another.tau2, number(&r["tau2"][0]), 1e-9);
    near(another.tau2, 0.00344783, 1e-6);
    near(another.interval.low.ln(), number(&r["prediction"][0]), 3e-4);
    near(another.interval.high.ln(), number(&r["prediction"][1]), 3e-4);
    // The same formula in Python (numpy, scipy): 0.13128..0.45851.
    assert!((another.interval.low.ln() - 0.13128).abs() < 5e-6);
    assert!((another.interval.high.ln() - 0.45851).abs() < 5e-6);
    assert!(overall(&scenes[..5]).unwrap().another.is_none(), "from six scenes on");
}

/// scipy.stats.t.ppf, iterated; Stein 1945. Two numbers a row: expected, guaranteed from five passes.
#[test]
fn passes_wanted_agree_with_scipy() {
    for (s, expected, guaranteed) in [(0.021, 20, 34), (0.005, 4, 5), (0.002, 3, 5)] {
        let w = wanted(own(s, 5), 5, 0.01).unwrap();
        assert_eq!((w.expected, w.guaranteed), (expected, guaranteed), "s = {s}");
        // With the normal quantile in place of t it would be too few: 17, 1 and 1.
        assert!(f64::from(w.expected) > (1.959_964 * s / 0.01).powi(2).ceil());
    }
    for case in items(&vectors()["passes"]) {
        let done = u32::try_from(case["done"].as_u64().unwrap()).unwrap();
        match wanted(own(number(&case["s"]), done), done, number(&case["target"])) {
            Some(w) => {
                assert_eq!(u64::from(w.expected), case["expected"].as_u64().unwrap(), "{case}");
                assert_eq!(u64::from(w.guaranteed), case["guaranteed"].as_u64().unwrap(), "{case}");
            }
            None => assert!(case["guaranteed"].as_u64().unwrap() > 1000, "{case}"),
        }
    }
}

fn own(s: f64, done: u32) -> Spread {
    Spread { s2: s * s, df: f64::from(done - 1), source: Source::Own }
}

/// Common practice, no source.
#[test]
fn facts_of_the_trade_hold() {
    near(plain(&[94.0], &[150.0]).ratio, 1.60, 3e-3);
    near(plain(&[173.0], &[221.0]).ratio, 1.28, 3e-3);
    let back = 1.0 - plain(&[128.0], &[100.0]).ratio;
    assert!((back - 0.219).abs() < 5e-4, "28% faster one way is 21.9% slower the other: {back}");

    let (a, b) = ([60.0, 60.0, 500.0], [60.0, 60.0, 600.0]);
    let scenes: Vec<Ratio> = a.iter().zip(&b).map(|(a, b)| plain(&[*a], &[*b])).collect();
    let mean_of_rates = b.iter().sum::<f64>() / a.iter().sum::<f64>();
    assert!((mean_of_rates - 1.161).abs() < 5e-4);
    assert!((overall(&scenes).unwrap().these.ratio - 1.063).abs() < 5e-4);
}

struct Chance(Pcg64Dxsm);

impl Chance {
    fn new(seed: u128) -> Chance {
        Chance(Pcg64Dxsm::new(seed, 7))
    }

    fn uniform(&mut self) -> f64 {
        ((self.0.next_u64() >> 11) as f64 + 0.5) / (1u64 << 53) as f64
    }

    fn normal(&mut self) -> f64 {
        normal_quantile(self.uniform())
    }

    fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.uniform()
    }

    /// Kept passes of a cell: three to five, scattered by `sigma` about `mean`.
    fn cell(&mut self, mean: f64, sigma: f64) -> Vec<PassLog> {
        let n = 3 + self.0.next_u64() % 3;
        let values: Vec<f64> = (0..n).map(|_| mean * (sigma * self.normal()).exp()).collect();
        passes(&values, 1)
    }

    /// A cell's own spread: sigma^2 = 6 (0.6%)^2 / chi^2_6.
    fn sigma(&mut self) -> f64 {
        let chi2: f64 = (0..6).map(|_| self.normal().powi(2)).sum();
        0.006 * (6.0 / chi2).sqrt()
    }
}

/// 400 simulated pieces of eight scenes: three to five passes a cell, spreads that differ from cell to cell.
#[test]
fn intervals_hold_the_truth_as_often_as_they_say() {
    let mut chance = Chance::new(20_260_119);
    let (pieces, scenes) = (400, 8);
    let (mut in_scenes, mut in_overall, mut wrong) = (0, 0, 0);
    for piece in 0..pieces {
        // Every second piece compares parts that are truly equal.
        let truth: Vec<f64> =
            (0..scenes).map(|_| if piece % 2 == 0 { 1.0 } else { chance.between(0.9, 1.4) }).collect();
        let cells: Vec<(Vec<PassLog>, Vec<PassLog>)> = truth
            .iter()
            .map(|t| {
                let base = chance.between(50.0, 250.0);
                let (sigma_a, sigma_b) = (chance.sigma(), chance.sigma());
                (chance.cell(base, sigma_a), chance.cell(base * t, sigma_b))
            })
            .collect();
        let prior = prior_of(&cells);
        let ratios: Vec<Ratio> = (0..)
            .zip(&cells)
            .map(|(scene, (a, b))| {
                in_scene(a, b, &prior.at("average", SceneKind::Replay, scene), None).unwrap()
            })
            .collect();
        for (ratio, t) in ratios.iter().zip(&truth) {
            in_scenes += i32::from(ratio.bounds.unwrap().interval.holds(*t));
            let faster = verdict(ratio, 0.02, Sense::Rate) == Verdict::Differs(Way::Faster);
            wrong += i32::from(piece % 2 == 0 && faster);
        }
        let mean = (truth.iter().map(|t| t.ln()).sum::<f64>() / f64::from(scenes)).exp();
        in_overall += i32::from(overall(&ratios).unwrap().these.bounds.unwrap().interval.holds(mean));
    }
    let all = f64::from(pieces * scenes);
    let covered = f64::from(in_scenes) / all;
    assert!((0.925..=0.975).contains(&covered), "a scene's ratio: {covered}");
    let covered = f64::from(in_overall) / f64::from(pieces);
    assert!((0.925..=0.975).contains(&covered), "these scenes: {covered}");
    let wrong = f64::from(wrong) / (all / 2.0);
    assert!(wrong <= 0.032, "said 'faster' of equal parts: {wrong}");
}

/// Stein 1945: with the guaranteed number the mean lies within the target in at least 95% of cases.
#[test]
fn the_guaranteed_number_of_passes_keeps_its_word() {
    let mut chance = Chance::new(1945);
    let (runs, sigma, target) = (2000, 0.012, 0.01);
    let mut held = 0;
    for _ in 0..runs {
        let mut logs: Vec<f64> = (0..5).map(|_| sigma * chance.normal()).collect();
        let mean = logs.iter().sum::<f64>() / 5.0;
        let s2 = logs.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / 4.0;
        let n = wanted(Spread { s2, df: 4.0, source: Source::Own }, 5, target).unwrap();
        logs.extend((0..n.more_guaranteed()).map(|_| sigma * chance.normal()));
        held += i32::from((logs.iter().sum::<f64>() / logs.len() as f64).abs() <= target);
    }
    let share = f64::from(held) / f64::from(runs);
    assert!((0.945..=1.0).contains(&share), "{share}");
}

/// A capped prior moderates; an infinite one would leave every cell with the same spread.
#[test]
fn cells_that_scatter_alike_keep_something_of_their_own() {
    let cell = |d: f64| (passes(&[100.0, 100.0 + d], 1), passes(&[120.0, 120.0 + d], 1));
    let cells = [0.50, 0.51, 0.52, 0.53].map(cell);
    let kept = prior_of(&cells).at("average", SceneKind::Replay, 0).prior.unwrap();
    assert_eq!(kept.df, 50.0);
    let moderated = Prior { d0: kept.df, s0_2: kept.s2 }.moderate(Variance { s2: 4.0 * kept.s2, df: 1.0 });
    near(moderated.s2 / kept.s2, 54.0 / 51.0, 1e-12);
}
