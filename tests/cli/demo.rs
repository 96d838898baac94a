//! The demo beside something else: a taken port, a second demo on the same store.

use std::io::{BufRead as _, BufReader};
use std::net::{Ipv4Addr, TcpListener};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};

use weighhouse::clock::Clock;
use weighhouse::store::Store;

/// Ended when it is dropped.
struct Demo(Child);

impl Drop for Demo {
    fn drop(&mut self) {
        self.0.kill().unwrap();
        self.0.wait().unwrap();
    }
}

fn demo(db: &Path, port: u16) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_weighhouse"));
    command.arg("demo").arg("--db").arg(db).args(["--port", &port.to_string()]);
    command
}

/// A store that is there already, so that nothing has to be loaded.
fn store(folder: &Path) -> PathBuf {
    let db = folder.join("demo.db");
    tokio::runtime::Runtime::new().unwrap().block_on(async {
        Store::open(&db, Clock::system()).await.unwrap().close().await;
    });
    db
}

#[test]
fn a_taken_port_is_told_and_a_second_demo_on_the_same_store_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    let db = store(folder.path());
    let taken = TcpListener::bind((Ipv4Addr::LOCALHOST, 0)).unwrap();
    let port = taken.local_addr().unwrap().port();
    let mut first = Demo(demo(&db, port).stdout(Stdio::piped()).stderr(Stdio::null()).spawn().unwrap());
    let mut lines = BufReader::new(first.0.stdout.take().unwrap()).lines().map(Result::unwrap);
    assert!(lines.next().unwrap().ends_with("is used again."));
    let told = lines.next().unwrap();
    assert!(told.starts_with(&format!("Port {port} is taken; ")), "{told}");
    let address = lines.find(|line| line.contains("demo is at http://127.0.0.1:")).unwrap();
    assert!(!address.ends_with(&format!(":{port}")), "{address}");

    let second = demo(&db, port).output().unwrap();
    assert_eq!(second.status.code(), Some(1));
    let says = String::from_utf8(second.stderr).unwrap();
    assert!(says.contains("demo.db.lock"), "{says}");
}
