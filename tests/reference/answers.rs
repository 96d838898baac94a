//! Tuning, worth and the readers' answers against outside references: cvxpy, scikit-learn, scipy, NIST's certified
//! values, kneed, statsmodels. Vectors are made by `make_answer_vectors.py`, which says how.

#![expect(clippy::unwrap_used, reason = "a vector that cannot be read fails its test")]

use serde_json::Value;
use weighhouse_measure::compare::curve::fit;
use weighhouse_measure::compare::difference::difference;
use weighhouse_measure::compare::noise::Local;
use weighhouse_measure::compare::ratio::{Ratio, in_scene};
use weighhouse_measure::compare::{PassLog, cell, knee, reader, saturating};
use weighhouse_measure::stats::holm;

fn vectors() -> Value {
    serde_json::from_str(include_str!("vectors/answers.json")).unwrap()
}

fn items<'a>(v: &'a Value, name: &str) -> &'a Vec<Value> {
    v[name].as_array().unwrap()
}

fn numbers(v: &Value) -> Vec<f64> {
    v.as_array().unwrap().iter().map(|x| x.as_f64().unwrap()).collect()
}

fn points(case: &Value, x: &str, y: &str) -> Vec<(f64, f64)> {
    numbers(&case[x]).into_iter().zip(numbers(&case[y])).collect()
}

#[track_caller]
fn near(got: f64, want: f64, relative: f64) {
    assert!((got - want).abs() <= relative * want.abs(), "{got} is not {want} to {relative}");
}

fn ratio(a: &[f64], b: &[f64]) -> Ratio {
    let logs =
        |v: &[f64]| -> Vec<PassLog> { v.iter().map(|&v| PassLog::new(v, 1, 1, true).unwrap()).collect() };
    in_scene(&logs(a), &logs(b), &Local::default(), None).unwrap()
}

/// scipy.optimize.nnls on the basis, and cvxpy with Clarabel on the fitted values (good to about 1e-7 itself).
#[test]
fn curves_are_the_nearest_monotone_concave_ones() {
    let all = vectors();
    for case in items(&all, "curves") {
        let curve = fit(&points(case, "watts", "rates")).unwrap();
        for ((corner, nnls), qp) in curve.corners.iter().zip(numbers(&case["nnls"])).zip(numbers(&case["qp"]))
        {
            near(corner.1, nnls, 1e-11);
            near(corner.1, qp, 1e-6);
        }
    }
}

/// sklearn.isotonic.IsotonicRegression: where the nearest monotone fit is concave, it is the nearest of both kinds.
#[test]
fn where_isotonic_regression_is_concave_it_is_the_same_fit() {
    let all = vectors();
    let concave: Vec<&Value> =
        items(&all, "curves").iter().filter(|case| !case["isotonic"].is_null()).collect();
    assert!(concave.len() >= 2, "the cases show it");
    for case in concave {
        let curve = fit(&points(case, "watts", "rates")).unwrap();
        for (corner, isotonic) in curve.corners.iter().zip(numbers(&case["isotonic"])) {
            near(corner.1, isotonic, 1e-10);
        }
    }
}

/// kneed.KneeLocator(curve='concave', direction='increasing'); the first case is the paper's figure 2, 0.22 there.
#[test]
fn knees_are_kneedles() {
    let all = vectors();
    for case in items(&all, "knees") {
        let found = knee::first(&points(case, "x", "y"), case["sensitivity"].as_f64().unwrap());
        assert_eq!(found, case["knee"].as_f64(), "{}", case["name"]);
    }
    assert!((items(&all, "knees")[0]["knee"].as_f64().unwrap() - 0.22).abs() < 0.005);
}

/// NIST StRD, non-linear regression: BoxBOD (higher difficulty) and Misra1a (lower), certified to 11 digits.
#[test]
fn the_saturating_law_has_nists_certified_coefficients() {
    let all = vectors();
    for case in items(&all, "saturating") {
        let law = saturating::fit(&points(case, "x", "y")).unwrap();
        let want = numbers(&case["certified"]);
        near(law.b1, want[0], 1e-9);
        near(law.b2, want[1], 1e-9);
        near(law.squares, want[2], 1e-9);
    }
}

/// statsmodels multipletests(method='holm').
#[test]
fn families_of_tests_are_adjusted_as_holm_did() {
    let all = vectors();
    for case in items(&all, "holm") {
        for (got, want) in holm::adjusted(&numbers(&case["p"])).into_iter().zip(numbers(&case["adjusted"])) {
            near(got, want, 1e-12);
        }
    }
}

/// Fieller 1954 (J. R. Stat. Soc. B 16:175-185), another road to the same interval: within 2e-4 at spreads up to 1%, and
/// within 2e-3 at 2% with three passes.
#[test]
fn the_interval_of_logs_is_near_fiellers() {
    let all = vectors();
    for case in items(&all, "fieller") {
        let found = ratio(&numbers(&case["a"]), &numbers(&case["b"])).bounds.unwrap().interval;
        let bound = if case["spread"].as_f64().unwrap() > 0.01 { 2e-3 } else { 6e-4 };
        let want = numbers(&case["interval"]);
        near(found.low, want[0], bound);
        near(found.high, want[1], bound);
    }
}

/// numpy and scipy.stats.t, written apart.
#[test]
fn leads_of_readers_are_weighted_geometric_means() {
    let all = vectors();
    for case in items(&all, "leads") {
        let plays: Vec<(f64, Option<Ratio>)> = items(case, "plays")
            .iter()
            .map(|p| (p["weight"].as_f64().unwrap(), Some(ratio(&numbers(&p["a"]), &numbers(&p["b"])))))
            .collect();
        let found = reader::lead(&plays).ratio.unwrap();
        near(found.ratio, case["ratio"].as_f64().unwrap(), 1e-13);
        let (interval, want) = (found.bounds.unwrap().interval, numbers(&case["interval"]));
        near(interval.low, want[0], 1e-9);
        near(interval.high, want[1], 1e-9);
    }
}

/// Common practice, no source: 575 W at 93 fps is 6.18 J a frame, 450 W at 96 fps 4.69, 24% less.
#[test]
fn energy_of_a_frame_is_watts_over_frames() {
    let (stock, tuned): (f64, f64) = (575.0 / 93.0, 450.0 / 96.0);
    assert!((stock - 6.18).abs() < 0.005 && (tuned - 4.69).abs() < 0.005);
    assert!((1.0 - tuned / stock - 0.24).abs() < 0.005);
}

/// Common practice, no source: the lead of a part is 28% without upscaling and 24% with, 29% and 21% in the lows.
#[test]
fn a_lead_that_shrinks_is_a_ratio_of_ratios() {
    for (without, with, change) in [(1.28, 1.24, 0.96875), (1.29, 1.21, 0.93798)] {
        let lead = |r: f64| ratio(&[100.0, 100.1, 99.9], &[100.0 * r, 100.1 * r, 99.9 * r]);
        let found = lead(with).over(&lead(without));
        near(found.ratio, change, 1e-5);
        assert!(!found.bounds.unwrap().interval.holds(1.0), "shown to shrink");
    }
}

/// Common practice, no source: a card at 400, 450, 500 and 575 W gives 83, 88, 91 and 93 fps: the gain falls off after
/// about 500 W.
#[test]
fn the_gain_of_more_watts_falls_off_where_the_trade_says() {
    let curve = fit(&[(400.0, 83.0), (450.0, 88.0), (500.0, 91.0), (575.0, 93.0)]).unwrap();
    let for_ten_watts = |at| curve.marginal(at).unwrap() * 10.0;
    near(for_ten_watts(425.0), 1.0, 1e-9);
    near(for_ten_watts(475.0), 0.6, 1e-9);
    near(for_ten_watts(550.0), 2.0 / 7.5, 1e-9);
    let knee = knee::knee(&curve).unwrap();
    assert!((knee.watts - 500.0).abs() < 1.0, "{knee:?}");
    assert_eq!(knee.range, (400.0, 575.0));
}

/// Common practice, no source: latency 31, 36, 39 and 40 ms at factors 1 to 4: each step costs less than the one before.
#[test]
fn steps_of_the_factor_cost_what_the_delays_differ_by() {
    let delay = |ms: f64| {
        let passes = [ms * 0.999, ms, ms * 1.001].map(|v| PassLog::new(v, 1, 1, true).unwrap());
        cell::value(&passes, &Local::default()).unwrap()
    };
    let delays = [31.0, 36.0, 39.0, 40.0].map(delay);
    for (pair, step) in delays.windows(2).zip([5.0, 3.0, 1.0]) {
        let found = difference(&pair[0], &pair[1]);
        near(found.value, step, 1e-3);
        assert!(found.interval.unwrap().holds(step));
    }
    near(difference(&delays[0], &delays[3]).value, 9.0, 1e-3);
}
