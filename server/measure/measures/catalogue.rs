//! The list of measures: identifier, name in print, unit, direction and version of each.

use serde::{Deserialize, Serialize};

/// How a low is computed (methods: Hyndman & Fan 1996 type 7; Acerbi & Tasche 2002; share of time).
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
pub enum LowDefinition {
    /// The rate at the type 7 quantile of frame times.
    #[serde(rename = "quantile")]
    Quantile,
    /// The rate of the mean of the slowest frames, the last one by its fraction.
    #[serde(rename = "tail mean")]
    TailMean,
    /// The rate at the frame where the slowest frames have used the share of the time.
    #[serde(rename = "time share")]
    TimeShare,
}

impl LowDefinition {
    /// All three.
    pub const ALL: [LowDefinition; 3] =
        [LowDefinition::Quantile, LowDefinition::TailMean, LowDefinition::TimeShare];

    /// The word that pages, tables and the store use.
    pub fn word(self) -> &'static str {
        match self {
            LowDefinition::Quantile => "quantile",
            LowDefinition::TailMean => "tail mean",
            LowDefinition::TimeShare => "time share",
        }
    }

    /// The definition with this word.
    pub fn from_word(word: &str) -> Option<LowDefinition> {
        LowDefinition::ALL.into_iter().find(|d| d.word() == word)
    }
}

/// The share of slowest frames (or of time) that a low looks at.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
pub enum Tail {
    /// 1%
    OnePercent,
    /// 0.1%
    TenthPercent,
}

impl Tail {
    /// Both.
    pub const ALL: [Tail; 2] = [Tail::OnePercent, Tail::TenthPercent];

    /// The share in thousandths: 10 or 1.
    pub fn permille(self) -> u16 {
        match self {
            Tail::OnePercent => 10,
            Tail::TenthPercent => 1,
        }
    }

    /// The tail of 10 or 1 thousandths.
    pub fn from_permille(permille: i64) -> Option<Tail> {
        Tail::ALL.into_iter().find(|t| i64::from(t.permille()) == permille)
    }
}

/// A number computed from one pass over its window.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(into = "String", try_from = "String")]
pub enum Measure {
    /// Count of frames that start in the window.
    Frames,
    /// Sum of those frames' durations.
    Seconds,
    /// Frames divided by seconds.
    AverageFps,
    /// A low.
    Low(LowDefinition, Tail),
    /// Median frame time.
    FrameTimeP50,
    /// 95th percentile of frame times.
    FrameTimeP95,
    /// 99th percentile of frame times.
    FrameTimeP99,
    /// 99.9th percentile of frame times.
    FrameTimeP999,
    /// Root mean square of the differences between successive frame times.
    SuccessiveMs,
    /// Count of hitches.
    HitchCount,
    /// Longest hitch.
    HitchWorstMs,
    /// Time lost to hitches.
    HitchLostMs,
    /// Mean power.
    PowerW,
    /// Energy divided by frames.
    JoulesPerFrame,
    /// Mean clock.
    ClockMeanHz,
    /// Lowest clock.
    ClockMinHz,
    /// Mean temperature.
    TemperatureMeanC,
    /// Highest temperature.
    TemperatureMaxC,
    /// Mean load.
    LoadMean,
    /// Mean time that a processor worked on a frame.
    CpuWorkMs,
    /// Mean time that the card worked on a frame.
    CardWorkMs,
    /// Mean delay from input to the shown frame.
    LatencyMs,
}

use LowDefinition::{Quantile, TailMean, TimeShare};
use Tail::{OnePercent, TenthPercent};

/// One row of the catalogue.
struct Entry {
    measure: Measure,
    key: &'static str,
    name: &'static str,
    unit: &'static str,
    higher_is_better: Option<bool>,
    version: u32,
}

const fn entry(
    measure: Measure,
    key: &'static str,
    name: &'static str,
    unit: &'static str,
    higher_is_better: Option<bool>,
    version: u32,
) -> Entry {
    Entry { measure, key, name, unit, higher_is_better, version }
}

/// Raise a measure's version (last column) in the same commit that changes any of its results.
#[rustfmt::skip]
const CATALOGUE: [Entry; 27] = [
    entry(Measure::Frames, "frames", "frames", "", None, 1),
    entry(Measure::Seconds, "seconds", "seconds measured", "s", None, 1),
    entry(Measure::AverageFps, "average_fps", "average frame rate", "fps", Some(true), 1),
    entry(Measure::Low(Quantile, OnePercent), "low_1_quantile_fps",
        "1% low: 99% of frames were faster than this rate", "fps", Some(true), 1),
    entry(Measure::Low(TailMean, OnePercent), "low_1_tail_mean_fps",
        "1% low: mean of the slowest 1% of frames", "fps", Some(true), 1),
    entry(Measure::Low(TimeShare, OnePercent), "low_1_time_share_fps",
        "1% low: the slowest frames up to this rate took 1% of the time", "fps", Some(true), 1),
    entry(Measure::Low(Quantile, TenthPercent), "low_01_quantile_fps",
        "0.1% low: 99.9% of frames were faster than this rate", "fps", Some(true), 1),
    entry(Measure::Low(TailMean, TenthPercent), "low_01_tail_mean_fps",
        "0.1% low: mean of the slowest 0.1% of frames", "fps", Some(true), 1),
    entry(Measure::Low(TimeShare, TenthPercent), "low_01_time_share_fps",
        "0.1% low: the slowest frames up to this rate took 0.1% of the time", "fps", Some(true), 1),
    entry(Measure::FrameTimeP50, "frame_time_p50_ms", "median frame time", "ms", Some(false), 1),
    entry(Measure::FrameTimeP95, "frame_time_p95_ms", "95th percentile of frame times", "ms", Some(false), 1),
    entry(Measure::FrameTimeP99, "frame_time_p99_ms", "99th percentile of frame times", "ms", Some(false), 1),
    entry(Measure::FrameTimeP999, "frame_time_p99_9_ms", "99.9th percentile of frame times", "ms", Some(false), 1),
    entry(Measure::SuccessiveMs, "successive_ms", "spread of successive frame times", "ms", Some(false), 1),
    entry(Measure::HitchCount, "hitch_count", "hitches", "", Some(false), 1),
    entry(Measure::HitchWorstMs, "hitch_worst_ms", "longest hitch", "ms", Some(false), 1),
    entry(Measure::HitchLostMs, "hitch_lost_ms", "time lost to hitches", "ms", Some(false), 1),
    entry(Measure::PowerW, "power_w", "mean power", "W", Some(false), 1),
    entry(Measure::JoulesPerFrame, "joules_per_frame", "energy per frame", "J", Some(false), 1),
    entry(Measure::ClockMeanHz, "clock_mean_hz", "mean clock", "Hz", None, 1),
    entry(Measure::ClockMinHz, "clock_min_hz", "lowest clock", "Hz", None, 1),
    entry(Measure::TemperatureMeanC, "temperature_mean_c", "mean temperature", "°C", Some(false), 1),
    entry(Measure::TemperatureMaxC, "temperature_max_c", "highest temperature", "°C", Some(false), 1),
    entry(Measure::LoadMean, "load_mean", "mean load", "", None, 1),
    entry(Measure::CpuWorkMs, "cpu_work_ms", "mean processor work on a frame", "ms", Some(false), 1),
    entry(Measure::CardWorkMs, "card_work_ms", "mean card work on a frame", "ms", Some(false), 1),
    entry(Measure::LatencyMs, "latency_ms", "mean delay from input to the shown frame", "ms", Some(false), 1),
];

/// Version of the interval of one pass: generator, resampling scheme, block length rule.
pub const INTERVAL_VERSION: u32 = 1;

impl Measure {
    /// All measures, in the order of the ledger.
    pub fn all() -> impl Iterator<Item = Measure> {
        CATALOGUE.iter().map(|e| e.measure)
    }

    fn entry(self) -> &'static Entry {
        // A test holds that every measure has its row; the fallback is never reached.
        CATALOGUE.iter().find(|e| e.measure == self).unwrap_or(&CATALOGUE[0])
    }

    /// Identifier in JSON, tables and the store.
    pub fn key(self) -> &'static str {
        self.entry().key
    }

    /// The measure with this identifier.
    pub fn from_key(key: &str) -> Option<Measure> {
        Measure::all().find(|m| m.key() == key)
    }

    /// Spelled out for print; a low's says how it is computed.
    pub fn name(self) -> &'static str {
        self.entry().name
    }

    /// As it is called in a sentence: what a low's name adds on how it is computed is left out.
    pub fn short_name(self) -> &'static str {
        let name = self.name();
        name.split_once(": ").map_or(name, |(short, _)| short)
    }

    /// Unit sign; empty for counts and shares.
    pub fn unit(self) -> &'static str {
        self.entry().unit
    }

    /// Whether more is better; `None` where it is neither (clocks, load, the length of the pass).
    pub fn higher_is_better(self) -> Option<bool> {
        self.entry().higher_is_better
    }

    /// Version of what computes it: part of every cache key and of the methods page.
    pub fn version(self) -> u32 {
        self.entry().version
    }
}

impl From<Measure> for String {
    fn from(measure: Measure) -> String {
        measure.key().to_owned()
    }
}

impl TryFrom<String> for Measure {
    type Error = String;

    fn try_from(key: String) -> Result<Measure, String> {
        Measure::from_key(&key).ok_or_else(|| format!("'{key}' is no measure"))
    }
}

/// Every measure's key with its version, and that of the interval, in the order of the ledger.
pub fn versions() -> impl Iterator<Item = (&'static str, u32)> {
    Measure::all().map(|m| (m.key(), m.version())).chain([("interval", INTERVAL_VERSION)])
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_measure_has_its_own_row_and_key() {
        let mut keys: Vec<_> = Measure::all().map(Measure::key).collect();
        for measure in Measure::all() {
            assert_eq!(Measure::from_key(measure.key()), Some(measure));
        }
        keys.sort_unstable();
        keys.dedup();
        assert_eq!(keys.len(), Measure::all().count());
    }

    #[test]
    fn words_and_shares_come_back() {
        for definition in LowDefinition::ALL {
            assert_eq!(LowDefinition::from_word(definition.word()), Some(definition));
            let json = serde_json::to_string(&definition).unwrap();
            assert_eq!(json, format!("\"{}\"", definition.word()));
        }
        assert_eq!(Tail::from_permille(10), Some(Tail::OnePercent));
        assert_eq!(Tail::from_permille(1), Some(Tail::TenthPercent));
        assert_eq!(Tail::from_permille(5), None);
    }

    #[test]
    fn a_measure_is_its_key_in_json() {
        let low = Measure::Low(LowDefinition::TailMean, Tail::OnePercent);
        assert_eq!(serde_json::to_string(&low).unwrap(), "\"low_1_tail_mean_fps\"");
        assert_eq!(serde_json::from_str::<Measure>("\"low_1_tail_mean_fps\"").unwrap(), low);
        assert!(serde_json::from_str::<Measure>("\"speed\"").is_err());
    }
}
