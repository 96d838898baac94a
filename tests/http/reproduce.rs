//! A pack with captures, taken over HTTP, computed anew by the built program, as on a machine that knows nothing else.

use std::collections::BTreeMap;
use std::io::{Cursor, Write as _};
use std::process::{Command, Output};

use parquet::file::reader::{FileReader as _, SerializedFileReader};
use parquet::record::{Field, Row};
use weighhouse_web::paths;
use zip::write::{SimpleFileOptions, ZipWriter};

use crate::figures::{PIECE, bench, cell_what, make, step};
use crate::harness::{Client, House};
use crate::pack::{bytes, file, names, zip_with};

async fn packed(house: &House) -> (Client, Vec<u8>) {
    let owner = house.owner().await;
    let member = house.member(&owner).await;
    let cells = bench(house, &owner, false).await;
    for (cell, name) in [(0, "Dunlin in the hairpin"), (1, "Curlew in the hairpin")] {
        let key = make(&owner, &cell_what(cells[cell]), name).await;
        assert_eq!(step(&owner, "propose", &key).await.status, 201);
        assert_eq!(step(&member, "agree", &key).await.status, 201);
    }
    let kind = [("name", "noise at 50 cm"), ("unit", "dB(A)"), ("read_at", "air")];
    assert_eq!(owner.post(&paths::reading_kinds(), &kind).await.status, 303);
    let read =
        [("kind", "1"), ("tuning", "1"), ("rig", "1"), ("repeats", "41.2 48.0 41.5"), ("background", "30")];
    let read = owner.post(&paths::readings(PIECE), &read).await;
    let ruling = format!("{}/ruling", read.location());
    let aside = [("repeat", "2"), ("verdict", "set aside"), ("reason", "a door"), ("version", "0")];
    assert_eq!(owner.post(&ruling, &aside).await.status, 303);
    make(&owner, r#"{"kind":"reading","reading":1,"tuning":1,"base":1}"#, "Dunlin's noise").await;
    let kept = [("of", "strips"), ("cell", "1"), ("other", "2"), ("title", "Over time")];
    assert_eq!(owner.post(&paths::charts(PIECE), &kept).await.status, 303);
    let accent = [("accent", "#225588"), ("version", "0")];
    assert_eq!(owner.post(&paths::chart_look(PIECE), &accent).await.status, 303);
    let zip = zip_with(&owner, "?captures=1").await;
    (owner, zip)
}

/// The zip with the file whose path ends so changed.
pub(crate) fn changed(zip: &[u8], ending: &str, change: impl Fn(&mut Vec<u8>)) -> Vec<u8> {
    let mut writer = ZipWriter::new(Cursor::new(Vec::new()));
    for name in names(zip) {
        let mut held = bytes(zip, &name);
        if name.ends_with(ending) {
            let before = held.clone();
            change(&mut held);
            assert_ne!(held, before, "{ending}");
        }
        writer.start_file(&name, SimpleFileOptions::default()).unwrap();
        writer.write_all(&held).unwrap();
    }
    writer.finish().unwrap().into_inner()
}

fn replaced(bytes: &mut Vec<u8>, what: &str, with: &str) {
    *bytes = String::from_utf8(bytes.clone()).unwrap().replacen(what, with, 1).into_bytes();
}

pub(crate) fn reproduce(zip: &[u8], ticks: &[&str]) -> (Option<i32>, String, String) {
    let folder = tempfile::tempdir().unwrap();
    let pack = folder.path().join("pack.zip");
    std::fs::write(&pack, zip).unwrap();
    let mut command = Command::new(env!("CARGO_BIN_EXE_weighhouse"));
    let Output { status, stdout, stderr } =
        command.env("TMPDIR", folder.path()).arg("reproduce").arg(&pack).args(ticks).output().unwrap();
    let left: Vec<_> = std::fs::read_dir(folder.path()).unwrap().collect();
    assert_eq!(left.len(), 1, "nothing stays behind: {left:?}");
    (status.code(), String::from_utf8(stdout).unwrap(), String::from_utf8(stderr).unwrap())
}

#[tokio::test]
async fn every_figure_is_found_again_and_the_same_store_gives_the_same_bytes() {
    let house = House::start().await;
    let (owner, zip) = packed(&house).await;
    assert_eq!(zip, zip_with(&owner, "?captures=1").await, "the same store, the same bytes");
    let (code, says, progress) = reproduce(&zip, &[]);
    assert_eq!(code, Some(0), "{says}{progress}");
    assert!(
        says.contains(
            "3 of 3 figures, 10 of 10 tables, 4 of 4 charts and 9 of 9 files of columns agree to the last \
             digit; 6 captures read"
        ),
        "{says}"
    );
    assert!(progress.contains("capture 6 of 6"), "{progress}");
    let left = "Not computed (words, what they are set in, pixels of the charts): charts/*.png, charts/font-licence.txt, methods.css, methods.html";
    assert!(says.contains(left), "{says}");
    let (code, says, _) = reproduce(&zip, &["--json"]);
    let told: serde_json::Value = serde_json::from_str(&says).unwrap();
    assert_eq!((code, &told["agrees"]), (Some(0), &true.into()));
    let figures: serde_json::Value = serde_json::from_str(&file(&zip, "/figures.json")).unwrap();
    assert_eq!(told["report"]["figures"][0]["computed"], figures["figures"][0]["value"]);
}

#[tokio::test]
async fn what_was_changed_in_a_pack_is_named() {
    let house = House::start().await;
    let (_, zip) = packed(&house).await;
    let capture = names(&zip).into_iter().find(|name| name.contains("/captures/")).unwrap();
    let digest = capture.rsplit('/').next().unwrap();
    // The last frame's last digit.
    let other = changed(&zip, digest, |bytes| {
        let at = bytes.iter().rposition(u8::is_ascii_digit).unwrap();
        bytes[at] = if bytes[at] == b'1' { b'2' } else { b'1' };
    });
    let (code, says, _) = reproduce(&other, &[]);
    assert_eq!(code, Some(1));
    assert!(
        says.contains(&format!("captures/{digest} (")) && says.contains("its bytes are others"),
        "{says}"
    );

    let figures: serde_json::Value = serde_json::from_str(&file(&zip, "/figures.json")).unwrap();
    let printed = format!("\"printed\": {}", figures["figures"][1]["printed"]);
    let other = changed(&zip, "/figures.json", |bytes| replaced(bytes, &printed, "\"printed\": \"999\""));
    let (code, says, _) = reproduce(&other, &[]);
    assert_eq!(code, Some(1));
    assert!(says.contains("Curlew in the hairpin: differs"), "{says}");
    assert!(says.contains("printed: \"999\" in the pack, "), "{says}");
    assert!(says.contains("2 of 3 figures, 10 of 10 tables"), "{says}");

    let other =
        changed(&zip, "/tables/cells.csv", |bytes| replaced(bytes, "average_fps,fps,", "average_fps,fps,9"));
    let (code, says, _) = reproduce(&other, &[]);
    assert_eq!(code, Some(1));
    assert!(says.contains("tables/cells.csv: differs"), "{says}");
    assert!(says.contains("9 of 10 tables"), "{says}");

    for (ending, what, with, files) in [
        ("tables/ratios.csv", "Curlew", "Curley", "9 of 10 tables"),
        ("average-fps.svg", "Vellum Rally", "Vellum Rall", "3 of 4 charts"),
    ] {
        let other = changed(&zip, ending, |bytes| replaced(bytes, what, with));
        let (code, says, _) = reproduce(&other, &[]);
        assert_eq!(code, Some(1));
        assert!(says.contains(&format!("{ending}: differs")) && says.contains(files), "{ending}: {says}");
    }
    let other = changed(&zip, "measures.parquet", |bytes| bytes[9] ^= 1);
    let (_, says, _) = reproduce(&other, &[]);
    assert!(says.contains("measures.parquet: differs"), "{says}");

    let key = figures["figures"][0]["key"].as_str().unwrap();
    let other = changed(&zip, "/figures.json", |bytes| replaced(bytes, key, "of-no-figure"));
    let (code, says, _) = reproduce(&other, &[]);
    assert_eq!(code, Some(1));
    assert!(says.contains("of-no-figure") && says.contains(key), "{says}");
}

#[tokio::test]
async fn a_pack_that_cannot_be_computed_anew_says_why() {
    let house = House::start().await;
    let owner = house.owner().await;
    bench(&house, &owner, false).await;
    let (code, _, says) = reproduce(&zip_with(&owner, "").await, &[]);
    assert_eq!(code, Some(1));
    assert!(says.contains("take it with its captures"), "{says}");
    let (code, _, says) = reproduce(b"no zip", &[]);
    assert_eq!(code, Some(1));
    assert!(says.contains("pack.zip"), "{says}");
    let zip = zip_with(&owner, "?captures=1").await;
    let newer = changed(&zip, "/state.json", |bytes| replaced(bytes, "\"format\": 2", "\"format\": 9"));
    let (code, _, says) = reproduce(&newer, &[]);
    assert_eq!(code, Some(1));
    assert!(says.contains("format 9"), "{says}");
    let broken = changed(&zip, "/state.json", |bytes| replaced(bytes, "\"scene\":", "\"no_scene\":"));
    assert_eq!(reproduce(&broken, &[]).0, Some(1), "a row without the one that it names");
}

fn rows(bytes: Vec<u8>) -> Vec<BTreeMap<String, Field>> {
    let reader = SerializedFileReader::new(bytes::Bytes::from(bytes)).unwrap();
    let of = |row: Row| row.get_column_iter().map(|(name, field)| (name.clone(), field.clone())).collect();
    reader.get_row_iter(None).unwrap().map(|row| of(row.unwrap())).collect()
}

fn whole(field: &Field) -> i64 {
    if let Field::Long(value) = field { *value } else { panic!("{field:?}") }
}

/// The numbers of a pass, from the frames alone and as they were measured. `tests/reference/read_pack.py` does the same
/// by pyarrow on a pack of the demo.
#[tokio::test]
async fn columns_read_back_to_the_numbers_of_the_tables() {
    let house = House::start().await;
    let (_, zip) = packed(&house).await;
    let table = file(&zip, "/tables/pass_measures.csv");
    let mut reader = csv::Reader::from_reader(table.as_bytes());
    let measured: BTreeMap<String, BTreeMap<String, String>> = reader
        .deserialize()
        .map(|row: Result<BTreeMap<String, String>, _>| row.unwrap())
        .map(|row| (row["key"].clone(), row))
        .collect();
    let mut seen = 0;
    for name in names(&zip).iter().filter(|name| name.contains("/tracks/part=Tarnwick%20")) {
        assert!(name.contains("/scene=") && name.contains("/setting=2160p%20native/"), "{name}");
        let frames = rows(bytes(&zip, name));
        let Field::Str(key) = &frames[0]["pass"] else { panic!("{name}") };
        let ns: i64 = frames.iter().map(|frame| whole(&frame["frame_ns"])).sum();
        let average = frames.len() as f64 / (ns as f64 / 1e9);
        let said: f64 = measured[key]["average_fps"].parse().unwrap();
        assert!((average / said - 1.0).abs() < 4e-16, "{key}: {average} {said}");
        assert_eq!(measured[key]["frames"], frames.len().to_string());
        seen += 1;
    }
    assert_eq!(seen, 6, "{:?}", names(&zip));
    let mut compared = 0;
    for name in names(&zip).iter().filter(|name| name.contains("/measures/part=")) {
        for row in rows(bytes(&zip, name)) {
            let Field::Str(key) = &row["pass"] else { panic!("{name}") };
            for (measure, value) in
                row.iter().filter(|(measure, _)| !["pass", "tuning"].contains(&measure.as_str()))
            {
                let there = &measured[key][measure];
                match value {
                    Field::Double(value) => assert_eq!(there.parse(), Ok(*value), "{measure}"),
                    other => {
                        assert!(*other == Field::Null && there.is_empty(), "{measure}: {other:?}, {there}")
                    }
                }
                compared += 1;
            }
        }
    }
    assert_eq!(compared, 6 * 27);
}

#[tokio::test]
async fn serial_numbers_stay_at_home_unless_asked_for_and_no_secret_leaves() {
    let house = House::start().await;
    let owner = house.owner().await;
    bench(&house, &owner, false).await;
    let unit = weighhouse::store::registers::parts::units(&mut house.store.read().await.unwrap())
        .await
        .unwrap()
        .remove(0);
    let form = [
        ("label", "A"),
        ("serial", "TW0099887766"),
        ("origin", "lent"),
        ("lender", "Larkmoor Supplies"),
        ("terms", "goes back in May"),
        ("firmware", ""),
        ("version", "1"),
    ];
    let sent = owner.post(&paths::unit(unit.id.0), &form).await;
    assert!(sent.status == 303 || sent.status == 200, "{}", sent.body);
    let state = file(&zip_with(&owner, "?captures=1").await, "/state.json");
    assert!(
        !state.contains("TW0099887766") && !state.contains("password") && !state.contains("hash"),
        "{state}"
    );
    assert!(!state.contains("Larkmoor") && !state.contains("in May"), "{state}");
    let methods = file(&zip_with(&owner, "").await, "methods.html");
    assert!(methods.contains("one sample, lent") && !methods.contains("Larkmoor"), "{methods}");
    let asked = file(&zip_with(&owner, "?captures=1&serials=1").await, "/state.json");
    assert!(asked.contains("TW0099887766") && asked.contains("Larkmoor Supplies"), "{asked}");
    assert_eq!(owner.get(&paths::pack(PIECE)).await.texts("input[name=captures]").len(), 1);
}
