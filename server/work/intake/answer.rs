//! What a person says about a log's columns.

use weighhouse_measure::intake::Layout;
use weighhouse_measure::recording::{Kind as LogKind, Role, Unit};

use super::question;
use crate::store::captures::Capture;
use crate::work::once::By;
use crate::work::take_in::{TakeIn, Taken};
use crate::work::{Kind, Refusal, Result};

/// One of the ways that were offered, or a role and unit for each column.
#[derive(Clone, Debug)]
pub enum Answer {
    /// Number of the way, from 0.
    Offered(usize),
    /// Whether the rows are frames, and the columns in the order of the table.
    Columns(LogKind, Vec<(Role, Unit)>),
}

/// Reads a log as a person said, and all others of its shape that wait.
///
/// # Errors
/// Refused when it asks nothing (any more), when the answer does not say how the rows are timed, or when the log cannot
/// be read so.
pub async fn answer(
    take_in: &TakeIn,
    by: impl Into<By>,
    capture: &Capture,
    version: i64,
    answer: Answer,
) -> Result<Vec<Taken>> {
    let by = by.into();
    if let Some(first) = take_in.answered(&by).await? {
        return Ok(first);
    }
    let question = question(capture).ok_or_else(|| {
        Refusal::new(
            Kind::Clash,
            "Answered already",
            format!("'{}' asks nothing any more.", capture.name),
            "Open the intake page to see what was read.",
        )
    })?;
    let layout = match answer {
        Answer::Offered(n) => {
            let offered = question.candidates.get(n).map(|candidate| candidate.layout.clone());
            offered.ok_or_else(|| Refusal::field("candidate", format!("There is no way number {n}.")))?
        }
        Answer::Columns(kind, columns) => {
            Layout::answer(&question, kind, &columns).map_err(|says| Refusal::field("columns", says))?
        }
    };
    take_in.answer(by, capture.id, version, layout).await
}
