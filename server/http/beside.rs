//! What stands beside the overall ratios on the page Against: how much each scene moves them, and ranks.

use weighhouse_web::charts::{Caption, Ratio, RatioRow, Ratios};
use weighhouse_web::format;
use weighhouse_web::pages::{Contender, RankLine, Ranks};

use super::against::count;
use crate::work::against::{Comparison, OverallRatio};
use crate::work::evidence::{Evidence, Registers};
use crate::work::ranks;

/// The strip of scenes: by how much each moves the overall ratios; `None` where two scenes or fewer are in them.
pub(super) fn strip(names: &Registers, comparison: &Comparison) -> Option<Ratios> {
    let found: Vec<&OverallRatio> = comparison.overall.iter().flatten().collect();
    let first = found.first().filter(|of| of.drives.is_some())?;
    let rows = first.scenes.iter().enumerate().map(|(nth, scene)| {
        let without: Vec<f64> = found.iter().filter_map(|of| of.overall.without.get(nth).copied()).collect();
        let said: Vec<String> = without.iter().map(|ratio| format::change(*ratio)).collect();
        let moves = found.iter().zip(&without).map(|(of, without)| of.overall.these.ratio / without);
        RatioRow {
            name: names.scene_name(*scene),
            note: format!("without it {}", said.join(" and ")),
            ratios: moves.map(|value| Some(Ratio { value, low: f64::NAN, high: f64::NAN })).collect(),
            asked: None,
        }
    });
    let baseline = names.tuning_name(comparison.choice.baseline);
    let contenders: Vec<String> = comparison
        .choice
        .contenders
        .iter()
        .zip(&comparison.overall)
        .filter(|(_, overall)| overall.is_some())
        .map(|(id, _)| names.tuning_name(*id))
        .collect();
    let title = format!(
        "What each scene adds to the overall against {baseline}, {}",
        names.setting_name(comparison.choice.setting)
    );
    Some(Ratios {
        caption: Caption {
            id: "drives".to_owned(),
            desc: format!("{title}: for each scene by how much it moves the overall ratio."),
            title,
            subtitle: format!(
                "{}. Right of the line: with this scene the overall is higher than without it.",
                format::sentence(comparison.choice.measure.short_name())
            ),
            foot: vec![format!(
                "Overall ratio with the scene over the one without it; overall: {}.",
                contenders
                    .iter()
                    .zip(&found)
                    .map(|(name, of)| format!("{name} {}", format::change(of.overall.these.ratio)))
                    .collect::<Vec<_>>()
                    .join(", ")
            )],
            draft: false,
        },
        baseline: "without it".to_owned(),
        contenders,
        axis: "what the scene adds to the overall (log scale)".to_owned(),
        rows: rows.collect(),
        overall: Vec::new(),
    })
}

/// Ranks in the words of the page; `contenders` as it tells of them, in the order of the choice.
pub(super) fn ranks(evidence: &Evidence, comparison: &Comparison, contenders: &[Contender]) -> Option<Ranks> {
    let found = ranks::ranks(evidence, &comparison.choice)?;
    let lines = found.ranked.iter().map(|ranked| {
        let nth = comparison.choice.contenders.iter().position(|id| *id == ranked.tuning);
        let told = nth.and_then(|nth| contenders.get(nth)).and_then(|of| of.overall.as_ref());
        RankLine {
            name: evidence.registers.tuning_name(ranked.tuning),
            best: count(ranked.rank.best),
            worst: count(ranked.rank.worst),
            against: told.map(|overall| overall.these.clone()),
            p: ranked.p,
        }
    });
    Some(Ranks { pairs: count(found.pairs), lines: lines.collect() })
}
