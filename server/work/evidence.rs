//! What the pages of a piece rest on, read as of one moment: its cells with their passes, what was measured on them,
//! what the screens found, how people ruled, and the noise prior.

use std::collections::BTreeMap;
use std::sync::Arc;

use weighhouse_measure::compare::cell::{self, CellValue};
use weighhouse_measure::compare::noise::{self, Local, NoiseCell, NoisePrior};
use weighhouse_measure::compare::passes::{Wanted, wanted};
use weighhouse_measure::compare::{PassLog, SceneKind};
use weighhouse_measure::measures::{LowDefinition, Measure, Tail};
use weighhouse_measure::screens::notices::NoticeInput;
use weighhouse_measure::screens::{CellSpread, Notice, Spread, Strictnesses, notices};

use super::carried::{self, CarriedPart};
pub use super::cell_evidence::{CellEvidence, PassEvidence, Standing};
pub use super::names::Registers;
use super::readings::{self, Readings};
use super::results;
use crate::store::audit;
use crate::store::companions;
use crate::store::passes;
use crate::store::people;
use crate::store::piece_screens;
use crate::store::pieces::{self, Piece};
use crate::store::readers::{self, Reader};
use crate::store::registers::cells::Cell;
use crate::store::registers::parts::{PartKind, Price};
use crate::store::registers::rigs::RigBaseFields;
use crate::store::registers::{self, parts};
use crate::store::{
    CellId, DriverId, PartId, PieceId, Read, RigBaseId, SceneId, SettingId, Store, StoreError, TuningId,
};

/// A piece's evidence.
#[derive(Clone, Debug)]
pub struct Evidence {
    /// The piece with its choices.
    pub piece: Piece,
    /// Its cells, by id.
    pub cells: BTreeMap<CellId, CellEvidence>,
    /// What it carries over from earlier pieces.
    pub carried: Vec<CarriedPart>,
    /// The team's registers.
    pub registers: Registers,
    /// The one driver that the piece declares for each part.
    pub declared: BTreeMap<PartId, DriverId>,
    /// The noise prior as kept; empty while the piece has none.
    pub prior: NoisePrior,
    /// Its number; 0 while the piece has none.
    pub prior_number: i64,
    /// Its text as kept; empty while the piece has none.
    pub prior_body: String,
    /// Who keeps it since when.
    pub prior_kept: Option<PriorKept>,
    /// Dated prices of all parts.
    pub prices: Vec<Price>,
    /// The kinds of reader that the piece asks for.
    pub readers: Vec<Reader>,
    /// What was read of its parts without a frame log.
    pub readings: Readings,
    /// Which screens it runs, and how strict.
    pub screens: Strictnesses,
    /// Version of that choice; 0 while there is none.
    pub screens_version: i64,
}

/// Who kept a noise prior, and when.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PriorKept {
    /// Name; empty where nobody is named.
    pub by: String,
    /// Microseconds UTC.
    pub at_us: i64,
}

impl Evidence {
    /// Reads the evidence of a piece; `None` where there is none with this id.
    pub async fn of_piece(store: &Store, id: PieceId) -> Result<Option<Self>, StoreError> {
        let mut db = store.read().await?;
        let entry = audit::head(&mut db).await?.seq;
        if let Some(kept) = store.recall::<Self>(entry, id.0) {
            return Ok(Some((*kept).clone()));
        }
        let Some(piece) = pieces::by_id(&mut db, id).await? else { return Ok(None) };
        let read = Self::read(store, db, piece, None, None).await?;
        store.remember(entry, id.0, Arc::new(read.clone()));
        Ok(Some(read))
    }

    /// Reads the evidence of one cell by itself, with the usual choices: for passes of cells that no piece selects.
    /// Its piece has no key. `None` where there is no such cell.
    pub async fn of_cell(store: &Store, id: CellId) -> Result<Option<Self>, StoreError> {
        let mut db = store.read().await?;
        let Some(cell) = registers::cells::by_id(&mut db, id).await? else { return Ok(None) };
        let kind = parts::by_id(&mut db, cell.part_id).await?.map_or(PartKind::Card, |part| part.fields.kind);
        let fields = pieces::PieceFields::usual("", kind);
        let piece = Piece { id: PieceId(0), key: String::new(), fields, made_us: 0, version: 0 };
        Self::read(store, db, piece, Some(vec![cell]), None).await.map(Some)
    }

    /// Reads the evidence of a piece as it would be with another choice of screens. `None` where there is none with
    /// this id.
    pub async fn screened(
        store: &Store,
        id: PieceId,
        screens: Strictnesses,
    ) -> Result<Option<Self>, StoreError> {
        let mut db = store.read().await?;
        let Some(piece) = pieces::by_id(&mut db, id).await? else { return Ok(None) };
        Self::read(store, db, piece, None, Some(screens)).await.map(Some)
    }

    /// Reads the evidence of one of a piece's cells, for what must answer fast. It is judged with the piece's noise
    /// prior and declared drivers; while the piece has kept no prior, with what the cell alone would give. `None`
    /// where there is no such cell.
    pub async fn of_cell_in(store: &Store, piece: Piece, id: CellId) -> Result<Option<Self>, StoreError> {
        let mut db = store.read().await?;
        let Some(cell) = registers::cells::by_id(&mut db, id).await? else { return Ok(None) };
        Self::read(store, db, piece, Some(vec![cell]), None).await.map(Some)
    }

    /// The same of several cells, selected or not.
    pub async fn of_cells_in(store: &Store, piece: Piece, cells: Vec<Cell>) -> Result<Self, StoreError> {
        Self::read(store, store.read().await?, piece, Some(cells), None).await
    }

    async fn read(
        store: &Store,
        mut db: Read,
        piece: Piece,
        alone: Option<Vec<Cell>>,
        screens: Option<Strictnesses>,
    ) -> Result<Self, StoreError> {
        let id = piece.id;
        let registers = Registers::read(&mut db).await?;
        let whole = alone.is_none();
        let (selected, rows, beside) = match alone {
            None => (
                pieces::selected(&mut db, id).await?,
                passes::of_piece(&mut db, id).await?,
                companions::of_piece(&mut db, id).await?,
            ),
            Some(cells) => {
                let (mut rows, mut beside) = (Vec::new(), Vec::new());
                for cell in &cells {
                    rows.extend(passes::of_cell(&mut db, cell.id).await?);
                }
                for row in &rows {
                    beside.extend(companions::of_pass(&mut db, row.id).await?);
                }
                (cells, rows, beside)
            }
        };
        let declared =
            pieces::declared(&mut db, id).await?.into_iter().map(|d| (d.part_id, d.driver_id)).collect();
        let carried = carried::of_piece(&mut db, id).await?;
        let kept = pieces::prior(&mut db, id).await?;
        let by = match kept.as_ref().and_then(|kept| kept.person_id) {
            Some(person) => {
                people::by_id(&mut db, person).await?.map_or_else(String::new, |person| person.name)
            }
            None => String::new(),
        };
        let prices = parts::prices(&mut db).await?;
        let readers = readers::of_piece(&mut db, id).await?;
        let chosen = piece_screens::of_piece(&mut db, id).await?;
        let readings = if whole { Readings::read(&mut db).await? } else { Readings::default() };
        drop(db);
        let prior_kept = kept.as_ref().map(|kept| PriorKept { by, at_us: kept.at_us });
        let (prior_number, prior, prior_body) = match kept {
            Some(kept) => (kept.number, self::kept("a noise prior", &kept.body)?, kept.body),
            None => (0, NoisePrior::default(), String::new()),
        };
        let computed = results::of_passes(store, &rows, &beside).await?;
        let mut cells: BTreeMap<CellId, CellEvidence> = BTreeMap::new();
        for cell in selected {
            let kind = registers.scenes.get(&cell.of.scene_id).map(|scene| scene.fields.kind);
            let kind = kind.ok_or_else(|| StoreError::Other(format!("cell {} without a scene", cell.id)))?;
            let setting = registers.settings.get(&cell.of.setting_id);
            let generated = setting.is_some_and(|setting| setting.fields.generated > 1);
            let of = CellEvidence { cell, kind, generated, passes: Vec::new(), carried: None };
            cells.insert(of.cell.id, of);
        }
        for (row, results) in rows.into_iter().zip(computed) {
            if let Some(cell) = cells.get_mut(&row.cell_id) {
                cell.passes.push(PassEvidence::new(row, &beside, results));
            }
        }
        carried::mark(&mut cells, &carried);
        let mut evidence = Evidence {
            piece,
            carried,
            cells,
            registers,
            declared,
            prior,
            prior_number,
            prior_body,
            prior_kept,
            prices,
            readers,
            readings,
            screens_version: chosen.as_ref().map_or(0, |chosen| chosen.version),
            screens: match screens {
                Some(screens) => screens,
                None => chosen
                    .map(|chosen| self::kept("a choice of screens", &chosen.body))
                    .transpose()?
                    .unwrap_or_default(),
            },
        };
        readings::narrow(&mut evidence);
        evidence.screen();
        carried::judge(&mut evidence);
        Ok(evidence)
    }

    /// The low that the piece declares.
    pub fn low(&self) -> Measure {
        let definition = LowDefinition::from_word(self.piece.fields.low_definition.as_str());
        let tail = Tail::from_permille(self.piece.fields.low_permille);
        Measure::Low(definition.unwrap_or(LowDefinition::Quantile), tail.unwrap_or(Tail::OnePercent))
    }

    /// The measures that parts are compared by; the noise prior covers them.
    pub fn compared(&self) -> [Measure; 5] {
        [Measure::AverageFps, self.low(), Measure::JoulesPerFrame, Measure::FrameTimeP99, Measure::LatencyMs]
    }

    /// The part that is run with this tuning.
    pub fn part_of(&self, tuning: TuningId) -> Option<PartId> {
        self.registers.tunings.get(&tuning).map(|tuning| tuning.fields.part_id)
    }

    /// Kept passes of a cell as comparisons take them; passes without this measure are left out.
    pub fn logs(&self, cell: &CellEvidence, measure: Measure) -> Vec<PassLog> {
        cell.kept().filter_map(|pass| self.log(cell, pass, measure)).collect()
    }

    /// The same of two cells that are compared. Where the part is most of the rig or all of it, no rig may have run
    /// both; then rigs are told apart by what must match alone.
    pub fn logs_of_two(
        &self,
        a: &CellEvidence,
        b: &CellEvidence,
        measure: Measure,
    ) -> (Vec<PassLog>, Vec<PassLog>) {
        let (mut of_a, mut of_b) = (self.logs(a, measure), self.logs(b, measure));
        if !of_a.iter().any(|pass| of_b.iter().any(|other| other.rig == pass.rig)) {
            for pass in of_a.iter_mut().chain(&mut of_b) {
                pass.rig = self.matching(RigBaseId(pass.rig)).0;
            }
        }
        (of_a, of_b)
    }

    /// The first of the rig bases that are alike but for what differs by design: a processor brings its board, firmware
    /// and cooling along, a whole device everything but the operating system.
    fn matching(&self, id: RigBaseId) -> RigBaseId {
        let kind = self.piece.fields.kind;
        let bases = &self.registers.bases;
        let alike = |a: &RigBaseFields, b: &RigBaseFields| match kind {
            PartKind::Card => false,
            PartKind::Processor => a.memory == b.memory && a.os_build == b.os_build,
            PartKind::Device => a.os_build == b.os_build,
        };
        let Some(own) = bases.get(&id) else { return id };
        bases.values().find(|base| alike(&base.fields, &own.fields)).map_or(id, |base| base.id)
    }

    pub(super) fn log(&self, cell: &CellEvidence, pass: &PassEvidence, measure: Measure) -> Option<PassLog> {
        let declared =
            cell.declares(pass) || self.declared.get(&cell.cell.part_id) == Some(&pass.row.driver_id);
        PassLog::new(pass.measures.value(measure)?, pass.row.rig_base_id.0, pass.row.build_id.0, declared)
    }

    /// What the noise prior says of a measure in a cell's scene.
    pub fn noise(&self, cell: &CellEvidence, measure: Measure) -> Local {
        self.prior.at(measure.key(), cell.kind, cell.cell.of.scene_id.0)
    }

    /// A cell's value of a measure over its kept passes.
    pub fn value(&self, cell: &CellEvidence, measure: Measure) -> Option<CellValue> {
        cell::value(&self.logs(cell, measure), &self.noise(cell, measure))
    }

    /// Passes wanted for the piece's precision, where a spread is known.
    pub fn wanted(&self, cell: &CellEvidence, measure: Measure) -> Option<Wanted> {
        let value = self.value(cell, measure)?;
        let done = u32::try_from(value.passes).ok()?;
        wanted(value.spread?, done, self.piece.fields.precision_permille as f64 / 1000.0)
    }

    /// The prior that a person would keep now, from all cells of the piece.
    pub fn renewed_prior(&self) -> NoisePrior {
        let measures = self.compared();
        let logs: Vec<(Measure, &CellEvidence, Vec<PassLog>)> = self
            .cells
            .values()
            .flat_map(|cell| measures.map(|measure| (measure, cell, self.logs(cell, measure))))
            .collect();
        let cells: Vec<NoiseCell<'_>> = logs
            .iter()
            .map(|(measure, cell, passes)| NoiseCell {
                measure: measure.key(),
                kind: cell.kind,
                scene: cell.cell.of.scene_id.0,
                passes,
            })
            .collect();
        noise::renew(&cells)
    }

    /// The cell of these three, if the piece selected it.
    pub fn cell_of(&self, tuning: TuningId, scene: SceneId, setting: SettingId) -> Option<&CellEvidence> {
        self.cells.values().find(|c| {
            c.cell.of.tuning_id == tuning && c.cell.of.scene_id == scene && c.cell.of.setting_id == setting
        })
    }

    /// The scenes that a part did not run at a setting, each with the reason.
    pub fn did_not_run(&self, tuning: TuningId, setting: SettingId) -> impl Iterator<Item = (SceneId, &str)> {
        let of = self.cells.values().map(|cell| &cell.cell);
        let of = of.filter(move |cell| cell.of.tuning_id == tuning && cell.of.setting_id == setting);
        of.filter(|cell| !cell.did_not_run.is_empty())
            .map(|cell| (cell.of.scene_id, cell.did_not_run.as_str()))
    }

    /// Flagged passes without a ruling that saw their flags, with their cells.
    pub fn to_review(&self) -> impl Iterator<Item = (&CellEvidence, &PassEvidence)> {
        self.cells
            .values()
            .flat_map(|cell| cell.passes.iter().map(move |pass| (cell, pass)))
            .filter(|(_, pass)| pass.standing == Standing::Flagged)
    }

    /// Notices on a pass.
    pub fn notices(&self, cell: &CellEvidence, pass: &PassEvidence) -> Vec<Notice> {
        let scene = self.registers.scenes.get(&cell.cell.of.scene_id);
        let standard = scene.map(|s| (s.fields.window_start_ns, s.fields.window_end_ns));
        let tolerance = scene.and_then(|s| s.fields.tolerance_permille).unwrap_or(match cell.kind {
            SceneKind::BuiltIn | SceneKind::Replay => 20,
            SceneKind::ByHand => 100,
        });
        let frames: usize = cell.kept().map(|p| p.measures.frames).sum();
        notices(&NoticeInput {
            cell_frames: u64::try_from(frames).unwrap_or(u64::MAX),
            cell_passes: cell.kept().count(),
            low_one_in: if self.piece.fields.low_permille == 1 { 1000 } else { 100 },
            has_power: pass.measures.power_w.is_some(),
            others_have_power: self.passes().any(|p| p.row.id != pass.row.id && p.measures.power_w.is_some()),
            window_ns: pass.row.window().length_ns(),
            scene_window_ns: standard.and_then(|(start, end)| Some(end? - start)),
            window_tolerance: tolerance as f64 / 1000.0,
            part_load: pass.measures.load_mean,
        })
    }

    /// All passes.
    pub fn passes(&self) -> impl Iterator<Item = &PassEvidence> {
        self.cells.values().flat_map(|cell| &cell.passes)
    }

    /// The pass with this key, and its cell.
    pub fn pass(&self, key: &str) -> Option<(&CellEvidence, &PassEvidence)> {
        self.cells.values().find_map(|c| Some((c, c.passes.iter().find(|p| p.row.key == key)?)))
    }

    /// Derives the flags that rest on the other passes of a cell, then how each pass stands. A piece that has not kept
    /// a noise prior yet is screened with the one that it would keep now.
    fn screen(&mut self) {
        let low = self.low();
        let prior = if self.prior_number == 0 { self.renewed_prior() } else { self.prior.clone() };
        let spreads: BTreeMap<CellId, CellSpread> = self
            .cells
            .iter()
            .map(|(id, cell)| {
                let spread = |measure: Measure| {
                    let local = prior.at(measure.key(), cell.kind, cell.cell.of.scene_id.0);
                    // Not the cell's own: one bad pass must not hide behind the spread that it makes.
                    let kept = local.prior.or(local.kind)?;
                    Some(Spread { sd: kept.s2.sqrt(), df: kept.df })
                };
                (*id, CellSpread { average: spread(Measure::AverageFps), low: spread(low) })
            })
            .collect();
        for (id, cell) in &mut self.cells {
            cell.screen(&spreads.get(id).copied().unwrap_or_default(), low, &self.screens);
        }
    }
}

/// Reads what was kept as JSON; `what` as in 'a noise prior'.
fn kept<T: serde::de::DeserializeOwned>(what: &str, body: &str) -> Result<T, StoreError> {
    serde_json::from_str(body).map_err(|e| StoreError::Other(format!("{what} that cannot be read: {e}")))
}
