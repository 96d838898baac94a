//! The numbers computed from one pass over its window.
//!
//! Each is a pure function of the frames in the window and the placed companions, with its source in its own file
//! and its version in the [`catalogue`]. Nothing here leaves out a frame: hitches are counted, never removed.

pub mod catalogue;
pub mod distribution;
pub mod interval;
pub mod pacing;
pub mod rates;
pub mod sampled;
pub mod steps;
pub mod strip;

pub use crate::stats::limits::Interval;
pub use catalogue::{LowDefinition, Measure, Tail, versions};
pub use pacing::{Hitch, Hitches};
pub use rates::FrameTimes;

use crate::recording::{Placed, Recording, Role, Window};
use serde::{Deserialize, Serialize};

/// Names the capture and segment that a pass is cut from, so that its interval's random numbers are its own and the
/// same everywhere.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Seed {
    /// SHA-256 of the capture's bytes.
    pub digest: [u8; 32],
    /// Number of the segment in the capture.
    pub segment: u32,
}

/// What the measures of a pass rest on.
#[derive(Clone, Copy, Debug)]
pub struct PassInput<'a> {
    /// The frames.
    pub recording: &'a Recording,
    /// The part of them that counts.
    pub window: Window,
    /// Logs of other loggers, placed on the pass's clock.
    pub companions: &'a [Placed<'a>],
    /// For the interval's generator.
    pub seed: Seed,
}

/// A value for each low.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Lows<T> {
    /// 1% low, quantile.
    pub low_1_quantile_fps: Option<T>,
    /// 1% low, tail mean.
    pub low_1_tail_mean_fps: Option<T>,
    /// 1% low, time share.
    pub low_1_time_share_fps: Option<T>,
    /// 0.1% low, quantile.
    pub low_01_quantile_fps: Option<T>,
    /// 0.1% low, tail mean.
    pub low_01_tail_mean_fps: Option<T>,
    /// 0.1% low, time share.
    pub low_01_time_share_fps: Option<T>,
}

impl<T: Copy> Lows<T> {
    /// Asks `value` for each low.
    pub fn of(mut value: impl FnMut(LowDefinition, Tail) -> Option<T>) -> Lows<T> {
        use LowDefinition::{Quantile, TailMean, TimeShare};
        use Tail::{OnePercent, TenthPercent};
        Lows {
            low_1_quantile_fps: value(Quantile, OnePercent),
            low_1_tail_mean_fps: value(TailMean, OnePercent),
            low_1_time_share_fps: value(TimeShare, OnePercent),
            low_01_quantile_fps: value(Quantile, TenthPercent),
            low_01_tail_mean_fps: value(TailMean, TenthPercent),
            low_01_time_share_fps: value(TimeShare, TenthPercent),
        }
    }

    /// The one asked for.
    pub fn get(&self, definition: LowDefinition, tail: Tail) -> Option<T> {
        use LowDefinition::{Quantile, TailMean, TimeShare};
        use Tail::{OnePercent, TenthPercent};
        match (definition, tail) {
            (Quantile, OnePercent) => self.low_1_quantile_fps,
            (TailMean, OnePercent) => self.low_1_tail_mean_fps,
            (TimeShare, OnePercent) => self.low_1_time_share_fps,
            (Quantile, TenthPercent) => self.low_01_quantile_fps,
            (TailMean, TenthPercent) => self.low_01_tail_mean_fps,
            (TimeShare, TenthPercent) => self.low_01_time_share_fps,
        }
    }
}

impl<T: Copy> Default for Lows<T> {
    fn default() -> Lows<T> {
        Lows::of(|_, _| None)
    }
}

/// 95% intervals of one pass by itself: they say nothing of the next pass and are shown as 'at least +-'.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Intervals {
    /// Mean length of the resampled blocks, frames.
    pub block_length: Option<f64>,
    /// Of the average.
    pub average_fps: Option<Interval>,
    /// Of the lows; none where fewer than ten frames are in the tail.
    #[serde(flatten)]
    pub lows: Lows<Interval>,
}

/// All measures of a pass. What cannot be had is `None`, never 0.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct PassMeasures {
    /// Frames that start in the window.
    pub frames: usize,
    /// Sum of their durations, s.
    pub seconds: Option<f64>,
    /// Frames divided by seconds, fps.
    pub average_fps: Option<f64>,
    /// The lows, fps.
    #[serde(flatten)]
    pub lows: Lows<f64>,
    /// Percentiles of frame times, ms.
    pub frame_time_ms: Option<FrameTimes>,
    /// Root mean square of successive differences, ms.
    pub successive_ms: Option<f64>,
    /// Frames far longer than their neighbours.
    pub hitches: Option<Hitches>,
    /// Mean power, W.
    pub power_w: Option<f64>,
    /// Energy divided by frames, J.
    pub joules_per_frame: Option<f64>,
    /// Mean clock, Hz.
    pub clock_mean_hz: Option<f64>,
    /// Lowest clock, Hz.
    pub clock_min_hz: Option<f64>,
    /// Mean temperature, degrees Celsius.
    pub temperature_mean_c: Option<f64>,
    /// Highest temperature, degrees Celsius.
    pub temperature_max_c: Option<f64>,
    /// Mean load, a share of 1.
    pub load_mean: Option<f64>,
    /// Mean time a processor worked on a frame, ms.
    pub cpu_work_ms: Option<f64>,
    /// Mean time the card worked on a frame, ms.
    pub card_work_ms: Option<f64>,
    /// Mean delay from input to the shown frame, ms.
    pub latency_ms: Option<f64>,
    /// How sure the average and the lows are, from this pass alone.
    pub intervals: Intervals,
}

impl PassMeasures {
    /// The value of a measure in its unit.
    pub fn value(&self, measure: Measure) -> Option<f64> {
        let times = self.frame_time_ms;
        let hitches = self.hitches.as_ref();
        match measure {
            Measure::Frames => Some(self.frames as f64),
            Measure::Seconds => self.seconds,
            Measure::AverageFps => self.average_fps,
            Measure::Low(definition, tail) => self.lows.get(definition, tail),
            Measure::FrameTimeP50 => times.map(|t| t.p50),
            Measure::FrameTimeP95 => times.map(|t| t.p95),
            Measure::FrameTimeP99 => times.map(|t| t.p99),
            Measure::FrameTimeP999 => times.map(|t| t.p99_9),
            Measure::SuccessiveMs => self.successive_ms,
            Measure::HitchCount => hitches.map(|h| h.count as f64),
            Measure::HitchWorstMs => hitches.and_then(|h| h.worst_ms),
            Measure::HitchLostMs => hitches.map(|h| h.lost_ms),
            Measure::PowerW => self.power_w,
            Measure::JoulesPerFrame => self.joules_per_frame,
            Measure::ClockMeanHz => self.clock_mean_hz,
            Measure::ClockMinHz => self.clock_min_hz,
            Measure::TemperatureMeanC => self.temperature_mean_c,
            Measure::TemperatureMaxC => self.temperature_max_c,
            Measure::LoadMean => self.load_mean,
            Measure::CpuWorkMs => self.cpu_work_ms,
            Measure::CardWorkMs => self.card_work_ms,
            Measure::LatencyMs => self.latency_ms,
        }
    }

    /// The interval of a measure from this pass alone, where it has one.
    pub fn interval(&self, measure: Measure) -> Option<Interval> {
        match measure {
            Measure::AverageFps => self.intervals.average_fps,
            Measure::Low(definition, tail) => self.intervals.lows.get(definition, tail),
            _ => None,
        }
    }
}

/// Computes all measures of a pass.
pub fn measure(input: &PassInput<'_>) -> PassMeasures {
    let recording = input.recording;
    let frames = recording.frame_ns.get(input.window.rows(&recording.at_ns)).unwrap_or_default();
    let intervals = interval::intervals(frames, input.seed, input.window);
    PassMeasures { intervals, ..without_intervals(input) }
}

/// The measures without how sure they are, which takes most of the time.
pub fn without_intervals(input: &PassInput<'_>) -> PassMeasures {
    let recording = input.recording;
    let rows = input.window.rows(&recording.at_ns);
    let frame_ns = recording.frame_ns.get(rows.clone()).unwrap_or_default();
    let at_ns = recording.at_ns.get(rows.clone()).unwrap_or_default();
    let frames = frame_ns.len();
    let total_ns: i64 = frame_ns.iter().sum();
    let slowest_first = rates::slowest_first(frame_ns);

    let seconds = (frames > 0).then(|| total_ns as f64 / 1e9);
    let over = |role| sampled::over_frames(role, recording, rows.clone(), input.companions);
    let work_ms = |role| sampled::mean_per_frame(role, recording, rows.clone()).map(|s| s * 1e3);
    let power_w = over(Role::Power).map(|p| p.mean);
    let clock = over(Role::Clock);
    let temperature = over(Role::Temperature);
    PassMeasures {
        frames,
        seconds,
        average_fps: rates::average_fps(frames, total_ns),
        lows: Lows::of(|definition, tail| rates::low_fps(definition, tail, &slowest_first, frames, total_ns)),
        frame_time_ms: rates::frame_times(&slowest_first),
        successive_ms: pacing::successive_ms(frame_ns),
        hitches: (frames > 0).then(|| pacing::hitches(at_ns, frame_ns, rows.start)),
        power_w,
        joules_per_frame: power_w.zip(seconds).map(|(watts, seconds)| watts * seconds / frames as f64),
        clock_mean_hz: clock.map(|c| c.mean),
        clock_min_hz: clock.map(|c| c.min),
        temperature_mean_c: temperature.map(|t| t.mean),
        temperature_max_c: temperature.map(|t| t.max),
        load_mean: over(Role::Load).map(|l| l.mean),
        cpu_work_ms: work_ms(Role::CpuWork),
        card_work_ms: work_ms(Role::CardWork),
        latency_ms: work_ms(Role::Latency),
        intervals: Intervals::default(),
    }
}
