//! `check`: is the store whole?

use std::path::PathBuf;
use std::process::ExitCode;

use super::say;
use crate::store::audit::Head;
use crate::store::check;
use crate::work::recheck;

/// Check whether a store is whole: its pages and references, each capture's bytes against their digest, what is kept of
/// each capture against its bytes, the audit trail against the tables. Exit 1 and a list when something is wrong.
#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// The store.
    #[arg(long, value_name = "FILE", default_value = "weighhouse.db")]
    db: PathBuf,
    /// The head of the audit trail as an export prints it, 'NUMBER DIGEST': does this store still extend what was
    /// published then?
    #[arg(long, value_name = "HEAD")]
    against: Option<Head>,
}

pub(super) async fn run(Args { db, against }: Args) -> anyhow::Result<ExitCode> {
    let mut report = check::check(&db, against).await?;
    report.wrong.extend(recheck::wrong(&mut check::view(&db).await?).await);
    for wrong in &report.wrong {
        say(wrong)?;
    }
    let verdict = match report.wrong.len() {
        0 => "whole".to_owned(),
        1 => "one thing is wrong".to_owned(),
        n => format!("{n} things are wrong"),
    };
    say(&format!(
        "{}: {verdict}; {} captures read; audit head {}",
        db.display(),
        report.captures,
        report.head
    ))?;
    Ok(if report.wrong.is_empty() { ExitCode::SUCCESS } else { ExitCode::FAILURE })
}
