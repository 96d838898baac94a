//! Opening the store: is it ours, is it free, is its schema ours, and with which settings it runs.
//!
//! The settings and the reasons for them were measured: `synchronous=FULL`, since NORMAL lost acknowledged uploads
//! when power cuts were replayed; SQLite 3.51.3 or later, since earlier ones can lose committed writes in WAL mode
//! (sqlite.org/wal.html, 'the WAL-reset bug').

use std::fs::{File, OpenOptions, TryLockError};
use std::io::Read as _;
use std::path::{Path, PathBuf};
use std::time::Duration;

use sqlx::migrate::{MigrateError, Migrator};
use sqlx::sqlite::{SqliteConnectOptions, SqliteJournalMode, SqlitePoolOptions, SqliteSynchronous};
use sqlx::{AssertSqlSafe, ConnectOptions as _, Connection as _, SqliteConnection};

use super::as_of::AsOf;
use super::{Inner, Store, audit, writer};
use crate::clock::Clock;

/// Written into the file's header: 'Wgh1'. Tells our files from those of other programs.
pub(super) const APPLICATION_ID: i32 = 0x5767_6831;

/// Steps of the schema, embedded.
pub(super) static MIGRATIONS: Migrator = sqlx::migrate!("./migrations");

const OLDEST_SQLITE: (u32, u32, u32) = (3, 51, 3);
const READERS: u32 = 4;
const BUSY: Duration = Duration::from_secs(5);
/// What the journal is cut back to after it was emptied: 64 MiB.
const JOURNAL_BYTES: &str = "67108864";

/// Why a store was not opened. The file is as it was.
#[derive(Debug, thiserror::Error)]
pub enum OpenError {
    /// Some other program's file, or damaged from its first bytes on.
    #[error("{}: this is not a Weighhouse store; name another file with --db", .0.display())]
    NotAStore(PathBuf),
    /// There is no such file where one must be.
    #[error("{}: there is no such store", .0.display())]
    Missing(PathBuf),
    /// Made by a later version of this program.
    #[error("{}: this store was made by a newer version of Weighhouse (schema {found}, this one knows {known}); run that version", path.display())]
    Newer {
        /// The store.
        path: PathBuf,
        /// Its schema.
        found: i64,
        /// The newest schema this program knows.
        known: i64,
    },
    /// Made by an earlier version of this program, and only the server changes a store.
    #[error("{}: this store was made by an older version of Weighhouse; start the server on it once", .0.display())]
    Older(PathBuf),
    /// Another server has it.
    #[error("{}: another server has this store open ({} is locked); stop that one first", path.display(), lock.display())]
    InUse {
        /// The store.
        path: PathBuf,
        /// The lock file beside it.
        lock: PathBuf,
    },
    /// The SQLite in the program can lose committed writes.
    #[error("SQLite {0} can lose committed writes; build with 3.51.3 or later")]
    OldSqlite(String),
    /// The file or its folder could not be read or written.
    #[error("{}: {source}", path.display())]
    Io {
        /// The file.
        path: PathBuf,
        /// What the system says.
        source: std::io::Error,
    },
    /// A step of the schema failed or is not the one that was applied.
    #[error("{}: bringing the schema up to date: {source}", path.display())]
    Migrate {
        /// The store.
        path: PathBuf,
        /// Which step, and why.
        source: MigrateError,
    },
    /// SQLite failed.
    #[error("{}: {source}", path.display())]
    Sql {
        /// The store.
        path: PathBuf,
        /// What it says.
        source: sqlx::Error,
    },
}

/// The newest schema this program knows.
fn known() -> i64 {
    MIGRATIONS.iter().map(|m| m.version).max().unwrap_or(0)
}

pub(super) async fn open(path: &Path, clock: Clock) -> Result<Store, OpenError> {
    let lock = take_lock(path)?;
    let fresh = match look(path) {
        Err(OpenError::Missing(_)) => {
            create(path)?;
            true
        }
        other => other?,
    };
    let sql = |source| OpenError::Sql { path: path.to_owned(), source };
    if fresh {
        mark(path).await.map_err(sql)?;
    }
    let mut conn = writing(path).connect().await.map_err(sql)?;
    assert_sqlite(&mut conn, path).await?;
    migrate(&mut conn, path).await?;
    let head = audit::head(&mut conn).await.map_err(sql)?.seq;
    let readers =
        SqlitePoolOptions::new().max_connections(READERS).connect_with(reading(path)).await.map_err(sql)?;
    let writer = writer::Writer::start(conn, writing(path), clock.clone(), head)
        .map_err(|source| OpenError::Io { path: path.to_owned(), source })?;
    Ok(Store {
        inner: Inner { path: path.to_owned(), readers, writer, clock, as_of: AsOf::default(), _lock: lock }
            .into(),
    })
}

fn settings(path: &Path) -> SqliteConnectOptions {
    SqliteConnectOptions::new()
        .filename(path)
        .busy_timeout(BUSY)
        .foreign_keys(true)
        .pragma("trusted_schema", "OFF")
        .pragma("cell_size_check", "ON")
        .pragma("mmap_size", "0")
}

fn writing(path: &Path) -> SqliteConnectOptions {
    settings(path)
        .journal_mode(SqliteJournalMode::Wal)
        .synchronous(SqliteSynchronous::Full)
        .pragma("journal_size_limit", JOURNAL_BYTES)
}

/// Settings of a connection that only reads; for a store that may be in use by a server.
pub(super) fn reading(path: &Path) -> SqliteConnectOptions {
    settings(path).read_only(true)
}

/// The lock file beside the store, held as long as the store is open. The store itself is never opened to find out
/// whether it is in use: closing it again would drop the locks that SQLite holds in this process.
fn take_lock(path: &Path) -> Result<File, OpenError> {
    let mut name = path.as_os_str().to_owned();
    name.push(".lock");
    let lock = PathBuf::from(name);
    let io = |source| OpenError::Io { path: lock.clone(), source };
    let file = OpenOptions::new().create(true).truncate(false).write(true).open(&lock).map_err(io)?;
    match file.try_lock() {
        Ok(()) => Ok(file),
        Err(TryLockError::WouldBlock) => Err(OpenError::InUse { path: path.to_owned(), lock }),
        Err(TryLockError::Error(source)) => Err(io(source)),
    }
}

/// Reads the header, before SQLite has the file open: ours, and of a schema that we know. True: an empty file.
/// (Header of an SQLite file: sqlite.org/fileformat2.html, section 1.3.)
fn look(path: &Path) -> Result<bool, OpenError> {
    let io = |source: std::io::Error| match source.kind() {
        std::io::ErrorKind::NotFound => OpenError::Missing(path.to_owned()),
        _ => OpenError::Io { path: path.to_owned(), source },
    };
    let mut header = Vec::with_capacity(100);
    File::open(path).map_err(io)?.take(100).read_to_end(&mut header).map_err(io)?;
    if header.is_empty() {
        return Ok(true);
    }
    let word = |at: usize| header.get(at..at + 4)?.try_into().ok().map(i32::from_be_bytes);
    if !header.starts_with(b"SQLite format 3\0") || word(68) != Some(APPLICATION_ID) {
        return Err(OpenError::NotAStore(path.to_owned()));
    }
    newer(path, word(60).unwrap_or(0).into())?;
    Ok(false)
}

/// For those who only read: there is a store, and it is ours.
pub(super) fn expect_present(path: &Path) -> Result<(), OpenError> {
    if look(path)? { Err(OpenError::NotAStore(path.to_owned())) } else { Ok(()) }
}

/// For those who only read: the schema is the one that this version knows.
pub(super) async fn expect_schema(conn: &mut SqliteConnection, path: &Path) -> Result<(), OpenError> {
    let found =
        user_version(conn).await.map_err(|source| OpenError::Sql { path: path.to_owned(), source })?;
    newer(path, found)?;
    if found < known() { Err(OpenError::Older(path.to_owned())) } else { Ok(()) }
}

async fn user_version(conn: &mut SqliteConnection) -> Result<i64, sqlx::Error> {
    sqlx::query_scalar("PRAGMA user_version").fetch_one(conn).await
}

fn newer(path: &Path, found: i64) -> Result<(), OpenError> {
    let known = known();
    if found > known { Err(OpenError::Newer { path: path.to_owned(), found, known }) } else { Ok(()) }
}

/// An empty file that only its owner may read: the store holds password hashes.
pub(super) fn create(path: &Path) -> Result<(), OpenError> {
    let mut options = OpenOptions::new();
    options.write(true).create_new(true);
    #[cfg(unix)]
    std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
    options.open(path).map(drop).map_err(|source| OpenError::Io { path: path.to_owned(), source })
}

/// Makes an empty file ours, in one step and before its journal is a separate file: a crash leaves it empty or ours.
async fn mark(path: &Path) -> Result<(), sqlx::Error> {
    let mut conn = settings(path).synchronous(SqliteSynchronous::Full).connect().await?;
    sqlx::query(AssertSqlSafe(format!("PRAGMA application_id = {APPLICATION_ID}")))
        .execute(&mut conn)
        .await?;
    conn.close().await
}

async fn assert_sqlite(conn: &mut SqliteConnection, path: &Path) -> Result<(), OpenError> {
    let version: String = sqlx::query_scalar("SELECT sqlite_version()")
        .fetch_one(conn)
        .await
        .map_err(|source| OpenError::Sql { path: path.to_owned(), source })?;
    let mut numbers = version.split('.').map(|n| n.parse().unwrap_or(0));
    let mut next = || numbers.next().unwrap_or(0);
    if (next(), next(), next()) < OLDEST_SQLITE { Err(OpenError::OldSqlite(version)) } else { Ok(()) }
}

async fn migrate(conn: &mut SqliteConnection, path: &Path) -> Result<(), OpenError> {
    let sql = |source| OpenError::Sql { path: path.to_owned(), source };
    // Again, now with what a journal may hold that the header did not show yet.
    let found = user_version(conn).await.map_err(sql)?;
    newer(path, found)?;
    MIGRATIONS
        .run(&mut *conn)
        .await
        .map_err(|source| OpenError::Migrate { path: path.to_owned(), source })?;
    if found < known() {
        let set = AssertSqlSafe(format!("PRAGMA user_version = {}", known()));
        sqlx::query(set).execute(conn).await.map_err(sql)?;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::testing;

    async fn opened(path: &Path) -> Result<Store, OpenError> {
        Store::open(path, Clock::by_hand(testing::NOW_US)).await
    }

    #[tokio::test]
    async fn runs_with_the_settings_that_keep_acknowledged_writes() {
        let (_folder, store) = testing::store().await;
        store
            .write(crate::store::Actor::Server, async |tx| -> Result<(), crate::store::StoreError> {
                for (pragma, value) in [
                    ("journal_mode", "wal"),
                    ("synchronous", "2"),
                    ("foreign_keys", "1"),
                    ("busy_timeout", "5000"),
                    ("trusted_schema", "0"),
                    ("cell_size_check", "1"),
                    ("journal_size_limit", JOURNAL_BYTES),
                    ("application_id", "1466394673"),
                    ("user_version", &known().to_string()),
                ] {
                    let row =
                        sqlx::query(AssertSqlSafe(format!("PRAGMA {pragma}"))).fetch_one(&mut **tx).await?;
                    let got = sqlx::Row::try_get_unchecked::<String, _>(&row, 0)?;
                    assert_eq!(got, value, "{pragma}");
                }
                Ok(())
            })
            .await
            .unwrap();
    }

    #[tokio::test]
    async fn a_second_server_is_kept_out_until_the_first_is_gone() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("s.db");
        let first = opened(&path).await.unwrap();
        let refused = opened(&path).await.unwrap_err();
        assert!(matches!(refused, OpenError::InUse { .. }));
        assert!(refused.to_string().contains("stop that one first"));
        first.close().await;
        drop(first);
        opened(&path).await.unwrap();
    }

    #[tokio::test]
    async fn what_is_not_ours_is_refused_and_left_as_it_was() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("other.db");
        for bytes in [&b"a shopping list"[..], &[b"SQLite format 3\0", [0; 200].as_slice()].concat()] {
            std::fs::write(&path, bytes).unwrap();
            assert!(matches!(opened(&path).await.unwrap_err(), OpenError::NotAStore(_)));
            assert_eq!(std::fs::read(&path).unwrap(), bytes);
        }
    }

    #[tokio::test]
    async fn a_newer_store_is_refused_and_left_as_it_was() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("s.db");
        let store = opened(&path).await.unwrap();
        store.close().await;
        drop(store);
        let mut bytes = std::fs::read(&path).unwrap();
        bytes[60..64].copy_from_slice(&99_i32.to_be_bytes());
        std::fs::write(&path, &bytes).unwrap();
        let refused = opened(&path).await.unwrap_err();
        assert!(matches!(refused, OpenError::Newer { found: 99, .. }), "{refused}");
        assert_eq!(std::fs::read(&path).unwrap(), bytes);
    }

    #[tokio::test]
    async fn only_its_owner_may_read_a_new_store() {
        let (_folder, store) = testing::store().await;
        let mode =
            std::os::unix::fs::PermissionsExt::mode(&std::fs::metadata(store.path()).unwrap().permissions());
        assert_eq!(mode & 0o777, 0o600);
    }
}
