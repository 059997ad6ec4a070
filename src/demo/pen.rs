//! Writes records the way tablets and desks do, and gathers them in the order of their time.

use std::collections::BTreeMap;

use airmuster_domain::Millis;
use airmuster_domain::record::{Digest, RecordRef, Stamp, encode};
use rand::rngs::StdRng;
use rand::{Rng as _, SeedableRng as _};
use serde::Serialize;
use uuid::Uuid;

use crate::service::intake::{CLIENT, DESK};

/// Always the same, so that the district is.
pub const SEED: u64 = 0x0A12_0135;

/// What is written within this time may arrive together: an hour, and in the older part of the
/// history two days, so that fewer commits make a demo that starts sooner.
const TOGETHER: Millis = 60 * 60_000;
const LONG_TOGETHER: Millis = 44 * 60 * 60_000;

/// Records that arrive together, and when.
#[derive(Debug, Default)]
pub struct Batch {
    /// When they arrive: with the last of them.
    pub at: Millis,
    /// The records.
    pub records: Vec<Vec<u8>>,
}

/// What a tablet counts.
struct Tablet {
    incarnation: Uuid,
    number: u64,
    before: Option<Digest>,
}

/// Writes records.
pub struct Pen {
    /// The only randomness there is.
    pub rng: StdRng,
    /// Until when the older part of the history lasts.
    pub older_until: Millis,
    apart: u64,
    tablets: BTreeMap<String, Tablet>,
    open: Batch,
    began: Millis,
    full: Vec<Batch>,
}

impl Pen {
    pub fn new(seed: u64) -> Self {
        Self {
            rng: StdRng::seed_from_u64(seed),
            older_until: 0,
            apart: 0,
            tablets: BTreeMap::new(),
            open: Batch::default(),
            began: 0,
            full: Vec::new(),
        }
    }

    /// An id as a tablet makes it.
    pub fn id(&mut self, at: Millis) -> Uuid {
        let random: [u8; 10] = self.rng.random();
        uuid::Builder::from_unix_timestamp_millis(u64::try_from(at).unwrap_or(0), &random).into_uuid()
    }

    /// Writes a desk record. Its bytes can be asked for with [`Pen::last`].
    pub fn desk(&mut self, kind: &str, at: Millis, by: Option<&str>, body: &impl Serialize) -> RecordRef {
        let id = self.id(at);
        let stamp = Stamp { tablet: DESK.to_owned(), ..stamp(id, at, by) };
        self.put(at, id, encode(kind, &stamp, body))
    }

    /// Writes a desk record without drawing on the randomness, so that what is added to the story
    /// changes nothing else in it.
    pub fn desk_apart(&mut self, kind: &str, at: Millis, by: &str, body: &impl Serialize) {
        self.apart += 1;
        let ids = self.apart.to_be_bytes();
        let made: [u8; 10] = std::array::from_fn(|i| ids.get(i).copied().unwrap_or(0x5a));
        let id = uuid::Builder::from_unix_timestamp_millis(u64::try_from(at).unwrap_or(0), &made).into_uuid();
        let stamp = Stamp { tablet: DESK.to_owned(), ..stamp(id, at, Some(by)) };
        self.put(at, id, encode(kind, &stamp, body));
    }

    /// Writes a field record, on a tablet.
    pub fn field(
        &mut self,
        kind: &str,
        (at, id): (Millis, Uuid),
        by: Option<&str>,
        tablet: &str,
        body: &impl Serialize,
    ) -> RecordRef {
        if !self.tablets.contains_key(tablet) {
            let incarnation = self.id(at);
            self.tablets.insert(tablet.to_owned(), Tablet { incarnation, number: 0, before: None });
        }
        let mut stamp = Stamp { tablet: tablet.to_owned(), ..stamp(id, at, by) };
        if let Some(t) = self.tablets.get_mut(tablet) {
            t.number += 1;
            (stamp.incarnation, stamp.number, stamp.before) = (Some(t.incarnation), Some(t.number), t.before);
        }
        let name = self.put(at, id, encode(kind, &stamp, body));
        if let Some(t) = self.tablets.get_mut(tablet) {
            t.before = Some(name.digest);
        }
        name
    }

    /// The record written last.
    pub fn last(&self) -> &[u8] {
        self.open.records.last().map_or(&[], Vec::as_slice)
    }

    /// What comes next arrives later.
    pub fn cut(&mut self) {
        if !self.open.records.is_empty() {
            self.full.push(std::mem::take(&mut self.open));
        }
    }

    /// What was written last arrives so much later, by itself.
    pub fn delay(&mut self, by: Millis) {
        if let Some(late) = self.open.records.pop() {
            let at = self.open.at;
            self.cut();
            self.open = Batch { at: at + by, records: vec![late] };
        }
    }

    /// What is ready to arrive.
    pub fn take(&mut self) -> Vec<Batch> {
        std::mem::take(&mut self.full)
    }

    fn put(&mut self, at: Millis, id: Uuid, bytes: Vec<u8>) -> RecordRef {
        let together = if at < self.older_until { LONG_TOGETHER } else { TOGETHER };
        if at > self.began + together {
            self.cut();
        }
        if self.open.records.is_empty() {
            self.began = at;
        }
        let name = RecordRef { id, digest: Digest::of(&bytes) };
        self.open.at = self.open.at.max(at);
        self.open.records.push(bytes);
        name
    }
}

fn stamp(id: Uuid, at: Millis, by: Option<&str>) -> Stamp {
    Stamp { id, at, by: by.map(str::to_owned), client: CLIENT.to_owned(), ..Stamp::default() }
}
