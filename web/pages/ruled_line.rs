//! A pass that was ruled on, in the list that answers which passes are bad.

use serde::Serialize;

/// A pass that was ruled on: it may be named.
#[derive(Clone, Debug, Serialize)]
pub struct RuledLine {
    /// Key of the pass.
    pub key: String,
    /// Part, tuning, scene, setting, number and rig.
    pub on: String,
    /// `run again`, `set aside`, `keep`.
    pub verdict: String,
    /// Why; may be empty.
    pub reason: String,
    /// Who.
    pub by: String,
}

impl RuledLine {
    pub(super) fn sample() -> Self {
        RuledLine {
            key: "p3".into(),
            on: "Tarnwick Curlew, stock, Vellum Rally (hairpin), 2160p native, pass 3 on alder".into(),
            verdict: "set aside".into(),
            reason: "an updater ran".into(),
            by: "Iver Stroud".into(),
        }
    }
}
