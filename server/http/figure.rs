//! One figure: why this number, its name and rounding, and the second look of who works alone.

use axum::extract::State;
use axum::response::Response;
use weighhouse_measure::compare::Interval;
use weighhouse_web::charts::{Bar, BarGroup, Bars, Caption, Ratio, RatioRow, Ratios, Theme};
use weighhouse_web::format;
use weighhouse_web::pages::{self, CellWhy, FigureBlind, FigureDone, Holds, PassWhy, SittingWhy};
use weighhouse_web::paths;

use super::App;
use super::figures::{frame, line, typed};
use super::marks::mark;
use super::piece_frame::at;
use super::readings::sitting_why;
use super::resources::Of;
use super::respond::{Wants, done, respond};
use super::sent::Sent;
use super::session::{Member, SignedIn};
use crate::store::figures::{Figure, FigureStep};
use crate::work::evidence::{CellEvidence, Evidence, PassEvidence};
use crate::work::figures::ledger::{Ledger, Seen, ledger};
use crate::work::figures::state::{Agreeing, May, may_agree};
use crate::work::figures::value::Valued;
use crate::work::figures::{What, holds, steps, value};
use crate::work::readings;
use crate::work::{Refusal, Result};

/// Who reads, as far as agreeing goes.
pub(super) fn reader(app: &App, who: &SignedIn, read: &Ledger) -> Agreeing {
    let working_alone = read.evidence.piece.fields.working_alone;
    Agreeing { person: who.id(), at_us: app.clock.now_us(), working_alone }
}

/// Why this number.
pub(super) async fn show(
    State(app): State<App>,
    who: SignedIn,
    wants: Wants,
    Of(figure): Of<Figure>,
) -> Result<Response> {
    let read = ledger(&app.store, figure.piece_id).await?;
    let seen = read.figure(&figure.key).ok_or_else(|| Refusal::missing("figure", &figure.key))?;
    respond(wants, &page(&app, &who, &read, seen))
}

fn page(app: &App, who: &SignedIn, read: &Ledger, seen: &Seen) -> pages::Figure {
    let evidence = &read.evidence;
    let reader = reader(app, who, read);
    let line = line(evidence, seen, reader);
    let hidden = line.hidden;
    let valued = seen.valued.as_ref().filter(|_| !hidden);
    let of_passes = seen.what.measure().map(|measure| (measure, value::cells(evidence, &seen.what)));
    pages::Figure {
        frame: frame(app, who, evidence),
        piece: evidence.piece.key.clone(),
        zone: evidence.piece.fields.deadline_zone.clone(),
        what: seen.figure.what.clone(),
        value: valued.map_or_else(String::new, |v| v.full()),
        method: valued.map_or_else(String::new, |v| value::method(evidence, &seen.what, v)),
        marks: valued.map_or_else(Vec::new, |v| v.marks.iter().map(|m| m.words().to_owned()).collect()),
        note: seen.figure.fields.note.clone(),
        places: seen.figure.fields.places,
        version: seen.figure.version,
        holds: if hidden { Vec::new() } else { holds(evidence, seen) },
        cells: of_passes.filter(|_| !hidden).map_or_else(Vec::new, |(measure, cells)| {
            cells.into_iter().map(|cell| why(evidence, cell, measure)).collect()
        }),
        sittings: seen.what.reading().filter(|_| !hidden).map_or_else(Vec::new, |of| sittings(evidence, of)),
        fields: if hidden { Vec::new() } else { seen.fields.0.clone() },
        text: if hidden { String::new() } else { seen.fields.text() },
        history: seen.steps.iter().map(|step| did(step, hidden)).collect(),
        head: read.head.to_string(),
        why_not: match may_agree(&seen.state, &seen.now, reader) {
            May::Not(says) => says.to_owned(),
            May::Another | May::Alone => String::new(),
        },
        asks_password: !who.typed_password_lately(),
        line,
    }
}

fn sittings(evidence: &Evidence, of: readings::Of) -> Vec<SittingWhy> {
    let group = evidence.readings.group(of).map_or_else(Vec::new, |group| group.sittings);
    group.into_iter().map(|sitting| sitting_why(evidence, sitting)).collect()
}

fn holds(evidence: &Evidence, seen: &Seen) -> Vec<Holds> {
    let all = holds::otherwise(evidence, &seen.what, seen.figure.fields.places).into_iter();
    all.map(|one| Holds {
        choice: one.choice,
        shown: one.shown,
        interval: one.interval,
        verdict: one.verdict,
        holds: one.holds,
    })
    .collect()
}

fn did(step: &FigureStep, hidden: bool) -> FigureDone {
    FigureDone {
        step: step.step.as_str().to_owned(),
        by: step.person.clone(),
        at: at(step.at_us),
        shown: if hidden { String::new() } else { step.shown.clone() },
        digest: step.digest.clone(),
        alone: step.alone,
    }
}

fn why(evidence: &Evidence, cell: &CellEvidence, measure: weighhouse_measure::measures::Measure) -> CellWhy {
    let what = What::Cell { measure, cell: cell.cell.id };
    let value = value::value(evidence, &what).map_or_else(
        || format::NOTHING.to_owned(),
        |v| {
            let (shown, interval) = (v.shown(v.places()), v.interval_shown());
            if interval.is_empty() { shown } else { format!("{shown} (95% interval {interval})") }
        },
    );
    CellWhy {
        name: value::cell_name(evidence, cell.cell.id),
        value,
        passes: cell.passes.iter().map(|pass| pass_why(pass, measure)).collect(),
    }
}

fn pass_why(pass: &PassEvidence, measure: weighhouse_measure::measures::Measure) -> PassWhy {
    let row = &pass.row;
    let (unit, scale) = value::unit(measure);
    let window = row.window();
    let ruling = match (&row.verdict, row.reason.as_deref().unwrap_or("")) {
        (None, _) => String::new(),
        (Some(verdict), "") => verdict.to_string(),
        (Some(verdict), reason) => format!("{verdict}: {reason}"),
    };
    let ruling = if row.disputed() { format!("{ruling} (disputed)") } else { ruling };
    PassWhy {
        key: row.key.clone(),
        number: row.number,
        mark: mark(pass),
        value: format::maybe(pass.measures.value(measure).map(|v| v * scale), unit),
        ruling,
        window: format::span_ns(window.start_ns, window.end_ns),
        capture: row.capture.clone(),
        digest: row.digest.clone(),
        on: format!("{}, driver {}, build {}", row.rig, row.driver, row.build),
    }
}

/// Keeps another name, rounding or note.
pub(super) async fn edit(
    State(app): State<App>,
    who: Member,
    wants: Wants,
    Of(figure): Of<Figure>,
    sent: Sent,
) -> Result<Response> {
    steps::edit(&app.store, sent.by(&who), figure.id, sent.version()?, typed(&sent)?).await?;
    Ok(done(&who, wants, &paths::figure(&figure.key), "Saved."))
}

/// The second look: the chart without the figure's value.
pub(super) async fn second_look(
    State(app): State<App>,
    who: Member,
    wants: Wants,
    Of(figure): Of<Figure>,
) -> Result<Response> {
    let read = ledger(&app.store, figure.piece_id).await?;
    let seen = read.figure(&figure.key).ok_or_else(|| Refusal::missing("figure", &figure.key))?;
    respond(wants, &blind(&app, &who, &read, seen))
}

/// The page of the second look.
pub(super) fn blind(app: &App, who: &SignedIn, read: &Ledger, seen: &Seen) -> FigureBlind {
    let why_not = match may_agree(&seen.state, &seen.now, reader(app, who, read)) {
        May::Not(says) => says.to_owned(),
        May::Another => "Another person agrees without a second look.".to_owned(),
        May::Alone => String::new(),
    };
    let unit = seen.valued.as_ref().map_or("", Valued::sign);
    FigureBlind {
        frame: frame(app, who, &read.evidence),
        piece: read.evidence.piece.key.clone(),
        key: seen.figure.key.clone(),
        name: seen.figure.fields.name.clone(),
        digest: seen.now.digest.clone(),
        chart: chart(&read.evidence, seen),
        unit: unit.to_owned(),
        why_not,
        refused: String::new(),
        asks_password: !who.typed_password_lately(),
    }
}

fn chart(evidence: &Evidence, seen: &Seen) -> String {
    let Some(valued) = &seen.valued else { return String::new() };
    let title = seen.figure.fields.name.clone();
    let caption = Caption {
        id: "look".to_owned(),
        desc: title.clone(),
        title,
        foot: vec![value::method(evidence, &seen.what, valued)],
        draft: true,
        ..Caption::default()
    };
    let axis = value::quantity(evidence, &seen.what);
    let Interval { low, high } =
        valued.interval.unwrap_or(Interval { low: valued.value, high: valued.value });
    if valued.is_ratio {
        let ratio = Ratio { value: valued.value, low, high };
        let row = RatioRow {
            name: "ratio".to_owned(),
            note: String::new(),
            ratios: vec![Some(ratio)],
            asked: None,
        };
        let (baseline, contenders) = ("baseline".to_owned(), vec!["contender".to_owned()]);
        return Ratios { caption, baseline, contenders, axis, rows: vec![row], overall: Vec::new() }
            .svg(&Theme::LIGHT);
    }
    let kept = if seen.what.reading().is_some() { "kept repeats" } else { "kept passes" };
    let interval = valued.interval.map(|i| (i.low, i.high));
    let bar = Bar { name: kept.to_owned(), series: 0, average: Some(valued.value), interval, low: None };
    let groups = vec![BarGroup { name: String::new(), bars: vec![bar] }];
    Bars { caption, axis, low: String::new(), unit: valued.unit, groups }.svg(&Theme::LIGHT)
}
