//! How long the service takes for its pages, on a piece of some 450 passes, as the store grows.
//!
//! `cargo run --release --example pages -- 450 2000 10000`: for each number of passes in the store a line for each page
//! with the median and the 95th percentile of its time, asked over loopback from a warm store, and of the first time
//! after a change in the store. The passes are those of two invented weeks; what is more belongs to cells that the
//! piece does not select.

#![expect(
    clippy::print_stdout,
    clippy::unwrap_used,
    reason = "a program for people at a bench: what goes wrong may end it"
)]

use std::collections::BTreeSet;
use std::time::Instant;

use jiff::Timestamp;
use reqwest::header::ORIGIN;
use weighhouse::chance::Chance;
use weighhouse::clock::Clock;
use weighhouse::config::{Config, PasswordCost};
use weighhouse::http::Server;
use weighhouse::store::pieces::Piece;
use weighhouse::store::{Actor, Store, people, pieces};
use weighhouse::work::passwords::Passwords;
use weighhouse::work::{bench_week, cells};
use weighhouse_demo::Demo;
use weighhouse_web::paths;

/// Hashes at once: what is timed needs none.
const CHEAP: PasswordCost = PasswordCost { memory_kib: 32, rounds: 1, lanes: 1 };
/// Invented weeks whose passes the piece holds.
const WEEKS: u64 = 2;
/// How often a page is asked for.
const TIMES: usize = 200;

#[tokio::main]
async fn main() {
    let sizes: Vec<usize> = std::env::args().skip(1).map(|n| n.parse().unwrap()).collect();
    println!(
        "{:>8} {:>8}  {:<10} {:>9} {:>9} {:>9}",
        "store", "piece", "page", "p50 ms", "p95 ms", "first ms"
    );
    for size in sizes {
        measure(size).await;
    }
}

/// Two weeks in the piece's cells, and each further two in cells at settings of their own, until there are `passes`;
/// how many cells the piece has.
fn week(passes: usize, now: Timestamp) -> (Demo, usize) {
    let mut all = weighhouse_demo::bench_week(1, now);
    let (cells, settings) = (all.cells.clone(), all.settings.clone());
    for seed in 2.. {
        let elsewhere = usize::try_from((seed - 1) / WEEKS).unwrap();
        if seed > WEEKS && (seed - 1) % WEEKS == 0 {
            for setting in &settings {
                let name = format!("{}, elsewhere {elsewhere}", setting.name).leak();
                all.settings.push(weighhouse_demo::Setting { name, ..setting.clone() });
            }
            for cell in &cells {
                let setting = cell.setting + elsewhere * settings.len();
                all.cells.push(weighhouse_demo::DemoCell { setting, ..cell.clone() });
            }
        }
        for mut pass in weighhouse_demo::bench_week(seed, now).passes {
            pass.cell += elsewhere * cells.len();
            if elsewhere > 0 {
                pass.sensors_name = None;
            }
            pass.file_name = format!("week{seed}_{}", pass.file_name);
            all.passes.push(pass);
        }
        if seed >= WEEKS && all.passes.len() >= passes {
            break;
        }
    }
    (all, cells.len())
}

async fn measure(size: usize) {
    let folder = tempfile::tempdir().unwrap();
    let now = Timestamp::from_second(1_795_000_000).unwrap();
    let clock = Clock::by_hand(now.as_microsecond());
    let store = Store::open(&folder.path().join("bench.db"), clock.clone()).await.unwrap();
    let (demo, own) = week(size, now);
    let (passes, owner) = (demo.passes.len(), demo.team.people[0].clone());
    bench_week::load(&store, &Chance::system(), &Passwords::new(CHEAP), demo, |_| {}).await.unwrap();
    let piece = narrowed(&store, own).await;
    let selected = passes_of(&store, &piece).await;

    let config = Config { listen: ([127, 0, 0, 1], 0).into(), passwords: CHEAP, ..Config::default() };
    let server = Server::start(config, store.clone(), clock, Chance::system()).await.unwrap();
    let base = format!("http://{}", server.addr());
    let http = reqwest::Client::builder().cookie_store(true).build().unwrap();
    let form = form_urlencoded::Serializer::new(String::new())
        .extend_pairs([("name", owner.name), ("password", owner.password)])
        .finish();
    let signed = http.post(format!("{base}{}", paths::sign_in())).header(ORIGIN, &base);
    let signed = signed.header("content-type", "application/x-www-form-urlencoded").body(form);
    assert!(signed.send().await.unwrap().status().is_success());

    for (name, path) in [
        ("Against", paths::against(&piece.key)),
        ("Plan", paths::plan(&piece.key)),
        ("Figures", paths::figures(&piece.key)),
        ("Review", paths::review(&piece.key)),
    ] {
        let first = changed(&store, &piece, &http, &format!("{base}{path}")).await;
        let mut times = Vec::new();
        for _ in 0..TIMES {
            times.push(time(&http, &format!("{base}{path}")).await);
        }
        times.sort_by(f64::total_cmp);
        let (p50, p95) = (times[TIMES / 2], times[TIMES * 95 / 100]);
        println!("{passes:>8} {selected:>8}  {name:<10} {p50:>9.1} {p95:>9.1} {first:>9.1}");
    }
}

/// Takes all but the first `own` cells out of the piece.
async fn narrowed(store: &Store, own: usize) -> Piece {
    let mut db = store.read().await.unwrap();
    let piece = pieces::all(&mut db).await.unwrap().remove(0);
    let mut ids: Vec<_> =
        pieces::selected(&mut db, piece.id).await.unwrap().iter().map(|cell| cell.id).collect();
    let person = people::all(&mut db).await.unwrap().remove(0).id;
    drop(db);
    ids.sort();
    let others = ids.split_off(own);
    cells::take_out(store, Actor::Person(person), piece.id, others, true).await.unwrap();
    piece
}

async fn passes_of(store: &Store, piece: &Piece) -> usize {
    let mut db = store.read().await.unwrap();
    let passes = weighhouse::store::passes::of_piece(&mut db, piece.id).await.unwrap();
    passes.iter().map(|pass| pass.id.0).collect::<BTreeSet<_>>().len()
}

/// Time of the first answer after something in the store has changed.
async fn changed(store: &Store, piece: &Piece, http: &reqwest::Client, url: &str) -> f64 {
    let (id, fields) = (piece.id, piece.fields.clone());
    store
        .write(Actor::Server, async move |tx| {
            let now = pieces::by_id(tx, id).await?.map_or(0, |piece| piece.version);
            pieces::edit(tx, id, now, &fields).await
        })
        .await
        .unwrap();
    time(http, url).await
}

/// Milliseconds until a page is here whole.
async fn time(http: &reqwest::Client, url: &str) -> f64 {
    let began = Instant::now();
    let answer = http.get(url).send().await.unwrap();
    assert!(answer.status().is_success(), "{url}: {}", answer.status());
    answer.bytes().await.unwrap();
    began.elapsed().as_secs_f64() * 1e3
}
