//! A store in a temporary folder, and a small team's registers in it, for the tests of this crate.

use sha2::{Digest as _, Sha256};
use tempfile::TempDir;
use weighhouse_measure::compare::SceneKind;
use weighhouse_measure::intake::Layout;
use weighhouse_measure::recording::{self, Kind, Recording};

use super::people::{self, Role};
use super::registers::{cells, parts, rigs, scenes, settings, tunings};
use super::tracks::PackedRecording;
use super::{
    Actor, BuildId, CellId, DriverId, PartId, PassId, PersonId, RigBaseId, RigId, SceneId, SegmentId,
    SettingId, Store, StoreError, TuningId, UnitId, captures, layouts, passes, segments,
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
    let unit = parts::UnitFields { serial: "0001".into(), ..parts::UnitFields::bought(part, "A") };
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

/// A log of one column of frame times in ms.
pub(crate) fn layout(column: &str) -> Layout {
    let column = serde_json::json!({"index": 1, "name": column, "role": recording::Role::FrameTime, "unit": "ms", "why": ""});
    let layout = serde_json::json!({
        "form": 1, "kind": Kind::Frames, "delimiter": ",", "decimal": ".", "encoding": "UTF-8", "header_line": 1,
        "clock": null, "stamp_at": "start", "columns": [column],
    });
    serde_json::from_value(layout).unwrap()
}

/// A visible segment of a visible capture whose bytes are its name: `rows` frames of 10 ms, or samples 10 ms apart.
pub(crate) async fn segment(store: &Store, name: &'static str, kind: Kind, rows: i64) -> SegmentId {
    store.write(Actor::Server, async move |tx| staged_segment(tx, name, kind, rows).await).await.unwrap()
}

async fn staged_segment(
    tx: &mut super::Tx<'_>,
    name: &str,
    kind: Kind,
    rows: i64,
) -> Result<SegmentId, StoreError> {
    let new =
        captures::NewCapture { name: name.to_owned(), rig_id: None, start_us: None, settings_sha256: None };
    let capture = captures::stage(tx, &new).await?;
    captures::stage_chunk(tx, capture, 0, &captures::pack(name.as_bytes())?).await?;
    let layout = layouts::keep(tx, &self::layout("took"), None).await?;
    let at_ns: Vec<i64> = (0..rows).map(|i| i * 10_000_000).collect();
    let frame_ns = if kind == Kind::Frames { vec![10_000_000; at_ns.len()] } else { Vec::new() };
    let recording = Recording { kind, wall_start_ns: None, at_ns, frame_ns, tracks: Vec::new() };
    let segment = segments::NewSegment {
        capture_id: capture,
        member: String::new(),
        n: 0,
        cut: segments::Cut::default(),
        layout_id: layout,
        kind,
        rows,
        span_ns: recording.span_ns(),
        wall_start_ns: None,
        problems: Vec::new(),
    };
    let segment = segments::stage(tx, &segment).await?;
    for (n, track) in (0..).zip(&PackedRecording::pack(&recording)?.tracks) {
        segments::stage_track(tx, segment, n, track).await?;
    }
    let digest = Sha256::digest(name.as_bytes()).into();
    let bytes = i64::try_from(name.len()).unwrap();
    captures::show(tx, capture, &digest, bytes, &captures::Came::read()).await?;
    segments::show(tx, segment).await?;
    Ok(segment)
}

/// A pass of the team's cell, made of a segment of 1000 frames.
pub(crate) async fn pass(store: &Store, team: Team, key: &'static str) -> PassId {
    let segment_id = segment(store, key, Kind::Frames, 1000).await;
    let new = passes::NewPass {
        cell_id: team.cell,
        segment_id,
        rig_base_id: team.base,
        unit_id: team.unit,
        driver_id: team.driver,
        build_id: team.build,
    };
    store.write(Actor::Person(team.person), async move |tx| passes::add(tx, key, &new).await).await.unwrap()
}
