//! 250 changes made in the file behind the program's back, drawn from seeds: `check` names each of them.
//!
//! Outside the trail, and so not tried: secrets' hashes, who looked and when, answers kept for a retry.

#![expect(clippy::disallowed_methods, reason = "changes what no function of the store changes")]

use std::path::{Path, PathBuf};

use sha2::{Digest as _, Sha256};
use sqlx::sqlite::{SqliteConnectOptions, SqliteRow};
use sqlx::{AssertSqlSafe, ConnectOptions as _, Connection as _, Row as _, SqliteConnection};
use weighhouse::chance::Chance;
use weighhouse::clock::Clock;
use weighhouse::config::PasswordCost;
use weighhouse::store::audit::Head;
use weighhouse::store::{Actor, Store, StoreError, check, pieces};
use weighhouse::work::passwords::Passwords;
use weighhouse::work::{bench_week, recheck};
use weighhouse_demo::{Decision, DemoFigure, FigureOf};

const SINGLE: u64 = 200;
const CUT: u64 = 20;
const ANEW: u64 = 25;
const OLDER: u64 = 5;

/// What a change could not make a reader believe: outside the trail, or recomputed when it is not there.
const SPARED_TABLES: [&str; 7] = [
    "web_session",
    "failed_sign_in",
    "access_log",
    "first_answer",
    "_sqlx_migrations",
    "strip_level",
    "sqlite_sequence",
];
const SPARED_COLUMNS: [(&str, &str); 12] = [
    ("person", "password_hash"),
    ("invitation", "token_hash"),
    ("rig_key", "token_hash"),
    ("rig_key", "last_used_us"),
    ("board", "token_hash"),
    ("board", "opened_us"),
    ("capture", "question"),
    // A number behind the others leaves their order.
    ("track", "n"),
    ("track_chunk", "n"),
    ("capture_chunk", "n"),
    // A result under another key is not used.
    ("pass_result", "key"),
    ("pass_result", "kind"),
];

/// A small store of a team with a ruling and an agreed figure; an older copy of it, and both heads.
struct House {
    _folder: tempfile::TempDir,
    db: PathBuf,
    head: Head,
    older: Vec<PathBuf>,
}

impl House {
    async fn built() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let db = folder.path().join("house.db");
        let now = jiff::Timestamp::from_second(1_795_000_000).unwrap();
        let mut week = weighhouse_demo::bench_week(1, now);
        let cells = [week.passes[0].cell, week.passes[9].cell];
        let mut left = [2, 2];
        week.passes.retain(|pass| match cells.iter().position(|cell| *cell == pass.cell) {
            Some(at) if left[at] > 0 => {
                left[at] -= 1;
                true
            }
            _ => false,
        });
        let figures = vec![DemoFigure { measure: "average_fps", of: FigureOf::Cell(cells[1]) }];
        week.decisions = vec![
            Decision::Ruling {
                by: 1,
                pass: week.passes[0].file_name.clone(),
                verdict: "set aside",
                reason: "the part throttled",
            },
            Decision::Figures { made_by: 2, proposed_by: Some(1), agreed_by: Some(0), figures },
        ];
        let cheap = PasswordCost { memory_kib: 32, rounds: 1, lanes: 1 };
        let store = Store::open(&db, Clock::by_hand(now.as_microsecond())).await.unwrap();
        bench_week::load(&store, &Chance::seeded(1), &Passwords::new(cheap), week, |_| {}).await.unwrap();
        store.close().await;
        drop(store);
        let mut older = Vec::new();
        for n in 0..OLDER {
            let copy = folder.path().join(format!("older{n}.db"));
            std::fs::copy(&db, &copy).unwrap();
            older.push(copy);
            let store = Store::open(&db, Clock::by_hand(now.as_microsecond())).await.unwrap();
            store.write(Actor::Server, async move |tx| renamed(tx, n).await).await.unwrap();
            store.close().await;
            drop(store);
        }
        let head = check::check(&db, None).await.unwrap().head;
        Self { _folder: folder, db, head, older }
    }

    /// A copy in which triggers and references are out of force.
    async fn opened(&self, name: &str) -> (PathBuf, SqliteConnection) {
        let to = self.db.with_file_name(name);
        std::fs::copy(&self.db, &to).unwrap();
        let mut db = SqliteConnectOptions::new().filename(&to).foreign_keys(false).connect().await.unwrap();
        run(&mut db, "PRAGMA ignore_check_constraints = ON").await.unwrap();
        for trigger in texts(&mut db, "SELECT name FROM sqlite_schema WHERE type = 'trigger'").await {
            run(&mut db, &format!("DROP TRIGGER {trigger}")).await.unwrap();
        }
        (to, db)
    }
}

async fn renamed(tx: &mut weighhouse::store::Tx<'_>, n: u64) -> Result<(), StoreError> {
    let mut piece = pieces::all(tx).await?.remove(0);
    piece.fields.name = format!("Name {n}");
    pieces::edit(tx, piece.id, piece.version, &piece.fields).await
}

async fn run(db: &mut SqliteConnection, sql: &str) -> Result<u64, sqlx::Error> {
    Ok(sqlx::raw_sql(AssertSqlSafe(sql.to_owned())).execute(db).await?.rows_affected())
}

async fn texts(db: &mut SqliteConnection, sql: &str) -> Vec<String> {
    sqlx::query_scalar(AssertSqlSafe(sql.to_owned())).fetch_all(db).await.unwrap()
}

/// What `check` says; what is computed from captures is looked at where the rest is whole.
async fn said(path: &Path, against: Option<Head>) -> Vec<String> {
    let wrong = check::check(path, against).await.unwrap().wrong;
    if !wrong.is_empty() {
        return wrong;
    }
    recheck::wrong(&mut check::view(path).await.unwrap()).await
}

/// Numbers drawn from a seed.
struct Drawn([u8; 32], usize);

impl Drawn {
    fn of(seed: u64) -> Self {
        Self(Chance::seeded(seed).bytes().unwrap(), 0)
    }

    fn below(&mut self, n: usize) -> usize {
        self.1 += 2;
        usize::from(u16::from_be_bytes([self.0[self.1 - 2], self.0[self.1 - 1]])) % n
    }

    fn one<'a, T>(&mut self, of: &'a [T]) -> &'a T {
        &of[self.below(of.len())]
    }
}

/// One change of one row; what it was, in SQL.
async fn change(db: &mut SqliteConnection, drawn: &mut Drawn) -> String {
    let all = texts(db, "SELECT name FROM sqlite_schema WHERE type = 'table' ORDER BY name").await;
    let tables: Vec<&String> = all.iter().filter(|table| !SPARED_TABLES.contains(&table.as_str())).collect();
    loop {
        let table = *drawn.one(&tables);
        let rows: i64 = sqlx::query_scalar(AssertSqlSafe(format!("SELECT count(*) FROM {table}")))
            .fetch_one(&mut *db)
            .await
            .unwrap();
        let rows = usize::try_from(rows).unwrap();
        if rows == 0 {
            *drawn = Drawn::of(u64::from(drawn.0[0]) * 1000 + u64::from(drawn.0[31]));
            continue;
        }
        let key =
            texts(db, &format!("SELECT name FROM pragma_table_info('{table}') WHERE pk > 0 ORDER BY pk"))
                .await;
        let (key, at) = (key.join(", "), drawn.below(rows));
        let row = format!("({key}) = (SELECT {key} FROM {table} ORDER BY {key} LIMIT 1 OFFSET {at})");
        let columns = texts(db, &format!("SELECT name FROM pragma_table_info('{table}')")).await;
        let columns: Vec<&String> = columns
            .iter()
            .filter(|column| !SPARED_COLUMNS.contains(&(table.as_str(), column.as_str())))
            .collect();
        let sql = match drawn.below(4) {
            // Results that are not there are computed anew.
            0 if table != "pass_result" => format!("DELETE FROM {table} WHERE {row}"),
            // The order of two rows.
            1 if rows > 1 && columns.iter().any(|c| *c == "id" || *c == "seq") => {
                let id = if table == "audit_entry" { "seq" } else { "id" };
                format!(
                    "UPDATE {table} SET {id} = -{id};
                     UPDATE {table} SET {id} = CASE {id}
                       WHEN (SELECT max({id}) FROM {table}) THEN -(SELECT min({id}) FROM {table})
                       WHEN (SELECT min({id}) FROM {table}) THEN -(SELECT max({id}) FROM {table})
                       ELSE -{id} END"
                )
            }
            _ => {
                let column = *drawn.one(&columns);
                format!(
                    "UPDATE {table} SET {column} = CASE typeof({column})
                       WHEN 'integer' THEN {column} + 1 WHEN 'text' THEN {column} || ' '
                       WHEN 'blob' THEN CAST(x'5a' || substr({column}, 2) AS BLOB)
                       ELSE (SELECT CASE type WHEN 'TEXT' THEN 'x' ELSE 1 END FROM pragma_table_info('{table}')
                             WHERE name = '{column}') END WHERE {row}"
                )
            }
        };
        match run(db, &sql).await {
            Ok(changed) if changed > 0 => return sql,
            // A rule of the schema that cannot be switched off stands against it.
            _ => *drawn = Drawn::of(u64::from(drawn.0[1]) * 1000 + u64::from(drawn.0[30])),
        }
    }
}

/// The chain from the first entry on, written anew over what the entries hold: the documented form of the digest.
async fn anew(db: &mut SqliteConnection) {
    let entries: Vec<SqliteRow> = sqlx::query(
        "SELECT seq, at_us, person_id, rig_key_id, act, of_table, row_id, row FROM audit_entry ORDER BY seq",
    )
    .fetch_all(&mut *db)
    .await
    .unwrap();
    let mut previous = vec![0; 32];
    for entry in entries {
        let seq: i64 = entry.get(0);
        let mut hash = Sha256::new();
        hash.update([0]);
        hash.update(seq.to_be_bytes());
        hash.update(&previous);
        hash.update(entry.get::<i64, _>(1).to_be_bytes());
        let mut field = |bytes: Option<Vec<u8>>| {
            hash.update(bytes.as_ref().map_or(u64::MAX, |b| u64::try_from(b.len()).unwrap()).to_be_bytes());
            hash.update(bytes.unwrap_or_default());
        };
        for by in [2, 3] {
            field(entry.get::<Option<i64>, _>(by).map(|id| id.to_be_bytes().to_vec()));
        }
        field(Some(entry.get::<String, _>(4).into_bytes()));
        field(Some(entry.get::<String, _>(5).into_bytes()));
        field(Some(entry.get::<i64, _>(6).to_be_bytes().to_vec()));
        field(entry.get::<Option<String>, _>(7).map(String::into_bytes));
        let digest = hash.finalize().to_vec();
        sqlx::query("UPDATE audit_entry SET previous = ?, digest = ? WHERE seq = ?")
            .bind(&previous)
            .bind(&digest)
            .bind(seq)
            .execute(&mut *db)
            .await
            .unwrap();
        previous = digest;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn each_of_250_changes_is_named() {
    let house = House::built().await;
    assert_eq!(said(&house.db, Some(house.head)).await, Vec::<String>::new());
    let mut tried = 0;

    for seed in 0..SINGLE {
        let (path, mut db) = house.opened("single.db").await;
        let sql = change(&mut db, &mut Drawn::of(seed)).await;
        db.close().await.unwrap();
        assert_ne!(said(&path, None).await, Vec::<String>::new(), "seed {seed}: {sql}");
        tried += 1;
    }
    for entries in 1..=CUT {
        let (path, mut db) = house.opened("cut.db").await;
        let last = house.head.seq - i64::try_from(entries).unwrap();
        run(&mut db, &format!("DELETE FROM audit_entry WHERE seq > {last}")).await.unwrap();
        db.close().await.unwrap();
        let wrong = said(&path, Some(house.head)).await.join("\n");
        assert!(
            wrong.contains(&format!("the audit trail ends at entry {last}, before the published head")),
            "{wrong}"
        );
        tried += 1;
    }
    for path in &house.older {
        assert_eq!(said(path, None).await, Vec::<String>::new(), "by itself an older file is whole");
        let wrong = said(path, Some(house.head)).await;
        assert!(wrong.len() == 1 && wrong[0].ends_with("an older file, or its end was cut off"), "{wrong:?}");
        tried += 1;
    }
    for seed in 0..ANEW {
        let (path, mut db) = house.opened("anew.db").await;
        let table = ["ruling", "figure_step", "pass", "price", "piece"][usize::try_from(seed % 5).unwrap()];
        let column =
            ["reason", "shown", "window_reason", "amount", "name"][usize::try_from(seed % 5).unwrap()];
        let text = format!("'changed {seed}'");
        run(
            &mut db,
            &format!("UPDATE {table} SET {column} = {text} WHERE id = (SELECT max(id) FROM {table})"),
        )
        .await
        .unwrap();
        let entry = format!(
            "UPDATE audit_entry SET row = json_set(row, '$.{column}', {text}) WHERE seq =
             (SELECT max(seq) FROM audit_entry WHERE of_table = '{table}' AND row_id = (SELECT max(id) FROM {table}))"
        );
        assert_eq!(run(&mut db, &entry).await.unwrap(), 1, "{entry}");
        anew(&mut db).await;
        db.close().await.unwrap();
        assert_eq!(said(&path, None).await, Vec::<String>::new(), "a chain written anew is whole by itself");
        let wrong = said(&path, Some(house.head)).await;
        assert!(wrong.len() == 1 && wrong[0].contains("not the one whose head was published"), "{wrong:?}");
        tried += 1;
    }
    assert_eq!(tried, 250);
}
