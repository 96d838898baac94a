//! What a frame costs, told in the words of the page Worth: its table, specifications and chart.

use std::collections::{BTreeMap, BTreeSet};

use serde_json::json;
use weighhouse_measure::compare::money::Amount;
use weighhouse_measure::compare::worth::Verdict;
use weighhouse_web::charts::{Caption, Ratio, RatioRow, Ratios, Table};
use weighhouse_web::format;
use weighhouse_web::pages::{Measured, Specification, ValueLine, WorthFound, WorthLine, worth_table};

use super::against::{count, ratio};
use super::answers::Answers;
use super::piece_frame::at;
use super::tuning::{ends, measured};
use crate::store::CellId;
use crate::work::against::{self, Judged};
use crate::work::evidence::{CellEvidence, Evidence, Registers};
use crate::work::figures::what::What;
use crate::work::foot;
use crate::work::worth::{Found, Line};

/// What was reckoned with the names of what it is about.
pub(super) struct Told<'a> {
    evidence: &'a Evidence,
    names: &'a Registers,
    found: &'a Found,
}

impl<'a> Told<'a> {
    pub(super) fn new(evidence: &'a Evidence, found: &'a Found) -> Self {
        Told { evidence, names: &evidence.registers, found }
    }

    pub(super) fn all(&self) -> WorthFound {
        let found = self.found;
        WorthFound {
            measure_name: found.choice.measure.name().to_owned(),
            setting: self.names.setting_name(found.choice.setting),
            baseline: self.names.tuning_name(found.choice.baseline),
            market: self.market(),
            currency: self.currency(),
            hours: found.running.hours,
            kwh: text(found.running.kwh),
            lines: found.lines.iter().map(|line| self.line(line)).collect(),
            specifications: self.specifications(),
            foot: self.foot(self.cells()),
            chart: self.chart(),
        }
    }

    fn currency(&self) -> String {
        self.found.market.as_ref().map_or_else(String::new, |market| market.currency.clone())
    }

    /// `street prices in DE, EUR, read on 24 Nov 2026`; empty without a market.
    pub(super) fn market(&self) -> String {
        let Some(market) = &self.found.market else { return String::new() };
        let days: BTreeSet<i64> =
            self.found.lines.iter().filter_map(|line| Some(line.price.as_ref()?.fields.dated_us)).collect();
        let day = |us: &i64| format::day(at(*us), "UTC");
        match (days.first(), days.last()) {
            (Some(first), Some(last)) if day(first) != day(last) => {
                format!("{}, read from {} to {}", market.words(), day(first), day(last))
            }
            (Some(only), _) => format!("{}, read on {}", market.words(), day(only)),
            _ => market.words(),
        }
    }

    fn line(&self, line: &Line) -> WorthLine {
        let judged = line.ratio.as_ref().map(|found| Judged {
            ratio: found.overall.these.clone(),
            verdict: found.verdict.clone(),
            margin: found.margin,
        });
        let price = line.price.as_ref().map(|price| &price.fields);
        WorthLine {
            name: self.names.tuning_name(line.tuning),
            did_not_run: self.did_not_run(line),
            price: price.map_or_else(String::new, |price| price.amount.clone()),
            dated: price.map(|price| at(price.dated_us)),
            source: price.map_or_else(String::new, |price| price.source.clone()),
            rate: measured(line.rate),
            against: judged.map(|judged| ratio(&judged, self.what(line))),
            per_frame: Measured { value: line.per_frame, interval: line.per_frame_interval },
            what_frame: self.what_frame(line).unwrap_or_default(),
            value: line.value.as_ref().map(|value| ValueLine {
                per_frame: value.per_frame,
                interval: value.per_frame_interval.map(ends),
                break_even: text(value.break_even),
                break_even_interval: value
                    .break_even_interval
                    .map(|(low, high)| (low.to_string(), high.to_string())),
                what_even: self.what_even(line).unwrap_or_default(),
                verdict: said(value.verdict, line),
                way: way(value.verdict),
            }),
            watts: measured(line.watts),
            kwh_a_year: line.kwh_a_year,
            one_year: text(line.cost.map(|cost| cost.0)),
            three_years: text(line.cost.map(|cost| cost.1)),
        }
    }

    /// Each scene that the part did not run, with the reason.
    fn did_not_run(&self, line: &Line) -> Vec<String> {
        let out = self.evidence.did_not_run(line.tuning, self.found.choice.setting);
        out.map(|(scene, why)| format!("{}: {why}", self.names.scene_name(scene))).collect()
    }

    /// What a figure of the overall ratio would be.
    fn what(&self, line: &Line) -> String {
        let choice = &self.found.choice;
        json!({
            "kind": "overall", "measure": choice.measure.key(), "setting": choice.setting,
            "baseline": choice.baseline, "contender": line.tuning, "among": choice.contenders,
        })
        .to_string()
    }

    /// What a figure of the price of a frame would be.
    fn what_frame(&self, line: &Line) -> Option<String> {
        let price = line.price.as_ref()?.id;
        line.per_frame?;
        let against::Choice { measure, setting, .. } = self.found.choice;
        let scenes = self.found.scenes.clone();
        Some(What::Price { measure, setting, tuning: line.tuning, scenes, price }.json())
    }

    /// What a figure of the price of equal value would be: it rests on the baseline's price.
    fn what_even(&self, line: &Line) -> Option<String> {
        let price = self.found.lines.first()?.price.as_ref()?.id;
        let against::Choice { measure, setting, baseline, .. } = self.found.choice;
        let among = self.found.choice.compared();
        Some(What::Even { measure, setting, baseline, contender: line.tuning, among, price }.json())
    }

    /// Memory and rated power as they were entered, each against the baseline's.
    fn specifications(&self) -> Vec<Specification> {
        let entered = |line: &Line| Some(&self.names.parts.get(&line.part?)?.fields);
        let memory: Vec<Option<i64>> =
            self.found.lines.iter().map(|line| entered(line)?.memory_mib).collect();
        let rated: Vec<Option<i64>> =
            self.found.lines.iter().map(|line| entered(line)?.rated_power_w).collect();
        let whole = memory.iter().flatten().all(|mib| mib % 1024 == 0);
        let (unit, memory) = if whole {
            ("GiB", memory.into_iter().map(|mib| mib.map(|mib| mib / 1024)).collect())
        } else {
            ("MiB", memory)
        };
        let row = |name: &str, unit, values: Vec<Option<i64>>| {
            let first = values.first().copied().flatten();
            let ratio = |value: i64| Some(value as f64 / first? as f64);
            let with_ratios = values.iter().enumerate();
            let values: Vec<(Option<i64>, Option<f64>)> =
                with_ratios.map(|(nth, value)| (*value, value.filter(|_| nth > 0).and_then(ratio))).collect();
            let any = values.iter().any(|(value, _)| value.is_some());
            any.then(|| Specification { name: name.to_owned(), unit, values })
        };
        [row("memory", unit, memory), row("rated power limit", "W", rated)].into_iter().flatten().collect()
    }

    /// The cells that the numbers rest on.
    fn cells(&self) -> impl Iterator<Item = &'a CellEvidence> {
        let (evidence, found) = (self.evidence, self.found);
        let tunings = found.lines.iter().map(|line| line.tuning);
        let cells = tunings.flat_map(|tuning| found.scenes.iter().map(move |scene| (tuning, *scene)));
        cells.filter_map(|(tuning, scene)| evidence.cell_of(tuning, scene, found.choice.setting))
    }

    /// `cells`: what all numbers beside it rest on.
    fn foot(&self, cells: impl IntoIterator<Item = &'a CellEvidence>) -> Vec<String> {
        let scenes: Vec<String> = self.found.scenes.iter().map(|id| self.names.scene_name(*id)).collect();
        let [passes, builds] = foot::foot(self.evidence, cells);
        let out = self.found.lines.iter().flat_map(|line| {
            let name = self.names.tuning_name(line.tuning);
            self.did_not_run(line).into_iter().map(move |says| format!(" {name} did not run {says}."))
        });
        vec![
            format!(
                "Scenes that all compared ran: {}. Each counts the same.{}",
                scenes.join("; "),
                out.collect::<String>()
            ),
            "Price of a frame: price divided by the frame rate, the geometric mean over the scenes. Against the baseline's: ratio of prices divided by the overall ratio of frame rates; its interval comes from the frame rates alone."
                .to_owned(),
            passes,
            builds,
            "About the same value: the 90% interval lies within 5% of the baseline's. Equal value at: the baseline's price times the overall ratio."
                .to_owned(),
            "Of each part the newest price of one country, kind and currency counts."
                .to_owned(),
        ]
    }

    /// All of it as a table for print and video, with the answers of readers; `None` where no part is priced.
    pub(super) fn table(&self, answers: &Answers<'a>) -> Option<Table> {
        let found = self.all();
        found.lines.iter().find_map(|line| line.per_frame.value)?;
        let mut cells: BTreeMap<CellId, &CellEvidence> = BTreeMap::new();
        cells.extend(self.cells().chain(answers.cells()).map(|cell| (cell.cell.id, cell)));
        let mut foot = self.foot(cells.into_values());
        foot.insert(0, format!("Prices: {}. Nothing is converted.", self.market()));
        foot.extend(answers.plays_what());
        let title = format!("What each part is worth, {}", found.setting);
        let caption = Caption {
            id: "worth-table".to_owned(),
            desc: format!(
                "{title}, against {}: a row for each part, then one for each reader.",
                found.baseline
            ),
            title,
            subtitle: format!(
                "{}; against {}. Values ± half their 95% interval, which comes from the frame rates.",
                format::sentence(&found.measure_name),
                found.baseline
            ),
            foot,
            draft: false,
        };
        Some(worth_table(&found, &answers.lines(), caption))
    }

    /// Price of a frame against the baseline's; `None` where no contender can be priced.
    pub(super) fn chart(&self) -> Option<Ratios> {
        let currency = self.currency();
        let rows: Vec<RatioRow> = self
            .found
            .lines
            .iter()
            .filter_map(|line| {
                let value = line.value.as_ref()?;
                let (low, high) = value.per_frame_interval.map_or((f64::NAN, f64::NAN), ends);
                let price = format::money(&line.price.as_ref()?.fields.amount, &currency);
                let out = match self.did_not_run(line).len() {
                    0 => String::new(),
                    n => format!(" (did not run {})", format::plural(count(n), "scene", "scenes")),
                };
                Some(RatioRow {
                    name: self.names.tuning_name(line.tuning) + &out,
                    note: format!("{price}; {}", value.verdict.words()),
                    ratios: vec![Some(Ratio { value: value.per_frame, low, high })],
                    asked: None,
                })
            })
            .collect();
        if rows.is_empty() {
            return None;
        }
        let baseline = self.names.tuning_name(self.found.choice.baseline);
        let own = self.found.lines.first().and_then(|line| line.price.as_ref());
        let own = own.map_or_else(String::new, |price| format::money(&price.fields.amount, &currency));
        let title = format!(
            "Price of a frame against {baseline}, {}",
            self.names.setting_name(self.found.choice.setting)
        );
        Some(Ratios {
            caption: Caption {
                id: "worth".to_owned(),
                desc: format!(
                    "{title}: a ratio for each part with its 95% interval; the table has the same numbers."
                ),
                title,
                subtitle: format!(
                    "{}. {baseline} costs {own}. Left of the line a frame costs less.",
                    format::sentence(&self.market())
                ),
                foot: self.foot(self.cells()).into_iter().take(5).collect(),
                draft: false,
            },
            baseline,
            contenders: vec!["price of a frame".to_owned()],
            axis: format!(
                "price of a frame ({}): change against the baseline (log scale)",
                self.found.choice.measure.name()
            ),
            rows,
            overall: Vec::new(),
        })
    }
}

/// The verdict on a value, and where there is none, why.
fn said(verdict: Verdict, line: &Line) -> String {
    match (&line.ratio, verdict) {
        (Some(found), Verdict::None) => found.verdict.words(),
        _ => verdict.words().to_owned(),
    }
}

fn text(amount: Option<Amount>) -> String {
    amount.map_or_else(String::new, |amount| amount.to_string())
}

fn way(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Better => "up",
        Verdict::Worse => "down",
        Verdict::Same => "level",
        Verdict::NotSettled | Verdict::None => "open",
    }
}
