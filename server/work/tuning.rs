//! A part at its tunings: measured watts against frame rate, the curve through them, what equals stock for less.
//!
//! Over several scenes a tuning's watts, frame rate and joules are geometric means over the scenes that all tunings of
//! the part ran, so that each stands on the same ground; changes against stock are those of the page Against.

use std::collections::{BTreeMap, BTreeSet};

use weighhouse_measure::compare::Interval;
use weighhouse_measure::compare::curve::{self, Band, Curve, Point};
use weighhouse_measure::compare::front::{self, Place};
use weighhouse_measure::compare::knee::{self, Knee};
use weighhouse_measure::compare::saturating::{self, Law};
use weighhouse_measure::compare::together::{Together, together};
use weighhouse_measure::compare::verdict::{Verdict, Way};
use weighhouse_measure::measures::Measure;
use weighhouse_measure::recording::NS_PER_S;

use super::against::{self, Judged, pick};
use super::evidence::{CellEvidence, Evidence};
use super::registers::tunings::past_limits;
use super::{Refusal, Result};
use crate::store::registers::tunings::{STOCK, TuningFields};
use crate::store::{PartId, PieceId, SceneId, SettingId, Store, TuningId};

/// What an address asks for; what is empty is chosen by the piece.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Asked {
    /// Id of a part.
    pub part: String,
    /// Id of a setting.
    pub setting: String,
    /// Id of a scene; empty: all that every tuning ran.
    pub scene: String,
}

/// What is looked at, and what else could be.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Choice {
    /// The part.
    pub part: PartId,
    /// At which setting.
    pub setting: SettingId,
    /// One scene, or all that every tuning ran.
    pub scene: Option<SceneId>,
    /// Parts with more than one tuning among the piece's cells.
    pub parts: Vec<PartId>,
    /// Settings that the part ran at.
    pub settings: Vec<SettingId>,
    /// Scenes that it ran at the setting.
    pub scenes: Vec<SceneId>,
}

/// A part at its tunings.
#[derive(Clone, Debug, PartialEq)]
pub struct Found {
    /// What is looked at.
    pub choice: Choice,
    /// The scenes in it.
    pub scenes: Vec<SceneId>,
    /// Scenes that some tuning has no value in.
    pub left_out: Vec<SceneId>,
    /// Its tunings: stock first, then by watts.
    pub tunings: Vec<Tuned>,
    /// One for each set of clock offsets with enough tunings; the plain one first.
    pub curves: Vec<CurveFound>,
    /// The tuning of fewest watts that is level with stock or faster, where it takes less: its place in `tunings`.
    pub for_less: Option<usize>,
    /// The tuning of fewest joules a frame: its place in `tunings`.
    pub thriftiest: Option<usize>,
    /// Pairs (less, more memory offset) of places in `tunings` where the frame rate is shown to fall.
    pub falling: Vec<(usize, usize)>,
    /// Labels of the units that ran.
    pub units: BTreeSet<String>,
}

/// A tuning with what was measured.
#[derive(Clone, Debug, PartialEq)]
pub struct Tuned {
    /// Which.
    pub tuning: TuningId,
    /// Its clock offsets.
    pub offsets: Offsets,
    /// Mean power, W.
    pub watts: Option<Together>,
    /// Average frame rate, fps.
    pub rate: Option<Together>,
    /// Energy per frame, J.
    pub joules: Option<Together>,
    /// Mean clock, Hz.
    pub clock_hz: Option<f64>,
    /// Highest temperature that any of its passes saw, degrees Celsius.
    pub hottest_c: Option<f64>,
    /// Its frame rate against stock; `None` for stock itself and where one has no value.
    pub against_stock: Option<Judged>,
    /// Whether another tuning beats it in watts and frames at once.
    pub place: Option<Place>,
    /// Over how many passes, and in how many scenes of the setting, it was shown to run.
    pub ran: (usize, usize),
    /// How long in all, s.
    pub ran_s: f64,
    /// Scenes where it did not run, with the reason.
    pub did_not_run: Vec<(SceneId, String)>,
    /// In what it is past the maker's rated limits.
    pub past_limits: Vec<String>,
}

/// Clock and voltage offsets: core MHz, memory MHz, mV.
pub type Offsets = [i64; 3];

/// A curve with what it says.
#[derive(Clone, Debug, PartialEq)]
pub struct CurveFound {
    /// Of the tunings with these offsets.
    pub offsets: Offsets,
    /// Monotone concave.
    pub curve: Curve,
    /// Its error.
    pub band: Option<Band>,
    /// Where more watts begin to bring clearly less.
    pub knee: Option<Knee>,
    /// A second opinion.
    pub law: Option<Law>,
}

/// Reads a piece's evidence and looks at the part that is asked for; nothing where no part has two tunings.
///
/// # Errors
/// Refused when something is asked for that the piece does not have.
pub async fn show(store: &Store, piece: PieceId, asked: &Asked) -> Result<(Evidence, Option<Found>)> {
    let evidence = Evidence::of_piece(store, piece).await?.ok_or_else(|| Refusal::missing("piece", piece))?;
    let found = choose(&evidence, asked)?.map(|choice| find(&evidence, choice));
    Ok((evidence, found))
}

/// What is looked at: as asked, the rest as the piece has it; `None` where no part has two tunings.
///
/// # Errors
/// Refused when something is asked for that the piece does not have.
pub fn choose(evidence: &Evidence, asked: &Asked) -> Result<Option<Choice>> {
    let mut tunings: BTreeMap<PartId, BTreeSet<TuningId>> = BTreeMap::new();
    for cell in evidence.cells.values() {
        tunings.entry(cell.cell.part_id).or_default().insert(cell.cell.of.tuning_id);
    }
    tunings.retain(|_, of_part| of_part.len() > 1);
    let parts: Vec<PartId> = tunings.keys().copied().collect();
    let most = tunings.iter().max_by_key(|(_, of_part)| of_part.len()).map(|(part, _)| *part);
    let Some(part) = pick(&parts, "part with several tunings", &asked.part)?.or(most) else {
        return Ok(None);
    };
    let of_part = || evidence.cells.values().filter(move |cell| cell.cell.part_id == part);
    // The setting of most tunings comes first: that is where a sweep was run.
    let mut settings: BTreeMap<SettingId, BTreeSet<TuningId>> = BTreeMap::new();
    for cell in of_part() {
        settings.entry(cell.cell.of.setting_id).or_default().insert(cell.cell.of.tuning_id);
    }
    let ids: Vec<SettingId> = settings.keys().copied().collect();
    let usual = settings.iter().rev().max_by_key(|(_, tunings)| tunings.len()).map(|(id, _)| *id);
    let Some(setting) = pick(&ids, "setting of this part", &asked.setting)?.or(usual) else {
        return Ok(None);
    };
    let at_setting = of_part().filter(|cell| cell.cell.of.setting_id == setting);
    let scenes: Vec<SceneId> =
        at_setting.map(|cell| cell.cell.of.scene_id).collect::<BTreeSet<_>>().into_iter().collect();
    let scene = pick(&scenes, "scene of this part and setting", &asked.scene)?;
    Ok(Some(Choice { part, setting, scene, parts, settings: ids, scenes }))
}

/// Looks at a part.
pub fn find(evidence: &Evidence, choice: Choice) -> Found {
    let ids = tunings_of(evidence, &choice);
    let scenes = scenes_of(evidence, &choice, &ids);
    let stock = ids.iter().copied().find(|id| fields(evidence, *id).is_some_and(|f| f.name == STOCK));
    let mut tunings: Vec<Tuned> =
        ids.iter().map(|id| tuned(evidence, &choice, &scenes, *id, stock, &ids)).collect();
    let watts = |tuned: &Tuned| tuned.watts.map_or(f64::INFINITY, |watts| watts.value);
    tunings.sort_by(|a, b| {
        (Some(a.tuning) != stock).cmp(&(Some(b.tuning) != stock)).then(watts(a).total_cmp(&watts(b)))
    });
    place(&mut tunings);
    let left_out = choice.scenes.iter().filter(|id| choice.scene.is_none() && !scenes.contains(id));
    Found {
        curves: curves(&tunings, evidence.piece.key.as_bytes()),
        for_less: for_less(&tunings),
        thriftiest: thriftiest(&tunings),
        falling: falling(evidence, &choice, &scenes, &tunings),
        units: cells_of(evidence, &choice).flat_map(|c| c.kept().map(|p| p.row.unit.clone())).collect(),
        left_out: left_out.copied().collect(),
        scenes,
        tunings,
        choice,
    }
}

fn fields(evidence: &Evidence, id: TuningId) -> Option<&TuningFields> {
    evidence.registers.tunings.get(&id).map(|tuning| &tuning.fields)
}

fn cells_of<'a>(evidence: &'a Evidence, choice: &Choice) -> impl Iterator<Item = &'a CellEvidence> {
    let (part, setting) = (choice.part, choice.setting);
    evidence.cells.values().filter(move |c| c.cell.part_id == part && c.cell.of.setting_id == setting)
}

fn tunings_of(evidence: &Evidence, choice: &Choice) -> Vec<TuningId> {
    let here = |cell: &&CellEvidence| choice.scene.is_none_or(|scene| cell.cell.of.scene_id == scene);
    let ids: BTreeSet<TuningId> =
        cells_of(evidence, choice).filter(here).map(|cell| cell.cell.of.tuning_id).collect();
    ids.into_iter().collect()
}

/// The scenes that every tuning with a value somewhere has one in.
fn scenes_of(evidence: &Evidence, choice: &Choice, ids: &[TuningId]) -> Vec<SceneId> {
    if let Some(scene) = choice.scene {
        return vec![scene];
    }
    let ran: Vec<TuningId> = ids
        .iter()
        .copied()
        .filter(|id| {
            cells_of(evidence, choice).any(|c| c.cell.of.tuning_id == *id && c.kept().next().is_some())
        })
        .collect();
    against::scenes_all_ran(evidence, Measure::AverageFps, choice.setting, &ran).into_iter().collect()
}

fn tuned(
    evidence: &Evidence,
    choice: &Choice,
    scenes: &[SceneId],
    id: TuningId,
    stock: Option<TuningId>,
    among: &[TuningId],
) -> Tuned {
    let cells: Vec<&CellEvidence> =
        scenes.iter().filter_map(|scene| evidence.cell_of(id, *scene, choice.setting)).collect();
    // A number over fewer scenes than its neighbours stand on would not be the same thing.
    let over_scenes = |measure| {
        let values: Vec<_> = cells.iter().filter_map(|cell| evidence.value(cell, measure)).collect();
        (values.len() == scenes.len()).then(|| together(&values)).flatten()
    };
    let all = || cells_of(evidence, choice).filter(move |cell| cell.cell.of.tuning_id == id);
    let passes = || all().flat_map(CellEvidence::kept);
    let temperatures = cells.iter().flat_map(|cell| cell.kept()).filter_map(|p| p.measures.temperature_max_c);
    let of = fields(evidence, id);
    let rated = evidence.registers.parts.get(&choice.part).and_then(|part| part.fields.rated_power_w);
    let reasons = all().filter(|cell| !cell.cell.did_not_run.is_empty());
    let base = stock.filter(|stock| *stock != id);
    Tuned {
        tuning: id,
        offsets: of.map_or([0; 3], |f| [f.core_offset_mhz, f.memory_offset_mhz, f.voltage_offset_mv]),
        watts: over_scenes(Measure::PowerW),
        rate: over_scenes(Measure::AverageFps),
        joules: over_scenes(Measure::JoulesPerFrame),
        clock_hz: over_scenes(Measure::ClockMeanHz).map(|clock| clock.value),
        hottest_c: temperatures.fold(None, |most: Option<f64>, t| Some(most.map_or(t, |most| most.max(t)))),
        against_stock: base.and_then(|stock| judged(evidence, choice, scenes, (stock, id), among)),
        place: None,
        ran: (passes().count(), all().filter(|cell| cell.kept().next().is_some()).count()),
        ran_s: passes().map(|pass| pass.row.span_ns as f64 / NS_PER_S as f64).sum(),
        did_not_run: reasons.map(|cell| (cell.cell.of.scene_id, cell.cell.did_not_run.clone())).collect(),
        past_limits: of.map_or_else(Vec::new, |f| past_limits(f, rated)),
    }
}

/// Frame rate of the second against the first of a pair, in the scenes that are looked at.
fn judged(
    evidence: &Evidence,
    choice: &Choice,
    scenes: &[SceneId],
    pair: (TuningId, TuningId),
    among: &[TuningId],
) -> Option<Judged> {
    let measure = Measure::AverageFps;
    match (choice.scene, scenes) {
        (Some(scene), _) => against::in_scene(evidence, measure, (scene, choice.setting), pair),
        (None, _) => {
            let found = against::overall(evidence, measure, choice.setting, pair, among)?;
            Some(Judged { ratio: found.overall.these, verdict: found.verdict, margin: found.margin })
        }
    }
}

fn place(tunings: &mut [Tuned]) {
    let both = |tuned: &Tuned| Some((tuned.watts?, tuned.rate?));
    let there: Vec<usize> = (0..tunings.len()).filter(|at| both(&tunings[*at]).is_some()).collect();
    let choices: Vec<front::Choice> = there
        .iter()
        .filter_map(|at| both(&tunings[*at]))
        .map(|(watts, rate)| front::Choice {
            cost: watts.value,
            gain: rate.value,
            cost_interval: watts.interval,
            gain_interval: rate.interval,
        })
        .collect();
    for (at, place) in there.into_iter().zip(front::places(&choices)) {
        tunings[at].place = Some(place);
    }
}

fn curves(tunings: &[Tuned], of: &[u8]) -> Vec<CurveFound> {
    let mut groups: BTreeMap<Offsets, Vec<Point>> = BTreeMap::new();
    for tuned in tunings {
        if let (Some(watts), Some(rate)) = (tuned.watts, tuned.rate) {
            groups.entry(tuned.offsets).or_default().push(Point {
                watts: watts.value,
                rate: rate.value,
                watts_interval: watts.interval,
                rate_interval: rate.interval,
            });
        }
    }
    let mut found: Vec<CurveFound> = groups
        .into_iter()
        .filter_map(|(offsets, points)| {
            let curve = curve::fit(&curve::values(&points))?;
            let band = curve::band(&points, of);
            let law = saturating::fit(&curve::values(&points)).filter(|law| goes_through(law, &points));
            Some(CurveFound { offsets, knee: knee::knee(&curve), band, law, curve })
        })
        .collect();
    found.sort_by_key(|curve| curve.offsets != [0; 3]);
    found
}

/// Whether the law meets each point within its interval: else it says nothing about them.
fn goes_through(law: &Law, points: &[Point]) -> bool {
    points.iter().all(|point| {
        let within = |rate: f64| point.rate_interval.is_some_and(|i| (i.low..=i.high).contains(&rate));
        law.at(point.watts).is_some_and(within)
    })
}

fn for_less(tunings: &[Tuned]) -> Option<usize> {
    let stock = tunings.iter().find(|tuned| tuned.against_stock.is_none())?.watts?.value;
    let as_good = |tuned: &Tuned| {
        matches!(
            tuned.against_stock.as_ref().map(|judged| &judged.verdict),
            Some(Verdict::Level { .. } | Verdict::LevelWithin { .. } | Verdict::Differs(Way::Faster))
        )
    };
    let less = tunings.iter().enumerate().filter(|(_, tuned)| as_good(tuned));
    let less =
        less.filter_map(|(at, tuned)| Some((at, tuned.watts?.value))).filter(|(_, watts)| *watts < stock);
    less.min_by(|a, b| a.1.total_cmp(&b.1)).map(|(at, _)| at)
}

fn thriftiest(tunings: &[Tuned]) -> Option<usize> {
    let all = tunings.iter().enumerate().filter_map(|(at, tuned)| Some((at, tuned.joules?.value)));
    all.min_by(|a, b| a.1.total_cmp(&b.1)).map(|(at, _)| at)
}

/// Pairs alike but for more memory offset, where the frame rate is shown to fall: a memory that retries its errors
/// does that before it fails.
fn falling(
    evidence: &Evidence,
    choice: &Choice,
    scenes: &[SceneId],
    tunings: &[Tuned],
) -> Vec<(usize, usize)> {
    let mut pairs = Vec::new();
    for (i, less) in tunings.iter().enumerate() {
        for (j, more) in tunings.iter().enumerate() {
            let limit = |tuned: &Tuned| fields(evidence, tuned.tuning).map(|f| f.power_limit_w);
            let alike = limit(less) == limit(more)
                && (less.offsets[0], less.offsets[2]) == (more.offsets[0], more.offsets[2]);
            if !alike || less.offsets[1] >= more.offsets[1] {
                continue;
            }
            let pair = (less.tuning, more.tuning);
            let judged = judged(evidence, choice, scenes, pair, &[]);
            let shown = |i: Interval| i.high < 1.0;
            if judged.and_then(|j| j.ratio.bounds).is_some_and(|b| shown(b.interval)) {
                pairs.push((i, j));
            }
        }
    }
    pairs
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::registers::tunings::Tuning;
    use crate::store::{CellId, DriverId};
    use crate::work::made_up::{self, add_cell};

    /// One part: stock, 400 W, 350 W and 400 W with offsets, in one scene; average and watts of three passes each.
    fn evidence() -> Evidence {
        let mut evidence = made_up::piece(1, 2);
        let tunings: [(&str, Option<i64>, i64, f64, f64); 4] = [
            ("stock", None, 0, 100.0, 490.0),
            ("400 W", Some(400), 0, 99.3, 396.0),
            ("350 W", Some(350), 0, 88.0, 347.0),
            ("400 W, offsets", Some(400), 750, 98.0, 396.5),
        ];
        for (n, (name, limit, memory, fps, watts)) in (1..).zip(tunings) {
            let id = TuningId(n);
            let fields = TuningFields {
                name: name.to_owned(),
                power_limit_w: limit,
                memory_offset_mhz: memory,
                ..TuningFields::stock(PartId(1))
            };
            evidence.registers.tunings.insert(id, Tuning { id, fields, version: 1 });
            add_cell(&mut evidence, n, 1, &[fps, fps * 1.001, fps * 0.999]);
            let cell = evidence.cells.get_mut(&CellId(n * 100 + 1)).unwrap();
            cell.cell.part_id = PartId(1);
            for (pass, share) in cell.passes.iter_mut().zip([1.0, 1.002, 0.998]) {
                pass.row.driver_id = DriverId(1);
                pass.measures.power_w = Some(watts * share);
                pass.measures.joules_per_frame = Some(watts * share / fps);
            }
        }
        evidence
    }

    fn found(evidence: &Evidence) -> Found {
        find(evidence, choose(evidence, &Asked::default()).unwrap().unwrap())
    }

    #[test]
    fn stock_comes_first_and_the_rest_by_watts_with_what_equals_it_for_less() {
        let evidence = evidence();
        let found = found(&evidence);
        let ids: Vec<i64> = found.tunings.iter().map(|t| t.tuning.0).collect();
        assert_eq!(ids, [1, 3, 2, 4]);
        assert_eq!(found.for_less, Some(2), "400 W is within the margin of stock");
        assert_eq!(found.thriftiest, Some(1), "350 W takes the fewest joules a frame");
        let places: Vec<Place> = found.tunings.iter().filter_map(|t| t.place).collect();
        assert_eq!(places[..3], [Place::OnFront; 3]);
        assert_eq!(places[3], Place::ShownWorse);
        assert_eq!((found.scenes.as_slice(), found.left_out.len()), ([SceneId(1)].as_slice(), 0));
    }

    #[test]
    fn offsets_have_a_curve_of_their_own_and_only_with_three_points() {
        let evidence = evidence();
        let found = found(&evidence);
        assert_eq!(found.curves.len(), 1);
        assert_eq!(found.curves[0].offsets, [0; 3]);
        assert!((found.curves[0].knee.unwrap().watts - 396.0).abs() < 1.0);
        assert!(found.curves[0].band.as_ref().unwrap().knee.unwrap().holds(396.0));
    }

    #[test]
    fn a_rate_that_falls_with_more_memory_offset_is_flagged() {
        let evidence = evidence();
        assert_eq!(found(&evidence).falling, [(2, 3)]);
    }

    #[test]
    fn what_did_not_run_stands_with_its_reason_and_takes_no_scene_away() {
        let mut evidence = evidence();
        let id = add_cell(&mut evidence, 4, 2, &[]);
        let cell = evidence.cells.get_mut(&id).unwrap();
        (cell.cell.part_id, cell.cell.did_not_run) = (PartId(1), "the picture froze after 40 s".to_owned());
        let found = found(&evidence);
        assert_eq!(found.left_out, [SceneId(2)]);
        let offsets = found.tunings.iter().find(|t| t.tuning == TuningId(4)).unwrap();
        assert_eq!(offsets.did_not_run, [(SceneId(2), "the picture froze after 40 s".to_owned())]);
        assert_eq!(offsets.ran, (3, 1));
        assert_eq!(
            offsets.past_limits.len(),
            2,
            "an offset, and no rated limit is known: {:?}",
            offsets.past_limits
        );
    }

    #[test]
    fn what_is_not_there_is_refused_and_one_tuning_is_nothing_to_look_at() {
        let evidence = evidence();
        for asked in [
            Asked { part: "9".to_owned(), ..Asked::default() },
            Asked { setting: "x".to_owned(), ..Asked::default() },
            Asked { scene: "2".to_owned(), ..Asked::default() },
        ] {
            assert!(matches!(choose(&evidence, &asked), Err(crate::work::Error::Refused(_))), "{asked:?}");
        }
        assert_eq!(choose(&made_up::piece(2, 2), &Asked::default()).unwrap(), None);
    }
}
