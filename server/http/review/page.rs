//! The page value of the review, from what was read.

use weighhouse_measure::screens::FlagKind;
use weighhouse_web::charts::{Caption, Lane, Strip};
use weighhouse_web::format::{self, Unit};
use weighhouse_web::pages::{self, Contested, Field, Found, Queued, RuledLine, Said, UnderReview};
use weighhouse_web::paths;

use super::super::App;
use super::super::lane;
use super::super::pass::exact_s;
use super::super::piece_frame;
use super::super::session::SignedIn;
use super::WIDTH;
use crate::store::PersonId;
use crate::store::pieces::Piece;
use crate::store::rulings::Verdict;
use crate::work::evidence::{CellEvidence, PassEvidence, Standing};
use crate::work::review::{self, Look, Reach, Review, Shown, Waiting};
use crate::work::{Result, rule};

/// Frame times beyond this share of the cell's median (per cent) are marked at the edge.
const CUT: f64 = 180.0;

/// The page.
pub(super) async fn of(app: &App, who: &SignedIn, piece: &Piece, look: Look<'_>) -> Result<pages::Review> {
    let read = Review::of_piece(&app.store, piece.id, look).await?;
    let pair = |(out, all)| (count(out), count(all));
    let window = read.pass().map(|(_, _, pass)| pass.row.window());
    let edges = window.map_or(["", ""].map(str::to_owned), |w| [exact_s(w.start_ns), exact_s(w.end_ns)]);
    let [from, to] = edges.map(Field::of);
    Ok(pages::Review {
        frame: piece_frame::in_piece(app, who, piece, "Review", read.evidence.to_review().count()),
        piece: piece.key.clone(),
        ruled: read.ruled().into_iter().map(|(cell, pass)| ruled(&read, cell, pass)).collect(),
        queue: review::queue(&read.evidence).iter().map(|waiting| queued(&read, waiting)).collect(),
        pass: read.pass().map(|(shown, cell, pass)| under_review(&read, shown, cell, pass)),
        contested: read.disputed().map(|(cell, pass)| contested(&read, cell, pass)).collect(),
        settled: read.settled.as_deref().map_or_else(String::new, |key| settled(&read, key)),
        set_aside: read.set_aside().into_iter().map(pair).collect(),
        screened: count(read.evidence.passes().count()),
        screens: FlagKind::ALL.map(FlagKind::name).to_vec(),
        usual_reasons: read.reasons.list.clone(),
        reasons_version: read.reasons.version,
        usual: Field::default(),
        words: Field::default(),
        reach: String::new(),
        shorten: [from, to, Field::default()],
    })
}

fn count(n: usize) -> u64 {
    u64::try_from(n).unwrap_or(u64::MAX)
}

fn queued(read: &Review, waiting: &Waiting<'_>) -> Queued {
    let (cell, pass) = (waiting.cell, waiting.pass);
    let (scene, setting) = review::place(&read.evidence, cell);
    let kinds = pass.flag_kinds();
    Queued {
        key: pass.row.key.clone(),
        scene,
        setting,
        number: pass.row.number,
        rig: pass.row.rig.clone(),
        moves: waiting.moves,
        kinds: kinds.into_iter().filter_map(FlagKind::from_key).map(FlagKind::name).collect(),
        rulings: pass.row.disputed().then(|| rulings(read, pass)),
    }
}

fn ruled(read: &Review, cell: &CellEvidence, pass: &PassEvidence) -> RuledLine {
    let Said { verdict, reason, by } = rulings(read, pass).0;
    RuledLine {
        key: pass.row.key.clone(),
        on: review::named(&read.evidence, cell, pass),
        verdict,
        reason,
        by,
    }
}

/// The ruling that counts meanwhile, and the one beside it.
fn rulings(read: &Review, pass: &PassEvidence) -> (Said, Said) {
    let row = &pass.row;
    let said = |verdict: Option<Verdict>, reason: &Option<String>, by: Option<PersonId>| Said {
        verdict: verdict.map_or_else(String::new, |verdict| verdict.to_string()),
        reason: reason.clone().unwrap_or_default(),
        by: by.and_then(|by| read.people.get(&by)).cloned().unwrap_or_default(),
    };
    (
        said(row.verdict, &row.reason, row.ruled_by),
        said(row.against_verdict, &row.against_reason, row.against_by),
    )
}

fn under_review(read: &Review, shown: &Shown, cell: &CellEvidence, pass: &PassEvidence) -> UnderReview {
    let found = |flag: &weighhouse_measure::screens::Flag| Found {
        kind: flag.kind.key(),
        name: flag.kind.name(),
        says: flag.says.clone(),
        start_ns: flag.start_ns,
        end_ns: flag.end_ns,
    };
    let moves = review::moves(&read.evidence, cell, pass);
    let (key, window) = (pass.row.key.as_str(), pass.row.window());
    let alike = |reach| count(review::alike(&read.evidence, key, reach).len());
    let address = paths::review_strip(&read.evidence.piece.key);
    UnderReview {
        waiting: queued(read, &Waiting { cell, pass, moves }),
        at: shown.at,
        version: rule::version(&pass.row),
        flags: pass.flags.iter().map(found).collect(),
        notices: read.evidence.notices(cell, pass).into_iter().map(|notice| notice.says).collect(),
        before: before(pass),
        lead: review::lead(pass).map_or("", FlagKind::name),
        alike_cell: alike(Reach::Cell),
        alike_scene: alike(Reach::Scene),
        window: format::span_ns(window.start_ns, window.end_ns),
        own_window: pass.row.window_start_ns.is_some(),
        pass_version: pass.row.version,
        strip: strips(shown, cell, key, WIDTH),
        strip_href: paths::with_query(&address, &[("pass", key)]),
        strip_end_s: exact_s(shown.end_ns),
    }
}

fn contested(read: &Review, cell: &CellEvidence, pass: &PassEvidence) -> Contested {
    let (first, second) = rulings(read, pass);
    let moves = review::moves(&read.evidence, cell, pass);
    Contested {
        waiting: queued(read, &Waiting { cell, pass, moves }),
        version: rule::version(&pass.row),
        saw: pass.flag_kinds().into_iter().collect(),
        first,
        second,
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
pub(super) fn strips(shown: &Shown, cell: &CellEvidence, key: &str, width: u32) -> Strip {
    let (own, siblings): (Vec<_>, Vec<_>) = cell.passes.iter().partition(|pass| pass.row.key == key);
    let lane = |each: &&PassEvidence| lane(shown, each, each.row.key == key, Strip::columns(width));
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
        width,
        cut: Some(CUT),
        // Their levels over each other would tell the direction: the siblings stand below.
        lanes: own.iter().chain(&siblings).map(lane).collect(),
    }
}

fn lane(shown: &Shown, pass: &PassEvidence, own: bool, px: u32) -> Lane {
    let note = match pass.standing {
        _ if own => "under review",
        Standing::Sound => "",
        Standing::Flagged => "flagged too",
        Standing::SetAside => "set aside",
        Standing::RunAgain => "run again",
        Standing::Earlier => "earlier",
    };
    let median_ns = shown.median_ms.map(|ms| ms * 1e6).filter(|ns| *ns > 0.0);
    let columns = median_ns.and_then(|_| shown.strips.get(&pass.row.key)).map_or(&[][..], Vec::as_slice);
    let share = |ns: i64| ns as f64 / median_ns.unwrap_or(1.0) * 100.0;
    let mut drawn = lane::frames(pass, columns, px, (Unit::Percent, share));
    if !own {
        drawn.spans.clear();
    }
    Lane { note: note.to_owned(), series: if own { 0 } else { 2 }, ..drawn }
}
