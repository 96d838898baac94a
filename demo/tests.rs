//! Holds the generated frames and bytes against the stated truth, with the plainest arithmetic there is.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::LazyLock;

use jiff::Timestamp;

use crate::registers::{
    ALDER, BIRCH, CURLEW, CURLEW_NEW_DRIVER, CURLEW_OLD_DRIVER, DRIFTGLASS, DUNLIN, NATIVE, NS_PER_S,
    ORCHARD, QUARRY, TRACED, VELLUM,
};
use crate::{Decision, Demo, DemoPass, FaultKind, bench_week, frames};

const SEED: u64 = 1;

fn now() -> Timestamp {
    Timestamp::from_second(1_795_000_000).unwrap()
}

/// A pass with what its frames in the standard window say.
struct Measured {
    average_fps: f64,
    low_fps: f64,
    span_s: f64,
    shortest_ns: i64,
    longest_ns: i64,
}

struct Week {
    demo: Demo,
    measured: Vec<Measured>,
}

static WEEK: LazyLock<Week> = LazyLock::new(|| week(SEED));

fn week(seed: u64) -> Week {
    let demo = bench_week(seed, now());
    let measured = demo.passes.iter().map(|pass| measure(&demo, pass)).collect();
    Week { demo, measured }
}

fn measure(demo: &Demo, pass: &DemoPass) -> Measured {
    let scene = &demo.scenes[demo.cells[pass.cell].scene];
    let frames = frames::frames(&pass.recipe);
    let rows = frames.at_ns.iter().zip(&frames.frame_ns);
    let in_window = rows.filter(|(at, _)| (scene.window_start_ns..scene.window_end_ns).contains(*at));
    let mut window: Vec<i64> = in_window.map(|(_, &ns)| ns).collect();
    window.sort_unstable();
    let n = window.len();
    let rate = |ns: f64| NS_PER_S as f64 / ns;
    Measured {
        average_fps: rate(window.iter().sum::<i64>() as f64 / n as f64),
        low_fps: rate(window[(n - 1) * 99 / 100] as f64),
        span_s: (frames.at_ns.last().unwrap() + frames.frame_ns.last().unwrap()) as f64 / NS_PER_S as f64,
        shortest_ns: *frames.frame_ns.iter().min().unwrap(),
        longest_ns: *frames.frame_ns.iter().max().unwrap(),
    }
}

fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len() as f64
}

fn variance(values: &[f64]) -> f64 {
    let centre = mean(values);
    values.iter().map(|v| (v - centre) * (v - centre)).sum::<f64>() / (values.len() - 1) as f64
}

impl Week {
    /// Logs of a measure over the sound passes of a stock cell on one rig with one driver.
    fn logs(
        &self,
        cell: (usize, usize, usize),
        rig: usize,
        driver: Option<usize>,
        pick: fn(&Measured) -> f64,
    ) -> Vec<f64> {
        let (part, scene, setting) = cell;
        let driver = driver.unwrap_or(self.demo.piece.drivers[part]);
        let passes = self.demo.passes.iter().zip(&self.demo.truth.passes).zip(&self.measured);
        let wanted = passes.filter(|((pass, truth), _)| {
            let c = &self.demo.cells[pass.cell];
            (c.tuning, c.scene, c.setting, pass.rig, pass.driver) == (part, scene, setting, rig, driver)
                && truth.fault.is_none()
        });
        wanted.map(|(_, measured)| pick(measured).ln()).collect()
    }

    /// Curlew against Dunlin in one scene on alder, log ratio.
    fn lead(&self, scene: usize, setting: usize, pick: fn(&Measured) -> f64) -> f64 {
        let of = |part| mean(&self.logs((part, scene, setting), ALDER, None, pick));
        of(CURLEW) - of(DUNLIN)
    }
}

fn average(measured: &Measured) -> f64 {
    measured.average_fps
}

fn low(measured: &Measured) -> f64 {
    measured.low_fps
}

#[test]
fn the_same_seed_gives_the_same_bytes_in_any_order_and_thread() {
    let again = bench_week(SEED, now());
    let other = bench_week(SEED + 1, now());
    let here: Vec<_> = WEEK.demo.passes.iter().step_by(23).map(|p| (p.log(), p.sensors())).collect();
    let there = std::thread::spawn(move || {
        let mut made: Vec<_> =
            again.passes.iter().step_by(23).rev().map(|p| (p.log(), p.sensors())).collect();
        made.reverse();
        made
    });
    assert!(here == there.join().unwrap());
    for (pass, (log, sensors)) in other.passes.iter().step_by(23).zip(&here) {
        assert!(pass.log() != *log && pass.sensors() != *sensors, "{}", pass.file_name);
    }
}

#[test]
fn passes_are_about_30_s_long_and_the_set_is_small() {
    let mut bytes = 0;
    for (pass, measured) in WEEK.demo.passes.iter().zip(&WEEK.measured) {
        assert!((29.9..31.2).contains(&measured.span_s), "{}: {} s", pass.file_name, measured.span_s);
        assert!(measured.shortest_ns > 500_000, "{}: {} ns", pass.file_name, measured.shortest_ns);
        bytes += pass.log().len();
    }
    assert!((190..=230).contains(&WEEK.demo.passes.len()), "{}", WEEK.demo.passes.len());
    assert!(bytes < 60_000_000, "{bytes}");
}

#[test]
fn every_cell_that_ran_has_its_passes_under_names_of_their_own() {
    let mut numbers: BTreeMap<usize, Vec<u32>> = BTreeMap::new();
    let mut names = BTreeSet::new();
    for pass in &WEEK.demo.passes {
        numbers.entry(pass.cell).or_default().push(pass.number);
        assert!(names.insert(&pass.file_name), "{}", pass.file_name);
    }
    for (n, cell) in WEEK.demo.cells.iter().enumerate() {
        let got = numbers.remove(&n).unwrap_or_default();
        assert_eq!(got, (1..=u32::try_from(got.len()).unwrap()).collect::<Vec<_>>());
        let wanted = if cell.did_not_run.is_empty() { 3..=5 } else { 0..=0 };
        assert!(wanted.contains(&got.len()), "cell {n}: {} passes", got.len());
        assert_eq!(WEEK.demo.truth.cells[n].is_some(), cell.did_not_run.is_empty());
    }
}

#[test]
fn sound_passes_have_the_level_they_were_made_for() {
    for ((pass, truth), measured) in WEEK.demo.passes.iter().zip(&WEEK.demo.truth.passes).zip(&WEEK.measured)
    {
        if truth.fault.is_none() {
            let off = measured.average_fps / truth.average_fps - 1.0;
            // One frame more or less at the edges of the window of 28 s.
            let bound = measured.longest_ns as f64 / (28.0 * NS_PER_S as f64);
            assert!(off.abs() < bound, "{}: {off}", pass.file_name);
        }
    }
}

// Bounds: four standard errors of the mean of the passes for averages; 0.5% of hitches and scatter more for lows.
#[test]
fn cells_have_their_true_average_and_low() {
    for (cell, truth) in WEEK.demo.cells.iter().zip(&WEEK.demo.truth.cells) {
        let Some(truth) = truth.filter(|_| cell.tuning <= 2) else { continue };
        let of = |pick| WEEK.logs((cell.tuning, cell.scene, cell.setting), ALDER, None, pick);
        let (averages, lows) = (of(average), of(low));
        let bound = 4.0 * truth.spread / (averages.len() as f64).sqrt();
        assert!((mean(&averages) - truth.average_fps.ln()).abs() < bound, "{cell:?}");
        let bound = bound + 4.0 * (0.6 * truth.spread + 0.004) / (lows.len() as f64).sqrt() + 0.005;
        assert!((mean(&lows) - truth.low_1_quantile_fps.ln()).abs() < bound, "{cell:?} {truth:?}");
    }
}

#[test]
fn the_curlew_leads_by_the_stated_headlines() {
    for line in &WEEK.demo.truth.headlines {
        let scenes: Vec<usize> = line.scene.map_or((0..8).collect(), |scene| vec![scene]);
        let ratio =
            |pick| mean(&scenes.iter().map(|&s| WEEK.lead(s, line.setting, pick)).collect::<Vec<_>>()).exp();
        if line.scene.is_none() {
            assert!((ratio(average) - line.average_ratio).abs() < 0.01, "{line:?}: {}", ratio(average));
            assert!((ratio(low) - line.low_ratio).abs() < 0.015, "{line:?}: {}", ratio(low));
        }
    }
    assert!((WEEK.lead(ORCHARD, TRACED, average).exp() - 1.23).abs() < 0.03);
    assert!((WEEK.lead(ORCHARD, TRACED, low).exp() - 1.58).abs() < 0.05);
}

#[test]
fn birch_reads_one_per_cent_low() {
    let mut steps = Vec::new();
    for part in [DUNLIN, CURLEW] {
        for scene in 0..8 {
            let on = |rig| WEEK.logs((part, scene, NATIVE), rig, None, average);
            if !on(BIRCH).is_empty() {
                steps.push(mean(&on(BIRCH)) - mean(&on(ALDER)));
            }
        }
    }
    assert_eq!(steps.len(), 8);
    assert!((mean(&steps).exp() - 0.99).abs() < 0.005, "{}", mean(&steps).exp());
}

#[test]
fn the_new_driver_brings_two_and_a_half_per_cent_in_two_scenes() {
    let step = |scene| {
        let with = |driver| mean(&WEEK.logs((CURLEW, scene, NATIVE), ALDER, Some(driver), average));
        (with(CURLEW_NEW_DRIVER) - with(CURLEW_OLD_DRIVER)).exp()
    };
    for &scene in &WEEK.demo.truth.driver_step_scenes {
        assert!((step(scene) - 1.025).abs() < 0.012, "{}", step(scene));
    }
    assert!((step(ORCHARD) - 1.0).abs() < 0.02, "{}", step(ORCHARD));
}

// Welch's t on logs: 2.31 is the 97.5% point, 1.86 the 95% point of Student's t at 8 degrees of freedom
// (NIST/SEMATECH e-Handbook 1.3.6.7.2).
#[test]
fn quarry_is_level_and_driftglass_is_not_settled() {
    let lead = |scene| {
        let of = |part| WEEK.logs((part, scene, NATIVE), ALDER, None, average);
        let (a, b) = (of(CURLEW), of(DUNLIN));
        let error = (variance(&a) / a.len() as f64 + variance(&b) / b.len() as f64).sqrt();
        (mean(&a) - mean(&b), error)
    };
    let (quarry, _) = lead(QUARRY);
    assert!(quarry.abs() < 0.015, "{quarry}");
    let (drift, error) = lead(DRIFTGLASS);
    assert!(drift.abs() < 2.31 * error, "{drift} +- {error}");
    assert!(drift.abs() + 1.86 * error > 1.03_f64.ln(), "{drift} +- {error}");
    let (vellum, error) = lead(VELLUM);
    assert!(vellum > 10.0 * error, "{vellum} +- {error}");
}

#[test]
fn each_kind_of_fault_is_planted_and_moves_what_it_should() {
    let mut seen: BTreeMap<String, u32> = BTreeMap::new();
    for ((pass, truth), measured) in WEEK.demo.passes.iter().zip(&WEEK.demo.truth.passes).zip(&WEEK.measured)
    {
        let Some(fault) = truth.fault else { continue };
        *seen.entry(format!("{:?}", fault.kind)).or_default() += 1;
        let off = measured.average_fps / truth.average_fps - 1.0;
        let frames = frames::frames(&pass.recipe);
        let ends = frames.at_ns.iter().zip(&frames.frame_ns).map(|(at, ns)| at + ns);
        let jump = ends.zip(&frames.at_ns[1..]).map(|(end, next)| next - end).max().unwrap();
        match fault.kind {
            FaultKind::Updater => assert!((-0.06..-0.02).contains(&off), "{off}"),
            FaultKind::Cap => assert!(measured.average_fps < 138.0 && off < -0.03, "{off}"),
            FaultKind::Throttling => assert!((-0.08..-0.03).contains(&off), "{off}"),
            FaultKind::ShaderHitches => assert!((-0.07..-0.01).contains(&off), "{off}"),
            FaultKind::WrongPassage => assert!(off.abs() < 2e-3, "{off}"),
            FaultKind::Gap => assert!((jump - 1_700_000_000).abs() < 100_000_000, "{jump}"),
        }
        assert_eq!(jump > 0, fault.kind == FaultKind::Gap);
    }
    let wanted = [
        ("Cap", 2),
        ("Gap", 1),
        ("ShaderHitches", 4),
        ("Throttling", 2),
        ("Updater", 3),
        ("WrongPassage", 1),
    ];
    assert_eq!(seen, wanted.map(|(kind, n)| (kind.to_owned(), n)).into());
}

/// Stamp and duration of a row in seconds.
fn row(line: &str) -> (f64, f64) {
    let cells: Vec<&str> = line.split([';', '\t']).collect();
    if cells.len() == 3 {
        let number = |text: &str| text.replace(',', ".").parse::<f64>().unwrap() / 1e3;
        return (number(cells[0]), number(cells[1]));
    }
    if cells.len() == 4 {
        return (cells[0].parse().unwrap(), cells[1].parse::<f64>().unwrap() / 1e6);
    }
    let cells: Vec<&str> = line.split(',').collect();
    let stamp = cells[0].parse::<Timestamp>().unwrap().duration_since(now()).as_secs_f64();
    (stamp, cells[1].parse::<f64>().unwrap() / 1e3)
}

#[test]
fn stamps_and_durations_of_each_layout_agree_to_rounding() {
    let mut layouts = BTreeSet::new();
    for (pass, truth) in WEEK.demo.passes.iter().zip(&WEEK.demo.truth.passes) {
        let text = String::from_utf8(pass.log()).unwrap();
        let (header, rows) = text.split_once('\n').unwrap();
        if truth.fault.is_some() || !(layouts.insert(header.to_owned()) || pass.number == 5) {
            continue;
        }
        let rows: Vec<(f64, f64)> = rows.lines().map(row).collect();
        for pair in rows.windows(2) {
            let off = pair[1].0 - pair[0].0 - pair[0].1;
            assert!(off.abs() < 1.7e-6, "{}: {off}", pass.file_name);
        }
    }
    assert_eq!(layouts.len(), 4, "three loggers, one of them also with a column for the delay");
}

#[test]
fn sensor_logs_have_ten_rows_a_second_and_the_true_power() {
    let mut missing = 0;
    for (pass, truth) in WEEK.demo.passes.iter().zip(&WEEK.demo.truth.passes) {
        let Some(bytes) = pass.sensors() else {
            missing += 1;
            continue;
        };
        if truth.fault.is_some() {
            continue;
        }
        let text = String::from_utf8(bytes).unwrap();
        let comma = if text.contains(';') { ';' } else { ',' };
        let watts = |line: &str| line.split(comma).nth(1).unwrap().replace(',', ".").parse::<f64>().unwrap();
        let watts: Vec<f64> = text.lines().skip(1).map(watts).collect();
        assert!((315..335).contains(&watts.len()), "{}", watts.len());
        let wanted = WEEK.demo.truth.cells[pass.cell].unwrap().power_w;
        assert!((mean(&watts) / wanted - 1.0).abs() < 0.008, "{}: {}", pass.file_name, mean(&watts));
        let limit = &WEEK.demo.tunings[WEEK.demo.cells[pass.cell].tuning].power_limit_w;
        assert!(limit.is_none_or(|limit| mean(&watts) < f64::from(limit)));
    }
    assert_eq!(missing, 3);
}

#[test]
fn the_team_rules_only_on_passes_with_a_fault_or_another_driver() {
    let demo = &WEEK.demo;
    let ruled: Vec<&str> = demo
        .decisions
        .iter()
        .filter_map(|d| match d {
            Decision::Ruling { pass, .. } => Some(pass.as_str()),
            _ => None,
        })
        .collect();
    assert_eq!(ruled.len(), 8 + 12);
    for name in ruled {
        let at = demo.passes.iter().position(|pass| pass.file_name == name).unwrap();
        let truth = &demo.truth.passes[at];
        assert!(truth.fault.is_some() || truth.undeclared_driver, "{name}");
    }
}
