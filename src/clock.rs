//! The only place that asks for the time, makes an id or draws randomness.

use std::sync::Arc;
use std::sync::atomic::{AtomicI64, Ordering};

use airmuster_domain::Millis;
use rand::TryRngCore as _;
use uuid::Uuid;

/// Where the time comes from.
#[derive(Debug, Clone, Default)]
pub enum Clock {
    /// The machine's.
    #[default]
    System,
    /// One that is set by hand.
    Set(Arc<AtomicI64>),
}

impl Clock {
    /// A clock that stands at `now` until it is set.
    pub fn at(now: Millis) -> Self {
        Self::Set(Arc::new(AtomicI64::new(now)))
    }

    /// Milliseconds since 1970-01-01T00:00:00Z.
    pub fn now(&self) -> Millis {
        match self {
            Self::System => {
                #[expect(clippy::disallowed_methods, reason = "the one place that asks for the time")]
                let now = std::time::SystemTime::now();
                now.duration_since(std::time::UNIX_EPOCH)
                    .map_or(0, |d| i64::try_from(d.as_millis()).unwrap_or(i64::MAX))
            }
            Self::Set(t) => t.load(Ordering::Relaxed),
        }
    }

    /// Sets a clock made by [`Clock::at`].
    pub fn set(&self, now: Millis) {
        if let Self::Set(t) = self {
            t.store(now, Ordering::Relaxed);
        }
    }

    /// A new id: UUID version 7, from this clock and fresh randomness.
    pub fn id(&self) -> Uuid {
        let millis = u64::try_from(self.now()).unwrap_or(0);
        uuid::Builder::from_unix_timestamp_millis(millis, &self.random()).into_uuid()
    }

    /// Random bytes from the operating system.
    ///
    /// # Panics
    /// When the operating system has none; nothing can be signed or stored safely then.
    #[expect(clippy::expect_used, reason = "without randomness nothing may go on")]
    pub fn random<const N: usize>(&self) -> [u8; N] {
        let mut bytes = [0; N];
        rand::rngs::OsRng.try_fill_bytes(&mut bytes).expect("the operating system gives randomness");
        bytes
    }
}
