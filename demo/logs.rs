//! The bytes of the logs, in the three layouts of the team's loggers.

use jiff::Timestamp;

use crate::frames::{Recipe, frames, slowdown, whole};
use crate::random::Random;
use crate::registers::NS_PER_S;
use crate::truth::{CAP_FPS, Fault, FaultKind};
use crate::types::DemoPass;

/// How a logger writes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Layout {
    /// Commas, wall-clock stamps, durations and work in ms.
    Bench,
    /// Semicolons and decimal commas, time since the logger's start and durations in ms.
    Case,
    /// Tabs, a monotonic clock in seconds, durations in whole microseconds.
    Older,
}

impl DemoPass {
    /// The frame log, byte for byte.
    pub fn log(&self) -> Vec<u8> {
        frame_log(&self.recipe)
    }

    /// The sensor log of the same pass, from one second before to one second after it; `None` where the logger
    /// did not run.
    pub fn sensors(&self) -> Option<Vec<u8>> {
        self.sensors_name.is_some().then(|| sensor_log(&self.recipe))
    }

    /// Durations of its frames in ns as generated, before a logger rounds them.
    pub fn frame_ns(&self) -> Vec<i64> {
        frames(&self.recipe).frame_ns
    }
}

/// `value` / 10^`places`, with `mark` before the decimals. Values are not negative.
pub fn push_decimal(out: &mut Vec<u8>, value: i64, places: usize, mark: u8) {
    let mut digits = [b'0'; 24];
    let mut from = digits.len();
    let mut rest = value.unsigned_abs();
    while rest > 0 || digits.len() - from <= places {
        from -= 1;
        digits[from] = b"0123456789"[usize::try_from(rest % 10).unwrap_or(0)];
        rest /= 10;
    }
    let point = digits.len() - places;
    out.extend_from_slice(&digits[from..point]);
    if places > 0 {
        out.push(mark);
        out.extend_from_slice(&digits[point..]);
    }
}

/// Writes ISO 8601 stamps in UTC; the text of a second is made once.
pub struct Stamps {
    second: i64,
    text: String,
}

impl Stamps {
    pub fn new() -> Self {
        Self { second: i64::MIN, text: String::new() }
    }

    /// `unit_ns` is what the last decimal stands for, `places` how many there are.
    pub fn push(&mut self, out: &mut Vec<u8>, wall_ns: i64, unit_ns: i64, places: usize) {
        let units = (wall_ns + unit_ns / 2).div_euclid(unit_ns);
        let (second, rest) = (units.div_euclid(NS_PER_S / unit_ns), units.rem_euclid(NS_PER_S / unit_ns));
        if second != self.second {
            self.second = second;
            self.text =
                Timestamp::from_second(second).unwrap_or_default().strftime("%Y-%m-%dT%H:%M:%S").to_string();
        }
        out.extend_from_slice(self.text.as_bytes());
        // A leading 1 keeps the zeros, and the point takes its place.
        let from = out.len();
        push_decimal(out, NS_PER_S / unit_ns + rest, places, b'.');
        out.remove(from);
        out.push(b'Z');
    }
}

const MICROSECOND_NS: i64 = 1_000;
pub const MILLISECOND_NS: i64 = 1_000_000;

/// Nanoseconds to the nearest `unit_ns`.
fn rounded(ns: i64, unit_ns: i64) -> i64 {
    (ns + unit_ns / 2) / unit_ns
}

fn frame_log(recipe: &Recipe) -> Vec<u8> {
    let frames = frames(recipe);
    let mut random = Random::new(recipe.seed, recipe.stream + 10_000);
    let mut stamps = Stamps::new();
    let mut out = Vec::with_capacity(64 * frames.at_ns.len() + 128);
    let latency = recipe.level.latency_ms;
    let header: &[u8] = match recipe.layout {
        Layout::Bench if latency.is_some() => {
            b"moment,span (ms),card busy (ms),processor busy (ms),hand to eye delay (ms)\n"
        }
        Layout::Bench => b"moment,span (ms),card busy (ms),processor busy (ms)\n",
        Layout::Case => b"since start [ms];frame took [ms];card took [ms]\r\n",
        Layout::Older => b"clock_s\tframe_us\tcard_us\tscreen_px\n",
    };
    out.extend_from_slice(header);
    let logger_ran_ns = whole(random.between(2e9, 90e9));
    let mut delay = 0.0;
    for (&at, &duration) in frames.at_ns.iter().zip(&frames.frame_ns) {
        let seconds = at as f64 / NS_PER_S as f64;
        let slower = recipe.fault.map_or(1.0, |f| slowdown(f, seconds));
        let card = whole(duration as f64 * card_share(recipe, slower) * random.between(0.985, 1.01));
        match recipe.layout {
            Layout::Bench => {
                let processor =
                    whole(duration as f64 * processor_share(recipe, slower) * random.between(0.94, 1.03));
                stamps.push(&mut out, recipe.wall_start_ns + at, MICROSECOND_NS, 6);
                for ns in [duration, card, processor] {
                    out.push(b',');
                    push_decimal(&mut out, rounded(ns, 100), 4, b'.');
                }
                if let Some(mean) = latency {
                    delay = 0.9 * delay + 0.5 * random.rough_normal();
                    out.push(b',');
                    push_decimal(&mut out, whole(100.0 * (mean + delay)), 2, b'.');
                }
                out.push(b'\n');
            }
            Layout::Case => {
                push_decimal(&mut out, rounded(logger_ran_ns + at, MICROSECOND_NS), 3, b',');
                for ns in [duration, card] {
                    out.push(b';');
                    push_decimal(&mut out, rounded(ns, MICROSECOND_NS), 3, b',');
                }
                out.extend_from_slice(b"\r\n");
            }
            Layout::Older => {
                push_decimal(&mut out, rounded(logger_ran_ns + at, MICROSECOND_NS), 6, b'.');
                for ns in [duration, card] {
                    out.push(b'\t');
                    push_decimal(&mut out, rounded(ns, MICROSECOND_NS), 0, b'.');
                }
                out.extend_from_slice(b"\t3840\n");
            }
        }
    }
    out
}

/// Share of a frame for which the card works; a busy processor or a cap leaves it waiting.
fn card_share(recipe: &Recipe, slower: f64) -> f64 {
    match recipe.fault {
        Some(Fault { kind: FaultKind::Updater, .. }) => recipe.level.card_share / slower,
        Some(Fault { kind: FaultKind::Cap, .. }) => recipe.level.card_share * capped_share(recipe),
        _ => recipe.level.card_share,
    }
}

fn capped_share(recipe: &Recipe) -> f64 {
    (CAP_FPS / recipe.level.average_fps).min(1.0)
}

/// Share of a frame for which the processor works: nearly all where it is the limit.
fn processor_share(recipe: &Recipe, slower: f64) -> f64 {
    let share = if recipe.level.card_share < 0.95 { 0.96 } else { 0.5 };
    if slower > 1.0 { 0.93 } else { share }
}

fn sensor_log(recipe: &Recipe) -> Vec<u8> {
    let mut random = Random::new(recipe.seed, recipe.stream + 20_000);
    let mut stamps = Stamps::new();
    let mut out = Vec::with_capacity(20_000);
    let (header, comma, mark, end) = match recipe.layout {
        Layout::Case => ("moment;draw [W];core [MHz];heat [°C];busy [%]\r\n", b';', b',', "\r\n"),
        _ => ("moment,board power (W),core clock (MHz),core temperature (°C),load (%)\n", b',', b'.', "\n"),
    };
    out.extend_from_slice(header.as_bytes());
    let mut wander = 0.0;
    let mut at = -NS_PER_S;
    while at < recipe.length_ns + NS_PER_S {
        let seconds = at as f64 / NS_PER_S as f64;
        wander = 0.8 * wander + 0.6 * random.rough_normal();
        let now = sensed(recipe, seconds);
        stamps.push(&mut out, recipe.wall_start_ns + at, MILLISECOND_NS, 3);
        let values = [
            (whole(100.0 * now.power_w * (1.0 + 0.009 * wander)), 2),
            (15 * whole(now.clock_mhz * (1.0 + 0.002 * random.rough_normal()) / 15.0), 0),
            (whole(10.0 * (now.temperature_c + 0.15 * random.rough_normal())), 1),
            (whole((100.0 * now.load + 0.6 * random.rough_normal()).min(100.0)), 0),
        ];
        for (value, places) in values {
            out.push(comma);
            push_decimal(&mut out, value, places, mark);
        }
        out.extend_from_slice(end.as_bytes());
        at += whole(1e8 + 3e6 * random.rough_normal());
    }
    out
}

/// What the sensors would show without noise.
struct Sensed {
    power_w: f64,
    clock_mhz: f64,
    temperature_c: f64,
    load: f64,
}

fn sensed(recipe: &Recipe, seconds: f64) -> Sensed {
    let warmth = 3.0 * libm::exp(-(seconds + 1.0) / 12.0);
    let mut now = Sensed {
        power_w: recipe.level.power_w,
        clock_mhz: recipe.clock_mhz,
        temperature_c: recipe.settles_at_c - warmth,
        load: recipe.level.card_share + 0.02,
    };
    let Some(fault) = recipe.fault else { return now };
    let slower = slowdown(fault, seconds);
    match fault.kind {
        FaultKind::Updater => {
            now.power_w *= 1.0 - 0.55 * (slower - 1.0);
            now.load /= slower;
        }
        FaultKind::Cap => {
            now.load *= capped_share(recipe);
            now.power_w *= 0.35 + 0.65 * capped_share(recipe);
        }
        FaultKind::Throttling => {
            now.clock_mhz /= slower;
            now.power_w /= slower * slower;
            let rise = ((seconds + 1.0) / (fault.start_s + 1.0)).clamp(0.0, 1.0);
            now.temperature_c += (89.0 - now.temperature_c) * rise;
        }
        _ => {}
    }
    now
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn decimals_and_stamps_are_written_in_full() {
        let text = |value, places| {
            let mut out = Vec::new();
            push_decimal(&mut out, value, places, b',');
            String::from_utf8(out).unwrap()
        };
        assert_eq!(text(0, 0), "0");
        assert_eq!(text(7, 3), "0,007");
        assert_eq!(text(123_456, 3), "123,456");
        let mut out = Vec::new();
        let mut stamps = Stamps::new();
        stamps.push(&mut out, 1_000_000_000_000_000_499, MICROSECOND_NS, 6);
        stamps.push(&mut out, 1_000_000_000_999_600_000, MILLISECOND_NS, 3);
        assert_eq!(String::from_utf8(out).unwrap(), "2001-09-09T01:46:40.000000Z2001-09-09T01:46:41.000Z");
    }
}
