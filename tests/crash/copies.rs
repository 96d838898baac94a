//! Copies made while people work are whole, and a copy that somebody tampered with is told from a whole one.

use std::path::{Path, PathBuf};
use std::process::Output;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};

use sqlx::ConnectOptions as _;
use sqlx::Connection as _;
use sqlx::sqlite::SqliteConnectOptions;
use weighhouse::clock::Clock;
use weighhouse::store::passes::{self, NewPass};
use weighhouse::store::registers::cells::{self, CellOf};
use weighhouse::store::registers::{parts, rigs, scenes, settings, tunings};
use weighhouse::store::rulings::{self, Verdict};
use weighhouse::store::{Actor, PersonId, Store, StoreError, Tx, segments};
use weighhouse_web::paths;

use crate::harness::Client;
use crate::program::{Program, log, name, run};

fn backup(db: &Path, to: &Path) -> Output {
    run(&["backup", to.to_str().unwrap(), "--db", db.to_str().unwrap()])
}

/// What `check` prints of the store, and whether it ends with 0.
fn checked(db: &Path) -> (bool, String) {
    let output = run(&["check", "--db", db.to_str().unwrap()]);
    assert!(output.stderr.is_empty(), "{}", String::from_utf8_lossy(&output.stderr));
    (output.status.code().unwrap() == 0, String::from_utf8(output.stdout).unwrap())
}

async fn send(bench: &Client, n: u64) {
    let answer = bench.put(&paths::upload(&name(n)), log(n)).await;
    assert_eq!(answer.status, 201, "{}", answer.body);
}

/// What a team enters before it measures.
async fn registers(owner: &Client) {
    let part = [("maker", "Tarnwick"), ("model", "Curlew"), ("unit", "A"), ("driver", "501.2")];
    let part = [&part[..], &[("driver_dated", "2026-02-10"), ("rated_power_w", "500")]].concat();
    let scene = [("game", "Vellum Rally"), ("passage", "hairpin"), ("kind", "replay")];
    let scene = [&scene[..], &[("build", "1.0.3"), ("build_dated", "2026-02-10")]].concat();
    let setting = vec![("name", "2160p native"), ("width_px", "3840"), ("height_px", "2160")];
    for (to, fields) in [(paths::parts(), part), (paths::scenes(), scene), (paths::settings(), setting)] {
        let answer = owner.post(&to, &fields).await;
        assert_eq!(answer.status, 303, "{to}: {}", answer.body);
    }
}

/// A pass of the first log that waits, set aside by the owner.
async fn ruled(tx: &mut Tx<'_>) -> Result<(), StoreError> {
    let of = CellOf {
        tuning_id: tunings::all(tx).await?[0].id,
        scene_id: scenes::all(tx).await?[0].id,
        setting_id: settings::all(tx).await?[0].id,
    };
    let new = NewPass {
        cell_id: cells::ensure(tx, of).await?,
        segment_id: segments::waiting(tx).await?[0].id,
        rig_base_id: rigs::bases(tx).await?[0].id,
        unit_id: parts::units(tx).await?[0].id,
        driver_id: parts::drivers(tx).await?[0].id,
        build_id: scenes::builds(tx).await?[0].id,
    };
    let pass = passes::add(tx, "p1", &new).await?;
    rulings::rule(tx, pass, Verdict::SetAside, "an updater ran", "[]").await?;
    Ok(())
}

#[tokio::test(flavor = "multi_thread")]
async fn a_copy_made_during_uploads_is_a_whole_store() {
    let folder = tempfile::tempdir().unwrap();
    let (db, copy) = (folder.path().join("house.db"), folder.path().join("copy.db"));
    let program = Program::serve(&db);
    let key = program.rig_key(&program.owner().await).await;
    let (bench, stop, sent) =
        (program.bench(&key), Arc::new(AtomicBool::new(false)), Arc::new(AtomicU64::new(0)));
    for n in 0..8 {
        send(&bench, n).await;
    }
    let uploads = tokio::spawn({
        let (bench, stop, sent) = (bench.clone(), Arc::clone(&stop), Arc::clone(&sent));
        async move {
            let mut n = 8;
            while !stop.load(Ordering::SeqCst) || sent.load(Ordering::SeqCst) == 0 {
                send(&bench, n).await;
                sent.fetch_add(1, Ordering::SeqCst);
                n += 1;
            }
            usize::try_from(n).unwrap()
        }
    });
    let (from, to) = (db.clone(), copy.clone());
    let made = tokio::task::spawn_blocking(move || backup(&from, &to)).await.unwrap();
    stop.store(true, Ordering::SeqCst);
    let all = uploads.await.unwrap();
    assert!(made.status.success(), "{made:?}");
    println!("{} uploads were acknowledged while the copy was made", sent.load(Ordering::SeqCst));

    let bytes = std::fs::read(&copy).unwrap();
    let refused = backup(&db, &copy);
    let why = String::from_utf8(refused.stderr).unwrap();
    assert!(!refused.status.success() && why.contains("there is such a file already"), "{why}");
    assert!(std::fs::read(&copy).unwrap() == bytes, "the copy is as it was");

    let (whole, said) = checked(&copy);
    assert!(whole, "{said}");
    let captures = said.split_once(" captures read").unwrap().0.rsplit_once(' ').unwrap().1;
    assert!((8..=all).contains(&captures.parse().unwrap()), "{said}");
    assert!(checked(&db).0, "a store that is being served can be checked");

    let second = Program::serve(&copy);
    send(&second.bench(&key), 1_000).await;
    send(&bench, 1_000).await;
}

/// A copy of `from` in which one thing was changed behind the program's back.
async fn tampered(from: &Path, change: &str) -> PathBuf {
    let to = from.with_extension("tampered");
    std::fs::copy(from, &to).unwrap();
    let mut conn = SqliteConnectOptions::new().filename(&to).connect().await.unwrap();
    #[expect(clippy::disallowed_methods, reason = "changes what no function of the store changes")]
    let done = sqlx::raw_sql(sqlx::AssertSqlSafe(change.to_owned())).execute(&mut conn).await.unwrap();
    assert!(done.rows_affected() > 0, "{change}");
    conn.close().await.unwrap();
    to
}

#[tokio::test(flavor = "multi_thread")]
async fn a_copy_that_was_tampered_with_is_told_by_its_row() {
    let folder = tempfile::tempdir().unwrap();
    let (db, copy) = (folder.path().join("house.db"), folder.path().join("copy.db"));
    let program = Program::serve(&db);
    let owner = program.owner().await;
    let key = program.rig_key(&owner).await;
    registers(&owner).await;
    send(&program.bench(&key), 0).await;
    assert!(backup(&db, &copy).status.success());
    let store = Store::open(&copy, Clock::system()).await.unwrap();
    store.write(Actor::Person(PersonId(1)), async move |tx| ruled(tx).await).await.unwrap();
    store.close().await;
    drop(store);
    let (whole, said) = checked(&copy);
    assert!(whole, "{said}");

    let one_byte = "UPDATE capture_chunk SET body = CAST(substr(body, 1, 300) || \
                    CASE substr(body, 301, 1) WHEN x'00' THEN x'01' ELSE x'00' END || substr(body, 302) AS BLOB)";
    for (change, named) in [
        (one_byte, "capture 1 (log 0.csv): "),
        (
            "DROP TRIGGER ruling_no_update; UPDATE ruling SET verdict = 'keep'",
            "ruling 1: not as audit entry ",
        ),
        (
            "DROP TRIGGER audit_entry_no_update; UPDATE audit_entry SET at_us = at_us + 1 WHERE seq = 3",
            "audit entry 3: the chain is broken here",
        ),
    ] {
        let (whole, said) = checked(&tampered(&copy, change).await);
        assert!(!whole && said.starts_with(named), "{change}: {said}");
        assert!(said.contains(": one thing is wrong; "), "{change}: {said}");
    }
}
