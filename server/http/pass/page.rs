//! The page value of a pass, from what was read.

use jiff::Timestamp;
use serde_json::json;
use weighhouse_measure::measures::{Measure, versions};
use weighhouse_measure::recording::NS_PER_S;
use weighhouse_measure::screens::FlagKind;
use weighhouse_web::charts::{Caption, Strip, Theme};
use weighhouse_web::pages::pass::{
    About, CellSays, Companion, Flag, Hitch, NewRemark, Proposed, Remark, RemarkSaid, Row, Ruling, Sibling,
    Step, Window,
};
use weighhouse_web::pages::{self, Field, Frame};
use weighhouse_web::{format, paths};

use super::super::App;
use super::super::charts::spread;
use super::super::marks::mark;
use super::super::session::SignedIn;
use super::history;
use crate::store::CompanionId;
use crate::store::remark_steps::RemarkStep;
use crate::work::evidence::{CellEvidence, Evidence, PassEvidence};
use crate::work::pass::{self, Proposal, Read};
use crate::work::{Internal, Result, rule};

/// The page.
pub(super) fn of(
    app: &App,
    who: &SignedIn,
    (read, proposals): (&Read, &[(CompanionId, Proposal)]),
    strip: &Strip,
) -> Result<pages::Pass> {
    let (cell, pass) = read.pass().ok_or_else(|| Internal("a pass outside its own evidence".to_owned()))?;
    let evidence = &read.evidence;
    let piece = &evidence.piece;
    let named = |piece: &crate::store::pieces::Piece| (piece.key.clone(), piece.fields.name.clone());
    let end_ns = cell.passes.iter().map(|pass| pass.row.span_ns).max().unwrap_or(0);
    Ok(pages::Pass {
        frame: frame(app, who, evidence),
        key: pass.row.key.clone(),
        number: pass.row.number,
        mark: mark(pass),
        about: about(evidence, cell, pass),
        piece: (!piece.key.is_empty()).then(|| named(piece)),
        other_pieces: read.pieces.iter().filter(|one| one.id != piece.id).map(named).collect(),
        siblings: cell.passes.iter().map(|one| sibling(one, pass)).collect(),
        strip: strip.svg(&Theme::LIGHT),
        strip_end_s: exact_s(end_ns),
        step_ns: pass.steps.length_ns,
        steps: steps(pass),
        ledger: Measure::all().map(|measure| row(evidence, cell, pass, measure)).collect(),
        hitches: hitches(pass),
        versions: all_versions(),
        spread: spread(cell, false),
        shares: spread(cell, true),
        flags: pass.flags.iter().map(flag).collect(),
        notices: evidence.notices(cell, pass).into_iter().map(|notice| notice.says).collect(),
        past_limits: past_limits(evidence, cell),
        ruling: ruling(read, pass),
        places: history::places(cell, pass, read).into_iter().map(|(key, says, _)| (key, says)).collect(),
        window: window(pass),
        remarks: read.remarks.iter().map(|one| remark(read, one)).collect(),
        remark: NewRemark::default(),
        companions: pass.companions.iter().map(|one| companion(one, proposals)).collect(),
        history: history::of(read),
    })
}

pub(super) fn at(us: i64) -> Timestamp {
    // Times of the store are of this age: far within what a timestamp holds.
    Timestamp::from_microsecond(us).unwrap_or_default()
}

fn frame(app: &App, who: &SignedIn, evidence: &Evidence) -> Frame {
    let (piece, frame) = (&evidence.piece, who.frame("Pieces"));
    if piece.key.is_empty() {
        return frame;
    }
    let left =
        piece.fields.deadline_us.map_or_else(String::new, |us| format::left(at(us), at(app.clock.now_us())));
    let flags = u64::try_from(evidence.to_review().count()).unwrap_or(u64::MAX);
    frame.in_piece(&piece.key, &piece.fields.name, left, "", flags)
}

fn about(evidence: &Evidence, cell: &CellEvidence, pass: &PassEvidence) -> About {
    let (registers, row) = (&evidence.registers, &pass.row);
    let scene = registers.scenes.get(&cell.cell.of.scene_id);
    let declared = evidence.declared.get(&cell.cell.part_id);
    About {
        part: registers.parts.get(&cell.cell.part_id).map(|part| part.name()).unwrap_or_default(),
        tuning: registers
            .tunings
            .get(&cell.cell.of.tuning_id)
            .map(|t| t.fields.name.clone())
            .unwrap_or_default(),
        scene: scene.map(|s| format!("{}, {}", s.fields.game, s.fields.passage)).unwrap_or_default(),
        setting: registers
            .settings
            .get(&cell.cell.of.setting_id)
            .map(|s| s.fields.name.clone())
            .unwrap_or_default(),
        rig: row.rig.clone(),
        unit: row.unit.clone(),
        driver: row.driver.clone(),
        declared: declared.is_none_or(|driver| *driver == row.driver_id),
        declares: declared
            .and_then(|driver| registers.drivers.get(driver))
            .map(|driver| driver.fields.name.clone()),
        build: row.build.clone(),
        capture_id: row.capture_id.0,
        capture: row.capture.clone(),
        settings: row.settings_sha256.clone(),
        digest: row.digest.clone(),
        recorded: row.wall_start_ns.map(|ns| at(ns / 1000)),
    }
}

fn sibling(one: &PassEvidence, pass: &PassEvidence) -> Sibling {
    Sibling {
        key: one.row.key.clone(),
        number: one.row.number,
        mark: mark(one),
        rig: one.row.rig.clone(),
        this: one.row.id == pass.row.id,
    }
}

fn steps(pass: &PassEvidence) -> Vec<Step> {
    let starts = (0_i64..).map(|n| pass.steps.start_ns + n * pass.steps.length_ns);
    let told = starts.zip(&pass.steps.steps).map(|(start_ns, step)| Step {
        start_ns,
        average_fps: (step.total_ns > 0).then(|| step.frames as f64 * 1e9 / step.total_ns as f64),
        longest_ms: (step.frames > 0).then(|| step.longest_ns as f64 / 1e6),
    });
    told.collect()
}

fn row(evidence: &Evidence, cell: &CellEvidence, pass: &PassEvidence, measure: Measure) -> Row {
    let (value, interval) = (pass.measures.value(measure), pass.measures.interval(measure));
    // A geometric mean over counts that may be 0 says nothing.
    let counts = matches!(
        measure,
        Measure::Frames
            | Measure::Seconds
            | Measure::HitchCount
            | Measure::HitchWorstMs
            | Measure::HitchLostMs
    );
    let of_cell = if counts { None } else { evidence.value(cell, measure) };
    let what = json!({ "kind": "cell", "measure": measure.key(), "cell": cell.cell.id.0 }).to_string();
    let may = of_cell.is_some() && !evidence.piece.key.is_empty();
    Row {
        measure,
        name: measure.name().to_owned(),
        value,
        interval,
        why: why(pass, measure),
        cell: of_cell.map(|cell| CellSays {
            value: cell.value,
            interval: cell
                .interval
                .map(|i| weighhouse_measure::measures::Interval { low: i.low, high: i.high }),
            passes: u64::try_from(cell.passes).unwrap_or(u64::MAX),
        }),
        declared: measure == evidence.low(),
        figure: if may { paths::new_figure(&evidence.piece.key, &what) } else { String::new() },
    }
}

/// Why there is no value, or no interval where one is usual.
fn why(pass: &PassEvidence, measure: Measure) -> String {
    let frames = pass.measures.frames > 0;
    let says = match measure {
        Measure::Low(..) if pass.measures.interval(measure).is_none() => "too few frames for an interval",
        _ if pass.measures.value(measure).is_some() => "",
        _ if !frames => "no frames in the window",
        Measure::PowerW | Measure::JoulesPerFrame => {
            beside(pass, "no power track", "no power over all of the window")
        }
        Measure::ClockMeanHz | Measure::ClockMinHz => {
            beside(pass, "no clock track", "no clock over all of the window")
        }
        Measure::TemperatureMeanC | Measure::TemperatureMaxC => {
            beside(pass, "no temperature track", "no temperature over all of the window")
        }
        Measure::LoadMean => beside(pass, "no load track", "no load over all of the window"),
        Measure::CpuWorkMs | Measure::CardWorkMs => "not in its log",
        Measure::HitchWorstMs => "no hitch",
        _ => "too few frames",
    };
    says.to_owned()
}

fn beside(pass: &PassEvidence, none: &'static str, partly: &'static str) -> &'static str {
    match (pass.companions.is_empty(), pass.companions.iter().all(|one| one.offset_ns.is_some())) {
        (true, _) => none,
        (false, false) => "companion not placed",
        (false, true) => partly,
    }
}

fn hitches(pass: &PassEvidence) -> Vec<Hitch> {
    let list = pass.measures.hitches.as_ref().map_or(&[][..], |hitches| &hitches.list[..]);
    list.iter().map(|h| Hitch { start_ns: h.start_ns, ms: h.ms, lost_ms: h.lost_ms }).collect()
}

fn all_versions() -> Vec<(String, u32)> {
    let measures = versions().map(|(name, version)| (name.to_owned(), version));
    measures.chain(FlagKind::ALL.map(|kind| (kind.key().to_owned(), kind.version()))).collect()
}

/// How frame times are spread, of each pass of the cell, or added up.
fn spread(cell: &CellEvidence, cumulative: bool) -> String {
    let (id, desc) = if cumulative {
        ("pass-shares", "Shares of frames by frame time, added up")
    } else {
        ("pass-spread", "Shares of frames by frame time")
    };
    let caption = Caption { id: id.to_owned(), desc: desc.to_owned(), ..Caption::default() };
    let chart = spread::of_passes(cell, cumulative, caption);
    chart.map_or_else(String::new, |chart| chart.svg(&Theme::LIGHT))
}

fn flag(flag: &weighhouse_measure::screens::Flag) -> Flag {
    Flag {
        kind: flag.kind.key().to_owned(),
        name: flag.kind.name().to_owned(),
        says: flag.says.clone(),
        start_ns: flag.start_ns,
        end_ns: flag.end_ns,
    }
}

/// A tuning past what its maker rates: more watts than rated, or any clock or voltage above the maker's own.
fn past_limits(evidence: &Evidence, cell: &CellEvidence) -> String {
    let tuning = evidence.registers.tunings.get(&cell.cell.of.tuning_id);
    let rated = evidence.registers.parts.get(&cell.cell.part_id).and_then(|part| part.fields.rated_power_w);
    let past = tuning.filter(|tuning| {
        let f = &tuning.fields;
        f.power_limit_w.zip(rated).is_some_and(|(limit, rated)| limit > rated)
            || f.core_offset_mhz > 0
            || f.memory_offset_mhz > 0
            || f.voltage_offset_mv > 0
    });
    past.map(|tuning| tuning.fields.name.clone()).unwrap_or_default()
}

fn ruling(read: &Read, pass: &PassEvidence) -> Ruling {
    let usual = read.reasons.clone();
    let version = rule::version(&pass.row);
    let stands = read.rulings.iter().rev().find(|ruling| ruling.against_id.is_none());
    let last = stands.filter(|ruling| ruling.verdict.as_str() != "open");
    let against = read.rulings.last().filter(|_| pass.row.disputed()).map(|other| {
        let why = if other.reason.is_empty() { String::new() } else { format!(" ({})", other.reason) };
        format!("{} ruled otherwise: {}{why}.", other.person, other.verdict)
    });
    match last {
        None => Ruling { usual, version, ..Ruling::default() },
        Some(ruling) => Ruling {
            verdict: ruling.verdict.to_string(),
            reason: ruling.reason.clone(),
            by: ruling.person.clone(),
            at: Some(at(ruling.at_us)),
            version,
            written: Field::default(),
            against: against.unwrap_or_default(),
            usual,
        },
    }
}

fn window(pass: &PassEvidence) -> Window {
    let (row, window) = (&pass.row, pass.row.window());
    let own = row.window_start_ns.is_some();
    Window {
        start_ns: window.start_ns,
        end_ns: window.end_ns,
        standard_start_ns: row.scene_window_start_ns,
        standard_end_ns: row.scene_window_end_ns,
        own,
        reason: row.window_reason.clone(),
        version: row.version,
        log: row.segment_id.0,
        cut_ns: row.cut.window().map(|cut| (cut.start_ns, cut.end_ns)),
        from: Field::of(exact_s(window.start_ns)),
        to: Field::of(exact_s(window.end_ns)),
        why: Field::of(row.window_reason.clone()),
    }
}

fn remark(read: &Read, remark: &crate::store::rulings::Remark) -> Remark {
    let steps: Vec<_> = read.remark_steps.iter().filter(|step| step.remark_id == remark.id).collect();
    let said = |step: &&RemarkStep| RemarkSaid {
        does: step.does.as_str(),
        says: step.says.clone(),
        by: step.person.clone(),
        at: at(step.at_us),
    };
    Remark {
        id: remark.id.0,
        settled: pass::settled(&steps),
        steps: steps.iter().map(said).collect(),
        answer: Field::default(),
        says: remark.says.clone(),
        start_ns: remark.start_ns,
        end_ns: remark.end_ns,
        by: remark.person.clone(),
        at: at(remark.at_us),
    }
}

fn companion(
    one: &crate::store::companions::CompanionRow,
    proposals: &[(CompanionId, Proposal)],
) -> Companion {
    let proposal = proposals.iter().find(|(id, _)| *id == one.id).map(|(_, proposal)| proposal);
    let nudge =
        |by_ns: i64| one.offset_ns.map(|at| (format::signed(by_ns as f64 / 1e9, 1), exact_s(at + by_ns)));
    Companion {
        proposed: proposal.and_then(|proposal| proposal.as_ref().ok()).map(|aligned| Proposed {
            offset: exact_s(aligned.placing.offset_ns),
            drift_ppb: aligned.placing.drift_ppb,
            by: aligned.by,
            at_ns: aligned.placing.offset_ns,
            peak: aligned.peak,
            second: aligned.second.max(0.0),
            good_to_ns: aligned.good_to_ns,
        }),
        not_proposed: proposal.and_then(|proposal| proposal.clone().err()).unwrap_or_default(),
        nudges: NUDGES_NS.into_iter().filter_map(nudge).collect(),
        drift_ppb: one.drift_ppb,
        id: one.id.0,
        capture: one.capture.clone(),
        placed_by: one.placed_by.to_string(),
        offset_ns: one.offset_ns,
        rows: one.rows,
        version: one.version,
        offset: Field::of(one.offset_ns.map(exact_s).unwrap_or_default()),
    }
}

/// By how much a placed companion is moved at once.
const NUDGES_NS: [i64; 4] = [-NS_PER_S, -NS_PER_S / 10, NS_PER_S / 10, NS_PER_S];

/// Nanoseconds as decimal seconds, exactly, without needless zeros.
pub(in crate::http) fn exact_s(ns: i64) -> String {
    let sign = if ns < 0 { "-" } else { "" };
    let (ns, s) = (ns.unsigned_abs(), NS_PER_S.unsigned_abs());
    let text = format!("{sign}{}.{:09}", ns / s, ns % s);
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}
