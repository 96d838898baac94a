//! The cells that waiting logs can be sent to, those that the plan still misses first. Pure.

use crate::store::registers::cells::{Cell, CellOf};
use crate::work::evidence::Evidence;
use crate::work::pieces::{missing, wanted};

/// A cell that logs can be sent to.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Destination {
    /// The cell.
    pub cell: Cell,
    /// Passes that it lacks, without those that come.
    pub missing: usize,
    /// Waiting logs that would become passes of it.
    pub coming: usize,
}

/// The cells of a piece: those that lack passes, then those that waiting logs go to, then the others; each in the
/// order of the plan. `coming`: the cell of each log that would become a pass.
pub fn destinations(evidence: &Evidence, coming: &[CellOf]) -> Vec<Destination> {
    let wanted = wanted(&evidence.piece);
    let mut all: Vec<Destination> = evidence
        .cells
        .values()
        .map(|cell| Destination {
            cell: cell.cell.clone(),
            missing: missing(cell, wanted),
            coming: coming.iter().filter(|of| **of == cell.cell.of).count(),
        })
        .collect();
    let lacks = |one: &Destination| one.missing > one.coming;
    all.sort_by_key(|one| {
        let of = one.cell.of;
        (!lacks(one), one.coming == 0, one.cell.part_id, of.tuning_id, of.scene_id, of.setting_id)
    });
    all
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::work::made_up;

    #[test]
    fn what_the_plan_misses_comes_first_and_then_where_logs_go() {
        let mut evidence = made_up::piece(2, 2);
        let full = made_up::add_cell(&mut evidence, 1, 1, &[100.0, 101.0, 102.0]);
        let going = made_up::add_cell(&mut evidence, 2, 1, &[100.0, 101.0, 102.0]);
        let last = made_up::add_cell(&mut evidence, 1, 2, &[100.0, 101.0]);
        let empty = made_up::add_cell(&mut evidence, 2, 2, &[]);
        let of = |id| evidence.cells[&id].cell.of;
        let order = |coming: &[CellOf]| {
            let all = destinations(&evidence, coming);
            all.into_iter().map(|one| (one.cell.id, one.missing, one.coming)).collect::<Vec<_>>()
        };
        assert_eq!(
            order(&[of(going), of(last)]),
            [(empty, 3, 0), (last, 1, 1), (going, 0, 1), (full, 0, 0)],
            "what comes fills the cell that lacked one pass"
        );
        assert_eq!(order(&[])[..2], [(last, 1, 0), (empty, 3, 0)]);
    }
}
