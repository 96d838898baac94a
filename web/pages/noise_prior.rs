//! A noise prior before it is kept: what it would change.

use askama::Template;
use serde::Serialize;

use super::against::PriorShown;
use super::{Frame, Page};
use crate::format::{self, NOTHING, Unit};

/// The page.
#[derive(Template, Serialize)]
#[template(path = "noise_prior.html")]
pub struct NoisePrior {
    /// Around the page.
    #[serde(skip)]
    pub frame: Frame,
    /// Key of the piece.
    #[serde(skip)]
    pub key: String,
    /// As it stands.
    pub prior: PriorShown,
    /// Names what is shown here; keeping it sends this along as `shown`, and the prior's number as `version`.
    pub shown: String,
    /// Measures and kinds of scene.
    pub kinds: Vec<KindLine>,
    /// Ratios whose verdict changes.
    pub verdicts: Vec<RatioChange>,
    /// Ratios of which only the interval changes.
    pub intervals: Vec<RatioChange>,
    /// Ratios that stay as they are.
    pub unchanged: u64,
}

/// A measure in one kind of scene.
#[derive(Clone, Debug, Serialize)]
pub struct KindLine {
    /// Name of the measure.
    pub measure: String,
    /// Kind of scene.
    pub kind: String,
    /// As kept.
    pub before: Option<Moments>,
    /// As it would be.
    pub after: Option<Moments>,
}

/// What a prior says.
#[derive(Clone, Copy, Debug, Serialize)]
pub struct Moments {
    /// Cells that it rests on.
    pub cells: u64,
    /// Standard deviation of a pass, a share of 1, and its degrees of freedom; `None` below five cells.
    pub s0_d0: Option<(f64, f64)>,
}

/// A ratio before and after.
#[derive(Clone, Debug, Serialize)]
pub struct RatioChange {
    /// Name of the contender.
    pub contender: String,
    /// Name of the scene.
    pub scene: String,
    /// Measure and setting.
    pub of: String,
    /// Interval as it stands.
    pub before: Option<(f64, f64)>,
    /// Interval as it would be.
    pub after: Option<(f64, f64)>,
    /// Verdict as it stands.
    pub verdict_before: String,
    /// Verdict as it would be.
    pub verdict_after: String,
}

impl KindLine {
    fn spread(moments: &Option<Moments>) -> String {
        let found = moments.and_then(|m| m.s0_d0);
        found
            .map_or_else(|| NOTHING.to_owned(), |(s0, _)| Unit::Percent.behind(&format::fixed(s0 * 100.0, 2)))
    }

    fn freedom(moments: &Option<Moments>) -> String {
        moments.and_then(|m| m.s0_d0).map_or_else(|| NOTHING.to_owned(), |(_, d0)| format::fixed(d0, 1))
    }

    fn cells(&self) -> String {
        self.after.map_or_else(|| NOTHING.to_owned(), |m| format::count(m.cells))
    }
}

impl RatioChange {
    fn interval(ends: &Option<(f64, f64)>) -> String {
        ends.map_or_else(|| NOTHING.to_owned(), |(low, high)| format::change_interval(low, high))
    }
}

impl NoisePrior {
    fn only_intervals(&self) -> String {
        let n = u64::try_from(self.intervals.len()).unwrap_or(u64::MAX);
        format::plural(
            n,
            "interval changes and keeps its verdict",
            "intervals change and keep their verdicts",
        )
    }

    fn as_they_are(&self) -> String {
        format::plural(self.unchanged, "ratio stays as it is", "ratios stay as they are")
    }
}

impl Page for NoisePrior {
    fn title(&self) -> String {
        if self.prior.number == 0 {
            "Keep a noise prior".to_owned()
        } else {
            "Renew the noise prior".to_owned()
        }
    }

    fn samples() -> Vec<Self> {
        let change = RatioChange {
            contender: "Tarnwick Curlew".into(),
            scene: "Vellum Rally, hairpin".into(),
            of: "average frame rate, 2160p native".into(),
            before: None,
            after: Some((1.22, 1.26)),
            verdict_before: "not settled (2 more passes)".into(),
            verdict_after: "faster".into(),
        };
        let kind = KindLine {
            measure: "average frame rate".into(),
            kind: "replay".into(),
            before: None,
            after: Some(Moments { cells: 12, s0_d0: Some((0.0042, 6.3)) }),
        };
        let page = |frame, number, verdicts: Vec<RatioChange>| NoisePrior {
            frame,
            key: "k3v9".into(),
            prior: PriorShown { number, ..PriorShown::default() },
            shown: "00ff".into(),
            kinds: vec![kind.clone()],
            intervals: verdicts.clone(),
            verdicts,
            unchanged: 3,
        };
        let guest = Frame::signed_in("Ada Fenn", "guest", "Pieces");
        vec![page(Frame::sample("Against"), 0, vec![change]), page(guest, 2, vec![])]
    }
}
