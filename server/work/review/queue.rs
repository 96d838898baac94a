//! Which passes wait for a ruling, disputed ones and then the worst first, and which of them are alike.

use weighhouse_measure::screens::{Flag, FlagKind};

use crate::work::evidence::{CellEvidence, Evidence, PassEvidence, Standing};
use crate::work::sway::sway;

/// What the strongest evidence counts for where its effect on a figure cannot be computed.
const STRONGEST: f64 = 0.1;

/// How much a pass could move a figure (share): what leaving it out does to its cell's average or low; where nothing
/// would be left, the most that one of its flags moves its own average. `None`: cannot be computed.
pub fn moves(evidence: &Evidence, cell: &CellEvidence, pass: &PassEvidence) -> Option<f64> {
    let of_flags = || pass.flags.iter().filter_map(|flag| flag.moves).reduce(f64::max);
    sway(evidence, cell, pass).most().or_else(of_flags)
}

/// Where a pass stands in the queue: by what it moves; where that cannot be computed by its flags' strength, up to 10%.
fn weight(moves: Option<f64>, flags: &[Flag]) -> f64 {
    moves.unwrap_or_else(|| flags.iter().map(|flag| flag.strength * STRONGEST).fold(0.0, f64::max))
}

/// A pass that waits for a ruling.
#[derive(Clone, Copy, Debug)]
pub struct Waiting<'a> {
    /// Its cell.
    pub cell: &'a CellEvidence,
    /// The pass.
    pub pass: &'a PassEvidence,
    /// [`moves()`] of it.
    pub moves: Option<f64>,
}

/// The passes that wait for a ruling: those on which two people's stand, since figures hang on them, then the worst
/// first. Equal ones stand by their keys, which tell nothing.
pub fn queue(evidence: &Evidence) -> Vec<Waiting<'_>> {
    let all = evidence.cells.values().flat_map(|cell| cell.passes.iter().map(move |pass| (cell, pass)));
    let mut queue: Vec<Waiting<'_>> = all
        .filter(|(_, pass)| waits(pass))
        .map(|(cell, pass)| Waiting { cell, pass, moves: moves(evidence, cell, pass) })
        .collect();
    let place = |one: &Waiting<'_>| (one.pass.row.disputed(), weight(one.moves, &one.pass.flags));
    queue.sort_by(|a, b| {
        let ((a_disputed, a_weight), (b_disputed, b_weight)) = (place(a), place(b));
        let by_weight = b_disputed.cmp(&a_disputed).then(b_weight.total_cmp(&a_weight));
        by_weight.then_with(|| a.pass.row.key.cmp(&b.pass.row.key))
    });
    queue
}

/// Whether a pass waits for a ruling: its flags, or two rulings that contradict each other.
pub fn waits(pass: &PassEvidence) -> bool {
    pass.standing == Standing::Flagged || pass.row.disputed()
}

/// How far a ruling reaches.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Reach {
    /// The pass alone.
    Pass,
    /// It and those of its cell that wait with the same kind of flag.
    Cell,
    /// It and those of its scene, whatever the part and the setting.
    Scene,
}

impl Reach {
    /// As forms send it; anything else is the pass alone.
    pub fn of(text: &str) -> Self {
        match text {
            "cell" => Self::Cell,
            "scene" => Self::Scene,
            _ => Self::Pass,
        }
    }
}

/// The kind of flag that matters most on a pass: by what it moves, else by its strength.
pub fn lead(pass: &PassEvidence) -> Option<FlagKind> {
    let weight = |flag: &Flag| flag.moves.unwrap_or(flag.strength * STRONGEST);
    let most = pass.flags.iter().max_by(|a, b| weight(a).total_cmp(&weight(b)));
    most.map(|flag| flag.kind)
}

/// The other passes that wait with the [`lead`] of this one among their flags. A ruling 'keep' on them holds for the
/// kinds that this pass has: what else they have re-opens them.
pub fn alike<'a>(evidence: &'a Evidence, key: &str, reach: Reach) -> Vec<&'a PassEvidence> {
    let Some((home, pass)) = evidence.pass(key) else { return Vec::new() };
    let Some(kind) = lead(pass) else { return Vec::new() };
    let near = |cell: &CellEvidence| match reach {
        Reach::Pass => false,
        Reach::Cell => cell.cell.id == home.cell.id,
        Reach::Scene => cell.cell.of.scene_id == home.cell.of.scene_id,
    };
    let has = |one: &PassEvidence| one.flags.iter().any(|flag| flag.kind == kind);
    let like = |(cell, one): &(&CellEvidence, &PassEvidence)| one.row.key != key && near(cell) && has(one);
    evidence.to_review().filter(like).map(|(_, one)| one).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::work::made_up;

    fn flag(kind: FlagKind, moves: Option<f64>, strength: f64) -> Flag {
        Flag { kind, start_ns: 0, end_ns: 1, strength, moves, says: String::new() }
    }

    #[test]
    fn a_pass_weighs_what_it_moves_else_its_strongest_flag() {
        assert_eq!(weight(None, &[]), 0.0);
        assert_eq!(weight(Some(0.02), &[flag(FlagKind::Gap, None, 1.0)]), 0.02);
        assert!((weight(None, &[flag(FlagKind::Gap, None, 0.5)]) - 0.05).abs() < 1e-12);
    }

    /// Two parts in two scenes; the passes that are named are flagged.
    fn flagged(which: &[(i64, i64, usize, FlagKind)]) -> Evidence {
        let mut evidence = made_up::piece(2, 2);
        for (part, scene) in [(1, 1), (2, 1), (1, 2)] {
            made_up::add_cell(&mut evidence, part, scene, &[100.0, 104.0, 101.0]);
        }
        for (part, scene, at, kind) in which {
            let id = crate::store::CellId(part * 100 + scene);
            let pass = &mut evidence.cells.get_mut(&id).unwrap().passes[*at];
            pass.flags = vec![flag(*kind, None, 0.1)];
            pass.standing = Standing::Flagged;
        }
        evidence
    }

    #[test]
    fn the_queue_is_by_what_leaving_a_pass_out_moves() {
        let evidence =
            flagged(&[(1, 1, 2, FlagKind::Gap), (1, 1, 1, FlagKind::Gap), (2, 1, 0, FlagKind::Gap)]);
        let queue = queue(&evidence);
        let order: Vec<i64> = queue.iter().map(|one| one.pass.row.number).collect();
        assert_eq!(order, [2, 1, 3]);
        assert!(queue.iter().all(|one| one.moves.is_some()));
        assert_eq!(
            crate::work::review::next(&evidence, &queue[0].pass.row.key, &[queue[1].pass]).as_deref(),
            Some(queue[2].pass.row.key.as_str())
        );
    }

    #[test]
    fn alike_are_those_that_wait_with_the_same_kind_in_the_cell_or_the_scene() {
        let gap = FlagKind::Gap;
        let evidence = flagged(&[
            (1, 1, 0, gap),
            (1, 1, 1, gap),
            (1, 1, 2, FlagKind::FrameCap),
            (2, 1, 0, gap),
            (1, 2, 0, gap),
        ]);
        let key = evidence.cells[&crate::store::CellId(101)].passes[0].row.key.clone();
        let count = |reach| alike(&evidence, &key, reach).len();
        assert_eq!((count(Reach::Pass), count(Reach::Cell), count(Reach::Scene)), (0, 1, 2));
        assert_eq!((Reach::of("scene"), Reach::of("all")), (Reach::Scene, Reach::Pass));
    }
}
