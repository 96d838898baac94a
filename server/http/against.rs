//! Parts against a baseline: the page, its twin, and its chart at an address of its own.

use std::collections::BTreeSet;

use axum::extract::State;
use axum::response::Response;
use serde_json::json;
use weighhouse_measure::compare::SceneKind;
use weighhouse_measure::compare::ratio::{Crossing, Ratio};
use weighhouse_measure::compare::verdict::{Verdict, Way};
use weighhouse_web::charts::{self, Caption, Ratios};
use weighhouse_web::format::{self, Unit};
use weighhouse_web::pages::{
    Against, AgainstForm, CellLine, Comparison, Contender, Field, OverallLine, PriorShown, RatioLine,
    SceneLine,
};

use super::App;
use super::beside;
use super::piece_frame::{at, in_piece};
use super::resources::Of;
use super::respond::{Wants, respond};
use super::sent::{self, Sent};
use super::session::SignedIn;
use crate::store::TuningId;
use crate::store::pieces::Piece;
use crate::work::against::{self, Asked, CellShown, Judged, OverallRatio};
use crate::work::carried::said;
use crate::work::evidence::{CellEvidence, Evidence, Registers};
use crate::work::{Result, foot};

/// The page.
pub(super) async fn show(
    State(app): State<App>,
    who: SignedIn,
    wants: Wants,
    Of(piece): Of<Piece>,
    sent::Asked(query): sent::Asked,
) -> Result<Response> {
    let (evidence, comparison) = against::show(&app.store, piece.id, &asked(&query)).await?;
    let page = Against {
        frame: in_piece(&app, &who, &piece, "Against", evidence.to_review().count()),
        key: piece.key,
        form: form(&evidence, comparison.as_ref()),
        comparison: comparison.as_ref().map(|comparison| told(&evidence, comparison)),
        prior: prior(&evidence),
    };
    respond(wants, &page)
}

pub(super) fn asked(query: &Sent) -> Asked {
    Asked {
        measure: query.text("measure").to_owned(),
        setting: query.text("setting").to_owned(),
        baseline: query.text("baseline").to_owned(),
        with: query.all("with").map(str::to_owned).collect(),
    }
}

/// The noise prior of a piece, as pages tell of it.
pub(super) fn prior(evidence: &Evidence) -> PriorShown {
    let kept = evidence.prior_kept.as_ref();
    PriorShown {
        number: evidence.prior_number,
        by: kept.map_or_else(String::new, |kept| kept.by.clone()),
        at: kept.map(|kept| at(kept.at_us)),
    }
}

fn form(evidence: &Evidence, comparison: Option<&against::Comparison>) -> AgainstForm {
    let Some(comparison) = comparison else { return AgainstForm::default() };
    let (options, choice) = (&comparison.options, &comparison.choice);
    let names = &evidence.registers;
    AgainstForm {
        measure: Field::of(choice.measure.key()),
        measures: options.measures.iter().map(|m| (m.key().to_owned(), m.name().to_owned())).collect(),
        setting: Field::of(choice.setting.to_string()),
        settings: options.settings.iter().map(|id| (id.to_string(), names.setting_name(*id))).collect(),
        baseline: Field::of(choice.baseline.to_string()),
        tunings: options.tunings.iter().map(|id| (id.to_string(), names.tuning_name(*id))).collect(),
        with: choice.contenders.iter().map(ToString::to_string).collect(),
    }
}

/// A comparison in the words of the page.
pub(super) fn told(evidence: &Evidence, comparison: &against::Comparison) -> Comparison {
    Told { evidence, comparison }.all()
}

/// A comparison with what it was made of, told in the words of the page.
struct Told<'a> {
    evidence: &'a Evidence,
    comparison: &'a against::Comparison,
}

impl Told<'_> {
    fn names(&self) -> &Registers {
        &self.evidence.registers
    }

    fn all(&self) -> Comparison {
        let choice = &self.comparison.choice;
        let contenders: Vec<Contender> =
            choice.contenders.iter().enumerate().map(|(at, id)| self.contender(at, *id)).collect();
        let (left_out, foot) = (self.left_out(), self.foot());
        Comparison {
            measure: choice.measure.key().to_owned(),
            measure_name: choice.measure.name().to_owned(),
            unit: Unit::of_sign(choice.measure.unit()),
            setting: self.names().setting_name(choice.setting),
            baseline: self.names().tuning_name(choice.baseline),
            chart: self.chart(&contenders, &left_out, &foot),
            strip: beside::strip(self.names(), self.comparison),
            ranks: beside::ranks(self.evidence, self.comparison, &contenders),
            carried: said::foot(self.evidence, self.cells()).unwrap_or_default(),
            contenders,
            left_out,
            foot,
        }
    }

    fn contender(&self, nth: usize, id: TuningId) -> Contender {
        let choice = &self.comparison.choice;
        let scenes = self.comparison.scenes.iter().filter_map(|row| {
            let found = row.contenders.get(nth)?;
            let what = json!({
                "kind": "ratio", "measure": choice.measure.key(), "scene": row.scene, "setting": choice.setting,
                "baseline": choice.baseline, "contender": id,
            });
            let margin = against::margin(self.evidence, row.kind);
            let by_hand = format!("played by hand, margin {}", Unit::Percent.plain(margin * 100.0));
            Some(SceneLine {
                scene: self.names().scene_name(row.scene),
                note: if row.kind == SceneKind::ByHand { by_hand } else { String::new() },
                out: if row.in_overall { String::new() } else { self.out(row).join("; ") },
                baseline: self.cell(&row.baseline),
                contender: self.cell(&found.cell),
                not_the_limit: [
                    (row.baseline.not_the_limit, choice.baseline),
                    (found.cell.not_the_limit, id),
                ]
                .into_iter()
                .filter(|(so, _)| *so)
                .map(|(_, tuning)| self.names().tuning_name(tuning))
                .collect(),
                ratio: found.ratio.as_ref().map(|judged| {
                    let mut line = ratio(judged, what.to_string());
                    line.marks.extend(self.carried([&row.baseline, &found.cell]));
                    line
                }),
            })
        });
        let overall = self.comparison.overall.get(nth).and_then(Option::as_ref);
        Contender {
            name: self.names().tuning_name(id),
            scenes: scenes.collect(),
            overall: overall.map(|overall| self.overall(overall, id)),
        }
    }

    /// A part as a chart names it: `Tarnwick Dunlin, carried over`.
    fn marked(&self, tuning: TuningId) -> String {
        let setting = self.comparison.choice.setting;
        let mut cells =
            self.comparison.scenes.iter().filter_map(|row| self.evidence.cell_of(tuning, row.scene, setting));
        let mark = if cells.any(|cell| cell.carried.is_some()) { ", carried over" } else { "" };
        format!("{}{mark}", self.names().tuning_name(tuning))
    }

    /// Which of these cells are carried over: `Tarnwick Dunlin: carried over, not checked`.
    fn carried(&self, shown: [&CellShown; 2]) -> Vec<String> {
        let cells = shown.into_iter().filter_map(|shown| self.evidence.cells.get(&shown.cell?));
        let told = cells.filter_map(|cell| Some((cell, said::mark(self.evidence, cell)?)));
        told.map(|(cell, says)| format!("{}: {says}", self.names().tuning_name(cell.cell.of.tuning_id)))
            .collect()
    }

    fn cell(&self, shown: &CellShown) -> CellLine {
        let measure = self.comparison.choice.measure.key();
        CellLine {
            value: shown.value.as_ref().map(|v| v.value),
            interval: shown.value.as_ref().and_then(|v| v.interval).map(|i| (i.low, i.high)),
            passes: shown.value.as_ref().map_or(0, |v| count(v.passes)),
            flagged: count(shown.flagged),
            missing: shown.missing.clone(),
            what: json!({ "kind": "cell", "measure": measure, "cell": shown.cell }).to_string(),
        }
    }

    fn overall(&self, found: &OverallRatio, contender: TuningId) -> OverallLine {
        let choice = &self.comparison.choice;
        let what = json!({
            "kind": "overall", "measure": choice.measure.key(), "setting": choice.setting,
            "baseline": choice.baseline, "contender": contender, "among": choice.contenders,
        });
        let these = Judged {
            ratio: found.overall.these.clone(),
            verdict: found.verdict.clone(),
            margin: found.margin,
        };
        OverallLine {
            scenes: count(found.scenes.len()),
            these: ratio(&these, what.to_string()),
            another: found.overall.another.map(|another| (another.interval.low, another.interval.high)),
            without: found
                .scenes
                .iter()
                .map(|id| self.names().scene_name(*id))
                .zip(found.overall.without.clone())
                .collect(),
            drives: found.drives.map(|(scene, without)| (self.names().scene_name(scene), without)),
        }
    }

    fn left_out(&self) -> Vec<String> {
        let rows = self.comparison.scenes.iter().filter(|row| !row.in_overall);
        rows.map(|row| format!("{} ({}).", self.names().scene_name(row.scene), self.out(row).join("; ")))
            .collect()
    }

    /// Who has no value in a scene, each with why: `Ullmere Thole: did not run: out of memory`.
    fn out(&self, row: &against::SceneRow) -> Vec<String> {
        let choice = &self.comparison.choice;
        let cells = row.contenders.iter().map(|found| &found.cell);
        let cells = [&row.baseline].into_iter().chain(cells);
        let tunings = [&choice.baseline].into_iter().chain(&choice.contenders);
        let without = tunings.zip(cells).filter(|(_, cell)| cell.value.is_none());
        without.map(|(id, cell)| format!("{}: {}", self.names().tuning_name(*id), cell.missing)).collect()
    }

    /// The cells that are compared.
    fn cells(&self) -> impl Iterator<Item = &CellEvidence> {
        let choice = &self.comparison.choice;
        let compared = choice.compared().into_iter();
        let cells =
            compared.flat_map(|tuning| self.comparison.scenes.iter().map(move |row| (tuning, row.scene)));
        cells.filter_map(|(t, scene)| self.evidence.cell_of(t, scene, choice.setting))
    }

    /// What the numbers rest on, in sentences.
    fn foot(&self) -> Vec<String> {
        let choice = &self.comparison.choice;
        let [passes, builds] = foot::foot(self.evidence, self.cells());
        let margin = |kind| Unit::Percent.plain(against::margin(self.evidence, kind) * 100.0);
        vec![
            format!("Measure: {}. A cell is the geometric mean of its kept passes.", choice.measure.name()),
            format!(
                "Change: the ratio of the two cells less 1, with its 95% interval from the spread between passes (log scale). \
                 Margin of verdicts: {}, of scenes played by hand {}.",
                margin(SceneKind::Replay),
                margin(SceneKind::ByHand),
            ),
            "Overall: geometric mean of the ratios of the scenes that every part ran, each with equal weight. Another scene \
             like these: where the change in a scene that was not measured may lie (95%).".to_owned(),
            passes,
            builds,
        ]
    }

    fn chart(&self, contenders: &[Contender], left_out: &[String], foot: &[String]) -> Ratios {
        let choice = &self.comparison.choice;
        let (baseline, setting) =
            (self.names().tuning_name(choice.baseline), self.names().setting_name(choice.setting));
        let lines = contenders.first().map_or(&[][..], |contender| &contender.scenes[..]);
        let rows = lines.iter().enumerate().map(|(nth, line)| charts::RatioRow {
            name: line.scene.clone(),
            note: self.comparison.scenes.get(nth).map_or_else(String::new, |row| {
                let cells = [&row.baseline].into_iter().chain(row.contenders.iter().map(|found| &found.cell));
                let mut cells = cells.filter_map(|shown| self.evidence.cells.get(&shown.cell?));
                // Of several contenders the legend says which.
                let carried = contenders.len() == 1 && cells.any(|cell| cell.carried.is_some());
                note(row, &line.note, carried)
            }),
            ratios: contenders
                .iter()
                .map(|c| c.scenes.get(nth).and_then(|line| line.ratio.as_ref()).map(drawn))
                .collect(),
            asked: None,
        });
        // A low's definition stands in full below the title.
        let (name, short) = (choice.measure.name(), choice.measure.short_name());
        let how = if name == short { String::new() } else { format!("{name}. ") };
        let measure = format::sentence(short);
        let title = format!("{measure} against {baseline}, {setting}");
        let out = left_out.iter().map(|says| format!("Not in the overall: {says}"));
        Ratios {
            caption: Caption {
                id: "against".to_owned(),
                desc: format!(
                    "{title}: a ratio for each scene with its 95% interval; the table has the same numbers."
                ),
                title,
                subtitle: format!(
                    "{how}Dots: ratio to the baseline. Lines: 95% intervals from the spread between passes."
                ),
                foot: foot.iter().cloned().chain(out).collect(),
                draft: false,
            },
            baseline: self.marked(choice.baseline),
            contenders: choice.contenders.iter().map(|tuning| self.marked(*tuning)).collect(),
            axis: format!("{measure}: change against the baseline (log scale)"),
            rows: rows.collect(),
            overall: contenders
                .iter()
                .filter_map(|c| c.overall.as_ref())
                .map(|overall| charts::Overall { these: drawn(&overall.these), another: overall.another })
                .collect(),
        }
    }
}

pub(super) fn count(n: usize) -> u64 {
    u64::try_from(n).unwrap_or(u64::MAX)
}

/// A ratio as tables show it; `what` a figure of it would be.
pub(super) fn ratio(judged: &Judged, what: String) -> RatioLine {
    let Judged { ratio: Ratio { ratio, bounds, marks, .. }, verdict, .. } = judged;
    let told = matches!(verdict, Verdict::None { .. });
    RatioLine {
        ratio: *ratio,
        interval: bounds.map(|b| (b.interval.low, b.interval.high)),
        verdict: verdict.words(),
        way: way(verdict),
        marks: marks.iter().filter(|_| !told).map(|mark| mark.words().to_owned()).collect(),
        what,
    }
}

/// Shape and colour of a verdict.
pub(super) fn way(of: &Verdict) -> &'static str {
    match of {
        Verdict::Differs(Way::Faster | Way::Higher) => "up",
        Verdict::Differs(Way::Slower | Way::Lower) => "down",
        Verdict::Level { .. } | Verdict::LevelWithin { .. } => "level",
        Verdict::NotSettled { .. } | Verdict::None { .. } => "open",
    }
}

pub(super) fn drawn(line: &RatioLine) -> charts::Ratio {
    let (low, high) = line.interval.unwrap_or((f64::NAN, f64::NAN));
    charts::Ratio { value: line.ratio, low, high }
}

/// What stands below a scene's name in the chart, in few words: what it crosses, whether it counts.
fn note(row: &against::SceneRow, by_hand: &str, carried: bool) -> String {
    let ratios = row.contenders.iter().filter_map(|found| found.ratio.as_ref());
    let marks: BTreeSet<&str> = ratios.flat_map(|judged| &judged.ratio.marks).map(short).collect();
    let mut notes: Vec<&str> = marks.into_iter().collect();
    if carried {
        notes.push("carried over");
    }
    if !row.in_overall {
        notes.push("not in the overall");
    }
    notes.extend(Some(by_hand).filter(|note| !note.is_empty()));
    notes.join("; ")
}

fn short(mark: &Crossing) -> &'static str {
    match mark {
        Crossing::Rigs { .. } => "crosses rigs",
        Crossing::Builds => "crosses builds",
        Crossing::Driver => "undeclared driver",
    }
}
