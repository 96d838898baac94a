//! The measures of a pass against outside references: numpy, scipy, arch, certified NIST values, closed forms and
//! facts of the trade; and a golden file that fails when a measure changes without a new version.
//!
//! Vectors are made by `make_vectors.py`, which says how.

#![expect(clippy::unwrap_used, reason = "a vector that cannot be read fails its test")]

use serde_json::{Value, json};
use std::collections::BTreeMap;
use std::path::Path;
use weighhouse_measure::measures::interval::has_interval;
use weighhouse_measure::measures::{Measure, PassInput, PassMeasures, Seed, Tail, measure, versions};
use weighhouse_measure::recording::{Kind, Placed, Placing, Recording, Role, Track, Unit, Window};
use weighhouse_measure::stats::block::stationary_block_length;
use weighhouse_measure::stats::bootstrap::{Lengths, resample};
use weighhouse_measure::stats::rng::{Streams, below};
use weighhouse_measure::stats::sum::{mean, standard_deviation, sum};

fn vectors() -> Value {
    serde_json::from_str(include_str!("vectors/measures.json")).unwrap()
}

fn items(v: &Value) -> &[Value] {
    v.as_array().unwrap()
}

fn numbers(v: &Value) -> Vec<f64> {
    items(v).iter().map(|v| v.as_f64().unwrap()).collect()
}

fn near(what: &str, got: f64, want: f64, relative: f64) {
    assert!((got - want).abs() <= relative * want.abs(), "{what}: got {got}, reference {want}");
}

fn frames(frame_ns: Vec<i64>) -> Recording {
    let at_ns = frame_ns.iter().scan(0, |t, ns| Some(std::mem::replace(t, *t + ns))).collect();
    Recording { kind: Kind::Frames, wall_start_ns: None, at_ns, frame_ns, tracks: vec![] }
}

fn measured(recording: &Recording) -> PassMeasures {
    let seed = Seed { digest: [5; 32], segment: 0 };
    measure(&PassInput { recording, window: recording.whole(), companions: &[], seed })
}

fn passes() -> Vec<(Value, PassMeasures)> {
    let Value::Array(passes) = vectors()["passes"].take() else { unreachable!() };
    let ns = |pass: &Value| items(&pass["frame_ns"]).iter().map(|v| v.as_i64().unwrap()).collect();
    passes.into_iter().map(|pass| (pass.clone(), measured(&frames(ns(&pass))))).collect()
}

/// `scipy.stats.hmean` of the instantaneous rates. 'Common practice, no source': their plain mean is not the average.
#[test]
fn averages_are_the_harmonic_mean_of_rates() {
    for (pass, got) in passes() {
        let average = got.average_fps.unwrap();
        near("average", average, pass["average_fps"].as_f64().unwrap(), 1e-13);
        assert!(pass["trap_mean_of_rates"].as_f64().unwrap() > average * 1.0001);
    }
}

/// Quantile: `numpy.quantile` method linear (Hyndman & Fan 1996 type 7). Tail mean: Acerbi & Tasche 2002, which the script
/// holds against the minimum form of Rockafellar & Uryasev. Time share: numpy's weighted inverted distribution.
#[test]
fn lows_agree_with_numpy() {
    for (pass, got) in passes() {
        for (key, want) in pass["lows"].as_object().unwrap() {
            let low = got.value(Measure::from_key(key).unwrap()).unwrap();
            near(key, low, want.as_f64().unwrap(), 1e-13);
        }
    }
}

/// `numpy.percentile`, and the root mean square of `numpy.diff`.
#[test]
fn percentiles_and_successive_differences_agree_with_numpy() {
    for (pass, got) in passes() {
        let t = got.frame_time_ms.unwrap();
        for (got, want) in [t.p50, t.p95, t.p99, t.p99_9].into_iter().zip(numbers(&pass["percentiles_ms"])) {
            near("percentile", got, want, 1e-13);
        }
        near("successive", got.successive_ms.unwrap(), pass["successive_ms"].as_f64().unwrap(), 1e-12);
    }
}

/// `arch.bootstrap.optimal_block_length` (Politis & White 2004; Patton, Politis & White 2009), on logs of frame times and
/// on autoregressions whose blocks are short, long and at the cap.
#[test]
fn block_lengths_agree_with_arch() {
    for (pass, got) in passes() {
        let length = got.intervals.block_length.unwrap();
        near("block length", length, pass["block_length"].as_f64().unwrap(), 1e-9);
    }
    for block in items(&vectors()["blocks"]) {
        let length = stationary_block_length(&numbers(&block["series"])).unwrap();
        near("block length", length, block["length"].as_f64().unwrap(), 1e-9);
    }
}

/// The standard error of the mean under the stationary bootstrap has a closed form without random numbers (Politis &
/// Romano 1994): 20 000 resamples must come within four standard errors of a standard deviation, 4 / sqrt(2 B).
#[test]
fn resampled_standard_errors_agree_with_the_closed_form() {
    const DRAWS: u32 = 20_000;
    for (i, block) in items(&vectors()["blocks"]).iter().enumerate() {
        let series = numbers(&block["series"]);
        let lengths = Lengths::new(12.0, series.len());
        let streams = Streams::of(&[b"closed form", &[u8::try_from(i).unwrap()]]);
        let means: Vec<f64> = (0..DRAWS)
            .map(|number| {
                let mut drawn = Vec::with_capacity(series.len());
                resample(series.len(), &lengths, &mut streams.stream(u64::from(number)), |range| {
                    drawn.extend_from_slice(&series[range]);
                });
                mean(&drawn).unwrap()
            })
            .collect();
        let tolerance = 4.0 / (2.0 * f64::from(DRAWS)).sqrt();
        near("standard error", standard_deviation(&means).unwrap(), block["se"].as_f64().unwrap(), tolerance);
    }
}

/// Limits by arch's own `StationaryBootstrap`, 20 000 resamples. The 2.5% point of 2 000 normal replicates scatters by
/// sqrt(p q / B) / density = 1.5% of the interval's width; four of those are 6.4% with arch's own scatter. The low's replicates
/// lie in lumps (few frames decide it), so it is allowed twice that.
#[test]
fn intervals_agree_with_arch() {
    let mut seen = 0;
    for (pass, got) in passes().iter().filter(|(pass, _)| pass["interval"].is_array()) {
        let limits = items(&pass["interval"]);
        let ours = [got.intervals.average_fps.unwrap(), got.intervals.lows.low_1_quantile_fps.unwrap()];
        for ((want, ours), allowed) in limits.iter().map(numbers).zip(ours).zip([0.064, 0.128]) {
            let width = want[1] - want[0];
            let worst = (ours.low - want[0]).abs().max((ours.high - want[1]).abs()) / width;
            assert!(worst < allowed, "limits {ours:?}, arch {want:?}: off by {worst} of the width");
            seen += 1;
        }
    }
    assert_eq!(seen, 4);
}

/// The random bits by Python's hashlib and `numpy.random.PCG64DXSM`.
#[test]
fn streams_are_numpys() {
    for stream in items(&vectors()["generator"]) {
        let parts: Vec<&[u8]> =
            items(&stream["parts"]).iter().map(|p| p.as_str().unwrap().as_bytes()).collect();
        let mut ours = Streams::of(&parts).stream(stream["number"].as_u64().unwrap());
        for bits in items(&stream["bits"]) {
            assert_eq!(ours.bits().to_string(), bits.as_str().unwrap());
        }
    }
}

/// NIST Statistical Reference Datasets, univariate: certified mean and standard deviation (data as carried by gsl 2.7.1).
/// The tolerances are what doubles allow for the data as stored: Mavro and Michelson lose digits to their common head.
#[test]
fn certified_means_and_standard_deviations() {
    let sets: Value = serde_json::from_str(include_str!("vectors/nist.json")).unwrap();
    for (name, set) in sets.as_object().unwrap() {
        let data = numbers(&set["data"]);
        near(name, mean(&data).unwrap(), set["mean"].as_f64().unwrap(), 1e-15);
        near(name, standard_deviation(&data).unwrap(), set["sd"].as_f64().unwrap(), 1e-12);
    }
    // Made by rule: one middle value, then 500 pairs around it. The last two cannot do better: 0.1 is not a double.
    let alternating = |middle: f64, low: f64, high: f64| {
        std::iter::once(middle)
            .chain((0..1000).map(|i| if i % 2 == 0 { low } else { high }))
            .collect::<Vec<_>>()
    };
    let rules = [
        ("NumAcc1", vec![10_000_001.0, 10_000_003.0, 10_000_002.0], 10_000_002.0, 1.0, 1e-15),
        ("NumAcc2", alternating(1.2, 1.1, 1.3), 1.2, 0.1, 1e-14),
        ("NumAcc3", alternating(1_000_000.2, 1_000_000.1, 1_000_000.3), 1_000_000.2, 0.1, 1e-9),
        ("NumAcc4", alternating(10_000_000.2, 10_000_000.1, 10_000_000.3), 10_000_000.2, 0.1, 1e-8),
    ];
    for (name, data, certified_mean, certified_sd, allowed) in rules {
        near(name, mean(&data).unwrap(), certified_mean, 1e-15);
        near(name, standard_deviation(&data).unwrap(), certified_sd, allowed);
    }
}

/// Common practice, no source: a 1% low of 94 against 150 fps is +60%, an average of 173 against 221 fps is +28%, and what is
/// 28% faster one way is 21.9% slower the other way. The passes are even, so that each low is its rate.
#[test]
fn facts_of_the_trade() {
    let at = |fps: i64| measured(&frames(vec![1_000_000_000 / fps; 2000]));
    let change = |measure: Measure, from: i64, to: i64| {
        100.0 * (at(to).value(measure).unwrap() / at(from).value(measure).unwrap() - 1.0)
    };
    for low in Measure::all().filter(|m| matches!(m, Measure::Low(..))) {
        assert_eq!(change(low, 94, 150).round(), 60.0, "{}", low.key());
    }
    assert_eq!(change(Measure::AverageFps, 173, 221).round(), 28.0);
    assert_eq!((10.0 * change(Measure::AverageFps, 221, 173)).round(), -217.0);
    assert_eq!((1000.0_f64 * (1.0 / 1.28 - 1.0)).round(), -219.0);
    // Of 100, 40 and 10 units of time for 100 units of work each, the rate is 2.0, not 4.5 (Hoefler & Belli 2015, 3.1.1).
    let uneven = measured(&frames(vec![100_000_000, 400_000_000, 1_000_000_000]));
    assert_eq!(uneven.average_fps, Some(2.0));
}

/// A pass with everything: tracks of its own, a placed companion, hitches; made with whole numbers only.
fn golden() -> PassMeasures {
    let mut random = Streams::of(&[b"golden"]).stream(0);
    let mut load = 0_i64;
    let mut next = |i: usize| {
        load = load * 97 / 100 + i64::try_from(below(random.bits(), 400_000)).unwrap() - 200_000;
        let noise = i64::try_from(below(random.bits(), 900_000)).unwrap();
        8_000_000 + load + noise + if i % 1777 == 900 { 31_000_000 } else { 0 }
    };
    let mut log = frames((0..10_500).map(&mut next).collect());
    let work = |share: f64| log.frame_ns.iter().map(|&ns| ns as f64 * share / 1e9).collect();
    let track = |role, values| Track { role, unit: Unit::None, name: String::new(), values };
    log.tracks = vec![
        track(Role::CpuWork, work(0.5)),
        track(Role::CardWork, work(0.875)),
        track(Role::Latency, work(3.25)),
    ];
    let samples = 0..1000_i64;
    let wave =
        |base: f64| samples.clone().map(|i| base + f64::from(i32::try_from(i * 37 % 64).unwrap())).collect();
    let meter = Recording {
        kind: Kind::Companion,
        wall_start_ns: None,
        at_ns: samples.clone().map(|i| i * 100_000_000).collect(),
        frame_ns: vec![],
        tracks: vec![
            track(Role::Power, wave(300.0)),
            track(Role::Clock, wave(2.5e9)),
            track(Role::Temperature, wave(40.0)),
            track(Role::Load, samples.clone().map(|i| 1.0 - ((i % 8) as f64) / 64.0).collect()),
        ],
    };
    let placing = Placing { offset_ns: -1_234_567_890, drift_ppb: 40_000 };
    let window = Window { start_ns: 500_000_000, end_ns: 88_000_000_000 };
    measure(&PassInput {
        recording: &log,
        window,
        companions: &[Placed { recording: &meter, placing }],
        seed: Seed { digest: [42; 32], segment: 3 },
    })
}

/// Fails when a result changes and its version does not, or when the file was not renewed.
#[test]
fn a_changed_measure_has_a_new_version() {
    let path =
        Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/reference/vectors/golden_measures.json");
    let got = golden();
    for measure in Measure::all() {
        assert!(got.value(measure).is_some(), "the golden pass does not show {}", measure.key());
    }
    let now = json!({ "methods": versions().collect::<BTreeMap<_, _>>(), "measures": got });
    if std::env::var_os("WEIGHHOUSE_RENEW_GOLDEN").is_some() {
        std::fs::write(&path, serde_json::to_string_pretty(&now).unwrap() + "\n").unwrap();
    }
    let then: Value =
        serde_json::from_str(&std::fs::read_to_string(&path).unwrap_or_default()).unwrap_or_default();
    let renew = "renew the file with `WEIGHHOUSE_RENEW_GOLDEN=1 cargo test -p weighhouse-measure --test measures` \
                 and commit it with the change";
    let before: PassMeasures = serde_json::from_value(then["measures"].clone()).unwrap_or_else(|error| {
        panic!("vectors/golden_measures.json cannot be read ({error}): {renew}");
    });
    for measure in Measure::all() {
        let same = got.value(measure) == before.value(measure);
        let same_version = then["methods"][measure.key()] == now["methods"][measure.key()];
        let key = measure.key();
        assert!(
            same || !same_version,
            "{key} was {:?} and is now {:?} under the same version: raise its version in \
             server/measure/measures/catalogue.rs, then {renew}",
            before.value(measure),
            got.value(measure),
        );
    }
    assert!(
        got.intervals == before.intervals || then["methods"]["interval"] != now["methods"]["interval"],
        "an interval changed under the same version: raise INTERVAL_VERSION in \
         server/measure/measures/catalogue.rs, then {renew}"
    );
    assert_eq!(now, then, "the golden file is not of this code: {renew}");
}

/// The golden pass is long enough for all intervals, so that all of them are held.
#[test]
fn the_golden_pass_has_every_interval() {
    let got = golden();
    assert!(Tail::ALL.into_iter().all(|tail| has_interval(got.frames, tail)));
    for measure in Measure::all().filter(|m| matches!(m, Measure::AverageFps | Measure::Low(..))) {
        let (value, interval) = (got.value(measure).unwrap(), got.interval(measure).unwrap());
        assert!(interval.low <= value && value <= interval.high, "{}: {value} {interval:?}", measure.key());
    }
    assert_eq!(sum([got.hitches.unwrap().count as f64]), 6.0);
}
