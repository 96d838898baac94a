//! `reproduce`: are the figures of a pack what its captures give?

use std::fs::File;
use std::io::{BufReader, Read as _, Write as _};
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use anyhow::Context as _;
use serde_json::{Value, json};
use zip::ZipArchive;

use super::say;
use crate::clock::Clock;
use crate::http::pack as pages;
use crate::store::Store;
use crate::work::reproduce::{self, Compared, Files, Report};
use crate::work::{Internal, Result};

/// A file of a pack is not unpacked to more than this: 4 GiB.
const MOST: u64 = 4 << 30;

/// Compute the figures of a pack with captures anew, and say of each whether it agrees to the last digit. Needs no store
/// and no server; exit 1 and what differs when one does not agree.
#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// The pack: a zip that was taken with its captures.
    #[arg(value_name = "PACK")]
    pack: PathBuf,
    /// Print one object instead of lines.
    #[arg(long)]
    json: bool,
}

pub(super) async fn run(Args { pack, json }: Args) -> anyhow::Result<ExitCode> {
    let mut files = Zip::open(&pack).with_context(|| pack.display().to_string())?;
    let folder = Folder::new()?;
    let store = Store::open(&folder.0.join("store.db"), Clock::system()).await?;
    // How far it is is a comfort; a closed standard error does not end the work.
    let told = |text: &str| drop(writeln!(std::io::stderr(), "{text}"));
    let report = reproduce::reproduce(&store, &mut files, told, pages::drawn).await;
    store.close().await;
    let report = report.with_context(|| pack.display().to_string())?;
    if json {
        let told = json!({ "agrees": report.agrees(), "report": report });
        say(&format!("{told:#}"))?;
    } else {
        print(&pack, &report)?;
    }
    Ok(if report.agrees() { ExitCode::SUCCESS } else { ExitCode::FAILURE })
}

fn print(pack: &Path, report: &Report) -> anyhow::Result<()> {
    for figure in &report.figures {
        say(&line(figure))?;
        for differs in &figure.differs {
            say(&format!(
                "    {}: {} in the pack, {} computed",
                differs.field, differs.pack, differs.computed
            ))?;
        }
    }
    let files = [&report.tables, &report.charts, &report.columns];
    for (path, _) in files.into_iter().flatten().filter(|(_, same)| !same) {
        say(&format!("{path}: differs"))?;
    }
    for wrong in &report.wrong {
        say(wrong)?;
    }
    let same = report.figures.iter().filter(|figure| figure.differs.is_empty()).count();
    let of = |files: &[(String, bool)]| {
        format!("{} of {}", files.iter().filter(|(_, same)| *same).count(), files.len())
    };
    say(&format!(
        "{}: {same} of {} figures, {} tables, {} charts and {} files of columns agree to the last digit; \
         {} captures read{}",
        pack.display(),
        report.figures.len(),
        of(&report.tables),
        of(&report.charts),
        of(&report.columns),
        report.captures,
        if report.masked > 0 {
            format!(", {} of them with names masked", report.masked)
        } else {
            String::new()
        }
    ))?;
    if report.not_computed.is_empty() {
        return Ok(());
    }
    say(&format!(
        "Not computed (words, what they are set in, pixels of the charts): {}",
        report.not_computed.join(", ")
    ))
}

fn line(figure: &Compared) -> String {
    let value = match &figure.computed {
        Value::Null => "no value",
        Value::String(value) => value,
        other => &other.to_string(),
    };
    let agrees = if figure.differs.is_empty() { "agrees" } else { "differs" };
    format!(
        "{} {}: {agrees}, {value}, digest {}",
        figure.key,
        figure.name,
        figure.digest.as_str().unwrap_or("none")
    )
}

/// A folder of this run alone, gone with it.
struct Folder(PathBuf);

impl Folder {
    fn new() -> std::io::Result<Self> {
        let path = std::env::temp_dir().join(format!("weighhouse-reproduce-{}", std::process::id()));
        let mut builder = std::fs::DirBuilder::new();
        #[cfg(unix)]
        std::os::unix::fs::DirBuilderExt::mode(&mut builder, 0o700);
        builder.create(&path)?;
        Ok(Self(path))
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        // What is left among the temporary files is swept with them.
        let _ = std::fs::remove_dir_all(&self.0);
    }
}

/// A pack as a zip: its files stand under one folder.
struct Zip {
    archive: ZipArchive<BufReader<File>>,
    folder: String,
}

impl Zip {
    fn open(path: &Path) -> anyhow::Result<Self> {
        let archive = ZipArchive::new(BufReader::new(File::open(path)?))?;
        let state = archive.file_names().find_map(|name| {
            let name = name.ok()?;
            Some(name.strip_suffix("state.json")?.to_owned())
        });
        let folder = state.context("a pack without captures, or no pack: take it with its captures")?;
        Ok(Self { archive, folder })
    }
}

impl Files for Zip {
    fn paths(&self) -> Vec<String> {
        let names = self.archive.file_names().filter_map(|name| name.ok());
        names.filter_map(|name| Some(name.strip_prefix(&self.folder)?.to_owned())).collect()
    }

    fn file(&mut self, path: &str) -> Result<Option<Vec<u8>>> {
        let broken = |e: &dyn std::fmt::Display| Internal(format!("{path} is damaged: {e}"));
        let mut file = match self.archive.by_name(&format!("{}{path}", self.folder)) {
            Err(zip::result::ZipError::FileNotFound) => return Ok(None),
            other => other.map_err(|e| broken(&e))?,
        };
        let mut bytes = Vec::new();
        file.by_ref().take(MOST + 1).read_to_end(&mut bytes).map_err(|e| broken(&e))?;
        if u64::try_from(bytes.len()).unwrap_or(u64::MAX) > MOST {
            return Err(broken(&"it unpacks to more than 4 GiB").into());
        }
        Ok(Some(bytes))
    }
}
