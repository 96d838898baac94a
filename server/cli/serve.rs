//! `serve`: the team's service.

use std::net::SocketAddr;
use std::path::PathBuf;
use std::process::ExitCode;

use clap::Args as ClapArgs;
#[cfg(unix)]
use tokio::signal::unix::SignalKind;
use weighhouse_web::paths;

use super::say;
use crate::chance::Chance;
use crate::clock::Clock;
use crate::config::{Config, Public};
use crate::http::Server;
use crate::store::Store;
use crate::work::people;

/// Number of the signal on Linux (signal(7), x86 and ARM) and the BSDs.
#[cfg(unix)]
const SIGXFSZ: i32 = 25;

/// Serve a store to the team's browsers and rigs.
///
/// It speaks plain http and listens on this machine only. For other machines put a proxy that does TLS in front of
/// it, on this machine, and say which address people type with --public: the cookie is then sent by TLS only.
/// With --allow-network it may be reached without TLS; every page then warns that others can read what is typed.
#[derive(Debug, ClapArgs)]
pub(super) struct Args {
    /// The store; made when there is none.
    #[arg(long, value_name = "FILE", default_value = "weighhouse.db")]
    db: PathBuf,
    /// Where to listen.
    #[arg(long, value_name = "ADDR", default_value = "127.0.0.1:7300")]
    listen: SocketAddr,
    /// Let other machines reach it without TLS.
    #[arg(long)]
    allow_network: bool,
    /// The address that people type, when a proxy in front does TLS: https://bench.example
    #[arg(long, value_name = "URL")]
    public: Option<Public>,
}

pub(super) async fn run(args: Args) -> anyhow::Result<ExitCode> {
    let Args { db, listen, allow_network, public } = args;
    let config = Config { listen, allow_network, public, ..Config::default() }.checked()?;
    outlive_large_files()?;
    let (clock, chance) = (Clock::system(), Chance::system());
    let store = Store::open(&db, clock.clone()).await?;
    let typed = config.public.as_ref().map(|public| public.origin.clone());
    let server = Server::start(config, store.clone(), clock, chance.clone())
        .await
        .map_err(|error| anyhow::anyhow!("listening on {listen}: {error}"))?;
    let address = typed.unwrap_or_else(|| format!("http://{}", server.addr()));
    say(&format!("Weighhouse serves {} at {address}", db.display()))?;
    if let Some(token) = people::first_link(&store, &chance).await? {
        let link = paths::invitation(token.as_str());
        say(&format!("Nobody has an account yet. This link makes the owner's, once: {address}{link}"))?;
    }
    until_over(server, store).await
}

/// Lets a write past a limit on the size of files fail, to be told in words, instead of ending the program.
pub(super) fn outlive_large_files() -> std::io::Result<()> {
    #[cfg(unix)]
    {
        // Once it is asked for, a signal is caught for as long as the program runs.
        drop(tokio::signal::unix::signal(SignalKind::from_raw(SIGXFSZ))?);
    }
    Ok(())
}

/// Serves until it is told to stop or nothing can be written any more; requests that are under way come to their end.
pub(super) async fn until_over(server: Server, store: Store) -> anyhow::Result<ExitCode> {
    let code = tokio::select! {
        told = until_told() => {
            told?;
            tracing::info!("stopping");
            ExitCode::SUCCESS
        }
        () = store.broken() => {
            let db = store.path().display();
            tracing::error!("the disk failed while a change was being kept: stopping. Look after the disk, then: \
                             weighhouse check --db {db}");
            ExitCode::FAILURE
        }
    };
    server.stop().await;
    store.close().await;
    Ok(code)
}

/// Waits for ctrl-c or SIGTERM.
pub(super) async fn until_told() -> std::io::Result<()> {
    #[cfg(unix)]
    {
        let mut term = tokio::signal::unix::signal(SignalKind::terminate())?;
        tokio::select! {
            told = tokio::signal::ctrl_c() => told,
            _ = term.recv() => Ok(()),
        }
    }
    #[cfg(not(unix))]
    tokio::signal::ctrl_c().await
}
