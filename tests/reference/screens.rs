//! Checks of the screens and the statistics under them against libraries, a real disturbed pass and invented passes.
//!
//! `vectors/screens.json` is written by `make_screen_vectors.py` with ruptures 1.1.10 (PELT), pymannkendall 1.4.3
//! (Mann-Kendall; Hamed & Rao 1998) and scipy 1.17.1 (Theil-Sen, MAD).

mod screen_passes;

use screen_passes::{Fault, MANNERS, Rng, Scene, pass, sensors};
use serde::Deserialize;
use weighhouse_measure::recording::{Kind, Placed, Placing, Recording};
use weighhouse_measure::screens::{
    CellPass, CellSpread, Flag, FlagKind, Profile, ScreenInput, Spread, Timing, screen_among, screen_cell,
    screen_pass,
};
use weighhouse_measure::stats::changepoint::pelt;
use weighhouse_measure::stats::robust::{mad, median};
use weighhouse_measure::stats::trend::{hamed_rao_factor, mann_kendall, theil_sen};

#[derive(Deserialize)]
struct Case {
    name: String,
    y: Vec<f64>,
    pelt: Vec<Segmentation>,
    mann_kendall: Test,
    hamed_rao_variance: std::collections::BTreeMap<String, f64>,
    theil_sen: Slope,
    median: f64,
    mad: f64,
}

#[derive(Deserialize)]
struct Segmentation {
    min_size: usize,
    penalty: f64,
    ends: Vec<usize>,
}

#[derive(Deserialize)]
struct Test {
    s: f64,
    variance: f64,
    z: f64,
}

#[derive(Deserialize)]
struct Slope {
    slope: f64,
    intercept: f64,
}

#[expect(clippy::unwrap_used, reason = "a broken vector file is a failed test")]
fn cases() -> Vec<Case> {
    let cases: Vec<Case> = serde_json::from_str(include_str!("vectors/screens.json")).unwrap();
    assert_eq!(cases.len(), 8);
    cases
}

fn close(got: f64, want: f64, what: &str) {
    assert!((got - want).abs() <= 1e-9 * want.abs().max(1.0), "{what}: got {got}, want {want}");
}

#[test]
fn segments_end_where_ruptures_ends_them() {
    for case in cases() {
        for s in &case.pelt {
            let got = pelt(&case.y, s.min_size, s.penalty);
            assert_eq!(got, s.ends, "{}: min_size {}, penalty {}", case.name, s.min_size, s.penalty);
        }
    }
}

#[test]
fn trends_are_those_of_pymannkendall_and_scipy() {
    for case in cases() {
        let name = &case.name;
        let got = mann_kendall(&case.y);
        assert_eq!(got.s, case.mann_kendall.s, "{name}");
        close(got.variance, case.mann_kendall.variance, name);
        close(got.z, case.mann_kendall.z, name);
        for (lag, &variance) in &case.hamed_rao_variance {
            let factor = hamed_rao_factor(&case.y, lag.parse().unwrap());
            close(got.variance * factor, variance, &format!("{name}, lag {lag}"));
        }
        let line = theil_sen(&case.y).unwrap();
        close(line.slope, case.theil_sen.slope, name);
        close(line.intercept, case.theil_sen.intercept, name);
    }
}

#[test]
fn medians_and_deviations_are_those_of_numpy_and_scipy() {
    for case in cases() {
        close(median(&case.y), case.median, &case.name);
        close(mad(&case.y), case.mad, &case.name);
    }
}

/// NIST/SEMATECH e-Handbook 1.3.5.17.1: mass spectrometer data; 245.57 is the outlier at 5 %.
#[test]
fn the_odd_one_of_the_nist_example_is_found() {
    let values = [199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57];
    let recording = recording(&[10_000; 100]);
    let cell = values.map(|v| CellPass { window: recording.whole(), ln_average: libm::log(v), ln_low: None });
    let odd: Vec<bool> =
        screen_cell(&cell, &CellSpread::default()).into_iter().map(|f| f.is_some()).collect();
    assert_eq!(odd, [false, false, false, false, false, false, false, true]);
}

/// Frames from durations in whole microseconds.
fn recording(us: &[i64]) -> Recording {
    let frame_ns: Vec<i64> = us.iter().map(|d| d * 1000).collect();
    let at_ns = frame_ns
        .iter()
        .scan(0, |t, d| {
            *t += d;
            Some(*t - d)
        })
        .collect();
    Recording { kind: Kind::Frames, wall_start_ns: None, at_ns, frame_ns, tracks: vec![] }
}

fn input(recording: &Recording) -> ScreenInput<'_> {
    ScreenInput { recording, window: recording.whole(), companions: &[] }
}

#[expect(clippy::unwrap_used, reason = "a broken data file is a failed test")]
fn real(text: &str) -> Recording {
    recording(&text.lines().map(|l| l.parse().unwrap()).collect::<Vec<i64>>())
}

/// A real pass during which a second program used the card (see `tests/data/screens/README.md`).
#[test]
fn a_real_disturbance_is_found_within_half_a_second_at_both_ends() {
    let disturbed = real(include_str!("../data/screens/glasshouse_d1_us.txt"));
    let sound = real(include_str!("../data/screens/glasshouse_p2_us.txt"));
    let medians: std::collections::BTreeMap<String, Vec<i64>> =
        serde_json::from_str(include_str!("../data/screens/glasshouse_medians_ns.json")).unwrap();
    let more: Vec<Profile> = medians
        .into_values()
        .map(|median_ns| Profile {
            start_ns: 0,
            end_ns: 15_000_000_000,
            lost_ns: vec![0; median_ns.len()],
            median_ns,
            processor_ns: vec![],
        })
        .collect();
    let among = |own: &Recording, other: &Recording| {
        let other = Profile::of(&input(other));
        let siblings: Vec<&Profile> = std::iter::once(&other).chain(&more).collect();
        screen_among(&screen_pass(&input(own)), &Profile::of(&input(own)), &siblings, Timing::Fixed)
    };
    let found = among(&disturbed, &sound);
    assert_eq!(found.len(), 1, "{found:?}");
    assert_eq!(found[0].kind, FlagKind::LevelStep);
    assert!((found[0].start_ns - 6_328_200_000).abs() < 500_000_000, "{}", found[0].says);
    assert!((found[0].end_ns - 10_330_900_000).abs() < 500_000_000, "{}", found[0].says);
    assert_eq!(among(&sound, &disturbed), []);
}

/// All flags of each pass of a cell.
fn screen(passes: &[Recording], timing: Timing) -> Vec<Vec<Flag>> {
    let profiles: Vec<Profile> = passes.iter().map(|r| Profile::of(&input(r))).collect();
    (0..passes.len())
        .map(|i| {
            let siblings: Vec<&Profile> =
                (0..profiles.len()).filter(|j| *j != i).map(|j| &profiles[j]).collect();
            screen_among(&screen_pass(&input(&passes[i])), &profiles[i], &siblings, timing)
        })
        .collect()
}

/// The larger table is printed by the example `screen_table`.
#[test]
fn plain_faults_are_found_in_every_manner_of_pass_and_clean_ones_are_seldom_flagged() {
    let (mut clean, mut flagged) = (0, 0);
    for (m, manner) in (0_u64..).zip(MANNERS) {
        // A strong creep may be told as a step: which of the two fits better is up to chance.
        let creep = [FlagKind::SlowDrift, FlagKind::LevelStep];
        let faults = [
            (&creep[1..], Fault::Step { from: 11.3, seconds: 8.0, factor: 1.6 }),
            (&creep[..], Fault::Drift(0.3)),
            (&[FlagKind::HitchCluster], Fault::Cluster { from: 14.0, hitches: 16 }),
            (&[FlagKind::HitchCluster], Fault::Freeze { from: 14.0, seconds: 1.5 }),
            (&[FlagKind::FrameCap], Fault::Cap(2.0 / manner.rate())),
            (&[FlagKind::Gap], Fault::Gap { from: 17.0, seconds: 0.5 }),
            (&[FlagKind::WarmUp, FlagKind::LevelStep], Fault::WarmUp { seconds: 7.0, factor: 2.0 }),
            (&[FlagKind::PeriodicHitching], Fault::Timer { every: 1.0 }),
            (&[FlagKind::Cadence], Fault::Pairs(0.2)),
            (
                &[FlagKind::BackgroundLoad],
                Fault::Background { from: 11.3, seconds: 8.0, work: 1.5, factor: 1.1 },
            ),
        ];
        for (f, (kinds, fault)) in (0_u64..).zip(faults) {
            let mut rng = Rng::new(100 * m + f);
            let scene = Scene::new(manner, 30.0, &mut rng);
            let passes: Vec<Recording> =
                [fault, Fault::None, Fault::None, Fault::None].map(|x| pass(&scene, x, &mut rng)).into();
            let found = screen(&passes, manner.timing());
            let told = found[0].iter().any(|x| kinds.contains(&x.kind));
            assert!(told, "{}: {fault:?} gave {:?}", manner.name, found[0]);
            clean += 3;
            flagged += found[1..].iter().map(Vec::len).sum::<usize>();
        }
    }
    assert!(flagged * 100 <= clean * 5, "{flagged} flags on {clean} clean passes");
}

/// By whatever name: which one fits best depends on the scene.
#[test]
fn a_passage_that_begins_elsewhere_in_the_scene_is_flagged() {
    for (m, manner) in (0_u64..).zip(MANNERS) {
        let mut rng = Rng::new(900 + m);
        let scene = Scene::new(manner, 30.0, &mut rng);
        let passes: Vec<Recording> = [Fault::Later(17.0), Fault::None, Fault::None, Fault::None]
            .map(|x| pass(&scene, x, &mut rng))
            .into();
        assert_ne!(screen(&passes, manner.timing())[0], [], "{}", manner.name);
    }
}

#[test]
fn a_part_whose_clock_falls_while_it_is_hot_is_told_to_throttle() {
    let kinds = |fault: Fault| -> Vec<FlagKind> {
        let mut rng = Rng::new(31);
        let scene = Scene::new(MANNERS[0], 30.0, &mut rng);
        let frames = pass(&scene, fault, &mut rng);
        let sensors = sensors(&scene, fault, &mut rng);
        let at_once = Placing { offset_ns: 0, drift_ppb: 0 };
        let companions = [Placed { recording: &sensors, placing: at_once }];
        let input = ScreenInput { companions: &companions, ..input(&frames) };
        screen_pass(&input).into_iter().map(|flag| flag.kind).collect()
    };
    assert_eq!(kinds(Fault::Throttle { from: 20.0, seconds: 99.0, clock: 0.9 }), [FlagKind::Throttling]);
    assert_eq!(kinds(Fault::None), []);
}

/// A level of its own is no step: that is a matter for the cell's measures.
#[test]
fn a_pass_that_is_slower_throughout_has_no_step() {
    let mut rng = Rng::new(5);
    let scene = Scene::new(MANNERS[0], 30.0, &mut rng);
    let passes: Vec<Recording> =
        [Fault::Level(1.08), Fault::None, Fault::None, Fault::None].map(|x| pass(&scene, x, &mut rng)).into();
    assert_eq!(screen(&passes, Timing::Fixed)[0], []);
}

/// A fault that makes a whole pass 5 % slower or faster is found alike and told alike.
#[test]
fn the_odd_pass_is_told_without_its_side() {
    let spread = CellSpread { average: Some(Spread { sd: 0.004, df: 30.0 }), low: None };
    let whole = recording(&[10_000; 100]).whole();
    let says = |factor: f64| {
        let averages = [100.0, 100.3, 99.8, 100.0333 * factor];
        let cell = averages.map(|a| CellPass { window: whole, ln_average: libm::log(a), ln_low: None });
        let mut found = screen_cell(&cell, &spread);
        assert!(found[..3].iter().all(Option::is_none));
        found.remove(3).unwrap().says
    };
    assert_eq!(says(1.05), says(1.0 / 1.05));
}
