//! From what a chart is of, and the choices of the page that it comes from, to the chart.

use weighhouse_measure::measures::Measure;
use weighhouse_web::charts::Picture;
use weighhouse_web::pages::{Comparison, RatioLine};

use super::{spread, strips};
use crate::http::answers::Answers;
use crate::http::sent::Sent;
use crate::http::value::Told;
use crate::http::{across, against, latency, tuning, worth};
use crate::store::charts::ChartKind;
use crate::store::{CellId, ReadingKindId, SettingId, Store};
use crate::work::evidence::{CellEvidence, Evidence};
use crate::work::figures::What;
use crate::work::pack::bars;
use crate::work::{self, Refusal, Result, readings};

/// A chart with what has to be agreed for it to be no draft.
pub(in crate::http) struct Drawing {
    pub(in crate::http) picture: Box<dyn Picture + Send>,
    /// What a figure of each of its numbers would be.
    pub(in crate::http) whats: Vec<String>,
}

impl Drawing {
    pub(in crate::http) fn new(picture: impl Picture + Send + 'static, whats: Vec<String>) -> Self {
        Drawing { picture: Box::new(picture), whats }
    }
}

/// Draws; nothing where the piece holds nothing of the kind.
///
/// # Errors
/// Refused when something is asked for that the piece does not have.
pub(super) async fn draw(
    store: &Store,
    evidence: &Evidence,
    kind: ChartKind,
    query: &Sent,
) -> Result<Option<Drawing>> {
    match kind {
        ChartKind::Ratios | ChartKind::Scenes => of_comparison(evidence, kind, query),
        ChartKind::Across => of_option(evidence, query),
        ChartKind::Tuning => of_tunings(evidence, query),
        ChartKind::Latency => of_delay(evidence, query),
        ChartKind::Value | ChartKind::Worth | ChartKind::Readers => of_worth(evidence, kind, query),
        ChartKind::Bars => {
            let setting = SettingId(query.read("setting", "a setting")?);
            Ok(bars::bars(evidence, setting).map(|(bars, whats)| Drawing::new(bars, whats)))
        }
        ChartKind::Readings => {
            let kind = ReadingKindId(query.read("kind", "a kind of reading")?);
            Ok(readings::chart::chart(evidence, kind).map(|(chart, whats)| Drawing::new(chart, whats)))
        }
        ChartKind::Shares => {
            let cells = cells(evidence, query)?;
            Ok(spread::of_cells(evidence, &cells).map(|shares| Drawing::new(shares, averages(&cells))))
        }
        ChartKind::Strips => {
            let cells = cells(evidence, query)?;
            let strips = strips::of_cells(store, evidence, &cells).await?;
            Ok(strips.map(|strips| Drawing::new(strips, averages(&cells))))
        }
    }
}

fn of_comparison(evidence: &Evidence, kind: ChartKind, query: &Sent) -> Result<Option<Drawing>> {
    let Some(choice) = work::against::choose(evidence, &against::asked(query))? else { return Ok(None) };
    let told = against::told(evidence, &work::against::compare(evidence, choice));
    let whats = whats(&told).cloned().collect();
    let chart = if kind == ChartKind::Scenes { told.strip } else { Some(told.chart) };
    Ok(chart.map(|chart| Drawing::new(chart, whats)))
}

/// What a figure of each ratio in a comparison would be.
pub(in crate::http) fn whats(comparison: &Comparison) -> impl Iterator<Item = &String> {
    comparison.contenders.iter().flat_map(|contender| {
        let scenes = contender.scenes.iter().filter_map(|line| line.ratio.as_ref());
        scenes.chain(contender.overall.as_ref().map(|overall| &overall.these)).map(|ratio| &ratio.what)
    })
}

fn of_option(evidence: &Evidence, query: &Sent) -> Result<Option<Drawing>> {
    let found = work::across::find(evidence, &across::asked(query))?;
    let told = found.map(|found| across::told(evidence, &found));
    Ok(told.and_then(|told| {
        let ratios = told.costs.iter().flat_map(|line| line.costs.iter().flatten());
        let whats = ratios.map(|ratio: &RatioLine| ratio.what.clone()).collect();
        told.chart.map(|chart| Drawing::new(chart, whats))
    }))
}

fn of_tunings(evidence: &Evidence, query: &Sent) -> Result<Option<Drawing>> {
    let Some(choice) = work::tuning::choose(evidence, &tuning::asked(query))? else { return Ok(None) };
    let told = tuning::told(evidence, &work::tuning::find(evidence, choice));
    let measured = told.rows.iter().filter(|row| row.watts.value.is_some() && row.rate.value.is_some());
    let whats = measured.flat_map(|row| [row.what_watts.clone(), row.what_rate.clone()]).collect();
    Ok(Some(Drawing::new(told.chart, whats)))
}

fn of_delay(evidence: &Evidence, query: &Sent) -> Result<Option<Drawing>> {
    let blocks = work::latency::blocks(evidence);
    let found = work::latency::pick(blocks, query.text("scene"), query.text("setting"))?;
    Ok(found.map(|found| {
        let block = latency::block(evidence, &found);
        let rows = block.rows.iter().filter(|row| !row.what_delay.is_empty());
        let whats = rows.flat_map(|row| [row.what_shown.clone(), row.what_delay.clone()]).collect();
        Drawing::new(block.chart, whats)
    }))
}

fn of_worth(evidence: &Evidence, kind: ChartKind, query: &Sent) -> Result<Option<Drawing>> {
    let Some(found) = work::worth::find(evidence, &worth::asked(query))? else { return Ok(None) };
    if kind == ChartKind::Value {
        let told = Told::new(evidence, &found).all();
        let whats = told.lines.iter().map(|line| line.what_frame.clone()).filter(|what| !what.is_empty());
        let whats = whats.collect();
        return Ok(told.chart.map(|chart| Drawing::new(chart, whats)));
    }
    let of_readers = worth::of_readers(evidence, Some(&found))?;
    let answers = Answers::new(evidence, &found, &of_readers);
    let mut whats: Vec<String> = answers.lines().into_iter().map(|line| line.what).collect();
    if kind == ChartKind::Worth {
        let told = Told::new(evidence, &found);
        let lines = told.all().lines.into_iter();
        whats.extend(lines.flat_map(|line| [line.what_frame, line.value.unwrap_or_default().what_even]));
        whats.retain(|what| !what.is_empty());
        return Ok(told.table(&answers).map(|table| Drawing::new(table, whats)));
    }
    whats.retain(|what| !what.is_empty());
    Ok(answers.chart().map(|chart| Drawing::new(chart, whats)))
}

/// The cells that are asked for, each once.
fn cells<'a>(evidence: &'a Evidence, query: &Sent) -> Result<Vec<&'a CellEvidence>> {
    let mut ids = query.numbers("cell")?;
    ids.dedup();
    let found = ids.iter().map(|id| {
        evidence.cells.get(&CellId(*id)).ok_or_else(|| Refusal::missing("cell of the piece", id).into())
    });
    let found: Vec<&CellEvidence> = found.collect::<Result<_>>()?;
    if found.len() < 2 {
        return Err(Refusal::field("cell", "Choose two cells that differ.").into());
    }
    Ok(found)
}

/// What a figure of the average of each cell would be.
fn averages(cells: &[&CellEvidence]) -> Vec<String> {
    cells.iter().map(|cell| What::Cell { measure: Measure::AverageFps, cell: cell.cell.id }.json()).collect()
}
