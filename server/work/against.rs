//! Parts against a baseline: one measure at one setting, scene by scene and overall, in the words of a verdict.
//!
//! A thing compared is a tuning (a part as it is run). Everything is computed from [`Evidence`]; what other pages need
//! of a comparison ([`in_scene`], [`overall()`]) comes from here too, so that a number is the same wherever it stands.

use std::collections::BTreeSet;

use weighhouse_measure::compare::SceneKind;
use weighhouse_measure::compare::cell::CellValue;
use weighhouse_measure::compare::overall::{self, Overall};
use weighhouse_measure::compare::ratio::{self, Ratio};
use weighhouse_measure::compare::verdict::{Sense, Verdict, verdict};
use weighhouse_measure::measures::Measure;
use weighhouse_measure::screens::notices::NoticeKind;

use super::evidence::{CellEvidence, Evidence, Standing};
use super::{Kind, Refusal, Result};
use crate::store::registers::tunings::STOCK;
use crate::store::{CellId, PieceId, SceneId, SettingId, Store, TuningId};

/// From this many scenes on it is said which one drives the overall ratio: of two, both do.
const FEWEST_TO_DRIVE: usize = 3;

/// What an address asks for; what is empty is chosen by the piece.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Asked {
    /// Key of a measure.
    pub measure: String,
    /// Id of a setting.
    pub setting: String,
    /// Id of the tuning that others are compared with.
    pub baseline: String,
    /// Ids of the tunings that are compared with it.
    pub with: Vec<String>,
}

/// What is compared.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Choice {
    /// The number.
    pub measure: Measure,
    /// At which setting.
    pub setting: SettingId,
    /// Stands at 1.
    pub baseline: TuningId,
    /// In the order of the pages: never the baseline, each once.
    pub contenders: Vec<TuningId>,
}

impl Choice {
    /// The baseline, then the contenders.
    pub fn compared(&self) -> Vec<TuningId> {
        [self.baseline].into_iter().chain(self.contenders.iter().copied()).collect()
    }
}

/// What can be chosen.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Options {
    /// Measures that are compared by ratio.
    pub measures: [Measure; 5],
    /// Settings of the piece's cells.
    pub settings: Vec<SettingId>,
    /// Tunings of the piece's cells: by part, stock first.
    pub tunings: Vec<TuningId>,
}

/// A comparison.
#[derive(Clone, Debug, PartialEq)]
pub struct Comparison {
    /// What is compared.
    pub choice: Choice,
    /// What else could be.
    pub options: Options,
    /// Every scene that one of them has a cell in, in the register's order.
    pub scenes: Vec<SceneRow>,
    /// One for each contender; `None` where no scene is left.
    pub overall: Vec<Option<OverallRatio>>,
}

/// One scene.
#[derive(Clone, Debug, PartialEq)]
pub struct SceneRow {
    /// Which.
    pub scene: SceneId,
    /// How it is driven.
    pub kind: SceneKind,
    /// Whether all compared ran it, so that it counts in the overall ratios.
    pub in_overall: bool,
    /// The baseline's cell.
    pub baseline: CellShown,
    /// One for each contender.
    pub contenders: Vec<InScene>,
}

/// A contender in a scene.
#[derive(Clone, Debug, PartialEq)]
pub struct InScene {
    /// Its cell.
    pub cell: CellShown,
    /// Its ratio to the baseline; `None` where one of the two has no value.
    pub ratio: Option<Judged>,
}

/// A ratio with what may be said of it.
#[derive(Clone, Debug, PartialEq)]
pub struct Judged {
    /// Contender over baseline.
    pub ratio: Ratio,
    /// In which words.
    pub verdict: Verdict,
    /// The margin that the verdict was given with, a share of 1.
    pub margin: f64,
}

/// A cell's value, or why there is none.
#[derive(Clone, Debug, PartialEq)]
pub struct CellShown {
    /// The cell; `None` where the piece did not select it.
    pub cell: Option<CellId>,
    /// Its value over its kept passes.
    pub value: Option<CellValue>,
    /// Flagged passes among them that nobody ruled on yet: they count, and that is shown.
    pub flagged: usize,
    /// Whether something else than the part decides in its kept passes how long frames take.
    pub not_the_limit: bool,
    /// Why there is no value; empty where there is one.
    pub missing: String,
}

/// A contender over all scenes that every part ran.
#[derive(Clone, Debug, PartialEq)]
pub struct OverallRatio {
    /// Ratio, interval for another scene, ratio without each scene.
    pub overall: Overall,
    /// What may be said of it.
    pub verdict: Verdict,
    /// The margin that the verdict was given with, a share of 1.
    pub margin: f64,
    /// The scenes in it.
    pub scenes: Vec<SceneId>,
    /// The scene that moves it most, and what it would be without that one.
    pub drives: Option<(SceneId, f64)>,
}

/// Reads a piece's evidence and compares as asked; no comparison where the piece has nothing to compare yet.
///
/// # Errors
/// Refused, in words, when something is asked for that the piece does not have.
pub async fn show(store: &Store, piece: PieceId, asked: &Asked) -> Result<(Evidence, Option<Comparison>)> {
    let evidence = Evidence::of_piece(store, piece).await?.ok_or_else(|| Refusal::missing("piece", piece))?;
    let comparison = choose(&evidence, asked)?.map(|choice| compare(&evidence, choice));
    Ok((evidence, comparison))
}

/// What can be chosen in a piece.
pub fn options(evidence: &Evidence) -> Options {
    let settings: BTreeSet<SettingId> = evidence.cells.values().map(|c| c.cell.of.setting_id).collect();
    let tunings: BTreeSet<TuningId> = evidence.cells.values().map(|c| c.cell.of.tuning_id).collect();
    let mut tunings: Vec<TuningId> = tunings.into_iter().collect();
    tunings.sort_by_key(|id| {
        evidence.registers.tunings.get(id).map(|t| (t.fields.part_id, t.fields.name != STOCK, *id))
    });
    Options { measures: evidence.compared(), settings: settings.into_iter().collect(), tunings }
}

/// What is compared: as asked, the rest as the piece has it. `None` where the piece has no two tunings.
///
/// # Errors
/// Refused when something is asked for that the piece does not have.
pub fn choose(evidence: &Evidence, asked: &Asked) -> Result<Option<Choice>> {
    let options = options(evidence);
    let measure = match asked.measure.as_str() {
        "" => Measure::AverageFps,
        key => *options.measures.iter().find(|m| m.key() == key).ok_or_else(|| {
            let keys: Vec<&str> = options.measures.iter().map(|m| m.key()).collect();
            not_there("measure", key, &format!("It compares {}.", keys.join(", ")))
        })?,
    };
    let setting = pick(&options.settings, "setting", &asked.setting)?;
    let Some(setting) = setting.or(options.settings.first().copied()) else { return Ok(None) };
    let baseline = match pick(&options.tunings, "baseline", &asked.baseline)? {
        Some(baseline) => Some(baseline),
        None => usual_baseline(evidence, &options),
    };
    let Some(baseline) = baseline else { return Ok(None) };
    let mut contenders = BTreeSet::new();
    for text in &asked.with {
        contenders.extend(pick(&options.tunings, "contender", text)?);
    }
    contenders.remove(&baseline);
    if contenders.is_empty() {
        contenders = usual_contenders(evidence, &options, baseline);
    }
    let contenders: Vec<TuningId> = options.tunings.into_iter().filter(|t| contenders.contains(t)).collect();
    Ok((!contenders.is_empty()).then_some(Choice { measure, setting, baseline, contenders }))
}

/// The one with this id; `None` when nothing is asked for.
pub(super) fn pick<T: Copy + Into<i64>>(there: &[T], what: &str, asked: &str) -> Result<Option<T>> {
    if asked.is_empty() {
        return Ok(None);
    }
    let found = asked.parse::<i64>().ok().and_then(|id| there.iter().copied().find(|t| (*t).into() == id));
    let mend = "Choose one in the form of the page.";
    found.map(Some).ok_or_else(|| not_there(what, asked, mend).into())
}

fn not_there(what: &str, asked: &str, mend: &str) -> Refusal {
    Refusal::new(Kind::Invalid, "Not compared", format!("'{asked}' is no {what} of this piece."), mend)
}

/// The piece's baseline part, else the first one, at stock where it ran at stock.
fn usual_baseline(evidence: &Evidence, options: &Options) -> Option<TuningId> {
    let part = evidence.piece.fields.baseline_part_id;
    let of_part = |id: &&TuningId| part.is_some() && evidence.part_of(**id) == part;
    options.tunings.iter().find(of_part).or(options.tunings.first()).copied()
}

/// Each other part at stock; where there is only one part, its other tunings.
fn usual_contenders(evidence: &Evidence, options: &Options, baseline: TuningId) -> BTreeSet<TuningId> {
    let mut parts = BTreeSet::from([evidence.part_of(baseline)]);
    let others: BTreeSet<TuningId> =
        options.tunings.iter().copied().filter(|id| parts.insert(evidence.part_of(*id))).collect();
    if !others.is_empty() {
        return others;
    }
    options.tunings.iter().copied().filter(|id| *id != baseline).collect()
}

/// Compares.
pub fn compare(evidence: &Evidence, choice: Choice) -> Comparison {
    let Choice { measure, setting, baseline, .. } = choice;
    let compared = choice.compared();
    let all_ran = scenes_all_ran(evidence, measure, setting, &compared);
    let mut scenes = Vec::new();
    for (scene, of_scene) in &evidence.registers.scenes {
        if !compared.iter().any(|tuning| evidence.cell_of(*tuning, *scene, setting).is_some()) {
            continue;
        }
        let of = |contender: TuningId| InScene {
            cell: cell(evidence, measure, contender, *scene, setting),
            ratio: in_scene(evidence, measure, (*scene, setting), (baseline, contender)),
        };
        scenes.push(SceneRow {
            scene: *scene,
            kind: of_scene.fields.kind,
            in_overall: all_ran.contains(scene),
            baseline: cell(evidence, measure, baseline, *scene, setting),
            contenders: choice.contenders.iter().map(|contender| of(*contender)).collect(),
        });
    }
    let overall = choice
        .contenders
        .iter()
        .map(|contender| overall(evidence, measure, setting, (baseline, *contender), &compared))
        .collect();
    Comparison { options: options(evidence), choice, scenes, overall }
}

/// How a measure's size is spoken of.
pub fn sense(measure: Measure) -> Sense {
    if measure.unit() == "fps" { Sense::Rate } else { Sense::Amount }
}

/// The piece's margin for one kind of scene, a share of 1.
pub fn margin(evidence: &Evidence, kind: SceneKind) -> f64 {
    let fields = &evidence.piece.fields;
    let permille = match kind {
        SceneKind::BuiltIn | SceneKind::Replay => fields.margin_permille,
        SceneKind::ByHand => fields.hand_margin_permille,
    };
    permille as f64 / 1000.0
}

/// The ratio of `(baseline, contender)` in one scene at one setting; `None` where one of them has no value.
pub fn in_scene(
    evidence: &Evidence,
    measure: Measure,
    (scene, setting): (SceneId, SettingId),
    (baseline, contender): (TuningId, TuningId),
) -> Option<Judged> {
    let a = evidence.cell_of(baseline, scene, setting)?;
    let b = evidence.cell_of(contender, scene, setting)?;
    of_cells(evidence, measure, a, b)
}

/// The ratio of the second cell to the first one, which the margin and the noise prior belong to; `None` where one of
/// them has no value.
pub fn of_cells(evidence: &Evidence, measure: Measure, a: &CellEvidence, b: &CellEvidence) -> Option<Judged> {
    let noise = evidence.noise(a, measure);
    let between = evidence.prior.between_rigs(measure.key());
    let (logs_a, logs_b) = evidence.logs_of_two(a, b, measure);
    let ratio = ratio::in_scene(&logs_a, &logs_b, &noise, between)?;
    let margin = margin(evidence, a.kind);
    Some(Judged { verdict: verdict(&ratio, margin, sense(measure)), ratio, margin })
}

/// The scenes in which every one of `compared` has a value of the measure at a setting.
pub fn scenes_all_ran(
    evidence: &Evidence,
    measure: Measure,
    setting: SettingId,
    compared: &[TuningId],
) -> BTreeSet<SceneId> {
    let ran = |tuning: &TuningId| -> BTreeSet<i64> {
        let cells = evidence
            .cells
            .values()
            .filter(|c| c.cell.of.tuning_id == *tuning && c.cell.of.setting_id == setting);
        cells.filter(|c| !evidence.logs(c, measure).is_empty()).map(|c| c.cell.of.scene_id.0).collect()
    };
    let all: Vec<BTreeSet<i64>> = compared.iter().map(ran).collect();
    overall::scenes_all_ran(&all).into_iter().map(SceneId).collect()
}

/// The overall ratio of `(baseline, contender)` over the scenes that all of `among` ran; these two belong to them
/// whether they are named there or not.
pub fn overall(
    evidence: &Evidence,
    measure: Measure,
    setting: SettingId,
    (baseline, contender): (TuningId, TuningId),
    among: &[TuningId],
) -> Option<OverallRatio> {
    let compared: Vec<TuningId> = [baseline, contender].into_iter().chain(among.iter().copied()).collect();
    let (mut scenes, mut ratios) = (Vec::new(), Vec::new());
    for scene in scenes_all_ran(evidence, measure, setting, &compared) {
        ratios.push(in_scene(evidence, measure, (scene, setting), (baseline, contender))?);
        scenes.push(scene);
    }
    // The wider margin of scenes played by hand holds for the whole only where all are played so.
    let margin = ratios.iter().map(|judged| judged.margin).fold(f64::INFINITY, f64::min);
    let ratios: Vec<Ratio> = ratios.into_iter().map(|judged| judged.ratio).collect();
    let overall = overall::overall(&ratios)?;
    let verdict = verdict(&overall.these, margin, sense(measure));
    let drives = drives(&overall, &scenes);
    Some(OverallRatio { overall, verdict, margin, scenes, drives })
}

/// The scene without which the overall ratio would lie farthest from where it is.
fn drives(overall: &Overall, scenes: &[SceneId]) -> Option<(SceneId, f64)> {
    if scenes.len() < FEWEST_TO_DRIVE {
        return None;
    }
    let far = |without: f64| (libm::log(without) - overall.these.ln).abs();
    let each = scenes.iter().copied().zip(overall.without.iter().copied());
    each.max_by(|a, b| far(a.1).total_cmp(&far(b.1)))
}

/// A cell's value, or why there is none.
pub fn cell(
    evidence: &Evidence,
    measure: Measure,
    tuning: TuningId,
    scene: SceneId,
    setting: SettingId,
) -> CellShown {
    let Some(cell) = evidence.cell_of(tuning, scene, setting) else {
        return CellShown {
            cell: None,
            value: None,
            flagged: 0,
            not_the_limit: false,
            missing: "not among the cells of the piece".to_owned(),
        };
    };
    let value = evidence.value(cell, measure);
    let flagged = cell.passes.iter().filter(|pass| pass.standing == Standing::Flagged).count();
    let missing = if value.is_some() { String::new() } else { why_missing(cell, measure) };
    let waits = |pass| evidence.notices(cell, pass).iter().any(|one| one.kind == NoticeKind::NotTheLimit);
    CellShown { cell: Some(cell.cell.id), value, flagged, not_the_limit: cell.kept().any(waits), missing }
}

fn why_missing(cell: &CellEvidence, measure: Measure) -> String {
    if !cell.cell.did_not_run.is_empty() {
        return format!("did not run: {}", cell.cell.did_not_run);
    }
    if cell.passes.is_empty() {
        return "no pass yet".to_owned();
    }
    if cell.kept().next().is_none() {
        return "all passes ruled out".to_owned();
    }
    format!("no kept pass has a value of {}", measure.name())
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeMap;

    use weighhouse_measure::compare::ratio::Crossing;

    use crate::store::registers::parts::PartKind;
    use crate::store::registers::rigs::RigBase;
    use crate::store::{PartId, RigBaseId};
    use crate::work::made_up::{self, SETTING, add_cell};

    fn asked(evidence: &Evidence) -> Comparison {
        compare(evidence, choose(evidence, &Asked::default()).unwrap().unwrap())
    }

    fn refused(evidence: &Evidence, asked: &Asked) -> Refusal {
        match choose(evidence, asked) {
            Err(crate::work::Error::Refused(refusal)) => *refusal,
            other => panic!("{other:?}"),
        }
    }

    /// Common practice, no source: 28% faster one way is 21.9% slower the other way.
    #[test]
    fn swapping_the_baseline_turns_the_ratio_over() {
        let mut evidence = made_up::piece(2, 1);
        add_cell(&mut evidence, 1, 1, &[99.9, 100.1]);
        add_cell(&mut evidence, 2, 1, &[127.9, 128.1]);
        let there = asked(&evidence);
        let there = there.scenes[0].contenders[0].ratio.clone().unwrap();
        evidence.piece.fields.baseline_part_id = Some(PartId(2));
        let back = asked(&evidence);
        assert_eq!(back.choice.baseline, TuningId(2));
        let back = back.scenes[0].contenders[0].ratio.clone().unwrap();
        assert_eq!(format!("{:.1}", (there.ratio.ratio - 1.0) * 100.0), "28.0");
        assert_eq!(format!("{:.1}", (back.ratio.ratio - 1.0) * 100.0), "-21.9");
        assert_eq!((there.verdict.words().as_str(), back.verdict.words().as_str()), ("faster", "slower"));
    }

    /// scipy 1.17.1: exp of `ttest_ind(ln b, ln a, equal_var=False).confidence_interval(0.95)`.
    #[test]
    fn a_scene_without_a_prior_has_welchs_interval() {
        let mut evidence = made_up::piece(2, 1);
        add_cell(&mut evidence, 1, 1, &[100.0, 101.0, 99.0]);
        add_cell(&mut evidence, 2, 1, &[124.0, 125.5, 123.0]);
        let found =
            in_scene(&evidence, Measure::AverageFps, (SceneId(1), SETTING), (TuningId(1), TuningId(2)));
        let ratio = found.unwrap().ratio;
        let interval = ratio.bounds.unwrap().interval;
        for (ours, theirs) in [
            (ratio.ratio, 1.2416656059092623),
            (interval.low, 1.2136604249021095),
            (interval.high, 1.2703170056998174),
        ] {
            assert!((ours / theirs - 1.0).abs() < 1e-12, "{ours} {theirs}");
        }
    }

    /// Common practice, no source: 60/60/500 against 60/60/600 is +6.3% by the geometric mean (+16.1% by the mean of
    /// rates).
    #[test]
    fn overall_is_the_geometric_mean_and_says_which_scene_drives_it() {
        let mut evidence = made_up::piece(2, 3);
        for (scene, (a, b)) in (1..).zip([(60.0, 60.0), (60.0, 60.0), (500.0, 600.0)]) {
            add_cell(&mut evidence, 1, scene, &[a * 0.999, a * 1.001]);
            add_cell(&mut evidence, 2, scene, &[b * 0.999, b * 1.001]);
        }
        let comparison = asked(&evidence);
        let overall = comparison.overall[0].clone().unwrap();
        assert_eq!(format!("{:.1}", (overall.overall.these.ratio - 1.0) * 100.0), "6.3");
        let (scene, without) = overall.drives.unwrap();
        assert_eq!(scene, SceneId(3));
        assert!((without - 1.0).abs() < 1e-9);
        assert!(overall.overall.another.is_none());
    }

    #[test]
    fn a_scene_that_one_part_did_not_run_leaves_the_overall_for_all() {
        let mut evidence = made_up::piece(3, 2);
        for part in 1..=3 {
            add_cell(&mut evidence, part, 1, &[100.0, 101.0]);
        }
        add_cell(&mut evidence, 1, 2, &[50.0, 50.5]);
        add_cell(&mut evidence, 2, 2, &[80.0, 80.5]);
        let id = add_cell(&mut evidence, 3, 2, &[]);
        evidence.cells.get_mut(&id).unwrap().cell.did_not_run = "out of memory".to_owned();
        let comparison = asked(&evidence);
        let row = &comparison.scenes[1];
        assert!(!row.in_overall);
        assert_eq!(row.contenders[1].cell.missing, "did not run: out of memory");
        assert!(row.contenders[0].ratio.is_some() && row.contenders[1].ratio.is_none());
        assert_eq!(comparison.overall[0].clone().unwrap().scenes, [SceneId(1)]);
        // The two that ran it, compared alone, count it.
        let alone =
            overall(&evidence, Measure::AverageFps, SETTING, (TuningId(1), TuningId(2)), &[]).unwrap();
        assert_eq!(alone.scenes, [SceneId(1), SceneId(2)]);
    }

    #[test]
    fn scenes_played_by_hand_have_the_wider_margin() {
        let mut evidence = made_up::piece(2, 2);
        evidence.registers.scenes.get_mut(&SceneId(2)).unwrap().fields.kind = SceneKind::ByHand;
        for scene in [1, 2] {
            add_cell(&mut evidence, 1, scene, &[100.0, 100.01, 99.99]);
            add_cell(&mut evidence, 2, scene, &[102.5, 102.51, 102.49]);
        }
        let comparison = asked(&evidence);
        let words: Vec<String> = comparison
            .scenes
            .iter()
            .map(|row| row.contenders[0].ratio.clone().unwrap().verdict.words())
            .collect();
        assert_eq!(words, ["faster", "level (2.5% faster)"]);
        assert_eq!(comparison.overall[0].clone().unwrap().verdict.words(), "faster");
    }

    #[test]
    fn crossing_builds_is_marked_without_a_verdict_and_flags_are_counted() {
        let mut evidence = made_up::piece(2, 1);
        add_cell(&mut evidence, 1, 1, &[100.0, 101.0]);
        let id = add_cell(&mut evidence, 2, 1, &[124.0, 125.0]);
        let pass = &mut evidence.cells.get_mut(&id).unwrap().passes[1];
        pass.row.build_id = crate::store::BuildId(2);
        pass.standing = Standing::Flagged;
        let comparison = asked(&evidence);
        let contender = &comparison.scenes[0].contenders[0];
        assert_eq!(
            contender.ratio.clone().unwrap().verdict.words(),
            "no verdict: crosses builds of the game"
        );
        assert_eq!((contender.cell.flagged, comparison.scenes[0].baseline.flagged), (1, 0));
    }

    #[test]
    fn a_part_that_waits_in_a_kept_pass_is_not_the_limit() {
        let mut evidence = made_up::piece(2, 1);
        add_cell(&mut evidence, 1, 1, &[100.0, 101.0]);
        let id = add_cell(&mut evidence, 2, 1, &[124.0, 125.0]);
        let load = |evidence: &mut Evidence, share| {
            evidence.cells.get_mut(&id).unwrap().passes[0].measures.load_mean = Some(share);
            let comparison = asked(evidence);
            let row = &comparison.scenes[0];
            [row.baseline.not_the_limit, row.contenders[0].cell.not_the_limit]
        };
        assert_eq!(load(&mut evidence, 0.99), [false, false]);
        assert_eq!(load(&mut evidence, 0.7), [false, true]);
    }

    /// Two processors, each in a base of its own.
    fn two_bases(kind: PartKind, memory: &str) -> Vec<Crossing> {
        let mut evidence = made_up::piece(2, 1);
        evidence.piece.fields.kind = kind;
        add_cell(&mut evidence, 1, 1, &[100.0, 101.0]);
        let id = add_cell(&mut evidence, 2, 1, &[124.0, 125.0]);
        let mut second = RigBase { id: RigBaseId(2), ..made_up::base("Quillon 9") };
        second.fields.memory = memory.to_owned();
        evidence.registers.bases =
            BTreeMap::from([(RigBaseId(1), made_up::base("Quillon 7")), (RigBaseId(2), second)]);
        for pass in &mut evidence.cells.get_mut(&id).unwrap().passes {
            pass.row.rig_base_id = RigBaseId(2);
        }
        asked(&evidence).scenes[0].contenders[0].ratio.clone().unwrap().ratio.marks
    }

    #[test]
    fn what_differs_by_design_does_not_count_as_crossing() {
        let crosses = [Crossing::Rigs { widened: false }];
        assert_eq!(two_bases(PartKind::Processor, "32 GiB"), []);
        assert_eq!(two_bases(PartKind::Processor, "64 GiB"), crosses);
        assert_eq!(two_bases(PartKind::Device, "64 GiB"), []);
        assert_eq!(two_bases(PartKind::Card, "32 GiB"), crosses);
    }

    #[test]
    fn what_is_asked_for_and_not_there_is_refused_by_name() {
        let mut evidence = made_up::piece(2, 1);
        assert_eq!(choose(&evidence, &Asked::default()).unwrap(), None);
        add_cell(&mut evidence, 1, 1, &[100.0]);
        assert_eq!(choose(&evidence, &Asked::default()).unwrap(), None);
        add_cell(&mut evidence, 2, 1, &[100.0]);
        let ask = |measure: &str, setting: &str, baseline: &str, with: &str| Asked {
            measure: measure.to_owned(),
            setting: setting.to_owned(),
            baseline: baseline.to_owned(),
            with: vec![with.to_owned()],
        };
        assert_eq!(
            refused(&evidence, &ask("speed", "", "", "")).says,
            "'speed' is no measure of this piece."
        );
        assert_eq!(refused(&evidence, &ask("", "9", "", "")).says, "'9' is no setting of this piece.");
        assert_eq!(refused(&evidence, &ask("", "", "x", "")).says, "'x' is no baseline of this piece.");
        assert_eq!(refused(&evidence, &ask("", "", "", "3")).says, "'3' is no contender of this piece.");
        // The baseline is never compared with itself.
        let choice = choose(&evidence, &ask("", "1", "2", "2")).unwrap().unwrap();
        assert_eq!((choice.baseline, choice.contenders), (TuningId(2), vec![TuningId(1)]));
    }
}
