//! `watch` on a rig: logs go to a real server when they are finished, once, over restarts of either side.

use std::fs;
use std::io::{BufRead as _, BufReader, Lines};
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStderr, ChildStdout, Command, Stdio};

use tempfile::TempDir;
use weighhouse::chance::Chance;
use weighhouse::config::Config;
use weighhouse::http::Server;
use weighhouse::store::{Store, captures};

use crate::harness::{CHEAP, Client, House};

/// A rig with its folder and its key.
struct Rig {
    house: House,
    folder: TempDir,
    /// Beside the folder, not in it.
    key_file: PathBuf,
    _keys: TempDir,
}

/// The watcher, ended when it is dropped.
struct Watcher {
    child: Child,
    said: Lines<BufReader<ChildStdout>>,
    told: Lines<BufReader<ChildStderr>>,
}

impl Drop for Watcher {
    fn drop(&mut self) {
        // It may have ended by itself.
        let _ = self.child.kill();
        self.child.wait().unwrap();
    }
}

impl Watcher {
    fn line(&mut self) -> String {
        self.said.next().unwrap().unwrap().replace('\u{a0}', " ")
    }
}

impl Rig {
    async fn set() -> Self {
        let house = House::start().await;
        let owner = house.owner().await;
        let rig = house.rig().await;
        let Client { key, .. } = house.with_key(&owner, rig).await;
        let keys = tempfile::tempdir().unwrap();
        let key_file = keys.path().join("key");
        fs::write(&key_file, format!("{}\n", key.unwrap())).unwrap();
        Self { house, folder: tempfile::tempdir().unwrap(), key_file, _keys: keys }
    }

    fn put(&self, name: &str, text: &str) {
        put(&self.folder, name, text);
    }

    fn command(&self) -> Command {
        watch(self.folder.path(), &format!("http://{}", self.house.server.addr()), &self.key_file)
    }

    fn watch(&self) -> Watcher {
        let mut child = self.command().stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
        let said = BufReader::new(child.stdout.take().unwrap()).lines();
        let told = BufReader::new(child.stderr.take().unwrap()).lines();
        Watcher { child, said, told }
    }

    async fn kept(&self) -> usize {
        kept(&self.house.store).await
    }
}

fn put(folder: &TempDir, name: &str, text: &str) {
    fs::write(folder.path().join(name), text).unwrap();
}

async fn kept(store: &Store) -> usize {
    captures::newest(&mut store.read().await.unwrap(), 99).await.unwrap().len()
}

fn watch(folder: &Path, to: &str, key_file: &Path) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_weighhouse"));
    command.arg("watch").arg(folder).args(["--to", to]).arg("--key-file").arg(key_file);
    command.args(["--every", "0.02", "--rest", "0.05"]);
    command
}

/// A log of 400 frames whose columns its own numbers prove.
fn log(salt: u32) -> String {
    let (mut text, mut at_us) = ("elapsed (s),frame time (ms)\n".to_owned(), 0);
    for i in 0..400_u32 {
        let us = 8_000 + (i + salt) % 7 * 250;
        text.push_str(&format!("{:.6},{:.3}\n", f64::from(at_us) / 1e6, f64::from(us) / 1e3));
        at_us += us;
    }
    text
}

#[tokio::test(flavor = "multi_thread")]
async fn each_log_is_sent_once_and_gets_one_line_also_after_a_restart() {
    let rig = Rig::set().await;
    rig.put("a.csv", &log(0));
    rig.put("notes.txt", "bring more coffee\n");
    let mut watcher = rig.watch();
    let first = watcher.line();
    assert!(
        first.starts_with("Watching ") && first.contains(" for alder, sending to http://127."),
        "{first}"
    );
    let taken = watcher.line();
    assert!(taken.starts_with("a.csv: 400 frames over 3.5"), "{taken}");
    let refused = watcher.line();
    assert!(refused.starts_with("notes.txt: not taken. "), "{refused}");
    assert_eq!(rig.kept().await, 1);
    drop(watcher);

    let mut again = rig.watch();
    assert!(again.line().starts_with("Watching "));
    fs::create_dir(rig.folder.path().join("evening")).unwrap();
    rig.put("evening/b.csv", &log(1));
    let next = again.line();
    assert!(next.starts_with("evening/b.csv: 400 frames"), "what was sent is not sent again: {next}");
    // The same bytes under another name go without a word, a file that grew goes again.
    rig.put("copy of a.csv", &log(0));
    rig.put("notes.txt", "bring more coffee and tea\n");
    let grown = again.line();
    assert!(grown.starts_with("notes.txt: not taken. "), "{grown}");
    assert_eq!(rig.kept().await, 2);
}

/// The digest of "abc" is the first example of FIPS 180-4 (from memory).
#[tokio::test(flavor = "multi_thread")]
async fn the_digest_of_a_settings_file_goes_with_each_log() {
    let rig = Rig::set().await;
    let settings = rig.key_file.with_file_name("settings.ini");
    fs::write(&settings, "abc").unwrap();
    rig.put("a.csv", &log(0));
    let sent = rig.command().arg("--settings").arg(&settings).arg("--once").output().unwrap();
    assert!(sent.status.success(), "{sent:?}");
    let newest = captures::newest(&mut rig.house.store.read().await.unwrap(), 1).await.unwrap();
    let digest = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";
    assert_eq!(newest[0].settings_sha256.as_deref(), Some(digest));

    fs::remove_file(&settings).unwrap();
    rig.put("b.csv", &log(1));
    let sent = rig.command().arg("--settings").arg(&settings).arg("--once").output().unwrap();
    let says = String::from_utf8(sent.stdout).unwrap();
    assert!(says.contains("Its settings file could not be read."), "{says}");
    assert_eq!(rig.kept().await, 2);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_server_that_is_away_is_waited_for() {
    let rig = Rig::set().await;
    let mut watcher = rig.watch();
    assert!(watcher.line().starts_with("Watching "));
    let House { server, clock, store, .. } = rig.house;
    let config = Config { listen: server.addr(), passwords: CHEAP, ..Config::default() };
    server.stop().await;
    put(&rig.folder, "a.csv", &log(0));
    let told = watcher.told.next().unwrap().unwrap();
    assert!(told.starts_with("No answer: ") && told.ends_with("Trying again."), "{told}");
    let back = Server::start(config, store.clone(), clock, Chance::system()).await.unwrap();
    assert!(watcher.line().starts_with("a.csv: 400 frames"));
    assert_eq!(kept(&store).await, 1);
    back.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn what_is_there_is_sent_once_and_the_exit_code_says_whether_all_was_taken() {
    let rig = Rig::set().await;
    rig.put("a.csv", &log(0));
    let run = || async {
        let mut command = rig.command();
        command.arg("--once");
        tokio::task::spawn_blocking(move || command.output().unwrap()).await.unwrap()
    };
    assert_eq!(run().await.status.code(), Some(0));
    rig.put("notes.txt", "bring more coffee\n");
    assert_eq!(run().await.status.code(), Some(1));
    assert_eq!(run().await.status.code(), Some(0), "it was told before");
    assert_eq!(rig.kept().await, 1);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_wrong_key_a_wrong_address_and_a_missing_folder_are_told_at_once() {
    let rig = Rig::set().await;
    let wrong = rig.folder.path().join("key");
    fs::write(&wrong, "no such key").unwrap();
    let to = format!("http://{}", rig.house.server.addr());
    let nowhere = rig.folder.path().join("nowhere");
    for (folder, to, key, says) in [
        (rig.folder.path(), to.as_str(), &wrong, "answers 401"),
        (rig.folder.path(), "https://bench.example", &rig.key_file, "begins with http://"),
        (&nowhere, to.as_str(), &rig.key_file, "nowhere"),
        (rig.folder.path(), to.as_str(), &nowhere, "the key in"),
    ] {
        let mut command = watch(folder, to, key);
        let output = tokio::task::spawn_blocking(move || command.output().unwrap()).await.unwrap();
        assert!(!output.status.success());
        let told = String::from_utf8(output.stderr).unwrap();
        assert!(told.contains(says), "{told}");
    }
}
