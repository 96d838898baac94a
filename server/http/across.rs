//! One setting against another: the page, its twin, and its chart at an address of its own.

use axum::extract::State;
use axum::response::Response;
use weighhouse_web::charts::{self, Caption, Ratios};
use weighhouse_web::format::{self, Unit};
use weighhouse_web::pages::{Across, AcrossFound, AgainstForm, ChangeLine, ChangeOf, CostLine, Field};

use super::App;
use super::against::{count, drawn, ratio};
use super::piece_frame::in_piece;
use super::resources::Of;
use super::respond::{Wants, respond};
use super::sent::{self, Sent};
use super::session::SignedIn;
use crate::store::pieces::Piece;
use crate::store::{SceneId, TuningId};
use crate::work::Result;
use crate::work::across::{self, Asked, Change, Cost, Found, Lead};
use crate::work::against::{self, Judged};
use crate::work::evidence::{Evidence, Registers};
use crate::work::figures::what::What;
use crate::work::foot;

/// The page.
pub(super) async fn show(
    State(app): State<App>,
    who: SignedIn,
    wants: Wants,
    Of(piece): Of<Piece>,
    sent::Asked(query): sent::Asked,
) -> Result<Response> {
    let (evidence, found) = across::show(&app.store, piece.id, &asked(&query)).await?;
    let told = found.as_ref().map(|found| Told::new(&evidence, found));
    let page = Across {
        frame: in_piece(&app, &who, &piece, "Against", evidence.to_review().count()),
        key: piece.key,
        form: told.as_ref().map_or_else(AgainstForm::default, Told::form),
        found: told.as_ref().map(Told::all),
    };
    respond(wants, &page)
}

pub(super) fn asked(query: &Sent) -> Asked {
    Asked {
        compared: against::Asked {
            measure: query.text("measure").to_owned(),
            setting: String::new(),
            baseline: query.text("baseline").to_owned(),
            with: query.all("with").map(str::to_owned).collect(),
        },
        step: query.text("step").to_owned(),
    }
}

/// What was found, in the words of the page.
pub(super) fn told(evidence: &Evidence, found: &Found) -> AcrossFound {
    Told::new(evidence, found).all()
}

/// What was found with the names of what it is about.
struct Told<'a> {
    evidence: &'a Evidence,
    names: &'a Registers,
    found: &'a Found,
}

impl<'a> Told<'a> {
    fn new(evidence: &'a Evidence, found: &'a Found) -> Self {
        Told { evidence, names: &evidence.registers, found }
    }

    fn form(&self) -> AgainstForm {
        let (options, choice) = (&self.found.options, &self.found.choice);
        let step = |step: &across::Step| {
            let (from, to) = (self.names.setting_name(step.from), self.names.setting_name(step.to));
            (step.key(), format!("{}: {from}, then {to}", step.option))
        };
        AgainstForm {
            measure: Field::of(choice.measure.key()),
            measures: options.measures.iter().map(|m| (m.key().to_owned(), m.name().to_owned())).collect(),
            setting: Field::of(self.found.step.key()),
            settings: self.found.steps.iter().map(step).collect(),
            baseline: Field::of(choice.baseline.to_string()),
            tunings: options.tunings.iter().map(|id| (id.to_string(), self.names.tuning_name(*id))).collect(),
            with: choice.contenders.iter().map(ToString::to_string).collect(),
        }
    }

    fn all(&self) -> AcrossFound {
        let Found { choice, step, costs, changes, left_out, .. } = self.found;
        let left_out = left_out.iter().map(|id| {
            format!("{} ran no scene at both settings and is left out.", self.names.tuning_name(*id))
        });
        AcrossFound {
            measure_name: choice.measure.name().to_owned(),
            from: self.names.setting_name(step.from),
            to: self.names.setting_name(step.to),
            option: step.option,
            baseline: self.names.tuning_name(choice.baseline),
            parts: costs.iter().map(|cost| self.names.tuning_name(cost.tuning)).collect(),
            costs: self.costs(),
            changes: changes.iter().map(|change| self.change(change)).collect(),
            left_out: left_out.collect(),
            foot: self.foot(),
            chart: self.chart(),
        }
    }

    /// `All 8 scenes`; empty where one scene says it all.
    fn all_scenes(&self) -> String {
        let scenes = self.found.scenes.len();
        if scenes < 2 {
            String::new()
        } else {
            format!("All {}", format::plural(count(scenes), "scene", "scenes"))
        }
    }

    fn costs(&self) -> Vec<CostLine> {
        let costs = &self.found.costs;
        let told = |cost: &Cost, judged: &Option<Judged>, scenes: &[SceneId]| {
            judged.as_ref().map(|judged| ratio(judged, self.what_cost(cost.tuning, scenes)))
        };
        let scenes = self.found.scenes.iter().enumerate().map(|(nth, scene)| CostLine {
            name: self.names.scene_name(*scene),
            note: costs.iter().filter_map(|cost| self.waits(cost, nth)).collect::<Vec<_>>().join("; "),
            costs: costs.iter().map(|cost| told(cost, cost.scenes.get(nth)?, &[*scene])).collect(),
        });
        let all = CostLine {
            name: self.all_scenes(),
            note: String::new(),
            costs: costs.iter().map(|cost| told(cost, &cost.overall, &self.found.scenes)).collect(),
        };
        scenes.chain(Some(all).filter(|line| !line.name.is_empty())).collect()
    }

    /// Where the card waits for the rest of the machine.
    fn waits(&self, cost: &Cost, nth: usize) -> Option<String> {
        let share = cost.card_waits.get(nth).copied().flatten()?;
        let share = Unit::Percent.plain((share * 100.0).round());
        Some(format!("{} at work {share} of the time", self.names.tuning_name(cost.tuning)))
    }

    fn change(&self, of: &Change) -> ChangeOf {
        let line = |name: String, note: String, lead: &Lead, scenes: &[SceneId]| {
            let told = |judged| ratio(judged, String::new());
            let change = ratio(&lead.change, self.what_lead(of.contender, scenes));
            ChangeLine { name, note, from: told(&lead.from), to: told(&lead.to), change }
        };
        let cost = self.found.costs.iter().find(|cost| cost.tuning == of.contender);
        let scenes =
            self.found.scenes.iter().zip(&of.scenes).enumerate().filter_map(|(nth, (scene, lead))| {
                let waits = cost.and_then(|cost| self.waits(cost, nth));
                let note =
                    waits.map_or_else(String::new, |waits| format!("{waits}: its lead is a lower bound"));
                Some(line(self.names.scene_name(*scene), note, lead.as_ref()?, &[*scene]))
            });
        let all = of.overall.as_ref();
        let all = all.map(|lead| line(self.all_scenes(), String::new(), lead, &self.found.scenes));
        ChangeOf {
            name: self.names.tuning_name(of.contender),
            lines: scenes.chain(all.filter(|line| !line.name.is_empty())).collect(),
        }
    }

    /// What a figure of the option's cost to a part would be.
    fn what_cost(&self, tuning: TuningId, scenes: &[SceneId]) -> String {
        let Found { choice, step, .. } = self.found;
        let (measure, scenes) = (choice.measure, scenes.to_vec());
        What::Costs { measure, tuning, from: step.from, to: step.to, scenes }.json()
    }

    /// What a figure of the change of a lead would be.
    fn what_lead(&self, contender: TuningId, scenes: &[SceneId]) -> String {
        let Found { choice, step, .. } = self.found;
        let (measure, baseline, scenes) = (choice.measure, choice.baseline, scenes.to_vec());
        What::Lead { measure, baseline, contender, from: step.from, to: step.to, scenes }.json()
    }

    fn chart(&self) -> Option<Ratios> {
        let Found { choice, step, costs, scenes, .. } = self.found;
        if scenes.is_empty() {
            return None;
        }
        let (from, to) = (self.names.setting_name(step.from), self.names.setting_name(step.to));
        let dot = |judged: &Judged| drawn(&ratio(judged, String::new()));
        let title = format!("What {} does to the {}", step.option, choice.measure.short_name());
        let rows = scenes.iter().enumerate().map(|(nth, scene)| charts::RatioRow {
            name: self.names.scene_name(*scene),
            note: String::new(),
            ratios: costs.iter().map(|cost| cost.scenes.get(nth)?.as_ref().map(dot)).collect(),
            asked: None,
        });
        let all = costs.iter().filter(|_| scenes.len() > 1).filter_map(|cost| cost.overall.as_ref());
        Some(Ratios {
            caption: Caption {
                id: "across".to_owned(),
                desc: format!("{title}: a ratio for each scene and part; the table has the same numbers."),
                title,
                subtitle: format!(
                    "{to} against the same part at {from}. Lines: 95% intervals from the spread between passes."
                ),
                foot: self.foot().into_iter().take(3).collect(),
                draft: false,
            },
            baseline: from,
            contenders: costs.iter().map(|cost| self.names.tuning_name(cost.tuning)).collect(),
            axis: format!("{}: change with the option (log scale)", choice.measure.short_name()),
            rows: rows.collect(),
            overall: all.map(|judged| charts::Overall { these: dot(judged), another: None }).collect(),
        })
    }

    /// What the numbers rest on, in sentences.
    fn foot(&self) -> Vec<String> {
        let Found { costs, scenes, step, .. } = self.found;
        let cells = costs.iter().flat_map(|cost| scenes.iter().map(move |scene| (cost.tuning, *scene)));
        let cells = cells.flat_map(|(tuning, scene)| {
            [step.from, step.to].map(|setting| self.evidence.cell_of(tuning, scene, setting))
        });
        let [passes, builds] = foot::foot(self.evidence, cells.flatten());
        vec![
            "Change: the ratio of a part's cells at both settings in one scene; all scenes that every compared part ran at both, with equal weight.".to_owned(),
            passes,
            builds,
            "Difference: the ratio to the baseline at the second setting over that at the first; the errors of all four cells are in its interval.".to_owned(),
            "A card that works less than 90% of the frame time waits for the rest of the machine: more card would not show there, so that its lead is a lower bound.".to_owned(),
        ]
    }
}
