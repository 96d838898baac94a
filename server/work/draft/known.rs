//! What a text of a piece can quote: the piece's figures, and what the registers say of its parts.

use jiff::Timestamp;
use weighhouse_measure::draft::{Currency, Kind, Known, LowBy, Source, Standing};
use weighhouse_measure::measures::{LowDefinition, Measure};
use weighhouse_web::format::{self, Unit};
use weighhouse_web::marks;

use crate::store::PartId;
use crate::store::figures::Step;
use crate::store::quotes::Quote;
use crate::store::registers::parts::Price;
use crate::work::evidence::Evidence;
use crate::work::figures::What;
use crate::work::figures::ledger::{Ledger, Seen};
use crate::work::figures::value;
use crate::work::quotes;

/// All that a text can quote: figures first, then counts of scenes, then the registers.
pub fn known(ledger: &Ledger) -> Vec<Known> {
    let evidence = &ledger.evidence;
    let figures = ledger.figures.iter().filter_map(|seen| of_figure(evidence, seen));
    let quoted = ledger.quotes.iter().flat_map(|quote| of_quote(evidence, quote, &ledger.quotes));
    let told = |seen: &Seen| rests_on(evidence, (&seen.figure.key, &seen.figure.fields.name), &seen.what);
    let counts = ledger.figures.iter().filter_map(told);
    figures.chain(quoted).chain(scenes(evidence)).chain(counts).chain(of_parts(evidence)).collect()
}

/// A quoted number, and its change over the one that it is told against.
fn of_quote(evidence: &Evidence, quote: &Quote, all: &[Quote]) -> Vec<Known> {
    let f = &quote.fields;
    let model = |id: Option<PartId>| {
        let part = id.and_then(|id| evidence.registers.parts.get(&id));
        part.map_or_else(String::new, |part| part.fields.model.clone())
    };
    let read = format::day(Timestamp::from_microsecond(f.dated_us).unwrap_or_default(), "UTC");
    let kind = currency(&f.unit).map(Kind::Money).or_else(|| match f.unit.as_str() {
        "GB" => Some(Kind::GB),
        unit => kind_of(Unit::of_sign(unit)),
    });
    let places = f.value.split_once('.').map_or(0, |(_, part)| part.len());
    let known = |key: String, name: String, kind, value| Known {
        measure: f.name.to_lowercase(),
        part: model(f.part_id),
        source: Source::Named,
        ..quoted(key, name, kind, value)
    };
    let own = kind.zip(f.value.parse().ok()).map(|(kind, value)| {
        let name = format!("{}, quoted: {}, {read}", f.name, f.source);
        let known = known(format!("quote.{}", quote.id), name, kind, value);
        Known { places: i32::try_from(places).unwrap_or(0), ..known }
    });
    let base = all.iter().find(|other| Some(other.id) == f.over_id);
    let change = quotes::over(f, all).zip(base).map(|(ratio, base)| {
        let name = format!("{} over {}, quoted", f.name, base.fields.name);
        let known = known(format!("quote.{}.change", quote.id), name, Kind::Change, (ratio - 1.0) * 100.0);
        Known { baseline: model(base.fields.part_id), ..known }
    });
    own.into_iter().chain(change).collect()
}

/// A figure with a value; `None` where it has none now, or of a kind that no text tells.
fn of_figure(evidence: &Evidence, seen: &Seen) -> Option<Known> {
    let valued = seen.valued.as_ref()?;
    let kind = if valued.is_ratio {
        Kind::Change
    } else if valued.behind.is_empty() {
        kind_of(valued.unit)?
    } else if !valued.is_money {
        kind_behind(&valued.behind)?
    } else {
        // A price per frame is told in the currency alone.
        Kind::Money(currency(valued.behind.split(' ').next()?)?)
    };
    let change = |ratio: f64| (ratio - 1.0) * 100.0;
    let told = |v: f64| if valued.is_ratio { change(v) } else { v };
    let standing = match seen.state.standing {
        marks::Standing::Agreed | marks::Standing::Quoted => Standing::Agreed,
        marks::Standing::Lapsed => Standing::Lapsed,
        _ => Standing::NotAgreed,
    };
    let lapsed = standing == Standing::Lapsed;
    let last = seen.state.last().filter(|_| lapsed);
    let now = seen.now.shown.as_deref().unwrap_or("");
    let agreed = seen.steps.iter().filter(|step| step.step == Step::Agree && step.shown != now);
    let once = agreed.filter(|step| last.is_none_or(|last| last.shown != step.shown));
    let names = names(evidence, &seen.what);
    Some(Known {
        key: seen.figure.key.clone(),
        name: seen.figure.fields.name.clone(),
        kind,
        value: told(valued.value),
        places: i32::try_from(seen.figure.fields.places).unwrap_or(0),
        measure: value::quantity(evidence, &seen.what).to_lowercase(),
        overall: names.scene.is_empty(),
        part: names.part,
        baseline: names.baseline,
        scene: names.scene,
        setting: names.setting,
        standing,
        was: last.and_then(|step| step.value.parse().ok()).map(told),
        once: once.filter_map(|step| step.value.parse().ok()).map(told).collect(),
        interval: valued.interval.filter(|_| valued.is_ratio).map(|i| (change(i.low), change(i.high))),
        low: match seen.what.measure() {
            Some(Measure::Low(LowDefinition::Quantile, _)) => Some(LowBy::Quantile),
            Some(Measure::Low(LowDefinition::TailMean, _)) => Some(LowBy::TailMean),
            Some(Measure::Low(LowDefinition::TimeShare, _)) => Some(LowBy::TimeShare),
            _ => None,
        },
        source: Source::Measured,
    })
}

#[derive(Default)]
struct Names {
    part: String,
    baseline: String,
    scene: String,
    setting: String,
}

fn names(evidence: &Evidence, what: &What) -> Names {
    let tuning = |id| value::tuning_name(evidence, id);
    let setting = |id| evidence.registers.setting_name(id);
    match what {
        What::Cell { cell, .. } | What::Step { second: cell, .. } => {
            evidence.cells.get(cell).map_or_else(Names::default, |c| Names {
                part: tuning(c.cell.of.tuning_id),
                baseline: String::new(),
                scene: value::scene_name(evidence, c.cell.of.scene_id),
                setting: setting(c.cell.of.setting_id),
            })
        }
        What::Ratio { scene, setting: at, baseline, contender, .. } => Names {
            part: tuning(*contender),
            baseline: tuning(*baseline),
            scene: value::scene_name(evidence, *scene),
            setting: setting(*at),
        },
        What::Overall { setting: at, baseline, contender, .. }
        | What::Lead { to: at, baseline, contender, .. }
        | What::Less { setting: at, baseline, contender, .. }
        | What::Even { setting: at, baseline, contender, .. } => Names {
            part: tuning(*contender),
            baseline: tuning(*baseline),
            scene: String::new(),
            setting: setting(*at),
        },
        What::Reader { baseline, contender, .. } => {
            Names { part: tuning(*contender), baseline: tuning(*baseline), ..Names::default() }
        }
        What::Costs { to: at, tuning: of, .. }
        | What::Tuned { setting: at, tuning: of, .. }
        | What::Price { setting: at, tuning: of, .. } => {
            Names { part: tuning(*of), setting: setting(*at), ..Names::default() }
        }
        What::Reading { tuning: of, .. } => Names { part: tuning(*of), ..Names::default() },
        What::Knee { setting: at, .. } => Names { setting: setting(*at), ..Names::default() },
    }
}

/// Of the unit of a reading.
fn kind_behind(unit: &str) -> Option<Kind> {
    if unit.starts_with("dB") { Some(Kind::Db) } else { kind_of(Unit::of_sign(unit)) }
}

fn kind_of(unit: Unit) -> Option<Kind> {
    match unit {
        Unit::Fps => Some(Kind::Fps),
        Unit::Ms => Some(Kind::Ms),
        Unit::W => Some(Kind::W),
        Unit::J => Some(Kind::J),
        Unit::MHz => Some(Kind::MHz),
        Unit::C => Some(Kind::C),
        Unit::S | Unit::Percent | Unit::One => None,
    }
}

/// What is not of the piece's figures.
fn quoted(key: String, name: String, kind: Kind, value: f64) -> Known {
    Known {
        key,
        name,
        kind,
        value,
        places: 0,
        measure: String::new(),
        part: String::new(),
        baseline: String::new(),
        scene: String::new(),
        setting: String::new(),
        overall: false,
        standing: Standing::Agreed,
        was: None,
        once: Vec::new(),
        interval: None,
        low: None,
        source: Source::Missing,
    }
}

/// How many scenes an overall figure rests on, where that is not all that the piece has passes in.
fn rests_on(evidence: &Evidence, (key, name): (&str, &str), what: &What) -> Option<Known> {
    let Names { part, baseline, scene, setting } = names(evidence, what);
    let count = u32::try_from(value::scenes(evidence, what).len()).ok().filter(|count| *count > 0)?;
    if !scene.is_empty() || part.is_empty() || Some(count) == with_passes(evidence) {
        return None;
    }
    let name = format!("scenes that '{name}' rests on");
    let known = quoted(format!("scenes.{key}"), name, Kind::Scenes, f64::from(count));
    Some(Known { source: Source::Measured, overall: true, part, baseline, setting, ..known })
}

fn with_passes(evidence: &Evidence) -> Option<u32> {
    let measured = evidence.cells.values().filter(|cell| !cell.passes.is_empty());
    let all: std::collections::BTreeSet<_> = measured.map(|cell| cell.cell.of.scene_id).collect();
    u32::try_from(all.len()).ok().filter(|n| *n > 0)
}

/// How many scenes the piece has passes in.
fn scenes(evidence: &Evidence) -> Option<Known> {
    let count = with_passes(evidence)?;
    let name = "scenes of this piece that have passes".to_owned();
    let known = quoted("scenes".to_owned(), name, Kind::Scenes, f64::from(count));
    Some(Known { source: Source::Measured, overall: true, ..known })
}

/// Rated power, memory and prices of the parts in the piece. The register of parts names no source for the first two.
fn of_parts(evidence: &Evidence) -> Vec<Known> {
    let tunings = evidence.cells.values().map(|cell| cell.cell.of.tuning_id);
    let parts = tunings.filter_map(|id| evidence.registers.tunings.get(&id)).map(|t| t.fields.part_id);
    let parts: std::collections::BTreeSet<_> = parts.collect();
    let mut all = Vec::new();
    for (id, part) in evidence.registers.parts.iter().filter(|(id, _)| parts.contains(id)) {
        let model = &part.fields.model;
        let mut keep = |what: &str, kind, value: Option<i64>, scale: f64| {
            let Some(value) = value.and_then(|v| i32::try_from(v).ok()) else { return };
            let name = format!("{model}: {what}, register of parts");
            let key = format!("{}.{id}", what.replace(' ', "."));
            let known = quoted(key, name, kind, f64::from(value) * scale);
            all.push(Known { measure: what.to_owned(), part: model.clone(), ..known });
        };
        keep("power limit", Kind::W, part.fields.rated_power_w, 1.0);
        keep("memory", Kind::GB, part.fields.memory_mib, 1.0 / 1024.0);
        all.extend(
            evidence.prices.iter().filter(|p| p.fields.part_id == *id).filter_map(|p| price(model, p)),
        );
    }
    all
}

/// A currency that texts tell.
fn currency(code: &str) -> Option<Currency> {
    match code {
        "EUR" => Some(Currency::Eur),
        "USD" => Some(Currency::Usd),
        "GBP" => Some(Currency::Gbp),
        _ => None,
    }
}

/// A price with its source and date; `None` in a currency that texts do not tell.
fn price(model: &str, price: &Price) -> Option<Known> {
    let f = &price.fields;
    let currency = currency(&f.currency)?;
    let places = f.amount.split_once('.').map_or(0, |(_, part)| part.len());
    let from = if f.source.trim().is_empty() { String::new() } else { format!(", {}", f.source.trim()) };
    let name = format!(
        "{model}: {} price{from}, {}",
        f.kind,
        format::day(Timestamp::from_microsecond(f.dated_us).unwrap_or_default(), "UTC")
    );
    let known = quoted(format!("price.{}", price.id), name, Kind::Money(currency), f.amount.parse().ok()?);
    Some(Known {
        places: i32::try_from(places).unwrap_or(0),
        measure: "price".to_owned(),
        part: model.to_owned(),
        source: if from.is_empty() { Source::Missing } else { Source::Named },
        ..known
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::{SettingId, TuningId};
    use crate::work::made_up::{self, add_cell};

    #[test]
    fn an_overall_figure_over_fewer_scenes_than_have_passes_has_a_count_of_its_own() {
        let mut evidence = made_up::piece(2, 2);
        for (part, scene) in [(1, 1), (1, 2), (2, 1)] {
            add_cell(&mut evidence, part, scene, &[100.0, 100.1, 99.9]);
        }
        let (baseline, contender) = (TuningId(1), TuningId(2));
        let what = What::Overall {
            measure: Measure::AverageFps,
            setting: SettingId(1),
            baseline,
            contender,
            among: vec![baseline, contender],
        };
        let figure = ("k", "overall");
        let own = rests_on(&evidence, figure, &what).unwrap();
        assert_eq!((own.value, own.key.as_str()), (1.0, "scenes.k"));
        assert!(!own.part.is_empty() && own.part != own.baseline);
        assert_eq!(scenes(&evidence).unwrap().value, 2.0);
        add_cell(&mut evidence, 2, 2, &[100.0, 100.1, 99.9]);
        assert!(rests_on(&evidence, figure, &what).is_none(), "the count of all says it");
    }
}
