//! What the words of a header hint at. A hint alone decides nothing: [`super::evidence`] holds it against the data.
//!
//! The words are ordinary English for quantities and the usual unit signs, never the names that some program gives
//! to its columns.

use crate::recording::{Role, Unit};

/// Hints from one header.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Hints {
    /// A unit sign in brackets or as the last word.
    pub unit: Option<Unit>,
    /// A quantity word.
    pub role: Option<Role>,
    /// The word `frame` stands in it.
    pub frame: bool,
    /// It speaks of an end, not of a start.
    pub end: bool,
}

/// Reads the hints of a header.
pub fn hints(name: &str) -> Hints {
    let (outside, bracket) = split_bracket(name);
    let words = split_words(outside);
    let unit = match bracket {
        Some(inside) => unit_sign(inside.trim()),
        None => words.last().and_then(|w| unit_sign(w)),
    };
    let has = |list: &[&str]| words.iter().any(|w| list.contains(&w.as_str()));
    let worked = has(&["work", "busy", "active", "gpu", "cpu", "card", "processor", "render", "renderer"]);
    let time = unit.is_some_and(is_time);
    let role = match unit {
        Some(Unit::Watt) => Some(Role::Power),
        Some(Unit::Hertz | Unit::Megahertz | Unit::Gigahertz) => Some(Role::Clock),
        Some(Unit::Celsius) => Some(Role::Temperature),
        Some(Unit::FramesPerSecond) => Some(Role::Rate),
        Some(Unit::Percent) if has(&["load", "usage", "use", "utilisation", "utilization", "busy"]) => {
            Some(Role::Load)
        }
        _ if has(&["latency", "delay", "lag"]) => Some(Role::Latency),
        _ if worked && (time || bracket.is_none()) && has(&["cpu", "processor"]) => Some(Role::CpuWork),
        _ if worked && time => Some(Role::CardWork),
        _ => None,
    };
    Hints {
        unit,
        role,
        frame: has(&["frame", "frames", "frametime", "frametimes"]),
        end: has(&["end", "ended", "finish", "finished"]),
    }
}

/// Whether a unit is one of time.
pub fn is_time(unit: Unit) -> bool {
    super::number::exponent(unit).is_some()
}

/// The unit of a sign as people write it.
pub fn unit_sign(sign: &str) -> Option<Unit> {
    Some(match sign.to_lowercase().as_str() {
        "s" | "sec" | "secs" | "second" | "seconds" => Unit::Second,
        "ms" | "msec" | "msecs" | "millisecond" | "milliseconds" => Unit::Millisecond,
        "us" | "µs" | "μs" | "usec" | "usecs" | "microsecond" | "microseconds" => Unit::Microsecond,
        "ns" | "nsec" | "nsecs" | "nanosecond" | "nanoseconds" => Unit::Nanosecond,
        "w" | "watt" | "watts" => Unit::Watt,
        "hz" => Unit::Hertz,
        "mhz" => Unit::Megahertz,
        "ghz" => Unit::Gigahertz,
        "°c" | "ºc" | "c" | "degc" | "celsius" => Unit::Celsius,
        "%" | "pct" | "percent" => Unit::Percent,
        "fps" => Unit::FramesPerSecond,
        _ => return None,
    })
}

fn split_bracket(name: &str) -> (&str, Option<&str>) {
    for (open, close) in [('[', ']'), ('(', ')'), ('{', '}')] {
        if let Some(from) = name.find(open)
            && let Some(length) = name[from..].find(close)
        {
            return (&name[..from], Some(&name[from + open.len_utf8()..from + length]));
        }
    }
    (name, None)
}

/// Lower-case words, cut at every sign that is no letter, digit or unit sign and where `camelCase` turns.
fn split_words(name: &str) -> Vec<String> {
    let mut words = vec![String::new()];
    let mut before_lower = false;
    for c in name.chars() {
        let part = c.is_alphanumeric() || matches!(c, '%' | '°');
        if !part || (before_lower && c.is_uppercase()) {
            words.push(String::new());
        }
        if part && let Some(word) = words.last_mut() {
            word.extend(c.to_lowercase());
        }
        before_lower = c.is_lowercase();
    }
    words.retain(|w| !w.is_empty());
    words
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn units_in_brackets_and_as_last_words() {
        let cases = [
            ("t_start_s", Some(Unit::Second)),
            ("Elapsed [ms]", Some(Unit::Millisecond)),
            ("span_us", Some(Unit::Microsecond)),
            ("core temp [°C]", Some(Unit::Celsius)),
            ("load (%)", Some(Unit::Percent)),
            ("FrameTimeMs", Some(Unit::Millisecond)),
            ("board power, W", Some(Unit::Watt)),
            ("pause", None),
            ("ms of the frame", None),
        ];
        for (name, unit) in cases {
            assert_eq!(hints(name).unit, unit, "{name}");
        }
    }

    #[test]
    fn roles_need_their_unit() {
        assert_eq!(hints("gpu_ms").role, Some(Role::CardWork));
        assert_eq!(hints("card work [ms]").role, Some(Role::CardWork));
        assert_eq!(hints("cpu_ms").role, Some(Role::CpuWork));
        assert_eq!(hints("core clock [MHz]").role, Some(Role::Clock));
        assert_eq!(hints("load [%]").role, Some(Role::Load));
        assert_eq!(hints("load"), Hints::default());
    }
}
