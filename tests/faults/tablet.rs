//! A tablet: it writes down, keeps, and sends until it is told that what it keeps was received.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::time::Duration;

use airmuster_domain::record::{Digest, Stamp};
use rand::rngs::StdRng;
use rand::{Rng as _, SeedableRng as _};
use serde_json::Value;
use uuid::Uuid;

use super::history::{Entry, History};
use super::line::{Line, Reply};
use super::written::{another_account, poison, something};

/// The shortest and the longest wait after a failure. A real tablet waits longer; these tests do not.
const WAIT: Duration = Duration::from_millis(4);
const LONGEST_WAIT: Duration = Duration::from_millis(250);
/// The most that is sent at once.
const TOGETHER: usize = 8;

/// What makes a tablet let go of an entry. All but the first are mistakes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Trust {
    /// An answer that names the entry's id and the hash of its bytes.
    Receipt,
    /// Any answer at all.
    AnyAnswer,
    /// Any answer with a good status.
    GoodStatus,
    /// An answer that names its id.
    Id,
    /// An answer that names the hash of its bytes.
    Hash,
    /// Having tried.
    Sending,
}

impl Trust {
    fn believes(self, status: u16, answer: &Value, entry: &Entry) -> bool {
        let id = answer["id"] == entry.id.to_string();
        let hash = answer["digest"] == entry.digest.to_string();
        match self {
            Self::Receipt => id && hash,
            Self::AnyAnswer | Self::Sending => true,
            Self::GoodStatus => (200..300).contains(&status),
            Self::Id => id,
            Self::Hash => hash,
        }
    }
}

/// What the tablets of one campaign share.
#[derive(Debug, Default)]
pub struct Progress {
    /// Receipts heard.
    pub received: AtomicU64,
    /// Whether nothing more than its share needs to be written.
    pub enough: AtomicBool,
    /// Whether it is time to give up.
    pub give_up: AtomicBool,
}

/// A tablet with its outbox.
pub struct Tablet {
    history: History,
    before: Option<Digest>,
    rng: StdRng,
    line: Line,
    trust: Trust,
    progress: Arc<Progress>,
    failures: u32,
}

impl Tablet {
    pub fn new(number: usize, seed: u64, line: Line, trust: Trust, progress: &Arc<Progress>) -> Self {
        let mut rng = StdRng::seed_from_u64(seed);
        let incarnation = Uuid::from_u128(rng.random());
        let history = History { tablet: format!("t{number}"), incarnation, ..History::default() };
        let line = line.of(&history.tablet);
        Self { history, before: None, rng, line, trust, progress: Arc::clone(progress), failures: 0 }
    }

    /// Writes `share` records or more and sends them, until all of them are received.
    pub async fn run(mut self, share: u64) -> (History, u64) {
        loop {
            let gives_up = self.progress.give_up.load(Ordering::Relaxed);
            let written = self.history.numbers;
            let more = written < share || !self.progress.enough.load(Ordering::Relaxed);
            let waiting = self.waiting();
            if gives_up || (waiting.is_empty() && !more) {
                return (self.history, self.line.repeats);
            }
            // A few at a time, as a crew does; beyond its share only so that there is something to send.
            if more
                && (waiting.is_empty()
                    || (waiting.len() < 12 && written < share && self.rng.random_bool(0.4)))
            {
                for _ in 0..self.rng.random_range(1..=4) {
                    self.write();
                }
                if written >= share {
                    tokio::time::sleep(Duration::from_millis(self.rng.random_range(5..40))).await;
                }
            }
            self.try_once().await;
        }
    }

    /// Sends what there is once, and again after a failure once its wait is over.
    async fn try_once(&mut self) {
        let mut chosen = self.waiting();
        let batch = if self.rng.random_bool(0.2) { TOGETHER } else { 1 };
        // In any order, so that what cannot be taken delays nothing.
        while chosen.len() > batch {
            chosen.swap_remove(self.rng.random_range(0..chosen.len()));
        }
        // Now and then what was received already, as after a restore.
        if self.rng.random_bool(0.05) && !self.history.entries.is_empty() {
            chosen = vec![self.rng.random_range(0..self.history.entries.len())];
        }
        if self.send(&chosen).await {
            self.failures = 0;
        } else {
            let most = WAIT.saturating_mul(1 << self.failures.min(10)).min(LONGEST_WAIT);
            self.failures += 1;
            tokio::time::sleep(most.mul_f64(self.rng.random())).await;
        }
    }

    fn waiting(&self) -> Vec<usize> {
        (0..self.history.entries.len()).filter(|i| self.history.entries[*i].waiting).collect()
    }

    /// Writes one entry down: from here on a person has been told that it is saved.
    pub fn write(&mut self) {
        let mut stamp = Stamp {
            id: Uuid::from_u128(self.rng.random()),
            tablet: self.history.tablet.clone(),
            incarnation: Some(self.history.incarnation),
            client: "test".to_owned(),
            ..Stamp::default()
        };
        let bytes = if self.rng.random_bool(0.03) {
            poison(&mut self.rng, &stamp)
        } else {
            self.history.numbers += 1;
            stamp.number = Some(self.history.numbers);
            stamp.before = self.before;
            let earlier = self.history.entries.iter().filter(|e| !e.refused).map(|e| e.id).next_back();
            let bytes = match earlier {
                Some(id) if self.rng.random_bool(0.04) => {
                    stamp.id = id;
                    another_account(&mut self.rng, stamp.clone(), id)
                }
                _ => something(&mut self.rng, stamp.clone()),
            };
            self.before = Some(Digest::of(&bytes));
            bytes
        };
        let digest = Digest::of(&bytes);
        self.history.entries.push(Entry {
            id: stamp.id,
            digest,
            bytes,
            waiting: true,
            refused: false,
            receipts: Vec::new(),
        });
    }

    /// Sends these together. Whether every one of them was answered for.
    async fn send(&mut self, chosen: &[usize]) -> bool {
        let entries = &mut self.history.entries;
        let body = match chosen {
            [] => return true,
            [one] => entries[*one].bytes.clone(),
            many => {
                let all: Vec<_> = many.iter().map(|i| entries[*i].bytes.as_slice()).collect();
                [b"[", all.join(&b","[..]).as_slice(), b"]"].concat()
            }
        };
        if self.trust == Trust::Sending {
            for i in chosen {
                entries[*i].waiting = false;
            }
        }
        let Ok(Reply { status, json }) = self.line.post(&body).await else { return false };
        let mut all = true;
        for (place, i) in chosen.iter().enumerate() {
            let entry = &mut entries[*i];
            let answer = if chosen.len() == 1 { &json } else { &json[place] };
            if answer["status"] == "refused" {
                (entry.waiting, entry.refused) = (false, true);
            } else if self.trust.believes(status, answer, entry) {
                entry.waiting = false;
                if answer["id"].is_string() {
                    entry.receipts.push(answer.clone());
                }
                self.progress.received.fetch_add(1, Ordering::Relaxed);
            } else {
                all = false;
            }
        }
        all
    }

    /// Tries to send what there is, so many times at most.
    pub async fn keep_trying(&mut self, times: usize) {
        for _ in 0..times {
            if self.waiting().is_empty() {
                return;
            }
            self.try_once().await;
        }
    }

    pub fn into_history(self) -> History {
        self.history
    }
}
