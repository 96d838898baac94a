//! The pack of a piece: its page, and the zip.

use std::collections::BTreeSet;
use std::sync::Arc;

use axum::body::Body;
use axum::extract::{Query, State};
use axum::http::header::{CONTENT_DISPOSITION, CONTENT_LENGTH, CONTENT_TYPE};
use axum::response::{IntoResponse as _, Response};
use serde::Deserialize;
use tokio_util::io::ReaderStream;
use weighhouse_measure::measures::Measure;
use weighhouse_web::assets;
use weighhouse_web::charts::{Colour, Picture, Shape, Theme, png};
use weighhouse_web::marks::Standing;
use weighhouse_web::pages::{ChartEntry, Comparison, FileEntry, NameEntry, Pack, WIDTHS};

use super::charts::{kept, whats};
use super::notes::embargo;
use super::piece_frame::in_piece;
use super::resources::Of;
use super::respond::{Wants, html, respond};
use super::session::SignedIn;
use super::{App, against as page};
use crate::store::pieces::Piece;
use crate::store::{SettingId, Store};
use crate::work::against::{self, Asked};
use crate::work::carried::said;
use crate::work::charts::accent;
use crate::work::evidence::Evidence;
use crate::work::figures::ledger::{Ledger, ledger};
use crate::work::notes::may_leave;
use crate::work::pack::names::{self, Names};
use crate::work::pack::sheet::{About, Kind, Sheet, fields};
use crate::work::pack::{
    File, bars, carried, figures, file_name, left_out, methods, package, prices, readers, readings, tables,
    with_captures, zip,
};
use crate::work::reproduce::Drawn;
use crate::work::{Internal, Result};

/// A chart of the pack.
struct Chart {
    name: String,
    picture: Box<dyn Picture + Send>,
    /// Whether the piece keeps it: then it goes out for video too.
    kept: bool,
}

impl Chart {
    fn new(name: String, picture: Box<dyn Picture + Send>, kept: bool) -> Self {
        Chart { name, picture, kept }
    }

    fn entry(mut self) -> ChartEntry {
        let svg = self.picture.shaped(&Theme::LIGHT, Shape::Page);
        let caption = self.picture.caption();
        ChartEntry {
            name: self.name,
            title: caption.title.clone(),
            draft: caption.draft,
            kept: self.kept,
            svg,
        }
    }

    /// For print, as SVG: what the pictures beside it are drawn from.
    fn svg(&self, accent: Option<Colour>) -> File {
        let print = self.picture.shaped(&own(Theme::PRINT, accent), Shape::Page);
        self.file(".svg", print.into_bytes())
    }

    fn file(&self, ending: &str, bytes: Vec<u8>) -> File {
        File { path: format!("charts/{}{ending}", self.name), bytes }
    }

    /// For print as SVG and PNG; a kept one for video too, on light and on dark ground.
    fn files(&self, accent: Option<Colour>) -> Result<Vec<File>> {
        let pixels = |svg: &[u8]| {
            let svg = String::from_utf8_lossy(svg);
            png::wide(&svg, WIDTHS[0]).map_err(|e| Internal(format!("{}: {e}", self.name)))
        };
        let print = self.svg(accent);
        let mut files = vec![self.file(".png", pixels(&print.bytes)?), print];
        for (ending, theme) in [("-16x9-light.png", Theme::LIGHT), ("-16x9-dark.png", Theme::DARK)] {
            if self.kept {
                let svg = self.picture.shaped(&own(theme, accent), Shape::Wide);
                files.push(self.file(ending, pixels(svg.as_bytes())?));
            }
        }
        Ok(files)
    }
}

/// The theme in the team's own colour.
fn own(theme: Theme, accent: Option<Colour>) -> Theme {
    accent.map_or(theme, |accent| theme.accented(accent))
}

/// The page.
pub(super) async fn show(
    State(app): State<App>,
    who: SignedIn,
    wants: Wants,
    Of(piece): Of<Piece>,
) -> Result<Response> {
    let read = ledger(&app.store, piece.id).await?;
    let charts = charts(&app.store, &read).await?;
    let captured = with_captures::bytes(&app.store, piece.id).await?;
    let found = names::of_piece(&app.store, piece.id).await?;
    let page = Pack {
        frame: in_piece(&app, &who, &piece, "Pack", read.evidence.to_review().count()),
        piece: piece.key.clone(),
        agreed: count(&read, |standing| standing == Standing::Agreed),
        figures: count(&read, |standing| standing != Standing::Withdrawn),
        lapsed: count(&read, |standing| standing == Standing::Lapsed),
        disputed: read.figures.iter().filter(|seen| seen.now.disputed).count() as u64,
        flagged: read.evidence.to_review().count() as u64,
        files: files(),
        charts: charts.into_iter().map(Chart::entry).collect(),
        captured: u64::try_from(captured).unwrap_or_default(),
        embargo: embargo(&app, &piece).await?,
        names_found: found.all.len() as u64,
        names: found.all.into_iter().take(NAMES_SHOWN).map(name_entry).collect(),
        not_masked: found.fixed,
        carried: said::warnings(&read.evidence),
        head: read.head.to_string(),
    };
    respond(wants, &page)
}

/// Names in logs that the page lists.
const NAMES_SHOWN: usize = 100;

fn name_entry(named: names::Named) -> NameEntry {
    let more = named.logs.len().saturating_sub(1) as u64;
    let log = named.logs.into_iter().next().unwrap_or_default();
    NameEntry { text: named.text, what: named.what.says().to_owned(), mask: named.mask, log, more }
}

/// What goes along.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub(super) struct Take {
    /// Anything: the captures, and what is needed to read them again.
    captures: String,
    /// Anything: serial numbers of units too.
    serials: String,
    /// Anything: names in logs as they are.
    names: String,
}

/// The zip.
pub(super) async fn download(
    State(app): State<App>,
    _who: SignedIn,
    Of(piece): Of<Piece>,
    Query(take): Query<Take>,
) -> Result<Response> {
    may_leave(&app.store, piece.id, app.clock.now_us()).await?;
    let read = Arc::new(ledger(&app.store, piece.id).await?);
    let told = methods::methods(&mut *app.store.read().await?, &read.evidence, read.head.to_string()).await?;
    let methods = html(&told)?;
    let name = file_name(&piece.fields.name);
    let drawn = (charts(&app.store, &read).await?, accent(&app.store).await?);
    let hide =
        if take.names.is_empty() { names::of_piece(&app.store, piece.id).await? } else { Names::none() };
    let (of, hidden) = (Arc::clone(&read), hide.clone());
    let zip = zip::Zipping::new(app.store.path(), &name)?;
    let mut zip = tokio::task::spawn_blocking(move || pack(zip, &of, &hidden, methods, drawn))
        .await
        .map_err(|e| Internal(format!("packing: {e}")))??;
    if !take.captures.is_empty() {
        zip = with_captures::add(&app.store, &read.evidence, !take.serials.is_empty(), hide, zip).await?;
    }
    let (file, length) = zip.done()?;
    let headers = [
        (CONTENT_TYPE, "application/zip".to_owned()),
        (CONTENT_LENGTH, length.to_string()),
        (CONTENT_DISPOSITION, format!("attachment; filename=\"{name}.zip\"")),
    ];
    let body = Body::from_stream(ReaderStream::new(tokio::fs::File::from_std(file)));
    Ok((headers, body).into_response())
}

fn count(read: &Ledger, of: impl Fn(Standing) -> bool) -> u64 {
    read.figures.iter().filter(|seen| of(seen.state.standing)).count() as u64
}

/// The tables of a pack, in the order of its page.
const TABLES: [About; 10] = [
    tables::CELLS,
    tables::PASSES,
    tables::PASS_MEASURES,
    left_out::ABOUT,
    carried::ABOUT,
    RATIOS,
    prices::ABOUT,
    readers::TOLD,
    readers::WEIGHTS,
    readings::READINGS,
];

/// What is in a pack beside charts.
fn files() -> Vec<FileEntry> {
    let entry = |path: &str, says: &str| FileEntry { path: path.to_owned(), says: says.to_owned() };
    let mut files = vec![
        entry("figures.json", "the figures, each with its digest and who agreed"),
        entry("methods.html", "how the numbers were made, on what, what was left out and why"),
        entry("datapackage.json", "what the tables hold: fields with types and units, keys"),
    ];
    files.extend(TABLES.iter().map(|about| entry(&about.path(), about.says)));
    files.extend([
        entry("charts/font-licence.txt", "licence of the font in the pictures"),
        entry(
            "captures/, state.json",
            "with the captures: their bytes, and what is needed to compute all anew",
        ),
        entry(
            "tracks/, companions/, measures/",
            "with the captures: frames, sensors and measures as Parquet, in part=/scene=/setting=",
        ),
    ]);
    files
}

fn pack(
    mut zip: zip::Zipping,
    read: &Ledger,
    hide: &Names,
    methods: String,
    (charts, accent): (Vec<Chart>, Option<Colour>),
) -> Result<zip::Zipping> {
    let evidence = &read.evidence;
    let asset = |name: &str| assets::bytes(name).map(<[u8]>::to_vec).unwrap_or_default();
    let mut files = vec![
        File::text("figures.json", figures::json(read)),
        File::text("methods.html", methods),
        File { path: "methods.css".to_owned(), bytes: asset("methods.css") },
        File { path: "charts/font-licence.txt".to_owned(), bytes: asset("notosans-licence.txt") },
    ];
    let mut sheets = tables::sheets(evidence, hide)?;
    sheets.push(ratios(&comparisons(evidence)?));
    files.extend(package::files(read, sheets));
    files.iter().try_for_each(|file| zip.add(file))?;
    for chart in charts {
        chart.files(accent)?.iter().try_for_each(|file| zip.add(file))?;
    }
    Ok(zip)
}

/// The comparisons of a pack: averages and the piece's low, at each setting, each part at its stock tuning.
fn comparisons(evidence: &Evidence) -> Result<Vec<Comparison>> {
    let mut found = Vec::new();
    for setting in settings(evidence) {
        for measure in [Measure::AverageFps, evidence.low()] {
            let asked =
                Asked { measure: measure.key().to_owned(), setting: setting.to_string(), ..Asked::default() };
            if let Some(choice) = against::choose(evidence, &asked)? {
                found.push(page::told(evidence, &against::compare(evidence, choice)));
            }
        }
    }
    Ok(found.into_iter().filter(|comparison| comparison.contenders.iter().any(has_ratio)).collect())
}

fn has_ratio(contender: &weighhouse_web::pages::Contender) -> bool {
    contender.scenes.iter().any(|line| line.ratio.is_some())
}

fn settings(evidence: &Evidence) -> BTreeSet<SettingId> {
    evidence.cells.values().map(|cell| cell.cell.of.setting_id).collect()
}

/// What a pack holds of a ledger that the pages make: ratios and charts.
///
/// # Errors
/// When the store fails.
pub async fn drawn(store: &Store, read: &Ledger) -> Result<Drawn> {
    let accent = accent(store).await?;
    let charts = charts(store, read).await?.iter().map(|chart| chart.svg(accent)).collect();
    Ok(Drawn { ratios: ratios(&comparisons(&read.evidence)?), charts })
}

/// Every chart of a pack: averages and ratios at each setting, then those that the piece keeps.
async fn charts(store: &Store, read: &Ledger) -> Result<Vec<Chart>> {
    let (evidence, agreed) = (&read.evidence, figures::agreed(read));
    let draft = |what: &String| !agreed.contains(what);
    let mut charts = Vec::new();
    for setting in settings(evidence) {
        if let Some((mut bars, whats)) = bars::bars(evidence, setting) {
            bars.caption.draft = whats.iter().any(draft);
            let name = file_name(&format!("bars {}", evidence.registers.setting_name(setting)));
            charts.push(Chart::new(name, Box::new(bars), false));
        }
    }
    for comparison in comparisons(evidence)? {
        let name = file_name(&format!("ratios {} {}", comparison.setting, comparison.measure));
        let mut chart = comparison.chart.clone();
        chart.caption.id.clone_from(&name);
        chart.caption.draft = whats(&comparison).any(draft);
        charts.push(Chart::new(name, Box::new(chart), false));
    }
    for (chart, drawn) in kept(store, read).await? {
        if let Ok(drawn) = drawn {
            let name = file_name(&format!("kept {} {}", chart.id, drawn.title));
            charts.push(Chart::new(name, drawn.picture, true));
        }
    }
    Ok(charts)
}

/// The table of ratios.
const RATIOS: About = About {
    name: "ratios",
    says: "a row for each scene and contender, and the overall ratios",
    key: &["measure", "setting", "baseline", "contender", "scene"],
    of_passes: false,
};

fn ratios(comparisons: &[Comparison]) -> Sheet {
    let mut sheet = Sheet::new(
        RATIOS,
        fields(&[
            ("measure", Kind::Words, "identifier of the measure that is compared"),
            ("setting", Kind::Words, "resolution and quality"),
            ("baseline", Kind::Words, "the part that the others are held against"),
            ("contender", Kind::Words, "the other part"),
            (
                "scene",
                Kind::Words,
                "the scene, or 'overall (these scenes)': the geometric mean of their ratios",
            ),
            ("ratio", Kind::Number, "contender divided by baseline"),
            ("interval_low", Kind::Number, "lower end of the 95% interval"),
            ("interval_high", Kind::Number, "upper end of the 95% interval"),
            ("verdict", Kind::Words, "what may be said of it"),
            ("in_overall", Kind::YesNo, "whether the scene is among those of the overall ratio"),
        ]),
    );
    for comparison in comparisons {
        for contender in &comparison.contenders {
            let mut row = |scene: &str, ratio: Option<&weighhouse_web::pages::RatioLine>, counts: bool| {
                let interval = ratio.and_then(|ratio| ratio.interval);
                sheet.row([
                    comparison.measure.clone(),
                    tables::words(&comparison.setting),
                    tables::words(&comparison.baseline),
                    tables::words(&contender.name),
                    tables::words(scene),
                    tables::number(ratio.map(|ratio| ratio.ratio)),
                    tables::number(interval.map(|(low, _)| low)),
                    tables::number(interval.map(|(_, high)| high)),
                    ratio.map_or_else(String::new, |ratio| tables::words(&ratio.verdict)),
                    if counts { "yes" } else { "no" }.to_owned(),
                ]);
            };
            for line in &contender.scenes {
                row(&line.scene, line.ratio.as_ref(), line.out.is_empty());
            }
            row("overall (these scenes)", contender.overall.as_ref().map(|overall| &overall.these), true);
        }
    }
    sheet
}
