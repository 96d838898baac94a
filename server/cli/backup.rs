//! `backup`: a copy of the store, made while the server runs.

use std::path::PathBuf;
use std::process::ExitCode;

use super::say;
use crate::store::backup;

/// Copy a store, also while it is being served. The copy is checked before it gets its name.
#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// The copy; there must be no such file yet.
    #[arg(value_name = "FILE")]
    to: PathBuf,
    /// The store.
    #[arg(long, value_name = "FILE", default_value = "weighhouse.db")]
    db: PathBuf,
}

pub(super) async fn run(Args { to, db }: Args) -> anyhow::Result<ExitCode> {
    let bytes = backup::backup(&db, &to).await?;
    say(&format!("{}: a whole copy of {} ({bytes} bytes)", to.display(), db.display()))?;
    Ok(ExitCode::SUCCESS)
}
