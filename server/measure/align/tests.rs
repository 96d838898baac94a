//! Alignment on known offsets and drifts, on loads that give no answer, on real captures, and against numpy and scipy.

use std::io::Cursor;

use serde_json::Value;

use super::*;
use crate::intake::{Known, Outcome, read_log};
use crate::recording::{Track, Unit};
use crate::stats::correlation::pearson;
use crate::stats::rng::{Streams, unit};

const MS: i64 = 1_000_000;

fn read(bytes: &[u8]) -> Recording {
    let mut reading = read_log(&mut Cursor::new(bytes), "log", &Known::default()).unwrap();
    let Outcome::Read { mut segments, .. } = reading.members.remove(0).outcome else { panic!("it is read") };
    segments.remove(0).recording
}

/// A load of its own in each tenth of a second, from a seed.
fn load(tenths: usize) -> Vec<f64> {
    let mut random = Streams::of(&[b"align"]).stream(0);
    (0..tenths).map(|_| 0.3 + 0.6 * unit(random.bits())).collect()
}

/// Frames of 10 ms whose card is busy for the share that the load gives.
fn frames(load: &[f64], seconds: i64) -> Recording {
    let at_ns: Vec<i64> = (0..seconds * 100).map(|i| i * 10 * MS).collect();
    let share = |t: &i64| load[usize::try_from(t / (100 * MS)).unwrap()];
    let values = at_ns.iter().map(|t| 0.010 * share(t)).collect();
    let track = Track { role: Role::CardWork, unit: Unit::Millisecond, name: "card".into(), values };
    let frame_ns = vec![10 * MS; at_ns.len()];
    Recording { kind: Kind::Frames, wall_start_ns: None, at_ns, frame_ns, tracks: vec![track] }
}

/// A meter that reads each 50 ms what the mean load since the last reading draws; `clock` gives the pass time of its
/// own time.
fn meter(load: &[f64], role: Role, rows: i64, clock: impl Fn(i64) -> i64) -> Recording {
    let at_ns: Vec<i64> = (0..rows).map(|i| i * 50 * MS).collect();
    let of = |t: i64| {
        let span = (t - 50 * MS..t).step_by(1_000_000);
        let tenth = |t: i64| usize::try_from(clock(t).div_euclid(100 * MS)).ok().and_then(|i| load.get(i));
        span.map(|t| 100.0 + 300.0 * tenth(t).copied().unwrap_or(0.0)).sum::<f64>() / 50.0
    };
    let values = at_ns.iter().map(|t| of(*t)).collect();
    let track = Track { role, unit: Unit::Watt, name: "meter".into(), values };
    Recording { kind: Kind::Companion, wall_start_ns: None, at_ns, frame_ns: vec![], tracks: vec![track] }
}

#[test]
fn a_known_offset_is_found_to_a_part_of_a_reading() {
    let load = load(400);
    for offset_ms in [-1000, -237, 0, 412, 3210] {
        let meter = meter(&load, Role::Power, 500, |t| t + offset_ms * MS);
        let found = align(&frames(&load, 30), &meter).unwrap();
        let off = found.placing.offset_ns - offset_ms * MS;
        assert!(off.abs() < 10 * MS && found.by == Role::Power, "{offset_ms}: {found:?}");
        assert!(found.peak > 0.95 && found.sharpness() < 0.5 && found.good_to_ns == 50 * MS, "{found:?}");
    }
}

#[test]
fn drift_is_found_where_the_pass_is_long() {
    let load = load(6100);
    let drift = |t: i64| t - 2000 * MS + t / 10_000;
    let found = align(&frames(&load, 600), &meter(&load, Role::Power, 12_080, drift)).unwrap();
    assert!((found.placing.offset_ns + 2000 * MS).abs() < 15 * MS, "{found:?}");
    assert!((found.placing.drift_ppb - 100_000).abs() < 15_000, "{found:?}");
    let short = align(&frames(&load, 60), &meter(&load, Role::Power, 1300, drift)).unwrap();
    assert_eq!(short.placing.drift_ppb, 0);
}

#[test]
fn a_load_that_repeats_or_has_nothing_to_do_with_it_is_not_placed() {
    let repeats: Vec<f64> = (0..400).map(|i| if i / 10 % 2 == 0 { 0.9 } else { 0.4 }).collect();
    let says = align(&frames(&repeats, 30), &meter(&repeats, Role::Power, 700, |t| t)).unwrap_err();
    assert!(says.starts_with("power follows the work of the frames at several offsets"), "{says}");
    let other: Vec<f64> = load(800).split_off(400);
    let says = align(&frames(&load(400), 30), &meter(&other, Role::Power, 600, |t| t)).unwrap_err();
    assert!(says.starts_with("power does not follow the work of the frames: correlation 0."), "{says}");
    let flat = align(&frames(&load(400), 30), &meter(&[0.5; 400], Role::Power, 300, |t| t)).unwrap_err();
    assert!(flat.contains("does not follow"), "{flat}");
    let bare = Recording { tracks: vec![], ..meter(&other, Role::Power, 600, |t| t) };
    assert_eq!(align(&frames(&other, 30), &bare), Err("it has neither a power nor a load track".to_owned()));
    let short = align(&frames(&other, 2), &meter(&other, Role::Power, 30, |t| t)).unwrap_err();
    assert!(short.contains("too short"), "{short}");
}

#[test]
fn load_answers_where_there_is_no_power_but_only_to_a_second() {
    let load = load(400);
    let found = align(&frames(&load, 30), &meter(&load, Role::Load, 500, |t| t - 700 * MS)).unwrap();
    assert_eq!((found.by, found.good_to_ns), (Role::Load, NS_PER_S));
}

/// Real cards; when each pass began was written down by the recorder. Within one reading of the meter, or no answer.
#[test]
fn real_captures_are_placed_within_one_reading_or_not_at_all() {
    macro_rules! capture {
        ($name:literal, $wall_start:literal) => {
            (
                $wall_start,
                &include_bytes!(concat!("../../../tests/data/captures/whole/", $name, ".csv.gz"))[..],
                &include_bytes!(concat!("../../../tests/data/captures/", $name, "_sensors.csv"))[..],
            )
        };
    }
    let captures = [
        capture!("card-a_glasshouse_2560x1440_p1", "2026-11-24T22:30:33.638Z"),
        capture!("card-a_murmuration_2560x1440_p2", "2026-11-24T22:33:13.278Z"),
        capture!("card-b_murmuration_2560x1440_p2", "2026-11-24T22:41:00.745Z"),
        capture!("card-a_glasshouse_2560x1440_d1", "2026-11-24T22:37:03.678Z"),
    ];
    let mut placed = 0;
    for (wall_start, frames, sensors) in captures {
        let (frames, sensors) = (read(frames), read(sensors));
        let began: jiff::Timestamp = wall_start.parse().unwrap();
        let truth = i128::from(sensors.wall_start_ns.unwrap()) - began.as_nanosecond();
        let Ok(found) = align(&frames, &sensors) else { continue };
        placed += 1;
        let off = i128::from(found.placing.offset_ns) - truth;
        assert!(off.abs() <= i128::from(found.good_to_ns), "{wall_start}: {off} ns, {found:?}");
        assert!(found.good_to_ns <= 110 * MS);
    }
    assert!(placed >= 3, "{placed}");
}

/// Vectors of `make_align_vectors.py`: `numpy.corrcoef` at each of `scipy.signal.correlation_lags`, and where
/// `scipy.signal.correlate` is highest.
#[test]
fn correlations_are_those_of_numpy_and_scipy() {
    let vectors: Value =
        serde_json::from_str(include_str!("../../../tests/reference/vectors/align.json")).unwrap();
    let numbers =
        |v: &Value| -> Vec<f64> { v.as_array().unwrap().iter().map(|v| v.as_f64().unwrap()).collect() };
    for case in vectors.as_array().unwrap() {
        let (a, b) = (numbers(&case["a"]), numbers(&case["b"]));
        let least = usize::try_from(case["least"].as_u64().unwrap()).unwrap();
        let got = moved(&a, &b, least);
        let (lags, want) = (numbers(&case["lags"]), numbers(&case["values"]));
        assert_eq!(got.len(), want.len());
        for ((got, lag), want) in got.iter().zip(lags).zip(want) {
            assert!(got.by as f64 == lag && (got.value - want).abs() < 1e-11, "{got:?} {lag} {want}");
        }
        if let Some(want) = case["highest"].as_f64() {
            let best = highest(&got).unwrap();
            assert!((best.at - want).abs() <= 0.5, "{}", best.at);
        }
    }
    assert_eq!(
        moved(&[1.0, 2.0, 4.0], &[1.0, 2.0, 5.0], 3)[0].value,
        pearson(&[1.0, 2.0, 4.0], &[1.0, 2.0, 5.0]).unwrap()
    );
}
