//! Soaks: what a sensor log without frames shows of heat, and the form that says that a log is one.

use axum::extract::State;
use axum::response::Response;
use jiff::Timestamp;
use weighhouse_measure::readings::soak::Steady;
use weighhouse_measure::recording::{Role, Window};
use weighhouse_web::charts::{Caption, Lane, Span, SpanKind, Strip, Theme};
use weighhouse_web::format::{self, Unit};
use weighhouse_web::pages::{self, Field, Frame, SoakLine};
use weighhouse_web::paths;

use super::App;
use super::lane;
use super::pass::WIDTH;
use super::piece_frame::in_piece;
use super::readings::{HERE, form_page, read};
use super::resources::Of;
use super::respond::{Wants, done, refill, respond};
use super::sent::Sent;
use super::session::{Member, SignedIn};
use crate::store::pieces::Piece;
use crate::store::registers::rigs::Enclosure;
use crate::store::segments::SegmentRow;
use crate::store::soaks::Soak;
use crate::work::evidence::Evidence;
use crate::work::figures::value::cell_name;
use crate::work::pass::{Beside, sampled};
use crate::work::readings::keep::choices;
use crate::work::readings::parts;
use crate::work::registers::Typed;
use crate::work::soaks::{self, Shown};
use crate::work::{Error, Result};

/// Passes within this of a soak are named beside it: half a day, ns.
const NEAR_NS: i64 = 12 * 3_600_000_000_000;
/// Nanoseconds in a second.
const NS_PER_S: f64 = 1e9;

/// The form.
pub(super) async fn ask(
    State(app): State<App>,
    who: Member,
    wants: Wants,
    (Of(piece), Of(log)): (Of<Piece>, Of<SegmentRow>),
) -> Result<Response> {
    let evidence = read(&app, &piece).await?;
    let page = form(&app, &who, &evidence, &log, |_| Field::default()).await?;
    let cannot = match soaks::can_be(&app.store, &log).await {
        Ok(()) => String::new(),
        Err(Error::Refused(refusal)) => format!("{} {}", refusal.says, refusal.mend),
        Err(error) => return Err(error),
    };
    respond(wants, &pages::SoakNew { cannot, ..page })
}

/// Says that a log is a soak.
pub(super) async fn add(
    State(app): State<App>,
    who: Member,
    wants: Wants,
    (Of(piece), Of(log)): (Of<Piece>, Of<SegmentRow>),
    sent: Sent,
) -> Result<Response> {
    let evidence = read(&app, &piece).await?;
    let choices = choices(&app.store, &evidence).await?;
    let text = |field: &str| sent.text(field);
    let added = match soaks::typed(&choices, &log, app.clock.now_us(), Typed::new(&text)) {
        Ok(fields) => soaks::add(&app.store, &app.chance, sent.by(&who), &log, fields).await,
        Err(error) => Err(error),
    };
    match added {
        Ok(key) => Ok(done(&who, wants, &paths::soak(&piece.key, &key), "The log is a soak.")),
        Err(Error::Refused(refusal)) if !refusal.fields.is_empty() => {
            let page = form(&app, &who, &evidence, &log, |name| sent.field(name, &refusal)).await?;
            refill(wants, &page, *refusal)
        }
        Err(error) => Err(error),
    }
}

async fn form(
    app: &App,
    who: &SignedIn,
    evidence: &Evidence,
    log: &SegmentRow,
    field: impl Fn(&'static str) -> Field,
) -> Result<pages::SoakNew> {
    let choices = choices(&app.store, evidence).await?;
    let mut run = form_page(app, who, (evidence, &choices), None, field);
    let frame = std::mem::take(&mut run.frame);
    Ok(pages::SoakNew { frame, run, log: log.id.0, file: log.capture.clone(), cannot: String::new() })
}

/// Puts the log of a soak back to the intake.
pub(super) async fn take_back(
    State(app): State<App>,
    who: Member,
    wants: Wants,
    (Of(piece), Of(soak)): (Of<Piece>, Of<Soak>),
    sent: Sent,
) -> Result<Response> {
    soaks::take_back(&app.store, sent.by(&who), &soak, sent.version()?).await?;
    let says = format!("{} waits at Intake again.", soak.capture);
    Ok(done(&who, wants, &paths::readings(&piece.key), says))
}

/// What a soak shows.
pub(super) async fn show(
    State(app): State<App>,
    who: SignedIn,
    wants: Wants,
    (Of(piece), Of(soak)): (Of<Piece>, Of<Soak>),
) -> Result<Response> {
    let evidence = read(&app, &piece).await?;
    let shown = soaks::shown(&app.store, &soak).await?;
    let frame = in_piece(&app, &who, &piece, HERE, evidence.to_review().count());
    respond(wants, &page(frame, &evidence, &soak, &shown))
}

/// The soaks of a piece's parts, a line each.
pub(super) async fn lines(app: &App, evidence: &Evidence) -> Result<Vec<SoakLine>> {
    let parts = parts(evidence);
    let ours = |tuning| evidence.part_of(tuning).is_some_and(|part| parts.contains(&part));
    let mut lines = Vec::new();
    for soak in soaks::of_tunings(&app.store, ours).await? {
        lines.push(line(evidence, &soak, &soaks::shown(&app.store, &soak).await?));
    }
    Ok(lines)
}

fn line(evidence: &Evidence, soak: &Soak, shown: &Shown) -> SoakLine {
    let stands = evidence.registers.bases.get(&soak.fields.rig_base_id).map(|base| base.fields.enclosure);
    let stands = match stands {
        Some(Enclosure::OpenBench) => "open bench",
        Some(Enclosure::Case) => "in a case",
        Some(Enclosure::NotSaid) | None => "case or open bench not said",
    };
    let (steady, from) = match shown.steady {
        Steady::Holds { near_s, value, .. } => (format::value(value, Unit::C), format::minutes(near_s)),
        Steady::NotYet { .. } => (format::NOTHING.to_owned(), "not yet steady".to_owned()),
        Steady::TooShort => (format::NOTHING.to_owned(), "too short to say".to_owned()),
    };
    SoakLine {
        key: soak.key.clone(),
        subject: evidence.registers.tuning_name(soak.fields.tuning_id),
        place: format!("{}, {stands}", soak.rig),
        began: soak.wall_start_ns.and_then(|ns| Timestamp::from_nanosecond(ns.into()).ok()),
        steady,
        from,
        notices: notices(shown),
    }
}

fn notices(shown: &Shown) -> Vec<String> {
    let throttles = shown.throttles.iter().map(|one| {
        let clock = shown.recording.track(Role::Clock).is_some();
        let what = if clock { "clock" } else { "power" };
        let falls = format::printed(one.falls * 100.0, 1, Unit::Percent);
        format!("Throttles from {} on: {what} {falls} lower", format::minutes(one.from_s))
    });
    let gaps = shown.gaps.iter().map(|(from, to)| {
        format!("Gap from {} to {}: nothing was logged", format::minutes(*from), format::minutes(*to))
    });
    throttles.chain(gaps).collect()
}

fn page(frame: Frame, evidence: &Evidence, soak: &Soak, shown: &Shown) -> pages::Soak {
    let unit = soak.unit.clone();
    let driver = evidence.registers.drivers.get(&soak.fields.driver_id);
    let ambient = soak.fields.ambient_c.as_ref();
    let lines = [
        ("Unit", Some(unit)),
        ("Driver", driver.map(|driver| driver.fields.name.clone())),
        ("Air before the cooler", ambient.map(|text| format::text_in(text, Unit::C.sign()))),
        ("Ran", Some(soak.fields.note.clone()).filter(|note| !note.is_empty())),
    ];
    pages::Soak {
        frame,
        piece: evidence.piece.key.clone(),
        zone: evidence.piece.fields.deadline_zone.clone(),
        line: line(evidence, soak, shown),
        file: soak.capture.clone(),
        chart: drawn(soak, shown).svg(&Theme::LIGHT),
        told: told(soak, shown),
        around: lines.into_iter().filter_map(|(label, text)| Some((label.to_owned(), text?))).collect(),
        passes: near(evidence, soak),
        as_reading: as_reading(evidence, soak, shown),
        version: soak.version,
    }
}

/// Where it holds, how far over the air, and how hot it was at most.
fn told(soak: &Soak, shown: &Shown) -> Vec<String> {
    let mut said = Vec::new();
    match shown.steady {
        Steady::Holds { near_s, from_s, to_s, value, interval } => {
            let [low, high] = [interval.low, interval.high].map(|end| format::fixed(end, 1));
            said.push(format!(
                "It holds {} (95% interval of the mean {}), and is within a kelvin of it from {} on.",
                format::value(value, Unit::C),
                format::text_in(&format!("{low} to {high}"), Unit::C.sign()),
                format::minutes(near_s),
            ));
            said.push(format!(
                "The mean is over {} to {}: where the warming ends is found by the marginal standard error rule.",
                format::minutes(from_s),
                format::minutes(to_s),
            ));
            if let Some(air) = soak.fields.ambient_c.as_ref().and_then(|text| text.parse::<f64>().ok()) {
                said.push(format!(
                    "That is {} over the air before the cooler.",
                    format::text_in(&format::fixed(value - air, 1), "K")
                ));
            }
        }
        Steady::NotYet { per_minute } => said.push(format!(
            "It does not hold yet: at its end it still changes by {} a minute. Let it run longer.",
            format::text_in(&format::fixed(per_minute, 2), "K"),
        )),
        Steady::TooShort => {
            said.push("Too short to say: a soak needs more than two minutes without a gap.".to_owned())
        }
    }
    if let Some(highest) = shown.highest_c {
        said.push(format!("At most {}, as a mean over ten seconds.", format::value(highest, Unit::C)));
    }
    said
}

/// Temperature with what stands out on it, then power, clock and load.
fn drawn(soak: &Soak, shown: &Shown) -> Strip {
    let px = Strip::columns(WIDTH);
    let recording = &shown.recording;
    let window = Window { start_ns: 0, end_ns: recording.span_ns().max(1) };
    let roles = [Role::Temperature, Role::Power, Role::Clock, Role::Load];
    let mut lanes: Vec<Lane> = Vec::new();
    for role in roles {
        let Some(track) = recording.track(role) else { continue };
        let samples = recording.at_ns.iter().copied().zip(track.values.iter().copied());
        let columns = sampled(samples, window, px);
        let one = Beside { role, name: track.name.clone(), capture: soak.capture.clone(), columns };
        let lane = lane::beside(&one, lanes.len());
        lanes.push(Lane { slim: role != Role::Temperature, ..lane });
    }
    if let Some(first) = lanes.first_mut() {
        first.window_ns = match shown.steady {
            Steady::Holds { from_s, to_s, .. } => Some((ns(from_s), ns(to_s))),
            Steady::NotYet { .. } | Steady::TooShort => None,
        };
        first.spans = shown
            .throttles
            .iter()
            .map(|one| Span {
                kind: SpanKind::Flag,
                start_ns: ns(one.from_s),
                end_ns: ns(one.to_s),
                says: "throttles".to_owned(),
            })
            .collect();
    }
    Strip {
        caption: Caption {
            id: "soak".to_owned(),
            subtitle: match shown.steady {
                Steady::Holds { .. } => "Where it holds its temperature is not shaded".to_owned(),
                Steady::NotYet { .. } | Steady::TooShort => String::new(),
            },
            desc: "Temperature, power and clock over time; the sentences above say the same in words"
                .to_owned(),
            ..Caption::default()
        },
        from_ns: window.start_ns,
        to_ns: window.end_ns,
        width: WIDTH,
        cut: None,
        lanes,
    }
}

#[expect(clippy::cast_possible_truncation, reason = "seconds of a log that fits a recording")]
fn ns(seconds: f64) -> i64 {
    (seconds * NS_PER_S) as i64
}

/// Passes of the part in the rig within half a day.
fn near(evidence: &Evidence, soak: &Soak) -> Vec<(String, String)> {
    let Some(began) = soak.wall_start_ns else { return Vec::new() };
    let cells = evidence.cells.values().filter(|cell| cell.cell.of.tuning_id == soak.fields.tuning_id);
    let passes = cells.flat_map(|cell| cell.passes.iter().map(move |pass| (cell, pass)));
    let same = passes.filter(|(_, pass)| pass.row.rig_base_id == soak.fields.rig_base_id);
    same.filter(|(_, pass)| {
        pass.row.wall_start_ns.is_some_and(|at| at.abs_diff(began) <= NEAR_NS.unsigned_abs())
    })
    .map(|(cell, pass)| {
        let name = format!("{}, pass {}", cell_name(evidence, cell.cell.id), pass.row.number);
        (pass.row.key.clone(), name)
    })
    .collect()
}

/// The form of a reading with the steady temperature in it, where the team reads temperatures: of the first such kind.
fn as_reading(evidence: &Evidence, soak: &Soak, shown: &Shown) -> String {
    let Steady::Holds { value, .. } = shown.steady else { return String::new() };
    let Some(kind) = evidence.readings.kinds.values().find(|kind| kind.fields.unit == Unit::C.sign()) else {
        return String::new();
    };
    let rig =
        evidence.registers.bases.get(&soak.fields.rig_base_id).map(|base| base.fields.rig_id.to_string());
    let pairs = [
        ("kind", kind.id.to_string()),
        ("tuning", soak.fields.tuning_id.to_string()),
        ("rig", rig.unwrap_or_default()),
        ("repeats", format::fixed(value, 1)),
        ("ambient_c", soak.fields.ambient_c.clone().unwrap_or_default()),
        ("note", format!("steady temperature of {}", soak.capture)),
    ];
    let pairs: Vec<(&str, &str)> = pairs.iter().map(|(name, text)| (*name, text.as_str())).collect();
    paths::with_query(&paths::reading_new(&evidence.piece.key), &pairs)
}
