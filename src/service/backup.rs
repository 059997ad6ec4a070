//! Backups: a copy, proved before anything is believed to be in it; and starting again from one.

use std::path::{Path, PathBuf};

use super::verify::verify;
use crate::clock::Clock;
use crate::store::{self, Head, Store, StoreError};

/// Why there is no backup, or no restored database.
#[derive(Debug, thiserror::Error)]
pub enum BackupError {
    /// Nothing is overwritten.
    #[error("{0} is there already; name a file or folder that is not")]
    Exists(PathBuf),
    /// The copy is not as it should be.
    #[error("the copy is not sound, and was not counted as a backup: {0}")]
    Unsound(String),
    /// The file cannot be moved or read.
    #[error("{0}: {1}")]
    File(PathBuf, std::io::Error),
    /// The database.
    #[error(transparent)]
    Store(#[from] StoreError),
}

/// Writes a backup and proves it: every page, every link, every standing. Only then does the
/// watermark move up to which tablets may forget.
pub async fn back_up(store: &Store, clock: &Clock, file: &Path) -> Result<Head, BackupError> {
    if file.exists() {
        return Err(BackupError::Exists(file.to_owned()));
    }
    let proved = match store.copy_to(file).await {
        Ok(()) => prove(file, clock).await,
        Err(e) => Err(e.into()),
    };
    let head = match proved {
        Ok(head) => head,
        Err(e) => {
            // An unsound copy must not be mistaken for a backup later.
            let _ = std::fs::remove_file(file);
            return Err(e);
        }
    };
    let mut write = store.begin().await?;
    write.note_backup(head.seq).await?;
    write.commit().await?;
    Ok(head)
}

/// Proves a database file as a whole, in a folder of its own so that the file itself is not touched.
async fn prove(file: &Path, clock: &Clock) -> Result<Head, BackupError> {
    store::check_pages(file).await?;
    let dir = tempfile::tempdir().map_err(|e| BackupError::File(file.to_owned(), e))?;
    let copy = dir.path().join(store::FILE);
    std::fs::copy(file, &copy).map_err(|e| BackupError::File(file.to_owned(), e))?;
    let opened = Store::open(dir.path(), clock.id()).await?;
    let report = verify(&opened, clock.now(), None).await?;
    let head = opened.head().await?;
    opened.close().await;
    match report.problems.first() {
        None => Ok(head),
        Some(first) => Err(BackupError::Unsound(first.clone())),
    }
}

/// Makes a data folder from a backup. The history gets a new name: tablets that still have what
/// they sent will hand it in again.
pub async fn restore(file: &Path, dir: &Path, clock: &Clock) -> Result<Head, BackupError> {
    let target = dir.join(store::FILE);
    if target.exists() {
        return Err(BackupError::Exists(target));
    }
    prove(file, clock).await?;
    let failed = |e| BackupError::File(dir.to_owned(), e);
    std::fs::create_dir_all(dir).map_err(failed)?;
    std::fs::copy(file, &target).map_err(failed)?;
    let store = Store::open(dir, clock.id()).await?;
    let mut write = store.begin().await?;
    write.begin_epoch(clock.id()).await?;
    write.commit().await?;
    let head = store.head().await?;
    store.close().await;
    Ok(head)
}
