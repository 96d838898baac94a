//! What is true of the demo: the levels that the generator aims at and the faults that it planted.

use crate::registers::{
    ALDER, BIRCH, COMET, CURLEW, CURLEW_OLD_DRIVER, DRIFTGLASS, DUNLIN, LAMPS, NATIVE, ORCHARD, QUARRY,
    REGATTA, SALTMARSH, THOLE, TRACED, UPSCALED, VELLUM,
};
use crate::types::{DemoCell, Tuning};

/// The truth of the whole demo.
#[derive(Clone, Debug)]
pub struct Truth {
    /// One for each cell, in their order; `None` where it did not run.
    pub cells: Vec<Option<CellTruth>>,
    /// One for each pass, in their order.
    pub passes: Vec<PassTruth>,
    /// What the piece should find, stock tunings, declared drivers.
    pub headlines: Vec<Headline>,
    /// Factor of all frame rates on each rig.
    pub rig_factors: Vec<f64>,
    /// Factor of the Curlew's frame rates from its old driver to the new one, in `driver_step_scenes`.
    pub driver_step: f64,
    /// Scenes with the driver step, indices into the scenes.
    pub driver_step_scenes: Vec<usize>,
    /// Tuning at the knee of the Curlew's sweep, index into the tunings.
    pub knee_tuning: usize,
    /// Scene where the processor is the limit, index into the scenes.
    pub processor_limited_scene: usize,
    /// Scene where Curlew against Dunlin is not settled, index into the scenes.
    pub not_settled_scene: usize,
}

/// True levels of a cell on alder with the declared driver.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CellTruth {
    /// Average frame rate over the standard window, fps.
    pub average_fps: f64,
    /// 1% low, quantile definition, fps.
    pub low_1_quantile_fps: f64,
    /// Mean board power, watts.
    pub power_w: f64,
    /// Standard deviation of the logarithm of the average between passes.
    pub spread: f64,
    /// Share of the frame time for which the card works.
    pub card_share: f64,
    /// Mean delay from input to picture, ms, where it was logged.
    pub latency_ms: Option<f64>,
}

/// What is true of one pass.
#[derive(Clone, Debug, PartialEq)]
pub struct PassTruth {
    /// Level that its clean frames were made for, fps: cell, rig, driver and chance of the pass together.
    pub average_fps: f64,
    /// What is wrong with it.
    pub fault: Option<Fault>,
    /// It was recorded with a driver that the piece does not declare.
    pub undeclared_driver: bool,
}

/// A planted fault with its stretch, seconds from the first frame.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fault {
    /// What happens.
    pub kind: FaultKind,
    /// From.
    pub start_s: f64,
    /// To; the end of the pass where it is beyond it.
    pub end_s: f64,
}

/// Kinds of planted fault.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum FaultKind {
    /// A program in the background wakes up: frames take longer for some seconds.
    Updater,
    /// A frame cap at 138 fps was left on.
    Cap,
    /// The card throttles: clocks fall and frames lengthen to the end.
    Throttling,
    /// Another passage of the game was played.
    WrongPassage,
    /// Shaders are compiled: a cluster of hitches near the start.
    ShaderHitches,
    /// The logger missed frames: the clock jumps.
    Gap,
}

/// An expected answer: contender against baseline.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Headline {
    /// Index into the parts.
    pub contender: usize,
    /// Index into the parts.
    pub baseline: usize,
    /// Index into the settings.
    pub setting: usize,
    /// One scene, or the geometric mean over all that both ran.
    pub scene: Option<usize>,
    /// Ratio of the averages.
    pub average_ratio: f64,
    /// Ratio of the 1% lows.
    pub low_ratio: f64,
}

/// Frame rates on birch against alder.
pub const BIRCH_FACTOR: f64 = 0.99;
/// The Curlew's new driver against the old one, in `STEP_SCENES`.
pub const DRIVER_STEP: f64 = 1.025;
const STEP_SCENES: [usize; 2] = [LAMPS, SALTMARSH];
/// Rate of the cap that was left on, fps.
pub const CAP_FPS: f64 = 138.0;

/// Levels of one scene at one setting: the Dunlin's, and the others as ratios to it.
struct Level {
    /// Average of the Dunlin, fps.
    fps: f64,
    /// Its average / its 1% low.
    shape: f64,
    /// Average and low of the Curlew, ratio.
    curlew: (f64, f64),
    /// Average and low of the Thole, ratio.
    thole: (f64, f64),
}

const fn level(fps: f64, shape: f64, curlew: (f64, f64), thole: (f64, f64)) -> Level {
    Level { fps, shape, curlew, thole }
}

/// 2160p native, in the order of the scenes. Geometric means of the Curlew: 1.24 and 1.30, with and without
/// Hollow Regatta.
const NATIVE_LEVELS: [Level; 8] = [
    level(98.0, 1.28, (1.33, 1.36), (0.88, 0.86)),
    level(52.0, 1.55, (1.42, 1.52), (0.64, 0.58)),
    level(78.0, 1.48, (1.35, 1.50), (0.90, 0.86)),
    level(74.0, 1.42, (1.30, 1.31), (0.87, 0.85)),
    level(66.0, 1.38, (1.24, 1.30), (1.0, 1.0)),
    level(92.0, 1.50, (1.0, 1.0), (1.0, 0.995)),
    level(112.0, 1.40, (1.02, 1.05), (0.93, 0.91)),
    level(402.0, 1.55, (1.3333, 1.4712), (0.86, 0.83)),
];

/// 2160p upscaled from 1080p. Geometric means of the Curlew: 1.17 and 1.21.
const UPSCALED_LEVELS: [Level; 8] = [
    level(148.0, 1.30, (1.23, 1.26), (0.90, 0.88)),
    level(88.0, 1.52, (1.30, 1.37), (0.68, 0.63)),
    level(121.0, 1.50, (1.24, 1.33), (0.92, 0.89)),
    level(112.0, 1.44, (1.19, 1.22), (0.88, 0.86)),
    level(104.0, 1.40, (1.17, 1.21), (1.0, 1.0)),
    level(93.0, 1.50, (1.0, 1.0), (1.0, 0.995)),
    level(131.0, 1.42, (1.02, 1.04), (0.95, 0.93)),
    level(450.0, 1.56, (1.247, 1.3036), (0.88, 0.85)),
];

/// Orchard of Static with ray tracing: the feature costs the Dunlin far more than the Curlew in the lows.
const TRACED_LEVEL: Level = level(54.8, 1.75, (1.23, 1.58), (0.58, 0.45));

/// Standard deviation of the log average between passes, in the order of the scenes.
const SPREAD: [f64; 8] = [0.003, 0.003, 0.006, 0.007, 0.005, 0.003, 0.03, 0.003];
/// Share of the rated power that the card draws, in the order of the scenes.
const POWER_SHARE: [f64; 8] = [0.975, 0.985, 0.96, 0.95, 0.97, 0.60, 0.84, 0.78];
/// Frame rate against stock and power in watts of each tuning of the Curlew after stock, in their order.
const SWEEP: [(f64, f64); 5] =
    [(0.88, 347.0), (0.955, 396.0), (0.978, 416.0), (0.989, 445.0), (1.012, 397.0)];
/// Shown frame rate in fps and delay in ms with 1, 2, 3 and 4 frames shown for each rendered one.
const GENERATED: [(f64, f64); 4] = [(67.404, 29.0), (124.0, 34.0), (174.0, 37.0), (220.0, 39.0)];

/// Levels of a cell on alder with the declared driver.
pub fn cell_truth(cell: &DemoCell, tunings: &[Tuning]) -> Option<CellTruth> {
    if !cell.did_not_run.is_empty() {
        return None;
    }
    let part = tunings[cell.tuning].part;
    let level = match cell.setting {
        NATIVE => &NATIVE_LEVELS[cell.scene],
        UPSCALED => &UPSCALED_LEVELS[cell.scene],
        _ => &TRACED_LEVEL,
    };
    let (average, low) = match part {
        DUNLIN => (1.0, 1.0),
        CURLEW => level.curlew,
        _ => level.thole,
    };
    let rated = [400.0, 500.0, 310.0][part];
    let processor_limited = cell.scene == QUARRY;
    let mut truth = CellTruth {
        average_fps: level.fps * average,
        low_1_quantile_fps: level.fps / level.shape * low,
        power_w: rated * POWER_SHARE[cell.scene] * if cell.setting == UPSCALED { 0.96 } else { 1.0 },
        spread: SPREAD[cell.scene],
        card_share: if processor_limited { [0.82, 0.63, 0.91][part] } else { 0.965 },
        latency_ms: None,
    };
    if let Some((rate, watts)) = cell.tuning.checked_sub(THOLE + 1).and_then(|n| SWEEP.get(n)) {
        truth.average_fps *= rate;
        truth.low_1_quantile_fps *= rate;
        truth.power_w = watts * POWER_SHARE[cell.scene] / POWER_SHARE[LAMPS];
    }
    if cell.setting >= TRACED {
        let (shown, delay) = GENERATED[cell.setting - TRACED];
        truth.latency_ms = Some(if part == CURLEW { delay } else { 36.0 });
        if cell.setting > TRACED {
            truth.low_1_quantile_fps *= shown / truth.average_fps;
            truth.average_fps = shown;
        }
    }
    Some(truth)
}

/// Levels of the Dunlin in a scene at the native setting.
pub fn dunlin_at(scene: usize) -> CellTruth {
    let level = &NATIVE_LEVELS[scene];
    CellTruth {
        average_fps: level.fps,
        low_1_quantile_fps: level.fps / level.shape,
        power_w: 400.0 * POWER_SHARE[scene],
        spread: SPREAD[scene],
        card_share: if scene == QUARRY { 0.82 } else { 0.965 },
        latency_ms: None,
    }
}

/// Factor of the frame rate of a pass against its cell's truth, from rig and driver.
pub fn pass_factor(cell: &DemoCell, rig: usize, driver: usize) -> f64 {
    let stepped = driver == CURLEW_OLD_DRIVER && STEP_SCENES.contains(&cell.scene);
    rig_factor(rig) / if stepped { DRIVER_STEP } else { 1.0 }
}

fn rig_factor(rig: usize) -> f64 {
    if rig == BIRCH { BIRCH_FACTOR } else { 1.0 }
}

/// The fault of a pass, from where it was recorded and its number in its cell (stock tunings only).
pub fn planted(part: usize, scene: usize, setting: usize, rig: usize, number: u32) -> Option<Fault> {
    let (kind, start_s, end_s) = match (part, scene, setting, rig, number) {
        (CURLEW, SALTMARSH, NATIVE, ALDER, 4) => (FaultKind::Updater, 21.0, 27.0),
        (DUNLIN, COMET, NATIVE, ALDER, 4) => (FaultKind::Updater, 21.0, 26.0),
        (THOLE, LAMPS, UPSCALED, ALDER, 3) => (FaultKind::Updater, 21.0, 28.0),
        (CURLEW, VELLUM, UPSCALED, ALDER, 2) | (DUNLIN, VELLUM, UPSCALED, ALDER, 3) => {
            (FaultKind::Cap, 0.0, 40.0)
        }
        (CURLEW, REGATTA, NATIVE, BIRCH, 2) => (FaultKind::Throttling, 11.0, 40.0),
        (CURLEW, VELLUM, NATIVE, BIRCH, 2) => (FaultKind::Throttling, 14.0, 40.0),
        (THOLE, SALTMARSH, NATIVE, ALDER, 2) => (FaultKind::WrongPassage, 0.0, 40.0),
        (DUNLIN, LAMPS, NATIVE, ALDER, 1)
        | (DUNLIN, SALTMARSH, UPSCALED, ALDER, 1)
        | (CURLEW, REGATTA, UPSCALED, ALDER, 1)
        | (THOLE, ORCHARD, NATIVE, ALDER, 1) => (FaultKind::ShaderHitches, 1.5, 6.5),
        (DUNLIN, QUARRY, NATIVE, ALDER, 3) => (FaultKind::Gap, 13.0, 14.7),
        _ => return None,
    };
    Some(Fault { kind, start_s, end_s })
}

/// What the piece should find.
pub fn headlines() -> Vec<Headline> {
    let line = |setting, scene, average_ratio, low_ratio| Headline {
        contender: CURLEW,
        baseline: DUNLIN,
        setting,
        scene,
        average_ratio,
        low_ratio,
    };
    let mut lines = vec![line(NATIVE, None, 1.24, 1.30), line(UPSCALED, None, 1.17, 1.21)];
    for (setting, levels) in [(NATIVE, &NATIVE_LEVELS), (UPSCALED, &UPSCALED_LEVELS)] {
        lines.extend(
            levels.iter().enumerate().map(|(scene, l)| line(setting, Some(scene), l.curlew.0, l.curlew.1)),
        );
    }
    lines.push(line(TRACED, Some(ORCHARD), TRACED_LEVEL.curlew.0, TRACED_LEVEL.curlew.1));
    lines
}

/// The truth of cells and passes put together.
pub fn truth(cells: Vec<Option<CellTruth>>, passes: Vec<PassTruth>) -> Truth {
    Truth {
        cells,
        passes,
        headlines: headlines(),
        rig_factors: vec![rig_factor(ALDER), rig_factor(BIRCH)],
        driver_step: DRIVER_STEP,
        driver_step_scenes: STEP_SCENES.to_vec(),
        knee_tuning: THOLE + 3,
        processor_limited_scene: QUARRY,
        not_settled_scene: DRIFTGLASS,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn geometric_mean(values: impl Iterator<Item = f64>) -> f64 {
        let logs: Vec<f64> = values.map(libm::log).collect();
        libm::exp(logs.iter().sum::<f64>() / logs.len() as f64)
    }

    // The tables are what the piece is about: their means are the stated headlines to the digits shown.
    #[test]
    fn scene_ratios_have_the_stated_geometric_means() {
        let lines = headlines();
        for overall in lines.iter().filter(|l| l.scene.is_none()) {
            for skipped in [None, Some(REGATTA)] {
                let of = |pick: fn(&Headline) -> f64| {
                    let scenes = lines.iter().filter(|l| l.setting == overall.setting && l.scene.is_some());
                    geometric_mean(scenes.filter(|l| l.scene != skipped).map(pick))
                };
                assert!((of(|l| l.average_ratio) / overall.average_ratio - 1.0).abs() < 2e-4);
                assert!((of(|l| l.low_ratio) / overall.low_ratio - 1.0).abs() < 2e-4);
            }
        }
    }

    #[test]
    fn the_knee_is_where_the_marginal_gain_falls_most() {
        let points = [SWEEP[0], SWEEP[1], SWEEP[2], SWEEP[3], (1.0, 492.0)];
        let slopes: Vec<f64> = points.windows(2).map(|p| (p[1].0 - p[0].0) / (p[1].1 - p[0].1)).collect();
        assert!(slopes.is_sorted_by(|a, b| a > b), "concave: {slopes:?}");
        let bends: Vec<f64> = slopes.windows(2).map(|s| s[0] / s[1]).collect();
        assert!(bends[1] > bends[0] && bends[1] > bends[2], "{bends:?}");
    }
}
