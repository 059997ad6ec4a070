//! Copying the database while it is in use, and what a copy changes.

use std::path::Path;

use sqlx::sqlite::{SqliteConnectOptions, SqlitePool, SqlitePoolOptions};
use uuid::Uuid;

use super::error::StoreError;
use super::open::Store;
use super::write::Write;

impl Store {
    /// Writes a copy as of one moment to a file that must not exist yet.
    pub async fn copy_to(&self, file: &Path) -> Result<(), StoreError> {
        let name = file.to_str().ok_or_else(|| StoreError::CannotOpen(file.to_owned()))?;
        // The readers may not write anywhere, not even into another file.
        let pool = look_at(self.path(), false).await?;
        let copied = sqlx::query("vacuum into $1").bind(name).execute(&pool).await;
        pool.close().await;
        copied?;
        Ok(())
    }
}

/// A connection that only reads the file; `still` when nothing else has it open.
async fn look_at(file: &Path, still: bool) -> Result<SqlitePool, StoreError> {
    let options = SqliteConnectOptions::new().filename(file).read_only(true).immutable(still);
    SqlitePoolOptions::new()
        .max_connections(1)
        .connect_with(options)
        .await
        .map_err(|_| StoreError::CannotOpen(file.to_owned()))
}

/// Looks through a whole database file for damage, page by page. An empty file is sound to SQLite
/// and no database of ours: it must have a logbook.
pub async fn check_pages(file: &Path) -> Result<(), StoreError> {
    let pool = look_at(file, true).await?;
    let told: String = sqlx::query_scalar("pragma integrity_check(1)").fetch_one(&pool).await?;
    let logbooks: i64 =
        sqlx::query_scalar("select count(*) from sqlite_master where name in ('logbook', 'logbook_head')")
            .fetch_one(&pool)
            .await?;
    pool.close().await;
    match (told.as_str(), logbooks) {
        ("ok", 2) => Ok(()),
        ("ok", _) => Err(StoreError::Damaged("it has no logbook".to_owned())),
        _ => Err(StoreError::Damaged(told)),
    }
}

impl Write {
    /// Notes that records up to `seq` are in a proved backup.
    pub async fn note_backup(&mut self, seq: i64) -> Result<(), StoreError> {
        sqlx::query("update logbook_head set backed_up = max(backed_up, $1)")
            .bind(seq)
            .execute(self.conn().await?)
            .await?;
        Ok(())
    }

    /// Begins a new history after a restore, so that tablets hand in again what they still have.
    /// What the restored file knew of later backups is not true of it.
    pub async fn begin_epoch(&mut self, epoch: Uuid) -> Result<(), StoreError> {
        sqlx::query("update logbook_head set epoch = $1, backed_up = 0")
            .bind(epoch.hyphenated().to_string())
            .execute(self.conn().await?)
            .await?;
        Ok(())
    }
}
