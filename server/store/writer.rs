//! The one writer: a thread of its own that runs transactions one after another.
//!
//! A transaction that has been handed over runs to its end whether or not the client that asked for it is still
//! there, and no task of the server is ever held up by SQLite's file work. Transactions begin IMMEDIATE, so a
//! read inside one is never out of date when its write comes.

use std::ops::{Deref, DerefMut};
use std::panic::AssertUnwindSafe;

use futures_util::FutureExt as _;
use futures_util::future::LocalBoxFuture;
use sqlx::sqlite::SqliteConnectOptions;
use sqlx::{ConnectOptions as _, Connection as _, Sqlite, SqliteConnection};
use tokio::sync::{mpsc, oneshot, watch};

use super::audit::Actor;
use super::error::at_commit;
use super::{Db, StoreError};
use crate::clock::Clock;

/// Transactions that may wait their turn before the next caller waits to be let in.
const WAITING: usize = 64;

/// A write transaction: derefs to [`Db`], so every reading function takes it too.
pub struct Tx<'c> {
    inner: sqlx::Transaction<'c, Sqlite>,
    /// Who acts.
    pub by: Actor,
    /// When the transaction began, microseconds UTC: the one time that all its rows carry.
    pub at_us: i64,
    pub(super) head: Option<i64>,
}

impl Deref for Tx<'_> {
    type Target = Db;
    fn deref(&self) -> &Db {
        &self.inner
    }
}

impl DerefMut for Tx<'_> {
    fn deref_mut(&mut self) -> &mut Db {
        &mut self.inner
    }
}

/// Whether the writer can go on.
enum After {
    GoOn,
    /// The transaction ended in another way than it was asked to; only a new connection is known to have none open.
    /// (A full disk makes SQLite take it back by itself: sqlite.org/lang_transaction.html, 'Response To Errors'.)
    Reconnect,
    Stop,
}

type Work = Box<dyn for<'c> FnOnce(&'c mut SqliteConnection) -> LocalBoxFuture<'c, After> + Send>;

enum Message {
    Run(Work),
    Close(oneshot::Sender<()>),
}

/// Where transactions are handed over.
#[derive(Debug)]
pub(super) struct Writer {
    queue: mpsc::Sender<Message>,
    clock: Clock,
    head: watch::Sender<i64>,
    broken: watch::Receiver<bool>,
}

impl Writer {
    /// Starts the thread that owns `conn`, which was made by `options`. `head` is the number of the newest audit entry.
    pub(super) fn start(
        conn: SqliteConnection,
        options: SqliteConnectOptions,
        clock: Clock,
        head: i64,
    ) -> std::io::Result<Self> {
        let (queue, messages) = mpsc::channel(WAITING);
        let (breaks, broken) = watch::channel(false);
        let runtime = tokio::runtime::Builder::new_current_thread().enable_time().build()?;
        std::thread::Builder::new()
            .name("store-writer".to_owned())
            .spawn(move || runtime.block_on(serve(conn, options, messages, breaks)))?;
        Ok(Self { queue, clock, head: watch::Sender::new(head), broken })
    }

    /// Number of the newest audit entry, now and whenever it changes.
    pub(super) fn head(&self) -> watch::Receiver<i64> {
        self.head.subscribe()
    }

    /// True once a COMMIT had an unknown outcome: nothing is written any more.
    pub(super) fn broken(&self) -> watch::Receiver<bool> {
        self.broken.clone()
    }

    pub(super) async fn run<T, E, F>(&self, by: Actor, work: F) -> Result<T, E>
    where
        F: AsyncFnOnce(&mut Tx<'_>) -> Result<T, E> + Send + 'static,
        T: Send + 'static,
        E: From<StoreError> + Send + 'static,
    {
        let (answer, answered) = oneshot::channel();
        let (clock, head) = (self.clock.clone(), self.head.clone());
        let job: Work = Box::new(move |conn| {
            Box::pin(async move {
                let (result, after) = transaction(conn, by, clock.now_us(), &head, work).await;
                // Nobody may be waiting any more; the transaction stands all the same.
                let _ = answer.send(result);
                after
            })
        });
        self.queue.send(Message::Run(job)).await.map_err(|_| StoreError::Stopped)?;
        answered.await.map_err(|_| StoreError::Stopped)?
    }

    /// Runs what waits, closes the connection, and comes back when that is done.
    pub(super) async fn close(&self) {
        let (done, closed) = oneshot::channel();
        if self.queue.send(Message::Close(done)).await.is_ok() {
            let _ = closed.await;
        }
    }
}

async fn serve(
    mut conn: SqliteConnection,
    options: SqliteConnectOptions,
    mut messages: mpsc::Receiver<Message>,
    breaks: watch::Sender<bool>,
) {
    let mut done = None;
    while let Some(message) = messages.recv().await {
        match message {
            Message::Run(work) => {
                let goes_on = match work(&mut conn).await {
                    After::GoOn => true,
                    After::Reconnect => reconnect(&mut conn, &options).await,
                    After::Stop => false,
                };
                if !goes_on {
                    messages.close();
                    breaks.send_replace(true);
                    break;
                }
            }
            Message::Close(asked) => {
                messages.close();
                done = Some(asked);
            }
        }
    }
    close(conn).await;
    drop(done);
}

async fn close(conn: SqliteConnection) {
    if let Err(error) = conn.close().await {
        tracing::error!(%error, "closing the store");
    }
}

/// False: the store cannot be opened again.
async fn reconnect(conn: &mut SqliteConnection, options: &SqliteConnectOptions) -> bool {
    match options.connect().await {
        Ok(new) => {
            close(std::mem::replace(conn, new)).await;
            true
        }
        Err(error) => {
            tracing::error!(%error, "opening the store again after a failed transaction");
            false
        }
    }
}

async fn transaction<T, E, F>(
    conn: &mut SqliteConnection,
    by: Actor,
    at_us: i64,
    head: &watch::Sender<i64>,
    work: F,
) -> (Result<T, E>, After)
where
    F: AsyncFnOnce(&mut Tx<'_>) -> Result<T, E>,
    E: From<StoreError>,
{
    let inner = match conn.begin_with("BEGIN IMMEDIATE").await {
        Ok(inner) => inner,
        Err(error) => return (Err(StoreError::from(error).into()), After::GoOn),
    };
    let mut tx = Tx { inner, by, at_us, head: None };
    let outcome = AssertUnwindSafe(work(&mut tx)).catch_unwind().await;
    let result = match outcome {
        Ok(result) => result,
        Err(_) => Err(StoreError::Other("a transaction panicked".to_owned()).into()),
    };
    let Tx { inner, head: reached, .. } = tx;
    match result {
        Ok(value) => match inner.commit().await {
            Ok(()) => {
                if let Some(reached) = reached {
                    head.send_replace(reached);
                }
                (Ok(value), After::GoOn)
            }
            Err(error) => {
                let error = at_commit(error);
                let unknown = matches!(error, StoreError::OutcomeUnknown);
                (Err(error.into()), if unknown { After::Stop } else { After::Reconnect })
            }
        },
        Err(error) => match inner.rollback().await {
            Ok(()) => (Err(error), After::GoOn),
            Err(of_rollback) => {
                tracing::warn!(error = %of_rollback, "a transaction was already taken back");
                (Err(error), After::Reconnect)
            }
        },
    }
}
