//! What can go wrong with the database file, in sentences that a person can act on.

use std::path::PathBuf;

use airmuster_domain::record::NotARecord;

/// A failure of the store.
#[derive(Debug, thiserror::Error)]
pub enum StoreError {
    /// Someone else is writing.
    #[error("the database is busy: another program is writing to it; try again in a moment")]
    Busy,
    /// No permission to write.
    #[error(
        "the database cannot be written to; check the permissions of its folder and of the files in it, and whether the disk is mounted read-only"
    )]
    ReadOnly,
    /// No room.
    #[error("the disk is full; make room, then try again: what was acknowledged is safe")]
    DiskFull,
    /// The file cannot be opened.
    #[error(
        "{0} cannot be opened; check that the folder exists, that this user may write there, and whether the disk is mounted read-only"
    )]
    CannotOpen(PathBuf),
    /// The file is damaged, or not a database.
    #[error(
        "the database file is damaged or not a database ({0}); keep it as it is, and restore the last backup into another folder"
    )]
    Damaged(String),
    /// The disk does not answer.
    #[error(
        "the disk reports a failure, or has become read-only ({0}); copy the data folder to another disk before going on"
    )]
    Disk(String),
    /// Made by a newer program.
    #[error("this database was made by a newer version of the program (migration {0}); start that version")]
    Newer(i64),
    /// A migration was changed.
    #[error(
        "this database was made by a different build of the program (migration {0}); start the build that made it"
    )]
    Other(i64),
    /// The SQLite library is one with a known fault.
    #[error("this build contains SQLite {0}; at least 3.51.3 is needed, as earlier ones can damage the file")]
    OldSqlite(String),
    /// A stored cell cannot be read back.
    #[error("{table} row {row} cannot be read back: {why}; run “airmuster verify”")]
    Inconsistent {
        /// Which table.
        table: &'static str,
        /// Which row.
        row: String,
        /// What is wrong with it.
        why: String,
    },
    /// Anything else.
    #[error("the database answered: {0}")]
    Sqlx(#[source] sqlx::Error),
}

impl StoreError {
    /// Whether only one record is stopped by it: SQLite has undone the statement and no more, so
    /// that what stands beside it in the same transaction can be kept.
    pub fn is_one_records(&self) -> bool {
        match self {
            Self::Inconsistent { .. } => true,
            Self::Sqlx(sqlx::Error::Database(e)) => {
                e.code().and_then(|c| c.parse::<u32>().ok()).is_some_and(|c| c & 0xff == 19)
            }
            _ => false,
        }
    }

    /// Whether trying again shortly may help.
    pub fn is_passing(&self) -> bool {
        matches!(self, Self::Busy | Self::DiskFull | Self::ReadOnly)
    }
}

impl From<sqlx::Error> for StoreError {
    fn from(e: sqlx::Error) -> Self {
        if matches!(e, sqlx::Error::PoolTimedOut) {
            return Self::Busy;
        }
        let Some(db) = e.as_database_error() else {
            return Self::Sqlx(e);
        };
        let code = db.code().and_then(|c| c.parse::<u32>().ok()).unwrap_or(0);
        match code & 0xff {
            5 | 6 => Self::Busy,
            8 => Self::ReadOnly,
            13 => Self::DiskFull,
            10 => Self::Disk(db.message().to_owned()),
            11 | 26 => Self::Damaged(db.message().to_owned()),
            _ => Self::Sqlx(e),
        }
    }
}

impl From<sqlx::migrate::MigrateError> for StoreError {
    fn from(e: sqlx::migrate::MigrateError) -> Self {
        use sqlx::migrate::MigrateError as M;
        match e {
            M::VersionMissing(v) => Self::Newer(v),
            M::VersionMismatch(v) => Self::Other(v),
            M::Execute(e) | M::ExecuteMigration(e, _) => e.into(),
            e => Self::Sqlx(sqlx::Error::Migrate(Box::new(e))),
        }
    }
}

/// A stored record that no longer decodes.
pub(super) fn undecodable(seq: i64, e: &NotARecord) -> StoreError {
    StoreError::Inconsistent { table: "logbook", row: seq.to_string(), why: e.to_string() }
}

/// A stored text that cannot be read.
pub(super) fn unreadable(table: &'static str, row: &str, why: &dyn std::fmt::Display) -> StoreError {
    StoreError::Inconsistent { table, row: row.to_owned(), why: why.to_string() }
}
