//! A copy of the whole store as it is at one moment, made while people work.
//!
//! Meant for a process of its own: the copy is opened, checked and closed by ordinary means.

use std::fs::File;
use std::path::{Path, PathBuf};

use sqlx::{ConnectOptions as _, Connection as _};

use super::open::{self, OpenError};
use super::{StoreError, check};

/// Why there is no copy. Nothing was left behind.
#[derive(Debug, thiserror::Error)]
pub enum BackupError {
    /// The store.
    #[error(transparent)]
    Open(#[from] OpenError),
    /// There is something already where the copy was to be.
    #[error("{}: there is such a file already; name another one", .0.display())]
    Exists(PathBuf),
    /// Copying failed.
    #[error("{}: {source}", path.display())]
    Copy {
        /// The copy.
        path: PathBuf,
        /// Why.
        source: StoreError,
    },
    /// The folder or the file could not be written.
    #[error("{}: {source}", path.display())]
    Io {
        /// Where.
        path: PathBuf,
        /// What the system says.
        source: std::io::Error,
    },
    /// The copy is not whole: look at the store with `check`.
    #[error("the copy is not whole, so it was not kept: {}. Run `weighhouse check` on the store", .0.join("; "))]
    Wrong(Vec<String>),
}

/// Copies the store at `from` to `to`, which must not exist. Gives the length of the copy in bytes.
pub async fn backup(from: &Path, to: &Path) -> Result<u64, BackupError> {
    open::expect_present(from)?;
    if to.exists() {
        return Err(BackupError::Exists(to.to_owned()));
    }
    let mut name = to.as_os_str().to_owned();
    name.push(format!(".part-{}", std::process::id()));
    let part = PathBuf::from(name);
    open::create(&part)?;
    let made = copy(from, to, &part).await;
    if made.is_err() {
        // The reason is told; what is left over has no other use.
        let _ = std::fs::remove_file(&part);
    }
    made
}

async fn copy(from: &Path, to: &Path, part: &Path) -> Result<u64, BackupError> {
    let io = |path: &Path| {
        let path = path.to_owned();
        move |source| BackupError::Io { path, source }
    };
    vacuum(from, part).await?;
    File::open(part).and_then(|file| file.sync_all()).map_err(io(part))?;
    let sql = |source| OpenError::Sql { path: part.to_owned(), source };
    let mut conn = open::reading(part).connect().await.map_err(sql)?;
    let wrong = check::inside(&mut conn).await;
    conn.close().await.map_err(sql)?;
    if !wrong.is_empty() {
        return Err(BackupError::Wrong(wrong));
    }
    if to.exists() {
        return Err(BackupError::Exists(to.to_owned()));
    }
    std::fs::rename(part, to).map_err(io(to))?;
    let folder = to.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
    File::open(folder).and_then(|folder| folder.sync_all()).map_err(io(folder))?;
    Ok(std::fs::metadata(to).map_err(io(to))?.len())
}

async fn vacuum(from: &Path, part: &Path) -> Result<(), BackupError> {
    let sql = |source| OpenError::Sql { path: from.to_owned(), source };
    let copy = |source: StoreError| BackupError::Copy { path: part.to_owned(), source };
    let target =
        part.to_str().ok_or_else(|| copy(StoreError::Other("a file name that is not UTF-8".to_owned())))?;
    let mut conn = open::reading(from).connect().await.map_err(sql)?;
    sqlx::query("VACUUM INTO ?").bind(target).execute(&mut conn).await.map_err(|e| copy(e.into()))?;
    conn.close().await.map_err(sql)?;
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::clock::Clock;
    use crate::store::people::{self, Role};
    use crate::store::{Store, testing};

    #[tokio::test]
    async fn a_copy_made_while_the_server_runs_is_a_store_of_its_own() {
        let (folder, store) = testing::store().await;
        let team = testing::team(&store).await;
        testing::pass(&store, team, "p").await;
        let to = folder.path().join("copy.db");
        let length = backup(store.path(), &to).await.unwrap();
        assert_eq!(length, std::fs::metadata(&to).unwrap().len());
        testing::person(&store, "Bea", Role::Guest).await;
        let report = check::check(&to, None).await.unwrap();
        assert_eq!((report.wrong, report.captures), (Vec::new(), 1));
        let copy = Store::open(&to, Clock::by_hand(testing::NOW_US)).await.unwrap();
        assert_eq!(people::all(&mut copy.read().await.unwrap()).await.unwrap().len(), 1);
        assert_eq!(people::all(&mut store.read().await.unwrap()).await.unwrap().len(), 2);
    }

    #[tokio::test]
    async fn a_file_in_the_way_is_left_alone_and_nothing_is_left_over() {
        let (folder, store) = testing::store().await;
        let to = folder.path().join("copy.db");
        std::fs::write(&to, "precious").unwrap();
        assert!(matches!(backup(store.path(), &to).await, Err(BackupError::Exists(_))));
        assert_eq!(std::fs::read(&to).unwrap(), b"precious");
        let nowhere = folder.path().join("no such folder").join("copy.db");
        assert!(backup(store.path(), &nowhere).await.is_err());
        let missing = folder.path().join("none.db");
        assert!(matches!(
            backup(&missing, &folder.path().join("c.db")).await,
            Err(BackupError::Open(OpenError::Missing(_)))
        ));
        let parts = std::fs::read_dir(folder.path())
            .unwrap()
            .filter(|f| f.as_ref().unwrap().file_name().to_string_lossy().contains(".part-"));
        assert_eq!(parts.count(), 0);
    }
}
