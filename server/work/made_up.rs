//! Made-up evidence for tests of what is computed from it: no store, only values.

use std::collections::BTreeMap;

use weighhouse_measure::compare::SceneKind;
use weighhouse_measure::compare::noise::NoisePrior;
use weighhouse_measure::measures::{PassInput, PassMeasures, Seed, measure};
use weighhouse_measure::recording::{Kind, Recording, Window};
use weighhouse_measure::screens::{Profile, Strictnesses};

use super::evidence::{CellEvidence, Evidence, PassEvidence, Registers, Standing};
use super::readings::Readings;
use crate::store::companions::{CompanionRow, PlacedBy};
use crate::store::passes::PassRow;
use crate::store::pieces::{Piece, PieceFields};
use crate::store::registers::cells::{Cell, CellOf};
use crate::store::registers::parts::{Driver, DriverFields, Part, PartFields, PartKind};
use crate::store::registers::rigs::{Enclosure, RigBase, RigBaseFields};
use crate::store::registers::scenes::{Build, BuildFields, Scene, SceneFields};
use crate::store::registers::settings::{Setting, SettingFields};
use crate::store::registers::tunings::{Tuning, TuningFields};
use crate::store::segments::Cut;
use crate::store::{
    BuildId, CaptureId, CellId, CompanionId, DriverId, LayoutId, PartId, PassId, PieceId, RigBaseId, RigId,
    SceneId, SegmentId, SettingId, TuningId, UnitId,
};

/// The one setting.
pub(crate) const SETTING: SettingId = SettingId(1);

/// A piece without cells, on parts 1 to `parts` at stock (tuning = part) and scenes 1 to `scenes`, replays all.
pub(crate) fn piece(parts: i64, scenes: i64) -> Evidence {
    let fields =
        PieceFields { baseline_part_id: Some(PartId(1)), ..PieceFields::usual("A piece", PartKind::Card) };
    Evidence {
        piece: Piece { id: PieceId(1), key: "piece".to_owned(), fields, made_us: 0, version: 1 },
        cells: BTreeMap::new(),
        carried: Vec::new(),
        registers: Registers {
            parts: (1..=parts).map(|id| (PartId(id), part(id))).collect(),
            tunings: (1..=parts).map(|id| (TuningId(id), tuning(id))).collect(),
            scenes: (1..=scenes).map(|id| (SceneId(id), scene(id))).collect(),
            settings: BTreeMap::from([(SETTING, setting())]),
            ..Registers::default()
        },
        declared: (1..=parts).map(|id| (PartId(id), DriverId(id))).collect(),
        prior: NoisePrior::default(),
        prior_number: 0,
        prior_body: String::new(),
        prior_kept: None,
        prices: Vec::new(),
        readers: Vec::new(),
        readings: Readings::default(),
        screens: Strictnesses::default(),
        screens_version: 0,
    }
}

/// Adds the cell of a part at stock in a scene, with a pass of each average frame rate, all in rig 1 on build 1.
pub(crate) fn add_cell(evidence: &mut Evidence, part: i64, scene: i64, averages: &[f64]) -> CellId {
    add_cell_at(evidence, part, scene, SETTING, averages)
}

/// The same at another setting.
pub(crate) fn add_cell_at(
    evidence: &mut Evidence,
    part: i64,
    scene: i64,
    setting: SettingId,
    averages: &[f64],
) -> CellId {
    let id = CellId((setting.0 - SETTING.0) * 10_000 + part * 100 + scene);
    let of = CellOf { tuning_id: TuningId(part), scene_id: SceneId(scene), setting_id: setting };
    let cell = Cell { id, of, part_id: PartId(part), did_not_run: String::new(), version: 1 };
    let passes = (1..).zip(averages).map(|(n, average)| pass(&cell, n, *average)).collect();
    let kind = evidence.registers.scenes[&SceneId(scene)].fields.kind;
    evidence.cells.insert(id, CellEvidence { cell, kind, generated: false, passes, carried: None });
    id
}

fn part(id: i64) -> Part {
    let fields = PartFields {
        maker: "Maker".to_owned(),
        model: format!("Part {id}"),
        kind: PartKind::Card,
        rated_power_w: None,
        memory_mib: None,
        note: String::new(),
    };
    Part { id: PartId(id), fields, version: 1 }
}

fn tuning(id: i64) -> Tuning {
    Tuning { id: TuningId(id), fields: TuningFields::stock(PartId(id)), version: 1 }
}

fn scene(id: i64) -> Scene {
    let fields = SceneFields {
        game: format!("Game {id}"),
        passage: "passage".to_owned(),
        kind: SceneKind::Replay,
        start_cue: String::new(),
        window_start_ns: 0,
        window_end_ns: None,
        tolerance_permille: None,
        note: String::new(),
    };
    Scene { id: SceneId(id), fields, version: 1 }
}

fn setting() -> Setting {
    let fields = SettingFields {
        name: "2160p native".to_owned(),
        width_px: 3840,
        height_px: 2160,
        preset: String::new(),
        ray_tracing: String::new(),
        upscaling: String::new(),
        generated: 1,
    };
    Setting { id: SETTING, fields, version: 1 }
}

/// Measures of nothing but an average: what a pass of even frames would give, with the average set exactly.
fn measures(average: f64) -> PassMeasures {
    let frames = Recording {
        kind: Kind::Frames,
        at_ns: vec![0, 10_000_000],
        frame_ns: vec![10_000_000; 2],
        tracks: Vec::new(),
        wall_start_ns: None,
    };
    let window = Window { start_ns: 0, end_ns: 20_000_000 };
    let seed = Seed { digest: [0; 32], segment: 0 };
    let of = measure(&PassInput { recording: &frames, window, companions: &[], seed });
    PassMeasures { average_fps: Some(average), ..of }
}

fn pass(cell: &Cell, number: i64, average: f64) -> PassEvidence {
    let id = cell.id.0 * 100 + number;
    PassEvidence {
        row: row(cell, id, number),
        companions: Vec::new(),
        measures: measures(average),
        profile: Profile::default(),
        steps: Default::default(),
        times: Default::default(),
        flags: Vec::new(),
        standing: Standing::Sound,
        age: Default::default(),
    }
}

fn row(cell: &Cell, id: i64, number: i64) -> PassRow {
    PassRow {
        id: PassId(id),
        key: format!("pass{id}"),
        number,
        made_us: 0,
        version: 1,
        window_start_ns: None,
        window_end_ns: None,
        window_reason: String::new(),
        cell_id: cell.id,
        tuning_id: cell.of.tuning_id,
        part_id: cell.part_id,
        scene_id: cell.of.scene_id,
        setting_id: cell.of.setting_id,
        scene_window_start_ns: 0,
        scene_window_end_ns: None,
        segment_id: SegmentId(id),
        member: String::new(),
        segment_n: 0,
        cut: Cut::default(),
        rows: 2,
        span_ns: 20_000_000,
        wall_start_ns: None,
        layout_id: LayoutId(1),
        layout_shape: "a shape".to_owned(),
        layout_version: 1,
        capture_id: CaptureId(id),
        digest: "00".repeat(32),
        capture: format!("{id}.log"),
        settings_sha256: None,
        rig_base_id: RigBaseId(1),
        rig_id: RigId(1),
        rig: "alder".to_owned(),
        unit_id: UnitId(cell.part_id.0),
        unit: "A".to_owned(),
        driver_id: DriverId(cell.part_id.0),
        driver: format!("driver {}", cell.part_id),
        build_id: BuildId(1),
        build: "1.0".to_owned(),
        verdict: None,
        reason: None,
        saw: None,
        ruled_by: None,
        ruled_us: None,
        stands: None,
        against_id: None,
        against_verdict: None,
        against_reason: None,
        against_by: None,
        measures_key: None,
        measures: None,
        flags_key: None,
        flags: None,
    }
}

/// A part's driver of a date.
pub(crate) fn driver(part: i64, name: &str, dated_us: i64) -> Driver {
    let fields = DriverFields { part_id: PartId(part), name: name.to_owned(), dated_us };
    Driver { id: DriverId(part), fields, version: 1 }
}

/// Build 1 of scene 1.
pub(crate) fn build(name: &str, dated_us: i64) -> Build {
    let fields = BuildFields { scene_id: SceneId(1), name: name.to_owned(), dated_us };
    Build { id: BuildId(1), fields, version: 1 }
}

/// Base 1 of rig 1.
pub(crate) fn base(processor: &str) -> RigBase {
    let fields = RigBaseFields {
        rig_id: RigId(1),
        from_us: 0,
        board: "Quillon M1".to_owned(),
        processor: processor.to_owned(),
        memory: "32 GiB".to_owned(),
        os_build: "26100".to_owned(),
        firmware: "1.2".to_owned(),
        cooling: "air".to_owned(),
        enclosure: Enclosure::OpenBench,
        time_zone: "UTC".to_owned(),
    };
    RigBase { id: RigBaseId(1), fields, version: 1 }
}

/// A companion, placed at an offset or not.
pub(crate) fn companion(offset_ns: Option<i64>) -> CompanionRow {
    CompanionRow {
        id: CompanionId(1),
        pass_id: PassId(1),
        segment_id: SegmentId(1),
        offset_ns,
        drift_ppb: 0,
        placed_by: if offset_ns.is_some() { PlacedBy::Hand } else { PlacedBy::Nobody },
        version: 1,
        digest: "22".repeat(32),
        capture: "sensors.csv".to_owned(),
        member: String::new(),
        segment_n: 0,
        cut: Cut::default(),
        layout_shape: "a shape".to_owned(),
        layout_version: 1,
        rows: 2,
        span_ns: 10,
        wall_start_ns: None,
    }
}
