//! What was read, kept until the database has changed or a second has gone by. Many pages begin with the
//! same few hundred rows, and in the half hour after a change of shift many tablets ask for them at once.

use std::any::{Any, TypeId};
use std::collections::HashMap;
use std::sync::{Arc, Mutex, PoisonError};

use airmuster_domain::Millis;

use super::error::StoreError;
use super::open::Store;

/// For how long something is kept where nothing was written: what depends on the time, like a check that
/// falls due, shows at most so much late.
const MOMENT: Millis = 1_000;

/// How the database was when something was read, and in which second.
type Then = (i64, Millis);

type Value = Arc<dyn Any + Send + Sync>;

/// What is kept, one value of a type.
#[derive(Debug, Default)]
pub(super) struct Memo(Mutex<HashMap<TypeId, (Then, Value)>>);

impl Memo {
    fn get<T: Any + Send + Sync>(&self, then: Then) -> Option<Arc<T>> {
        let kept = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let (of, value) = kept.get(&TypeId::of::<T>())?;
        (*of == then).then(|| Arc::clone(value).downcast().ok())?
    }

    fn put<T: Any + Send + Sync>(&self, then: Then, value: Arc<T>) {
        self.0.lock().unwrap_or_else(PoisonError::into_inner).insert(TypeId::of::<T>(), (then, value));
    }
}

impl Store {
    /// What `read` gives, or gave before within this second and since the last write, by whichever program.
    ///
    /// # Errors
    /// Those of `read`, and when the database does not answer.
    pub async fn kept<T, R>(&self, now: Millis, read: R) -> Result<Arc<T>, StoreError>
    where
        T: Any + Send + Sync,
        R: Future<Output = Result<T, StoreError>>,
    {
        // Asked before reading: what is written meanwhile makes it another version.
        let version: i64 = sqlx::query_scalar("pragma data_version").fetch_one(&self.watch).await?;
        let then = (version, now.div_euclid(MOMENT));
        if let Some(value) = self.memo.get(then) {
            return Ok(value);
        }
        let value = Arc::new(read.await?);
        self.memo.put(then, Arc::clone(&value));
        Ok(value)
    }
}
