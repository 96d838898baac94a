//! What the words of a header hint at. A hint alone decides nothing: [`super::evidence`] holds it against the data.
//!
//! The words are ordinary English, German, French and Spanish for quantities, and the usual unit signs; never the
//! names that some program gives to its columns.

use crate::recording::{Role, Unit};

/// Hints from one header.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Hints {
    /// A unit sign in brackets or as the last word.
    pub unit: Option<Unit>,
    /// A quantity with its unit.
    pub role: Option<Role>,
    /// A word for frame stands in it.
    pub frame: bool,
    /// A word for a duration.
    pub duration: bool,
    /// A word for time or a moment.
    pub time: bool,
    /// It speaks of an end, not of a start.
    pub end: bool,
    /// A word for power, clock, temperature or load, with or without unit.
    pub sensor: bool,
    /// A word for an average, an extreme or a percentile: a result, not what one row is.
    pub statistic: bool,
    /// A word for a limit or a target.
    pub limit: bool,
    /// A word for program or process.
    pub program: bool,
    /// A word for dropped.
    pub dropped: bool,
    /// The sign of a quantity that times nothing (joules, bytes, volts...).
    pub foreign: bool,
}

/// Words of one meaning. An entry that ends in `*` is found at the beginning or the end of longer words too, for
/// languages that write words together.
type Words = &'static [&'static str];

const FRAME: Words =
    &["frame*", "frames", "bild*", "bilder", "image", "images", "cuadro", "cuadros", "fotograma*", "trame"];
const DURATION: Words = &[
    "time",
    "times",
    "duration",
    "took",
    "interval",
    "delta",
    "dt",
    "span",
    "frametime",
    "frametimes",
    "zeit*",
    "dauer*",
    "intervall",
    "durée",
    "duree",
    "temps",
    "intervalle",
    "duración",
    "duracion",
    "tiempo",
    "intervalo",
];
const TIME: Words = &[
    "time",
    "times",
    "elapsed",
    "t",
    "timestamp*",
    "stamp",
    "at",
    "when",
    "start",
    "begun",
    "began",
    "clock",
    "zeit*",
    "zeitpunkt",
    "uhrzeit",
    "beginn",
    "temps",
    "écoulé",
    "ecoule",
    "horodatage",
    "heure",
    "début",
    "tiempo",
    "transcurrido",
    "hora",
    "inicio",
    "date",
    "datum",
    "fecha",
];
const LATENCY: Words = &[
    "latency",
    "delay",
    "lag",
    "latenz*",
    "verzögerung*",
    "verzoegerung*",
    "latence",
    "délai",
    "latencia",
    "retraso",
];
const PROCESSOR: Words = &["cpu", "processor", "prozessor*", "processeur", "procesador"];
const WORKED: Words = &[
    "work",
    "busy",
    "active",
    "gpu",
    "card",
    "render",
    "renderer",
    "arbeit*",
    "grafik*",
    "karte*",
    "carte",
    "graphique",
    "tarjeta",
    "travail",
    "trabajo",
    "rendu",
];
const POWER: Words =
    &["power", "draw", "leistung*", "verbrauch*", "puissance", "consommation", "potencia", "consumo"];
const CLOCK: Words =
    &["clock", "frequency", "takt*", "frequenz*", "fréquence", "frequence", "frecuencia", "reloj"];
const TEMPERATURE: Words = &["temp", "temperature", "temperatur*", "température", "temperatura"];
const LOAD: Words = &[
    "load",
    "usage",
    "use",
    "utilisation",
    "utilization",
    "busy",
    "last",
    "auslastung*",
    "charge",
    "utilización",
    "carga",
    "uso",
];
const STATISTIC: Words = &[
    "average",
    "avg",
    "mean",
    "median",
    "min",
    "max",
    "minimum",
    "maximum",
    "low",
    "lows",
    "percentile",
    "stdev",
    "stddev",
    "sd",
    "total",
    "p1",
    "p01",
    "p50",
    "p90",
    "p95",
    "p99",
    "mittel*",
    "mittelwert",
    "durchschnitt*",
    "perzentil",
    "moyenne",
    "médiane",
    "centile",
    "media",
    "promedio",
    "mediana",
    "percentil",
    "smoothed",
    "rolling",
];
/// Words that lead a line of sums or of results.
const SUMS: Words = &[
    "sum",
    "sums",
    "summary",
    "totals",
    "result",
    "results",
    "count",
    "end",
    "summe",
    "gesamt",
    "ergebnis",
    "anzahl",
    "ende",
    "somme",
    "totale",
    "résultat",
    "resultat",
    "suma",
    "resumen",
    "resultado",
    "fin",
];
const LIMIT: Words = &[
    "limit*", "cap", "target", "grenze", "ziel", "limite", "plafond", "cible", "límite", "objetivo", "rated",
    "budget",
];
const PROGRAM: Words = &[
    "program",
    "process",
    "application",
    "app",
    "executable",
    "exe",
    "pid",
    "programm",
    "prozess",
    "anwendung",
    "programme",
    "processus",
    "programa",
    "proceso",
    "aplicación",
];
const DROPPED: Words = &[
    "dropped",
    "drop",
    "drops",
    "skipped",
    "missed",
    "discarded",
    "verworfen*",
    "ausgelassen",
    "übersprungen",
    "perdue",
    "perdues",
    "perdu",
    "sautée",
    "descartado",
    "descartados",
    "perdido",
    "perdidos",
    "omitido",
];
const RATE: Words = &["rate", "fps", "bildrate", "cadence", "tasa"];
const END: Words = &["end", "ended", "finish", "finished", "ende", "fin", "fertig"];
const FOREIGN: Words = &[
    "j", "kj", "wh", "kwh", "b", "kb", "mb", "gb", "kib", "mib", "gib", "v", "mv", "a", "ma", "rpm", "mm",
    "m", "px", "bytes", "joule", "joules", "db", "dba", "k",
];

fn is(word: &str, list: Words) -> bool {
    list.iter().any(|entry| match entry.strip_suffix('*') {
        Some(stem) => word.starts_with(stem) || word.ends_with(stem),
        None => word == *entry,
    })
}

/// Reads the hints of a header.
pub fn hints(name: &str) -> Hints {
    let (outside, bracket) = split_bracket(name);
    let words = split_words(outside);
    let has = |list: Words| words.iter().any(|w| is(w, list));
    let per_second = name.contains("/s")
        || name.contains("1/s")
        || (has(&["per", "pro", "par", "por"]) && has(&["second", "sekunde", "seconde", "segundo"]));
    let last = words.last().filter(|_| words.len() > 1 || name.len() > 2).map(String::as_str);
    // `mW` is one sign and no `m` before a `W`.
    let token = outside.rsplit([' ', '_', ',', '/']).next().filter(|t| t.len() < outside.len());
    let unit = match bracket {
        _ if per_second && has(FRAME) => Some(Unit::FramesPerSecond),
        Some(inside) => unit_sign(inside.trim()),
        None => token.and_then(unit_sign).or_else(|| last.and_then(unit_sign)),
    };
    let foreign = unit.is_none() && bracket.is_some_and(|b| is(&b.trim().to_lowercase(), FOREIGN))
        || unit.is_none()
            && bracket.is_none()
            && words.len() > 1
            && words.last().is_some_and(|w| is(w, FOREIGN));
    let frame = has(FRAME);
    let duration = has(DURATION);
    let rate = has(RATE) && !has(&["refresh", "bit", "sample"]);
    let time = unit.is_some_and(is_time);
    let work = has(PROCESSOR) || has(WORKED);
    let role = match unit {
        Some(Unit::Watt | Unit::Milliwatt) => Some(Role::Power),
        Some(Unit::Hertz) if rate => Some(Role::Rate),
        Some(Unit::Hertz | Unit::Megahertz | Unit::Gigahertz) => Some(Role::Clock),
        Some(Unit::Celsius) => Some(Role::Temperature),
        Some(Unit::FramesPerSecond) => Some(Role::Rate),
        Some(Unit::Percent) if has(LOAD) => Some(Role::Load),
        _ if has(LATENCY) => Some(Role::Latency),
        _ if work && (time || (duration && !frame)) && has(PROCESSOR) => Some(Role::CpuWork),
        _ if work && (time || (duration && !frame)) => Some(Role::CardWork),
        None if rate => Some(Role::Rate),
        _ => None,
    };
    Hints {
        unit,
        role,
        frame,
        duration,
        time: has(TIME),
        end: has(END),
        sensor: !time && (has(POWER) || has(CLOCK) || has(TEMPERATURE) || has(LOAD))
            || matches!(role, Some(Role::Power | Role::Clock | Role::Temperature | Role::Load)),
        statistic: has(STATISTIC) || name.contains('%') && !has(LOAD) && !matches!(unit, Some(Unit::Percent)),
        limit: has(LIMIT),
        program: has(PROGRAM),
        dropped: has(DROPPED),
        foreign,
    }
}

/// Whether a unit is one of time.
/// Whether a cell is nothing but a word for a result: what leads a line that sums a log up.
pub fn is_result(cell: &[u8]) -> bool {
    let word = String::from_utf8_lossy(cell);
    let word = word.trim_end_matches([':', '.', '=', ' ']).to_lowercase();
    is(&word, STATISTIC) || is(&word, SUMS)
}

/// Whether a unit is one of time.
pub fn is_time(unit: Unit) -> bool {
    super::number::exponent(unit).is_some()
}

/// The unit of a sign as people write it.
pub fn unit_sign(sign: &str) -> Option<Unit> {
    Some(match sign.to_lowercase().as_str() {
        "s" | "sec" | "secs" | "second" | "seconds" | "sek" | "sekunden" | "secondes" | "seg"
        | "segundos" => Unit::Second,
        "ms" | "msec" | "msecs" | "millisecond" | "milliseconds" | "millisekunden" | "millisecondes"
        | "milisegundos" => Unit::Millisecond,
        "us" | "µs" | "μs" | "usec" | "usecs" | "microsecond" | "microseconds" | "mikrosekunden"
        | "microsecondes" | "microsegundos" => Unit::Microsecond,
        "ns" | "nsec" | "nsecs" | "nanosecond" | "nanoseconds" | "nanosekunden" | "nanosecondes"
        | "nanosegundos" => Unit::Nanosecond,
        "w" | "watt" | "watts" | "vatios" => Unit::Watt,
        "mw" | "milliwatt" | "milliwatts" => Unit::Milliwatt,
        "hz" => Unit::Hertz,
        "mhz" => Unit::Megahertz,
        "ghz" => Unit::Gigahertz,
        "°c" | "ºc" | "c" | "degc" | "celsius" => Unit::Celsius,
        "%" | "pct" | "percent" | "prozent" => Unit::Percent,
        "fps" | "bps" | "ips" | "1/s" | "frames/s" | "bilder/s" | "images/s" => Unit::FramesPerSecond,
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
            ("Leistung in mW", Some(Unit::Milliwatt)),
            ("temps / ms", Some(Unit::Millisecond)),
            ("images par seconde", Some(Unit::FramesPerSecond)),
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
        assert_eq!(hints("Prozessorzeit [ms]").role, Some(Role::CpuWork));
        assert_eq!(hints("core clock [MHz]").role, Some(Role::Clock));
        assert_eq!(hints("load [%]").role, Some(Role::Load));
        let unnamed = hints("power");
        assert_eq!((unnamed.role, unnamed.sensor), (None, true));
    }

    #[test]
    fn frame_and_duration_in_four_languages() {
        for name in [
            "frame time",
            "Bildzeit [ms]",
            "Bilddauer",
            "durée de l'image",
            "tiempo de fotograma",
            "FrameTime",
        ] {
            let hints = hints(name);
            assert!(hints.frame && hints.duration && hints.role.is_none(), "{name}: {hints:?}");
        }
        assert!(hints("average frame time [ms]").statistic && hints("1% low [fps]").statistic);
    }
}
