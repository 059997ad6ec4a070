//! What was read, kept until something is written or a minute is over. Many pages begin with the same few
//! hundred rows, and in the half hour after a change of shift many tablets ask for them at once.

use std::any::{Any, TypeId};
use std::collections::HashMap;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};

use airmuster_domain::Millis;

use super::error::StoreError;
use super::open::Store;

/// Clocks here show minutes, and shifts begin on one: within a minute nothing that is shown changes by itself.
const MINUTE: Millis = 60_000;

/// How often the database was written, and the minute.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Moment {
    changes: i64,
    minute: i64,
}

impl Moment {
    /// Whether what was read then still holds at `now`; it may even be newer.
    fn holds(self, now: Self) -> bool {
        self.changes >= now.changes && self.minute == now.minute
    }
}

/// For so long another program's write may stay unseen. Writes of this one are seen at once.
const GLANCE: Duration = Duration::from_millis(20);

/// The count of changes as it was last read, and after how many commits of this program.
#[derive(Debug, Default)]
pub(super) struct Glance {
    pub(super) commits: AtomicU64,
    last: Mutex<Option<(u64, Instant, i64)>>,
}

type Value = Arc<dyn Any + Send + Sync>;

/// The value of a type. Locked while it is read: whoever else wants it waits for it.
type Slot = Arc<tokio::sync::Mutex<Option<(Moment, Value)>>>;

/// What is kept, one value of a type.
#[derive(Debug, Default)]
pub(super) struct Memo(Mutex<HashMap<TypeId, Slot>>);

impl Memo {
    fn slot<T: Any>(&self) -> Slot {
        let mut slots = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        Arc::clone(slots.entry(TypeId::of::<T>()).or_default())
    }
}

impl Store {
    async fn changes(&self) -> Result<i64, StoreError> {
        // Before the question: a commit meanwhile makes its answer one of before.
        let commits = self.glance.commits.load(Ordering::SeqCst);
        let last = *self.glance.last.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some((after, when, changes)) = last
            && after == commits
            && when.elapsed() < GLANCE
        {
            return Ok(changes);
        }
        let when = Instant::now();
        let changes = sqlx::query_scalar("select changes from logbook_head").fetch_one(&self.read).await?;
        *self.glance.last.lock().unwrap_or_else(PoisonError::into_inner) = Some((commits, when, changes));
        Ok(changes)
    }

    /// The moment up to which nothing has changed yet.
    pub async fn moment(&self, now: Millis) -> Result<Moment, StoreError> {
        Ok(Moment { changes: self.changes().await?, minute: now.div_euclid(MINUTE) })
    }

    /// What `read` gives, or gave before within this minute and since the last write, by whichever program.
    ///
    /// # Errors
    /// Those of `read`, and when the database does not answer.
    pub async fn kept<T, R>(&self, now: Millis, read: R) -> Result<Arc<T>, StoreError>
    where
        T: Any + Send + Sync,
        R: Future<Output = Result<T, StoreError>>,
    {
        // Asked before reading: what is written meanwhile makes it another moment.
        let moment = self.moment(now).await?;
        let slot = self.memo.slot::<T>();
        let mut kept = slot.lock().await;
        if let Some((of, value)) = &*kept
            && of.holds(moment)
            && let Ok(value) = Arc::clone(value).downcast()
        {
            return Ok(value);
        }
        let value = Arc::new(read.await?);
        let any: Value = value.clone();
        *kept = Some((moment, any));
        Ok(value)
    }
}
