//! The yardstick for handing in: the same bytes put into a table, a commit each, nothing else.

use std::path::Path;
use std::time::{Duration, Instant};

use sqlx::sqlite::{SqliteConnectOptions, SqliteJournalMode, SqlitePoolOptions, SqliteSynchronous};

use super::client::Failed;

/// Inserts as many of `records` as there is time for, with `synchronous=FULL` on the disk of `folder`. A second.
pub async fn inserts(folder: &Path, records: &[Vec<u8>], lasts: Duration) -> Result<f64, Failed> {
    let dir = tempfile::tempdir_in(folder)?;
    let options = SqliteConnectOptions::new()
        .filename(dir.path().join("bare.db"))
        .create_if_missing(true)
        .journal_mode(SqliteJournalMode::Wal)
        .synchronous(SqliteSynchronous::Full);
    let pool = SqlitePoolOptions::new().max_connections(1).connect_with(options).await?;
    sqlx::query("create table record (seq integer primary key, bytes blob not null)").execute(&pool).await?;
    let began = Instant::now();
    let mut written = 0_u32;
    for record in records {
        if began.elapsed() >= lasts {
            break;
        }
        sqlx::query("insert into record (bytes) values ($1)").bind(record.as_slice()).execute(&pool).await?;
        written += 1;
    }
    let rate = f64::from(written) / began.elapsed().as_secs_f64();
    pool.close().await;
    Ok(rate)
}
