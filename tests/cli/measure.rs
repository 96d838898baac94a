//! `measure`: values, keys, pairing, exit codes.

use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use serde_json::Value;

const NUMPY: [(&str, f64); 11] = [
    ("/average_fps", 209.81306425289637),
    ("/low_1_quantile_fps", 157.03741997569378),
    ("/low_1_tail_mean_fps", 53.96974456119899),
    ("/low_1_time_share_fps", 8.731268155580722),
    ("/low_01_quantile_fps", 56.97037331506378),
    ("/low_01_tail_mean_fps", 8.731268155580722),
    ("/low_01_time_share_fps", 8.731268155580722),
    ("/frame_time_ms/p50", 4.660299999999999),
    ("/frame_time_ms/p95", 5.504349999999999),
    ("/frame_time_ms/p99", 6.367908999999999),
    ("/frame_time_ms/p99_9", 17.552983099999903),
];
const POWER_W: f64 = 522.1785277201789;

const CAPTURES: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/data/captures");

fn run(args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_weighhouse")).arg("measure").args(args).output().unwrap()
}

fn code(output: &Output) -> i32 {
    output.status.code().unwrap()
}

fn json(args: &[&str]) -> (i32, Vec<Value>) {
    let output = run(&[args, &["--json"]].concat());
    let Ok(Value::Array(reports)) = serde_json::from_slice(&output.stdout) else {
        panic!("{}", String::from_utf8_lossy(&output.stderr))
    };
    (code(&output), reports)
}

fn capture(name: &str) -> String {
    format!("{CAPTURES}/{name}")
}

fn written(folder: &Path, name: &str, text: &str) -> String {
    let path: PathBuf = folder.join(name);
    std::fs::write(&path, text).unwrap();
    path.to_str().unwrap().to_owned()
}

#[test]
fn every_key_is_there_and_what_cannot_be_had_is_null() {
    let (code, reports) = json(&[&capture("card-a_glasshouse_2560x1440_p1.csv")]);
    assert_eq!(code, 0);
    let [report] = reports.as_slice() else { panic!("{reports:?}") };
    let keys: Vec<&str> = report.as_object().unwrap().keys().map(String::as_str).collect();
    let mut want = [
        "file",
        "member",
        "segment",
        "kind",
        "frames",
        "seconds",
        "average_fps",
        "low_1_quantile_fps",
        "low_1_tail_mean_fps",
        "low_1_time_share_fps",
        "low_01_quantile_fps",
        "low_01_tail_mean_fps",
        "low_01_time_share_fps",
        "frame_time_ms",
        "power_w",
        "joules_per_frame",
        "flags",
        "notices",
        "problems",
        "layout",
        "methods",
        "error",
    ];
    want.sort_unstable();
    let mut keys = keys;
    keys.sort_unstable();
    assert_eq!(keys, want);
    assert_eq!(report["kind"], "frames");
    assert_eq!(report["segment"], 1);
    assert_eq!(report["frames"], 900);
    assert_eq!(report["seconds"], 4.289_532_7);
    // No wall clock in the frame log: its companion stands beside it and cannot be placed.
    assert_eq!(report["power_w"], Value::Null);
    assert_eq!(report["joules_per_frame"], Value::Null);
    assert_eq!(report["error"], Value::Null);
    assert_eq!(
        report["notices"][0],
        "companion card-a_glasshouse_2560x1440_p1_sensors.csv is not placed: the frame log has no wall clock"
    );
    assert_eq!(report["layout"][1]["role"], "frame_time");
    assert_eq!(report["layout"][1]["unit"], "ms");
    assert_eq!(report["methods"]["average_fps"], 1);
}

/// The three lows and the percentiles against numpy 2.4.6: `quantile(x, 1 - p)`, the fractional tail mean written out,
/// `quantile(x, 1 - p, weights=x, method='inverted_cdf')`.
#[test]
fn lows_agree_with_numpy() {
    let (_, reports) = json(&[&capture("card-a_glasshouse_2560x1440_p1.csv")]);
    for (key, want) in NUMPY {
        let got = reports[0].pointer(key).and_then(Value::as_f64).unwrap();
        assert!((got / want - 1.0).abs() < 1e-12, "{key}: {got} against {want}");
    }
}

#[test]
fn a_companion_with_wall_clocks_on_both_sides_gives_power() {
    let (code, reports) = json(&[&capture("card-a_dune-sea_3840x2160_p3.tsv")]);
    assert_eq!((code, reports.len()), (0, 1));
    let power = reports[0]["power_w"].as_f64().unwrap();
    // numpy.trapezoid over the frames' span, ends interpolated.
    assert!((power / POWER_W - 1.0).abs() < 1e-9, "{power}");
    let joules = reports[0]["joules_per_frame"].as_f64().unwrap();
    assert!((joules - power * 6.940_369 / 800.0).abs() < 1e-9);
}

#[test]
fn a_folder_passes_over_what_is_no_log_and_names_it() {
    let output = run(&[CAPTURES, "--json"]);
    assert_eq!(code(&output), 0);
    let told = String::from_utf8(output.stderr).unwrap();
    assert!(told.contains("passed over: README.md, line 1: no rows of numbers"), "{told}");
    let Ok(Value::Array(reports)) = serde_json::from_slice(&output.stdout) else { panic!() };
    let kinds: Vec<&str> = reports.iter().map(|r| r["kind"].as_str().unwrap()).collect();
    assert_eq!(kinds.iter().filter(|k| **k == "frames").count(), 5);
    assert_eq!(kinds.iter().filter(|k| **k == "companion").count(), 6);
}

#[test]
fn exit_codes_and_their_order() {
    let folder = tempfile::tempdir().unwrap();
    let log = written(folder.path(), "log.csv", "frame [ms]\n4.1\n4.3\n4.0\n");
    let asks = written(folder.path(), "asks.csv", "v\n16.1\n17.2\n16.6\n15.9\n");
    let none = written(folder.path(), "none.txt", "not a log\n");
    let (code, reports) = json(&[&log]);
    assert_eq!((code, reports.len()), (0, 1));
    let (code, reports) = json(&[&log, &asks]);
    assert_eq!((code, reports.len()), (3, 2));
    let error = reports[1]["error"].as_str().unwrap();
    assert!(error.starts_with(&format!("{asks} needs a person to say how it is read.")), "{error}");
    assert!(
        error.contains("frame times in column 1, in milliseconds (4 frames in 0.066 s, 60.790 fps)"),
        "{error}"
    );
    let (code, reports) = json(&[&asks, &none]);
    assert_eq!((code, reports.len()), (4, 2));
    assert_eq!(
        reports[1]["error"],
        "none.txt, line 1: no rows of numbers separated by comma, semicolon, tab, bar or blanks. Export the log as delimited text."
    );
    assert_eq!(code_of(&[&asks, &none, "/nowhere/at/all.csv"]), 2);
    assert_eq!(code_of(&[]), 2);
    assert_eq!(code_of(&[&log, "--zone", "Nowhere/Atall"]), 2);
}

fn code_of(args: &[&str]) -> i32 {
    code(&run(args))
}

#[test]
fn the_table_names_its_low_and_aligns() {
    let output = run(&[&capture("card-a_dune-sea_3840x2160_p3.tsv")]);
    let text = String::from_utf8(output.stdout).unwrap();
    let lines: Vec<&str> = text.lines().collect();
    assert_eq!(lines[0].chars().count(), lines[1].chars().count(), "{text}");
    assert!(lines[1].contains("115.3"), "{text}");
    let halves = lines[0].matches("at least ±").count();
    assert_eq!(halves, 2, "{text}");
    assert!(text.contains("from this pass alone"), "{text}");
    assert!(text.contains("Lows: quantile of the frame times (type 7)"), "{text}");
}
