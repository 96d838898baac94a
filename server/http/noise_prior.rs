//! A piece's noise prior: what a new one would change, and keeping it.

use axum::extract::State;
use axum::response::Response;
use weighhouse_measure::compare::noise::KindPrior;
use weighhouse_web::pages::{KindLine, Moments, NoisePrior, RatioChange};
use weighhouse_web::paths;

use super::App;
use super::against::prior;
use super::piece_frame::in_piece;
use super::resources::Of;
use super::respond::{Wants, done, respond};
use super::sent::Sent;
use super::session::{Member, SignedIn};
use crate::store::pieces::Piece;
use crate::work::Result;
use crate::work::against::Judged;
use crate::work::evidence::Registers;
use crate::work::noise_prior::{self, KindChange};

/// What would change.
pub(super) async fn show(
    State(app): State<App>,
    who: SignedIn,
    wants: Wants,
    Of(piece): Of<Piece>,
) -> Result<Response> {
    let preview = noise_prior::preview(&app.store, piece.id).await?;
    let names = &preview.evidence.registers;
    let (verdicts, intervals): (Vec<_>, Vec<_>) = preview.ratios.iter().partition(|c| c.changes_verdict());
    let page = NoisePrior {
        frame: in_piece(&app, &who, &piece, "Against", preview.evidence.to_review().count()),
        key: piece.key,
        prior: prior(&preview.evidence),
        shown: preview.shown.clone(),
        kinds: preview.kinds.iter().map(kind).collect(),
        verdicts: verdicts.into_iter().map(|change| ratio(change, names)).collect(),
        intervals: intervals.into_iter().map(|change| ratio(change, names)).collect(),
        unchanged: u64::try_from(preview.unchanged).unwrap_or(u64::MAX),
    };
    respond(wants, &page)
}

/// Keeps what was shown.
pub(super) async fn keep(
    State(app): State<App>,
    who: Member,
    wants: Wants,
    Of(piece): Of<Piece>,
    sent: Sent,
) -> Result<Response> {
    let (version, shown) = (sent.version()?, sent.text("shown"));
    let number = noise_prior::keep(&app.store, sent.by(&who), piece.id, version, shown).await?;
    Ok(done(&who, wants, &paths::against(&piece.key), format!("Noise prior {number} is kept.")))
}

fn kind(change: &KindChange) -> KindLine {
    let moments = |of: &KindPrior| Moments {
        cells: u64::try_from(of.cells).unwrap_or(u64::MAX),
        s0_d0: of.prior.map(|kept| (kept.s2.sqrt(), kept.df)),
    };
    KindLine {
        measure: change.measure.name().to_owned(),
        kind: change.kind.as_str().to_owned(),
        before: change.before.as_ref().map(moments),
        after: change.after.as_ref().map(moments),
    }
}

fn ratio(change: &noise_prior::RatioChange, names: &Registers) -> RatioChange {
    let ends = |judged: &Judged| judged.ratio.bounds.map(|b| (b.interval.low, b.interval.high));
    RatioChange {
        contender: names.tuning_name(change.contender),
        scene: names.scene_name(change.scene),
        of: format!("{}, {}", change.measure.name(), names.setting_name(change.setting)),
        before: ends(&change.before),
        after: ends(&change.after),
        verdict_before: change.before.verdict.words(),
        verdict_after: change.after.verdict.words(),
    }
}
