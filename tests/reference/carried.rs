//! Spot checks of what was carried over against outside references: statsmodels' two one-sided tests and scipy's Welch test.

#![expect(clippy::unwrap_used, reason = "a vector that cannot be read fails its test")]

use serde_json::Value;
use weighhouse_measure::compare::PassLog;
use weighhouse_measure::compare::carried::{self, Says};
use weighhouse_measure::compare::noise::Local;

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap()
}

fn passes(values: &Value, rig: i64) -> Vec<PassLog> {
    let values = values.as_array().unwrap().iter();
    values.map(|value| PassLog::new(number(value), rig, 1, true).unwrap()).collect()
}

/// `welch` of `make_compare_vectors.py`, taken as spot checks: it holds exactly when statsmodels' larger one-sided p is at
/// most 5%, and is to be run again exactly when it does not and scipy's Welch p is below 5%.
#[test]
fn a_spot_check_says_what_two_one_sided_tests_and_welch_say() {
    let vectors: Value = serde_json::from_str(include_str!("vectors/compare.json")).unwrap();
    let (mut holds, mut again, mut open) = (0, 0, 0);
    for case in vectors["welch"].as_array().unwrap() {
        let (earlier, fresh) = (passes(&case["a"], 1), passes(&case["b"], 2));
        let found = carried::check(&earlier, &fresh, &Local::default(), number(&case["margin"]));
        let (equal, apart) = (number(&case["tost_p"]) <= 0.05, number(&case["p"]) < 0.05);
        match found.says {
            Says::Holds(_) => {
                assert!(equal);
                holds += 1;
            }
            Says::RunAgain { by, .. } => {
                assert!(!equal && apart);
                let wanted = (number(&case["ratio"]) - 1.0).abs();
                assert!((by - wanted).abs() < 1e-12, "{by} is not {wanted}");
                again += 1;
            }
            Says::NotSettled { .. } => {
                assert!(!equal && !apart);
                open += 1;
            }
            Says::NotChecked => panic!("there are passes on both sides"),
        }
    }
    assert!(holds >= 5 && again >= 5 && open >= 1, "the cases show all answers: {holds}, {again}, {open}");
}
