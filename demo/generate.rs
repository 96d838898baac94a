//! Generates everything once and prints how much there is and how long it took.

#![expect(clippy::print_stdout, reason = "this is what the example is for")]

use std::time::Instant;

fn main() {
    let began = Instant::now();
    let demo = weighhouse_demo::bench_week(1, jiff::Timestamp::UNIX_EPOCH);
    let (mut logs, mut sensors, mut largest) = (0, 0, 0);
    for pass in &demo.passes {
        let log = pass.log().len();
        logs += log;
        largest = largest.max(log);
        sensors += pass.sensors().map_or(0, |bytes| bytes.len());
    }
    println!(
        "{} passes, logs {logs} bytes (largest {largest}), sensors {sensors} bytes, {:.2} s",
        demo.passes.len(),
        began.elapsed().as_secs_f64()
    );
}
