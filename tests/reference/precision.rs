//! Repeatability, reproducibility and consistency tests against a published study, certified sets and printed tables.

#![expect(clippy::unwrap_used, reason = "a vector that cannot be read fails its test")]

use serde_json::Value;
use weighhouse_measure::stats::consistency::{
    cochran, cochran_limit, grubbs, grubbs_limit, h_limit, k_limit, mandel,
};
use weighhouse_measure::stats::distributions::f_quantile;
use weighhouse_measure::stats::precision::precision;

/// Glucose in serum, four of the five materials of ASTM E691 (8 laboratories, 3 determinations each): A, C, D, E. The
/// values are from memory; that they are right is shown by s_r and s_R, which come out as printed to seven digits.
const GLUCOSE: [(&str, [[f64; 3]; 8], f64, f64); 4] = [
    (
        "A",
        [
            [41.03, 41.45, 41.37],
            [41.17, 42.00, 41.15],
            [41.01, 40.68, 42.66],
            [39.37, 42.37, 42.63],
            [41.88, 41.19, 41.32],
            [43.28, 40.50, 42.28],
            [41.08, 41.27, 39.02],
            [43.36, 42.65, 41.72],
        ],
        1.063224,
        1.063224,
    ),
    (
        "C",
        [
            [132.66, 133.83, 133.10],
            [132.92, 136.90, 136.40],
            [132.61, 135.80, 135.36],
            [138.50, 148.30, 135.69],
            [131.90, 134.14, 133.76],
            [137.21, 135.14, 137.50],
            [130.97, 131.59, 134.92],
            [135.46, 135.14, 133.53],
        ],
        2.750879,
        3.478919,
    ),
    (
        "D",
        [
            [193.71, 193.59, 193.65],
            [190.88, 200.14, 194.30],
            [192.71, 193.28, 190.28],
            [195.85, 196.36, 199.43],
            [192.59, 191.44, 195.12],
            [195.34, 198.26, 198.13],
            [194.66, 191.99, 187.13],
            [197.56, 195.99, 200.82],
        ],
        2.625065,
        3.365713,
    ),
    (
        "E",
        [
            [292.78, 294.09, 292.89],
            [292.27, 309.40, 295.08],
            [295.53, 290.14, 292.34],
            [295.19, 295.44, 296.83],
            [293.93, 292.48, 294.28],
            [297.74, 296.80, 290.33],
            [287.29, 293.76, 289.36],
            [298.46, 295.28, 296.12],
        ],
        3.934974,
        4.192334,
    ),
];

fn vectors() -> Value {
    serde_json::from_str(include_str!("vectors/precision.json")).unwrap()
}

fn number(v: &Value) -> f64 {
    v.as_f64().unwrap()
}

#[track_caller]
fn near(got: f64, want: f64, relative: f64) {
    assert!((got - want).abs() <= relative * want.abs(), "{got} is not {want} to {relative}");
}

/// s_r and s_R as ASTM E691 prints them for its glucose study. Where s_L^2 is negative (material A) both ways of
/// truncating, E691's larger of s_r and s_R and ISO's s_L^2 = 0, give the same.
#[test]
fn the_glucose_study_comes_out_as_printed() {
    for (material, groups, s_r, s_r_between) in GLUCOSE {
        let p = precision(&groups).unwrap();
        near(p.repeatability2.sqrt(), s_r, 5e-7);
        near(p.reproducibility2().sqrt(), s_r_between, 5e-7);
        assert_eq!(p.between_estimate < 0.0, material == "A");
        assert_eq!((p.groups, p.df_within), (8, 16.0));
    }
}

/// The same study: laboratory 4 is odd in material C (h 2.14, k 2.41), laboratory 2 scatters in E (k 2.33); critical h
/// 2.15 and k 2.06 at 0.5%. Cochran's C of both exceeds the 1% value for eight groups of three.
#[test]
fn the_glucose_study_names_its_odd_laboratories() {
    let (c, e) = (&GLUCOSE[1].1, &GLUCOSE[3].1);
    let in_c = mandel(c).unwrap();
    near(in_c.h[3], 2.14, 2.5e-3);
    near(in_c.k[3].unwrap(), 2.41, 2.5e-3);
    near(mandel(e).unwrap().k[1].unwrap(), 2.33, 2.5e-3);
    near(h_limit(8, 0.005).unwrap(), 2.15, 2.5e-3);
    near(k_limit(8, 3, 0.005).unwrap(), 2.06, 2.5e-3);
    for (groups, odd) in [(c, 3), (e, 1)] {
        let worst = cochran(groups).unwrap();
        assert_eq!(worst.at, odd);
        assert!(worst.statistic > cochran_limit(8, 3, 0.01).unwrap());
    }
    let calm = cochran(&GLUCOSE[0].1).unwrap();
    assert!(calm.statistic < cochran_limit(8, 3, 0.05).unwrap());
}

/// Tables of ISO 5725-2 for Cochran (p groups of n) and Grubbs (p means), 5% and 1%. The closed form is a bound: up to
/// 0.001 above the table.
#[test]
fn critical_values_agree_with_the_standards_tables() {
    for (p, n, alpha, table) in [
        (10, 2, 0.05, 0.602),
        (10, 2, 0.01, 0.718),
        (5, 3, 0.01, 0.788),
        (8, 3, 0.05, 0.516),
        (8, 3, 0.01, 0.615),
    ] {
        let limit = cochran_limit(p, n, alpha).unwrap();
        assert!((limit - table).abs() <= 1.5e-3, "C({p}, {n}) at {alpha}: {limit}, table {table}");
    }
    for (p, alpha, table) in [(10, 0.05, 2.290), (10, 0.01, 2.482), (5, 0.01, 1.764)] {
        let limit = grubbs_limit(p, alpha).unwrap();
        assert!((limit - table).abs() <= 5e-4, "G({p}) at {alpha}: {limit}, table {table}");
    }
}

/// NIST/SEMATECH e-Handbook 1.3.5.17.1: G = 2.4687 of the eighth value.
#[test]
fn grubbs_agrees_with_the_handbook() {
    let values = [199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57];
    let worst = grubbs(&values).unwrap();
    assert_eq!(worst.at, 7);
    near(worst.statistic, 2.468765, 1e-6);
    near(grubbs_limit(8, 0.05).unwrap(), 2.126645, 1e-6);
}

/// Certified F and mean square within of the NIST StRD sets.
#[test]
fn analysis_of_variance_agrees_with_nist() {
    for case in vectors()["anova"].as_array().unwrap() {
        let rows = case["groups"].as_array().unwrap();
        let groups: Vec<Vec<f64>> =
            rows.iter().map(|group| group.as_array().unwrap().iter().map(number).collect()).collect();
        let p = precision(&groups).unwrap();
        near(p.f, number(&case["f"]), 1e-9);
        near(p.repeatability2, number(&case["within"]), 1e-9);
    }
}

/// scipy.stats.f.ppf.
#[test]
fn f_quantiles_agree_with_scipy() {
    for case in vectors()["f"].as_array().unwrap() {
        let got = f_quantile(number(&case["p"]), number(&case["df1"]), number(&case["df2"]));
        near(got, number(&case["f"]), 1e-8);
    }
}

/// JCGM 100:2008 (GUM) H.5, table H.9: ten days of five readings each; mean squares give s_B = 42.6 and F = 2.26 where
/// s(means) = 57.1 and the pooled s = 85 (printed from rounded values).
#[test]
fn the_zener_reference_of_the_gum_agrees() {
    let (s_means, s_pooled, k) = (57.1_f64, 84.9_f64, 5.0);
    // Ten groups with exactly these: means on a line, readings at +-s about them.
    let line: Vec<f64> = (0..10).map(|i| f64::from(i) - 4.5).collect();
    let scale = s_means / (line.iter().map(|x| x * x).sum::<f64>() / 9.0).sqrt();
    let pattern = [-1.0, -1.0, 0.0, 1.0, 1.0];
    let groups: Vec<Vec<f64>> =
        line.iter().map(|m| pattern.iter().map(|e| m * scale + e * s_pooled).collect()).collect();
    let p = precision(&groups).unwrap();
    near(p.f, k * s_means * s_means / (s_pooled * s_pooled), 1e-12);
    near(p.f, 2.26, 2e-3);
    near(p.between2().sqrt(), 42.6, 2e-3);
}
