//! `watch`: on a rig, sends each log of a folder once it is finished, and says what the server made of it.

mod client;
mod rest;
mod sent;

use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::time::Duration;

use anyhow::Context as _;
use clap::Args as ClapArgs;
use tokio::time::{Instant, sleep};

use self::client::{Answer, Client, Server};
use self::rest::{Resting, Stamp, look};
use self::sent::{Outcome, Sent};
use super::say;
use super::serve::until_told;

/// Longest wait between two tries of a server that does not answer.
const LONGEST_WAIT: Duration = Duration::from_secs(60);

/// Send each log of a folder to the team's service when it is finished.
///
/// A log is finished when its size and time have not changed for a while. What was sent is remembered in a file, so
/// that it is not sent again after a restart; what could not be sent is tried again, less and less often. Each log gets
/// one line that says what the service made of it. Hidden files and folders are left out.
#[derive(Debug, ClapArgs)]
pub(super) struct Args {
    /// The folder that the rig's logger writes to; folders in it are watched too.
    #[arg(value_name = "FOLDER")]
    folder: PathBuf,
    /// The service: http://bench.example:7300
    #[arg(long, value_name = "URL")]
    to: Server,
    /// A file that holds the rig's key alone; keep it readable for its owner only.
    #[arg(long, value_name = "FILE")]
    key_file: PathBuf,
    /// The game's settings file as it stands: its digest goes with each log, so that passes of a cell that ran with
    /// another one are flagged. The file itself stays here.
    #[arg(long, value_name = "FILE")]
    settings: Option<PathBuf>,
    /// Where it is remembered what was sent; without it `.weighhouse-sent` in the folder.
    #[arg(long, value_name = "FILE")]
    remember: Option<PathBuf>,
    /// Seconds between two looks at the folder, and before the first new try.
    #[arg(long, value_name = "SECONDS", default_value = "2", value_parser = seconds)]
    every: Duration,
    /// Seconds for which a log has to stay as it is.
    #[arg(long, value_name = "SECONDS", default_value = "10", value_parser = seconds)]
    rest: Duration,
    /// Send what is there, then end: exit 1 when a log was refused.
    #[arg(long)]
    once: bool,
}

fn seconds(text: &str) -> Result<Duration, String> {
    let seconds: Option<f64> = text.parse().ok();
    let fits = seconds.filter(|s| (0.001..=86_400.0).contains(s)).map(Duration::from_secs_f64);
    fits.ok_or_else(|| "give seconds, from 0.001 to 86400".to_owned())
}

pub(super) async fn run(args: Args) -> anyhow::Result<ExitCode> {
    tokio::select! {
        told = until_told() => told.map(|()| ExitCode::SUCCESS).map_err(Into::into),
        ended = watch(args) => ended,
    }
}

async fn watch(args: Args) -> anyhow::Result<ExitCode> {
    let key = std::fs::read_to_string(&args.key_file)
        .with_context(|| format!("the key in {}", args.key_file.display()))?;
    let client = Client::new(args.to.clone(), key.trim().to_owned());
    let remember = args.remember.clone().unwrap_or_else(|| args.folder.join(sent::NAME));
    let mut sent = Sent::open(&remember, args.to.as_str())
        .with_context(|| format!("what was sent, in {}", remember.display()))?;
    look(&args.folder).with_context(|| format!("the folder {}", args.folder.display()))?;
    let rig = patiently(args.every, || client.rig()).await?;
    say(&format!("Watching {} for {rig}, sending to {}.", args.folder.display(), args.to.as_str()))?;
    let mut resting = Resting::new(args.rest);
    loop {
        // A folder that is away for a moment, on a stick or a share, is looked at again.
        let files = look(&args.folder).unwrap_or_default();
        for (path, stamp) in resting.finished(Instant::now().into_std(), &files) {
            if !sent.knows(&name(&args.folder, &path), stamp) {
                send(&args, &client, &mut sent, &path, stamp).await?;
            }
        }
        if args.once && resting.all_still() {
            return Ok(if sent.refused_some() { ExitCode::FAILURE } else { ExitCode::SUCCESS });
        }
        sleep(args.every).await;
    }
}

/// Sends one log and says what came of it.
async fn send(
    args: &Args,
    client: &Client,
    sent: &mut Sent,
    path: &Path,
    stamp: Stamp,
) -> anyhow::Result<()> {
    // One that cannot be opened (yet), or is gone again, is looked at again.
    let Ok(digest) = client::digest(path) else { return Ok(()) };
    let name = name(&args.folder, path);
    if sent.has(&digest) {
        return Ok(sent.add(&name, stamp, &digest, Outcome::Taken)?);
    }
    // A game may be writing it at this moment; the log is not held up for that.
    let settings = args.settings.as_ref().map(|file| client::digest(file));
    let unread = if matches!(settings, Some(Err(_))) { " Its settings file could not be read." } else { "" };
    let settings = settings.and_then(Result::ok);
    let sending = || client.send(path, &digest, settings.as_deref());
    let (outcome, says) = match patiently(args.every, sending).await? {
        Answer::Taken { says } => (Outcome::Taken, format!("{says}{unread}")),
        Answer::Refused { says } => (Outcome::Refused, format!("not taken. {says}")),
        Answer::Changed => return Ok(()),
    };
    sent.add(&name, stamp, &digest, outcome)?;
    say(&one_line(&format!("{name}: {says}")))
}

/// Asks until there is an answer, after growing waits. The first failure is told.
async fn patiently<T, F: Future<Output = Result<T, client::Trouble>>>(
    first: Duration,
    ask: impl Fn() -> F,
) -> anyhow::Result<T> {
    let mut wait = first;
    let mut told = false;
    loop {
        match ask().await {
            Ok(answer) => return Ok(answer),
            Err(client::Trouble::Lasting(why)) => return Err(why),
            Err(client::Trouble::Passing(why)) => {
                if !told {
                    // Nothing can be done when standard error is closed.
                    let _ = writeln!(std::io::stderr(), "No answer: {why:#}. Trying again.");
                    told = true;
                }
                sleep(wait).await;
                wait = (2 * wait).min(LONGEST_WAIT);
            }
        }
    }
}

/// Its path within the folder.
fn name(folder: &Path, path: &Path) -> String {
    path.strip_prefix(folder).unwrap_or(path).to_string_lossy().into_owned()
}

/// Names of files may hold anything.
fn one_line(text: &str) -> String {
    text.chars().map(|c| if c.is_control() { ' ' } else { c }).collect()
}
