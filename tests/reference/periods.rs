//! Folded event times and truncation points against libraries.
//!
//! `vectors/periods.json` is written by `make_period_vectors.py` with astropy 8.0.2 (mean resultant lengths, of which
//! `Z^2_m` is made), scipy 1.17.1 (chi-square tails) and pymser 1.0.22 (marginal standard errors).

use serde::Deserialize;
use weighhouse_measure::stats::periodicity::{chance, z_squared};
use weighhouse_measure::stats::truncation::mser;

#[derive(Deserialize)]
struct Vectors {
    folds: Vec<Events>,
    truncations: Vec<Start>,
}

#[derive(Deserialize)]
struct Events {
    name: String,
    times: Vec<f64>,
    at: Vec<Fold>,
}

#[derive(Deserialize)]
struct Fold {
    frequency: f64,
    z1: f64,
    z2: f64,
    chance1: f64,
    chance2: f64,
}

#[derive(Deserialize)]
struct Start {
    name: String,
    y: Vec<f64>,
    cut: usize,
}

#[expect(clippy::unwrap_used, reason = "a broken vector file is a failed test")]
fn vectors() -> Vectors {
    serde_json::from_str(include_str!("vectors/periods.json")).unwrap()
}

fn close(got: f64, want: f64, what: &str) {
    assert!((got - want).abs() <= 1e-9 * want.abs().max(1e-9), "{what}: got {got}, want {want}");
}

#[test]
fn folded_times_are_those_of_astropy_and_their_chances_scipys() {
    let folds = vectors().folds;
    assert_eq!(folds.len(), 3);
    for events in folds {
        for fold in events.at {
            let what = format!("{} at {} Hz", events.name, fold.frequency);
            for (m, z, chance_of) in [(1, fold.z1, fold.chance1), (2, fold.z2, fold.chance2)] {
                let got = z_squared(&events.times, fold.frequency, m);
                assert!((got - z).abs() < 1e-7, "{what}: got {got}, want {z}");
                close(chance(z, m), chance_of, &what);
            }
        }
    }
}

#[test]
fn starts_are_cut_where_pymser_cuts_them() {
    let starts = vectors().truncations;
    assert_eq!(starts.len(), 3);
    for start in starts {
        assert_eq!(mser(&start.y), start.cut, "{}", start.name);
    }
}
