//! Readings and soaks against numpy, scipy's Student t and pymser. Vectors are made by `make_reading_vectors.py`, which
//! says how and by which formulas.

#![expect(clippy::unwrap_used, reason = "a vector that cannot be read fails its test")]

use serde_json::Value;
use weighhouse_measure::readings::soak::{BLOCK_S, Steady, blocks, steady};
use weighhouse_measure::readings::{Repeat, Scale, told};

fn vectors() -> Value {
    serde_json::from_str(include_str!("vectors/readings.json")).unwrap()
}

fn cases(name: &str) -> Vec<Value> {
    vectors()[name].as_array().unwrap().clone()
}

fn numbers(v: &Value) -> Vec<f64> {
    v.as_array().unwrap().iter().map(|x| x.as_f64().unwrap()).collect()
}

#[track_caller]
fn near(got: f64, want: f64) {
    assert!((got - want).abs() <= 1e-9 * want.abs(), "{got} is not {want}");
}

fn held(scale: Scale, case: &Value, step: f64) {
    let background = case["background"].as_f64();
    let repeats: Vec<Repeat> =
        numbers(&case["values"]).into_iter().map(|value| Repeat { value, step, background }).collect();
    let told = told(scale, &repeats).unwrap();
    near(told.value, case["mean"].as_f64().unwrap());
    let interval = told.interval.unwrap();
    near((interval.high - interval.low) / 2.0, case["half"].as_f64().unwrap());
}

/// numpy and scipy, JCGM 100:2008, F.2.2.1 and G.4.1.
#[test]
fn amounts_have_the_mean_and_the_interval_of_scipy() {
    for case in cases("amounts") {
        held(Scale::Amount, &case, case["step"].as_f64().unwrap());
    }
}

/// ISO 3744:2010, 8.2.3, and ISO 1996 written out in numpy.
#[test]
fn levels_have_the_energy_mean_without_their_background() {
    for case in cases("levels") {
        held(Scale::Level, &case, 0.1);
    }
}

/// pymser's marginal standard errors, over cuts in the first half, asked again where it cuts there.
#[test]
fn a_soak_is_steady_from_where_pymser_truncates_it() {
    let mut steady_ones = 0;
    for case in cases("soaks") {
        let values = numbers(&case["values"]);
        let at_s: Vec<f64> = (0..values.len()).map(|at| at as f64).collect();
        if let Steady::Holds { from_s, .. } = steady(&blocks(&at_s, &values)) {
            near(from_s, case["cut"].as_f64().unwrap() * BLOCK_S);
            steady_ones += 1;
        }
    }
    assert!(steady_ones >= 3, "{steady_ones}");
}
