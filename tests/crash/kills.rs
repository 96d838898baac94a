//! SIGKILL during uploads, again and again: each upload that was acknowledged is there, whole.

use std::path::Path;
use std::sync::Arc;
use std::sync::Mutex;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::time::{Duration, Instant};

use futures_util::{StreamExt as _, TryStreamExt as _, stream};
use reqwest::{Body, Method};
use sha2::{Digest as _, Sha256};
use tokio::task::JoinSet;
use weighhouse::chance::Chance;
use weighhouse::clock::Clock;
use weighhouse::store::{Store, captures, check};
use weighhouse_web::paths;

use crate::harness::Client;
use crate::program::{Program, log, name, run};

const ROUNDS: u64 = 30;
const WITHIN: Duration = Duration::from_secs(60);
const WORKERS: usize = 4;
/// What a body hands to the network in one go.
const PIECE_BYTES: usize = 4096;

/// When the server is killed.
#[derive(Clone, Copy, Debug)]
enum Moment {
    /// At once after this many uploads of the round were acknowledged.
    Acknowledged(u64),
    /// When this many bytes of the round went out, in the middle of a body.
    Sent(u64),
}

/// Uploads from several connections until the server is killed.
struct Round {
    program: Program,
    bench: Client,
    moment: Moment,
    sent: AtomicU64,
    acknowledged: Mutex<Vec<u64>>,
    unfinished: Mutex<Vec<u64>>,
    over: AtomicBool,
}

impl Round {
    fn end(&self) {
        if !self.over.swap(true, Ordering::SeqCst) {
            self.program.kill();
        }
    }

    /// The log's bytes in small pieces, each counted as it leaves.
    fn body(self: &Arc<Self>, n: u64) -> Body {
        let bytes = log(n);
        let pieces: Vec<_> = bytes.chunks(PIECE_BYTES).map(<[u8]>::to_vec).collect();
        let round = Arc::clone(self);
        Body::wrap_stream(stream::iter(pieces).map(move |piece| {
            let more = u64::try_from(piece.len()).unwrap();
            let sent = round.sent.fetch_add(more, Ordering::SeqCst) + more;
            if matches!(round.moment, Moment::Sent(bytes) if sent >= bytes) {
                round.end();
            }
            Ok::<_, std::io::Error>(piece)
        }))
    }

    /// Sends log `n`; whether it was acknowledged.
    async fn send(self: &Arc<Self>, n: u64) -> bool {
        let key = format!("log-{n}");
        let put = self.bench.request(Method::PUT, &paths::upload(&name(n))).header("idempotency-key", key);
        let Ok(answer) = put.body(self.body(n)).send().await else {
            assert!(self.over.load(Ordering::SeqCst), "{} broke off while the server ran", name(n));
            self.unfinished.lock().unwrap().push(n);
            return false;
        };
        let status = answer.status();
        assert!(status.is_success(), "{}: {status}: {:?}", name(n), answer.text().await);
        let mut acknowledged = self.acknowledged.lock().unwrap();
        acknowledged.push(n);
        let now = u64::try_from(acknowledged.len()).unwrap();
        if matches!(self.moment, Moment::Acknowledged(count) if now >= count) {
            self.end();
        }
        true
    }
}

/// One start of the server on the store, and its end: first what the end before left unfinished is sent again, then
/// new logs, counted by `next`. Gives what was acknowledged and what was not.
async fn round(
    db: &Path,
    key: &str,
    moment: Moment,
    again: Vec<u64>,
    next: &Arc<AtomicU64>,
) -> [Vec<u64>; 2] {
    let program = Program::serve(db);
    let bench = program.bench(key);
    let round = Arc::new(Round {
        program,
        bench,
        moment,
        sent: AtomicU64::new(0),
        acknowledged: Mutex::default(),
        unfinished: Mutex::default(),
        over: AtomicBool::new(false),
    });
    let again = Arc::new(Mutex::new(again));
    let mut workers = JoinSet::new();
    for _ in 0..WORKERS {
        let (round, again, next) = (Arc::clone(&round), Arc::clone(&again), Arc::clone(next));
        workers.spawn(async move {
            loop {
                let retried = again.lock().unwrap().pop();
                let n = retried.unwrap_or_else(|| next.fetch_add(1, Ordering::SeqCst));
                if !round.send(n).await {
                    break;
                }
            }
        });
    }
    while let Some(done) = workers.join_next().await {
        done.unwrap();
    }
    let mut unfinished = std::mem::take(&mut *round.unfinished.lock().unwrap());
    unfinished.append(&mut again.lock().unwrap());
    [std::mem::take(&mut *round.acknowledged.lock().unwrap()), unfinished]
}

/// The bytes of log `n` as the store gives them back; none: no such capture.
async fn kept(store: &Store, n: u64) -> Option<Vec<u8>> {
    let digest = Sha256::digest(log(n)).into();
    let mut db = store.read().await.unwrap();
    let capture = captures::by_digest(&mut db, &digest).await.unwrap()?;
    drop(db);
    Some(captures::bytes(store.clone(), capture.id).try_concat().await.unwrap())
}

#[tokio::test(flavor = "multi_thread")]
async fn what_was_acknowledged_outlives_thirty_kills() {
    let folder = tempfile::tempdir().unwrap();
    let db = folder.path().join("house.db");
    let program = Program::serve(&db);
    let key = program.rig_key(&program.owner().await).await;
    program.kill();

    let chance = Chance::seeded(7);
    let next = Arc::new(AtomicU64::new(0));
    let (mut acknowledged, mut unfinished, mut cut) = (Vec::new(), Vec::new(), 0);
    let began = Instant::now();
    for n in 0..ROUNDS {
        let drawn = chance.bytes().unwrap();
        let moment = match n % 2 {
            0 => Moment::Acknowledged(2 + u64::from(drawn[0] % 8)),
            _ => Moment::Sent(1_000 + 4 * u64::from(u16::from_le_bytes([drawn[0], drawn[1]]))),
        };
        let [whole, broken] = round(&db, &key, moment, unfinished, &next).await;
        acknowledged.extend(whole.into_iter().map(|log| (n, log)));
        cut += broken.len();
        unfinished = broken;
        // As the kill left it, before any server has seen it again.
        let report = check::check(&db, None).await.unwrap();
        assert_eq!(report.wrong, Vec::<String>::new(), "after kill {n}, {moment:?}");
        assert!(report.captures >= acknowledged.len(), "after kill {n}, {moment:?}: {report:?}");
    }
    let took = began.elapsed();
    println!("{ROUNDS} kills in {took:?}: {} uploads acknowledged, {cut} cut off", acknowledged.len());
    assert!(took < WITHIN, "{ROUNDS} kills took {took:?}");
    assert!(cut > 0 && acknowledged.len() > 30, "the kills must fall among uploads");

    let checked = run(&["check", "--db", db.to_str().unwrap()]);
    let said = String::from_utf8_lossy(&checked.stdout).into_owned();
    assert!(checked.status.success() && said.contains(": whole; ") && said.lines().count() == 1, "{said}");
    let store = Store::open(&db, Clock::system()).await.unwrap();
    for (round, n) in acknowledged {
        assert!(kept(&store, n).await == Some(log(n)), "{}, acknowledged in round {round}, is lost", name(n));
    }
}
