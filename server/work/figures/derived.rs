//! Figures that a page derives from several cells, prices or a reader: their values, the cells they rest on, and their
//! names. Each number is the one that its page shows.

use std::collections::BTreeSet;

use weighhouse_measure::compare::Interval;
use weighhouse_measure::compare::curve::{self, Point};
use weighhouse_measure::compare::difference::difference;
use weighhouse_measure::compare::knee;
use weighhouse_measure::compare::together::Together;
use weighhouse_measure::compare::verdict::Verdict;
use weighhouse_measure::measures::Measure;
use weighhouse_web::format::{self, Unit};

use super::value::{Valued, of_ratio, scene_name, setting_name, tuning_name, unit};
use super::what::What;
use crate::store::registers::parts::Price;
use crate::store::{CellId, PriceId, ReaderId, SceneId, SettingId, TuningId};
use crate::work::across;
use crate::work::against::{self, Judged};
use crate::work::answers::{self, ForReader};
use crate::work::evidence::{CellEvidence, Evidence};
use crate::work::worth::{amount, over_scenes};

/// The value of a derived figure; `None` of the other kinds, and where something that it needs is not there.
pub(super) fn value(evidence: &Evidence, what: &What) -> Option<Valued> {
    let measure = what.measure()?;
    match what {
        What::Cell { .. } | What::Ratio { .. } | What::Overall { .. } | What::Reading { .. } => None,
        What::Costs { .. } | What::Lead { .. } => {
            judged(evidence, what).map(|judged| of_ratio(&judged.ratio))
        }
        What::Reader { .. } => of_reader(evidence, what)?.lead.map(|lead| of_ratio(&lead)),
        What::Tuned { tuning, setting, scenes, .. } => {
            let (unit, scale) = unit(measure);
            Some(of_together(&over_scenes(evidence, measure, *tuning, scenes, *setting)?, unit, scale))
        }
        What::Less { setting, baseline, contender, scenes } => {
            let watts = |tuning| over_scenes(evidence, Measure::PowerW, tuning, scenes, *setting);
            Some(less(&watts(*baseline)?, &watts(*contender)?))
        }
        What::Knee { setting, tunings, scenes } => {
            let of = |measure, tuning: TuningId| over_scenes(evidence, measure, tuning, scenes, *setting);
            let points =
                tunings.iter().map(|id| Some((of(Measure::PowerW, *id)?, of(Measure::AverageFps, *id)?)));
            let points = points.collect::<Option<Vec<_>>>()?;
            let on_curve = |(watts, rate): &(Together, Together)| Point {
                watts: watts.value,
                rate: rate.value,
                watts_interval: watts.interval,
                rate_interval: rate.interval,
            };
            let on_curve: Vec<Point> = points.iter().map(on_curve).collect();
            let knee = knee::knee(&curve::fit(&curve::values(&on_curve))?)?;
            let interval = curve::band(&on_curve, evidence.piece.key.as_bytes()).and_then(|band| band.knee);
            let passes = points.iter().map(|(_, rate)| rate.passes).sum();
            Some(Valued { passes, ..Valued::plain(knee.watts, interval, Unit::W) })
        }
        What::Step { first, second, .. } => {
            let of = |cell: &CellId| evidence.value(evidence.cells.get(cell)?, measure);
            let (first, second) = (of(first)?, of(second)?);
            let found = difference(&first, &second);
            let (unit, scale) = unit(measure);
            let passes = first.passes + second.passes;
            Some(Valued { passes, ..Valued::plain(found.value * scale, scaled(found.interval, scale), unit) })
        }
        What::Price { setting, tuning, scenes, price, .. } => {
            let price = price_of(evidence, *price)?;
            let rate = over_scenes(evidence, measure, *tuning, scenes, *setting)?;
            let each = amount(price).ok()?.value();
            let interval = rate.interval.map(|i| Interval { low: each / i.high, high: each / i.low });
            let valued = Valued::plain(each / rate.value, interval, Unit::One);
            Some(Valued {
                passes: rate.passes,
                behind: format!("{} per fps", price.fields.currency),
                is_money: true,
                ..valued
            })
        }
        What::Even { setting, baseline, contender, among, price, .. } => {
            let price = price_of(evidence, *price)?;
            let found = against::overall(evidence, measure, *setting, (*baseline, *contender), among)?;
            let ratio = of_ratio(&found.overall.these);
            let each = amount(price).ok()?.value();
            let valued = Valued::plain(each * ratio.value, scaled(ratio.interval, each), Unit::One);
            Some(Valued {
                passes: ratio.passes,
                marks: ratio.marks,
                behind: price.fields.currency.clone(),
                is_money: true,
                ..valued
            })
        }
    }
}

fn scaled(of: Option<Interval>, scale: f64) -> Option<Interval> {
    of.map(|i| Interval { low: i.low * scale, high: i.high * scale })
}

fn of_together(of: &Together, unit: Unit, scale: f64) -> Valued {
    Valued { passes: of.passes, ..Valued::plain(of.value * scale, scaled(of.interval, scale), unit) }
}

/// What the second takes less than the first, W. Its interval puts the two together by their distances (MOVER: Zou &
/// Donner 2008, Stat. Med. 27:1693-1702, recalled from memory).
fn less(first: &Together, second: &Together) -> Valued {
    let value = first.value - second.value;
    let interval = first.interval.zip(second.interval).map(|(a, b)| {
        let far = |x: f64, y: f64| (x * x + y * y).sqrt();
        Interval {
            low: value - far(first.value - a.low, b.high - second.value),
            high: value + far(a.high - first.value, second.value - b.low),
        }
    });
    Valued { passes: first.passes + second.passes, ..Valued::plain(value, interval, Unit::W) }
}

/// What may be said of it; `None` where a figure of its kind has no verdict.
pub(super) fn verdict(evidence: &Evidence, what: &What) -> Option<Verdict> {
    judged(evidence, what).map(|judged| judged.verdict)
}

fn judged(evidence: &Evidence, what: &What) -> Option<Judged> {
    match what {
        What::Costs { measure, tuning, from, to, scenes } => {
            across::cost_over(evidence, *measure, (*from, *to), scenes, *tuning)
        }
        What::Lead { measure, baseline, contender, from, to, scenes } => {
            across::lead_over(evidence, *measure, (*from, *to), scenes, (*baseline, *contender))
        }
        _ => None,
    }
}

fn of_reader(evidence: &Evidence, what: &What) -> Option<ForReader> {
    let What::Reader { reader, baseline, contender, .. } = what else { return None };
    let all = answers::answers(evidence, *baseline, &[*contender], None).ok()?;
    all.into_iter().find(|of| of.reader.id == *reader)
}

/// The price of a figure.
pub(super) fn price_of(evidence: &Evidence, id: PriceId) -> Option<&Price> {
    evidence.prices.iter().find(|price| price.id == id)
}

/// The cells that a derived figure rests on.
pub(super) fn cells<'a>(evidence: &'a Evidence, what: &What) -> Vec<&'a CellEvidence> {
    let grid = |tunings: &[TuningId], scenes: &[SceneId], settings: &[SettingId]| {
        let mut found = Vec::new();
        for scene in scenes {
            for setting in settings {
                found.extend(tunings.iter().filter_map(|id| evidence.cell_of(*id, *scene, *setting)));
            }
        }
        found
    };
    match what {
        What::Cell { .. }
        | What::Ratio { .. }
        | What::Overall { .. }
        | What::Even { .. }
        | What::Reading { .. } => Vec::new(),
        What::Costs { tuning, from, to, scenes, .. } => grid(&[*tuning], scenes, &[*from, *to]),
        What::Lead { baseline, contender, from, to, scenes, .. } => {
            grid(&[*baseline, *contender], scenes, &[*from, *to])
        }
        What::Tuned { tuning, setting, scenes, .. } | What::Price { tuning, setting, scenes, .. } => {
            grid(&[*tuning], scenes, &[*setting])
        }
        What::Less { setting, baseline, contender, scenes } => {
            grid(&[*baseline, *contender], scenes, &[*setting])
        }
        What::Knee { setting, tunings, scenes } => grid(tunings, scenes, &[*setting]),
        What::Step { first, second, .. } => {
            [first, second].into_iter().filter_map(|cell| evidence.cells.get(cell)).collect()
        }
        What::Reader { contender, .. } => of_reader(evidence, what).map_or_else(Vec::new, |of| {
            let sides: Vec<TuningId> = of.instead_of.into_iter().chain([*contender]).collect();
            let scenes: Vec<SceneId> = of.plays.scenes.keys().copied().collect();
            let settings: Vec<SettingId> = of.plays.settings.keys().copied().collect();
            grid(&sides, &scenes, &settings)
        }),
    }
}

/// The tunings of a derived figure by what they are in it.
pub(super) fn roles(evidence: &Evidence, what: &What) -> Vec<(&'static str, TuningId)> {
    match what {
        What::Costs { tuning, .. } | What::Tuned { tuning, .. } | What::Price { tuning, .. } => {
            vec![("cell", *tuning)]
        }
        What::Knee { tunings, .. } => tunings.iter().map(|id| ("cell", *id)).collect(),
        What::Step { first, second, .. } => {
            let of = |role, cell: &CellId| Some((role, evidence.cells.get(cell)?.cell.of.tuning_id));
            let (first, second) = (of("first", first), of("second", second));
            let same = first.map(|(_, id)| id) == second.map(|(_, id)| id);
            first.into_iter().chain(second.filter(|_| !same)).collect()
        }
        What::Reader { contender, .. } => {
            let own = of_reader(evidence, what).and_then(|of| of.instead_of);
            own.map(|own| ("baseline", own)).into_iter().chain([("contender", *contender)]).collect()
        }
        What::Lead { baseline, contender, .. } | What::Less { baseline, contender, .. } => {
            vec![("baseline", *baseline), ("contender", *contender)]
        }
        _ => Vec::new(),
    }
}

/// Settings of a derived figure: what each is in it.
pub(super) fn settings(evidence: &Evidence, what: &What) -> Vec<(String, SettingId)> {
    let named = |name: &str, id: SettingId| (name.to_owned(), id);
    match what {
        What::Costs { from, to, .. } | What::Lead { from, to, .. } => {
            vec![named("setting from", *from), named("setting to", *to)]
        }
        What::Tuned { setting, .. }
        | What::Less { setting, .. }
        | What::Knee { setting, .. }
        | What::Price { setting, .. }
        | What::Even { setting, .. } => vec![named("setting", *setting)],
        What::Step { first, second, .. } => {
            let of = |name: &str, cell| Some(named(name, evidence.cells.get(cell)?.cell.of.setting_id));
            of("setting first", first).into_iter().chain(of("setting second", second)).collect()
        }
        What::Reader { .. } => {
            let own: BTreeSet<SettingId> =
                cells(evidence, what).iter().map(|cell| cell.cell.of.setting_id).collect();
            let mut named: Vec<(String, SettingId)> =
                own.into_iter().map(|id| (format!("setting {}", setting_name(evidence, id)), id)).collect();
            named.sort();
            named
        }
        What::Cell { .. } | What::Ratio { .. } | What::Overall { .. } | What::Reading { .. } => Vec::new(),
    }
}

/// The name that a derived figure gets, without its measure.
pub(super) fn name(evidence: &Evidence, what: &What) -> String {
    let tuning = |id: &TuningId| tuning_name(evidence, *id);
    let setting = |id: &SettingId| setting_name(evidence, *id);
    let over = |scenes: &[SceneId]| match scenes {
        [one] => scene_name(evidence, *one),
        several => format::plural(u64::try_from(several.len()).unwrap_or(u64::MAX), "scene", "scenes"),
    };
    match what {
        What::Costs { tuning: of, from, to, scenes, .. } => {
            format!("{}, {}: {} over {}", tuning(of), over(scenes), setting(to), setting(from))
        }
        What::Lead { baseline, contender, from, to, scenes, .. } => {
            let pair = format!("{} over {}", tuning(contender), tuning(baseline));
            format!("lead of {pair}, {}: at {} over at {}", over(scenes), setting(to), setting(from))
        }
        What::Tuned { tuning: of, setting: at, scenes, .. } => {
            format!("{}, {}, {}", tuning(of), over(scenes), setting(at))
        }
        What::Less { setting: at, baseline, contender, scenes } => {
            let pair = format!("{} less than {}", tuning(contender), tuning(baseline));
            format!("{pair}, {}, {}", over(scenes), setting(at))
        }
        What::Knee { setting: at, tunings, scenes } => {
            let part = tunings.first().and_then(|id| evidence.part_of(*id));
            let part = part.map_or_else(String::new, |part| evidence.registers.part_name(part));
            format!("knee of {part}, {}, {}", over(scenes), setting(at))
        }
        What::Step { first, second, .. } => {
            let cell = |id: &CellId| super::value::cell_name(evidence, *id);
            format!("{} more than {}", cell(second), cell(first))
        }
        What::Price { setting: at, tuning: of, scenes, .. } => {
            format!("price of a frame, {}, {}, {}", tuning(of), over(scenes), setting(at))
        }
        What::Even { setting: at, baseline, contender, .. } => {
            format!(
                "price at which {} equals {} in value, {}",
                tuning(contender),
                tuning(baseline),
                setting(at)
            )
        }
        What::Reader { reader, contender, .. } => {
            let who = evidence.readers.iter().find(|of| of.id == *reader);
            let who = who.map_or_else(|| format!("reader {reader}"), |of| of.fields.name.clone());
            format!("lead of {} for who {who}", tuning(contender))
        }
        What::Cell { .. } | What::Ratio { .. } | What::Overall { .. } | What::Reading { .. } => String::new(),
    }
}

/// How a derived figure was come by, in half a sentence; `passes`: how many kept passes, in words.
pub(super) fn method(what: &What, passes: &str) -> String {
    match what {
        What::Costs { .. } => {
            format!("ratio of the same part at two settings, scenes with equal weight, over {passes}")
        }
        What::Lead { .. } => {
            format!("ratio of the leads at two settings, the errors of all cells added, over {passes}")
        }
        What::Tuned { .. } => format!("geometric mean over the scenes that all tunings ran, over {passes}"),
        What::Less { .. } => format!("difference of geometric means over scenes, over {passes}"),
        What::Knee { .. } => {
            format!("farthest point above the chord of the monotone concave fit (Kneedle), over {passes}")
        }
        What::Step { .. } => format!("difference of two cells, over {passes}"),
        What::Price { .. } => format!("dated price over the rate; the interval is the rate's; {passes}"),
        What::Even { .. } => format!("the baseline's dated price times the overall ratio, over {passes}"),
        What::Reader { .. } => {
            format!("geometric mean of the ratios in what the reader plays, by their weights, over {passes}")
        }
        What::Cell { .. } | What::Ratio { .. } | What::Overall { .. } | What::Reading { .. } => String::new(),
    }
}

/// A reader of the piece.
pub(super) fn reader(evidence: &Evidence, id: ReaderId) -> Option<&crate::store::readers::Reader> {
    evidence.readers.iter().find(|reader| reader.id == id)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::readers::{JudgesBy, Reader, ReaderFields};
    use crate::store::registers::parts::{PriceFields, PriceKind};
    use crate::store::{PartId, PieceId};
    use crate::work::figures::digest::rests_on;
    use crate::work::made_up::{self, SETTING, add_cell, add_cell_at};

    const AVERAGE: Measure = Measure::AverageFps;
    const OTHER: SettingId = SettingId(2);

    /// Two parts in two scenes; with the option the first loses a half, the second a fifth. A price and a reader.
    fn evidence() -> Evidence {
        let mut evidence = made_up::piece(2, 2);
        let other = evidence.registers.settings[&SETTING].clone();
        evidence.registers.settings.insert(OTHER, other);
        for scene in [1, 2] {
            add_cell(&mut evidence, 1, scene, &[99.9, 100.0, 100.1]);
            add_cell(&mut evidence, 2, scene, &[127.9, 128.0, 128.1]);
            add_cell_at(&mut evidence, 1, scene, OTHER, &[49.9, 50.0, 50.1]);
            add_cell_at(&mut evidence, 2, scene, OTHER, &[102.3, 102.4, 102.5]);
        }
        let fields = PriceFields {
            part_id: PartId(1),
            amount: "1600".to_owned(),
            currency: "EUR".to_owned(),
            kind: PriceKind::Street,
            country: "DE".to_owned(),
            source: String::new(),
            dated_us: 0,
        };
        evidence.prices.push(Price { id: PriceId(1), fields, version: 1 });
        let fields = ReaderFields {
            piece_id: PieceId(1),
            name: "plays Game 2 daily".to_owned(),
            owned_part_id: Some(PartId(1)),
            judges_by: JudgesBy::Average,
            asks_permille: 250,
            refresh_hz: None,
            hours_a_week: 0,
            kwh_price: String::new(),
            kwh_currency: String::new(),
            plays: r#"{"scenes":{"2":1},"settings":{"1":1}}"#.to_owned(),
        };
        evidence.readers.push(Reader { id: ReaderId(1), fields, version: 1 });
        evidence
    }

    fn all() -> Vec<What> {
        let (measure, scenes) = (AVERAGE, vec![SceneId(1), SceneId(2)]);
        let (baseline, contender, setting) = (TuningId(1), TuningId(2), SETTING);
        vec![
            What::Costs { measure, tuning: contender, from: SETTING, to: OTHER, scenes: scenes.clone() },
            What::Lead { measure, baseline, contender, from: SETTING, to: OTHER, scenes: scenes.clone() },
            What::Tuned { measure, tuning: contender, setting, scenes: scenes.clone() },
            What::Step { measure, first: CellId(101), second: CellId(201) },
            What::Price { measure, setting, tuning: baseline, scenes, price: PriceId(1) },
            What::Even {
                measure,
                setting,
                baseline,
                contender,
                among: vec![baseline, contender],
                price: PriceId(1),
            },
            What::Reader { measure, reader: ReaderId(1), baseline, contender },
        ]
    }

    /// Common practice, no source: at a baseline of 1 600, +28% breaks even at 2 048.
    #[test]
    fn each_kind_has_the_value_that_its_page_shows() {
        let evidence = evidence();
        let said: Vec<String> = all()
            .iter()
            .map(|what| {
                let valued = value(&evidence, what).unwrap();
                assert!(valued.interval.is_some(), "{what:?}");
                valued.shown(1).replace(['\u{a0}', '\u{2009}', '\u{202f}'], " ")
            })
            .collect();
        assert_eq!(
            said,
            ["−20.0%", "+60.0%", "128.0 fps", "28.0 fps", "16.0 EUR per fps", "2048.0 EUR", "+28.0%"]
        );
    }

    #[test]
    fn each_kind_is_written_in_one_way_and_read_again() {
        for what in all() {
            assert_eq!(What::parse(&what.json()).unwrap(), what);
        }
    }

    #[test]
    fn a_figure_lapses_by_its_own_price_reader_and_cells_alone() {
        let mut digests: Vec<Vec<String>> = Vec::new();
        let mut see = |evidence: &Evidence| {
            digests.push(all().iter().map(|what| rests_on(evidence, what).digest()).collect());
        };
        let before = evidence();
        see(&before);
        let mut dearer = evidence();
        dearer.prices[0].fields.amount = "1700".to_owned();
        see(&dearer);
        let mut other_weights = evidence();
        other_weights.readers[0].fields.plays = r#"{"scenes":{"2":2},"settings":{"1":1}}"#.to_owned();
        see(&other_weights);
        let mut one_more = evidence();
        let pass = one_more.cells[&CellId(10_201)].passes[0].clone();
        let cell = one_more.cells.get_mut(&CellId(10_201)).unwrap();
        cell.passes.push(pass);
        cell.passes[3].row.key = "another".to_owned();
        see(&one_more);
        let moved = |at: usize| -> Vec<bool> {
            digests[0].iter().zip(&digests[at]).map(|(before, after)| before != after).collect()
        };
        assert_eq!(moved(1), [false, false, false, false, true, true, false]);
        assert_eq!(moved(2), [false, false, false, false, false, false, true]);
        assert_eq!(moved(3), [true, true, false, false, false, false, false]);
    }
}
