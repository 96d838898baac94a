//! The built program at work on a store in a temporary folder, and what a rig sends to it.

use std::fmt::Write as _;
use std::fs::File;
use std::io::{BufRead as _, BufReader};
use std::path::Path;
use std::process::{Child, ChildStdout, Command, Output, Stdio};
use std::sync::Mutex;

use weighhouse::chance::Chance;
use weighhouse_web::paths;

use crate::harness::{Client, PASSWORD};

/// Runs the program to its end.
pub fn run(arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_weighhouse")).args(arguments).output().unwrap()
}

/// A server in a process of its own; killed when it is dropped.
pub struct Program {
    child: Mutex<Child>,
    out: Mutex<BufReader<ChildStdout>>,
    base: String,
}

impl Program {
    /// Serves the store on a free port; its log goes to a file beside the store.
    pub fn serve(db: &Path) -> Self {
        let log = File::options().create(true).append(true).open(db.with_extension("log")).unwrap();
        let mut child = Command::new(env!("CARGO_BIN_EXE_weighhouse"))
            .args(["serve", "--listen", "127.0.0.1:0", "--db"])
            .arg(db)
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(log)
            .spawn()
            .unwrap();
        let out = Mutex::new(BufReader::new(child.stdout.take().unwrap()));
        let mut program = Self { child: Mutex::new(child), out, base: String::new() };
        let line = program.line();
        let Some((_, base)) = line.rsplit_once(" at ") else {
            panic!("{line}{}", std::fs::read_to_string(db.with_extension("log")).unwrap())
        };
        program.base = base.to_owned();
        program
    }

    /// The next line that it prints; empty when it has ended.
    fn line(&self) -> String {
        let mut line = String::new();
        self.out.lock().unwrap().read_line(&mut line).unwrap();
        line.trim_end().to_owned()
    }

    /// A browser without a session.
    pub fn browser(&self) -> Client {
        let http = reqwest::Client::builder()
            .cookie_store(true)
            .redirect(reqwest::redirect::Policy::none())
            .build()
            .unwrap();
        Client { http, base: self.base.clone(), key: None }
    }

    /// A rig with this key.
    pub fn bench(&self, key: &str) -> Client {
        Client { key: Some(key.to_owned()), ..self.browser() }
    }

    /// Number of the process.
    pub fn id(&self) -> u32 {
        self.child.lock().unwrap().id()
    }

    /// Waits until it ends by itself: its exit code.
    pub fn ended(&self) -> Option<i32> {
        self.child.lock().unwrap().wait().unwrap().code()
    }

    /// SIGKILL; gives back when the process is gone.
    pub fn kill(&self) {
        let mut child = self.child.lock().unwrap();
        child.kill().unwrap();
        child.wait().unwrap();
    }

    /// The owner, by the link that the first start printed.
    pub async fn owner(&self) -> Client {
        let line = self.line();
        let at = line.find(&self.base).unwrap_or_else(|| panic!("{line}"));
        let link = &line[at + self.base.len()..];
        let owner = self.browser();
        let made = owner.post(link, &[("name", "Maren Oake"), ("password", PASSWORD)]).await;
        assert_eq!(made.status, 303, "{}", made.body);
        owner
    }

    /// The key of a rig that the owner has just entered.
    pub async fn rig_key(&self, owner: &Client) -> String {
        let rig = [("name", "alder"), ("board", "Quillon M1"), ("time_zone", "UTC")];
        let entered = owner.post(&paths::rigs(), &rig).await;
        assert_eq!(entered.status, 303, "{}", entered.body);
        let made = owner.post(&paths::api(&paths::keys()), &[("rig", "1"), ("label", "bench")]).await;
        assert_eq!(made.status, 201, "{}", made.body);
        made.json()["key"].as_str().unwrap().to_owned()
    }
}

impl Drop for Program {
    fn drop(&mut self) {
        // It may be gone already, and a test that fails here would hide why it failed.
        if let Ok(mut child) = self.child.lock() {
            let _ = child.kill();
            let _ = child.wait();
        }
    }
}

/// The name of log number `n`.
pub fn name(n: u64) -> String {
    format!("log {n}.csv")
}

/// Log number `n`, unlike all others: a pass of a few seconds; every sixteenth is long enough for two stored chunks.
pub fn log(n: u64) -> Vec<u8> {
    let drawn = Chance::seeded(n).bytes().unwrap();
    let frames = if n % 16 == 15 { 45_000 } else { 200 + 8 * usize::from(drawn[0]) };
    let (mut text, mut at_us) = ("elapsed (s),frame time (ms),power (W)\n".to_owned(), 0);
    for i in 0..frames {
        let (frame_us, power_w) = (8_000 + 8 * u32::from(drawn[i % 32]), 250 + i % 9);
        let (s, us, ms, rest) = (at_us / 1_000_000, at_us % 1_000_000, frame_us / 1_000, frame_us % 1_000);
        writeln!(text, "{s}.{us:06},{ms}.{rest:03},{power_w}").unwrap();
        at_us += frame_us;
    }
    text.into_bytes()
}
