//! Reading from bytes to frames: real captures, packed logs, the same content written in other ways, and bad input.

use std::io::{Cursor, Write as _};

use flate2::Compression;
use flate2::write::GzEncoder;

use super::*;
use crate::recording::{Kind, Role, Unit};

/// Reads bytes as a file called `log`.
pub(super) fn read(bytes: &[u8]) -> Outcome {
    read_known(bytes, &Known::default())
}

fn read_known(bytes: &[u8], known: &Known<'_>) -> Outcome {
    let mut reading = read_log(&mut Cursor::new(bytes), "log", known).unwrap();
    assert_eq!(reading.members.len(), 1);
    reading.members.remove(0).outcome
}

fn one_segment(bytes: &[u8]) -> (Layout, Segment) {
    match read(bytes) {
        Outcome::Read { layout, mut segments } => {
            assert_eq!(segments.len(), 1);
            (layout, segments.remove(0))
        }
        other => panic!("{other:?}"),
    }
}

fn refusal(bytes: &[u8]) -> String {
    match read(bytes) {
        Outcome::Refuse { says } => says,
        other => panic!("{other:?}"),
    }
}

fn question(bytes: &[u8]) -> Question {
    match read(bytes) {
        Outcome::Ask(question) => *question,
        other => panic!("{other:?}"),
    }
}

fn roles(layout: &Layout) -> Vec<(Role, Unit)> {
    layout.columns.iter().map(|c| (c.role, c.unit)).collect()
}

fn packed(bytes: &[u8]) -> Vec<u8> {
    let mut encoder = GzEncoder::new(Vec::new(), Compression::new(9));
    encoder.write_all(bytes).unwrap();
    encoder.finish().unwrap()
}

mod containers;
mod found;

mod captures {
    use super::*;

    const A1: &[u8] = include_bytes!("../../../tests/data/captures/card-a_glasshouse_2560x1440_p1.csv");
    const A2: &[u8] = include_bytes!("../../../tests/data/captures/card-a_murmuration_2560x1440_p2.csv");
    const T1: &[u8] = include_bytes!("../../../tests/data/captures/card-a_murmuration_2560x1440_t1.csv");
    const B3: &[u8] = include_bytes!("../../../tests/data/captures/card-a_glasshouse_2560x1440_p3.txt");
    const C3: &[u8] = include_bytes!("../../../tests/data/captures/card-a_dune-sea_3840x2160_p3.tsv");
    const SENSORS_A: &[u8] =
        include_bytes!("../../../tests/data/captures/card-a_glasshouse_2560x1440_p1_sensors.csv");
    const SENSORS_B: &[u8] =
        include_bytes!("../../../tests/data/captures/card-b_glasshouse_2560x1440_p2_sensors.csv");

    /// Frames and their sum in whole nanoseconds, worked out with the `decimal` module of Python 3.11's standard
    /// library from the same files.
    #[test]
    fn frames_and_time_are_exact() {
        for (bytes, frames, ns) in [
            (A1, 900, 4_289_532_700),
            (A2, 900, 3_251_223_600),
            (T1, 800, 3_040_258_600),
            (B3, 900, 4_327_199_000),
            (C3, 800, 6_940_369_000),
        ] {
            let (_, segment) = one_segment(bytes);
            assert_eq!(segment.recording.kind, Kind::Frames);
            assert_eq!(segment.recording.frame_ns.len(), frames);
            assert_eq!(segment.recording.frame_ns.iter().sum::<i64>(), ns);
        }
    }

    #[test]
    fn elapsed_and_frame_time_are_proved_by_each_other() {
        let (layout, segment) = one_segment(A1);
        assert_eq!(
            roles(&layout),
            [
                (Role::Elapsed, Unit::Second),
                (Role::FrameTime, Unit::Millisecond),
                (Role::CardWork, Unit::Millisecond),
                (Role::CpuWork, Unit::Millisecond),
                (Role::Other, Unit::Millisecond),
            ]
        );
        assert_eq!(layout.stamp_at, StampAt::Start);
        assert!(
            layout.columns[1].why.contains("its running sum follows column 1 to 0.00 %"),
            "{}",
            layout.columns[1].why
        );
        assert_eq!(segment.recording.at_ns[..3], [0, 1_698_000, 1_759_000]);
        assert_eq!(segment.recording.frame_ns[..3], [1_697_900, 61_500, 3_857_700]);
        assert_eq!(segment.recording.wall_start_ns, None);
        assert!(segment.problems.is_empty());
    }

    #[test]
    fn a_work_time_close_to_the_frame_time_does_not_take_its_place() {
        // Limited by the processor: its work differs from the frame time by 0.2 us.
        assert_eq!(one_segment(A2).0.column(Role::FrameTime).map(|c| c.index), Some(2));
    }

    #[test]
    fn a_row_cut_by_the_recorders_end_is_left_out_and_said() {
        let (_, segment) = one_segment(T1);
        assert_eq!(
            segment.problems,
            [Problem {
                line: 802,
                column: 0,
                says: "The last row is cut: 2 of 5 columns. It is read without; the recorder was stopped while it wrote.".into()
            }]
        );
    }

    #[test]
    fn frame_starts_alone_give_one_frame_less_than_rows() {
        let (layout, segment) = one_segment(B3);
        assert_eq!(roles(&layout), [(Role::Elapsed, Unit::Millisecond), (Role::CardWork, Unit::Millisecond)]);
        assert_eq!((layout.encoding, layout.delimiter, layout.decimal), (Encoding::Utf16Le, ';', ','));
        assert_eq!(layout.header_line, 4);
        assert_eq!(segment.recording.rows(), 900);
        assert!((segment.recording.tracks[0].values[0] - 0.005_074).abs() < 1e-15);
    }

    #[test]
    fn wall_clock_stamps_and_microseconds() {
        let (layout, segment) = one_segment(C3);
        assert_eq!(
            roles(&layout),
            [
                (Role::WallClock, Unit::Iso8601),
                (Role::FrameTime, Unit::Microsecond),
                (Role::Constant, Unit::None),
                (Role::Text, Unit::None),
            ]
        );
        // 2026-11-24T22:34:35.557512Z by GNU date.
        assert_eq!(segment.recording.wall_start_ns, Some(1_795_559_675_557_512_000));
        assert_eq!(segment.recording.frame_ns[0], 72_906_000);
    }

    #[test]
    fn sensor_logs_are_companions() {
        for (bytes, rows) in [(SENSORS_A, 339), (SENSORS_B, 170)] {
            let (layout, segment) = one_segment(bytes);
            assert_eq!(
                roles(&layout),
                [
                    (Role::WallClock, Unit::Iso8601),
                    (Role::Power, Unit::Watt),
                    (Role::Clock, Unit::Megahertz),
                    (Role::Temperature, Unit::Celsius),
                    (Role::Load, Unit::Percent),
                ]
            );
            assert_eq!((segment.recording.kind, segment.recording.rows()), (Kind::Companion, rows));
            assert!(segment.recording.frame_ns.is_empty());
        }
    }
}

/// The same content in other clothes.
mod properties {
    use proptest::prelude::*;

    use super::*;

    /// Frames as whole tenths of a microsecond, so that milliseconds with four places hold them.
    fn frames() -> impl Strategy<Value = Vec<i64>> {
        prop::collection::vec(20_000_i64..400_000, 30..120)
    }

    #[derive(Clone, Copy, Debug)]
    struct Clothes {
        delimiter: char,
        decimal: char,
        encoding: u8,
        line_end: &'static str,
        swapped: bool,
        preamble: bool,
        last_end: bool,
    }

    fn clothes() -> impl Strategy<Value = Clothes> {
        (
            prop::sample::select(vec![(',', '.'), (';', '.'), (';', ','), ('\t', '.'), ('\t', ',')]),
            0_u8..6,
            prop::sample::select(vec!["\n", "\r\n", "\r"]),
            any::<[bool; 3]>(),
        )
            .prop_map(|((delimiter, decimal), encoding, line_end, [swapped, preamble, last_end])| {
                Clothes { delimiter, decimal, encoding, line_end, swapped, preamble, last_end }
            })
    }

    fn written(frames: &[i64], c: Clothes) -> Vec<u8> {
        let number = |tenths: i64| format!("{}{}{:04}", tenths / 10_000, c.decimal, tenths % 10_000);
        let row = |cells: [String; 3]| {
            let [a, b, d] = cells;
            let cells = if c.swapped { [d, b, a] } else { [a, b, d] };
            cells.join(&c.delimiter.to_string())
        };
        let mut lines = Vec::new();
        if c.preamble {
            lines.extend(["bench alder, third run".to_owned(), String::new()]);
        }
        lines.push(row(["begun (ms)".into(), "frame time (ms)".into(), "température [°C]".into()]));
        let mut at = 12_345_678;
        for (i, frame) in frames.iter().enumerate() {
            lines.push(row([number(at), number(*frame), format!("{}", 40 + i % 7)]));
            at += frame;
        }
        let mut text = lines.join(c.line_end);
        if c.last_end {
            text += c.line_end;
        }
        let utf16 = |bytes: fn(u16) -> [u8; 2]| text.encode_utf16().flat_map(bytes).collect::<Vec<u8>>();
        match c.encoding {
            0 => text.into_bytes(),
            1 => [b"\xEF\xBB\xBF", text.as_bytes()].concat(),
            2 => text.chars().map(|ch| u8::try_from(u32::from(ch)).unwrap()).collect(),
            3 => [vec![0xFF, 0xFE], utf16(u16::to_le_bytes)].concat(),
            4 => [vec![0xFE, 0xFF], utf16(u16::to_be_bytes)].concat(),
            _ => utf16(u16::to_le_bytes),
        }
    }

    proptest! {
        #![proptest_config(ProptestConfig {
            rng_seed: proptest::test_runner::RngSeed::Fixed(7),
            ..ProptestConfig::default()
        })]

        #[test]
        fn delimiter_encoding_line_end_and_order_do_not_change_the_frames(frames in frames(), c in clothes()) {
            let (layout, segment) = one_segment(&written(&frames, c));
            let want: Vec<i64> = frames.iter().map(|f| f * 100).collect();
            prop_assert_eq!(&segment.recording.frame_ns, &want);
            prop_assert_eq!(segment.recording.at_ns.last().copied(), Some(want[..want.len() - 1].iter().sum()));
            prop_assert_eq!(layout.column(Role::Temperature).map(|t| t.name.as_str()), Some("température [°C]"));
            prop_assert!(segment.problems.is_empty(), "{:?}", segment.problems);
        }

        #[test]
        fn no_bytes_make_it_fall_over(bytes in prop::collection::vec(any::<u8>(), 0..600)) {
            read(&bytes);
        }

        #[test]
        fn no_cells_make_it_fall_over(
            rows in prop::collection::vec(
                prop::collection::vec("(-?[0-9]{1,20}(\\.[0-9]{0,20})?(e-?[0-9]{1,3})?|nan|-inf||\"|a\"b|2026-1[0-9]-2[0-9] 1[0-9]:30:0[0-9])", 1..4),
                1..40,
            )
        ) {
            let text: Vec<String> = rows.iter().map(|r| r.join(",")).collect();
            read(format!("t [s],frame [ms],x\n{}\n", text.join("\n")).as_bytes());
        }
    }
}

/// Input that is not as it should be: each sentence as a person reads it.
mod bad_input {

    use super::*;

    fn log(rows: &[&str]) -> Vec<u8> {
        format!("frame [ms]\n{}\n", rows.join("\n")).into_bytes()
    }

    fn says(bytes: &[u8]) -> Vec<(u64, u32, String)> {
        one_segment(bytes).1.problems.into_iter().map(|p| (p.line, p.column, p.says)).collect()
    }

    #[test]
    fn refusals_name_file_line_and_mend() {
        for (bytes, want) in [
            (&b""[..], "log is empty (0 bytes). Record it again, or fetch it again from the rig."),
            (
                b"\n\n \n",
                "log holds nothing but blank lines. Record it again, or fetch it again from the rig.",
            ),
            (
                b"t [s],frame [ms]\n1.0,2\0\x01\x02",
                "log, line 2: byte 22 is 0x00, so this is not text. Export the log as delimited text (comma, semicolon or tab).",
            ),
            (
                b"t [s],frame [ms],load [%]\n",
                "log, line 1: a header of 3 columns with no row of numbers below it. The recorder was stopped before the first frame: record again.",
            ),
            (
                b"a letter\nwithout numbers\n",
                "log, line 1: no rows of numbers separated by comma, semicolon, tab, bar or blanks. Export the log as delimited text.",
            ),
            (
                b"frame [ms]\n-4\nnan\n0\n-3\n",
                "log, line 2: not one of its rows gives a frame: every time is missing, zero, negative or not a number. Check column 1.",
            ),
            (
                b"name,frames,average [fps]\nfirst,900,210.5\nsecond,901,220.5\n",
                "log, line 1: a table of results or events, not the frames themselves. Give the logs that it was made from.",
            ),
            (
                b"power [W],load [%]\n300,97\n310,98\n305,97\n",
                "log, line 1: none of its 2 columns times frames or samples. Record with frame times or an elapsed time, with the unit in the header.",
            ),
            (
                b"PK\x03\x04....",
                "log is packed and damaged (invalid Zip archive: Could not find EOCD). Fetch it again, or give it unpacked.",
            ),
            (
                b"[{\"frame\": 4.1}]\n",
                "log, line 1: it is one JSON array: write it as JSON Lines (an object on each line) or as delimited text, a row for each frame.",
            ),
        ] {
            assert_eq!(refusal(bytes), want);
        }
    }

    #[test]
    fn bad_times_are_listed_by_line_and_column_and_left_out() {
        let bytes = log(&["4.1", "nan", "-3", "0", "", "4.2", "inf", "four", "4.3"]);
        let (_, segment) = one_segment(&bytes);
        assert_eq!(segment.recording.frame_ns, [4_100_000, 4_200_000, 4_300_000]);
        assert_eq!(
            says(&bytes),
            [
                (3, 1, "'nan' is not a finite number; the row is left out.".to_owned()),
                (4, 1, "'-3' is negative; the row is left out.".to_owned()),
                (5, 1, "'0' is zero; the row is left out.".to_owned()),
                (8, 1, "'inf' is not a finite number; the row is left out.".to_owned()),
                (9, 1, "'four' is not a number; the row is left out.".to_owned()),
            ]
        );
    }

    #[test]
    fn a_frame_of_more_than_an_hour_is_left_out() {
        let mut rows = vec!["4.1"; 5000];
        rows[4000] = "3600001";
        let bytes = log(&rows);
        assert_eq!(one_segment(&bytes).1.recording.rows(), 4999);
        assert_eq!(says(&bytes), [(4002, 1, "'3600001' is over an hour; the row is left out.".to_owned())]);
    }

    #[test]
    fn problems_beyond_the_list_are_counted() {
        let mut rows = vec!["4.1"; 300];
        rows.extend(vec!["nan"; 120]);
        let problems = says(&log(&rows));
        assert_eq!(problems.len(), LISTED + 1);
        assert_eq!(problems[LISTED].2, "70 more problems of these kinds; the first 50 are listed.");
    }

    /// `head`, then the same byte again and again: a file that is never in memory.
    struct Endless {
        head: Vec<u8>,
        then: u8,
        length: u64,
        at: u64,
    }

    impl std::io::Read for Endless {
        fn read(&mut self, out: &mut [u8]) -> std::io::Result<usize> {
            let left = usize::try_from(self.length - self.at).unwrap().min(out.len());
            for (i, byte) in (usize::try_from(self.at).unwrap()..).zip(&mut out[..left]) {
                *byte = self.head.get(i).copied().unwrap_or(self.then);
            }
            self.at += left as u64;
            Ok(left)
        }
    }

    impl std::io::Seek for Endless {
        fn seek(&mut self, to: std::io::SeekFrom) -> std::io::Result<u64> {
            self.at = match to {
                std::io::SeekFrom::Start(at) => at,
                std::io::SeekFrom::End(by) => self.length.saturating_add_signed(by),
                std::io::SeekFrom::Current(by) => self.at.saturating_add_signed(by),
            };
            Ok(self.at)
        }
    }

    #[test]
    fn a_gigabyte_on_one_line_is_refused_after_a_megabyte() {
        for (head, line) in [(String::new(), 1), ("frame [ms]\n".to_owned() + &"16.7\n".repeat(300), 302)] {
            let mut file = Endless { head: head.into_bytes(), then: b'7', length: 1 << 30, at: 0 };
            let mut reading = read_log(&mut file, "log", &Known::default()).unwrap();
            let Outcome::Refuse { says } = reading.members.remove(0).outcome else { panic!("it is refused") };
            let want = "longer than 1024 KiB, so this is no table of rows. Export the log as delimited text.";
            assert_eq!(says, format!("log, line {line}: {want}"));
        }
    }

    #[test]
    fn ten_thousand_columns_are_too_many_to_weigh() {
        let row = |cell: &str| vec![cell; 10_000].join(",");
        let bytes = format!("{}\n{}\n{}\n", row("a"), row("1.5"), row("2.5"));
        let want = "log, line 2: a row of 10000 columns; at most 1024 can be weighed. Write the columns that are wanted.";
        assert_eq!(refusal(bytes.as_bytes()), want);
    }

    #[test]
    fn a_name_is_shown_without_line_ends_and_turns_and_cut() {
        let name = format!("pass\n\u{202e}vsc.{}", "x".repeat(300));
        let mut reading = read_log(&mut Cursor::new(b""), &name, &Known::default()).unwrap();
        let Outcome::Refuse { says } = reading.members.remove(0).outcome else { panic!("it is refused") };
        let shown = format!("pass··vsc.{}…", "x".repeat(70));
        assert_eq!(
            says,
            format!("{shown} is empty (0 bytes). Record it again, or fetch it again from the rig.")
        );
    }

    #[test]
    fn times_that_run_backwards_are_refused_with_line_and_column() {
        let rows: Vec<String> = (0..40).map(|i| format!("{}.5,60", 900 - i)).collect();
        let bytes = format!("elapsed [s],load [%]\n{}\n", rows.join("\n"));
        let want = "log, line 2: the times in column 1 run backwards. Sort the rows by time.";
        assert_eq!(refusal(bytes.as_bytes()), want);
    }

    #[test]
    fn a_number_that_no_double_holds_is_said_where_it_stands() {
        let mut rows = vec!["4.1"; 30];
        rows[10] = "1e999";
        let says = says(&log(&rows));
        assert_eq!(says, [(12, 1, "'1e999' is not a finite number; the row is left out.".to_owned())]);
    }

    fn stamped(rows: impl Iterator<Item = usize>, swapped: bool, factor: f64) -> String {
        let frame = |i: usize| 15.0 + (i * 7 % 5) as f64;
        let mut at = 100.0;
        let row = |i| {
            let (t, ms) = (format!("{at:.6}"), format!("{:.3}", frame(i) * factor));
            at += frame(i) / 1e3;
            if swapped { format!("{ms};{t}\n") } else { format!("{t};{ms}\n") }
        };
        rows.map(row).collect()
    }

    #[test]
    fn a_unit_that_changes_half_way_is_asked_with_its_line() {
        let bytes = "t [s];frame [ms]\n".to_owned() + &stamped(0..3000, false, 1.0);
        assert!(matches!(read(bytes.as_bytes()), Outcome::Read { .. }));
        let changed = bytes + &stamped(0..3000, false, 1000.0);
        let why = question(changed.as_bytes()).why;
        assert!(why.contains("Column 2") || why.contains("column 2"), "{why}");
    }

    #[test]
    fn two_logs_put_together_with_columns_in_other_places_are_asked_not_mixed() {
        // A long log's middle and tail are those of the second: it is asked for what they say.
        let long = "t [s];frame [ms]\n".to_owned() + &stamped(0..3000, false, 1.0);
        let long = question((long + "frame [ms];t [s]\n" + &stamped(0..3000, true, 1.0)).as_bytes());
        assert!(long.candidates.iter().all(|c| c.frames <= 3000), "{:?}", long.candidates);
        for rows in [20, 300, 4000] {
            let first = "t [s];frame [ms]\n".to_owned() + &stamped(0..900, false, 1.0);
            let both = first + "frame [ms];t [s]\n" + &stamped(0..rows, true, 1.0);
            let question = question(both.as_bytes());
            let says = "two logs were put together. Cut the file there, and give both parts";
            assert!(
                question.why.starts_with("On line 902 another header") && question.why.contains(says),
                "{}",
                question.why
            );
            assert!(question.candidates.iter().all(|c| c.frames <= 900), "{:?}", question.candidates);
        }
        let same = "t [s];frame [ms]\n".to_owned() + &stamped(0..90, false, 1.0);
        let Outcome::Read { segments, .. } = read((same.clone() + &same).as_bytes()) else {
            panic!("it is read")
        };
        assert_eq!(segments.len(), 2);
    }

    #[test]
    fn a_hundred_columns() {
        let names: Vec<String> = (0..98).map(|i| format!("x{i}")).collect();
        let mut text = format!("t [s],frame [ms],{}\n", names.join(","));
        for i in 0..50_u32 {
            let others: Vec<String> = (0..98).map(|c| format!("{}", (i * 7 + c * 13) % 31)).collect();
            let frame = if i % 2 == 0 { "4.0" } else { "5.0" };
            let t = f64::from(i) * 0.0045 - if i % 2 == 0 { 0.0 } else { 0.0005 };
            text += &format!("{t:.4},{frame},{}\n", others.join(","));
        }
        let (layout, segment) = one_segment(text.as_bytes());
        assert_eq!(layout.columns.len(), 100);
        assert_eq!(segment.recording.frame_ns.iter().sum::<i64>(), 225_000_000);
    }

    #[test]
    fn a_short_row_is_left_out_with_the_frame_before_it() {
        let (_, segment) = one_segment(b"t [ms];x\n0;1\n4;1\n8.5\n12;1\n15;1\n19.5;1\n");
        assert_eq!(segment.recording.frame_ns, [4_000_000, 3_000_000, 4_500_000]);
        assert_eq!(segment.recording.at_ns, [0, 12_000_000, 15_000_000]);
        assert_eq!(segment.problems[0].says, "The row has 1 of 2 columns and is left out.");
    }

    #[test]
    fn a_last_row_cut_in_its_first_cell_does_not_make_one_column_of_two() {
        let mut log = String::new();
        for start in 0..2 {
            log += "\"elapsed time, ns\",\"frame time, ns\"\n";
            let mut at = 0;
            for i in 0..119 {
                let frame = 2_600_000 + (i * 7919 + start * 31) % 200_000;
                log += &format!("{at},{frame}\n");
                at += frame;
            }
        }
        log += "3120";
        match read(log.as_bytes()) {
            Outcome::Read { layout, segments } => {
                assert_eq!(layout.columns.len(), 2, "{layout:?}");
                let frames: Vec<usize> = segments.iter().map(|s| s.recording.frame_ns.len()).collect();
                assert_eq!(frames, [119, 119]);
            }
            other => panic!("{other:?}"),
        }
    }

    #[test]
    fn a_number_cut_in_its_digits_is_no_frame() {
        let (_, segment) = one_segment(b"frame [ms]\n4.125\n4.250\n4.1");
        assert_eq!(segment.recording.frame_ns.len(), 2);
    }

    #[test]
    fn gzip_is_read_through() {
        let plain = log(&["4.1", "4.2", "4.3"]);
        let (_, segment) = one_segment(&packed(&plain));
        assert_eq!(segment.recording.frame_ns, one_segment(&plain).1.recording.frame_ns);
    }

    #[test]
    fn a_gzip_bomb_is_refused() {
        let known = Known {
            limits: Limits { unpacked: 8 << 20, rows: 10_000_000, ..Limits::default() },
            ..Known::default()
        };
        let mut bytes = b"frame [ms]\n".to_vec();
        bytes.extend(b"4.1\n".repeat(4 << 20));
        let refusal = |bytes: &[u8], known: &Known<'_>| match read_known(bytes, known) {
            Outcome::Refuse { says } => says,
            other => panic!("{other:?}"),
        };
        assert_eq!(
            refusal(&packed(&bytes), &known),
            "log unpacks to more than 8 MiB. A log is smaller: give the part that is wanted."
        );
        let known = Known {
            limits: Limits { unpacked: 1 << 30, rows: 1_000_000, ..Limits::default() },
            ..Known::default()
        };
        assert_eq!(
            refusal(&packed(&bytes), &known),
            "log, line 1000002: more than 1000000 rows. Cut the log into passes."
        );
        assert_eq!(
            refusal(&packed(&vec![b'7'; 4 << 20]), &known),
            "log, line 1: longer than 1024 KiB, so this is no table of rows. Export the log as delimited text."
        );
    }

    #[test]
    fn damaged_gzip_is_refused() {
        let mut bytes = packed(&log(&vec!["4.1"; 5000]));
        bytes.truncate(bytes.len() - 6);
        let says = refusal(&bytes);
        assert!(says.starts_with("log is packed and damaged ("), "{says}");
        assert!(says.ends_with("Fetch it again, or give it unpacked."), "{says}");
    }
}

/// What cannot be proved is asked, and the answer is kept.
mod questions {
    use super::*;

    const LONE: &[u8] = b"v\n16.1\n17.2\n16.6\n15.9\n16.4\n";

    #[test]
    fn a_lone_column_without_a_unit() {
        let question = question(LONE);
        assert_eq!(
            question.why,
            "Column 1 may hold frame times, but nothing in the log proves what it is or its unit."
        );
        assert_eq!(question.rows[0], ["16.1"]);
        let [candidate, as_rate] = question.candidates.as_slice() else {
            panic!("{:?}", question.candidates)
        };
        assert_eq!(candidate.says, "frame times in column 1, in milliseconds");
        assert_eq!(as_rate.says, "each row a frame, its rate in column 1");
        assert_eq!((candidate.frames, candidate.seconds), (5, 0.0822));
        assert!((candidate.average_fps - 5.0 / 0.0822).abs() < 1e-9);
    }

    #[test]
    fn the_answer_is_remembered_for_the_shape() {
        let asked = question(LONE);
        let layout = Layout::answer(&asked, Kind::Frames, &[(Role::FrameTime, Unit::Millisecond)]).unwrap();
        let kept: Layout = serde_json::from_str(&serde_json::to_string(&layout).unwrap()).unwrap();
        let shape = kept.shape();
        let remembered = |asked: &str| (asked == shape).then(|| kept.clone());
        let known = Known { remembered: &remembered, ..Known::default() };
        let Outcome::Read { segments, .. } = read_known(b"V \r\n17\r\n18\r\n", &known) else { panic!() };
        assert_eq!(segments[0].recording.frame_ns, [17_000_000, 18_000_000]);
        let Outcome::Ask(again) = read_known(b"v\n0.00001\n0.00002\n0.000015\n", &known) else { panic!() };
        assert_eq!(
            again.why,
            "The layout remembered for this header does not fit this log: column 1 would give 66666666.6667 fps."
        );
    }

    #[test]
    fn rows_of_which_every_second_was_written() {
        let mut log = "image,t [s]\n".to_owned();
        let mut at = 0.0;
        for i in 0..200 {
            log += &format!("{},{at:.4}\n", 40 + 2 * i);
            at += 0.011 + f64::from(i * 7 % 5) * 0.0004;
        }
        assert_eq!(
            question(log.as_bytes()).why,
            "Column 1 counts by 2 from row to row: is each row a frame, or was one of 2 written?"
        );
        let by_one = log.lines().enumerate().map(|(i, line)| {
            line.split_once(',').map_or(String::new(), |(_, t)| {
                if i > 0 { format!("{i},{t}\n") } else { format!("image,{t}\n") }
            })
        });
        one_segment(by_one.collect::<String>().as_bytes());
    }

    #[test]
    fn rows_a_second_apart_are_no_thousand_frames() {
        let mut log = "when;much\n".to_owned();
        for i in 0..300 {
            let late = f64::from(i * 7919 % 13) * 0.001;
            log += &format!("{:.5};{}\n", 812.0 + f64::from(i) + late, 140 + i * 31 % 17);
        }
        let why = question(log.as_bytes()).why;
        assert!(why.contains("in several units of time") || why.contains("keeps its step"), "{why}");
        let alone: String =
            log.lines().map(|line| format!("{}\n", line.split(';').next().unwrap_or(""))).collect();
        assert_eq!(
            question(alone.as_bytes()).why,
            "Column 1 keeps its step of 1.0 milliseconds, and its header names no unit: frames, or samples a thousand times further apart?"
        );
    }

    #[test]
    fn a_rate_noted_once_a_second_is_no_frame() {
        let mut log = "at,frames per second\n".to_owned();
        for i in 0..200_i64 {
            let ms = 1_782_900_000_000 + 1000 * i + i * 7919 % 11;
            log += &format!("{ms},{}\n", 90 + i * 37 % 23);
        }
        assert_eq!(
            question(log.as_bytes()).why,
            "The steps of column 1 are all the same: frames under a cap, or samples?"
        );
    }

    #[test]
    fn stamps_too_coarse_for_their_frames() {
        let mut at = 0.0_f64;
        let mut log = "t\n".to_owned();
        for i in 0..1000 {
            log += &format!("{:.0}\n", 1_782_900_000_000.0 + at);
            at += if i % 100 == 0 { 0.3 } else { 1.2 };
        }
        let why = question(log.as_bytes()).why;
        assert!(why.starts_with("The stamps in column 1 are too coarse"), "{why}");
    }

    #[test]
    fn answers_that_time_nothing_are_refused() {
        let asked = question(LONE);
        for (chosen, says) in [
            (vec![(Role::Other, Unit::None)], "No column times the rows"),
            (vec![(Role::FrameTime, Unit::Watt)], "Column 1 (v) needs a unit of time."),
            (vec![], "The log has 1 columns, the answer names 0"),
        ] {
            let refused = Layout::answer(&asked, Kind::Frames, &chosen).unwrap_err();
            assert!(refused.starts_with(says), "{refused}");
        }
    }

    #[test]
    fn microseconds_since_a_rig_was_started_are_no_date() {
        let mut log = "elapsed (us),frame time (ms)\n".to_owned();
        let mut at = 1_777_402_475.7_f64;
        for i in 0..200 {
            let ms = 13.0 + f64::from(i % 7) * 0.3;
            log.push_str(&format!("{at:.1},{ms:.3}\n"));
            at += ms * 1000.0;
        }
        let (layout, segment) = one_segment(log.as_bytes());
        assert_eq!(
            roles(&layout),
            [(Role::Elapsed, Unit::Microsecond), (Role::FrameTime, Unit::Millisecond)]
        );
        assert_eq!(segment.recording.rows(), 200);
    }

    #[test]
    fn what_is_named_a_mean_times_frames_only_where_it_follows_the_stamps_in_every_row() {
        let log = |apart: f64| {
            let mut log = "t [s],smoothed [ms]\n".to_owned();
            let mut at = 0.0_f64;
            for i in 0..300 {
                let ms = 7.0 + f64::from(i * 31 % 11) * 0.01;
                let off =
                    [(20, apart), (50, -apart)].iter().find(|(n, _)| i % 60 == *n).map_or(0.0, |(_, by)| *by);
                log.push_str(&format!("{:.3},{:.3}\n", at / 1000.0, ms + off));
                at += ms;
            }
            log
        };
        let timed = |bytes: &[u8]| match read(bytes) {
            Outcome::Read { layout, .. } => roles(&layout).contains(&(Role::FrameTime, Unit::Millisecond)),
            _ => false,
        };
        assert!(timed(log(0.0).as_bytes()));
        assert!(!timed(log(4.0).as_bytes()));
    }

    #[test]
    fn decimal_commas_with_words_between_semicolons_cut_no_long_log_at_its_commas() {
        let mut log = "Bildzeit, ms;verworfen;Prozess;Notiz;Zeit, ms\n".to_owned();
        let mut at = 69_857_249.13_f64;
        for i in 0..700 {
            let ms = 7.0 + f64::from(i % 9) * 0.11;
            log.push_str(&format!("{ms:.2};no;saltmarsh;1;{at:.2}\n").replace('.', ","));
            at += ms;
        }
        let (layout, segment) = one_segment(log.as_bytes());
        assert_eq!((layout.columns.len(), segment.recording.rows()), (5, 700));
    }

    #[test]
    fn units_that_contradict_the_numbers() {
        let question = question(b"t [s],frame [s]\n0,16\n0.016,17\n0.033,16\n0.049,18\n0.067,16\n");
        assert_eq!(
            question.why,
            "The units that columns 1 and 2 name do not go together: their numbers are a factor of 10^3 apart."
        );
    }

    #[test]
    fn a_named_frame_time_that_does_not_follow_the_clock() {
        let question = question(b"t [s],frame [ms]\n0,16.1\n0.5,17.2\n1.01,16.3\n1.5,18.4\n2.0,16.5\n");
        assert!(
            question
                .why
                .starts_with("Column 2 is named as frame time, but it is not the differences of column 1")
        );
        assert_eq!(question.candidates.len(), 3);
    }
}

/// Clocks that jump, zones, stamps taken at the end.
mod clocks {
    use super::*;

    fn log(rows: &[(f64, f64)]) -> Vec<u8> {
        let rows: Vec<String> = rows.iter().map(|(t, d)| format!("{t:.4},{d:.1}")).collect();
        format!("t [s],frame [ms]\n{}\n", rows.join("\n")).into_bytes()
    }

    #[test]
    fn a_restart_begins_a_segment() {
        let mut rows: Vec<_> = (0..200).map(|i| (100.0 + f64::from(i) * 0.004, 4.0)).collect();
        rows.extend((0..100).map(|i| (3.0 + f64::from(i) * 0.004, 4.0)));
        let Outcome::Read { segments, .. } = read(&log(&rows)) else { panic!() };
        let frames: Vec<usize> = segments.iter().map(|s| s.recording.rows()).collect();
        assert_eq!(frames, [200, 100]);
        assert_eq!(segments[1].recording.at_ns[..2], [0, 4_000_000]);
        assert_eq!(
            segments[0].problems[0].says,
            "The clock goes back by 97.796 s: a new segment begins here."
        );
    }

    /// What goes by time, such as the screens, would else go through the years between.
    #[test]
    fn no_segment_reaches_over_a_leap_of_the_clock() {
        let (wrong, leap) = (|i: i64| if i == 150 { Some(0) } else { None }, 3600 * 24 * 366 * 10);
        let stamp = |i: i64| 1_766_548_796_000_000_000 + i * 4_000_000 + i * 7 % 5 * 90_000;
        let log = |head: &str, row: &dyn Fn(i64) -> String| {
            (0..300).fold(format!("{head}\n"), |text, i| text + &row(i) + "\n")
        };
        let longest = |text: String| {
            let Outcome::Read { segments, .. } = read(text.as_bytes()) else { panic!("{text}") };
            let ends = segments.iter().filter_map(|s| s.recording.at_ns.last().copied());
            (segments.iter().map(|s| s.recording.rows()).sum::<usize>(), ends.max().unwrap())
        };
        let timed = log("stamp [ns],frame time [ms]", &|i| {
            let ms = (stamp(i + 1) - stamp(i)) as f64 / 1e6;
            format!("{},{ms:.3}", wrong(i).unwrap_or(stamp(i)))
        });
        let (rows, end) = longest(timed);
        assert!(rows == 300 && end < 2_000_000_000, "{rows} {end}");
        let stamped = log("frame start [ns]", &|i| {
            (stamp(i) + if i > 200 { leap * 1_000_000_000 } else { 0 }).to_string()
        });
        let (rows, end) = longest(stamped);
        assert!(rows > 295 && end < 2_000_000_000, "{rows} {end}");
        let sampled = log("stamp [ms],power [W]", &|i| {
            format!(
                "{},{}",
                1_766_548_796_000 + i * 1000 + if i > 200 { leap * 1000 } else { 0 },
                200 + i % 7
            )
        });
        let (rows, end) = longest(sampled);
        assert!(rows == 300 && end < 400_000_000_000, "{rows} {end}");
    }

    #[test]
    fn one_stamp_that_is_wrong_takes_no_time_with_it() {
        let mut text = "frame start [ms]\n".to_owned();
        for i in 0..300 {
            let at = 5000.0 + f64::from(i) * 12.0 + f64::from(i * 7 % 5) * 0.3;
            text += &if i == 150 { "0.0\n".to_owned() } else { format!("{at:.1}\n") };
        }
        let Outcome::Read { segments, .. } = read(text.as_bytes()) else { panic!() };
        let longest: Vec<_> = segments.iter().filter_map(|s| s.recording.frame_ns.iter().max()).collect();
        assert!(longest.iter().all(|ns| **ns < 14_000_000), "{longest:?}");
        let frames: Vec<usize> = segments.iter().map(|s| s.recording.rows()).collect();
        assert_eq!(frames, [149, 148]);
        let says: Vec<&str> = segments.iter().flat_map(|s| &s.problems).map(|p| p.says.as_str()).collect();
        assert!(
            says.contains(&"The stamp is far before both its neighbours; the row is left out."),
            "{says:?}"
        );
    }

    #[test]
    fn stamps_at_the_end_are_moved_to_the_start() {
        let rows = [(1.004, 4.0), (1.009, 5.0), (1.012, 3.0), (1.018, 6.0), (1.023, 5.0)];
        let (layout, segment) = one_segment(&log(&rows));
        assert_eq!(layout.stamp_at, StampAt::End);
        assert_eq!(segment.recording.at_ns, [0, 4_000_000, 9_000_000, 12_000_000, 18_000_000]);
    }

    #[test]
    fn a_clock_without_zone_takes_the_rigs() {
        let bytes = b"at;frame [us]\n2026-07-01 12:00:00.000000;4000\n2026-07-01 12:00:00.004000;4100\n2026-07-01 12:00:00.008100;3900\n";
        let (_, segment) = one_segment(bytes);
        assert_eq!(segment.recording.wall_start_ns, None);
        assert_eq!(
            segment.problems[0].says,
            "The stamps name no zone: without the rig's zone, companions cannot be placed by them."
        );
        let zone = TimeZone::get("Europe/Vienna").unwrap();
        let known = Known { zone: Some(&zone), ..Known::default() };
        let Outcome::Read { segments, .. } = read_known(bytes, &known) else { panic!() };
        // 10:00 UTC by GNU date.
        assert_eq!(segments[0].recording.wall_start_ns, Some(1_782_900_000_000_000_000));
        assert_eq!(
            segments[0].problems[0].says,
            "The stamps name no zone; they are taken as Europe/Vienna, the zone of the rig."
        );
    }

    #[test]
    fn unix_time_is_a_wall_clock() {
        let mut text = "when,took\n".to_owned();
        let mut ms = 1_782_900_000_000_i64;
        for i in 0..200 {
            let took = 3 + i % 4;
            text += &format!("{}.{:03},{took}\n", ms / 1000, ms % 1000);
            ms += took;
        }
        let (layout, segment) = one_segment(text.as_bytes());
        assert_eq!(roles(&layout), [(Role::WallClock, Unit::Second), (Role::FrameTime, Unit::Millisecond)]);
        assert_eq!(segment.recording.wall_start_ns, Some(1_782_900_000_000_000_000));
    }
}
