//! Remarks on a pass as threads, and the form for another one.

use jiff::Timestamp;
use serde::Serialize;

use crate::pages::Field;
use crate::{format, paths};

/// Something a person wrote, with what others did with it.
#[derive(Clone, Debug, Serialize)]
pub struct Remark {
    /// Row id.
    pub id: i64,
    /// Whether it is settled.
    pub settled: bool,
    /// Answers, and when it was settled or opened again.
    pub steps: Vec<RemarkSaid>,
    #[serde(skip)]
    /// An answer as it was written.
    pub answer: Field,
    /// What.
    pub says: String,
    /// Start of the stretch, ns; none: the whole pass.
    pub start_ns: Option<i64>,
    /// Its end.
    pub end_ns: Option<i64>,
    /// Who.
    pub by: String,
    /// When.
    pub at: Timestamp,
}

/// What somebody did with a remark.
#[derive(Clone, Debug, Serialize)]
pub struct RemarkSaid {
    /// `answer`, `settle` or `open`.
    pub does: &'static str,
    /// What was written; may be empty.
    pub says: String,
    /// Who.
    pub by: String,
    /// When.
    pub at: Timestamp,
}

impl RemarkSaid {
    /// What was done, where that is not plain from the words.
    pub(super) fn done(&self) -> &'static str {
        match self.does {
            "settle" => "Settled",
            "open" => "Opened again",
            _ => "",
        }
    }
}

/// The form for a remark.
#[derive(Clone, Debug, Default)]
pub struct NewRemark {
    /// What it says.
    pub says: Field,
    /// Start of the stretch, seconds.
    pub start: Field,
    /// Its end.
    pub end: Field,
}

impl NewRemark {
    /// Whether somebody wrote in it already: it comes back with what was refused.
    pub(super) fn typed(&self) -> bool {
        [&self.says, &self.start, &self.end]
            .iter()
            .any(|field| !field.value.is_empty() || !field.error.is_empty())
    }
}

impl Remark {
    pub(super) fn action(&self, pass: &str) -> String {
        paths::pass_remark_step(pass, self.id)
    }

    pub(super) fn where_said(&self) -> String {
        match (self.start_ns, self.end_ns) {
            (Some(start), Some(end)) => format::span_ns(start, end),
            _ => "the whole pass".to_owned(),
        }
    }
}
