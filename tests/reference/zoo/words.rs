//! Headers as people write them: what a column is called in four languages, and where the unit stands.

use super::dice::Dice;

/// What a column holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Is {
    Time,
    Frame,
    Processor,
    Card,
    Latency,
    Power,
    Temperature,
    Rate,
    Counter,
    Program,
    Dropped,
    Other,
}

/// Language of a header.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Tongue {
    English,
    German,
    French,
    Spanish,
}

/// Where a header has its unit.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum UnitStyle {
    Square,
    Round,
    Underscore,
    Comma,
    Slash,
    In,
    Missing,
}

pub fn header(dice: &mut Dice, is: Is, unit: &str, tongue: Tongue, style: UnitStyle) -> String {
    let name = dice.pick(names(is, tongue));
    if unit.is_empty() {
        return name.to_owned();
    }
    match style {
        UnitStyle::Square => format!("{name} [{unit}]"),
        UnitStyle::Round => format!("{name} ({unit})"),
        UnitStyle::Underscore => format!("{}_{unit}", name.replace(' ', "_")),
        UnitStyle::Comma => format!("{name}, {unit}"),
        UnitStyle::Slash => format!("{name} / {unit}"),
        UnitStyle::In => format!("{name} in {unit}"),
        UnitStyle::Missing => name.to_owned(),
    }
}

fn names(is: Is, tongue: Tongue) -> &'static [&'static str] {
    use Tongue::{English, French, German, Spanish};
    match (is, tongue) {
        (Is::Time, English) => &["time", "elapsed", "t", "elapsed time", "Timestamp"],
        (Is::Time, German) => &["Zeit", "Laufzeit", "Zeitstempel", "vergangene Zeit"],
        (Is::Time, French) => &["temps", "temps écoulé", "horodatage"],
        (Is::Time, Spanish) => &["tiempo", "tiempo transcurrido"],
        (Is::Frame, English) => &["frame time", "frame duration", "frame", "FrameTime"],
        (Is::Frame, German) => &["Bildzeit", "Bilddauer", "Framezeit"],
        (Is::Frame, French) => &["durée de l'image", "temps d'image"],
        (Is::Frame, Spanish) => &["duración del cuadro", "tiempo de fotograma"],
        (Is::Processor, English) => &["cpu work", "processor time", "cpu busy"],
        (Is::Processor, German) => &["Prozessorzeit", "Prozessor Arbeit"],
        (Is::Processor, French) => &["temps processeur"],
        (Is::Processor, Spanish) => &["tiempo de procesador"],
        (Is::Card, English) => &["gpu work", "card time", "render time"],
        (Is::Card, German) => &["Grafikkarte Arbeit", "GPU Zeit"],
        (Is::Card, French) => &["temps carte graphique"],
        (Is::Card, Spanish) => &["tiempo de tarjeta"],
        (Is::Latency, English) => &["latency", "input delay"],
        (Is::Latency, German) => &["Latenz", "Eingabeverzögerung"],
        (Is::Latency, French) => &["latence"],
        (Is::Latency, Spanish) => &["latencia"],
        (Is::Power, English) => &["board power", "power", "power draw"],
        (Is::Power, German) => &["Leistung", "Leistungsaufnahme"],
        (Is::Power, French) => &["puissance"],
        (Is::Power, Spanish) => &["potencia"],
        (Is::Temperature, English) => &["temperature", "core temp"],
        (Is::Temperature, German) => &["Temperatur"],
        (Is::Temperature, French) => &["température"],
        (Is::Temperature, Spanish) => &["temperatura"],
        (Is::Rate, English) => &["frame rate", "fps", "rate"],
        (Is::Rate, German) => &["Bildrate", "Bilder pro Sekunde"],
        (Is::Rate, French) => &["images par seconde"],
        (Is::Rate, Spanish) => &["cuadros por segundo"],
        (Is::Counter, English) => &["frame", "n", "index", "frame number"],
        (Is::Counter, German) => &["Bild", "Nr", "Bildnummer"],
        (Is::Counter, French) => &["image", "numéro"],
        (Is::Counter, Spanish) => &["cuadro", "número"],
        (Is::Program, English) => &["program", "process", "application"],
        (Is::Program, German) => &["Programm", "Prozess"],
        (Is::Program, French) => &["programme"],
        (Is::Program, Spanish) => &["programa"],
        (Is::Dropped, English) => &["dropped", "frame dropped", "skipped"],
        (Is::Dropped, German) => &["verworfen"],
        (Is::Dropped, French) => &["image perdue"],
        (Is::Dropped, Spanish) => &["cuadro descartado"],
        (Is::Other, English) => &["value", "x", "remark", "pass"],
        (Is::Other, German) => &["Wert", "Notiz"],
        (Is::Other, French) => &["valeur"],
        (Is::Other, Spanish) => &["valor"],
    }
}
