//! Fuzzing of the whole path from bytes to recordings and their measures: nothing falls over or hangs, and what is read
//! keeps the promises of a recording.
#![no_main]

use std::io::Cursor;

use libfuzzer_sys::fuzz_target;
use weighhouse_measure::cuts;
use weighhouse_measure::intake::{Known, Outcome, read_log};
use weighhouse_measure::recording::Kind;

/// Any panic ends the run, save those of the Parquet crate at damaged pages, which `intake` catches.
fn end_at_a_panic() {
    let tell = std::panic::take_hook();
    std::panic::set_hook(Box::new(move |panic| {
        if panic.location().is_some_and(|at| at.file().contains("/parquet-")) {
            return;
        }
        tell(panic);
        std::process::abort();
    }));
}

fuzz_target!(init: end_at_a_panic(), |bytes: &[u8]| {
    let reading = read_log(&mut Cursor::new(bytes), "log", &Known::default()).expect("memory has no errors");
    for member in reading.members {
        let Outcome::Read { segments, .. } = member.outcome else { continue };
        for recording in segments.into_iter().map(|segment| segment.recording) {
            assert!(recording.rows() > 0 && recording.at_ns.is_sorted());
            assert!(recording.frame_ns.iter().all(|ns| *ns > 0));
            assert!(recording.tracks.iter().all(|track| track.values.len() == recording.rows()));
            if recording.kind == Kind::Frames {
                assert_eq!(recording.frame_ns.len(), recording.rows());
                let cut = cuts::cut(&recording, recording.whole()).expect("it has rows");
                assert_eq!(cut.rows(), recording.rows());
                cuts::propose(&recording);
            }
        }
    }
});
