//! What a figure says now: its value with interval and count of passes, its name in words, how it is printed.

use std::collections::BTreeSet;

use serde::Serialize;
use weighhouse_measure::compare::Interval;
use weighhouse_measure::compare::ratio::{Crossing, Ratio};
use weighhouse_measure::measures::Measure;
use weighhouse_web::format::{self, Unit};

use super::what::What;
use super::{derived, of_reading};
use crate::store::registers::tunings::STOCK;
use crate::store::{CellId, SceneId, SettingId, TuningId};
use crate::work::against;
use crate::work::evidence::{CellEvidence, Evidence};

/// Decimal places that a figure can have.
const PLACES: std::ops::RangeInclusive<i32> = 0..=6;

/// The value of a figure.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Valued {
    /// In `unit`; of a ratio, contender over baseline.
    pub value: f64,
    /// 95% interval, where a spread is known.
    pub interval: Option<Interval>,
    /// Kept passes in it.
    pub passes: usize,
    /// Unit of `value`; [`Unit::One`] for ratios, which are printed as changes in per cent.
    pub unit: Unit,
    /// Whether it is a ratio.
    pub is_ratio: bool,
    /// What it crosses.
    pub marks: Vec<Crossing>,
    /// What stands behind the value in the place of its unit: a currency, or the unit of a reading; empty elsewhere.
    pub behind: String,
    /// Whether it is an amount of money.
    pub is_money: bool,
}

impl Valued {
    /// A value that is no ratio and crosses nothing, of no pass yet.
    pub(super) fn plain(value: f64, interval: Option<Interval>, unit: Unit) -> Valued {
        let (passes, marks, behind) = Default::default();
        Valued { value, interval, passes, unit, is_ratio: false, marks, behind, is_money: false }
    }

    /// The value in full: the shortest decimal text that gives the same number.
    pub fn full(&self) -> String {
        self.value.to_string()
    }

    /// What stands behind the number: a unit, a currency or per cent.
    pub fn sign(&self) -> &str {
        match (self.is_ratio, self.behind.as_str()) {
            (true, _) => "%",
            (false, "") => self.unit.sign(),
            (false, behind) => behind,
        }
    }

    /// As it is printed, to these decimal places.
    pub fn shown(&self, places: i64) -> String {
        let places = i32::try_from(places).unwrap_or(*PLACES.end());
        if self.is_ratio {
            format::change_printed(self.value, places)
        } else if !self.behind.is_empty() {
            format::text_in(&format::fixed(self.value, places), &self.behind)
        } else {
            format::printed(self.value, places, self.unit)
        }
    }

    /// Its interval in words; empty where no spread is known.
    pub fn interval_shown(&self) -> String {
        self.interval_to(self.places())
    }

    /// The same to these decimal places, where it has a unit of its own.
    pub fn interval_to(&self, places: i64) -> String {
        match self.interval {
            Some(Interval { low, high }) if self.is_ratio => format::change_interval(low, high),
            Some(Interval { low, high }) if !self.behind.is_empty() => {
                let places = i32::try_from(places).unwrap_or(2);
                let ends = [low, high].map(|end| format::fixed(end, places));
                format::text_in(&ends.join(" to "), &self.behind)
            }
            Some(Interval { low, high }) => format::interval(low, high, self.unit),
            None => String::new(),
        }
    }

    /// Decimal places that its uncertainty supports: two significant digits of half the interval (JCGM 100:2008,
    /// 7.2.6).
    pub fn places(&self) -> i64 {
        let places = match self.interval {
            Some(Interval { low, high }) if self.is_ratio => format::change_places(low, high),
            // Money is never printed finer than its smallest coin.
            Some(Interval { low, high }) if self.is_money => {
                format::places_for((high - low) / 2.0).unwrap_or(2).clamp(0, 2)
            }
            Some(Interval { low, high }) => format::places((high - low) / 2.0, self.unit),
            None if self.is_ratio => 1,
            None if !self.behind.is_empty() && !self.is_money => of_reading::places(self.value),
            None => format::places(f64::NAN, self.unit),
        };
        places.clamp(*PLACES.start(), *PLACES.end()).into()
    }
}

/// What a figure says on this evidence; `None` where a cell it needs has no kept pass with that measure, or is not
/// among the cells of the piece.
pub fn value(evidence: &Evidence, what: &What) -> Option<Valued> {
    if let Some(of) = what.reading() {
        return of_reading::value(evidence, of);
    }
    let measure = what.measure()?;
    match what {
        What::Cell { cell, .. } => {
            let found = evidence.value(evidence.cells.get(cell)?, measure)?;
            let (unit, scale) = unit(measure);
            let scaled = |i: Interval| Interval { low: i.low * scale, high: i.high * scale };
            let plain = Valued::plain(found.value * scale, found.interval.map(scaled), unit);
            Some(Valued { passes: found.passes, ..plain })
        }
        What::Ratio { scene, setting, baseline, contender, .. } => {
            let judged = against::in_scene(evidence, measure, (*scene, *setting), (*baseline, *contender));
            judged.map(|judged| of_ratio(&judged.ratio))
        }
        What::Overall { setting, baseline, contender, among, .. } => {
            let found = against::overall(evidence, measure, *setting, (*baseline, *contender), among);
            found.map(|found| of_ratio(&found.overall.these))
        }
        _ => derived::value(evidence, what),
    }
}

pub(super) fn of_ratio(ratio: &Ratio) -> Valued {
    Valued {
        value: ratio.ratio,
        interval: ratio.bounds.map(|b| b.interval),
        passes: ratio.passes_baseline + ratio.passes_contender,
        unit: Unit::One,
        is_ratio: true,
        marks: ratio.marks.clone(),
        behind: String::new(),
        is_money: false,
    }
}

/// The scenes that a figure is over: of an overall ratio those that all compared ran.
pub fn scenes(evidence: &Evidence, what: &What) -> Vec<SceneId> {
    match what {
        What::Cell { cell, .. } => evidence.cells.get(cell).map(|c| c.cell.of.scene_id).into_iter().collect(),
        What::Ratio { scene, .. } => vec![*scene],
        What::Overall { measure, setting, among, .. } | What::Even { measure, setting, among, .. } => {
            against::scenes_all_ran(evidence, *measure, *setting, among).into_iter().collect()
        }
        _ => {
            let own = derived::cells(evidence, what).into_iter().map(|cell| cell.cell.of.scene_id);
            own.collect::<BTreeSet<_>>().into_iter().collect()
        }
    }
}

/// The cells that a figure rests on: baseline before contender, scene by scene.
pub fn cells<'a>(evidence: &'a Evidence, what: &What) -> Vec<&'a CellEvidence> {
    match what {
        What::Cell { cell, .. } => evidence.cells.get(cell).into_iter().collect(),
        What::Ratio { setting, baseline, contender, .. }
        | What::Overall { setting, baseline, contender, .. }
        | What::Even { setting, baseline, contender, .. } => {
            let sides = [*baseline, *contender];
            let each =
                scenes(evidence, what).into_iter().flat_map(|scene| sides.map(|tuning| (tuning, scene)));
            each.filter_map(|(tuning, scene)| evidence.cell_of(tuning, scene, *setting)).collect()
        }
        _ => derived::cells(evidence, what),
    }
}

/// How values of a measure are written: the unit, and what a value in the measure's own unit is multiplied by.
pub fn unit(measure: Measure) -> (Unit, f64) {
    match measure.unit() {
        "fps" => (Unit::Fps, 1.0),
        "ms" => (Unit::Ms, 1.0),
        "s" => (Unit::S, 1.0),
        "W" => (Unit::W, 1.0),
        "J" => (Unit::J, 1.0),
        "Hz" => (Unit::MHz, 1e-6),
        "°C" => (Unit::C, 1.0),
        _ => (Unit::One, 1.0),
    }
}

/// A part as it is run: 'Curlew', 'Curlew (400 W)'.
pub fn tuning_name(evidence: &Evidence, id: TuningId) -> String {
    let Some(tuning) = evidence.registers.tunings.get(&id) else { return format!("tuning {id}") };
    let part = evidence.registers.parts.get(&tuning.fields.part_id);
    let model = part.map_or("part", |part| part.fields.model.as_str());
    if tuning.fields.name == STOCK { model.to_owned() } else { format!("{model} ({})", tuning.fields.name) }
}

/// A scene: 'Vellum Rally (hairpin)'.
pub fn scene_name(evidence: &Evidence, id: SceneId) -> String {
    let scene = evidence.registers.scenes.get(&id);
    scene.map_or_else(|| format!("scene {id}"), |s| format!("{} ({})", s.fields.game, s.fields.passage))
}

/// A setting: '2160p native'.
pub(super) fn setting_name(evidence: &Evidence, id: SettingId) -> String {
    evidence.registers.settings.get(&id).map_or_else(|| format!("setting {id}"), |s| s.fields.name.clone())
}

/// A cell in words: 'Curlew, Vellum Rally (hairpin), 2160p native'.
pub fn cell_name(evidence: &Evidence, id: CellId) -> String {
    let Some(cell) = evidence.cells.get(&id) else { return format!("cell {id}") };
    let of = &cell.cell.of;
    let (tuning, scene) = (tuning_name(evidence, of.tuning_id), scene_name(evidence, of.scene_id));
    format!("{tuning}, {scene}, {}", setting_name(evidence, of.setting_id))
}

/// The name that a figure gets unless people give it another: 'Curlew over Dunlin, Vellum Rally (hairpin), 2160p
/// native: average frame rate'. A low is spelled out.
pub fn name(evidence: &Evidence, what: &What) -> String {
    if let Some(of) = what.reading() {
        return of_reading::name(evidence, of);
    }
    let measure = quantity(evidence, what);
    match what {
        What::Cell { cell, .. } => format!("{}: {measure}", cell_name(evidence, *cell)),
        What::Ratio { scene, setting, baseline, contender, .. } => {
            let (over, under) = (tuning_name(evidence, *contender), tuning_name(evidence, *baseline));
            let (scene, setting) = (scene_name(evidence, *scene), setting_name(evidence, *setting));
            format!("{over} over {under}, {scene}, {setting}: {measure}")
        }
        What::Overall { setting, baseline, contender, .. } => {
            let (over, under) = (tuning_name(evidence, *contender), tuning_name(evidence, *baseline));
            let scenes = format::plural(count(scenes(evidence, what).len()), "scene", "scenes");
            format!(
                "{over} over {under}, overall ({scenes}), {}: {measure}",
                setting_name(evidence, *setting)
            )
        }
        _ => format!("{}: {measure}", derived::name(evidence, what)),
    }
}

/// What a figure is a number of: the measure, or the kind of reading with its unit.
pub fn quantity(evidence: &Evidence, what: &What) -> String {
    let of_reading = || {
        let kind = &evidence.readings.kinds.get(&what.reading()?.reading)?.fields;
        Some(format!("{}, {}", kind.name, kind.unit))
    };
    let measured = what.measure().map(|measure| measure.name().to_owned());
    measured.or_else(of_reading).unwrap_or_default()
}

/// How it was come by, in a sentence.
pub fn method(evidence: &Evidence, what: &What, valued: &Valued) -> String {
    if let Some(of) = what.reading() {
        return of_reading::method(evidence, of, valued);
    }
    let passes = format::plural(count(valued.passes), "kept pass", "kept passes");
    let interval = if valued.interval.is_some() {
        "95% interval by Student's t on logarithms"
    } else {
        "no interval: the spread is not known"
    };
    let prior = match evidence.prior_number {
        0 => String::new(),
        n => format!(", spread steadied by noise prior {n}"),
    };
    let of = match what {
        What::Cell { .. } => format!("geometric mean over {passes}"),
        What::Ratio { .. } => format!("ratio of geometric means over {passes}"),
        What::Overall { .. } => {
            let scenes = format::plural(count(scenes(evidence, what).len()), "scene", "scenes");
            format!("geometric mean of the ratios in {scenes} that all compared ran, over {passes}")
        }
        _ => derived::method(what, &passes),
    };
    let carried = carried_over(evidence, what);
    format!("{}: {of}; {interval}{prior}.{carried}", format::sentence(&quantity(evidence, what)))
}

/// Whose cells were carried over, in a sentence; empty: nobody's.
fn carried_over(evidence: &Evidence, what: &What) -> String {
    let own = cells(evidence, what).into_iter().filter(|cell| cell.carried.is_some());
    let names: BTreeSet<String> = own.map(|cell| tuning_name(evidence, cell.cell.of.tuning_id)).collect();
    let names: Vec<String> = names.into_iter().collect();
    if names.is_empty() {
        String::new()
    } else {
        format!(" Carried over from an earlier piece: {}.", names.join(", "))
    }
}

fn count(n: usize) -> u64 {
    u64::try_from(n).unwrap_or(u64::MAX)
}
