//! Disks that are full and files that may not grow: told in words, nothing half kept, and no restart where none is
//! needed.

use std::fmt::Write as _;
use std::fs::{self, File};
use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::Command;

use reqwest::Method;
use weighhouse_web::paths;

use crate::harness::{Answer, Client, PASSWORD, answer};
use crate::program::{Program, log, name, run};

/// Limits the size of the files that the program may write from now on; none lifts the limit. (prlimit(1) of util-linux;
/// the limit and its signal are RLIMIT_FSIZE and SIGXFSZ of POSIX.1-2017, getrlimit.)
fn limit(program: &Program, bytes: Option<u64>) {
    let most = bytes.map_or_else(|| "unlimited".to_owned(), |bytes| bytes.to_string());
    let done = Command::new("prlimit")
        .args(["--pid", &program.id().to_string(), &format!("--fsize={most}:unlimited")])
        .status()
        .unwrap();
    assert!(done.success());
}

/// A log of more than 2 MiB.
fn long_log() -> Vec<u8> {
    let mut text = "elapsed (s),frame time (ms)\n".to_owned();
    for i in 0..200_000_u32 {
        writeln!(text, "{}.{:03},8.{:03}", i / 125, i % 125 * 8, i * 7 % 11).unwrap();
    }
    text.into_bytes()
}

async fn put(rig: &Client, name: &str, bytes: Vec<u8>) -> Answer {
    let request = rig.request(Method::PUT, &paths::upload(name)).header("idempotency-key", name);
    answer(request.body(bytes)).await
}

fn check(db: &Path) {
    let output = run(&["check", "--db", db.to_str().unwrap()]);
    assert_eq!(output.status.code(), Some(0), "{}", String::from_utf8_lossy(&output.stdout));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_log_that_has_no_room_is_told_so_and_all_else_goes_on() {
    let folder = tempfile::tempdir().unwrap();
    let db = folder.path().join("house.db");
    let program = Program::serve(&db);
    let owner = program.owner().await;
    let rig = program.bench(&program.rig_key(&owner).await);
    let long = long_log();
    assert!(long.len() > 2 << 20);
    limit(&program, Some(2 << 20));
    let full = put(&rig, "long.csv", long.clone()).await;
    assert_eq!(full.status, 507, "{}", full.body);
    assert_eq!(full.json()["what"], "The disk is full");
    assert!(full.json()["mend"].as_str().unwrap().contains("no restart"));
    // What still has room is taken, pages are shown and forms are kept.
    assert_eq!(put(&rig, &name(0), log(0)).await.status, 201);
    assert_eq!(owner.get(&paths::pieces()).await.status, 200);
    assert_eq!(owner.post(&paths::rigs(), &[("name", "birch")]).await.status, 303);
    limit(&program, None);
    let again = put(&rig, "long.csv", long).await;
    assert_eq!(again.status, 201, "the same key, without a restart: {}", again.body);
    program.kill();
    check(&db);
}

#[tokio::test(flavor = "multi_thread")]
async fn after_a_commit_of_unknown_outcome_the_service_ends_and_the_same_key_is_kept_once() {
    let folder = tempfile::tempdir().unwrap();
    let db = folder.path().join("house.db");
    let program = Program::serve(&db);
    let owner = program.owner().await;
    limit(&program, Some(1));
    let rig = [("name", "alder"), ("time_zone", "UTC"), ("once", "k1")];
    let unknown = owner.post(&paths::api(&paths::rigs()), &rig).await;
    assert_eq!(
        (unknown.status, &unknown.json()["what"]),
        (503, &"Outcome unknown".into()),
        "{}",
        unknown.body
    );
    assert!(unknown.json()["mend"].as_str().unwrap().contains("try again with the same key"));
    assert_eq!(program.ended(), Some(1));
    let told = fs::read_to_string(db.with_extension("log")).unwrap();
    assert!(!told.contains("panicked"), "{told}");
    check(&db);
    let program = Program::serve(&db);
    let owner = program.browser();
    let signed_in = owner.post(&paths::sign_in(), &[("name", "Maren Oake"), ("password", PASSWORD)]).await;
    assert_eq!(signed_in.status, 303, "{}", signed_in.body);
    for _ in 0..2 {
        let kept = owner.post(&paths::api(&paths::rigs()), &rig).await;
        assert_eq!(kept.status, 201, "{}", kept.body);
    }
    let rigs = owner.get(&paths::api(&paths::rigs())).await.json();
    assert_eq!(rigs["rigs"].as_array().unwrap().len(), 1);
}

/// A small file system in memory, gone when this is dropped; none where it may not be made (only root may).
struct Small(PathBuf);

impl Small {
    fn at(folder: PathBuf, size: &str) -> Option<Self> {
        fs::create_dir(&folder).unwrap();
        let made = Command::new("mount").args(["-t", "tmpfs", "-o", size, "tmpfs"]).arg(&folder).output();
        made.is_ok_and(|made| made.status.success()).then_some(Self(folder))
    }

    /// Fills it to the last byte; the file that does.
    fn fill(&self) -> PathBuf {
        let filler = self.0.join("filler");
        let mut file = File::create(&filler).unwrap();
        while file.write_all(&[0; 4096]).is_ok() {}
        filler
    }
}

impl Drop for Small {
    fn drop(&mut self) {
        // Lazily: the program that is killed beside it may still be going.
        let _ = Command::new("umount").arg("-l").arg(&self.0).status();
    }
}

/// As root a disk is really filled; elsewhere the limit on files above stands for it.
#[tokio::test(flavor = "multi_thread")]
async fn a_full_disk_is_told_and_works_again_when_there_is_room() {
    let folder = tempfile::tempdir().unwrap();
    let Some(small) = Small::at(folder.path().join("small"), "size=16m") else { return };
    let db = small.0.join("house.db");
    let program = Program::serve(&db);
    let owner = program.owner().await;
    let rig = program.bench(&program.rig_key(&owner).await);
    let filler = small.fill();
    let full = put(&rig, &name(15), log(15)).await;
    assert_eq!((full.status, &full.json()["what"]), (507, &"The disk is full".into()), "{}", full.body);
    let form = [("name", "birch"), ("time_zone", "UTC"), ("once", "k1")];
    let kept = owner.post(&paths::api(&paths::rigs()), &form).await;
    assert_eq!(kept.status, 507, "{}", kept.body);
    assert_eq!(owner.get(&paths::pieces()).await.status, 200, "what is there can be read");
    fs::remove_file(filler).unwrap();
    assert_eq!(owner.post(&paths::api(&paths::rigs()), &form).await.status, 201, "without a restart");
    assert_eq!(put(&rig, &name(15), log(15)).await.status, 201);
    program.kill();
    check(&db);
}
