//! Intake of a piece: what waits, which cells it goes to, companions and starts by hand.

use std::collections::BTreeMap;

use axum::extract::{RawQuery, State};
use axum::response::Response;
use weighhouse_measure::recording::Kind as LogKind;
use weighhouse_web::pages::{self, Asking, Becomes, Destination, Undo, Unplaced, Waiting};
use weighhouse_web::{format, paths};

use super::App;
use super::intake_form::Form;
use super::piece_frame::{at, counting};
use super::resources::Of;
use super::respond::{Wants, done, done_with, refill, respond};
use super::sent::Sent;
use super::session::{Member, SignedIn};
use super::upload::log;
use crate::store::captures::Capture;
use crate::store::companions::{CompanionRow, PlacedBy};
use crate::store::passes::PassRow;
use crate::store::pieces::Piece;
use crate::store::registers::cells::CellOf;
use crate::store::{CaptureId, SegmentId};
use crate::work::evidence::Evidence;
use crate::work::intake::become_passes::{self, Assigned};
use crate::work::intake::destinations::destinations;
use crate::work::intake::namesakes::namesakes;
use crate::work::intake::plan::{Chosen, Wish, guess, wish};
use crate::work::intake::{Choices, Intake, pair as by_hand};
use crate::work::understood::Understood;
use crate::work::{Error, Result};

/// The page; with a filled-in form in its query, what the logs would become.
pub(super) async fn show(
    State(app): State<App>,
    who: SignedIn,
    wants: Wants,
    Of(piece): Of<Piece>,
    RawQuery(query): RawQuery,
) -> Result<Response> {
    let form = Form::of_query(query.as_deref().unwrap_or(""));
    respond(wants, &page(&app, &who, &piece, form).await?)
}

async fn page(app: &App, who: &SignedIn, piece: &Piece, mut form: Form) -> Result<pages::Intake> {
    let read = Intake::read(&app.store, piece).await?;
    // An untouched form offers what the names seem to say; what does not fit that is left alone.
    let guessed = form.is_empty();
    if guessed {
        form.offer(guess(&read.choices, read.frames().map(|(one, _)| &one.segment)));
    }
    let chosen = chosen(&mut form)?;
    let wishes = chosen.as_ref().map(|chosen| wishes(&read, &form, chosen)).unwrap_or_default();
    let same = chosen.as_ref().map(|chosen| same(&read, chosen, &wishes)).unwrap_or_default();
    let cells = cells(app, piece, &read.choices, &wishes).await?;
    let (frames, companions) =
        read.waiting.into_iter().partition(|(one, _)| one.segment.kind == LogKind::Frames);
    let rows = |all: Vec<_>| {
        let row = |(one, capture)| waiting(&read.choices, &form, (&wishes, &same), one, &capture);
        by_name(all.into_iter().map(row).collect(), guessed)
    };
    Ok(pages::Intake {
        frame: counting(app, who, piece, "Intake").await?,
        piece: piece.key.clone(),
        rigs: read.choices.rigs.iter().map(|rig| (rig.id.0, rig.fields.name.clone())).collect(),
        curl: curl(app),
        asking: read
            .asking
            .into_iter()
            .map(|(capture, question)| Asking {
                capture: capture.id.0,
                file: capture.name,
                why: question.why,
            })
            .collect(),
        frames: rows(frames),
        cells,
        companions: rows(companions),
        unplaced: read.unplaced.iter().filter_map(|c| unplaced(c, &read.passes, &read.captures)).collect(),
        passes: read.passes.iter().map(|pass| (pass.key.clone(), pass_words(pass))).collect(),
        form: form.shown(&read.choices),
    })
}

/// What the form asks for, if anything; a slip is noted in the form.
fn chosen(form: &mut Form) -> Result<Option<Chosen>> {
    match form.chosen() {
        Ok(chosen) => Ok((!form.is_empty()).then_some(chosen)),
        Err(Error::Refused(refusal)) => {
            form.wrong = (refusal.wrong("pattern").to_owned(), refusal.says);
            Ok(None)
        }
        Err(error) => Err(error),
    }
}

/// Logs by their names; a guess that does not fit one says nothing about it.
fn by_name(mut rows: Vec<Waiting>, guessed: bool) -> Vec<Waiting> {
    for row in rows.iter_mut().filter(|_| guessed) {
        row.becomes = row.becomes.take().filter(|becomes| !matches!(becomes, Becomes::Wrong(_)));
    }
    rows.sort_by(|one, other| one.log.file.cmp(&other.log.file));
    rows
}

fn curl(app: &App) -> String {
    let to = format!("{}{}", app.address(), paths::upload("NAME.csv"));
    format!("curl -T NAME.csv -H 'Authorization: Bearer KEY' -H 'Idempotency-Key: NAME-1' '{to}'")
}

fn waiting(
    choices: &Choices,
    form: &Form,
    (wishes, same): (&Wishes, &BTreeMap<SegmentId, String>),
    one: Understood,
    capture: &Capture,
) -> Waiting {
    let id = one.segment.id;
    let wish = wishes.get(&id);
    let rig = capture.rig_id.and_then(|id| choices.rigs.iter().find(|rig| rig.id == id));
    let by = match (&capture.person, rig) {
        (Some(person), Some(rig)) => format!("{person}, from {}", rig.fields.name),
        (Some(person), None) => person.clone(),
        (None, Some(rig)) => rig.fields.name.clone(),
        (None, None) => "the server".to_owned(),
    };
    Waiting {
        by,
        version: capture.version,
        start: capture.start_us.map(at),
        own: form.own(id),
        ticked: form.ticked.contains(&id) || wish.is_some_and(|wish| wish.is_ok()),
        becomes: wish.map(|wish| match wish {
            Ok(wish) => match same.get(&id) {
                Some(says) => Becomes::Asks(format!("{}; {says}", becomes(choices, wish))),
                None => Becomes::Pass(becomes(choices, wish)),
            },
            Err(says) => Becomes::Wrong(says.clone()),
        }),
        log: log(one),
    }
}

/// What logs would become, or why nothing.
type Wishes = BTreeMap<SegmentId, std::result::Result<Wish, String>>;

/// What each log that the form is about would become: without a tick all are tried, and those that fit are ticked.
fn wishes(read: &Intake, form: &Form, chosen: &Chosen) -> Wishes {
    let asked = |id: SegmentId| form.ticked.is_empty() || form.ticked.contains(&id);
    read.frames()
        .filter(|(one, _)| asked(one.segment.id))
        .map(|(one, capture)| (one.segment.id, wish(&read.choices, chosen, &one.segment, capture)))
        .collect()
}

/// Logs whose names say a pass that another one or a pass of the piece has too.
fn same(read: &Intake, chosen: &Chosen, wishes: &Wishes) -> BTreeMap<SegmentId, String> {
    if chosen.twice {
        return BTreeMap::new();
    }
    let wishes: Vec<Wish> = wishes.values().flatten().copied().collect();
    namesakes(read, chosen, &wishes)
}

/// The cells that logs can be sent to.
async fn cells(app: &App, piece: &Piece, c: &Choices, wishes: &Wishes) -> Result<Vec<Destination>> {
    let Some(evidence) = Evidence::of_piece(&app.store, piece.id).await? else { return Ok(Vec::new()) };
    let coming: Vec<CellOf> = wishes.values().flatten().map(|wish| wish.of).collect();
    let count = |n: usize| u64::try_from(n).unwrap_or(u64::MAX);
    let all = destinations(&evidence, &coming).into_iter().map(|one| Destination {
        tuning: one.cell.of.tuning_id.0,
        scene: one.cell.of.scene_id.0,
        setting: one.cell.of.setting_id.0,
        part: c.tuning_name(one.cell.of.tuning_id),
        at: format!("{}; {}", c.scene_name(one.cell.of.scene_id), c.setting_name(one.cell.of.setting_id)),
        missing: count(one.missing),
        coming: count(one.coming),
        did_not_run: one.cell.did_not_run,
    });
    Ok(all.collect())
}

/// Cell, rig base, unit, driver and build in words.
fn becomes(c: &Choices, wish: &Wish) -> String {
    let cell = c.cell_name(wish.of);
    let base = c.bases.iter().find(|base| base.id == wish.base);
    let rig = base.and_then(|base| c.rigs.iter().find(|rig| rig.id == base.fields.rig_id));
    let rig = rig.map_or("", |rig| rig.fields.name.as_str());
    let from = base.map_or_else(String::new, |b| format::since(at(b.fields.from_us), &b.fields.time_zone));
    let unit = c.units.iter().find(|unit| unit.id == wish.unit).map_or("", |unit| unit.fields.label.as_str());
    let driver = c.drivers.iter().find(|d| d.id == wish.driver).map_or("", |d| d.fields.name.as_str());
    let build = c.builds.iter().find(|b| b.id == wish.build).map_or("", |b| b.fields.name.as_str());
    let add = if c.in_piece(wish.of) { "" } else { " (the cell is added to the piece)" };
    let against = if wish.against_name { ", otherwise than its name says" } else { "" };
    format!("{cell}{against}{add}; on {rig} as from {from}, unit {unit}, driver {driver}, build {build}")
}

fn pass_words(pass: &PassRow) -> String {
    format!("{}, pass {} of its cell", pass.capture, pass.number)
}

/// The capture whose start is not known is the frames' where they have no clock, else the companion's.
fn unplaced(companion: &CompanionRow, passes: &[PassRow], captures: &[Capture]) -> Option<Unplaced> {
    let pass = passes.iter().find(|pass| pass.id == companion.pass_id)?;
    let frames = captures.iter().find(|capture| capture.id == pass.capture_id)?;
    let timed = pass.wall_start_ns.is_some() || frames.start_us.is_some();
    let own = captures.iter().find(|capture| capture.digest == companion.digest)?;
    let wanting = if timed { own } else { frames };
    Some(Unplaced {
        file: companion.capture.clone(),
        pass: pass.key.clone(),
        frames: pass.capture.clone(),
        capture: wanting.id.0,
        wanting: wanting.name.clone(),
        version: wanting.version,
    })
}

/// Makes passes of the ticked logs.
pub(super) async fn assign(
    State(app): State<App>,
    who: Member,
    wants: Wants,
    Of(piece): Of<Piece>,
    sent: Sent,
) -> Result<Response> {
    let mut form = Form::of_sent(&sent);
    let made = match form.chosen() {
        Ok(chosen) => {
            let by = sent.by(&who);
            become_passes::assign(&app.store, &app.chance, by, &piece, &form.ticked, &chosen).await
        }
        Err(error) => Err(error),
    };
    match made {
        Ok(assigned) => {
            let fields = assigned.keys.iter().map(|key| ("pass".to_owned(), key.clone())).collect();
            let undo = Undo { action: paths::take_back(&piece.key), fields };
            Ok(done_with(&who, wants, &paths::intake(&piece.key), says(&assigned), Some(undo)))
        }
        Err(Error::Refused(refusal)) if !refusal.fields.is_empty() => {
            form.wrong = (refusal.wrong("pattern").to_owned(), refusal.says.clone());
            refill(wants, &page(&app, &who, &piece, form).await?, *refusal)
        }
        Err(error) => Err(error),
    }
}

/// How many passes were made, which companions were paired, and which of them stand nowhere yet.
fn says(assigned: &Assigned) -> String {
    let count = |n: usize| u64::try_from(n).unwrap_or(u64::MAX);
    let mut says = format!("{} made.", format::plural(count(assigned.keys.len()), "pass", "passes"));
    let (nowhere, placed): (Vec<_>, Vec<_>) = assigned.companions.iter().partition(|(_, by)| by.is_empty());
    if !placed.is_empty() {
        says += &format!(
            " {} paired by name and placed.",
            format::plural(count(placed.len()), "companion", "companions")
        );
    }
    if !nowhere.is_empty() {
        let names: Vec<&str> = nowhere.iter().map(|(name, _)| name.as_str()).collect();
        says += &format!(" Paired but not placed, since a start is not known: {}.", names.join(", "));
    }
    if !assigned.declared.is_empty() {
        says += &format!(" The piece declares these drivers from now on: {}.", assigned.declared.join(", "));
    }
    says
}

/// Takes back passes that were made just now.
pub(super) async fn take_back(
    State(app): State<App>,
    who: Member,
    wants: Wants,
    Of(piece): Of<Piece>,
    sent: Sent,
) -> Result<Response> {
    let keys = sent.all("pass").map(str::to_owned).collect();
    let n = become_passes::take_back(&app.store, sent.by(&who), keys).await?;
    let passes = format::plural(u64::try_from(n).unwrap_or(u64::MAX), "pass", "passes");
    Ok(done(&who, wants, &paths::intake(&piece.key), format!("{passes} taken back: the logs wait again.")))
}

/// Gives a pass a waiting companion.
pub(super) async fn pair(
    State(app): State<App>,
    who: Member,
    wants: Wants,
    Of(piece): Of<Piece>,
    sent: Sent,
) -> Result<Response> {
    let segment = SegmentId(sent.read("segment", "a number of a log segment")?);
    let placed = by_hand::pair(&app.store, sent.by(&who), sent.text("pass").to_owned(), segment).await?;
    let says = match placed {
        PlacedBy::Nobody => "Paired, not placed: say when the log without a wall clock began.".to_owned(),
        by => format!("Paired and placed by {by}."),
    };
    Ok(done(&who, wants, &paths::intake(&piece.key), says))
}

/// Notes when a log without a wall clock began.
pub(super) async fn give_start(
    State(app): State<App>,
    who: Member,
    wants: Wants,
    Of(piece): Of<Piece>,
    sent: Sent,
) -> Result<Response> {
    let capture = CaptureId(sent.read("capture", "a number of a capture")?);
    let start = sent.text("start").to_owned();
    let n = by_hand::give_start(&app.store, sent.by(&who), capture, sent.version()?, start).await?;
    let placed = format::plural(u64::try_from(n).unwrap_or(u64::MAX), "companion", "companions");
    Ok(done(&who, wants, &paths::intake(&piece.key), format!("The start is kept; {placed} placed by it.")))
}
