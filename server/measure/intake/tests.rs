//! Reading from bytes to frames: real captures, the same content written in other ways, and bad input.

use std::io::Cursor;

use super::*;
use crate::recording::{Role, Unit};

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
