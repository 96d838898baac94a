//! `weighhouse backup FILE --db FILE`: a copy of the store, made while the server runs.

use std::io::Write;
use std::path::Path;
use std::process::ExitCode;

use crate::store::backup;

/// Copies the store `db` to `to` and says so on `out`.
///
/// # Errors
/// When there is no copy, with the reason and the mend in words; or when `out` cannot be written.
pub async fn run(db: &Path, to: &Path, out: &mut impl Write) -> anyhow::Result<ExitCode> {
    let bytes = backup::backup(db, to).await?;
    writeln!(out, "{}: a whole copy of {} ({bytes} bytes)", to.display(), db.display())?;
    Ok(ExitCode::SUCCESS)
}
