//! `weighhouse check --db FILE`: is the store whole? Exit 1 and a list when it is not.

use std::io::Write;
use std::path::Path;
use std::process::ExitCode;

use crate::store::check;

/// Checks the store `db` and lists on `out` what is wrong.
///
/// # Errors
/// When there is no store that this version knows; or when `out` cannot be written.
pub async fn run(db: &Path, out: &mut impl Write) -> anyhow::Result<ExitCode> {
    let report = check::check(db).await?;
    for wrong in &report.wrong {
        writeln!(out, "{wrong}")?;
    }
    let verdict = match report.wrong.len() {
        0 => "whole".to_owned(),
        n => format!("{n} things are wrong"),
    };
    writeln!(out, "{}: {verdict}; {} captures read; audit head {}", db.display(), report.captures, report.head)?;
    Ok(if report.wrong.is_empty() { ExitCode::SUCCESS } else { ExitCode::FAILURE })
}
