//! Bytes on their way in or out: a nameless file beside the store, counted and hashed while it is written.

use std::fs::File;
use std::io::{self, Read, Seek, SeekFrom};
use std::path::Path;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::Instant;

use futures_util::{Stream, StreamExt as _, pin_mut};
use sha2::{Digest as _, Sha256};
use tokio::io::AsyncWriteExt as _;

use super::{Error, Internal, Result};
use crate::store::StoreError;

/// An I/O error of our own files.
pub(super) fn disk(error: io::Error) -> Error {
    match error.kind() {
        io::ErrorKind::StorageFull | io::ErrorKind::QuotaExceeded | io::ErrorKind::FileTooLarge => {
            StoreError::DiskFull.into()
        }
        _ => Internal(format!("a file beside the store: {error}")).into(),
    }
}

/// Bytes that have come in, in a file that nobody else can reach and that is gone when it is dropped.
pub(super) struct Spooled {
    pub(super) file: File,
    pub(super) digest: [u8; 32],
    pub(super) bytes: i64,
}

/// Writes a stream to a nameless file beside the store, counting and hashing.
pub(super) async fn spool<B: AsRef<[u8]>>(
    store: &Path,
    body: impl Stream<Item = Result<B>>,
) -> Result<Spooled> {
    let mut file = tokio::fs::File::from_std(nameless(store).map_err(disk)?);
    let (mut hash, mut bytes) = (Sha256::new(), 0);
    pin_mut!(body);
    while let Some(piece) = body.next().await {
        let piece = piece?;
        let piece = piece.as_ref();
        hash.update(piece);
        bytes += i64::try_from(piece.len()).unwrap_or(i64::MAX);
        file.write_all(piece).await.map_err(disk)?;
    }
    file.flush().await.map_err(disk)?;
    Ok(Spooled { file: file.into_std().await, digest: hash.finalize().into(), bytes })
}

/// A file beside the store that nobody else can reach and that is gone when it is closed.
pub(super) fn nameless(store: &Path) -> io::Result<File> {
    static MADE: AtomicU64 = AtomicU64::new(0);
    let mut name = store.as_os_str().to_owned();
    name.push(format!(".passing-{}-{}", std::process::id(), MADE.fetch_add(1, Ordering::Relaxed)));
    let mut options = File::options();
    options.read(true).write(true).create_new(true);
    #[cfg(unix)]
    std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
    let file = options.open(&name)?;
    // The open file stays; a crash leaves no file behind.
    std::fs::remove_file(&name)?;
    Ok(file)
}

/// A file that stops giving bytes at a deadline.
pub(super) struct Within {
    pub(super) file: File,
    pub(super) deadline: Instant,
}

impl Read for Within {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        if Instant::now() > self.deadline {
            return Err(io::ErrorKind::TimedOut.into());
        }
        self.file.read(into)
    }
}

impl Seek for Within {
    fn seek(&mut self, to: SeekFrom) -> io::Result<u64> {
        self.file.seek(to)
    }
}
