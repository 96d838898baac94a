//! The command line: one command a file.

mod backup;
mod check;
mod demo;
mod measure;
mod reproduce;
mod serve;
mod watch;

use std::io::Write as _;
use std::process::ExitCode;

use clap::{Parser, Subcommand};

/// From per-frame logs to figures that two people agreed on.
#[derive(Debug, Parser)]
#[command(version)]
struct Cli {
    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, Subcommand)]
enum Command {
    /// See it at work: an invented team's bench week, loaded and served.
    Demo(demo::Args),
    /// Serve a store to the team's browsers and rigs.
    Serve(serve::Args),
    /// Copy a store, also while it is being served.
    Backup(backup::Args),
    /// Check whether a store is whole: exit 1 and a list when it is not.
    Check(check::Args),
    /// Read logs and print their measures, without a server.
    Measure(measure::Args),
    /// Compute the figures of a pack anew from its captures: exit 1 and a list when one differs.
    Reproduce(reproduce::Args),
    /// On a rig: send each log of a folder when it is finished.
    Watch(watch::Args),
}

/// Runs the command of the command line; what went wrong goes to standard error in one line.
pub fn run() -> ExitCode {
    let outcome = match Cli::parse().command {
        Command::Demo(args) => serving(demo::run(args)),
        Command::Serve(args) => serving(serve::run(args)),
        Command::Backup(args) => alone(backup::run(args)),
        Command::Check(args) => alone(check::run(args)),
        Command::Measure(args) => measure::run(&args),
        Command::Reproduce(args) => alone(reproduce::run(args)),
        Command::Watch(args) => alone(watch::run(args)),
    };
    outcome.unwrap_or_else(|error| {
        // Nothing can be done when standard error is closed.
        let _ = writeln!(std::io::stderr(), "weighhouse: {error:#}");
        ExitCode::FAILURE
    })
}

/// Runs a command that serves, with the log on standard error.
fn serving(work: impl Future<Output = anyhow::Result<ExitCode>>) -> anyhow::Result<ExitCode> {
    tracing_subscriber::fmt()
        .with_writer(std::io::stderr)
        .with_max_level(tracing::Level::INFO)
        .with_ansi(std::io::IsTerminal::is_terminal(&std::io::stderr()))
        .with_target(false)
        // A log that cannot be written, on a full disk, is not told on the same standard error: that would panic.
        .log_internal_errors(false)
        .init();
    tokio::runtime::Builder::new_multi_thread().enable_all().build()?.block_on(work)
}

/// Runs a command that does one thing and ends, without a log.
fn alone(work: impl Future<Output = anyhow::Result<ExitCode>>) -> anyhow::Result<ExitCode> {
    tokio::runtime::Builder::new_current_thread().enable_all().build()?.block_on(work)
}

/// Prints to standard output.
fn say(text: &str) -> anyhow::Result<()> {
    Ok(writeln!(std::io::stdout(), "{text}")?)
}
