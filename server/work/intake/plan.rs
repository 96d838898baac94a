//! What each ticked log would become: said of it alone, chosen for all of them, or read from its file's name. Pure.

use std::collections::BTreeMap;

use super::Choices;
use crate::store::captures::Capture;
use crate::store::registers::cells::CellOf;
use crate::store::segments::SegmentRow;
use crate::store::{
    BuildId, DriverId, PartId, RigBaseId, RigId, SceneId, SegmentId, SettingId, TuningId, UnitId,
};
use crate::work::assign::stem;
use crate::work::pattern::{self, Pattern, Word, bare};

/// What a person chose; what is left open takes the usual, or is read from the file's name.
#[derive(Clone, Debug, Default)]
pub struct Chosen {
    /// File-name pattern.
    pub pattern: Option<Pattern>,
    /// What is said of single logs.
    pub own: BTreeMap<SegmentId, Own>,
    /// Tuning, and with it the part.
    pub tuning: Option<TuningId>,
    /// Scene.
    pub scene: Option<SceneId>,
    /// Setting.
    pub setting: Option<SettingId>,
    /// Usual: the newest base of the rig that it was recorded on or that the name says, else of the only one.
    pub base: Option<RigBaseId>,
    /// Usual: the part's only unit.
    pub unit: Option<UnitId>,
    /// Usual: the driver that the piece declares for the part.
    pub driver: Option<DriverId>,
    /// Usual: the newest build of the scene.
    pub build: Option<BuildId>,
    /// Whether cells that the piece does not select yet are added to it.
    pub add: bool,
    /// Whether logs whose names say a pass that there is already become passes of their own.
    pub twice: bool,
}

/// What a person said of one log: it outranks its name and what is chosen for all.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Own {
    /// Tuning, and with it the part.
    pub tuning: Option<TuningId>,
    /// Scene.
    pub scene: Option<SceneId>,
    /// Setting.
    pub setting: Option<SettingId>,
}

impl Own {
    /// Whether it says the whole cell.
    fn is_whole(self) -> bool {
        self.tuning.is_some() && self.scene.is_some() && self.setting.is_some()
    }
}

/// All that a pass is made of.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Wish {
    /// Its frames.
    pub segment: SegmentId,
    /// Its cell, which may not be there yet.
    pub of: CellOf,
    /// What the rig was.
    pub base: RigBaseId,
    /// The sample that ran.
    pub unit: UnitId,
    /// Its driver.
    pub driver: DriverId,
    /// The game's build.
    pub build: BuildId,
    /// Number of the pass that the file's name says of this cell; passes are numbered as they are made.
    pub named: Option<u32>,
    /// Whether the file's name says another cell.
    pub against_name: bool,
}

/// What a log would become, or why nothing, in a sentence.
pub fn wish(
    choices: &Choices,
    chosen: &Chosen,
    segment: &SegmentRow,
    capture: &Capture,
) -> Result<Wish, String> {
    let own = chosen.own.get(&segment.id).copied().unwrap_or_default();
    let named = match Named::read(choices, chosen, file(segment)) {
        // Nothing of the cell is left for the name to say.
        Err(_) if own.is_whole() => Named::default(),
        read => read?,
    };
    let tuning = own.tuning.map_or_else(|| one_of("tuning", chosen.tuning, named.tuning), Ok)?;
    let part = choices.tunings.iter().find(|t| t.id == tuning).map(|t| t.fields.part_id);
    let part = part.ok_or("Choose a part and its tuning.")?;
    let scene = own.scene.map_or_else(|| one_of("scene", chosen.scene, named.scene), Ok)?;
    let setting = own.setting.map_or_else(|| one_of("setting", chosen.setting, named.setting), Ok)?;
    let of = CellOf { tuning_id: tuning, scene_id: scene, setting_id: setting };
    if !choices.in_piece(of) && !chosen.add {
        return Err(format!("The piece has no cell '{}': tick that it is added.", choices.cell_name(of)));
    }
    // Where its name does not say where it goes, what it lacks is said with the cell.
    let to = |says: String| {
        if own == Own::default() { says } else { format!("To {}: {says}", choices.cell_name(of)) }
    };
    Ok(Wish {
        segment: segment.id,
        of,
        base: base(choices, chosen.base, named.rig.or(capture.rig_id)).map_err(to)?,
        unit: unit(choices, chosen.unit, part).map_err(to)?,
        driver: driver(choices, chosen.driver, part).map_err(to)?,
        build: build(choices, chosen.build, scene).map_err(to)?,
        named: named.number.filter(|_| named.agrees(of)),
        against_name: !named.agrees(of),
    })
}

/// Number of the pass that a file's name says of this cell by the pattern; none where it says another cell.
pub(super) fn number(choices: &Choices, chosen: &Chosen, file: &str, of: CellOf) -> Option<u32> {
    let named = Named::read(choices, chosen, file).ok()?;
    named.number.filter(|_| named.agrees(of))
}

/// Names that are looked at to guess their pattern: more of them say the same.
const LOOKED_AT: usize = 20;

/// The pattern that most of these logs' names seem to follow.
pub fn guess<'a>(choices: &Choices, segments: impl Iterator<Item = &'a SegmentRow>) -> Option<String> {
    let names: Vec<&str> = segments.take(LOOKED_AT).map(|segment| stem(file(segment))).collect();
    pattern::guess(&names, &|word, text| !candidates(choices, word, text).is_empty())
}

/// The file that a segment lies in.
fn file(segment: &SegmentRow) -> &str {
    if segment.member.is_empty() { &segment.capture } else { &segment.member }
}

/// What the file's name says.
#[derive(Default)]
struct Named {
    tuning: Option<TuningId>,
    scene: Option<SceneId>,
    setting: Option<SettingId>,
    rig: Option<RigId>,
    number: Option<u32>,
}

impl Named {
    fn read(choices: &Choices, chosen: &Chosen, file: &str) -> Result<Self, String> {
        let Some(pattern) = &chosen.pattern else { return Ok(Self::default()) };
        let known = |word, text: &str| !candidates(choices, word, text).is_empty();
        let found = pattern
            .read(stem(file), &known)
            .ok_or("Its name does not fit the pattern, or names what no register has.")?;
        let text = |word| found.iter().find(|(w, _)| *w == word).map(|(_, text)| text.as_str());
        let only = |word| text(word).map(|text| single(choices, word, text)).transpose();
        let part = only(Word::Part)?.map(PartId);
        Ok(Self {
            tuning: tuning(choices, part, text(Word::Tuning))?,
            scene: only(Word::Scene)?.map(SceneId),
            setting: only(Word::Setting)?.map(SettingId),
            rig: only(Word::Rig)?.map(RigId),
            number: text(Word::Pass).and_then(|text| text.parse().ok()),
        })
    }

    /// Whether what the name says of a cell, as far as that goes, is this one.
    fn agrees(&self, of: CellOf) -> bool {
        self.tuning.is_none_or(|tuning| tuning == of.tuning_id)
            && self.scene.is_none_or(|scene| scene == of.scene_id)
            && self.setting.is_none_or(|setting| setting == of.setting_id)
    }
}

/// Ids of what this text may name.
fn candidates(choices: &Choices, word: Word, text: &str) -> Vec<i64> {
    let is = |names: &[String]| names.iter().any(|name| !name.is_empty() && bare(name) == bare(text));
    let mut ids: Vec<i64> = match word {
        Word::Part => {
            choices.parts.iter().filter(|p| is(&[p.fields.model.clone(), p.name()])).map(|p| p.id.0).collect()
        }
        Word::Tuning => choices
            .tunings
            .iter()
            .filter(|t| is(std::slice::from_ref(&t.fields.name)))
            .map(|t| t.id.0)
            .collect(),
        Word::Scene => {
            let names = |f: &crate::store::registers::scenes::SceneFields| {
                [f.passage.clone(), f.game.clone(), format!("{} {}", f.game, f.passage)]
            };
            choices.scenes.iter().filter(|s| is(&names(&s.fields))).map(|s| s.id.0).collect()
        }
        Word::Setting => {
            let size = |f: &crate::store::registers::settings::SettingFields| {
                format!("{}x{}", f.width_px, f.height_px)
            };
            let named = choices.settings.iter().filter(|s| is(&[s.fields.name.clone(), size(&s.fields)]));
            named.map(|s| s.id.0).collect()
        }
        Word::Rig => {
            choices.rigs.iter().filter(|r| is(std::slice::from_ref(&r.fields.name))).map(|r| r.id.0).collect()
        }
        Word::Pass | Word::Any => Vec::new(),
    };
    // Where several fit, those that the piece selects are meant.
    let selected = |id: &i64| match word {
        Word::Part => choices.cells.iter().any(|c| c.part_id.0 == *id),
        Word::Scene => choices.cells.iter().any(|c| c.of.scene_id.0 == *id),
        Word::Setting => choices.cells.iter().any(|c| c.of.setting_id.0 == *id),
        _ => false,
    };
    if ids.len() > 1 && ids.iter().any(selected) {
        ids.retain(selected);
    }
    ids
}

fn single(choices: &Choices, word: Word, text: &str) -> Result<i64, String> {
    match candidates(choices, word, text)[..] {
        [id] => Ok(id),
        _ => Err(format!("'{text}' may be several; choose it in the form and put {{any}} in its place.")),
    }
}

/// The named tuning of the part, else its stock.
fn tuning(choices: &Choices, part: Option<PartId>, named: Option<&str>) -> Result<Option<TuningId>, String> {
    let Some(part) = part else {
        return named.map_or(Ok(None), |_| Err("A {tuning} needs its {part} in the pattern.".to_owned()));
    };
    let wanted = named.map_or_else(|| bare(tunings_stock()), bare);
    let of_part = choices.tunings.iter().filter(|t| t.fields.part_id == part);
    let found = of_part.into_iter().find(|t| bare(&t.fields.name) == wanted).map(|t| t.id);
    found.map(Some).ok_or_else(|| format!("{} has no tuning '{wanted}'.", choices.part_name(part)))
}

fn tunings_stock() -> &'static str {
    crate::store::registers::tunings::STOCK
}

fn one_of<T: PartialEq + Copy>(what: &str, chosen: Option<T>, named: Option<T>) -> Result<T, String> {
    match (chosen, named) {
        (Some(chosen), Some(named)) if chosen != named => {
            Err(format!("The {what} that was chosen is not the one that its name says."))
        }
        (Some(one), _) | (None, Some(one)) => Ok(one),
        (None, None) => Err(format!("Choose the {what}.")),
    }
}

fn base(choices: &Choices, chosen: Option<RigBaseId>, rig: Option<RigId>) -> Result<RigBaseId, String> {
    if let Some(chosen) = chosen {
        return Ok(chosen);
    }
    let only = match choices.rigs.as_slice() {
        [only] => Some(only.id),
        _ => None,
    };
    let rig = rig.or(only).ok_or("No rig is known for it: choose the base of one.")?;
    let newest = choices.bases.iter().find(|base| base.fields.rig_id == rig).map(|base| base.id);
    newest.ok_or_else(|| "Its rig has no base yet: enter one under Rigs.".to_owned())
}

fn unit(choices: &Choices, chosen: Option<UnitId>, part: PartId) -> Result<UnitId, String> {
    let of_part: Vec<UnitId> =
        choices.units.iter().filter(|u| u.fields.part_id == part).map(|u| u.id).collect();
    match (chosen, of_part.as_slice()) {
        (Some(chosen), _) if of_part.contains(&chosen) => Ok(chosen),
        (Some(_), _) => Err(format!("The unit is not one of {}.", choices.part_name(part))),
        (None, [only]) => Ok(*only),
        (None, []) => Err(format!("{} has no unit yet: enter one under Parts.", choices.part_name(part))),
        (None, _) => Err(format!("{} has several units: choose which one ran.", choices.part_name(part))),
    }
}

fn driver(choices: &Choices, chosen: Option<DriverId>, part: PartId) -> Result<DriverId, String> {
    let mut of_part = choices.drivers.iter().filter(|d| d.fields.part_id == part).map(|d| d.id);
    let declared = choices.declared.iter().find(|d| d.part_id == part).map(|d| d.driver_id);
    match (chosen, declared) {
        (Some(chosen), _) if of_part.any(|id| id == chosen) => Ok(chosen),
        (Some(_), _) => Err(format!("The driver is not one of {}.", choices.part_name(part))),
        (None, Some(declared)) => Ok(declared),
        (None, None) => of_part
            .next()
            .ok_or_else(|| format!("{} has no driver yet: enter one under Parts.", choices.part_name(part))),
    }
}

fn build(choices: &Choices, chosen: Option<BuildId>, scene: SceneId) -> Result<BuildId, String> {
    let mut of_scene = choices.builds.iter().filter(|b| b.fields.scene_id == scene).map(|b| b.id);
    match chosen {
        Some(chosen) if of_scene.any(|id| id == chosen) => Ok(chosen),
        Some(_) => Err(format!("The build is not one of {}.", choices.scene_name(scene))),
        None => of_scene.next().ok_or_else(|| {
            format!("{} has no build yet: enter one under Scenes.", choices.scene_name(scene))
        }),
    }
}
