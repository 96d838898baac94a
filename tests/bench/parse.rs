//! How fast logs become recordings: bytes a second on one thread, whole reading (head, evidence, rows).
//!
//! `cargo bench -p weighhouse-measure --bench parse`

use std::fmt::Write as _;
use std::hint::black_box;
use std::io::Cursor;

use divan::Bencher;
use divan::counter::BytesCount;
use weighhouse_measure::intake::{Known, LogReading, read_log};

fn main() {
    divan::main();
}

/// Frame durations in whole tenths of a microsecond: an even load with a slow wave.
fn frames(count: i64) -> impl Iterator<Item = i64> {
    (0..count).map(|i| 40_000 + (i * 7919) % 3_001 + (i / 500 % 40) * 113)
}

/// Elapsed seconds, frame time, three work times: 39 bytes a row.
fn five_columns(count: i64) -> Vec<u8> {
    let mut text = String::from("t_s,frame_ms,card_ms,cpu_ms,shown_ms\n");
    let mut at = 698_572_490;
    for frame in frames(count) {
        let ms = |tenths: i64| format!("{}.{:04}", tenths / 10_000, tenths % 10_000);
        let (work, cpu, shown) = (ms(frame - 37), ms(frame / 7), ms(frame * 3));
        let row = format!("{}.{:07},{},{work},{cpu},{shown}\n", at / 10_000_000, at % 10_000_000, ms(frame));
        text += &row;
        at += frame;
    }
    text.into_bytes()
}

/// Wall clock and whole microseconds, tab, a constant and words: 46 bytes a row.
fn stamps(count: i64) -> Vec<u8> {
    let mut text = String::from("at\tspan_us\twidth\tremark\n");
    let mut us = 0;
    for frame in frames(count) {
        let (s, rest) = (us / 1_000_000, us % 1_000_000);
        let clock = format!("{:02}:{:02}:{:02}.{rest:06}", s / 3600, s / 60 % 60, s % 60);
        let written = writeln!(text, "2026-03-04T{clock}+00:00\t{}\t3840\tok", frame / 10);
        assert!(written.is_ok());
        us += frame / 10;
    }
    text.into_bytes()
}

fn read(bytes: &[u8]) -> LogReading {
    match read_log(&mut Cursor::new(black_box(bytes)), "bench", &Known::default()) {
        Ok(reading) => reading,
        Err(e) => unreachable!("memory does not fail: {e}"),
    }
}

/// A pass of 9 000 frames, and a log of a million.
#[divan::bench(args = [9_000, 1_000_000])]
fn five_columns_plain(bencher: Bencher, rows: i64) {
    let bytes = five_columns(rows);
    bencher.counter(BytesCount::new(bytes.len())).bench(|| read(&bytes));
}

#[divan::bench(args = [9_000, 1_000_000])]
fn wall_clock_tabs(bencher: Bencher, rows: i64) {
    let bytes = stamps(rows);
    bencher.counter(BytesCount::new(bytes.len())).bench(|| read(&bytes));
}
