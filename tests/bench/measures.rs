//! Benchmarks of the measures of a pass, its interval at several block lengths, and the screens that look at it alone.
//!
//! `cargo bench -p weighhouse-measure --bench measures`; the times beside `arch` are in DEVELOPERS.md, and
//! `tests/reference/time_arch.py` takes the other side.

use divan::{Bencher, counter::ItemsCount};
use weighhouse_measure::measures::{PassInput, Seed, interval, measure, pacing};
use weighhouse_measure::recording::{Kind, Recording, Window};
use weighhouse_measure::screens::{ScreenInput, screen_pass};
use weighhouse_measure::stats::rng::{Streams, unit};

fn main() {
    divan::main();
}

const SEED: Seed = Seed { digest: [1; 32], segment: 0 };

/// Frame times around 8 ms whose logs follow an autoregression, with a hitch now and then.
fn frame_ns(n: usize, memory: f64) -> Vec<i64> {
    let mut random = Streams::of(&[b"bench"]).stream(0);
    let mut load = 0.0;
    let mut next = || {
        load = memory * load + (unit(random.bits()) - 0.5) * 0.2;
        let hitch = if unit(random.bits()) < 0.004 { 3.0 } else { 1.0 };
        let us = (8000.0 * load.exp() * hitch).round();
        (0..100_000).find(|&t| f64::from(t) >= us).map_or(8_000_000, |t| i64::from(t) * 1000)
    };
    (0..n).map(|_| next()).collect()
}

fn recording(frame_ns: Vec<i64>) -> Recording {
    let at_ns = frame_ns.iter().scan(0, |t, ns| Some(std::mem::replace(t, *t + ns))).collect();
    Recording { kind: Kind::Frames, wall_start_ns: None, at_ns, frame_ns, tracks: vec![] }
}

/// The interval alone; the argument is the memory of the load, which sets the block length.
#[divan::bench(args = [0.0, 0.9, 0.97, 0.995])]
fn interval_of_9000_frames(bencher: Bencher<'_, '_>, memory: f64) {
    let frames = frame_ns(9000, memory);
    let window = Window { start_ns: 0, end_ns: i64::MAX };
    bencher
        .counter(ItemsCount::new(frames.len()))
        .bench(|| interval::intervals(divan::black_box(&frames), SEED, window));
}

/// The interval on one thread.
#[divan::bench(args = [0.97, 0.995])]
fn interval_on_one_thread(bencher: Bencher<'_, '_>, memory: f64) {
    let frames = frame_ns(9000, memory);
    let window = Window { start_ns: 0, end_ns: i64::MAX };
    let Ok(pool) = rayon::ThreadPoolBuilder::new().num_threads(1).build() else { return };
    bencher.bench(|| pool.install(|| interval::intervals(divan::black_box(&frames), SEED, window)));
}

/// All measures with the interval.
#[divan::bench(args = [9000, 200_000])]
fn all_measures(bencher: Bencher<'_, '_>, frames: usize) {
    let recording = recording(frame_ns(frames, 0.97));
    let input = PassInput { recording: &recording, window: recording.whole(), companions: &[], seed: SEED };
    bencher.counter(ItemsCount::new(frames)).bench(|| measure(divan::black_box(&input)));
}

/// Hitches alone: a running median over each frame's neighbours.
#[divan::bench]
fn hitches_of_200000_frames(bencher: Bencher<'_, '_>) {
    let recording = recording(frame_ns(200_000, 0.97));
    bencher
        .counter(ItemsCount::new(recording.rows()))
        .bench(|| pacing::hitches(divan::black_box(&recording.at_ns), &recording.frame_ns, 0));
}

/// All screens that look at a pass alone, on one thread.
#[divan::bench(args = [9000, 200_000])]
fn screens_of_a_pass(bencher: Bencher<'_, '_>, frames: usize) {
    let recording = recording(frame_ns(frames, 0.97));
    let input = ScreenInput { recording: &recording, window: recording.whole(), companions: &[] };
    let Ok(pool) = rayon::ThreadPoolBuilder::new().num_threads(1).build() else { return };
    bencher.counter(ItemsCount::new(frames)).bench(|| pool.install(|| screen_pass(divan::black_box(&input))));
}
