//! What was read of each unit, kept in memory until something is written about it. A page that looks at all
//! units of a department reads those of which something was written since the last time, and no others.
//!
//! What was written is told by triggers (migration 0017) and not by whoever writes, so that nobody can forget
//! it and another program's writes are seen as well. What is kept must be read from the tables that have them,
//! and hold nothing that depends on now, or say for which moments it holds.

use std::any::{Any, TypeId};
use std::collections::HashMap;
use std::sync::{Arc, Mutex, PoisonError};

use tokio::sync::{Mutex as AsyncMutex, OwnedMutexGuard};

use super::error::StoreError;
use super::lately::Words;
use super::open::Store;

/// Everything that is kept, a shelf for each type.
#[derive(Debug, Default)]
pub(super) struct Shelves {
    all: Mutex<HashMap<TypeId, Arc<dyn Any + Send + Sync>>>,
    /// What many of the kept things have in common.
    pub(super) words: Words,
}

impl Shelves {
    fn of<T: Any + Send + Sync>(&self) -> Arc<AsyncMutex<Shelf<T>>> {
        let mut all = self.all.lock().unwrap_or_else(PoisonError::into_inner);
        let of_type =
            all.entry(TypeId::of::<T>()).or_insert_with(|| Arc::new(AsyncMutex::new(Shelf::<T>::new())));
        // There is one type under each id; were there another, nothing would be kept.
        Arc::clone(of_type).downcast().unwrap_or_default()
    }
}

/// What is kept of one type, by what it was read of: `unit:117`, or a table as a whole.
#[derive(Debug)]
pub struct Shelf<T> {
    /// All changes up to this one have been looked at.
    upto: i64,
    kept: HashMap<String, Arc<T>>,
}

impl<T> Shelf<T> {
    fn new() -> Self {
        Self { upto: 0, kept: HashMap::new() }
    }

    /// What is kept of something of which nothing was written since it was read.
    pub fn get(&self, what: &str) -> Option<&Arc<T>> {
        self.kept.get(what)
    }

    /// Keeps something. It must have been read after the shelf was opened.
    pub fn put(&mut self, what: &str, value: T) -> Arc<T> {
        let value = Arc::new(value);
        self.kept.insert(what.to_owned(), Arc::clone(&value));
        value
    }
}

impl<T> Default for Shelf<T> {
    fn default() -> Self {
        Self::new()
    }
}

impl Store {
    /// Opens the shelf of a type, from which everything is gone that was written about since. Nobody else
    /// opens it meanwhile, so that nothing is read twice.
    pub async fn shelf<T: Any + Send + Sync>(&self) -> Result<OwnedMutexGuard<Shelf<T>>, StoreError> {
        let mut of_type = self.shelves.of::<T>().lock_owned().await;
        // Asked before anything is read: what is written meanwhile is seen the next time.
        if of_type.kept.is_empty() {
            let all = "select coalesce(max(nth), 0) from changed";
            of_type.upto = sqlx::query_scalar(all).fetch_one(&self.read).await?;
            return Ok(of_type);
        }
        let changed: Vec<(String, i64)> = sqlx::query_as("select what, nth from changed where nth > $1")
            .bind(of_type.upto)
            .fetch_all(&self.read)
            .await?;
        for (what, nth) in changed {
            of_type.kept.remove(&what);
            of_type.upto = of_type.upto.max(nth);
        }
        Ok(of_type)
    }

    /// What `read` gives, or gave since the last write to `what`.
    pub(super) async fn whole<T, R>(&self, what: &str, read: R) -> Result<Arc<T>, StoreError>
    where
        T: Any + Send + Sync,
        R: Future<Output = Result<T, StoreError>>,
    {
        let mut of_type = self.shelf::<T>().await?;
        if let Some(kept) = of_type.get(what) {
            return Ok(Arc::clone(kept));
        }
        Ok(of_type.put(what, read.await?))
    }
}
