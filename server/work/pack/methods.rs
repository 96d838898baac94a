//! What the methods page of a pack says, read from the evidence: who ran what on what, what was left out and why.

use std::collections::{BTreeMap, BTreeSet};

use jiff::Timestamp;
use weighhouse_web::pages::methods::{LeftOut, Methods, PartRow, QuotedRow, RigRow, SceneRow};

use super::{carried, left_out, readings};
use crate::store::notes;
use crate::store::passes::PassRow;
use crate::store::quotes as store_quotes;
use crate::store::registers::parts::Origin;
use crate::store::registers::{parts, rigs};
use crate::store::{Db, RigBaseId};
use crate::work::Result;
use crate::work::evidence::{CellEvidence, Evidence};
use crate::work::figures::value::cell_name;
use crate::work::quotes;
use crate::work::results::measure_versions;

/// The methods page; `head` is the audit trail's head.
///
/// # Errors
/// When the store fails.
pub async fn methods(db: &mut Db, evidence: &Evidence, head: String) -> Result<Methods> {
    let bases: BTreeMap<RigBaseId, rigs::RigBase> =
        rigs::bases(db).await?.into_iter().map(|base| (base.id, base)).collect();
    let fields = &evidence.piece.fields;
    let prior = match evidence.prior_number {
        0 => "None is kept yet: each interval rests on its own cell's passes.".to_owned(),
        number => format!("Noise prior {number}, made of the piece's own cells and kept since."),
    };
    Ok(Methods {
        piece: fields.name.clone(),
        low: evidence.low().name().to_owned(),
        margin_permille: fields.margin_permille,
        hand_margin_permille: fields.hand_margin_permille,
        passes_wanted: fields.passes_wanted,
        working_alone: fields.working_alone,
        prior,
        parts: part_rows(db, evidence).await?,
        rigs: rig_rows(evidence, &bases),
        scenes: scene_rows(evidence),
        readings: readings::methods(evidence),
        notes: noted(db, evidence).await?,
        carried: carried::methods(evidence),
        left_out: left_out(evidence).into_iter().chain(readings::left_out(evidence)).collect(),
        quoted: quoted(db, evidence).await?,
        crossings: crossings(evidence),
        versions: measure_versions(),
        head,
    })
}

/// What the team says in its own words: a heading and a text each.
async fn noted(db: &mut Db, evidence: &Evidence) -> Result<Vec<(String, String)>> {
    let notes = notes::of_piece(db, evidence.piece.id).await?.fields;
    let all = [
        ("How settings were checked", notes.settings),
        ("Caches", notes.caches),
        ("Order", notes.order_of_run),
        ("Disclosure", notes.disclosure),
    ];
    Ok(all.into_iter().filter(|(_, text)| !text.is_empty()).map(|(of, text)| (of.to_owned(), text)).collect())
}

async fn quoted(db: &mut Db, evidence: &Evidence) -> Result<Vec<QuotedRow>> {
    let all = store_quotes::of_piece(db, evidence.piece.id).await?;
    let row = |quote: &store_quotes::Quote| QuotedRow {
        name: quote.fields.name.clone(),
        shown: quotes::shown(&quote.fields),
        source: quote.fields.source.clone(),
        link: quote.fields.link.clone(),
        dated: Timestamp::from_microsecond(quote.fields.dated_us).unwrap_or_default(),
    };
    Ok(all.iter().map(row).collect())
}

async fn part_rows(db: &mut Db, evidence: &Evidence) -> Result<Vec<PartRow>> {
    let drivers: BTreeMap<_, _> = parts::drivers(db).await?.into_iter().map(|d| (d.id, d.fields)).collect();
    let units = parts::units(db).await?;
    let mut rows = Vec::new();
    let in_piece: BTreeSet<_> = evidence.cells.values().map(|cell| cell.cell.part_id).collect();
    for id in in_piece {
        let Some(part) = evidence.registers.parts.get(&id) else { continue };
        let of_part = || evidence.cells.values().filter(|cell| cell.cell.part_id == id);
        let passes = || of_part().flat_map(|cell| &cell.passes);
        let used: BTreeSet<_> = passes().map(|pass| pass.row.unit_id).collect();
        let driver = evidence.declared.get(&id).and_then(|id| drivers.get(id));
        rows.push(PartRow {
            name: part.name(),
            driver: driver.map_or_else(|| "none declared".to_owned(), |d| d.name.clone()),
            dated: driver.and_then(|d| Timestamp::from_microsecond(d.dated_us).ok()),
            samples: used.len() as u64,
            lent: units
                .iter()
                .filter(|unit| used.contains(&unit.id))
                .any(|unit| unit.fields.origin == Origin::Lent),
            kept: of_part().map(|cell| cell.kept().count() as u64).sum(),
            passes: passes().count() as u64,
        });
    }
    Ok(rows)
}

fn rig_rows(evidence: &Evidence, bases: &BTreeMap<RigBaseId, rigs::RigBase>) -> Vec<RigRow> {
    let mut used: BTreeMap<RigBaseId, (&PassRow, u64)> = BTreeMap::new();
    for pass in evidence.passes() {
        used.entry(pass.row.rig_base_id).or_insert((&pass.row, 0)).1 += 1;
    }
    let rows = used.into_iter().filter_map(|(id, (row, passes))| {
        let base = &bases.get(&id)?.fields;
        let of = [&base.board, &base.processor, &base.memory, &base.os_build, &base.firmware, &base.cooling];
        let mut what: Vec<&str> =
            of.iter().map(|text| text.as_str()).filter(|text| !text.is_empty()).collect();
        what.push(base.enclosure.as_str());
        what.retain(|text| !text.is_empty());
        Some(RigRow {
            name: row.rig.clone(),
            base: what.join(", "),
            from: Timestamp::from_microsecond(base.from_us).ok(),
            passes,
        })
    });
    rows.collect()
}

fn scene_rows(evidence: &Evidence) -> Vec<SceneRow> {
    let mut rows = Vec::new();
    for (id, scene) in &evidence.registers.scenes {
        let cells: Vec<&CellEvidence> =
            evidence.cells.values().filter(|c| c.cell.of.scene_id == *id).collect();
        if cells.is_empty() {
            continue;
        }
        let builds: BTreeSet<&str> =
            cells.iter().flat_map(|cell| &cell.passes).map(|pass| pass.row.build.as_str()).collect();
        rows.push(SceneRow {
            game: scene.fields.game.clone(),
            passage: scene.fields.passage.clone(),
            kind: scene.fields.kind.as_str().to_owned(),
            cue: scene.fields.start_cue.clone(),
            start_ns: scene.fields.window_start_ns,
            end_ns: scene.fields.window_end_ns,
            builds: builds.into_iter().collect::<Vec<_>>().join(", "),
        });
    }
    rows
}

fn left_out(evidence: &Evidence) -> Vec<LeftOut> {
    let outs = left_out::outs(evidence).into_iter();
    let row = |out: left_out::Out<'_>| {
        let cell = cell_name(evidence, out.cell.cell.id);
        LeftOut {
            what: out.pass.map_or_else(|| cell.clone(), |pass| format!("{cell}, pass {}", pass.number)),
            how: out.how.to_owned(),
            why: out.why.to_owned(),
        }
    };
    outs.map(row).collect()
}

/// What is not like with like inside cells: several builds, drivers that were not declared.
fn crossings(evidence: &Evidence) -> Vec<String> {
    let mut says = Vec::new();
    for cell in evidence.cells.values() {
        let kept: Vec<&PassRow> = cell.kept().map(|pass| &pass.row).collect();
        let builds: BTreeSet<&str> = kept.iter().map(|row| row.build.as_str()).collect();
        if builds.len() > 1 {
            let builds: Vec<&str> = builds.into_iter().collect();
            says.push(format!("{}: builds {}", cell_name(evidence, cell.cell.id), builds.join(" and ")));
        }
        let declared = evidence.declared.get(&cell.cell.part_id);
        // What was carried over is said by itself.
        let own = cell.kept().filter(|pass| !cell.declares(pass)).map(|pass| &pass.row);
        let other = own.filter(|row| Some(&row.driver_id) != declared);
        let other: BTreeSet<&str> = other.map(|row| row.driver.as_str()).collect();
        if !other.is_empty() {
            let other: Vec<&str> = other.into_iter().collect();
            says.push(format!(
                "{}: driver {} is not the declared one",
                cell_name(evidence, cell.cell.id),
                other.join(", ")
            ));
        }
    }
    says
}
