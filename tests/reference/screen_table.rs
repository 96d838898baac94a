//! Prints how often each screen finds faults of graded size, and how often it flags clean passes.
//!
//! `cargo run -p weighhouse-measure --example screen_table [cells of each kind, default 40]`

mod screen_passes;

use std::io::{self, Write};

use screen_passes::{Fault, MANNERS, Manner, Rng, Scene, pass, sensors};
use weighhouse_measure::recording::{Placed, Placing, Recording};
use weighhouse_measure::screens::{
    CellPass, CellSpread, Flag, FlagKind, Profile, ScreenInput, Spread, Timing, screen_among, screen_cell,
    screen_pass,
};

/// Seconds of a pass.
const SECONDS: f64 = 60.0;
/// Sensors begin with the pass.
const AT_ONCE: Placing = Placing { offset_ns: 0, drift_ppb: 0 };

fn ln_average(recording: &Recording) -> f64 {
    let total: i64 = recording.frame_ns.iter().sum();
    libm::log(recording.frame_ns.len() as f64 / (total as f64 / 1e9))
}

/// A pass with its sensors.
struct Pass {
    frames: Recording,
    sensors: Recording,
}

/// All flags of each pass of a cell, as the service would derive them.
fn screen(passes: &[Pass], spread: &CellSpread, timing: Timing) -> Vec<Vec<Flag>> {
    let placed: Vec<[Placed<'_>; 1]> =
        passes.iter().map(|pass| [Placed { recording: &pass.sensors, placing: AT_ONCE }]).collect();
    let inputs: Vec<ScreenInput<'_>> = passes
        .iter()
        .zip(&placed)
        .map(|(pass, companions)| ScreenInput {
            recording: &pass.frames,
            window: pass.frames.whole(),
            companions,
        })
        .collect();
    let profiles: Vec<Profile> = inputs.iter().map(Profile::of).collect();
    let cell: Vec<CellPass> = inputs
        .iter()
        .map(|i| CellPass { window: i.window, ln_average: ln_average(i.recording), ln_low: None })
        .collect();
    let odd = screen_cell(&cell, spread);
    let judge = |i: usize| {
        let siblings: Vec<&Profile> = (0..profiles.len()).filter(|j| *j != i).map(|j| &profiles[j]).collect();
        screen_among(&screen_pass(&inputs[i]), &profiles[i], &siblings, timing)
    };
    (0..passes.len()).zip(odd).map(|(i, odd)| judge(i).into_iter().chain(odd).collect()).collect()
}

fn cell(manner: Manner, size: usize, fault: Fault, rng: &mut Rng) -> Vec<Pass> {
    let scene = Scene::new(manner, SECONDS, rng);
    let one = |i: usize| {
        let fault = if i == 0 { fault } else { Fault::None };
        let frames = pass(&scene, fault, rng);
        Pass { frames, sensors: sensors(&scene, fault, &mut Rng::new(i as u64)) }
    };
    (0..size).map(one).collect()
}

/// Spread of the average between clean passes of a kind, as a piece's prior would have it (pooled variance).
fn prior(manner: Manner, seed: u64) -> CellSpread {
    let (mut square, mut df) = (0.0, 0.0);
    for k in 0..12 {
        let passes = cell(manner, 4, Fault::None, &mut Rng::new(seed + 7_000_000 + k));
        let averages: Vec<f64> = passes.iter().map(|pass| ln_average(&pass.frames)).collect();
        let mean = averages.iter().sum::<f64>() / 4.0;
        square += averages.iter().map(|a| (a - mean) * (a - mean)).sum::<f64>();
        df += 3.0;
    }
    CellSpread { average: Some(Spread { sd: (square / df).sqrt(), df }), low: None }
}

/// Wilson 95 % interval of a share, as per cent.
fn interval(found: usize, of: usize) -> String {
    let (n, p, z) = (of as f64, found as f64 / of as f64, 1.96);
    let middle = (p + z * z / (2.0 * n)) / (1.0 + z * z / n);
    let half = z * (p * (1.0 - p) / n + z * z / (4.0 * n * n)).sqrt() / (1.0 + z * z / n);
    format!("{:5.1} [{:.1}, {:.1}]", 100.0 * p, 100.0 * (middle - half).max(0.0), 100.0 * (middle + half))
}

fn clean(out: &mut impl Write, cells: u64) -> io::Result<()> {
    for size in [1, 2, 3, 4, 6] {
        let (mut passes, mut all) = (0, 0);
        let mut by_kind = [0; FlagKind::ALL.len()];
        let mut by_manner = [0; MANNERS.len()];
        for (m, manner) in MANNERS.into_iter().enumerate() {
            let spread = prior(manner, 31 * size as u64);
            for k in 0..cells {
                let cell =
                    cell(manner, size, Fault::None, &mut Rng::new(1000 * k + 17 * size as u64 + m as u64));
                for flags in screen(&cell, &spread, manner.timing()) {
                    passes += 1;
                    all += flags.len();
                    by_manner[m] += flags.len();
                    for flag in flags {
                        by_kind[FlagKind::ALL.iter().position(|x| *x == flag.kind).unwrap_or(0)] += 1;
                    }
                }
            }
        }
        writeln!(
            out,
            "clean, cells of {size}: {all} flags in {passes} passes = {} per 100",
            interval(all, passes)
        )?;
        for (kind, n) in FlagKind::ALL.iter().zip(by_kind) {
            write!(out, "  {} {n};", kind.name())?;
        }
        writeln!(out)?;
        for (manner, n) in MANNERS.iter().zip(by_manner) {
            write!(out, "  {} {n};", manner.name)?;
        }
        writeln!(out)?;
    }
    Ok(())
}

fn faults() -> Vec<(FlagKind, String, Fault)> {
    let mut all = Vec::new();
    for factor in [1.1, 1.2, 1.3, 1.5, 2.0] {
        all.push((
            FlagKind::LevelStep,
            format!("4 s at x{factor}"),
            Fault::Step { from: 21.3, seconds: 4.0, factor },
        ));
    }
    for factor in [1.02, 1.03, 1.05, 1.08, 1.12] {
        all.push((
            FlagKind::LevelStep,
            format!("last 25 s at x{factor}"),
            Fault::Step { from: 35.0, seconds: 99.0, factor },
        ));
    }
    for change in [0.03, 0.05, 0.08, 0.12] {
        all.push((FlagKind::SlowDrift, format!("drift of {change}"), Fault::Drift(change)));
    }
    for hitches in [4, 6, 10, 20] {
        all.push((
            FlagKind::HitchCluster,
            format!("{hitches} hitches in 3 s"),
            Fault::Cluster { from: 30.0, hitches },
        ));
    }
    for seconds in [0.5, 1.0, 1.5, 2.5] {
        all.push((
            FlagKind::HitchCluster,
            format!("freeze of {seconds} s"),
            Fault::Freeze { from: 30.0, seconds },
        ));
    }
    for factor in [0.8, 1.0, 1.2, 1.5] {
        all.push((FlagKind::FrameCap, format!("cap at {factor} of the usual duration"), Fault::Cap(factor)));
    }
    for seconds in [0.05, 0.2, 1.0, 3.0] {
        all.push((FlagKind::Gap, format!("{seconds} s left out"), Fault::Gap { from: 30.0, seconds }));
    }
    for (seconds, factor) in [(4.0, 1.2), (4.0, 1.5), (10.0, 1.15), (10.0, 1.3)] {
        all.push((
            FlagKind::WarmUp,
            format!("{seconds} s from x{factor} down"),
            Fault::WarmUp { seconds, factor },
        ));
    }
    for every in [0.5, 1.0, 2.0, 5.0] {
        all.push((FlagKind::PeriodicHitching, format!("30 ms every {every} s"), Fault::Timer { every }));
    }
    for share in [0.05, 0.1, 0.2, 0.4] {
        all.push((FlagKind::Cadence, format!("pairs of +-{share}"), Fault::Pairs(share)));
    }
    for later in [2.0, 5.0, 17.0, 40.0] {
        all.push((FlagKind::OtherContent, format!("begins {later} s later"), Fault::Later(later)));
    }
    for (work, factor) in [(1.15, 1.0), (1.3, 1.05), (1.5, 1.1)] {
        all.push((
            FlagKind::BackgroundLoad,
            format!("8 s, work x{work}, frames x{factor}"),
            Fault::Background { from: 21.3, seconds: 8.0, work, factor },
        ));
    }
    for clock in [0.97, 0.95, 0.9, 0.8] {
        all.push((
            FlagKind::Throttling,
            format!("last 20 s, clock x{clock}"),
            Fault::Throttle { from: 40.0, seconds: 99.0, clock },
        ));
    }
    for factor in [1.01, 1.02, 0.97, 1.05] {
        all.push((FlagKind::OddInCell, format!("all at x{factor}"), Fault::Level(factor)));
    }
    all
}

fn faulty(out: &mut impl Write, cells: u64) -> io::Result<()> {
    writeln!(
        out,
        "cells of 4, one faulty; per cent found by its own screen, by any, [95 %]; how far it moves the average"
    )?;
    for (kind, what, fault) in faults() {
        let (mut own, mut any, mut siblings, mut n, mut moved) = (0, 0, 0, 0, 0.0);
        let (mut material, mut material_found) = (0, 0);
        for (m, manner) in MANNERS.into_iter().enumerate() {
            let spread = prior(manner, 4);
            for k in 0..cells {
                let seed = 50_000_000 + 1000 * k + m as u64;
                let scaled = match fault {
                    Fault::Cap(factor) => Fault::Cap(factor / manner.rate()),
                    other => other,
                };
                let found = screen(&cell(manner, 4, scaled, &mut Rng::new(seed)), &spread, manner.timing());
                n += 1;
                own += usize::from(found[0].iter().any(|f| f.kind == kind));
                any += usize::from(!found[0].is_empty());
                siblings += found[1..].iter().map(Vec::len).sum::<usize>();
                let sound = cell(manner, 1, Fault::None, &mut Rng::new(seed));
                let bad = cell(manner, 1, scaled, &mut Rng::new(seed));
                let by = (ln_average(&bad[0].frames) - ln_average(&sound[0].frames)).abs();
                moved += by;
                // The aim: faults that move the average by the larger of 2 % and three times its clean spread.
                if by >= spread.average.map_or(0.02, |s| (3.0 * s.sd).max(0.02)) {
                    material += 1;
                    material_found += usize::from(!found[0].is_empty());
                }
            }
        }
        writeln!(
            out,
            "{:<33} {:<34} own {:<20} any {:<20} of {material} material {material_found} found; moves {:.1} %; siblings {:.1} per 100",
            kind.name(),
            what,
            interval(own, n),
            interval(any, n),
            100.0 * moved / n as f64,
            100.0 * siblings as f64 / (3 * n) as f64
        )?;
    }
    Ok(())
}

fn main() -> io::Result<()> {
    let cells = std::env::args().nth(1).and_then(|a| a.parse().ok()).unwrap_or(40);
    let mut out = io::stdout().lock();
    clean(&mut out, cells)?;
    faulty(&mut out, cells)
}
