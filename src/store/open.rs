//! Opening the database: one writer, four readers, and the settings that make an acknowledged record
//! survive a power cut.

use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use airmuster_domain::record::CHAIN_START;
use airmuster_domain::standing::Tables;
use sqlx::migrate::Migrator;
use sqlx::sqlite::{
    SqliteConnectOptions, SqliteJournalMode, SqlitePool, SqlitePoolOptions, SqliteSynchronous,
};
use sqlx::{Connection as _, Row, Sqlite, Transaction};
use uuid::Uuid;

use super::error::{StoreError, unreadable};
use super::kept::Shelves;
use super::memo::{Glance, Memo};
use super::write::Write;

static MIGRATOR: Migrator = sqlx::migrate!("./migrations");

/// The database's file name inside the data folder.
pub const FILE: &str = "airmuster.db";

/// Bytes of a page of the file. A check's record takes 3 kB: of the usual 4 kB every page would be a quarter
/// empty.
const PAGE: u32 = 16 * 1024;

/// Rows that a reading connection may be ahead of whoever reads: with few, both wait for each other again
/// and again.
const AHEAD: usize = 1_000;

/// How long a connection waits for another program's write.
const PATIENCE: Duration = Duration::from_secs(10);

/// Room that there must be for the next records, in bytes.
const ROOM: usize = 256 * 1024;

/// The database.
#[derive(Debug, Clone)]
pub struct Store {
    write: SqlitePool,
    /// Whether the writing connection was opened while nothing could be written.
    unfit: Arc<AtomicBool>,
    pub(super) read: SqlitePool,
    pub(super) memo: Arc<Memo>,
    pub(super) glance: Arc<Glance>,
    pub(super) shelves: Arc<Shelves>,
    pub(super) tables: Arc<Mutex<Tables>>,
    path: PathBuf,
}

impl Store {
    /// Opens the database in a folder, makes or migrates it, and proves that it can be written.
    ///
    /// `new_epoch` names the history when the database is new.
    ///
    /// # Errors
    /// In words that a person can act on.
    pub async fn open(dir: &Path, new_epoch: Uuid) -> Result<Self, StoreError> {
        Self::open_with(dir, new_epoch, SqliteSynchronous::Full).await
    }

    /// As [`Store::open`], for a database that is thrown away: it need not survive a power cut.
    pub(super) async fn scratch(dir: &Path, epoch: Uuid) -> Result<Self, StoreError> {
        Self::open_with(dir, epoch, SqliteSynchronous::Off).await
    }

    async fn open_with(
        dir: &Path,
        new_epoch: Uuid,
        synchronous: SqliteSynchronous,
    ) -> Result<Self, StoreError> {
        std::fs::create_dir_all(dir).map_err(|_| StoreError::CannotOpen(dir.to_owned()))?;
        let path = dir.join(FILE);
        let options = SqliteConnectOptions::new()
            .filename(&path)
            .busy_timeout(PATIENCE)
            .row_buffer_size(AHEAD)
            .foreign_keys(true)
            .pragma("recursive_triggers", "ON");
        let cannot_open =
            |e: sqlx::Error| match e.as_database_error().and_then(sqlx::error::DatabaseError::code) {
                Some(code) if code == "14" => StoreError::CannotOpen(path.clone()),
                _ => e.into(),
            };
        let unfit = Arc::new(AtomicBool::new(false));
        let given_up = Arc::clone(&unfit);
        let write = SqlitePoolOptions::new()
            .max_connections(1)
            .min_connections(1)
            .idle_timeout(None)
            .max_lifetime(None)
            // What a full disk cuts short SQLite takes back by itself. The library then still counts a
            // transaction as open, and would begin no other on this connection. And a connection that
            // was opened while the disk was read-only stays so, whatever the disk does.
            .before_acquire(move |conn, _| {
                let given_up = given_up.swap(false, Ordering::Relaxed);
                Box::pin(async move { Ok(!given_up && !conn.is_in_transaction()) })
            })
            .connect_with(
                options
                    .clone()
                    .create_if_missing(true)
                    .page_size(PAGE)
                    .journal_mode(SqliteJournalMode::Wal)
                    .synchronous(synchronous)
                    // What a savepoint could take back is kept in memory and not in a file of its
                    // own; nothing of it is needed after a power cut.
                    .pragma("temp_store", "MEMORY")
                    // What is erased is overwritten, not only forgotten.
                    .pragma("secure_delete", "ON")
                    // Sixteen megabytes between checkpoints: the same hot pages are not written
                    // into the file again and again.
                    .pragma("wal_autocheckpoint", "1000")
                    // KiB. A check touches some twenty pages at the ends of tables and indices.
                    .pragma("cache_size", "-8192"),
            )
            .await
            .map_err(cannot_open)?;
        assert_version(&write).await?;
        keep_before_migrating(&write, dir).await?;
        MIGRATOR.run(&write).await?;
        let reading = options.read_only(true).pragma("query_only", "ON");
        let readers = SqlitePoolOptions::new().max_connections(4).idle_timeout(None).max_lifetime(None);
        let read = readers.connect_with(reading).await.map_err(cannot_open)?;
        let (tables, memo, glance, shelves) =
            (Arc::default(), Arc::default(), Arc::default(), Arc::default());
        let store = Self { write, unfit, read, memo, glance, shelves, tables, path };
        store.name_history(new_epoch).await?;
        store.write_something().await?;
        store.load_tables().await?;
        store.catch_up_with_upkeep().await?;
        store.catch_up_with_places().await?;
        store.catch_up_with_times().await?;
        store.catch_up_with_crews().await?;
        Ok(store)
    }

    /// Begins a write. There is one writer; whoever holds it must not ask for it again.
    pub async fn begin(&self) -> Result<Write, StoreError> {
        Write::begun(self.immediately().await?, Arc::clone(&self.tables), Arc::clone(&self.glance)).await
    }

    async fn immediately(&self) -> Result<Transaction<'static, Sqlite>, StoreError> {
        self.write.begin_with("BEGIN IMMEDIATE").await.map_err(|e| {
            let e = StoreError::from(e);
            if matches!(e, StoreError::ReadOnly) {
                self.unfit.store(true, Ordering::Relaxed);
            }
            e
        })
    }

    /// The rule tables.
    pub fn tables(&self) -> MutexGuard<'_, Tables> {
        self.tables.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// The database file.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Whether the database answers.
    pub async fn ping(&self) -> Result<(), StoreError> {
        sqlx::query("select 1").execute(&self.read).await?;
        Ok(())
    }

    /// Proves that the database can be written just now, without leaving anything behind. A full disk is
    /// seen here: there must be room for some records.
    pub async fn prove_writing(&self) -> Result<(), StoreError> {
        let beside = self.path.with_extension("room");
        let failed = |e: std::io::Error| match e.kind() {
            std::io::ErrorKind::StorageFull | std::io::ErrorKind::QuotaExceeded => StoreError::DiskFull,
            std::io::ErrorKind::ReadOnlyFilesystem | std::io::ErrorKind::PermissionDenied => {
                StoreError::ReadOnly
            }
            _ => StoreError::Disk(e.to_string()),
        };
        let written = tokio::fs::write(&beside, vec![0; ROOM]).await;
        let gone = tokio::fs::remove_file(&beside).await;
        written.and(gone).map_err(failed)?;
        self.write_something().await
    }

    /// Changes a number in the file's header that nothing reads. SQLite leaves a page alone that would
    /// say the same as before, so that writing a row once more would prove nothing.
    async fn write_something(&self) -> Result<(), StoreError> {
        let mut tx = self.immediately().await?;
        let last: i64 = sqlx::query_scalar("pragma user_version").fetch_one(&mut *tx).await?;
        let next = if last == 0 { "pragma user_version = 1" } else { "pragma user_version = 0" };
        sqlx::query(next).execute(&mut *tx).await?;
        tx.commit().await?;
        Ok(())
    }

    /// What is wrong with the file itself, as far as SQLite sees it.
    pub async fn damage(&self) -> Result<Option<String>, StoreError> {
        let found: Vec<String> =
            sqlx::query_scalar("pragma integrity_check(3)").fetch_all(&self.read).await?;
        Ok((found != ["ok"]).then(|| found.join("; ")))
    }

    /// Writes everything into the one file and empties the log beside it, which still has what was
    /// erased.
    pub async fn leave_nothing(&self) -> Result<(), StoreError> {
        sqlx::query("pragma wal_checkpoint(truncate)").execute(&self.write).await?;
        Ok(())
    }

    /// Closes all connections, which leaves a single file behind.
    pub async fn close(&self) {
        self.read.close().await;
        self.write.close().await;
    }

    /// A setting of the writing connection, read back.
    pub async fn pragma(&self, name: Pragma) -> Result<String, StoreError> {
        let sql = match name {
            Pragma::JournalMode => "pragma journal_mode",
            Pragma::Synchronous => "pragma synchronous",
            Pragma::ForeignKeys => "pragma foreign_keys",
            Pragma::RecursiveTriggers => "pragma recursive_triggers",
        };
        let row = sqlx::query(sql).fetch_one(&self.write).await?;
        Ok(row.try_get::<String, _>(0).or_else(|_| row.try_get::<i64, _>(0).map(|n| n.to_string()))?)
    }

    /// Gives the history of a new database its name.
    async fn name_history(&self, new_epoch: Uuid) -> Result<(), StoreError> {
        let mut tx = self.immediately().await?;
        sqlx::query(
            "insert into logbook_head (only, epoch, seq, hash) values (1, $1, 0, $2)
             on conflict (only) do nothing",
        )
        .bind(new_epoch.hyphenated().to_string())
        .bind(&CHAIN_START.0[..])
        .execute(&mut *tx)
        .await?;
        tx.commit().await?;
        Ok(())
    }

    /// Reads the rule tables anew.
    pub async fn load_tables(&self) -> Result<(), StoreError> {
        let rows: Vec<(String, String)> =
            sqlx::query_as("select digest, text from rule_table order by seq").fetch_all(&self.read).await?;
        let mut tables = Tables::new();
        for (digest, text) in rows {
            tables.add(&text).map_err(|e| unreadable("rule_table", &digest, &e))?;
        }
        *self.tables() = tables;
        Ok(())
    }
}

/// Settings that durability hangs on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Pragma {
    /// `wal`.
    JournalMode,
    /// `2`: FULL, the log is synced at every commit.
    Synchronous,
    /// `1`.
    ForeignKeys,
    /// `1`: the append-only triggers also see `insert or replace`.
    RecursiveTriggers,
}

/// Before a newer program changes a database, the database as it was is copied beside it:
/// `before-migration-N.db`, whole or not at all. It is never written over.
async fn keep_before_migrating(pool: &SqlitePool, dir: &Path) -> Result<(), StoreError> {
    let tables: i64 =
        sqlx::query_scalar("select count(*) from sqlite_master where name = '_sqlx_migrations'")
            .fetch_one(pool)
            .await?;
    if tables == 0 {
        return Ok(());
    }
    let last: Option<i64> =
        sqlx::query_scalar("select max(version) from _sqlx_migrations").fetch_one(pool).await?;
    let newest = MIGRATOR.iter().map(|m| m.version).max();
    let Some(last) = last.filter(|last| Some(*last) < newest) else { return Ok(()) };
    let first = MIGRATOR.iter().map(|m| m.version).find(|v| *v > last).unwrap_or(last);
    let kept = dir.join(format!("before-migration-{first}.db"));
    if kept.exists() {
        return Ok(());
    }
    let part = dir.join(format!("before-migration-{first}.db.part"));
    let failed = |e: std::io::Error| StoreError::Disk(format!("{}: {e}", part.display()));
    let name = part.to_str().ok_or_else(|| StoreError::CannotOpen(part.clone()))?;
    match std::fs::remove_file(&part) {
        Err(e) if e.kind() != std::io::ErrorKind::NotFound => return Err(failed(e)),
        _ => {}
    }
    sqlx::query("vacuum into $1").bind(name).execute(pool).await?;
    std::fs::File::open(&part).and_then(|f| f.sync_all()).map_err(failed)?;
    std::fs::rename(&part, &kept).map_err(failed)
}

async fn assert_version(pool: &SqlitePool) -> Result<(), StoreError> {
    let version: String = sqlx::query_scalar("select sqlite_version()").fetch_one(pool).await?;
    let parts: Vec<u32> = version.split('.').filter_map(|p| p.parse().ok()).collect();
    // Earlier ones have the WAL-reset fault (sqlite.org/wal.html#walresetbug).
    if parts.as_slice() < [3, 51, 3].as_slice() {
        return Err(StoreError::OldSqlite(version));
    }
    Ok(())
}
