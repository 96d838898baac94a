//! The answers of the kinds of reader, told in the words of the page Worth: a line and a sentence each, and their chart.

use std::collections::{BTreeMap, BTreeSet};

use weighhouse_measure::compare::money::Amount;
use weighhouse_measure::compare::reader::{Answer, refresh_ms};
use weighhouse_measure::compare::verdict::Verdict;
use weighhouse_web::charts::{Caption, Ratio, RatioRow, Ratios};
use weighhouse_web::format;
use weighhouse_web::pages::{ReaderLine, RunningLine};

use super::against::count;
use super::piece_frame::at;
use super::tuning::{ends, measured};
use super::value::Told;
use crate::store::{SceneId, SettingId, TuningId};
use crate::work::answers::{ForReader, Refresh};
use crate::work::evidence::{CellEvidence, Evidence, Registers};
use crate::work::figures::what::What;
use crate::work::foot;
use crate::work::worth::Found;

/// Answers with what they are about.
pub(super) struct Answers<'a> {
    evidence: &'a Evidence,
    names: &'a Registers,
    answers: &'a [ForReader],
    baseline: TuningId,
    market: String,
}

impl<'a> Answers<'a> {
    pub(super) fn new(evidence: &'a Evidence, found: &'a Found, answers: &'a [ForReader]) -> Self {
        let market = Told::new(evidence, found).market();
        let baseline = found.choice.baseline;
        Answers { evidence, names: &evidence.registers, answers, baseline, market }
    }

    /// A line for each reader and part.
    pub(super) fn lines(&self) -> Vec<ReaderLine> {
        self.answers.iter().map(|answer| self.line(answer)).collect()
    }

    fn line(&self, of: &ForReader) -> ReaderLine {
        let fields = &of.reader.fields;
        let owned = fields.owned_part_id.and_then(|id| self.names.parts.get(&id)).map(|part| part.name());
        let money = |amount: Amount, currency: &str| {
            format::money(amount.to_string().trim_start_matches('-'), currency)
        };
        ReaderLine {
            id: of.reader.id.0,
            reader: fields.name.clone(),
            part: self.names.tuning_name(of.contender),
            owns: owned.is_some(),
            instead_of: owned
                .unwrap_or_else(|| of.instead_of.map_or_else(String::new, |id| self.names.tuning_name(id))),
            measure_name: of.measure.short_name().to_owned(),
            plays: self.plays(of),
            lead: of.lead.as_ref().map(|lead| lead.ratio),
            interval: of.lead.as_ref().and_then(|lead| lead.bounds).map(|bounds| ends(bounds.interval)),
            asks: fields.asks_permille / 10,
            covered: of.covered,
            missing: self.missing(of),
            answer: said(of),
            way: match of.answer {
                Answer::Yes => "up",
                Answer::No => "down",
                Answer::NotSettled | Answer::NotMeasured | Answer::NoVerdict => "open",
            },
            rate: measured(of.rate),
            refresh: fields.refresh_hz.map(|hz| (hz, refresh_ms(hz as f64))),
            refresh_says: match of.refresh {
                Some(Refresh::Passes) => "above",
                Some(Refresh::Below) => "below",
                Some(Refresh::About) => "about",
                None => "",
            },
            price: of.price.as_ref().map_or_else(String::new, |(price, amount)| {
                let fields = &price.fields;
                let day = format::day(at(fields.dated_us), "UTC");
                let read = [fields.kind.to_string(), fields.country.clone(), day];
                let read: Vec<String> = read.into_iter().filter(|text| !text.is_empty()).collect();
                format!("{} ({})", money(*amount, &fields.currency), read.join(", "))
            }),
            running: of.running.map(|(one, three)| RunningLine {
                less: one.value() < 0.0,
                one_year: money(one, &fields.kwh_currency),
                three_years: money(three, &fields.kwh_currency),
                hours: fields.hours_a_week,
                kwh: format::money(&fields.kwh_price, &fields.kwh_currency),
            }),
            what: of.lead.as_ref().map_or_else(String::new, |_| {
                let (measure, reader) = (of.measure, of.reader.id);
                What::Reader { measure, reader, baseline: self.baseline, contender: of.contender }.json()
            }),
        }
    }

    /// What of it was compared: scenes by name where they are few, and settings.
    fn plays(&self, of: &ForReader) -> String {
        let compared = |scene: &&SceneId| {
            of.plays.settings.keys().any(|setting| !of.missing.contains(&(**scene, *setting)))
        };
        let scenes: Vec<String> =
            of.plays.scenes.keys().filter(compared).map(|id| self.names.scene_name(*id)).collect();
        let settings: Vec<String> = of.plays.settings.keys().map(|id| self.names.setting_name(*id)).collect();
        format!("{} at {}", few(&scenes), settings.join(" and "))
    }

    /// What was not measured: whole settings by their names, else each scene.
    fn missing(&self, of: &ForReader) -> String {
        let mut by_setting: BTreeMap<SettingId, Vec<String>> = BTreeMap::new();
        for (scene, setting) in &of.missing {
            let cell = self.evidence.cell_of(of.contender, *scene, *setting);
            let reason = cell.map(|cell| &cell.cell.did_not_run).filter(|reason| !reason.is_empty());
            let reason = reason.map_or_else(String::new, |reason| format!(" (did not run: {reason})"));
            by_setting.entry(*setting).or_default().push(self.names.scene_name(*scene) + &reason);
        }
        let said = by_setting.into_iter().map(|(setting, scenes)| {
            let setting = self.names.setting_name(setting);
            format!("{} at {setting}", few(&scenes))
        });
        said.collect::<Vec<_>>().join("; ")
    }

    /// Who gets how much: a row for each reader and part that was measured for them; `None` without one.
    pub(super) fn chart(&self) -> Option<Ratios> {
        let rows: Vec<RatioRow> = self.answers.iter().filter_map(|of| self.row(of)).collect();
        if rows.is_empty() {
            return None;
        }
        let title = "For whom it is worth it: the lead in what each plays".to_owned();
        let market = if self.market.is_empty() {
            String::new()
        } else {
            format!(" {}.", format::sentence(&self.market))
        };
        Some(Ratios {
            caption: Caption {
                id: "readers".to_owned(),
                desc: format!(
                    "{title}: a row for each kind of reader and part; the table has the same numbers."
                ),
                title,
                subtitle: format!(
                    "Dots: weighted geometric mean of ratios. Lines: 95% intervals, from passes alone. Upright mark: what they want.{market}"
                ),
                foot: self.plays_what().into_iter().chain(foot::foot(self.evidence, self.cells())).collect(),
                draft: false,
            },
            baseline: "what they have".to_owned(),
            contenders: vec!["lead".to_owned()],
            axis: "lead over what they have or would buy else (log scale)".to_owned(),
            rows,
            overall: Vec::new(),
        })
    }

    fn row(&self, of: &ForReader) -> Option<RatioRow> {
        let lead = of.lead.as_ref()?;
        let (low, high) = lead.bounds.map_or((f64::NAN, f64::NAN), |bounds| ends(bounds.interval));
        let asks = of.reader.fields.asks_permille / 10;
        Some(RatioRow {
            name: format!("{}: {}", of.reader.fields.name, self.names.tuning_name(of.contender)),
            note: format!("by {}: {}, wants +{asks}%", of.measure.short_name(), of.answer.words()),
            ratios: vec![Some(Ratio { value: lead.ratio, low, high })],
            asked: Some(1.0 + asks as f64 / 100.0),
        })
    }

    /// Whom nothing can be told of which part.
    fn unmeasured(&self) -> Option<String> {
        let without = self.answers.iter().filter(|of| of.lead.is_none());
        let each: Vec<String> = without
            .map(|of| format!("{} ({})", of.reader.fields.name, self.names.tuning_name(of.contender)))
            .collect();
        (!each.is_empty()).then(|| format!("Nothing of what they play was measured: {}.", each.join("; ")))
    }

    /// What each plays, with its weights, and whom nothing can be told: for the foot of a chart.
    pub(super) fn plays_what(&self) -> Vec<String> {
        self.weights().into_iter().chain(self.unmeasured()).collect()
    }

    /// The cells that the leads rest on, each once.
    pub(super) fn cells(&self) -> Vec<&'a CellEvidence> {
        let mut seen = BTreeSet::new();
        let cells = self.answers.iter().flat_map(|of| {
            let tunings = of.instead_of.into_iter().chain([of.contender]);
            tunings.flat_map(move |tuning| {
                let scenes = of.plays.scenes.keys();
                scenes.flat_map(move |scene| {
                    of.plays.settings.keys().filter_map(move |id| self.evidence.cell_of(tuning, *scene, *id))
                })
            })
        });
        cells.filter(|cell| seen.insert(cell.cell.id)).collect()
    }

    /// What each plays, so that weights go out with the chart.
    fn weights(&self) -> Vec<String> {
        let mut seen = BTreeSet::new();
        let first = self.answers.iter().filter(|of| seen.insert(of.reader.id));
        first
            .map(|of| {
                let scenes = of.plays.scenes.iter().map(|(id, weight)| (self.names.scene_name(*id), *weight));
                let settings =
                    of.plays.settings.iter().map(|(id, weight)| (self.names.setting_name(*id), *weight));
                format!(
                    "{}, by {}: {}, at {}.",
                    of.reader.fields.name,
                    of.measure.short_name(),
                    weighted(scenes.collect()),
                    weighted(settings.collect())
                )
            })
            .collect()
    }
}

/// One or two by their names, more as how many they are.
fn few(scenes: &[String]) -> String {
    if scenes.len() > 2 {
        format::plural(count(scenes.len()), "scene", "scenes")
    } else {
        scenes.join(" and ")
    }
}

/// `3 × Tin Comet, corridor; 1 × Driftglass, arena`, without weights where they are the same.
fn weighted(list: Vec<(String, u32)>) -> String {
    let alike = list.windows(2).all(|pair| pair[0].1 == pair[1].1);
    let alone = list.len() == 1;
    let each = list.into_iter().map(|(name, weight)| if alike { name } else { format!("{weight} × {name}") });
    let said = each.collect::<Vec<_>>().join("; ");
    if alike && !alone { format!("{said} (each the same)") } else { said }
}

/// The answer, and where there is none, why.
fn said(of: &ForReader) -> String {
    match (&of.lead, of.answer) {
        (Some(lead), Answer::NoVerdict) => Verdict::None { marks: lead.marks.clone() }.words(),
        _ => of.answer.words().to_owned(),
    }
}
