//! One setting against another that differs in one option: what the option costs each part, and what becomes of a lead.
//!
//! The cost to a part is the ratio of its cells at both settings in one scene. The change of a lead is the lead at the
//! second setting over the lead at the first: errors of all four cells add. Everything is over the scenes that all
//! compared parts ran at both settings; a part without any such scene is left out, and that is said.

use std::collections::BTreeSet;

use weighhouse_measure::compare::overall;
use weighhouse_measure::compare::ratio::Ratio;
use weighhouse_measure::compare::verdict::{Sense, verdict};
use weighhouse_measure::measures::Measure;

use super::against::{self, Choice, Judged, Options, sense};
use super::evidence::{CellEvidence, Evidence};
use super::{Kind, Refusal, Result};
use crate::store::registers::parts::PartKind;
use crate::store::registers::settings::SettingFields;
use crate::store::{PieceId, SceneId, SettingId, Store, TuningId};

/// A card that works for less than this share of the frame time waits for the rest of the machine (our choice).
const CARD_WAITS: f64 = 0.9;

/// What an address asks for; what is empty is chosen by the piece.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Asked {
    /// What is compared, as on the page Against; its setting is not asked.
    pub compared: against::Asked,
    /// Two settings, as [`Step::key`] writes them.
    pub step: String,
}

/// From one setting to another that differs in one option.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Step {
    /// The first.
    pub from: SettingId,
    /// The second.
    pub to: SettingId,
    /// What differs.
    pub option: &'static str,
}

impl Step {
    /// As addresses write it: `1-3`.
    pub fn key(&self) -> String {
        format!("{}-{}", self.from, self.to)
    }
}

/// What was found.
#[derive(Clone, Debug, PartialEq)]
pub struct Found {
    /// What is compared, at the first setting; contenders that ran no scene at both settings are not in it.
    pub choice: Choice,
    /// What else could be.
    pub options: Options,
    /// Steps that the piece has cells for.
    pub steps: Vec<Step>,
    /// The one that is taken.
    pub step: Step,
    /// Scenes that all ran at both settings.
    pub scenes: Vec<SceneId>,
    /// The baseline first.
    pub costs: Vec<Cost>,
    /// One for each contender.
    pub changes: Vec<Change>,
    /// Contenders that ran no scene at both settings.
    pub left_out: Vec<TuningId>,
}

/// What the option costs a part.
#[derive(Clone, Debug, PartialEq)]
pub struct Cost {
    /// Which.
    pub tuning: TuningId,
    /// Second setting over the first, by scene.
    pub scenes: Vec<Option<Judged>>,
    /// Over all scenes.
    pub overall: Option<Judged>,
    /// Share of the frame time for which the card works, by scene: the smaller one of both settings, where the card waits.
    pub card_waits: Vec<Option<f64>>,
}

/// What becomes of a contender's ratio to the baseline.
#[derive(Clone, Debug, PartialEq)]
pub struct Change {
    /// Which.
    pub contender: TuningId,
    /// By scene.
    pub scenes: Vec<Option<Lead>>,
    /// Over all scenes.
    pub overall: Option<Lead>,
}

/// A ratio to the baseline at both settings.
#[derive(Clone, Debug, PartialEq)]
pub struct Lead {
    /// At the first.
    pub from: Judged,
    /// At the second.
    pub to: Judged,
    /// Second over first: higher, lower or level.
    pub change: Judged,
}

/// Reads a piece's evidence and compares as asked; nothing where the piece has no two such settings.
///
/// # Errors
/// Refused when something is asked for that the piece does not have.
pub async fn show(store: &Store, piece: PieceId, asked: &Asked) -> Result<(Evidence, Option<Found>)> {
    let evidence = Evidence::of_piece(store, piece).await?.ok_or_else(|| Refusal::missing("piece", piece))?;
    let found = find(&evidence, asked)?;
    Ok((evidence, found))
}

/// Compares.
///
/// # Errors
/// Refused when something is asked for that the piece does not have.
pub fn find(evidence: &Evidence, asked: &Asked) -> Result<Option<Found>> {
    let Some(choice) = against::choose(evidence, &asked.compared)? else { return Ok(None) };
    let options = against::options(evidence);
    let steps = steps(evidence, &options);
    let step = match asked.step.as_str() {
        "" => steps.first(),
        key => Some(steps.iter().find(|step| step.key() == key).ok_or_else(|| no_step(key))?),
    };
    let Some(step) = step.copied() else { return Ok(None) };
    let ran = |tuning: TuningId| ran(evidence, choice.measure, tuning, step);
    let mut scenes = ran(choice.baseline);
    let (contenders, left_out): (Vec<_>, Vec<_>) =
        choice.contenders.iter().copied().partition(|id| !ran(*id).is_disjoint(&scenes));
    for id in &contenders {
        scenes = &scenes & &ran(*id);
    }
    let choice = Choice { setting: step.from, contenders, ..choice };
    let scenes: Vec<SceneId> = scenes.into_iter().collect();
    let costs = choice.compared().into_iter().map(|id| cost(evidence, &choice, step, &scenes, id)).collect();
    let changes = choice.contenders.iter().map(|id| change(evidence, &choice, step, &scenes, *id)).collect();
    Ok(Some(Found { choice, options, steps, step, scenes, costs, changes, left_out }))
}

fn no_step(key: &str) -> Refusal {
    let says = format!("'{key}' is no step of this piece from one setting to another.");
    Refusal::new(Kind::Invalid, "Not compared", says, "Choose one in the form of the page.")
}

/// Pairs of settings that differ in one option and that a part ran in one scene.
fn steps(evidence: &Evidence, options: &Options) -> Vec<Step> {
    let mut steps = Vec::new();
    for (nth, from) in options.settings.iter().enumerate() {
        for to in options.settings.iter().skip(nth + 1) {
            let fields = |id| evidence.registers.settings.get(id).map(|setting| &setting.fields);
            let Some(option) = fields(from).zip(fields(to)).and_then(|(a, b)| one_option(a, b)) else {
                continue;
            };
            let step = Step { from: *from, to: *to, option };
            if options.tunings.iter().any(|id| !ran(evidence, Measure::AverageFps, *id, step).is_empty()) {
                steps.push(step);
            }
        }
    }
    steps
}

/// The one option in which two settings differ. Generated frames are none: their rate is not a rate of rendering.
fn one_option(a: &SettingFields, b: &SettingFields) -> Option<&'static str> {
    let differ = [
        ("picture size", (a.width_px, a.height_px) != (b.width_px, b.height_px)),
        ("quality preset", a.preset != b.preset),
        ("ray tracing", a.ray_tracing != b.ray_tracing),
        ("upscaling", a.upscaling != b.upscaling),
    ];
    let mut differ = differ.into_iter().filter(|(_, differs)| *differs);
    let (option, _) = differ.next()?;
    (differ.next().is_none() && a.generated == b.generated).then_some(option)
}

/// Scenes that a part ran at both settings.
fn ran(evidence: &Evidence, measure: Measure, tuning: TuningId, step: Step) -> BTreeSet<SceneId> {
    let at = |setting| against::scenes_all_ran(evidence, measure, setting, &[tuning]);
    &at(step.from) & &at(step.to)
}

fn cost(evidence: &Evidence, choice: &Choice, step: Step, scenes: &[SceneId], tuning: TuningId) -> Cost {
    let cells = |scene: &SceneId| {
        let at = |setting| evidence.cell_of(tuning, *scene, setting);
        at(step.from).zip(at(step.to))
    };
    let judged: Vec<Option<Judged>> = scenes
        .iter()
        .map(|scene| cells(scene).and_then(|(a, b)| against::of_cells(evidence, choice.measure, a, b)))
        .collect();
    let waits = |scene| {
        let (a, b) = cells(scene)?;
        let least = card_share(evidence, a)?.min(card_share(evidence, b)?);
        (least < CARD_WAITS).then_some(least)
    };
    Cost {
        tuning,
        overall: cost_over(evidence, choice.measure, (step.from, step.to), scenes, tuning),
        scenes: judged,
        card_waits: scenes.iter().map(waits).collect(),
    }
}

/// What going from one setting to another costs a part over these scenes; `None` where one has no ratio.
pub fn cost_over(
    evidence: &Evidence,
    measure: Measure,
    (from, to): (SettingId, SettingId),
    scenes: &[SceneId],
    tuning: TuningId,
) -> Option<Judged> {
    let of = |scene: &SceneId| {
        let at = |setting| evidence.cell_of(tuning, *scene, setting);
        against::of_cells(evidence, measure, at(from)?, at(to)?)
    };
    whole(&scenes.iter().map(of).collect::<Vec<_>>(), sense(measure))
}

/// What becomes of a ratio of `(baseline, contender)` from one setting to another over these scenes.
pub fn lead_over(
    evidence: &Evidence,
    measure: Measure,
    (from, to): (SettingId, SettingId),
    scenes: &[SceneId],
    pair: (TuningId, TuningId),
) -> Option<Judged> {
    let of = |scene: &SceneId| {
        let at = |setting| against::in_scene(evidence, measure, (*scene, setting), pair);
        Some(over(at(from)?, at(to)?).change)
    };
    whole(&scenes.iter().map(of).collect::<Vec<_>>(), Sense::Amount)
}

fn change(
    evidence: &Evidence,
    choice: &Choice,
    step: Step,
    scenes: &[SceneId],
    contender: TuningId,
) -> Change {
    let pair = (choice.baseline, contender);
    let lead = |scene: &SceneId| {
        let at = |setting| against::in_scene(evidence, choice.measure, (*scene, setting), pair);
        Some(over(at(step.from)?, at(step.to)?))
    };
    let scenes: Vec<Option<Lead>> = scenes.iter().map(lead).collect();
    let side = |side: fn(&Lead) -> &Judged, sense| {
        let judged: Vec<Option<Judged>> =
            scenes.iter().map(|lead| Some(side(lead.as_ref()?).clone())).collect();
        whole(&judged, sense)
    };
    let overall = || {
        Some(Lead {
            from: side(|lead| &lead.from, sense(choice.measure))?,
            to: side(|lead| &lead.to, sense(choice.measure))?,
            change: side(|lead| &lead.change, Sense::Amount)?,
        })
    };
    Change { contender, overall: overall(), scenes }
}

fn over(from: Judged, to: Judged) -> Lead {
    let ratio = to.ratio.over(&from.ratio);
    let margin = from.margin;
    Lead { change: Judged { verdict: verdict(&ratio, margin, Sense::Amount), ratio, margin }, from, to }
}

/// All scenes together, each with equal weight; `None` where one has no ratio.
fn whole(scenes: &[Option<Judged>], sense: Sense) -> Option<Judged> {
    let scenes = scenes.iter().cloned().collect::<Option<Vec<Judged>>>()?;
    let margin = scenes.iter().map(|judged| judged.margin).fold(f64::INFINITY, f64::min);
    let ratios: Vec<Ratio> = scenes.into_iter().map(|judged| judged.ratio).collect();
    let ratio = overall::overall(&ratios)?.these;
    Some(Judged { verdict: verdict(&ratio, margin, sense), ratio, margin })
}

/// Share of the frame time for which the card works; `None` where that was not logged, and in pieces on no cards.
fn card_share(evidence: &Evidence, cell: &CellEvidence) -> Option<f64> {
    if evidence.piece.fields.kind != PartKind::Card {
        return None;
    }
    let value = |measure| evidence.value(cell, measure).map(|value| value.value);
    Some(value(Measure::CardWorkMs)? * value(Measure::AverageFps)? / 1000.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::work::made_up::{self, SETTING, add_cell, add_cell_at};

    const TRACED: SettingId = SettingId(2);

    /// Two parts in one scene without and with ray tracing.
    fn evidence(cells: [(i64, SettingId, f64); 4]) -> Evidence {
        let mut evidence = made_up::piece(2, 1);
        let mut traced = evidence.registers.settings[&SETTING].clone();
        traced.id = TRACED;
        traced.fields.ray_tracing = "on".to_owned();
        evidence.registers.settings.insert(TRACED, traced);
        for (part, setting, average) in cells {
            add_cell_at(&mut evidence, part, 1, setting, &[average * 0.999, average, average * 1.001]);
        }
        evidence
    }

    fn found(evidence: &Evidence) -> Found {
        find(evidence, &Asked::default()).unwrap().unwrap()
    }

    /// Common practice, no source: a feature can cost one part 45% and the other 12%: the ratio between them is then
    /// 0.88 / 0.55 = 1.6 times what it was.
    #[test]
    fn a_feature_costs_one_part_more_than_the_other() {
        let found = found(&evidence([
            (1, SETTING, 100.0),
            (1, TRACED, 55.0),
            (2, SETTING, 100.0),
            (2, TRACED, 88.0),
        ]));
        assert_eq!((found.step.option, found.step.key()), ("ray tracing", "1-2".to_owned()));
        let costs: Vec<f64> =
            found.costs.iter().map(|cost| cost.overall.clone().unwrap().ratio.ratio).collect();
        assert!((costs[0] - 0.55).abs() < 1e-9 && (costs[1] - 0.88).abs() < 1e-9, "{costs:?}");
        assert_eq!(found.costs[0].overall.clone().unwrap().verdict.words(), "slower");
        let change = found.changes[0].overall.clone().unwrap().change;
        assert!((change.ratio.ratio - 1.6).abs() < 1e-9);
        assert_eq!(change.verdict.words(), "higher");
    }

    /// Common practice, no source: the lead of a part is 28% without upscaling and 24% with: 3.1% less.
    #[test]
    fn a_lead_shrinks_and_the_errors_of_four_cells_are_in_it() {
        let found = found(&evidence([
            (1, SETTING, 100.0),
            (1, TRACED, 150.0),
            (2, SETTING, 128.0),
            (2, TRACED, 186.0),
        ]));
        let lead = found.changes[0].scenes[0].clone().unwrap();
        assert!((lead.from.ratio.ratio - 1.28).abs() < 1e-9 && (lead.to.ratio.ratio - 1.24).abs() < 1e-9);
        assert!((lead.change.ratio.ratio - 1.24 / 1.28).abs() < 1e-9);
        assert_eq!(lead.change.verdict.words(), "lower");
        let square = |judged: &Judged| judged.ratio.bounds.unwrap().se_ln.powi(2);
        assert!((square(&lead.change) - square(&lead.from) - square(&lead.to)).abs() < 1e-15);
    }

    #[test]
    fn a_part_that_ran_one_setting_alone_is_left_out_and_two_options_are_no_step() {
        let mut evidence =
            evidence([(1, SETTING, 100.0), (1, TRACED, 55.0), (2, SETTING, 100.0), (2, SETTING, 90.0)]);
        let alone = found(&evidence);
        assert_eq!((alone.left_out.as_slice(), alone.changes.len()), (&[TuningId(2)][..], 0));
        assert_eq!(alone.scenes, [SceneId(1)]);
        let unknown = find(&evidence, &Asked { step: "2-1".to_owned(), ..Asked::default() });
        assert!(unknown.is_err());
        evidence.registers.settings.get_mut(&TRACED).unwrap().fields.upscaling = "from 1080p".to_owned();
        assert_eq!(find(&evidence, &Asked::default()).unwrap(), None);
    }

    #[test]
    fn generated_frames_are_no_option_here() {
        let mut evidence = made_up::piece(2, 1);
        add_cell(&mut evidence, 1, 1, &[100.0]);
        let of = &evidence.registers.settings[&SETTING].fields;
        assert_eq!(
            one_option(of, &SettingFields { generated: 2, ray_tracing: "on".to_owned(), ..of.clone() }),
            None
        );
        assert_eq!(
            one_option(of, &SettingFields { width_px: 2560, height_px: 1440, ..of.clone() }),
            Some("picture size")
        );
        assert_eq!(one_option(of, of), None);
    }
}
