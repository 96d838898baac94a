//! How the team's kinds of log are read; reading them otherwise, with what follows shown before it is done.

use axum::extract::State;
use axum::response::Response;
use weighhouse_measure::intake::{Layout, StampAt};
use weighhouse_measure::recording::{Kind, Role};
use weighhouse_web::pages::{
    self, Anew, Lapsing, LayoutLine, LayoutRead, LayoutSure, LayoutVersion, Layouts,
};
use weighhouse_web::{format, logs, paths};

use super::App;
use super::layout::columns;
use super::piece_frame::{at, now};
use super::resources::Of;
use super::respond::{Wants, done, refill, respond};
use super::sent::Sent;
use super::session::{Member, SignedIn};
use crate::store::layouts::LayoutRow;
use crate::work::figures::ledger::Seen;
use crate::work::layouts::{self, Listed, One, Tried};
use crate::work::take_in::Corrected;
use crate::work::{Error, Result};

const HERE: &str = "Layouts";

/// All of them.
pub(super) async fn list(State(app): State<App>, who: SignedIn, wants: Wants) -> Result<Response> {
    let layouts = layouts::list(&app.store).await?.into_iter().map(line).collect();
    respond(wants, &Layouts { frame: who.frame(HERE), now: now(&app), layouts })
}

/// One of them.
pub(super) async fn show(
    State(app): State<App>,
    who: SignedIn,
    wants: Wants,
    Of(row): Of<LayoutRow>,
) -> Result<Response> {
    respond(wants, &page(&who, layouts::one(&app.store, row).await?, String::new()))
}

/// Shows what would follow from another reading; once a person is sure, reads the logs again.
pub(super) async fn correct(
    State(app): State<App>,
    who: Member,
    wants: Wants,
    Of(row): Of<LayoutRow>,
    sent: Sent,
) -> Result<Response> {
    let one = layouts::one(&app.store, row.clone()).await?;
    let version = sent.version()?;
    let said = columns(&sent).and_then(|(kind, columns)| {
        layouts::otherwise(&one.listed.layout, kind, &columns, said_beyond(&sent))
    });
    let layout = match said {
        Ok(layout) => layout,
        Err(Error::Refused(refusal)) if !refusal.fields.is_empty() => {
            return refill(wants, &page(&who, one, refusal.says.clone()), *refusal);
        }
        Err(error) => return Err(error),
    };
    if !sent.ticked("sure") {
        return respond(wants, &sure(&app, &who, one, layout).await?);
    }
    let corrected = app.take_in.correct(sent.by(&who), &row, version, layout).await?;
    Ok(done(&who, wants, &paths::layouts(), says(&corrected)))
}

/// What reading again came to, in a sentence or two.
fn says(corrected: &Corrected) -> String {
    let logs = |n: usize| format::plural(u64::try_from(n).unwrap_or(u64::MAX), "log", "logs");
    let mut says = vec![format!("{} read again.", logs(corrected.logs))];
    if corrected.answered > 0 {
        says.push(format!("{} that had waited for an answer read too.", logs(corrected.answered)));
    }
    if !corrected.stayed.is_empty() {
        let each = corrected.stayed.iter().map(|(file, why)| format!("{file}: {why}"));
        says.push(format!(
            "{} as before: {}",
            logs(corrected.stayed.len()),
            each.collect::<Vec<_>>().join(" ")
        ));
    }
    says.join(" ")
}

fn page(who: &SignedIn, one: One, refused: String) -> LayoutRead {
    let capture = one.listed.used.as_ref().map(|used| used.newest.0);
    let version = |other: Listed| LayoutVersion { made: at(other.row.made_us), layout: line(other) };
    LayoutRead {
        frame: who.frame(HERE),
        layout: line(one.listed),
        newest: one.newest,
        rows: one.rows,
        capture,
        versions: one.others.into_iter().map(version).collect(),
        refused,
    }
}

async fn sure(app: &App, who: &SignedIn, one: One, layout: Layout) -> Result<LayoutSure> {
    let tried = layouts::tried(&app.store, &app.take_in, &one.listed.row, &layout).await?;
    let lapsing = layouts::lapsing(&app.store, &one.listed.row).await?;
    Ok(LayoutSure {
        frame: who.frame(HERE),
        layout: line(one.listed),
        newest: one.newest,
        kind: layout.kind,
        beyond: beyond(&layout),
        columns: layout.columns,
        anew: tried.into_iter().map(anew).collect(),
        lapsing: lapsing.into_iter().map(lapse).collect(),
    })
}

fn line(listed: Listed) -> LayoutLine {
    let used = listed.used.as_ref();
    let count = |n: Option<i64>| n.and_then(|n| u64::try_from(n).ok()).unwrap_or(0);
    LayoutLine {
        id: listed.row.id.0,
        kind: listed.layout.kind,
        beyond: beyond(&listed.layout),
        columns: listed.layout.columns,
        version: listed.row.version,
        by: listed.by,
        logs: count(used.map(|used| used.logs)),
        passes: count(used.map(|used| used.passes)),
        last: used.map(|used| at(used.last_us)),
        file: used.map_or_else(String::new, |used| used.file.clone()),
        remembered: listed.remembered,
    }
}

/// What a layout says beside its columns, where it has a say.
fn beyond(layout: &Layout) -> pages::Beyond {
    let named = layout.column(Role::Program).is_some();
    pages::Beyond {
        at_end: layout.clock.map(|_| layout.stamp_at == StampAt::End),
        program: named.then(|| layout.only.as_ref().map_or_else(String::new, |only| only.is.clone())),
        dropped_count: layout.dropped.map(|dropped| dropped.counts),
    }
}

fn said_beyond(sent: &Sent) -> layouts::Beyond {
    let stamp_at = match sent.text("stamp") {
        "start" => Some(StampAt::Start),
        "end" => Some(StampAt::End),
        _ => None,
    };
    let program = sent.names().any(|name| name == "program").then(|| sent.text("program").to_owned());
    let dropped_count = match sent.text("dropped") {
        "count" => Some(true),
        "join" => Some(false),
        _ => None,
    };
    layouts::Beyond { stamp_at, program, dropped_count }
}

fn anew(tried: Tried) -> Anew {
    let now = gives(tried.now.iter().map(|s| (s.kind, s.rows, s.span_ns)));
    let (then, stays) = match tried.then {
        Ok(then) => (gives(then.iter().map(|s| (s.kind, s.rows, s.span_ns))), false),
        Err(why) => (why, true),
    };
    Anew { file: tried.file, now, then, stays }
}

/// What the stretches of a log hold together.
fn gives(stretches: impl Iterator<Item = (Kind, i64, i64)>) -> String {
    let (mut kind, mut rows, mut span_ns) = (Kind::Frames, 0, 0);
    for (of, n, ns) in stretches {
        (kind, rows, span_ns) = (of, rows + n, span_ns + ns);
    }
    let (rows, seconds) = (u64::try_from(rows).unwrap_or(0), logs::seconds(span_ns));
    logs::size(kind, rows, seconds, (kind == Kind::Frames && span_ns > 0).then(|| logs::rate(rows, seconds)))
}

fn lapse((piece, seen): (String, Seen)) -> Lapsing {
    Lapsing {
        piece,
        shown: seen.now.shown.unwrap_or_default(),
        figure: seen.figure.key,
        name: seen.figure.fields.name,
        standing: seen.state.standing,
    }
}
