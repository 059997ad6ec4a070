//! What the tablets did and heard, and whether the logbook agrees with it.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt;

use airmuster::service::intake::DESK;
use airmuster::store;
use airmuster_domain::Millis;
use airmuster_domain::record::{Body, Desk, Digest, RecordRef, decode};
use serde_json::Value;
use uuid::Uuid;

/// Something that a person was told is saved on the tablet.
#[derive(Debug, Clone)]
pub struct Entry {
    pub id: Uuid,
    pub digest: Digest,
    pub bytes: Vec<u8>,
    /// Whether the tablet still has it to send.
    pub waiting: bool,
    /// Whether the server said that it is no record.
    pub refused: bool,
    /// Every receipt for it that the tablet believed.
    pub receipts: Vec<Value>,
}

/// One tablet's history.
#[derive(Debug, Clone, Default)]
pub struct History {
    pub tablet: String,
    pub incarnation: Uuid,
    pub entries: Vec<Entry>,
    /// Numbers given out.
    pub numbers: u64,
}

/// What is wrong.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Wrong {
    /// Neither on the tablet nor in the logbook.
    Lost,
    /// In the logbook, and never handed in.
    Unexpected,
    /// There twice.
    Doubled,
    /// Other bytes than were handed in.
    Altered,
    /// Acknowledged as something else than it is.
    Misstated,
    /// A number of a tablet is missing.
    Gap,
}

/// Everything that is wrong, each with words.
#[derive(Debug, Default, PartialEq, Eq)]
pub struct Wrongs(pub Vec<(Wrong, String)>);

impl Wrongs {
    pub fn kinds(&self) -> BTreeSet<Wrong> {
        self.0.iter().map(|(wrong, _)| *wrong).collect()
    }
}

impl fmt::Display for Wrongs {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (wrong, say) in self.0.iter().take(12) {
            writeln!(f, "{wrong:?}: {say:.300}")?;
        }
        write!(f, "{} in all", self.0.len())
    }
}

/// A row of the logbook, kept.
#[derive(Debug, Clone)]
pub struct Row {
    pub seq: i64,
    pub id: String,
    pub digest: Vec<u8>,
    pub kind: String,
    pub tablet: String,
    pub number: Option<i64>,
    pub received_at: Millis,
    pub hash: Vec<u8>,
    pub bytes: Vec<u8>,
}

impl From<store::Row<'_>> for Row {
    fn from(row: store::Row<'_>) -> Self {
        Self {
            seq: row.seq,
            id: row.id.to_owned(),
            digest: row.digest.to_vec(),
            kind: row.kind.to_owned(),
            tablet: row.tablet.to_owned(),
            number: row.number,
            received_at: row.received_at,
            hash: row.hash.to_vec(),
            bytes: row.bytes.to_vec(),
        }
    }
}

/// A logbook as it was found.
#[derive(Debug, Clone)]
pub struct Found {
    pub rows: Vec<Row>,
    pub epoch: String,
    /// What was there before the first tablet spoke.
    pub set_up: Vec<RecordRef>,
}

/// Compares what the tablets know with what is there.
pub fn compare(histories: &[History], found: &Found) -> Wrongs {
    let mut wrongs = Vec::new();
    let mut rows: BTreeMap<RecordRef, &Row> = BTreeMap::new();
    for row in &found.rows {
        let digest = Digest::of(&row.bytes);
        let name = RecordRef { id: row.id.parse().unwrap_or_default(), digest };
        if row.digest != digest.0 {
            wrongs.push((Wrong::Altered, format!("row {} has another hash than it says", row.seq)));
        }
        if rows.insert(name, row).is_some() {
            wrongs.push((Wrong::Doubled, format!("row {}: {name:?}", row.seq)));
        }
    }
    strangers(histories, found, &rows, &mut wrongs);
    let links: BTreeSet<String> = found.rows.iter().map(|r| hex(&r.hash)).collect();
    for history in histories {
        for entry in &history.entries {
            let name = RecordRef { id: entry.id, digest: entry.digest };
            let row = rows.get(&name);
            let tablet = &history.tablet;
            match row {
                Some(row) if row.bytes != entry.bytes => {
                    wrongs.push((Wrong::Altered, format!("row {}", row.seq)));
                }
                Some(row) if entry.refused => {
                    wrongs.push((Wrong::Unexpected, format!("row {} was refused", row.seq)));
                }
                None if !entry.waiting && !entry.refused => {
                    wrongs.push((Wrong::Lost, format!("{tablet}: {}", entry.id)));
                }
                _ => {}
            }
            for receipt in &entry.receipts {
                let says = |key: &str| receipt[key].as_str().unwrap_or_default();
                let place = row.map(|r| (r.seq, r.received_at));
                let right = says("id") == entry.id.to_string()
                    && says("digest") == entry.digest.to_string()
                    && place.is_some()
                    && receipt["seq"].as_i64().zip(receipt["received"].as_i64()) == place
                    && says("epoch") == found.epoch
                    && links.contains(says("head"));
                if !right {
                    wrongs
                        .push((Wrong::Misstated, format!("{tablet}: {place:?}, acknowledged as {receipt}")));
                }
            }
        }
        gaps(history, &found.rows, &mut wrongs);
    }
    Wrongs(wrongs)
}

/// Whatever no tablet wrote is what the server itself adds, once, to a record that is there.
fn strangers(
    histories: &[History],
    found: &Found,
    rows: &BTreeMap<RecordRef, &Row>,
    wrongs: &mut Vec<(Wrong, String)>,
) {
    let entries = || histories.iter().flat_map(|h| &h.entries);
    let written: BTreeSet<_> = entries().map(|e| RecordRef { id: e.id, digest: e.digest }).collect();
    let ids: BTreeSet<_> = entries().map(|e| e.id).collect();
    let mut added = BTreeSet::new();
    for (name, row) in rows {
        if written.contains(name) || found.set_up.contains(name) {
            continue;
        }
        let say = format!("row {}: {}", row.seq, String::from_utf8_lossy(&row.bytes));
        let wrong = match added_to(row) {
            Some(to) if rows.contains_key(&to) && added.insert((row.kind.clone(), to)) => continue,
            Some(to) if rows.contains_key(&to) => Wrong::Doubled,
            None if ids.contains(&name.id) => Wrong::Altered,
            _ => Wrong::Unexpected,
        };
        wrongs.push((wrong, say));
    }
}

/// The record that one of the server's own was made because of.
fn added_to(row: &Row) -> Option<RecordRef> {
    let Body::Desk(desk) = decode(&row.bytes).ok().filter(|_| row.tablet == DESK)?.body else { return None };
    match desk {
        Desk::Doubt(doubt) => Some(doubt.of),
        Desk::Unproven(signed) => Some(signed.of),
        Desk::TicketOpened(ticket) => Some(ticket.because),
        _ => None,
    }
}

/// The tablet's numbers follow each other, and each record names the one before it.
fn gaps(history: &History, rows: &[Row], wrongs: &mut Vec<(Wrong, String)>) {
    let mut numbered: BTreeMap<u64, (Digest, Option<Digest>)> = BTreeMap::new();
    for row in rows {
        let Ok(record) = decode(&row.bytes) else { continue };
        let e = record.envelope;
        if let (true, Some(incarnation), Some(number)) = (e.tablet == history.tablet, e.incarnation, e.number)
            && incarnation == history.incarnation
        {
            numbered.insert(number, (record.name.digest, e.before));
        }
    }
    let waiting: BTreeSet<u64> = history
        .entries
        .iter()
        .filter(|e| e.waiting)
        .filter_map(|e| decode(&e.bytes).ok().and_then(|r| r.envelope.number))
        .collect();
    for number in (1..=history.numbers).filter(|n| !waiting.contains(n)) {
        let Some((_, before)) = numbered.get(&number) else {
            wrongs.push((Wrong::Gap, format!("{}: number {number}", history.tablet)));
            continue;
        };
        let follows = numbered.get(&(number - 1)).map(|(digest, _)| *digest);
        if *before != follows && !waiting.contains(&(number - 1)) {
            let say = format!("{}: number {number} does not follow the one before it", history.tablet);
            wrongs.push((Wrong::Gap, say));
        }
    }
}

fn hex(bytes: &[u8]) -> String {
    <[u8; 32]>::try_from(bytes).map(|b| Digest(b).to_string()).unwrap_or_default()
}
