//! The intake of a piece: what waits, what asks, and what each log would become.

pub mod answer;
pub mod become_passes;
pub mod destinations;
pub mod namesakes;
pub mod pair;
pub mod plan;

use std::collections::HashMap;

use weighhouse_measure::intake::Question;
use weighhouse_measure::recording::Kind;

use super::understood::{Understood, understood};
use super::{Internal, Result};
use crate::store::captures::{self, Capture};
use crate::store::companions::{self, CompanionRow};
use crate::store::passes::{self, PassRow};
use crate::store::pieces::{self, Declared, Piece};
use crate::store::registers::cells::{Cell, CellOf};
use crate::store::registers::parts::{self, Driver, Part, Unit};
use crate::store::registers::rigs::{self, Rig, RigBase};
use crate::store::registers::scenes::{self, Build, Scene};
use crate::store::registers::settings::{self, Setting};
use crate::store::registers::tunings::{self, Tuning};
use crate::store::{CaptureId, Db, PartId, SceneId, SettingId, Store, TuningId, segments};

/// What the registers and the piece offer for an assignment.
#[derive(Clone, Debug)]
pub struct Choices {
    /// Cells that the piece selects.
    pub cells: Vec<Cell>,
    /// Drivers that it declares.
    pub declared: Vec<Declared>,
    /// All parts.
    pub parts: Vec<Part>,
    /// All tunings.
    pub tunings: Vec<Tuning>,
    /// All scenes.
    pub scenes: Vec<Scene>,
    /// All settings.
    pub settings: Vec<Setting>,
    /// All rigs.
    pub rigs: Vec<Rig>,
    /// Their bases, newest first within a rig.
    pub bases: Vec<RigBase>,
    /// All units.
    pub units: Vec<Unit>,
    /// All drivers, newest first within a part.
    pub drivers: Vec<Driver>,
    /// All builds, newest first within a scene.
    pub builds: Vec<Build>,
}

impl Choices {
    /// Reads them.
    ///
    /// # Errors
    /// When the store fails.
    pub async fn read(db: &mut Db, piece: &Piece) -> Result<Self> {
        Ok(Self {
            cells: pieces::selected(db, piece.id).await?,
            declared: pieces::declared(db, piece.id).await?,
            parts: parts::all(db).await?,
            tunings: tunings::all(db).await?,
            scenes: scenes::all(db).await?,
            settings: settings::all(db).await?,
            rigs: rigs::all(db).await?,
            bases: rigs::bases(db).await?,
            units: parts::units(db).await?,
            drivers: parts::drivers(db).await?,
            builds: scenes::builds(db).await?,
        })
    }

    /// Whether the piece selects this cell.
    pub fn in_piece(&self, of: CellOf) -> bool {
        self.cells.iter().any(|cell| cell.of == of)
    }

    /// Maker and model.
    pub fn part_name(&self, id: PartId) -> String {
        self.parts.iter().find(|part| part.id == id).map_or_else(String::new, Part::name)
    }

    /// Part and tuning; a stock part goes by its name alone.
    pub fn tuning_name(&self, id: TuningId) -> String {
        let Some(tuning) = self.tunings.iter().find(|tuning| tuning.id == id) else { return String::new() };
        format!("{}, {}", self.part_name(tuning.fields.part_id), tuning.fields.name)
    }

    /// Game and passage.
    pub fn scene_name(&self, id: SceneId) -> String {
        let scene = self.scenes.iter().find(|scene| scene.id == id);
        scene.map_or_else(String::new, |scene| format!("{}, {}", scene.fields.game, scene.fields.passage))
    }

    /// Its name.
    pub fn setting_name(&self, id: SettingId) -> String {
        let setting = self.settings.iter().find(|setting| setting.id == id);
        setting.map_or_else(String::new, |setting| setting.fields.name.clone())
    }

    /// A cell in words.
    pub fn cell_name(&self, of: CellOf) -> String {
        let (tuning, scene) = (self.tuning_name(of.tuning_id), self.scene_name(of.scene_id));
        format!("{tuning}; {scene}; {}", self.setting_name(of.setting_id))
    }
}

/// All that the page shows.
#[derive(Clone, Debug)]
pub struct Intake {
    /// Segments without a pass, with their captures.
    pub waiting: Vec<(Understood, Capture)>,
    /// Captures that a person has to say something about, oldest first.
    pub asking: Vec<(Capture, Question)>,
    /// Passes of the piece, for companions that are paired by hand.
    pub passes: Vec<PassRow>,
    /// Companions of those passes that are not placed.
    pub unplaced: Vec<CompanionRow>,
    /// Captures of those companions and their passes.
    pub captures: Vec<Capture>,
    /// What can be chosen.
    pub choices: Choices,
}

impl Intake {
    /// Reads it in one view.
    ///
    /// # Errors
    /// When the store fails.
    pub async fn read(store: &Store, piece: &Piece) -> Result<Self> {
        let mut db = store.read().await?;
        let waiting = segments::waiting(&mut db).await?;
        let waiting = understood(&mut db, waiting).await?;
        let mut seen: HashMap<CaptureId, Capture> = HashMap::new();
        let mut with_captures = Vec::with_capacity(waiting.len());
        for one in waiting {
            let id = one.segment.capture_id;
            let capture = match seen.get(&id) {
                Some(capture) => capture.clone(),
                None => {
                    captures::by_id(&mut db, id).await?.ok_or_else(|| Internal(format!("no capture {id}")))?
                }
            };
            seen.insert(id, capture.clone());
            with_captures.push((one, capture));
        }
        let asking = captures::asking(&mut db).await?;
        let mut unplaced = companions::of_piece(&mut db, piece.id).await?;
        unplaced.retain(|companion| companion.placing().is_none());
        let passes = passes::of_piece(&mut db, piece.id).await?;
        let captures = captures_of(&mut db, &unplaced, &passes).await?;
        Ok(Self {
            waiting: with_captures,
            asking: asking
                .into_iter()
                .filter_map(|capture| Some((capture.clone(), question(&capture)?)))
                .collect(),
            passes,
            unplaced,
            captures,
            choices: Choices::read(&mut db, piece).await?,
        })
    }

    /// The waiting segments that hold frames: what can become passes.
    pub fn frames(&self) -> impl Iterator<Item = &(Understood, Capture)> {
        self.waiting.iter().filter(|(one, _)| one.segment.kind == Kind::Frames)
    }
}

async fn captures_of(db: &mut Db, companions: &[CompanionRow], passes: &[PassRow]) -> Result<Vec<Capture>> {
    let mut ids = Vec::new();
    for companion in companions {
        ids.extend(segments::by_id(db, companion.segment_id).await?.map(|segment| segment.capture_id));
        ids.extend(passes.iter().find(|pass| pass.id == companion.pass_id).map(|pass| pass.capture_id));
    }
    ids.sort();
    ids.dedup();
    let mut out = Vec::with_capacity(ids.len());
    for id in ids {
        out.extend(captures::by_id(db, id).await?);
    }
    Ok(out)
}

/// What a capture asks.
pub fn question(capture: &Capture) -> Option<Question> {
    serde_json::from_str(capture.question.as_deref()?).ok()
}
