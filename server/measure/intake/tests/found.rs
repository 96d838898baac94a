//! What the fuzzer found, and seeds that lead it: none falls over, and what is read keeps the promises of a recording.

use std::path::Path;

use super::*;

#[test]
fn what_the_fuzzer_found_is_read_asked_or_refused() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/fuzz/found");
    let mut seen = 0;
    for entry in folder.read_dir().unwrap() {
        let bytes = std::fs::read(entry.unwrap().path()).unwrap();
        let mut reading = read_log(&mut Cursor::new(&bytes), "log", &Known::default()).unwrap();
        seen += 1;
        for member in reading.members.drain(..) {
            let Outcome::Read { segments, .. } = member.outcome else { continue };
            for recording in segments.into_iter().map(|segment| segment.recording) {
                assert!(recording.rows() > 0 && recording.at_ns.is_sorted());
                assert!(recording.frame_ns.iter().all(|ns| *ns > 0));
                assert!(recording.tracks.iter().all(|track| track.values.len() == recording.rows()));
            }
        }
    }
    assert!(seen > 8, "{seen}");
}
