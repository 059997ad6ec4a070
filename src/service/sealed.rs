//! Opens sealed signatures, one after the other and apart from receipts, and writes down what came
//! of each: the signature, or the doubt that an officer settles.

use std::sync::Arc;
use std::time::Duration;

use airmuster_domain::record::{Doubt, RecordRef, Signed, Stamp, encode};
use serde::Serialize;
use tokio::sync::mpsc;
use tokio::task::JoinHandle;

use super::door::Door;
use super::intake::{CLIENT, DESK, Intake, IntakeError, Origin};
use super::pin::PinError;
use super::seal::{SealError, SealKey};
use crate::clock::Clock;
use crate::store::{Kept, Opened, Store, StoreError, Waiting};

/// Seals may also come from another process, as from `airmuster import-outbox`, and wait for an
/// officer: looked for at least this often.
const AGAIN: Duration = Duration::from_secs(20);

/// Why a seal was not dealt with; it stays where it is.
#[derive(Debug, thiserror::Error)]
enum SealedError {
    #[error(transparent)]
    Store(#[from] StoreError),
    #[error(transparent)]
    Pin(#[from] PinError),
    #[error(transparent)]
    Intake(#[from] IntakeError),
}

/// Sealed signatures of this server. The worker ends when the last clone is gone.
#[derive(Debug, Clone)]
pub struct Sealed {
    key: Arc<SealKey>,
    wake: mpsc::Sender<()>,
}

impl Sealed {
    /// Starts the worker, which begins with what still waits.
    pub fn start(
        store: Store,
        clock: Clock,
        intake: Intake,
        door: Door,
        key: SealKey,
    ) -> (Self, JoinHandle<()>) {
        let key = Arc::new(key);
        let (wake, woken) = mpsc::channel(1);
        let worker = Worker { store, clock, intake, door, key: Arc::clone(&key) };
        (Self { key, wake }, tokio::spawn(worker.work(woken)))
    }

    /// The key to which tablets seal.
    pub fn key(&self) -> &SealKey {
        &self.key
    }

    /// Something has come in.
    pub fn look(&self) {
        // Full: it is about to look anyway.
        let _ = self.wake.try_send(());
    }
}

struct Worker {
    store: Store,
    clock: Clock,
    intake: Intake,
    door: Door,
    key: Arc<SealKey>,
}

impl Worker {
    async fn work(self, mut woken: mpsc::Receiver<()>) {
        loop {
            if let Err(e) = self.go_through(&woken).await {
                tracing::error!(error = %e, "sealed signatures could not be gone through");
            }
            if tokio::time::timeout(AGAIN, woken.recv()).await == Ok(None) {
                return;
            }
        }
    }

    async fn go_through(&self, woken: &mpsc::Receiver<()>) -> Result<(), SealedError> {
        let now = self.clock.now();
        if self.store.has_spent_pins(now).await? {
            let mut write = self.store.begin().await?;
            write.forget_previous_pins(now).await?;
            write.commit().await?;
        }
        for waiting in self.store.waiting_seals().await? {
            // The rest is taken up at the next start.
            if woken.is_closed() {
                return Ok(());
            }
            let seq = waiting.seq;
            if let Err(e) = self.open(waiting).await {
                tracing::error!(error = %e, seq, "a sealed signature could not be opened");
            }
        }
        // Also those that could not be told of before a restart.
        for (seq, outcome) in self.store.untold_seals().await? {
            self.tell(seq, outcome).await?;
        }
        Ok(())
    }

    async fn open(&self, waiting: Waiting) -> Result<(), SealedError> {
        let seq = waiting.seq;
        let kept = self.store.record(seq).await?;
        let Some((kept, by)) = kept.and_then(|k| k.record.envelope.by.clone().map(|by| (k, by))) else {
            return self.end(seq, Opened::LetGo).await;
        };
        if !waiting.wanted {
            return self.end(seq, Opened::LetGo).await;
        }
        let Kept { record, .. } = kept;
        let tablet = &record.envelope.tablet;
        if !self.door.may_open(&by, tablet).await? {
            return Ok(());
        }
        let pin = match self.key.open(&waiting.bytes, &record.name.digest, tablet) {
            Ok(pin) => pin,
            Err(e) => {
                tracing::warn!(seq, tablet, why = %e, "a sealed signature was refused");
                let outcome = if e == SealError::OtherKey { Opened::OtherKey } else { Opened::Foreign };
                return self.end(seq, outcome).await;
            }
        };
        match self.door.prove(&by, &pin).await {
            Ok(()) => {
                self.sign(&by, record.name).await?;
                self.door.forget(&by, tablet).await?;
                self.end(seq, Opened::Proven).await
            }
            Err(PinError::Wrong) => {
                let mut write = self.store.begin().await?;
                write.end_seal(seq, Opened::Wrong).await?;
                let tried = write.note_failure(&by, tablet, true, self.clock.now()).await?;
                write.commit().await?;
                Ok(self.door.tell(&by, tablet, tried).await?)
            }
            Err(e) => Err(e.into()),
        }
    }

    async fn end(&self, seq: i64, outcome: Opened) -> Result<(), SealedError> {
        let mut write = self.store.begin().await?;
        write.end_seal(seq, outcome).await?;
        Ok(write.commit().await?)
    }

    async fn sign(&self, by: &str, of: RecordRef) -> Result<(), SealedError> {
        match self.write("signature", Some(by), &Signed { of }, Origin::Desk).await {
            // Who has left the register cannot sign; the officer has the last word then.
            Ok(()) | Err(IntakeError::Refused(_)) => Ok(()),
            Err(e) => Err(e.into()),
        }
    }

    async fn tell(&self, seq: i64, outcome: Opened) -> Result<(), SealedError> {
        if let Some(kept) = self.store.record(seq).await? {
            let why = match outcome {
                Opened::Wrong => "its signature is not proven: the PIN given with it was not its signer’s",
                _ => "its signature is not proven: the seal that came with it was not made for it",
            };
            let body = Doubt { of: kept.record.name, why: why.to_owned() };
            self.write("doubt", None, &body, Origin::Server).await?;
        }
        let mut write = self.store.begin().await?;
        write.told_of_seal(seq).await?;
        Ok(write.commit().await?)
    }

    async fn write(
        &self,
        kind: &str,
        by: Option<&str>,
        body: &impl Serialize,
        origin: Origin,
    ) -> Result<(), IntakeError> {
        let stamp = Stamp {
            id: self.clock.id(),
            tablet: DESK.to_owned(),
            at: self.clock.now(),
            client: CLIENT.to_owned(),
            by: by.map(str::to_owned),
            ..Stamp::default()
        };
        self.intake.submit(encode(kind, &stamp, body), origin).await.map(|_| ())
    }
}
