//! Decides what the team decided in its week: rulings on passes, figures proposed and agreed on, editions; and quotes.

use weighhouse_demo::{Decision, DemoFigure, DemoQuote, FigureOf};
use weighhouse_measure::measures::Measure;
use weighhouse_web::marks::Standing;
use weighhouse_web::pages::Page as _;

use super::{Ids, keep_prior, word};
use crate::chance::Chance;
use crate::store::figures::Step;
use crate::store::quotes::QuoteFields;
use crate::store::rulings::Verdict;
use crate::store::{PersonId, QuoteId, Store};
use crate::work::evidence::Evidence;
use crate::work::figures::ledger;
use crate::work::figures::steps::{self, Asked, Steps};
use crate::work::figures::what::What;
use crate::work::pack::methods;
use crate::work::rule::{self, NewRuling};
use crate::work::{Internal, Refusal, Result, editions, quotes};

/// Takes the decisions in their order.
///
/// # Errors
/// When one is refused or names what is not there; when the store fails.
pub(super) async fn take(store: &Store, chance: &Chance, ids: &Ids, decisions: &[Decision]) -> Result<()> {
    // Cells, keys and flags stay as they are; nobody rules on a pass twice.
    let evidence = Evidence::of_piece(store, ids.piece).await?;
    let evidence = evidence.ok_or_else(|| Refusal::missing("piece", ids.piece))?;
    for decision in decisions {
        match decision {
            Decision::Ruling { by, pass, verdict, reason } => {
                let ruling = ruling(&evidence, pass, word(Verdict::parse(verdict), verdict)?, reason)?;
                rule::rule(store, ids.people[*by], &ruling.0, ruling.1).await?;
            }
            Decision::Prior { by } => keep_prior(store, ids, ids.people[*by]).await?,
            Decision::Again { proposed_by, agreed_by } => {
                let read = ledger::ledger(store, ids.piece).await?;
                let lapsed = read.figures.iter().filter(|seen| seen.state.standing == Standing::Lapsed);
                let keys: Vec<String> = lapsed.map(|seen| seen.figure.key.clone()).collect();
                step_with(store, ids, ids.people[*proposed_by], Step::Propose, &keys).await?;
                step_with(store, ids, ids.people[*agreed_by], Step::Agree, &keys).await?;
            }
            Decision::Edition { by, note } => freeze(store, ids, ids.people[*by], note).await?,
            Decision::Figures { made_by, proposed_by, agreed_by, figures } => {
                let mut keys = Vec::new();
                for figure in figures {
                    let what = what(&evidence, ids, figure)?;
                    let fields = steps::suggested(&evidence, &what)?.fields;
                    let by = ids.people[*made_by];
                    keys.push(steps::make(store, chance, by, &evidence.piece, (what, fields)).await?);
                }
                for (step, by) in [(Step::Propose, proposed_by), (Step::Agree, agreed_by)] {
                    if let Some(by) = by {
                        step_with(store, ids, ids.people[*by], step, &keys).await?;
                    }
                }
            }
        }
    }
    Ok(())
}

/// Freezes what is agreed, with the methods page of the same moment.
async fn freeze(store: &Store, ids: &Ids, by: PersonId, note: &str) -> Result<()> {
    let read = ledger::ledger(store, ids.piece).await?;
    let told = methods::methods(&mut *store.read().await?, &read.evidence, read.head.to_string()).await?;
    let methods = told.html().map_err(|e| Internal(e.to_string()))?;
    editions::freeze(store, by, ids.piece, (&read, methods), note).await?;
    Ok(())
}

/// Adds the quoted numbers, each in the name of the first of the team.
pub(super) async fn quote(store: &Store, ids: &Ids, week: &[DemoQuote]) -> Result<()> {
    let mut added: Vec<QuoteId> = Vec::new();
    for quote in week {
        let fields = QuoteFields {
            piece_id: ids.piece,
            name: quote.name.to_owned(),
            part_id: ids.parts.get(quote.part).copied(),
            value: quote.value.to_owned(),
            unit: quote.unit.to_owned(),
            source: quote.source.to_owned(),
            link: quote.link.to_owned(),
            dated_us: quote.dated.as_microsecond(),
            over_id: quote.over.and_then(|at| added.get(at)).copied(),
        };
        added.push(quotes::add(store, ids.owner(), fields).await?);
    }
    Ok(())
}

/// Key of the pass with this file name, and the ruling of somebody who saw all its flags.
fn ruling(evidence: &Evidence, file: &str, verdict: Verdict, reason: &str) -> Result<(String, NewRuling)> {
    let mut passes = evidence.cells.values().flat_map(|cell| &cell.passes);
    let pass = passes.find(|pass| pass.row.capture == file);
    let pass = pass.ok_or_else(|| Internal(format!("the week has no pass '{file}'")))?;
    let ruling = NewRuling {
        verdict,
        reason: reason.to_owned(),
        saw: pass.flags.iter().map(|flag| flag.kind.key().to_owned()).collect(),
        version: rule::version(&pass.row),
    };
    Ok((pass.row.key.clone(), ruling))
}

fn what(evidence: &Evidence, ids: &Ids, figure: &DemoFigure) -> Result<What> {
    let measure = word(Measure::from_key(figure.measure), figure.measure)?;
    let cell = |at: usize| {
        let cell = ids.cells.get(at).and_then(|id| evidence.cells.get(id));
        cell.map(|seen| (seen.cell.id, seen.cell.of))
            .ok_or_else(|| Internal(format!("the week has no cell {at}")))
    };
    Ok(match figure.of {
        FigureOf::Cell(at) => What::Cell { measure, cell: cell(at)?.0 },
        FigureOf::Ratio { baseline, contender } => {
            let ((_, baseline), (_, contender)) = (cell(baseline)?, cell(contender)?);
            What::Ratio {
                measure,
                scene: contender.scene_id,
                setting: contender.setting_id,
                baseline: baseline.tuning_id,
                contender: contender.tuning_id,
            }
        }
        FigureOf::Overall { baseline, contender } => {
            let ((_, baseline), (_, contender)) = (cell(baseline)?, cell(contender)?);
            What::Overall {
                measure,
                setting: contender.setting_id,
                baseline: baseline.tuning_id,
                contender: contender.tuning_id,
                among: vec![baseline.tuning_id, contender.tuning_id],
            }
        }
    })
}

/// Takes a step with figures as somebody who sees them as they are now.
async fn step_with(store: &Store, ids: &Ids, by: PersonId, step: Step, keys: &[String]) -> Result<()> {
    let seen = ledger::ledger(store, ids.piece).await?;
    let figures = keys.iter().filter_map(|key| seen.figure(key));
    let asked = figures.map(|f| Asked { key: f.figure.key.clone(), digest: f.now.digest.clone() }).collect();
    steps::take(store, by, ids.piece, Steps { step, figures: asked, typed: String::new() }).await?;
    Ok(())
}
