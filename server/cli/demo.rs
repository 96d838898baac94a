//! `demo`: the invented team's bench week, loaded and served.

use std::net::{Ipv4Addr, SocketAddr};
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use clap::Args as ClapArgs;
use jiff::Timestamp;
use weighhouse_demo::{Demo, bench_week};

use super::say;
use super::serve::{outlive_large_files, until_over};
use crate::chance::Chance;
use crate::clock::Clock;
use crate::config::Config;
use crate::http::Server;
use crate::store::Store;
use crate::work::bench_week as loading;
use crate::work::passwords::Passwords;

/// The week is the same every time.
const SEED: u64 = 1;
/// Ports tried from the one asked for on.
const PORTS: u16 = 50;

/// See it at work: an invented team's bench week, loaded into a store of its own and served.
#[derive(Debug, ClapArgs)]
pub(super) struct Args {
    /// Keep the demo's store here; without it a store among the temporary files is used, and used again next time.
    #[arg(long, value_name = "FILE")]
    db: Option<PathBuf>,
    /// Port on this machine; the next free one is taken when it is in use.
    #[arg(long, value_name = "PORT", default_value_t = 7300)]
    port: u16,
}

pub(super) async fn run(args: Args) -> anyhow::Result<ExitCode> {
    let db = args.db.unwrap_or_else(|| std::env::temp_dir().join("weighhouse-demo.db"));
    outlive_large_files()?;
    let (clock, chance) = (Clock::system(), Chance::system());
    let week = bench_week(SEED, Timestamp::from_microsecond(clock.now_us())?);
    let people = week.team.people.clone();
    if db.exists() {
        say(&format!("The demo's store {} is used again.", db.display()))?;
    } else {
        load(&db, clock.clone(), &chance, week).await?;
    }
    let store = Store::open(&db, clock.clone()).await?;
    let server = first_free(args.port, &store, &clock, &chance).await?;
    if server.addr().port() != args.port {
        say(&format!("Port {} is taken; {} is used instead.", args.port, server.addr().port()))?;
    }
    say(&format!("\nWeighhouse's demo is at http://{}\n\nSign in as one of", server.addr()))?;
    for person in people {
        say(&format!("  {:16} password: {:28} {}", person.name, person.password, person.role))?;
    }
    say("\nCtrl-C ends it.")?;
    until_over(server, store).await
}

/// Loads the week beside its place and moves it there when it is whole, so that a load cut short is begun anew.
async fn load(db: &Path, clock: Clock, chance: &Chance, week: Demo) -> anyhow::Result<()> {
    let part = with_ending(db, ".loading");
    remove_left(&part)?;
    say("Loading an invented team's bench week ...")?;
    let store = Store::open(&part, clock).await?;
    let passwords = Passwords::new(Config::default().passwords);
    let told = |text: &str| {
        // Progress is a comfort; a closed output is met at the next line that matters.
        let _ = say(&format!("  {text}"));
    };
    loading::load(&store, chance, &passwords, week, told).await?;
    store.close().await;
    drop(store);
    std::fs::rename(&part, db)?;
    Ok(remove_left(&part)?)
}

fn with_ending(path: &Path, ending: &str) -> PathBuf {
    let mut name = path.as_os_str().to_owned();
    name.push(ending);
    PathBuf::from(name)
}

/// Removes what a load leaves, or left when it was cut short.
fn remove_left(part: &Path) -> std::io::Result<()> {
    for ending in ["", "-wal", "-shm", ".lock"] {
        match std::fs::remove_file(with_ending(part, ending)) {
            Err(error) if error.kind() != std::io::ErrorKind::NotFound => return Err(error),
            _ => {}
        }
    }
    Ok(())
}

async fn first_free(port: u16, store: &Store, clock: &Clock, chance: &Chance) -> anyhow::Result<Server> {
    let mut last = None;
    for port in port..=port.saturating_add(PORTS) {
        let listen = SocketAddr::from((Ipv4Addr::LOCALHOST, port));
        let config = Config { listen, ..Config::default() }.checked()?;
        match Server::start(config, store.clone(), clock.clone(), chance.clone()).await {
            Ok(server) => return Ok(server),
            Err(error) if error.kind() == std::io::ErrorKind::AddrInUse => last = Some(error),
            Err(error) => return Err(error.into()),
        }
    }
    Err(anyhow::anyhow!("ports {port} to {} are all taken: {last:?}", port.saturating_add(PORTS)))
}
