//! The cells that a piece selects: a whole grid at once, taken out again, or said not to have run.

use std::collections::BTreeSet;

use super::evidence::Registers;
use super::once::By;
use super::{Kind, Refusal, Result};
use crate::store::passes;
use crate::store::pieces;
use crate::store::registers::cells::{self, Cell, CellOf};
use crate::store::registers::parts::Part;
use crate::store::registers::{scenes, settings, tunings};
use crate::store::{CellId, PieceId, SceneId, SettingId, Store, TuningId, Tx};

/// More cells than anybody records for a piece: a slip.
const MOST_AT_ONCE: usize = 2000;

/// Columns and rows of a board of cells.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Axes {
    /// Tunings, those of a part together, stock first.
    pub columns: Vec<TuningId>,
    /// Scene and setting, those of a scene together.
    pub rows: Vec<(SceneId, SettingId)>,
}

impl Axes {
    /// The axes that hold all these cells; the baseline's part stands first.
    pub fn of<'a>(cells: impl IntoIterator<Item = &'a Cell>, baseline: Option<i64>) -> Self {
        let (mut columns, mut rows) = (BTreeSet::new(), BTreeSet::new());
        for cell in cells {
            columns.insert((Some(cell.part_id.0) != baseline, cell.part_id, cell.of.tuning_id));
            rows.insert((cell.of.scene_id, cell.of.setting_id));
        }
        Axes {
            columns: columns.into_iter().map(|(.., tuning)| tuning).collect(),
            rows: rows.into_iter().collect(),
        }
    }
}

/// What a grid is made of.
#[derive(Clone, Debug, Default)]
pub struct Grid {
    /// Parts as they are run.
    pub tunings: Vec<TuningId>,
    /// Scenes.
    pub scenes: Vec<SceneId>,
    /// Settings.
    pub settings: Vec<SettingId>,
}

/// Selects each cell of a grid, making those that are not there yet: the newly selected ones.
///
/// # Errors
/// Refused when a side of the grid is empty or names what is not there.
pub async fn add(store: &Store, by: impl Into<By>, piece: PieceId, grid: Grid) -> Result<Vec<CellId>> {
    let sides =
        [("tuning", grid.tunings.len()), ("scene", grid.scenes.len()), ("setting", grid.settings.len())];
    let empty = sides.iter().filter(|(_, n)| *n == 0);
    let wrong: Vec<_> = empty.map(|(side, _)| (*side, format!("Tick at least one {side}."))).collect();
    if !wrong.is_empty() {
        return Err(Refusal::fields(wrong).into());
    }
    if sides.iter().map(|(_, n)| n).product::<usize>() > MOST_AT_ONCE {
        return Err(
            Refusal::field("tuning", format!("That is more than {MOST_AT_ONCE} cells: tick fewer.")).into()
        );
    }
    by.into()
        .write(store, async move |tx| {
            known(tx, &grid).await?;
            let mut new = Vec::new();
            let before = selected(tx, piece).await?;
            for &tuning_id in &grid.tunings {
                for &scene_id in &grid.scenes {
                    for &setting_id in &grid.settings {
                        let cell = cells::ensure(tx, CellOf { tuning_id, scene_id, setting_id }).await?;
                        if !before.contains(&cell) {
                            pieces::select(tx, piece, cell).await?;
                            new.push(cell);
                        }
                    }
                }
            }
            Ok(new)
        })
        .await
}

async fn selected(tx: &mut Tx<'_>, piece: PieceId) -> Result<BTreeSet<CellId>> {
    Ok(pieces::selected(tx, piece).await?.into_iter().map(|cell| cell.id).collect())
}

async fn known(tx: &mut Tx<'_>, grid: &Grid) -> Result<()> {
    for &tuning in &grid.tunings {
        tunings::by_id(tx, tuning).await?.ok_or_else(|| Refusal::missing("tuning", tuning))?;
    }
    for &scene in &grid.scenes {
        scenes::by_id(tx, scene).await?.ok_or_else(|| Refusal::missing("scene", scene))?;
    }
    for &setting in &grid.settings {
        settings::by_id(tx, setting).await?.ok_or_else(|| Refusal::missing("setting", setting))?;
    }
    Ok(())
}

/// Selects these cells again: takes [`take_out`] back.
///
/// # Errors
/// Refused when there is no such cell.
pub async fn back(store: &Store, by: impl Into<By>, piece: PieceId, these: Vec<CellId>) -> Result<usize> {
    by.into()
        .write(store, async move |tx| {
            for &cell in &these {
                cells::by_id(tx, cell).await?.ok_or_else(|| Refusal::missing("cell", cell))?;
                pieces::select(tx, piece, cell).await?;
            }
            Ok(these.len())
        })
        .await
}

/// Takes cells out of a piece: those that it had. They and their passes stay in the store.
///
/// # Errors
/// Refused, with a plain warning, when some of them have passes and nobody is `sure`.
pub async fn take_out(
    store: &Store,
    by: impl Into<By>,
    piece: PieceId,
    these: Vec<CellId>,
    sure: bool,
) -> Result<Vec<CellId>> {
    by.into()
        .write(store, async move |tx| {
            let before = selected(tx, piece).await?;
            let these: Vec<CellId> = these.into_iter().filter(|cell| before.contains(cell)).collect();
            if these.is_empty() {
                return Err(Refusal::field("cell", "Tick the cells that are to go.").into());
            }
            let (mut with_passes, mut lost) = (0, 0);
            for &cell in &these {
                let passes = passes::of_cell(tx, cell).await?.len();
                (with_passes, lost) = (with_passes + usize::from(passes > 0), lost + passes);
            }
            if with_passes > 0 && !sure {
                return Err(warned(with_passes, lost).into());
            }
            for &cell in &these {
                pieces::deselect(tx, piece, cell).await?;
            }
            Ok(these)
        })
        .await
}

fn warned(cells: usize, passes: usize) -> Refusal {
    let says = format!(
        "{cells} of these cells have {passes} passes. Taken out, they leave this piece's boards, comparisons and \
         figures; figures that rest on them lapse. Nothing is lost from the store."
    );
    let mend = "Tick that you are sure, and send it again.";
    Refusal { kind: Kind::Clash, mend: mend.to_owned(), ..Refusal::field("sure", says) }
}

/// Says why a cell did not run, or with an empty reason that it runs: the former reason. It holds for all pieces.
///
/// # Errors
/// Refused when the piece has no such cell, the reason is too long, or somebody was faster.
pub async fn did_not_run(
    store: &Store,
    by: impl Into<By>,
    piece: PieceId,
    (cell, version): (CellId, i64),
    reason: String,
) -> Result<String> {
    if reason.chars().count() > 200 {
        return Err(Refusal::field("reason", "Say it in at most 200 characters.").into());
    }
    by.into()
        .write(store, async move |tx| {
            let of_piece = pieces::selected(tx, piece).await?;
            let now = of_piece.into_iter().find(|one| one.id == cell);
            let now = now.ok_or_else(|| Refusal::missing("cell", cell))?;
            if now.version != version {
                let said =
                    |reason: &str| if reason.is_empty() { "it runs".to_owned() } else { reason.to_owned() };
                return Err(Refusal::stale("this cell", said(&reason), said(&now.did_not_run)).into());
            }
            cells::set_did_not_run(tx, cell, version, &reason).await?;
            Ok(now.did_not_run)
        })
        .await
}

/// A cell in words: `Tarnwick Curlew, stock: Vellum Rally hairpin, 2160p native`.
pub fn label(registers: &Registers, cell: &Cell) -> String {
    let CellOf { tuning_id, scene_id, setting_id } = cell.of;
    let ((part, tuning), scene) = (column(registers, tuning_id), scene_name(registers, scene_id));
    let setting = registers.settings.get(&setting_id).map(|setting| setting.fields.name.as_str());
    format!("{part}, {tuning}: {scene}, {}", setting.unwrap_or_default())
}

/// A part and how it is run, in words.
pub fn column(registers: &Registers, tuning: TuningId) -> (String, String) {
    let tuning = registers.tunings.get(&tuning);
    let part = tuning.and_then(|tuning| registers.parts.get(&tuning.fields.part_id));
    let (part, tuning) = (part.map(Part::name), tuning.map(|tuning| tuning.fields.name.clone()));
    (part.unwrap_or_default(), tuning.unwrap_or_default())
}

/// A scene, in words.
pub fn scene_name(registers: &Registers, scene: SceneId) -> String {
    let scene = registers.scenes.get(&scene).map(|scene| &scene.fields);
    scene.map(|scene| format!("{}, {}", scene.game, scene.passage)).unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::PartId;

    #[test]
    fn a_board_keeps_parts_and_scenes_together_and_the_baseline_first() {
        let cell = |part, tuning, scene, setting| Cell {
            id: CellId(0),
            of: CellOf {
                tuning_id: TuningId(tuning),
                scene_id: SceneId(scene),
                setting_id: SettingId(setting),
            },
            part_id: PartId(part),
            did_not_run: String::new(),
            version: 1,
        };
        let cells = [cell(1, 1, 2, 1), cell(2, 2, 1, 2), cell(1, 3, 1, 1), cell(2, 2, 1, 1)];
        let ids = |axes: Axes| axes.columns.iter().map(|tuning| tuning.0).collect::<Vec<_>>();
        assert_eq!(ids(Axes::of(&cells, None)), [1, 3, 2]);
        assert_eq!(ids(Axes::of(&cells, Some(2))), [2, 1, 3]);
        let rows = Axes::of(&cells, None).rows.iter().map(|(a, b)| (a.0, b.0)).collect::<Vec<_>>();
        assert_eq!(rows, [(1, 1), (1, 2), (2, 1)]);
    }
}
