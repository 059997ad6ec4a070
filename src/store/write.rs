//! The write transaction. Statements that give nothing back are put off and go to the database together:
//! each message to the connection's thread and back costs more than the statement itself.

use std::sync::atomic::Ordering;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use airmuster_domain::standing::Tables;
use sqlx::sqlite::{SqliteArguments, SqliteRow};
use sqlx::{Arguments as _, AssertSqlSafe, Encode, Sqlite, SqliteConnection, Transaction, Type};

use super::error::StoreError;
use super::logbook::Head;
use super::memo::Glance;

const MARK: &str = "savepoint one";

/// Everything in it becomes durable together, at [`Write::commit`].
pub struct Write {
    tx: Transaction<'static, Sqlite>,
    later: Later,
    pub(super) head: Head,
    pub(super) tables: Arc<Mutex<Tables>>,
    glance: Arc<Glance>,
}

/// Statements that were put off. Their parameters are all `?`, which count on from one statement to the next.
#[derive(Default)]
pub(super) struct Later {
    sql: String,
    arguments: SqliteArguments,
    unfit: Option<sqlx::error::BoxDynError>,
}

impl Later {
    /// The value of the next parameter.
    pub(super) fn bind<'a, T>(&mut self, value: T) -> &mut Self
    where
        T: Encode<'a, Sqlite> + Type<Sqlite>,
    {
        if let Err(e) = self.arguments.add(value) {
            self.unfit = Some(e);
        }
        self
    }
}

impl Write {
    pub(super) async fn begun(
        mut tx: Transaction<'static, Sqlite>,
        tables: Arc<Mutex<Tables>>,
        glance: Arc<Glance>,
    ) -> Result<Self, StoreError> {
        let head = Head::read(&mut tx).await?;
        Ok(Self { tx, later: Later::default(), head, tables, glance })
    }

    /// Puts a statement off until the next one that is asked for something, or the commit.
    pub(super) fn later(&mut self, sql: &str) -> &mut Later {
        self.later.sql.push_str(sql);
        self.later.sql.push(';');
        &mut self.later
    }

    /// The connection, with nothing put off any more.
    pub(super) async fn conn(&mut self) -> Result<&mut SqliteConnection, StoreError> {
        self.settle().await?;
        Ok(&mut self.tx)
    }

    /// Asks for one row, after what was put off and in the same message. `?` as in [`Write::later`].
    pub(super) async fn ask<T>(&mut self, sql: &str, bind: impl FnOnce(&mut Later)) -> Result<T, StoreError>
    where
        T: Send + Unpin + for<'r> sqlx::FromRow<'r, SqliteRow>,
    {
        bind(self.later(sql));
        let (sql, arguments) = self.take_later()?;
        Ok(sqlx::query_as_with(AssertSqlSafe(sql), arguments).fetch_one(&mut *self.tx).await?)
    }

    fn take_later(&mut self) -> Result<(String, SqliteArguments), StoreError> {
        let Later { sql, arguments, unfit } = std::mem::take(&mut self.later);
        match unfit {
            Some(e) => Err(sqlx::Error::Encode(e).into()),
            None => Ok((sql, arguments)),
        }
    }

    /// Does what was put off: what the database has against it is said here at the latest.
    pub async fn settle(&mut self) -> Result<(), StoreError> {
        if self.later.sql.is_empty() {
            return Ok(());
        }
        let (sql, arguments) = self.take_later()?;
        sqlx::query_with(AssertSqlSafe(sql), arguments).execute(&mut *self.tx).await?;
        Ok(())
    }

    /// Makes everything durable. Only after this may anything be acknowledged.
    pub async fn commit(mut self) -> Result<(), StoreError> {
        let Head { seq, hash, .. } = &self.head;
        let (seq, hash) = (*seq, hash.0);
        // With the count of changes, by which whoever keeps what was read knows that it is no longer so.
        self.later("update logbook_head set seq = ?, hash = ?, changes = changes + 1")
            .bind(seq)
            .bind(&hash[..]);
        self.settle().await?;
        let done = self.tx.commit().await;
        // Also after one that failed: of some of those nobody knows.
        self.glance.commits.fetch_add(1, Ordering::SeqCst);
        Ok(done?)
    }

    /// As [`Write::commit`], of a note that no page shows: that a session was used, a tablet heard.
    pub async fn commit_aside(mut self) -> Result<(), StoreError> {
        self.settle().await?;
        self.tx.commit().await?;
        Ok(())
    }

    /// Undoes everything.
    pub async fn abandon(self) -> Result<(), StoreError> {
        Ok(self.tx.rollback().await?)
    }

    /// Marks a point to which [`Write::back`] can return.
    pub fn mark(&mut self) -> Head {
        self.later(MARK);
        self.head.clone()
    }

    /// Keeps what was done since the mark.
    pub async fn keep(&mut self) -> Result<(), StoreError> {
        self.settle().await?;
        self.later("release one");
        Ok(())
    }

    /// Undoes what was done since the mark.
    pub async fn back(&mut self, to: Head) -> Result<(), StoreError> {
        let Later { sql, .. } = std::mem::take(&mut self.later);
        match sql.find(MARK) {
            // Nothing since the mark has been done, nor the mark set; all that was before it is a release.
            Some(at) => sql.get(..at).unwrap_or_default().clone_into(&mut self.later.sql),
            None => {
                sqlx::query("rollback to one; release one").execute(&mut *self.tx).await?;
            }
        }
        self.head = to;
        Ok(())
    }

    /// The rule tables.
    pub fn tables(&self) -> MutexGuard<'_, Tables> {
        self.tables.lock().unwrap_or_else(PoisonError::into_inner)
    }
}
