//! Charts alone, and the charts that a piece keeps: their list, each with its words and scenes, and as pictures.

mod draw;
mod export;
mod kept;
pub(super) mod spread;
mod strips;

use std::collections::BTreeSet;

use axum::extract::State;
use axum::response::Response;
use weighhouse_web::pages::{Chart, Charts, Field, ScenePlace, Undo};
use weighhouse_web::paths;

pub(super) use draw::whats;
use export::{Export, not_drawn};
pub(super) use kept::kept;

use super::App;
use super::piece_frame::in_piece;
use super::resources::Of;
use super::respond::{Wants, done, done_with, refill, respond};
use super::sent::{self, Sent};
use super::session::{Member, SignedIn};
use crate::store::SettingId;
use crate::store::charts::{self as store, ChartFields, ChartKind, KeptChart};
use crate::store::pieces::Piece;
use crate::work::evidence::Evidence;
use crate::work::figures::ledger::ledger;
use crate::work::figures::value::cell_name;
use crate::work::{Error, Refusal, Result, charts};

/// A chart of a page alone, as a draft: only what is kept goes out as agreed.
pub(super) async fn alone(
    State(app): State<App>,
    _who: SignedIn,
    Of(piece): Of<Piece>,
    sent::Asked(query): sent::Asked,
) -> Result<Response> {
    let export = Export::asked(&query, charts::accent(&app.store).await?)?;
    let evidence = Evidence::of_piece(&app.store, piece.id).await?;
    let evidence = evidence.ok_or_else(|| Refusal::missing("piece", &piece.key))?;
    let drawn = draw::draw(&app.store, &evidence, kind(query.text("of"))?, &query).await?;
    let mut picture = drawn.ok_or_else(|| Refusal::missing("chart of this", &piece.key))?.picture;
    picture.caption().draft = true;
    let title = picture.caption().title.clone();
    export.answer(picture, &title).await
}

fn kind(of: &str) -> Result<ChartKind> {
    let found = ChartKind::ALL.iter().copied().find(|kind| kind.as_str() == of);
    found.ok_or_else(|| {
        let known: Vec<&str> = ChartKind::ALL.iter().map(|kind| kind.as_str()).collect();
        not_drawn(format!("'{of}' is no chart."), format!("It is one of {}.", known.join(", "))).into()
    })
}

/// All kept charts.
pub(super) async fn list(
    State(app): State<App>,
    who: SignedIn,
    wants: Wants,
    Of(piece): Of<Piece>,
) -> Result<Response> {
    respond(wants, &list_page(&app, &who, &piece).await?)
}

async fn list_page(app: &App, who: &SignedIn, piece: &Piece) -> Result<Charts> {
    let read = ledger(&app.store, piece.id).await?;
    let evidence = &read.evidence;
    let names = &evidence.registers;
    let mut lines = Vec::new();
    for (chart, drawn) in kept(&app.store, &read).await? {
        lines.push(kept::line(&chart, &drawn));
    }
    let with_frames = evidence.cells.values().filter(|cell| cell.kept().next().is_some());
    let cells = with_frames.map(|cell| cell.cell.id);
    let settings: BTreeSet<SettingId> = evidence.cells.values().map(|cell| cell.cell.of.setting_id).collect();
    let look = store::look(&mut *app.store.read().await?).await?;
    Ok(Charts {
        frame: in_piece(app, who, piece, "Pack", evidence.to_review().count()),
        piece: piece.key.clone(),
        charts: lines,
        settings: settings.into_iter().map(|id| (id.to_string(), names.setting_name(id))).collect(),
        cells: cells.map(|id| (id.to_string(), cell_name(evidence, id))).collect(),
        accent: Field::of(look.accent),
        look_version: look.version,
        refused: String::new(),
    })
}

/// Keeps a chart: of a page (`asked`: its query), or made of a setting or of two cells.
pub(super) async fn add(
    State(app): State<App>,
    who: Member,
    wants: Wants,
    Of(piece): Of<Piece>,
    sent: Sent,
) -> Result<Response> {
    let asked = asked(&sent);
    let query = Sent::of_query(&asked);
    let kind = kind(query.text("of"))?;
    let evidence = Evidence::of_piece(&app.store, piece.id).await?;
    let evidence = evidence.ok_or_else(|| Refusal::missing("piece", &piece.key))?;
    match draw::draw(&app.store, &evidence, kind, &query).await {
        Ok(Some(_)) => {}
        Ok(None) => return Err(Refusal::missing("chart of this", &piece.key).into()),
        Err(Error::Refused(refusal)) if !refusal.fields.is_empty() => {
            let page = Charts { refused: refusal.says.clone(), ..list_page(&app, &who, &piece).await? };
            return refill(wants, &page, *refusal);
        }
        Err(error) => return Err(error),
    }
    let fields = ChartFields {
        piece_id: piece.id,
        kind,
        asked,
        title: sent.text("title").to_owned(),
        note: sent.text("note").to_owned(),
        scenes: Some(sent.text("scenes")).filter(|text| !text.is_empty()).unwrap_or("[]").to_owned(),
    };
    let id = charts::add(&app.store, sent.by(&who), fields).await?;
    Ok(done(&who, wants, &paths::chart(id.0), "The chart is kept: it goes with the pack."))
}

fn asked(sent: &Sent) -> String {
    if !sent.text("asked").is_empty() {
        return sent.text("asked").to_owned();
    }
    let of = sent.text("of");
    let pairs: Vec<(&str, &str)> = match of {
        "bars" => vec![("of", of), ("setting", sent.text("setting"))],
        _ => vec![("of", of), ("cell", sent.text("cell")), ("cell", sent.text("other"))],
    };
    paths::query(&pairs)
}

/// One kept chart.
pub(super) async fn show(
    State(app): State<App>,
    who: SignedIn,
    wants: Wants,
    Of(chart): Of<KeptChart>,
) -> Result<Response> {
    respond(wants, &page(&app, &who, chart).await?)
}

async fn page(app: &App, who: &SignedIn, chart: KeptChart) -> Result<Chart> {
    let piece = charts::piece_of(&app.store, &chart).await?;
    let read = ledger(&app.store, piece.id).await?;
    let drawn = kept::one(&app.store, &read, &chart).await?;
    let names = &read.evidence.registers;
    let chosen = charts::scenes(&chart.fields);
    let placed =
        |id| chosen.iter().position(|scene| *scene == id).map_or_else(String::new, |at| (at + 1).to_string());
    let choosable = matches!(
        chart.fields.kind,
        ChartKind::Bars | ChartKind::Ratios | ChartKind::Scenes | ChartKind::Across
    );
    let scenes = names.scenes.keys().filter(|_| choosable);
    Ok(Chart {
        frame: in_piece(app, who, &piece, "Pack", read.evidence.to_review().count()),
        piece: piece.key,
        line: kept::line(&chart, &drawn),
        version: chart.version,
        own_title: drawn.map(|drawn| drawn.own_title).unwrap_or_default(),
        title: Field::of(chart.fields.title.clone()),
        note: Field::of(chart.fields.note.clone()),
        scenes: scenes
            .map(|id| ScenePlace { id: id.0, name: names.scene_name(*id), place: placed(*id) })
            .collect(),
        wrong_places: String::new(),
    })
}

/// Changes the words and scenes of a chart.
pub(super) async fn save(
    State(app): State<App>,
    who: Member,
    wants: Wants,
    Of(chart): Of<KeptChart>,
    sent: Sent,
) -> Result<Response> {
    let version = sent.version()?;
    let evidence = Evidence::of_piece(&app.store, chart.fields.piece_id).await?;
    let evidence = evidence.ok_or_else(|| Refusal::missing("piece", chart.fields.piece_id))?;
    let places: std::collections::BTreeMap<_, _> =
        evidence.registers.scenes.keys().map(|id| (*id, sent.text(&format!("place-{id}")))).collect();
    let words = (sent.text("title"), sent.text("note"));
    let place = |id| places.get(&id).copied().unwrap_or_default();
    let read = charts::read(&chart.fields, &evidence.registers, words, place);
    let saved = match read {
        Ok(fields) => charts::edit(&app.store, sent.by(&who), chart.id, version, fields).await,
        Err(error) => Err(error),
    };
    match saved {
        Ok(()) => Ok(done(&who, wants, &paths::chart(chart.id.0), "The chart is saved.")),
        Err(Error::Refused(refusal)) if !refusal.fields.is_empty() => {
            let mut page = page(&app, &who, chart).await?;
            page.title = sent.field("title", &refusal);
            page.note = sent.field("note", &refusal);
            page.wrong_places = refusal.wrong("places").to_owned();
            page.scenes.iter_mut().for_each(|scene| {
                sent.text(&format!("place-{}", scene.id)).clone_into(&mut scene.place);
            });
            refill(wants, &page, *refusal)
        }
        Err(error) => Err(error),
    }
}

/// Takes a chart out.
pub(super) async fn take_out(
    State(app): State<App>,
    who: Member,
    wants: Wants,
    Of(chart): Of<KeptChart>,
    sent: Sent,
) -> Result<Response> {
    let piece = charts::piece_of(&app.store, &chart).await?;
    let gone = charts::take_out(&app.store, sent.by(&who), chart, sent.version()?).await?;
    let fields = [("asked", gone.asked), ("title", gone.title), ("note", gone.note), ("scenes", gone.scenes)];
    let fields = fields.map(|(name, text)| (name.to_owned(), text)).to_vec();
    let undo = Undo { action: paths::charts(&piece.key), fields };
    Ok(done_with(&who, wants, &paths::charts(&piece.key), "The chart is taken out.", Some(undo)))
}

/// A kept chart as a picture.
pub(super) async fn picture(
    State(app): State<App>,
    _who: SignedIn,
    Of(chart): Of<KeptChart>,
    sent::Asked(query): sent::Asked,
) -> Result<Response> {
    let export = Export::asked(&query, charts::accent(&app.store).await?)?;
    let read = ledger(&app.store, chart.fields.piece_id).await?;
    let drawn = kept::one(&app.store, &read, &chart).await?;
    let drawn = drawn.map_err(|says| not_drawn(says, "Choose again on its page.".to_owned()))?;
    export.answer(drawn.picture, &drawn.title).await
}

/// Keeps the team's own colour.
pub(super) async fn look(
    State(app): State<App>,
    who: Member,
    wants: Wants,
    Of(piece): Of<Piece>,
    sent: Sent,
) -> Result<Response> {
    let text = sent.text("accent").to_lowercase();
    match charts::keep_accent(&app.store, sent.by(&who), sent.version()?, &text).await {
        Ok(()) => Ok(done(&who, wants, &paths::charts(&piece.key), "The colour is kept.")),
        Err(Error::Refused(refusal)) if !refusal.fields.is_empty() => {
            let page =
                Charts { accent: sent.field("accent", &refusal), ..list_page(&app, &who, &piece).await? };
            refill(wants, &page, *refusal)
        }
        Err(error) => Err(error),
    }
}
