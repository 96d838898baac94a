//! The registers that the cells of a piece refer to, and what their rows are called on pages, charts and figures.

use std::collections::BTreeMap;

use crate::store::registers::parts::{Driver, Part};
use crate::store::registers::rigs::RigBase;
use crate::store::registers::scenes::{Build, Scene};
use crate::store::registers::settings::Setting;
use crate::store::registers::tunings::{STOCK, Tuning};
use crate::store::registers::{parts, rigs, scenes, settings, tunings};
use crate::store::{BuildId, Db, DriverId, PartId, RigBaseId, SceneId, SettingId, StoreError, TuningId};

/// The registers that cells and passes refer to.
#[derive(Clone, Debug, Default)]
pub struct Registers {
    /// Parts.
    pub parts: BTreeMap<PartId, Part>,
    /// Tunings.
    pub tunings: BTreeMap<TuningId, Tuning>,
    /// Scenes.
    pub scenes: BTreeMap<SceneId, Scene>,
    /// Settings.
    pub settings: BTreeMap<SettingId, Setting>,
    /// What rigs were, from when on.
    pub bases: BTreeMap<RigBaseId, RigBase>,
    /// Drivers.
    pub drivers: BTreeMap<DriverId, Driver>,
    /// Builds of the games.
    pub builds: BTreeMap<BuildId, Build>,
}

impl Registers {
    /// Reads them.
    pub(super) async fn read(db: &mut Db) -> Result<Self, StoreError> {
        Ok(Registers {
            parts: parts::all(db).await?.into_iter().map(|part| (part.id, part)).collect(),
            tunings: tunings::all(db).await?.into_iter().map(|tuning| (tuning.id, tuning)).collect(),
            scenes: scenes::all(db).await?.into_iter().map(|scene| (scene.id, scene)).collect(),
            settings: settings::all(db).await?.into_iter().map(|setting| (setting.id, setting)).collect(),
            bases: rigs::bases(db).await?.into_iter().map(|base| (base.id, base)).collect(),
            drivers: parts::drivers(db).await?.into_iter().map(|driver| (driver.id, driver)).collect(),
            builds: scenes::builds(db).await?.into_iter().map(|build| (build.id, build)).collect(),
        })
    }

    /// A part as it is run: 'Tarnwick Curlew' at stock, 'Tarnwick Curlew (400 W)' at another tuning.
    pub fn tuning_name(&self, id: TuningId) -> String {
        let Some(tuning) = self.tunings.get(&id) else { return format!("tuning {id}") };
        let part = self.parts.get(&tuning.fields.part_id).map_or_else(String::new, Part::name);
        if tuning.fields.name == STOCK { part } else { format!("{part} ({})", tuning.fields.name) }
    }

    /// A part: 'Tarnwick Curlew'.
    pub fn part_name(&self, id: PartId) -> String {
        self.parts.get(&id).map_or_else(|| format!("part {id}"), Part::name)
    }

    /// A scene: 'Vellum Rally, hairpin'.
    pub fn scene_name(&self, id: SceneId) -> String {
        let scene = self.scenes.get(&id);
        scene.map_or_else(|| format!("scene {id}"), |s| format!("{}, {}", s.fields.game, s.fields.passage))
    }

    /// A setting: '2160p native'.
    pub fn setting_name(&self, id: SettingId) -> String {
        self.settings.get(&id).map_or_else(|| format!("setting {id}"), |setting| setting.fields.name.clone())
    }
}
