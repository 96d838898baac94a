//! Planted faults and the flags on them; clean passes and the flags on those.

use weighhouse_demo::{Fault, FaultKind};
use weighhouse_measure::screens::{Flag, FlagKind};

use crate::week::{Both, WEEK};

/// Flags on clean passes in a hundred that the screens may raise together.
const BUDGET: f64 = 0.03;
/// How far a flag may begin or end from the truth, s: two of the half seconds that most screens work in.
const NEAR_S: f64 = 1.0;
/// A burst of hitches has its first and last one somewhere in the stretch.
const NEAR_HITCHES_S: f64 = 2.0;

/// The kind that names a fault.
fn names(kind: FaultKind) -> FlagKind {
    match kind {
        FaultKind::Updater => FlagKind::BackgroundLoad,
        FaultKind::Cap => FlagKind::FrameCap,
        FaultKind::Throttling => FlagKind::Throttling,
        FaultKind::WrongPassage => FlagKind::OtherContent,
        FaultKind::ShaderHitches => FlagKind::HitchCluster,
        FaultKind::Gap => FlagKind::Gap,
    }
}

fn at_its_time(flag: &Flag, fault: Fault, pass: &Both<'_>) -> bool {
    let window = pass.seen.row.window();
    let seconds = |ns: i64| ns as f64 / 1e9;
    let (from, to) = (seconds(window.start_ns), seconds(window.end_ns));
    let near = if fault.kind == FaultKind::ShaderHitches { NEAR_HITCHES_S } else { NEAR_S };
    (seconds(flag.start_ns) - fault.start_s.max(from)).abs() <= near
        && (seconds(flag.end_ns) - fault.end_s.min(to)).abs() <= near
}

#[test]
fn each_planted_fault_is_flagged_on_its_pass_with_its_kind_and_time() {
    let passes = WEEK.passes();
    let mut missed = Vec::new();
    for pass in &passes {
        let Some(fault) = pass.truth.fault else { continue };
        let told = pass.seen.flags.iter().any(|f| f.kind == names(fault.kind) && at_its_time(f, fault, pass));
        if !told {
            missed.push(format!("{}: {fault:?} is told as {:?}", pass.made.file_name, pass.seen.flags));
        }
    }
    assert_eq!(passes.iter().filter(|p| p.truth.fault.is_some()).count(), 13);
    assert!(missed.is_empty(), "{}", missed.join("\n"));
}

#[test]
fn clean_passes_are_seldom_flagged() {
    let passes = WEEK.passes();
    let clean: Vec<_> = passes.iter().filter(|p| p.truth.fault.is_none()).collect();
    let flags: Vec<String> = clean
        .iter()
        .flat_map(|p| p.seen.flags.iter().map(|f| format!("{}: {}", p.made.file_name, f.says)))
        .collect();
    assert!(
        flags.len() as f64 <= BUDGET * clean.len() as f64,
        "{} clean passes:\n{}",
        clean.len(),
        flags.join("\n")
    );
}

/// Whoever rules must not be able to choose by the result: no sentence tells clocks, watts, degrees or a rate, save
/// the rate of a cap, which is the same for every part.
#[test]
fn sentences_on_the_weeks_flags_do_not_tell_the_level_of_a_pass() {
    for pass in WEEK.passes() {
        for flag in pass.seen.flags.iter().filter(|f| f.kind != FlagKind::FrameCap) {
            for word in [" fps", " a second", " MHz", " W ", " Hz", "°C", "faster", "slower"] {
                assert!(!flag.says.contains(word), "{}", flag.says);
            }
        }
    }
}
