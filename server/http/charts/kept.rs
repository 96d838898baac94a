//! Kept charts, drawn with their own words and scenes, and marked as drafts until all in them is agreed.

use weighhouse_web::charts::Picture;
use weighhouse_web::pages::ChartLine;

use super::draw::{self, Drawing};
use crate::http::sent::Sent;
use crate::store::Store;
use crate::store::charts::{self as store, ChartKind, KeptChart};
use crate::work::figures::ledger::Ledger;
use crate::work::pack::figures;
use crate::work::{Error, Result, charts};

/// A kept chart, drawn with its own words and scenes; why not, where it cannot be.
pub(in crate::http) type Kept = std::result::Result<Drawn, String>;

/// A kept chart as it leaves the house.
pub(in crate::http) struct Drawn {
    pub(in crate::http) picture: Box<dyn Picture + Send>,
    /// The title that it has.
    pub(in crate::http) title: String,
    /// The title that it would have of its own.
    pub(in crate::http) own_title: String,
    pub(in crate::http) draft: bool,
}

/// The kept charts of a piece, each drawn.
///
/// # Errors
/// When the store fails.
pub(in crate::http) async fn kept(from: &Store, read: &Ledger) -> Result<Vec<(KeptChart, Kept)>> {
    let all = store::of_piece(&mut *from.read().await?, read.evidence.piece.id).await?;
    let mut drawn = Vec::with_capacity(all.len());
    for chart in all {
        let kept = one(from, read, &chart).await?;
        drawn.push((chart, kept));
    }
    Ok(drawn)
}

/// One of them.
///
/// # Errors
/// When the store fails.
pub(super) async fn one(from: &Store, read: &Ledger, chart: &KeptChart) -> Result<Kept> {
    let query = Sent::of_query(&chart.fields.asked);
    let drawn = match draw::draw(from, &read.evidence, chart.fields.kind, &query).await {
        Ok(drawn) => drawn,
        // A part or scene that left the piece since: the chart says so, and the others are drawn.
        Err(Error::Refused(refusal)) => return Ok(Err(refusal.says)),
        Err(error) => return Err(error),
    };
    let Some(Drawing { mut picture, whats }) = drawn else {
        return Ok(Err("The piece holds nothing to draw of it.".to_owned()));
    };
    let agreed = figures::agreed(read);
    let names = &read.evidence.registers;
    let scenes: Vec<String> =
        charts::scenes(&chart.fields).into_iter().map(|id| names.scene_name(id)).collect();
    let had = if scenes.is_empty() { None } else { picture.keep(&scenes) };
    let caption = picture.caption();
    let own_title = caption.title.clone();
    if !chart.fields.title.is_empty() {
        caption.title.clone_from(&chart.fields.title);
    }
    if let Some(had) = had.filter(|had| *had > scenes.len()) {
        let says =
            format!("Shown are {} of {had} scenes; what stands for all of them is over all.", scenes.len());
        caption.foot.insert(0, says);
    }
    if !chart.fields.note.is_empty() {
        caption.foot.insert(0, chart.fields.note.clone());
    }
    caption.id = format!("chart-{}", chart.id);
    caption.draft = whats.iter().any(|what| !agreed.contains(what));
    let (title, draft) = (caption.title.clone(), caption.draft);
    Ok(Ok(Drawn { picture, title, own_title, draft }))
}

/// A kept chart as lists have it.
pub(super) fn line(chart: &KeptChart, drawn: &Kept) -> ChartLine {
    let fallback = if chart.fields.title.is_empty() { words(chart.fields.kind) } else { &chart.fields.title };
    ChartLine {
        id: chart.id.0,
        title: drawn.as_ref().map_or_else(|_| fallback.to_owned(), |drawn| drawn.title.clone()),
        kind: words(chart.fields.kind),
        draft: drawn.as_ref().is_ok_and(|drawn| drawn.draft),
        missing: drawn.as_ref().err().cloned().unwrap_or_default(),
    }
}

fn words(kind: ChartKind) -> &'static str {
    match kind {
        ChartKind::Bars => "averages of parts",
        ChartKind::Ratios => "parts against a baseline",
        ChartKind::Scenes => "what each scene adds",
        ChartKind::Across => "what an option costs",
        ChartKind::Tuning => "frame rate over watts",
        ChartKind::Latency => "frame rate over delay",
        ChartKind::Value => "price of a frame",
        ChartKind::Worth => "what each part is worth",
        ChartKind::Readers => "what it brings to readers",
        ChartKind::Shares => "shares of frames, added up",
        ChartKind::Strips => "frame times over time",
        ChartKind::Readings => "what was read of parts",
    }
}
