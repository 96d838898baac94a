//! Logs whose names say the same pass of the same cell: two of them, or one and a pass that is there already.

use std::collections::{BTreeMap, HashMap};

use super::Intake;
use super::plan::{Chosen, Wish, number};
use crate::store::SegmentId;
use crate::store::passes::PassRow;
use crate::store::registers::cells::CellOf;

/// Of each wish whose name says a pass that another one or a pass of the piece has too: what else has it.
pub fn namesakes(intake: &Intake, chosen: &Chosen, wishes: &[Wish]) -> BTreeMap<SegmentId, String> {
    let choices = &intake.choices;
    let mut taken: HashMap<(CellOf, u32), Vec<String>> = HashMap::new();
    for pass in &intake.passes {
        if let Some(named) = number(choices, chosen, file(pass), of(pass)) {
            let is = format!("{} is pass {} of it", file(pass), pass.number);
            taken.entry((of(pass), named)).or_default().push(is);
        }
    }
    let name = |id: SegmentId| {
        let found = intake.frames().find(|(one, _)| one.segment.id == id);
        found.map_or_else(String::new, |(one, _)| one.segment.capture.clone())
    };
    let mut found = BTreeMap::new();
    for wish in wishes {
        let Some(named) = wish.named else { continue };
        let same =
            |other: &&Wish| other.segment != wish.segment && (other.of, other.named) == (wish.of, wish.named);
        let others = wishes.iter().filter(same).map(|other| format!("{} says so too", name(other.segment)));
        let there = taken.get(&(wish.of, named)).into_iter().flatten().cloned();
        let all: Vec<String> = there.chain(others).collect();
        if !all.is_empty() {
            found
                .insert(wish.segment, format!("its name says pass {named} of this cell; {}", all.join(", ")));
        }
    }
    found
}

fn of(pass: &PassRow) -> CellOf {
    CellOf { tuning_id: pass.tuning_id, scene_id: pass.scene_id, setting_id: pass.setting_id }
}

fn file(pass: &PassRow) -> &str {
    if pass.member.is_empty() { &pass.capture } else { &pass.member }
}
