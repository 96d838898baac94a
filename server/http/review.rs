//! Review: the queue of flagged passes, and rulings on them. What would tell the part stays out of its answers until
//! a pass is ruled.

use axum::extract::{Query, State};
use axum::response::Response;
use serde::Deserialize;
use weighhouse_measure::screens::FlagKind;
use weighhouse_web::charts::{Caption, Lane, Strip};
use weighhouse_web::format::Unit;
use weighhouse_web::pages::{self, Field, Found, Queued, UnderReview, Undo};
use weighhouse_web::paths;

use super::App;
use super::lane;
use super::piece_frame;
use super::resources::Of;
use super::respond::{Wants, done, done_with, refill, respond};
use super::sent::Sent;
use super::session::{Member, SignedIn};
use crate::store::pieces::Piece;
use crate::store::rulings::Verdict;
use crate::work::evidence::{CellEvidence, PassEvidence, Standing};
use crate::work::review::{self, Review, Ruled, Shown};
use crate::work::rule::{self, NewRuling, USUAL_REASONS};
use crate::work::{Error, Kind, Result};

/// Width of the strips, picture units.
const WIDTH: u32 = 1080;
/// Frame times beyond this share of the cell's median (per cent) are marked at the edge.
const CUT: f64 = 180.0;

/// Which pass to look at: its key; the worst one without.
#[derive(Debug, Default, Deserialize)]
pub(super) struct Asked {
    pass: Option<String>,
}

/// The page.
pub(super) async fn show(
    State(app): State<App>,
    who: SignedIn,
    wants: Wants,
    Of(piece): Of<Piece>,
    Query(asked): Query<Asked>,
) -> Result<Response> {
    respond(wants, &page(&app, &who, &piece, asked.pass.as_deref()).await?)
}

/// Rules on a pass; the next one is up then. Or takes the ruling that stands back.
pub(super) async fn rule(
    State(app): State<App>,
    who: Member,
    wants: Wants,
    Of(piece): Of<Piece>,
    sent: Sent,
) -> Result<Response> {
    let key = sent.text("pass");
    if sent.text("do") == UNDO {
        let stands = review::undo(&app.store, sent.by(&who), piece.id, key, sent.version()?).await?;
        let to = paths::with_query(&paths::review(&piece.key), &[("pass", key)]);
        return Ok(done(&who, wants, &to, taken_back(stands)));
    }
    let ruling = NewRuling {
        verdict: rule::verdict(sent.text("verdict"))?,
        reason: reason(&sent),
        saw: saw(&sent),
        version: sent.version()?,
    };
    let why = ruling.reason.clone();
    match review::rule(&app.store, sent.by(&who), piece.id, key, ruling).await {
        Ok(ruled) => Ok(told(&who, wants, (&piece.key, key), &ruled, &why)),
        Err(Error::Refused(refusal)) if refusal.kind == Kind::Invalid => {
            let mut page = page(&app, &who, &piece, Some(key)).await?;
            page.usual = Field::of(sent.text("usual"));
            page.words = sent.field("reason", &refusal);
            refill(wants, &page, *refusal)
        }
        Err(error) => Err(error),
    }
}

/// What a form that takes a ruling back sends as `do`.
pub(super) const UNDO: &str = "undo";

/// Fields of the form that takes back the ruling of this version.
pub(super) fn undoing(version: i64) -> [(&'static str, String); 2] {
    [("do", UNDO.to_owned()), ("version", version.to_string())]
}

/// What stands after a ruling was taken back.
pub(super) fn taken_back(stands: Verdict) -> String {
    match stands {
        Verdict::Open => "Taken back: the pass is as before its first ruling.".to_owned(),
        stands => format!("Taken back: the ruling before it, '{stands}', stands again."),
    }
}

/// The chosen usual reason, the words behind it, or both.
fn reason(sent: &Sent) -> String {
    let texts = [sent.text("usual"), sent.text("reason")];
    texts.into_iter().filter(|text| !text.is_empty()).collect::<Vec<_>>().join(": ")
}

/// Kinds of flag that the form showed, each once.
fn saw(sent: &Sent) -> Vec<String> {
    let mut saw: Vec<String> = sent.all("saw").map(str::to_owned).collect();
    saw.sort();
    saw.dedup();
    saw
}

/// Says what was ruled, on which part, with undo; the next pass is up.
fn told(who: &SignedIn, wants: Wants, (piece, key): (&str, &str), ruled: &Ruled, why: &str) -> Response {
    let review = paths::review(piece);
    let verb = match ruled.verdict {
        Verdict::Keep => "Kept",
        Verdict::SetAside => "Set aside",
        Verdict::RunAgain => "To be run again",
        Verdict::Open => "Opened again",
    };
    let why = if why.is_empty() { String::new() } else { format!(": {why}") };
    let fields = [("pass", key.to_owned())].into_iter().chain(undoing(ruled.version));
    let fields = fields.map(|(name, value)| (name.to_owned(), value)).collect();
    let to = paths::with_query(&review, &[("pass", ruled.next.as_deref().unwrap_or(""))]);
    let undo = Undo { action: review, fields };
    done_with(who, wants, &to, format!("{verb}: {}{why}.", ruled.on), Some(undo))
}

async fn page(app: &App, who: &SignedIn, piece: &Piece, asked: Option<&str>) -> Result<pages::Review> {
    let read = Review::of_piece(&app.store, piece.id, asked, Strip::columns(WIDTH)).await?;
    let pair = |(out, all)| (count(out), count(all));
    Ok(pages::Review {
        frame: piece_frame::in_piece(app, who, piece, "Review", read.queue.len()),
        piece: piece.key.clone(),
        ruled: count(read.ruled()),
        queue: review::queue(&read.evidence)
            .into_iter()
            .map(|(cell, pass)| waiting(&read, cell, pass))
            .collect(),
        pass: read.pass().map(|(shown, cell, pass)| under_review(&read, shown, cell, pass)),
        settled: read.settled.as_deref().map_or_else(String::new, |key| settled(&read, key)),
        set_aside: read.set_aside().into_iter().map(pair).collect(),
        screened: count(read.evidence.passes().count()),
        screens: FlagKind::ALL.map(FlagKind::name).to_vec(),
        usual_reasons: USUAL_REASONS.to_vec(),
        usual: Field::default(),
        words: Field::default(),
    })
}

fn count(n: usize) -> u64 {
    u64::try_from(n).unwrap_or(u64::MAX)
}

fn waiting(read: &Review, cell: &CellEvidence, pass: &PassEvidence) -> Queued {
    let (scene, setting) = review::place(&read.evidence, cell);
    let kinds = pass.flag_kinds();
    Queued {
        key: pass.row.key.clone(),
        scene,
        setting,
        number: pass.row.number,
        rig: pass.row.rig.clone(),
        moves: pass.flags.iter().filter_map(|flag| flag.moves).reduce(f64::max),
        kinds: kinds.into_iter().filter_map(FlagKind::from_key).map(FlagKind::name).collect(),
    }
}

fn under_review(read: &Review, shown: &Shown, cell: &CellEvidence, pass: &PassEvidence) -> UnderReview {
    let found = |flag: &weighhouse_measure::screens::Flag| Found {
        kind: flag.kind.key(),
        name: flag.kind.name(),
        says: flag.says.clone(),
        start_ns: flag.start_ns,
        end_ns: flag.end_ns,
        moves: flag.moves,
    };
    UnderReview {
        waiting: waiting(read, cell, pass),
        at: shown.at,
        version: rule::version(&pass.row),
        flags: pass.flags.iter().map(found).collect(),
        notices: read.evidence.notices(cell, pass).into_iter().map(|notice| notice.says).collect(),
        before: before(pass),
        strip: strips(shown, cell, pass),
    }
}

fn before(pass: &PassEvidence) -> String {
    match (pass.row.verdict, pass.row.reason.as_deref().unwrap_or("")) {
        (Some(Verdict::Keep), "") => "It was kept before; a new kind of flag opened it again.".to_owned(),
        (Some(Verdict::Keep), why) => {
            format!("It was kept before ('{why}'); a new kind of flag opened it again.")
        }
        _ => String::new(),
    }
}

/// What became of a pass that waits no more. A ruled one may be named.
fn settled(read: &Review, key: &str) -> String {
    let Some((cell, pass)) = read.evidence.pass(key) else { return String::new() };
    match (pass.row.verdict, pass.row.ruled_by.and_then(|by| read.people.get(&by))) {
        (Some(verdict), Some(by)) if verdict != Verdict::Open => {
            let why = pass.row.reason.as_deref().filter(|why| !why.is_empty());
            let why = why.map_or_else(String::new, |why| format!(" ({why})"));
            let on = review::named(&read.evidence, cell, pass);
            format!("{by} ruled '{verdict}'{why} on {on}; it waits no more.")
        }
        _ => "The pass that was asked for has no flag and waits for no ruling.".to_owned(),
    }
}

/// The pass and its siblings, frame times as a share of the cell's median: an absolute level would tell the part.
fn strips(shown: &Shown, cell: &CellEvidence, pass: &PassEvidence) -> Strip {
    let (own, siblings): (Vec<_>, Vec<_>) = cell.passes.iter().partition(|p| p.row.id == pass.row.id);
    let lane = |each: &&PassEvidence| lane(shown, each, each.row.id == pass.row.id);
    Strip {
        caption: Caption {
            id: "strip".to_owned(),
            title: String::new(),
            subtitle: "Frame time in % of the cell's median frame time; longer is slower.".to_owned(),
            desc: "The flagged pass above, the other passes of its cell below, on one time axis.".to_owned(),
            ..Caption::default()
        },
        from_ns: shown.stretch.start_ns,
        to_ns: shown.stretch.end_ns,
        width: WIDTH,
        cut: Some(CUT),
        lanes: own.iter().chain(&siblings).map(lane).collect(),
    }
}

fn lane(shown: &Shown, pass: &PassEvidence, own: bool) -> Lane {
    let note = match pass.standing {
        _ if own => "under review",
        Standing::Sound => "",
        Standing::Flagged => "flagged too",
        Standing::SetAside => "set aside",
        Standing::RunAgain => "run again",
    };
    let median_ns = shown.median_ms.map(|ms| ms * 1e6).filter(|ns| *ns > 0.0);
    let columns = median_ns.and_then(|_| shown.strips.get(&pass.row.key)).map_or(&[][..], Vec::as_slice);
    let share = |ns: i64| ns as f64 / median_ns.unwrap_or(1.0) * 100.0;
    let mut drawn = lane::frames(pass, columns, Strip::columns(WIDTH), (Unit::Percent, share));
    if !own {
        drawn.spans.clear();
    }
    Lane { note: note.to_owned(), series: if own { 0 } else { 2 }, ..drawn }
}
