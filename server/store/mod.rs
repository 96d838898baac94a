//! The store: one SQLite file, and the only SQL of the program.
//!
//! Reading: `let mut db = store.read().await?` is one moment's view of the whole store; every reading function
//! takes `&mut db`. Writing: `store.write(by, async move |tx| ...).await` runs one short IMMEDIATE transaction on
//! the one writer; reading functions take `tx` too, writing functions take nothing else, and record what they did
//! in the audit trail themselves. Inside a transaction nothing is awaited but the store. A row that is not there
//! is `Ok(None)`; a row that broke a rule is [`StoreError::Conflict`].

#![expect(clippy::disallowed_methods, reason = "this is the place for SQL")]

mod as_of;
pub mod audit;
mod audited;
pub mod backup;
pub mod bench;
pub mod captures;
pub mod carried;
pub mod charts;
pub mod check;
pub mod companions;
pub mod drafts;
pub mod editions;
mod error;
pub mod extract;
pub mod figures;
pub mod first_steps;
mod ids;
pub mod layouts;
pub mod notes;
mod open;
pub mod passes;
pub mod people;
pub mod piece_screens;
pub mod pieces;
pub mod proofs;
pub mod quotes;
pub mod readers;
pub mod readings;
pub mod registers;
pub mod remark_steps;
pub mod replacements;
pub mod requests;
pub mod results;
pub mod rig_keys;
pub mod rulings;
pub mod segments;
pub mod sign_in;
pub mod soaks;
pub mod strips;
#[cfg(test)]
pub(crate) mod testing;
pub mod tracks;
mod words;
mod writer;

use std::fs::File;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use sqlx::{Sqlite, SqlitePool};
use tokio::sync::watch;

pub use audit::Actor;
pub use error::{Conflict, StoreError};
pub use ids::*;
pub use open::OpenError;
pub use writer::Tx;

use crate::clock::Clock;

/// A connection inside a transaction, reading or writing.
pub type Db = sqlx::SqliteConnection;

/// The open store. Cheap to clone.
#[derive(Clone, Debug)]
pub struct Store {
    inner: Arc<Inner>,
}

#[derive(Debug)]
struct Inner {
    path: PathBuf,
    readers: SqlitePool,
    writer: writer::Writer,
    clock: Clock,
    as_of: as_of::AsOf,
    /// Held while the store is open: keeps a second server out.
    _lock: File,
}

/// A view of the store as it was at one moment. Short-lived: an old view keeps the journal from being emptied, so
/// none is held while an answer streams.
pub type Read = sqlx::Transaction<'static, Sqlite>;

impl Store {
    /// Opens the store at `path`, making it when there is none, and brings its schema up to date.
    ///
    /// # Errors
    /// Another program's file, a newer version's store, or a store that another server has open are refused and
    /// left as they are.
    pub async fn open(path: &Path, clock: Clock) -> Result<Self, OpenError> {
        open::open(path, clock).await
    }

    /// Runs `work` as one transaction in the name of `by`: kept when it returns `Ok`, taken back otherwise. Once
    /// handed over it runs to its end even when the caller is dropped.
    pub async fn write<T, E, F>(&self, by: Actor, work: F) -> Result<T, E>
    where
        F: AsyncFnOnce(&mut Tx<'_>) -> Result<T, E> + Send + 'static,
        T: Send + 'static,
        E: From<StoreError> + Send + 'static,
    {
        self.inner.writer.run(by, work).await
    }

    /// What [`Store::remember`] kept under this number while this was the newest audit entry.
    pub fn recall<T: std::any::Any + Send + Sync>(&self, entry: i64, number: i64) -> Option<Arc<T>> {
        self.inner.as_of.recall(entry, number)
    }

    /// Keeps in memory what follows from the store as of this audit entry alone, until there is a newer one.
    pub fn remember<T: std::any::Any + Send + Sync>(&self, entry: i64, number: i64, value: Arc<T>) {
        self.inner.as_of.keep(entry, number, value);
    }

    /// A view of this moment, for any number of reads that agree with each other.
    pub async fn read(&self) -> Result<Read, StoreError> {
        Ok(self.inner.readers.begin().await?)
    }

    /// Writes a note on the side of something else, such as when a session was seen or a result that can be computed
    /// again. Where it cannot be kept, that is logged, and what it stands beside goes on.
    pub async fn note<F>(&self, by: Actor, work: F)
    where
        F: AsyncFnOnce(&mut Tx<'_>) -> Result<(), StoreError> + Send + 'static,
    {
        if let Err(error) = self.write(by, work).await {
            tracing::warn!(%error, "a note was not kept");
        }
    }

    /// Comes back when the outcome of a COMMIT was unknown. Nothing is written any more then: what the disk holds is
    /// only known when the store is opened again.
    pub async fn broken(&self) {
        let mut broken = self.inner.writer.broken();
        if broken.wait_for(|broken| *broken).await.is_err() {
            // The writer ended in good order: it will never break.
            std::future::pending().await
        }
    }

    /// Number of the newest audit entry, now and whenever it changes: what live pages follow.
    pub fn head(&self) -> watch::Receiver<i64> {
        self.inner.writer.head()
    }

    /// The clock that the store was opened with.
    pub fn clock(&self) -> &Clock {
        &self.inner.clock
    }

    /// The store's file.
    pub fn path(&self) -> &Path {
        &self.inner.path
    }

    /// Finishes the writes that wait, then closes the file.
    pub async fn close(&self) {
        // The writer last: the last connection to go writes the journal back into the file, which readers may not.
        self.inner.readers.close().await;
        self.inner.writer.close().await;
    }
}

/// Ok when a change hit its row; else the row was changed by somebody else since it was read.
fn hit(done: &sqlx::sqlite::SqliteQueryResult) -> Result<(), StoreError> {
    if done.rows_affected() == 1 { Ok(()) } else { Err(StoreError::Stale) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[tokio::test]
    async fn a_closed_store_is_one_file_with_all_that_was_written() {
        let (_folder, store) = testing::store().await;
        testing::person(&store, "Ada", people::Role::Owner).await;
        assert_eq!(people::all(&mut store.read().await.unwrap()).await.unwrap().len(), 1);
        store.close().await;
        let mut journal = store.path().as_os_str().to_owned();
        journal.push("-wal");
        assert!(!Path::new(&journal).exists(), "the journal is left behind");
    }

    #[tokio::test]
    async fn a_view_does_not_move_while_others_write() {
        let (_folder, store) = testing::store().await;
        let mut before = store.read().await.unwrap();
        assert_eq!(people::all(&mut before).await.unwrap(), []);
        testing::person(&store, "Ada", people::Role::Owner).await;
        assert_eq!(people::all(&mut before).await.unwrap(), []);
        drop(before);
        assert_eq!(people::all(&mut store.read().await.unwrap()).await.unwrap().len(), 1);
    }

    #[tokio::test]
    async fn what_returns_an_error_or_panics_leaves_nothing_and_the_next_write_goes_on() {
        let (_folder, store) = testing::store().await;
        let refused: Result<(), StoreError> = store
            .write(Actor::Server, async |tx| {
                people::add(tx, "Ada", people::Role::Owner, "hash").await?;
                Err(StoreError::Stale)
            })
            .await;
        assert!(matches!(refused, Err(StoreError::Stale)));
        let broke: Result<(), StoreError> = store
            .write(Actor::Server, async |tx| {
                people::add(tx, "Ada", people::Role::Owner, "hash").await?;
                panic!("on purpose")
            })
            .await;
        assert!(matches!(broke, Err(StoreError::Other(_))));
        assert_eq!(*store.head().borrow(), 0);
        testing::person(&store, "Ada", people::Role::Owner).await;
        assert_eq!(*store.head().borrow(), 1);
    }

    #[tokio::test]
    async fn a_write_runs_to_its_end_when_its_caller_is_gone() {
        let (_folder, store) = testing::store().await;
        let (began, begun) = tokio::sync::oneshot::channel();
        let (go, gone) = tokio::sync::oneshot::channel::<()>();
        let client = tokio::spawn({
            let store = store.clone();
            async move {
                store
                    .write(Actor::Server, async |tx| {
                        let _ = began.send(());
                        let _ = gone.await;
                        people::add(tx, "Ada", people::Role::Owner, "hash").await
                    })
                    .await
            }
        });
        begun.await.unwrap();
        client.abort();
        assert!(client.await.unwrap_err().is_cancelled());
        go.send(()).unwrap();
        let mut head = store.head();
        head.wait_for(|seq| *seq == 1).await.unwrap();
        assert_eq!(people::all(&mut store.read().await.unwrap()).await.unwrap().len(), 1);
    }

    #[tokio::test]
    async fn a_closed_store_takes_no_writes() {
        let (_folder, store) = testing::store().await;
        store.close().await;
        let refused =
            store.write(Actor::Server, async |tx| people::add(tx, "A", people::Role::Owner, "").await).await;
        assert!(matches!(refused, Err(StoreError::Stopped)));
    }
}
