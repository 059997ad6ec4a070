//! Backups: a copy, proved before anything is believed to be in it; and starting again from one.

use std::path::{Path, PathBuf};

use super::progress;
use super::verify::{Depth, verify};
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

/// Writes a backup and proves it: every page, every link, every standing. Only then does it get
/// its name, and the watermark moves up to which tablets may forget. What a killed backup leaves
/// behind is called `.part`, is never taken for a backup, and is written over by the next one.
pub async fn back_up(store: &Store, clock: &Clock, file: &Path) -> Result<Head, BackupError> {
    if file.exists() {
        return Err(BackupError::Exists(file.to_owned()));
    }
    let part = part_of(file);
    let _ = std::fs::remove_file(&part);
    progress::begin("copying", 0);
    let proved = match store.copy_to(&part).await {
        Ok(()) => prove(&part, clock, Depth::Standings).await,
        Err(e) => Err(e.into()),
    };
    let head = match proved.and_then(|head| put(&part, file).map(|()| head)) {
        Ok(head) => head,
        Err(e) => {
            let _ = std::fs::remove_file(&part);
            return Err(e);
        }
    };
    let mut write = store.begin().await?;
    write.note_backup(head.seq).await?;
    write.commit().await?;
    Ok(head)
}

/// The name under which a file is written until it is whole.
pub(super) fn part_of(file: &Path) -> PathBuf {
    let mut name = file.as_os_str().to_owned();
    name.push(".part");
    PathBuf::from(name)
}

/// Gives a whole file its name, on the disk before this returns.
pub(super) fn put(part: &Path, file: &Path) -> Result<(), BackupError> {
    let failed = |e| BackupError::File(file.to_owned(), e);
    std::fs::File::open(part).and_then(|f| f.sync_all()).map_err(failed)?;
    std::fs::rename(part, file).map_err(failed)?;
    let folder = file.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
    std::fs::File::open(folder).and_then(|f| f.sync_all()).map_err(failed)
}

/// Proves a database file as a whole, in a folder of its own so that the file itself is not touched.
async fn prove(file: &Path, clock: &Clock, depth: Depth) -> Result<Head, BackupError> {
    store::check_pages(file).await?;
    let dir = tempfile::tempdir().map_err(|e| BackupError::File(file.to_owned(), e))?;
    let copy = dir.path().join(store::FILE);
    std::fs::copy(file, &copy).map_err(|e| BackupError::File(file.to_owned(), e))?;
    let opened = Store::open(dir.path(), clock.id()).await?;
    let report = verify(&opened, clock.now(), None, depth).await?;
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
    prove(file, clock, Depth::Tables).await?;
    let failed = |e| BackupError::File(dir.to_owned(), e);
    std::fs::create_dir_all(dir).map_err(failed)?;
    // Made ready beside its place: whoever stops this half way has no database there, and not the
    // old history under its old name.
    let building = tempfile::tempdir_in(dir).map_err(failed)?;
    let ready = building.path().join(store::FILE);
    std::fs::copy(file, &ready).map_err(failed)?;
    let store = Store::open(building.path(), clock.id()).await?;
    let mut write = store.begin().await?;
    write.begin_epoch(clock.id()).await?;
    write.commit().await?;
    let head = store.head().await?;
    store.close().await;
    put(&ready, &target)?;
    Ok(head)
}
