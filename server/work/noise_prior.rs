//! The noise prior of a piece: what keeping or renewing it would change, shown before a person does it.

use std::collections::BTreeSet;
use std::mem::Discriminant;

use sha2::{Digest as _, Sha256};
use weighhouse_measure::compare::SceneKind;
use weighhouse_measure::compare::noise::{KindPrior, NoisePrior};
use weighhouse_measure::compare::verdict::{Verdict, Way};
use weighhouse_measure::measures::Measure;

use super::against::{self, Asked, Judged};
use super::evidence::Evidence;
use super::once::By;
use super::results::hex;
use super::{Error, Refusal, Result};
use crate::store::{PieceId, SceneId, SettingId, Store, StoreError, TuningId, pieces};

/// What a new prior would change.
#[derive(Clone, Debug)]
pub struct Preview {
    /// As it stands now.
    pub evidence: Evidence,
    /// Names what is shown here: keeping it takes this along, so that nobody keeps what they were not shown.
    pub shown: String,
    /// Each measure and kind of scene that has a prior before or after.
    pub kinds: Vec<KindChange>,
    /// Ratios of the piece's usual comparisons, those that change.
    pub ratios: Vec<RatioChange>,
    /// How many of them stay as they are.
    pub unchanged: usize,
}

/// The prior of one measure in one kind of scene.
#[derive(Clone, Debug, PartialEq)]
pub struct KindChange {
    /// Of which measure.
    pub measure: Measure,
    /// In which kind of scene.
    pub kind: SceneKind,
    /// As kept.
    pub before: Option<KindPrior>,
    /// As it would be.
    pub after: Option<KindPrior>,
}

/// A ratio before and after.
#[derive(Clone, Debug, PartialEq)]
pub struct RatioChange {
    /// Of which measure.
    pub measure: Measure,
    /// At which setting.
    pub setting: SettingId,
    /// In which scene.
    pub scene: SceneId,
    /// Against which tuning.
    pub baseline: TuningId,
    /// Of which tuning.
    pub contender: TuningId,
    /// As it stands.
    pub before: Judged,
    /// As it would be.
    pub after: Judged,
}

impl RatioChange {
    /// Whether other words would stand beside it; another count of further passes is none.
    pub fn changes_verdict(&self) -> bool {
        stance(&self.before.verdict) != stance(&self.after.verdict)
    }
}

/// A verdict without its numbers.
fn stance(verdict: &Verdict) -> (Discriminant<Verdict>, Option<Way>) {
    let way = match verdict {
        Verdict::Differs(way) | Verdict::Level { way, .. } => Some(*way),
        Verdict::LevelWithin { .. } | Verdict::NotSettled { .. } | Verdict::None { .. } => None,
    };
    (std::mem::discriminant(verdict), way)
}

/// What keeping a noise prior now would change.
///
/// # Errors
/// Refused when the piece has gone.
pub async fn preview(store: &Store, piece: PieceId) -> Result<Preview> {
    let evidence = Evidence::of_piece(store, piece).await?.ok_or_else(|| Refusal::missing("piece", piece))?;
    preview_of(evidence)
}

fn preview_of(mut evidence: Evidence) -> Result<Preview> {
    let renewed = evidence.renewed_prior();
    let shown = shown(&body(&renewed)?);
    let kinds = kinds(&evidence.prior, &renewed);
    let before = usual_ratios(&evidence)?;
    let kept = std::mem::replace(&mut evidence.prior, renewed);
    let after = usual_ratios(&evidence)?;
    evidence.prior = kept;
    let all = before.len();
    let ratios: Vec<RatioChange> = before
        .into_iter()
        .zip(after)
        .map(|(before, after)| RatioChange { after: after.after, ..before })
        .filter(|change| change.before.ratio.bounds != change.after.ratio.bounds || change.changes_verdict())
        .collect();
    Ok(Preview { evidence, shown, kinds, unchanged: all - ratios.len(), ratios })
}

/// Every ratio of the comparisons that the piece shows when nothing else is asked for.
fn usual_ratios(evidence: &Evidence) -> Result<Vec<RatioChange>> {
    let options = against::options(evidence);
    let mut ratios = Vec::new();
    for (setting, measure) in options.settings.iter().flat_map(|s| options.measures.map(|m| (*s, m))) {
        let asked =
            Asked { measure: measure.key().to_owned(), setting: setting.to_string(), ..Asked::default() };
        let Some(choice) = against::choose(evidence, &asked)? else { continue };
        let comparison = against::compare(evidence, choice);
        for (row, at) in
            comparison.scenes.iter().flat_map(|row| (0..row.contenders.len()).map(move |at| (row, at)))
        {
            let (Some(contender), Some(found)) =
                (comparison.choice.contenders.get(at), row.contenders.get(at))
            else {
                continue;
            };
            if let Some(judged) = &found.ratio {
                ratios.push(RatioChange {
                    measure,
                    setting,
                    scene: row.scene,
                    baseline: comparison.choice.baseline,
                    contender: *contender,
                    before: judged.clone(),
                    after: judged.clone(),
                });
            }
        }
    }
    Ok(ratios)
}

fn kinds(before: &NoisePrior, after: &NoisePrior) -> Vec<KindChange> {
    let keys: BTreeSet<&String> = before.measures.keys().chain(after.measures.keys()).collect();
    let of = |prior: &NoisePrior, key: &str, kind| {
        prior.measures.get(key).and_then(|kinds| kinds.get(&kind)).cloned()
    };
    let mut changes = Vec::new();
    for measure in Measure::all().filter(|measure| keys.contains(&measure.key().to_owned())) {
        for kind in SceneKind::ALL {
            let (before, after) = (of(before, measure.key(), kind), of(after, measure.key(), kind));
            if before.is_some() || after.is_some() {
                changes.push(KindChange { measure, kind, before, after });
            }
        }
    }
    changes
}

/// Keeps the noise prior that `shown` was shown for, in the place of number `kept` (0: of none). Its number.
///
/// # Errors
/// Refused when passes or the prior have changed since it was shown.
pub async fn keep(
    store: &Store,
    by: impl Into<By>,
    piece: PieceId,
    kept: i64,
    shown_as: &str,
) -> Result<i64> {
    let evidence = Evidence::of_piece(store, piece).await?.ok_or_else(|| Refusal::missing("piece", piece))?;
    let body = body(&evidence.renewed_prior())?;
    let as_shown = shown(&body) == shown_as;
    by.into()
        .write(store, async move |tx| {
            let present = pieces::prior(tx, piece).await?.map_or(0, |prior| prior.number);
            if present != kept || !as_shown {
                return Err(changed(present));
            }
            Ok(pieces::renew_prior(tx, piece, &body).await?)
        })
        .await
}

fn changed(present: i64) -> Error {
    let stands =
        if present == 0 { "none is kept".to_owned() } else { format!("noise prior {present} is kept") };
    Refusal::stale("passes or the noise prior", "keep the one that was shown", stands).into()
}

fn body(prior: &NoisePrior) -> Result<String> {
    serde_json::to_string(prior)
        .map_err(|e| StoreError::Other(format!("a noise prior that cannot be written: {e}")).into())
}

fn shown(body: &str) -> String {
    hex(&Sha256::digest(body.as_bytes()))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::people::Role;
    use crate::store::{Actor, testing};
    use crate::work::made_up::{self, add_cell};

    /// Six scenes, two parts, three passes each.
    fn evidence() -> Evidence {
        let mut evidence = made_up::piece(2, 6);
        for scene in 1..=6_i32 {
            let spread = 0.2 * f64::from(scene);
            add_cell(&mut evidence, 1, scene.into(), &[100.0, 100.0 + spread, 100.0 - spread]);
            add_cell(&mut evidence, 2, scene.into(), &[103.0, 103.0 + spread, 103.0 - spread]);
        }
        evidence
    }

    #[test]
    fn a_first_prior_changes_intervals_and_the_same_one_again_changes_nothing() {
        let preview = preview_of(evidence()).unwrap();
        let average = preview.kinds.iter().find(|change| change.measure == Measure::AverageFps).unwrap();
        assert_eq!(average.before, None);
        assert_eq!(average.after.as_ref().unwrap().cells, 12);
        assert!(average.after.as_ref().unwrap().prior.is_some());
        let changed = preview.ratios.iter().filter(|change| change.measure == Measure::AverageFps);
        assert_eq!(changed.count(), 6);
        let mut evidence = preview.evidence;
        evidence.prior = evidence.renewed_prior();
        let again = preview_of(evidence).unwrap();
        assert!(again.ratios.is_empty());
        assert!(again.kinds.iter().all(|change| change.before == change.after));
        assert_eq!(again.shown, preview.shown);
    }

    #[tokio::test]
    async fn only_what_was_shown_is_kept() {
        let (_folder, store) = testing::store().await;
        let person = testing::person(&store, "Ada", Role::Member).await;
        let by = Actor::Person(person);
        let fields = pieces::PieceFields::usual("A piece", crate::store::registers::parts::PartKind::Card);
        let piece = store.write(by, async move |tx| pieces::add(tx, "piece", &fields).await).await.unwrap();
        let preview = preview(&store, piece).await.unwrap();
        assert!(matches!(keep(&store, by, piece, 0, "other").await, Err(Error::Refused(_))));
        assert_eq!(keep(&store, by, piece, 0, &preview.shown).await.unwrap(), 1);
        assert!(matches!(keep(&store, by, piece, 0, &preview.shown).await, Err(Error::Refused(_))));
        let evidence = Evidence::of_piece(&store, piece).await.unwrap().unwrap();
        let kept = evidence.prior_kept.unwrap();
        assert_eq!((evidence.prior_number, kept.by.as_str(), kept.at_us), (1, "Ada", testing::NOW_US));
    }
}
