//! Is the store whole? Pages, references, each capture's and text's bytes against their digest, the audit trail against
//! the tables and against a head that was published. What is computed from captures is held against them in `work`.
//!
//! Reads only, through a connection of its own; a server may be at work on the store meanwhile. Meant for a process
//! of its own (see `open`: files that SQLite has open are not touched otherwise within the server).

use std::path::Path;

use sha2::{Digest as _, Sha256};
use sqlx::{ConnectOptions as _, Connection as _};

use super::audit::{self, Head};
use super::open::{self, OpenError};
use super::{CaptureId, Db, ProofId, StoreError, captures, proofs};

/// What a check found.
#[derive(Debug)]
pub struct Report {
    /// Where the audit trail stands: compare it with heads kept elsewhere.
    pub head: Head,
    /// Captures that were read through.
    pub captures: usize,
    /// What is wrong, in words; empty: nothing.
    pub wrong: Vec<String>,
}

/// Checks the store at `path`; `against` is a head that was printed on an export.
///
/// # Errors
/// When there is no store, or none that this version knows. What is wrong inside it is in the report.
pub async fn check(path: &Path, against: Option<Head>) -> Result<Report, OpenError> {
    let sql = |source| OpenError::Sql { path: path.to_owned(), source };
    let mut conn = view(path).await?;
    let mut wrong = inside(&mut conn).await;
    let head = audit::head(&mut conn).await.unwrap_or(Head { seq: 0, digest: [0; 32] });
    // One view for trail and tables: a server may be writing.
    let mut view = conn.begin().await.map_err(sql)?;
    wrong.extend(or_broken("the audit trail", audit::wrong(&mut view).await));
    if let Some(published) = against {
        let forked = audit::forked(&mut view, published).await.map(|says| says.into_iter().collect());
        wrong.extend(or_broken("the audit trail", forked));
    }
    wrong.extend(or_broken("the texts", texts(&mut view).await));
    wrong.extend(or_broken("the files beside readings", files(&mut view).await));
    drop(view);
    let rows = digests(&mut conn).await;
    let (rows, broken) = match rows {
        Ok(rows) => (rows, None),
        Err(e) => (Vec::new(), Some(format!("the list of captures cannot be read: {e}"))),
    };
    wrong.extend(broken);
    let captures = rows.len();
    for row in rows {
        match same_bytes(&mut conn, &row).await {
            Ok(true) => {}
            Ok(false) => {
                wrong.push(format!("capture {} ({}): its bytes are not those that came", row.id, row.name))
            }
            Err(e) => wrong.push(format!("capture {} ({}): {e}", row.id, row.name)),
        }
    }
    conn.close().await.map_err(sql)?;
    Ok(Report { head, captures, wrong })
}

/// A connection that reads a store; a server may be at work on it.
///
/// # Errors
/// When there is no store, or none that this version knows.
pub async fn view(path: &Path) -> Result<Db, OpenError> {
    open::expect_present(path)?;
    let sql = |source| OpenError::Sql { path: path.to_owned(), source };
    let mut conn = open::reading(path).connect().await.map_err(sql)?;
    open::expect_schema(&mut conn, path).await?;
    Ok(conn)
}

/// One view of the store, for reads that belong together while a server writes; it is over when it is dropped.
///
/// # Errors
/// When the store cannot be read.
pub async fn moment(db: &mut Db) -> Result<sqlx::SqliteTransaction<'_>, StoreError> {
    Ok(db.begin().await?)
}

/// Texts that are not those whose digests are in the trail.
async fn texts(db: &mut Db) -> Result<Vec<String>, StoreError> {
    let all: Vec<(String, i64, String, Vec<u8>)> = sqlx::query_as(
        "SELECT 'draft_text', id, body, digest FROM draft_text
         UNION ALL SELECT 'edition', id, body, digest FROM edition",
    )
    .fetch_all(db)
    .await?;
    let other =
        all.into_iter().filter(|(.., body, digest)| Sha256::digest(body.as_bytes()).as_slice() != digest);
    Ok(other.map(|(table, id, ..)| format!("{table} {id}: not the text that was kept")).collect())
}

/// Files beside readings whose bytes are not those that came.
async fn files(db: &mut Db) -> Result<Vec<String>, StoreError> {
    let all: Vec<(ProofId, String, Vec<u8>)> =
        sqlx::query_as("SELECT id, name, digest FROM proof ORDER BY id").fetch_all(&mut *db).await?;
    let mut wrong = Vec::new();
    for (id, name, digest) in all {
        if Sha256::digest(proofs::whole(db, id).await?).as_slice() != digest {
            wrong.push(format!("proof {id} ({name}): its bytes are not those that came"));
        }
    }
    Ok(wrong)
}

fn or_broken(what: &str, found: Result<Vec<String>, StoreError>) -> Vec<String> {
    found.unwrap_or_else(|e| vec![format!("{what} cannot be read: {e}")])
}

/// What SQLite itself finds wrong: pages and indexes, references.
pub(super) async fn inside(db: &mut Db) -> Vec<String> {
    let mut wrong = or_broken("the file", pages(db).await);
    wrong.extend(or_broken("the references", references(db).await));
    wrong
}

async fn pages(db: &mut Db) -> Result<Vec<String>, StoreError> {
    let said: Vec<String> = sqlx::query_scalar("PRAGMA integrity_check").fetch_all(db).await?;
    Ok(said.into_iter().filter(|line| line != "ok").collect())
}

async fn references(db: &mut Db) -> Result<Vec<String>, StoreError> {
    let dangling: Vec<(String, Option<i64>, String)> =
        sqlx::query_as("SELECT \"table\", rowid, parent FROM pragma_foreign_key_check").fetch_all(db).await?;
    let row = |id: Option<i64>| id.map_or_else(String::new, |id| format!(" {id}"));
    Ok(dangling
        .into_iter()
        .map(|(t, id, p)| format!("{t}{}: refers to a {p} that is not there", row(id)))
        .collect())
}

#[derive(sqlx::FromRow)]
struct Kept {
    id: CaptureId,
    name: String,
    bytes: i64,
    digest: Vec<u8>,
}

async fn digests(db: &mut Db) -> Result<Vec<Kept>, StoreError> {
    Ok(sqlx::query_as("SELECT id, name, bytes, digest FROM capture WHERE visible = 1 ORDER BY id")
        .fetch_all(db)
        .await?)
}

async fn same_bytes(db: &mut Db, row: &Kept) -> Result<bool, StoreError> {
    let (mut hash, mut length, mut n) = (Sha256::new(), 0, 0);
    while let Some(bytes) = captures::chunk(db, row.id, n).await? {
        hash.update(&bytes);
        length += i64::try_from(bytes.len()).unwrap_or(i64::MAX);
        n += 1;
    }
    Ok(length == row.bytes && hash.finalize().as_slice() == row.digest)
}

#[cfg(test)]
mod tests {
    use weighhouse_measure::recording::Kind;

    use super::*;
    use crate::store::{Store, testing};

    /// A store with a capture, a pass and its trail, closed again.
    async fn closed() -> (tempfile::TempDir, std::path::PathBuf) {
        let (folder, store) = testing::store().await;
        let team = testing::team(&store).await;
        testing::pass(&store, team, "p").await;
        testing::segment(&store, "p_sensors", Kind::Companion, 10).await;
        let path = store.path().to_owned();
        store.close().await;
        (folder, path)
    }

    async fn after(tampering: &'static str) -> Vec<String> {
        let (_folder, path) = closed().await;
        let mut conn = sqlx::sqlite::SqliteConnectOptions::new()
            .filename(&path)
            .foreign_keys(false)
            .connect()
            .await
            .unwrap();
        sqlx::raw_sql(tampering).execute(&mut conn).await.unwrap();
        conn.close().await.unwrap();
        check(&path, None).await.unwrap().wrong
    }

    #[tokio::test]
    async fn a_sound_store_is_clean_also_while_a_server_has_it() {
        let (_folder, path) = closed().await;
        let first = check(&path, None).await.unwrap();
        assert_eq!(first.wrong, Vec::<String>::new());
        assert_eq!(first.captures, 2);
        assert!(first.head.seq > 10);
        let store = Store::open(&path, crate::clock::Clock::by_hand(testing::NOW_US)).await.unwrap();
        testing::person(&store, "Bea", crate::store::people::Role::Guest).await;
        let second = check(&path, None).await.unwrap();
        assert_eq!((second.head.seq, second.wrong), (first.head.seq + 1, Vec::new()));
    }

    #[tokio::test]
    async fn a_row_changed_behind_the_trail_is_named() {
        assert_eq!(after("UPDATE rig SET note = 'x'").await, ["rig 1: not as audit entry 2 left it"]);
        assert_eq!(
            after("INSERT INTO rig (name) VALUES ('new')").await,
            ["rig 2: no audit entry tells of it"]
        );
        let gone = after("DELETE FROM setting").await;
        assert!(gone.iter().any(|w| w.starts_with("setting 1: not as audit entry")), "{gone:?}");
        assert!(gone.iter().any(|w| w.starts_with("cell 1: refers to a setting")), "{gone:?}");
    }

    #[tokio::test]
    async fn a_changed_capture_and_a_changed_trail_are_named() {
        let bytes = after("UPDATE capture_chunk SET body = (SELECT max(body) FROM capture_chunk)").await;
        assert_eq!(bytes.len(), 1, "{bytes:?}");
        assert!(bytes[0].starts_with("capture ") && bytes[0].ends_with("its bytes are not those that came"));
        let lost = after("DELETE FROM capture_chunk").await;
        assert_eq!(lost.len(), 2, "{lost:?}");
        let chain =
            after("DROP TRIGGER audit_entry_no_update; UPDATE audit_entry SET at_us = 1 WHERE seq = 3").await;
        assert_eq!(chain, ["audit entry 3: the chain is broken here"]);
        let hole = after("DROP TRIGGER audit_entry_no_delete; DELETE FROM audit_entry WHERE seq = 3").await;
        assert!(hole[0].starts_with("audit entry 4: the chain is broken here"), "{hole:?}");
    }

    #[tokio::test]
    async fn a_changed_file_beside_a_reading_is_named() {
        let proof = "INSERT INTO reading_kind (name, unit, better, read_at, repeats) VALUES ('n', 'W', 'lower', 'wall', 1);
            INSERT INTO reading (key, kind_id, tuning_id, unit_id, rig_base_id, driver_id, at_us, note, person_id, made_us)
            VALUES ('r', 1, 1, 1, 1, 1, 0, '', 1, 0);
            INSERT INTO proof (reading_id, name, kind, bytes, digest, person_id, at_us)
            VALUES (1, 'meter.jpg', 'JPEG', 3, zeroblob(32), 1, 0);
            INSERT INTO proof_chunk (proof_id, n, body) VALUES (1, 0, x'616263')";
        let wrong = after(proof).await;
        let says = "proof 1 (meter.jpg): its bytes are not those that came";
        assert!(wrong.iter().any(|line| line == says), "{wrong:?}");
    }

    #[tokio::test]
    async fn what_is_not_there_or_not_ours_is_no_report() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("none.db");
        assert!(matches!(check(&path, None).await, Err(OpenError::Missing(_))));
        std::fs::write(&path, b"").unwrap();
        assert!(matches!(check(&path, None).await, Err(OpenError::NotAStore(_))));
    }
}
