//! Packed logs and open formats: told by content, the same frames as the plain log, bounded, and said where damaged.

use zip::ZipWriter;
use zip::write::SimpleFileOptions;

use super::*;

/// 60 rows whose stamps prove their frame times.
fn rows() -> impl Iterator<Item = (i64, i64)> {
    (0..60).scan(0, |at, i| {
        let frame_us = 16_000 + i * 37 % 900;
        Some((std::mem::replace(at, *at + frame_us), frame_us))
    })
}

fn plain() -> Vec<u8> {
    let mut text = "elapsed [s],frame time [ms]\n".to_owned();
    for (at, us) in rows() {
        text += &format!("{}.{:06},{}.{:03}\n", at / 1_000_000, at % 1_000_000, us / 1000, us % 1000);
    }
    text.into_bytes()
}

fn frames(outcome: Outcome) -> Vec<i64> {
    match outcome {
        Outcome::Read { mut segments, .. } => segments.remove(0).recording.frame_ns,
        other => panic!("{other:?}"),
    }
}

fn zipped(members: &[(&str, &[u8])]) -> Vec<u8> {
    let mut zip = ZipWriter::new(Cursor::new(Vec::new()));
    for (name, bytes) in members {
        zip.start_file(*name, SimpleFileOptions::default()).unwrap();
        zip.write_all(bytes).unwrap();
    }
    zip.finish().unwrap().into_inner()
}

fn members(bytes: &[u8], known: &Known<'_>) -> Vec<(String, Result<usize, String>)> {
    let reading = read_log(&mut Cursor::new(bytes), "log", known).unwrap();
    let of = |outcome| match outcome {
        Outcome::Refuse { says } => Err(says),
        outcome => Ok(frames(outcome).len()),
    };
    reading.members.into_iter().map(|member| (member.name, of(member.outcome))).collect()
}

fn limited(limits: Limits) -> Known<'static> {
    Known { limits, ..Known::default() }
}

#[test]
fn a_zip_gives_each_log_by_the_last_part_of_its_path() {
    let (log, empty) = (plain(), b"".as_slice());
    let bytes = zipped(&[
        ("day one/a.csv", &log),
        ("../../etc/a.csv", &log),
        ("C:\\logs\\b.csv", &log),
        ("day one/.hidden", b"junk"),
        ("c.csv", empty),
    ]);
    let refused =
        "c.csv in log is empty (0 bytes). Record it again, or fetch it again from the rig.".to_owned();
    let name = |name: &str| name.to_owned();
    assert_eq!(
        members(&bytes, &Known::default()),
        [
            (name("a.csv"), Ok(60)),
            (name("a.csv (2)"), Ok(60)),
            (name("b.csv"), Ok(60)),
            (name("c.csv"), Err(refused))
        ]
    );
}

#[test]
fn archives_inside_archives_are_told_not_opened() {
    let inner = zipped(&[("a.csv", &plain())]);
    let says = "inner in log holds another packed file. Unpack it, and give the logs in it.";
    for inner in [inner, packed(&plain()), zstd::encode_all(plain().as_slice(), 3).unwrap()] {
        let got = members(&zipped(&[("x/inner", &inner)]), &Known::default());
        assert_eq!(got, [("inner".to_owned(), Err(says.to_owned()))]);
    }
    assert_eq!(
        refusal(&packed(&zipped(&[("a.csv", &plain())]))),
        "log holds another packed file. Unpack it, and give the logs in it."
    );
}

#[test]
fn bombs_end_at_the_limit() {
    let known = limited(Limits { unpacked: 1 << 20, ..Limits::default() });
    let bomb = b"4.1\n".repeat(1 << 20);
    let says = "unpacks to more than 1 MiB. A log is smaller: give the part that is wanted.";
    let got = members(&zipped(&[("small.csv", &plain()), ("bomb.csv", &bomb)]), &known);
    assert_eq!(got[0].1, Ok(60));
    assert!(
        got[1].1.as_ref().is_err_and(|e| e.starts_with("bomb.csv in log unpacks to more than")),
        "{got:?}"
    );
    let zst = zstd::encode_all(bomb.as_slice(), 3).unwrap();
    assert_eq!(members(&zst, &known), [(String::new(), Err(format!("log {says}")))]);
}

#[test]
fn the_limit_holds_for_all_members_together() {
    let log = plain();
    let known = limited(Limits { unpacked: log.len() as u64 * 5 / 2, ..Limits::default() });
    let got = members(&zipped(&[("a", &log), ("b", &log), ("c", &log)]), &known);
    let read: Vec<bool> = got.iter().map(|member| member.1.is_ok()).collect();
    assert_eq!(read, [true, true, false]);
}

#[test]
fn too_many_members_are_told_before_any_is_unpacked() {
    let known = limited(Limits { members: 2, ..Limits::default() });
    let log = plain();
    let got = members(&zipped(&[("a", &log), ("b", &log), ("c", &log)]), &known);
    let says = "log holds 3 files; at most 2 are read at once. Give it in parts.".to_owned();
    assert_eq!(got, [(String::new(), Err(says))]);
    assert_eq!(refusal(&zipped(&[])), "log holds no files. Pack the logs again.");
}

#[test]
fn a_damaged_member_does_not_stop_the_others() {
    let log = plain();
    let mut bytes = zipped(&[("a.csv", &log), ("b.csv", &log)]);
    // In the middle of the first member's packed bytes.
    bytes[120..160].fill(0xA5);
    let got = members(&bytes, &Known::default());
    assert!(
        got[0].1.as_ref().is_err_and(|e| e.starts_with("a.csv in log is packed and damaged (")),
        "{got:?}"
    );
    assert_eq!(got[1].1, Ok(60));
}

#[test]
fn zstd_is_read_through_and_a_cut_one_is_told() {
    let zst = zstd::encode_all(plain().as_slice(), 3).unwrap();
    assert_eq!(frames(read(&zst)), frames(read(&plain())));
    let says = refusal(&zst[..zst.len() / 2]);
    assert!(says.starts_with("log is packed and damaged ("), "{says}");
}

#[test]
fn json_lines_give_the_same_frames_whatever_the_order_of_keys() {
    let line = |(i, (at, us)): (usize, (i64, i64))| {
        let (at, ms) = (at as f64 / 1e6, us as f64 / 1e3);
        if i % 2 == 0 {
            format!("{{\"elapsed [s]\": {at}, \"frame time [ms]\": {ms}, \"note\": \"a\\nb\"}}\n")
        } else {
            format!("{{\"frame time [ms]\": {ms}, \"elapsed [s]\": {at}}}\n")
        }
    };
    let text: String = rows().enumerate().map(line).collect();
    assert_eq!(frames(read(text.as_bytes())), frames(read(&plain())));
    // A line that is no object is told by its number in the file, the last one cut.
    let mut lines: Vec<&str> = text.lines().collect();
    lines[30] = "oops";
    let cut = lines.join("\n");
    let (_, segment) = one_segment(&cut.as_bytes()[..cut.len() - 9]);
    assert_eq!(segment.recording.frame_ns.len(), 58);
    let places: Vec<u64> = segment.problems.iter().map(|p| p.line).collect();
    assert_eq!(places, [31, 60]);
}

/// Outside reference: both files were written by pyarrow 26.0.1 (`tests/reference/make_parquet_logs.py`).
#[test]
fn parquet_gives_the_same_frames() {
    let zstd = include_bytes!("../../../../tests/data/parquet/frames_zstd.parquet");
    let snappy = include_bytes!("../../../../tests/data/parquet/frames_snappy.parquet");
    let want = frames(read(&plain()));
    assert_eq!(frames(read(zstd)), want);
    let (layout, segment) = one_segment(snappy);
    assert_eq!(segment.recording.frame_ns, want);
    // 2026-11-24T22:30:33Z by its column of timestamps.
    assert_eq!(segment.recording.wall_start_ns, Some(1_795_559_433_000_000_000));
    assert!(layout.columns.iter().any(|c| c.role == Role::WallClock));
}

#[test]
fn damaged_or_large_parquet_is_refused() {
    let file = include_bytes!("../../../../tests/data/parquet/frames_zstd.parquet");
    let says = refusal(&file[..file.len() - 20]);
    assert!(says.starts_with("log is packed and damaged ("), "{says}");
    let known = limited(Limits { parquet: 256, ..Limits::default() });
    let Outcome::Refuse { says } = read_known(file, &known) else { panic!("read") };
    assert!(says.starts_with("log is a Parquet table of more than"), "{says}");
}

/// Each byte of a small table set to all ones in turn: read or told, never a panic.
#[test]
fn parquet_with_any_byte_damaged_never_panics() {
    let file = include_bytes!("../../../../tests/data/parquet/frames_zstd.parquet");
    for at in 0..file.len() {
        let mut bytes = file.to_vec();
        bytes[at] ^= 0xFF;
        let reading = read_log(&mut Cursor::new(&bytes), "log", &Known::default()).unwrap();
        assert_eq!(reading.members.len(), 1, "byte {at}");
    }
}
