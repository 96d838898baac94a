//! Which part of its log a pass is, and which part of the pass counts.

use serde::Serialize;

use super::super::Field;
use crate::format;

/// The window that counts, and the form for another.
#[derive(Clone, Debug, Default, Serialize)]
pub struct Window {
    /// Start of the window that counts, ns.
    pub start_ns: i64,
    /// Its end.
    pub end_ns: i64,
    /// Start of the scene's standard window.
    pub standard_start_ns: i64,
    /// Its end; none: to the pass's end.
    pub standard_end_ns: Option<i64>,
    /// Whether the pass has its own.
    pub own: bool,
    /// Why.
    pub reason: String,
    /// For stale forms.
    pub version: i64,
    /// Number of the log's segment that the pass rests on.
    pub log: i64,
    /// Start and end of what was cut out of the log, ns; none: the pass is all of it.
    pub cut_ns: Option<(i64, i64)>,
    #[serde(skip)]
    /// Seconds, as written.
    pub from: Field,
    #[serde(skip)]
    /// Seconds, as written.
    pub to: Field,
    #[serde(skip)]
    /// The reason, as written.
    pub why: Field,
}

impl Window {
    /// Whether it came back with what was refused.
    pub(super) fn typed(&self) -> bool {
        [&self.from, &self.to, &self.why].iter().any(|field| !field.error.is_empty())
    }

    pub(super) fn counts(&self) -> String {
        format::span_ns(self.start_ns, self.end_ns)
    }

    pub(super) fn standard(&self) -> String {
        match self.standard_end_ns {
            Some(end) => format::span_ns(self.standard_start_ns, end),
            None => format!("from {} to the end", format::at_ns(self.standard_start_ns)),
        }
    }

    /// What was cut out of the log, where the pass is not all of it.
    pub(super) fn cut_said(&self) -> Option<String> {
        let (start_ns, end_ns) = self.cut_ns?;
        Some(format!("Cut out of its log {}.", format::span_ns(start_ns, end_ns)))
    }
}
