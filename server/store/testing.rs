//! A store in a temporary folder, and a small team's registers in it, for the tests of this crate.

use tempfile::TempDir;
use weighhouse_measure::compare::SceneKind;

use super::people::{self, Role};
use super::registers::{cells, parts, rigs, scenes, settings, tunings};
use super::{
    Actor, BuildId, CellId, DriverId, PartId, PersonId, RigBaseId, RigId, SceneId, SettingId, Store,
    StoreError, TuningId, UnitId,
};
use crate::clock::Clock;

/// Moment at which the tests' clock stands: 2026-03-01 12:00 UTC.
pub(crate) const NOW_US: i64 = 1_772_366_400_000_000;

/// A new store; its file goes with the folder.
pub(crate) async fn store() -> (TempDir, Store) {
    let folder = tempfile::tempdir().unwrap();
    let store = Store::open(&folder.path().join("s.db"), Clock::by_hand(NOW_US)).await.unwrap();
    (folder, store)
}

/// A person with this name and role.
pub(crate) async fn person(store: &Store, name: &'static str, role: Role) -> PersonId {
    store.write(Actor::Server, async move |tx| people::add(tx, name, role, "hash").await).await.unwrap()
}

/// One of everything.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Team {
    pub(crate) person: PersonId,
    pub(crate) rig: RigId,
    pub(crate) base: RigBaseId,
    pub(crate) part: PartId,
    pub(crate) unit: UnitId,
    pub(crate) driver: DriverId,
    pub(crate) tuning: TuningId,
    pub(crate) scene: SceneId,
    pub(crate) build: BuildId,
    pub(crate) setting: SettingId,
    pub(crate) cell: CellId,
}

/// A member with a rig, a part, a scene, a setting and the cell they make.
pub(crate) async fn team(store: &Store) -> Team {
    let person = person(store, "Ada", Role::Member).await;
    store.write(Actor::Person(person), async move |tx| registers(tx, person).await).await.unwrap()
}

async fn registers(tx: &mut super::Tx<'_>, person: PersonId) -> Result<Team, StoreError> {
    let rig = rigs::add(tx, &rigs::RigFields { name: "alder".into(), note: String::new() }).await?;
    let base = rigs::RigBaseFields {
        rig_id: rig,
        from_us: 0,
        board: "Quillon M1".into(),
        processor: "Osier 8".into(),
        memory: "32 GiB".into(),
        os_build: "26100".into(),
        firmware: "1.2".into(),
        cooling: "air".into(),
        enclosure: rigs::Enclosure::OpenBench,
        time_zone: "UTC".into(),
    };
    let base = rigs::add_base(tx, &base).await?;
    let part = parts::PartFields {
        maker: "Tarnwick".into(),
        model: "Curlew".into(),
        kind: parts::PartKind::Card,
        rated_power_w: Some(500),
        memory_mib: None,
        note: String::new(),
    };
    let part = parts::add(tx, &part).await?;
    let unit = parts::UnitFields {
        part_id: part,
        label: "A".into(),
        serial: "0001".into(),
        origin: parts::Origin::Bought,
        firmware: String::new(),
    };
    let unit = parts::add_unit(tx, &unit).await?;
    let driver = parts::DriverFields { part_id: part, name: "501.2".into(), dated_us: 0 };
    let driver = parts::add_driver(tx, &driver).await?;
    let tuning = tunings::all(tx).await?[0].id;
    let scene = scenes::SceneFields {
        game: "Vellum Rally".into(),
        passage: "hairpin".into(),
        kind: SceneKind::Replay,
        start_cue: "at the flag".into(),
        window_start_ns: 0,
        window_end_ns: None,
        tolerance_permille: None,
        note: String::new(),
    };
    let scene = scenes::add(tx, &scene).await?;
    let build = scenes::BuildFields { scene_id: scene, name: "1.0.3".into(), dated_us: 0 };
    let build = scenes::add_build(tx, &build).await?;
    let setting = settings::SettingFields {
        name: "2160p native".into(),
        width_px: 3840,
        height_px: 2160,
        preset: "high".into(),
        ray_tracing: String::new(),
        upscaling: String::new(),
        generated: 1,
    };
    let setting = settings::add(tx, &setting).await?;
    let of = cells::CellOf { tuning_id: tuning, scene_id: scene, setting_id: setting };
    let cell = cells::ensure(tx, of).await?;
    Ok(Team { person, rig, base, part, unit, driver, tuning, scene, build, setting, cell })
}
