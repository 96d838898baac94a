//! Ranks without false order, as the page Against shows them.

use serde::Serialize;

use super::RatioLine;
use crate::format::{self, NOTHING};

/// Ranks of all that are compared.
#[derive(Clone, Debug, Serialize)]
pub struct Ranks {
    /// Pairs whose p are adjusted together.
    pub pairs: u64,
    /// The best first.
    pub lines: Vec<RankLine>,
}

/// One of them.
#[derive(Clone, Debug, Serialize)]
pub struct RankLine {
    /// Its name.
    pub name: String,
    /// Best rank that it can have, from 1.
    pub best: u64,
    /// Worst rank that it can have.
    pub worst: u64,
    /// Overall against the baseline; `None` for the baseline.
    pub against: Option<RatioLine>,
    /// Adjusted p of being level with the baseline.
    pub p: Option<f64>,
}

impl RankLine {
    /// `1`, or `2 to 3` where others share these ranks.
    pub(super) fn rank(&self) -> String {
        if self.best == self.worst {
            format::count(self.best)
        } else {
            format!("{} to {}", format::count(self.best), format::count(self.worst))
        }
    }

    pub(super) fn change(&self) -> String {
        self.against.as_ref().map_or_else(|| "the baseline".to_owned(), RatioLine::change)
    }

    pub(super) fn interval(&self) -> String {
        self.against.as_ref().map_or_else(|| NOTHING.to_owned(), RatioLine::interval)
    }

    pub(super) fn chance(&self) -> String {
        self.p.map_or_else(|| NOTHING.to_owned(), format::p)
    }
}

impl Ranks {
    /// One alone and two that share ranks.
    pub(super) fn sample(against: &RatioLine) -> Self {
        let line = |name: &str, best, worst, p: Option<f64>| RankLine {
            name: name.into(),
            best,
            worst,
            against: p.map(|_| against.clone()),
            p,
        };
        let lines = vec![
            line("Tarnwick Curlew", 1, 1, Some(0.000_02)),
            line("Tarnwick Dunlin", 2, 3, None),
            line("Ullmere Thole", 2, 3, Some(0.31)),
        ];
        Self { pairs: 3, lines }
    }
}
