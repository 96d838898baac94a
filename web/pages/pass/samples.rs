//! Made-up passes: one with everything, one with nothing, one refused and read by a guest.

use jiff::Timestamp;
use weighhouse_measure::measures::{Interval, Measure};
use weighhouse_measure::recording::Role;

use super::{
    About, CellSays, Companion, Event, Flag, Hitch, NewRemark, Pass, Proposed, Remark, RemarkSaid, Row,
    Ruling, Sibling, Step, Window,
};
use crate::charts::{self, Theme};
use crate::marks::Mark;
use crate::pages::{Field, Frame, SignedIn};
use crate::paths;

const S: i64 = 1_000_000_000;

pub(super) fn all() -> Vec<Pass> {
    let mut bare = full();
    bare.frame.person = Some(SignedIn { name: "Tove Linden".to_owned(), role: "guest".to_owned() });
    (bare.piece, bare.about.declares, bare.about.settings) = (None, None, None);
    (bare.flags, bare.notices, bare.hitches, bare.companions) = Default::default();
    (bare.remarks, bare.past_limits, bare.ruling) = Default::default();
    (bare.steps, bare.ledger, bare.siblings, bare.spread) = Default::default();
    let mut wrong = full();
    wrong.window.why = Field::wrong("", "A window unlike the scene's needs a reason.");
    wrong.window.from = Field::wrong("soon", "'soon' is not a time in seconds.");
    wrong.ruling.written = Field::wrong("", "A reason is needed for 'set aside'.");
    wrong.remark.says = Field::wrong(" ", "The remark says nothing; write a sentence.");
    vec![full(), bare, wrong]
}

fn picture(name: &str) -> String {
    charts::samples::all(&Theme::LIGHT)
        .into_iter()
        .find(|(sample, _)| *sample == name)
        .map(|(_, svg)| svg)
        .unwrap_or_default()
}

fn at(us: i64) -> Timestamp {
    Timestamp::from_microsecond(us).unwrap_or_default()
}

fn row(measure: Measure) -> Row {
    let interval = (measure == Measure::AverageFps).then_some(Interval { low: 123.6, high: 124.4 });
    let value = (measure != Measure::PowerW).then_some(124.012);
    Row {
        measure,
        name: measure.name().to_owned(),
        value,
        interval,
        why: if value.is_none() { "no power track".to_owned() } else { String::new() },
        cell: value.map(|value| CellSays { value, interval, passes: 3 }),
        declared: false,
        figure: paths::new_figure("k3v9", "{}"),
    }
}

fn full() -> Pass {
    let flag = |kind: &str, name: &str| Flag {
        kind: kind.to_owned(),
        name: name.to_owned(),
        says: "14 frames above 60 ms between 21.3 and 24.1 s.".to_owned(),
        start_ns: 21 * S,
        end_ns: 24 * S,
    };
    let sibling = |number: i64, mark| Sibling {
        key: format!("p{number}"),
        number,
        mark,
        rig: "alder".to_owned(),
        this: number == 2,
    };
    Pass {
        frame: Frame::sample("Plan"),
        key: "p2".to_owned(),
        number: 2,
        mark: Mark::Flagged,
        about: about(),
        piece: Some(("k3v9".to_owned(), "Is the Curlew worth it?".to_owned())),
        other_pieces: vec![("m2x1".to_owned(), "Quiet cards".to_owned())],
        siblings: vec![sibling(1, Mark::Kept), sibling(2, Mark::Flagged), sibling(3, Mark::SetAside)],
        strip: picture("strip"),
        strip_end_s: "60.000000000".to_owned(),
        step_ns: S,
        steps: vec![
            Step { start_ns: 0, average_fps: Some(124.2), longest_ms: Some(9.1) },
            Step { start_ns: S, average_fps: None, longest_ms: None },
        ],
        ledger: Measure::all().map(row).collect(),
        hitches: vec![Hitch { start_ns: 21_300_000_000, ms: 71.2, lost_ms: 63.1 }],
        versions: vec![("average_fps".to_owned(), 1)],
        spread: picture("distribution"),
        shares: String::new(),
        flags: vec![flag("hitch_cluster", "cluster of hitches"), flag("gap", "gap or clock jump")],
        notices: vec!["Too few frames for a 0.1% low.".to_owned()],
        past_limits: "+120 W".to_owned(),
        ruling: Ruling {
            verdict: "keep".to_owned(),
            reason: "the disturbance belongs to the scene".to_owned(),
            by: "Iver Stroud".to_owned(),
            at: Some(at(1_772_366_400_000_000)),
            usual: vec!["wrong passage".to_owned()],
            ..Ruling::default()
        },
        places: vec![("q5".to_owned(), "pass 5 took its place".to_owned())],
        window: Window {
            start_ns: 2 * S,
            end_ns: 58 * S,
            standard_end_ns: Some(60 * S),
            own: true,
            reason: "a menu at the start".to_owned(),
            version: 3,
            log: 4,
            cut_ns: Some((8 * S, 68 * S)),
            from: Field::of("2"),
            to: Field::of("58"),
            ..Window::default()
        },
        remarks: vec![
            remark(1, "The gate opens late.", Some((21 * S, 24 * S))),
            remark(2, "Recorded after the soak.", None),
        ],
        remark: NewRemark::default(),
        companions: vec![companion(7, Some(-S)), companion(8, None)],
        history: vec![Event {
            at: at(1_772_366_400_000_000),
            by: "Iver Stroud".to_owned(),
            what: "ruled keep".to_owned(),
        }],
    }
}

fn about() -> About {
    About {
        part: "Tarnwick Curlew".to_owned(),
        tuning: "stock".to_owned(),
        scene: "Nine Lamps Below, cistern".to_owned(),
        setting: "2160p native".to_owned(),
        rig: "alder".to_owned(),
        unit: "A".to_owned(),
        driver: "501.2".to_owned(),
        declared: false,
        declares: Some("501.4".to_owned()),
        build: "1.0.3".to_owned(),
        settings: Some("7c".repeat(32)),
        capture_id: 4,
        capture: "curlew_cistern_2160p_2.csv".to_owned(),
        digest: "9f".repeat(32),
        recorded: Some(at(1_772_366_400_000_000)),
    }
}

fn remark(id: i64, says: &str, stretch: Option<(i64, i64)>) -> Remark {
    let step = |does, says: &str| RemarkSaid {
        does,
        says: says.to_owned(),
        by: "Iver Stroud".to_owned(),
        at: at(1_772_366_400_000_000),
    };
    Remark {
        id,
        settled: id == 1,
        steps: vec![step("answer", "It does in every pass."), step("settle", "")],
        answer: Field::default(),
        says: says.to_owned(),
        start_ns: stretch.map(|s| s.0),
        end_ns: stretch.map(|s| s.1),
        by: "Maren Oake".to_owned(),
        at: at(1_772_366_400_000_000),
    }
}

fn companion(id: i64, offset_ns: Option<i64>) -> Companion {
    Companion {
        id,
        capture: "curlew_cistern_2160p_2_sensors.csv".to_owned(),
        placed_by: if offset_ns.is_some() { "hand".to_owned() } else { String::new() },
        offset_ns,
        rows: 1200,
        version: 1,
        drift_ppb: 0,
        proposed: offset_ns.is_none().then(|| Proposed {
            offset: "3.2".to_owned(),
            drift_ppb: 0,
            by: Role::Power,
            at_ns: 3_200_000_000,
            peak: 0.93,
            second: 0.41,
            good_to_ns: 100_000_000,
        }),
        not_proposed: String::new(),
        nudges: offset_ns.map(|_| ("+0.1".to_owned(), "0.1".to_owned())).into_iter().collect(),
        offset: Field::of("-1"),
    }
}
