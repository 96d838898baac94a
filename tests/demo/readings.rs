//! Readings and soaks of the demo: a door set aside, sound at equal temperatures, and the Curlew that throttles in birch.

use std::io::Cursor;

use weighhouse::work::readings::equal;
use weighhouse_demo::THROTTLES_AFTER_S;
use weighhouse_measure::intake::{self, Known, Outcome};
use weighhouse_measure::readings::soak::{Steady, blocks, steady, throttles};
use weighhouse_measure::recording::{Recording, Role};

use crate::week::WEEK;

#[test]
fn each_kind_was_read_and_the_door_does_not_count() {
    let groups = WEEK.evidence.readings.groups();
    assert_eq!(WEEK.evidence.readings.kinds.len(), 3);
    let curlew = groups
        .iter()
        .find(|group| group.subject(&WEEK.evidence) == "Tarnwick Curlew" && group.counts() == (4, 3));
    let told = curlew.unwrap().told().unwrap();
    // 42.5 dB over a background of 28.6 is 42.3 dB.
    assert!((told.value - 42.3).abs() < 0.2 && told.interval.unwrap().high < 43.5, "{told:?}");
    let wall = groups.iter().filter(|group| group.subject(&WEEK.evidence).starts_with("whole system with "));
    assert_eq!(wall.count(), 3);
}

#[test]
fn where_fans_were_swept_parts_are_heard_at_one_temperature() {
    let kind = *WEEK.evidence.readings.kinds.keys().next().unwrap();
    let said = equal::sentences(&WEEK.evidence, kind);
    assert_eq!(said.len(), 1, "{said:?}");
    let said = said[0].replace(['\u{a0}', '\u{202f}'], " ");
    assert!(said.starts_with("At 70 °C of the part in alder: Tarnwick Dunlin 36."), "{said}");
    assert!(said.contains("Tarnwick Curlew 43.") && said.contains("dB more"), "{said}");
}

fn recording(at: usize) -> Recording {
    let log = WEEK.demo.soaks[at].log();
    let read = intake::read_log(&mut Cursor::new(log), WEEK.demo.soaks[at].file, &Known::default()).unwrap();
    match read.members.into_iter().next().unwrap().outcome {
        Outcome::Read { segments, .. } => segments.into_iter().next().unwrap().recording,
        other => unreachable!("{other:?}"),
    }
}

#[test]
fn each_part_settles_where_it_was_made_to_and_the_curlew_throttles_in_the_case() {
    for (at, soak) in WEEK.demo.soaks.iter().enumerate() {
        let recording = recording(at);
        let at_s: Vec<f64> = recording.at_ns.iter().map(|ns| *ns as f64 / 1e9).collect();
        let of = |role| recording.track(role).map(|track| blocks(&at_s, &track.values));
        let heat = of(Role::Temperature).unwrap();
        let Steady::Holds { value, .. } = steady(&heat) else { panic!("{} is not steady", soak.file) };
        assert!((value - soak.settles_at_c).abs() < 0.3, "{}: {value}", soak.file);
        let (clock, power, load) = (of(Role::Clock), of(Role::Power), of(Role::Load));
        let found = throttles(&heat, clock.as_ref(), power.as_ref(), load.as_ref());
        if soak.file.starts_with("curlew") {
            assert_eq!(found.len(), 1, "{found:?}");
            assert!((found[0].from_s - THROTTLES_AFTER_S as f64).abs() <= 20.0, "{found:?}");
        } else {
            assert_eq!(found, [], "{}", soak.file);
        }
    }
}
