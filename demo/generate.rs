//! Generates everything once, prints how much there is and how long it took, and writes it to a folder if one is named.

#![expect(clippy::print_stdout, reason = "this is what the example is for")]

use std::path::Path;
use std::time::Instant;

fn main() -> std::io::Result<()> {
    let folder = std::env::args().nth(1);
    let began = Instant::now();
    let demo = weighhouse_demo::bench_week(1, jiff::Timestamp::UNIX_EPOCH);
    let (mut logs, mut sensors, mut largest) = (0, 0, 0);
    for pass in &demo.passes {
        let log = pass.log();
        let sensor_log = pass.sensors().unwrap_or_default();
        logs += log.len();
        sensors += sensor_log.len();
        largest = largest.max(log.len());
        if let Some(folder) = &folder {
            std::fs::write(Path::new(folder).join(&pass.file_name), log)?;
            if let Some(name) = &pass.sensors_name {
                std::fs::write(Path::new(folder).join(name), sensor_log)?;
            }
        }
    }
    let (passes, seconds) = (demo.passes.len(), began.elapsed().as_secs_f64());
    println!(
        "{passes} passes, logs {logs} bytes (largest {largest}), sensors {sensors} bytes, {seconds:.2} s"
    );
    Ok(())
}
