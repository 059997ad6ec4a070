//! Proves the logbook and everything computed from it: each link of the chain, each record's
//! hash and columns, each kept standing against the domain's own account of all records, and each
//! computed table against one made anew from the logbook.

use std::borrow::Cow;
use std::collections::{HashMap, VecDeque};
use std::fmt;

use airmuster_domain::Millis;
use airmuster_domain::record::{Body, CHAIN_START, Digest, Field, Record, RecordRef, decode, link};
use airmuster_domain::standing::{Account, Tables, Weighed, Weights};
use uuid::Uuid;

use super::progress;
use crate::store::{Anew, COMPUTED, Row, Store, StoreError, Unread};

/// How many rows are read at a time.
const PAGE: i64 = 2_000;

/// What was proved, or the first thing found wrong.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Report {
    /// Records read.
    pub records: i64,
    /// Assets whose standing was recomputed.
    pub assets: usize,
    /// Computed tables that were made anew.
    pub tables: usize,
    /// The end of the chain.
    pub head: Digest,
    /// What is wrong, first first.
    pub problems: Vec<String>,
}

impl fmt::Display for Report {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for p in &self.problems {
            writeln!(f, "{p}")?;
        }
        if self.problems.is_empty() {
            write!(
                f,
                "{} records, every link of the chain holds; {} standings and {} tables equal their recomputation\nhead {}",
                self.records, self.assets, self.tables, self.head
            )
        } else {
            write!(f, "{} records read; the logbook or what is computed from it was altered", self.records)
        }
    }
}

/// How much is proved.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Depth {
    /// The chain, every column, and every standing.
    Standings,
    /// Also every computed table, made anew beside the logbook: this takes ten times as long, and room
    /// for as much again.
    Tables,
}

/// Reads everything anew. `head`, when given, must be a link of the chain: what came before it is
/// then proved not to have changed since it was written down.
///
/// # Errors
/// When the database cannot be read.
pub async fn verify(
    store: &Store,
    now: Millis,
    head: Option<Digest>,
    depth: Depth,
) -> Result<Report, StoreError> {
    let end = store.head().await?;
    let mut report = Report { records: 0, assets: 0, tables: 0, head: CHAIN_START, problems: Vec::new() };
    let anew = match depth {
        Depth::Standings => None,
        Depth::Tables => Some(Anew::begin().await?),
    };
    progress::begin("proving", end.seq);
    let mut read = Reading { weights: Weights::default(), passed: head.is_none_or(|h| h == CHAIN_START) };
    // Both at once: neither keeps a core busy for long.
    let (damage, whole) = tokio::join!(store.damage(), read.all(store, head, anew.as_ref(), &mut report));
    if let Some(why) = damage? {
        let problems = vec![format!(
            "the database file is damaged ({why}); keep it as it is, and restore the last backup into another folder"
        )];
        return Ok(Report { records: 0, assets: 0, tables: 0, head: CHAIN_START, problems });
    }
    if !whole? {
        return Ok(report);
    }
    if (report.records, report.head) != (end.seq, end.hash) {
        report.problems.push(format!(
            "the head says {} records ending in {}; the logbook has {} ending in {}",
            end.seq, end.hash, report.records, report.head
        ));
    }
    if !read.passed {
        report.problems.push("the head that was written down is not in this logbook".to_owned());
    }
    progress::begin("comparing with what is kept", 0);
    let account = together(store, read.weights).await?;
    compare(store, now, &account, &mut report).await?;
    if let Some(anew) = anew {
        report.tables = COMPUTED.len();
        report.problems.extend(anew.differences(store).await?);
    }
    Ok(report)
}

/// What was read so far.
struct Reading {
    weights: Weights<'static>,
    passed: bool,
}

impl Reading {
    /// Reads the whole logbook, several pages at a time on several cores. Says whether it is whole.
    async fn all(
        &mut self,
        store: &Store,
        head: Option<Digest>,
        anew: Option<&Anew>,
        report: &mut Report,
    ) -> Result<bool, StoreError> {
        let cores = std::thread::available_parallelism().map_or(1, usize::from);
        // From the very first: a row slipped in before number 1 must not hide there.
        let mut after = i64::MIN;
        let mut pages = VecDeque::new();
        loop {
            while pages.len() <= cores {
                let rows = store.rows_after(after, PAGE).await?;
                let Some(last) = rows.last() else { break };
                after = last.read()?.seq;
                let tables = store.tables().clone();
                pages.push_back(tokio::task::spawn_blocking(move || Page::prove(rows, tables)));
            }
            let Some(page) = pages.pop_front() else { return Ok(true) };
            let page = page.await.unwrap_or_else(|e| std::panic::resume_unwind(e.into_panic()))?;
            if let Some(first) = page.rows.first()
                && let first = first.read()?
                && let Err(why) = follows(&first, report.records + 1, report.head)
            {
                report.records += 1;
                report.problems.push(format!("record {}: {why}", first.seq));
                return Ok(false);
            }
            for (found, hash) in page.found {
                report.records += 1;
                report.head = hash;
                self.passed |= head == Some(hash);
                match found {
                    Found::Field(weighed) => self.weights.take_briefly(*weighed),
                    Found::Desk(record) => self.weights.hear(Cow::Owned(*record)),
                }
            }
            if let Some(problem) = page.problem {
                report.records += 1;
                report.problems.push(problem);
                return Ok(false);
            }
            if let Some(anew) = anew {
                anew.take(&page.rows).await?;
            }
            progress::done(report.records);
        }
    }
}

/// One row, proved.
enum Found {
    Field(Box<Weighed>),
    Desk(Box<Record>),
}

/// Rows that follow each other.
struct Page {
    rows: Vec<Unread>,
    found: Vec<(Found, Digest)>,
    /// What is wrong with the row after those found.
    problem: Option<String>,
}

impl Page {
    /// Proves all but that the first row follows on what came before it.
    fn prove(rows: Vec<Unread>, mut tables: Tables) -> Result<Self, StoreError> {
        let mut found = Vec::with_capacity(rows.len());
        let mut problem = None;
        let mut last: Option<(i64, Digest)> = None;
        for row in &rows {
            let row = &row.read()?;
            let follows = last.map_or(Ok(()), |(seq, hash)| follows(row, seq + 1, hash));
            match follows.and_then(|()| check_row(row)) {
                Ok((record, hash)) => {
                    last = Some((row.seq, hash));
                    let one = match Weighed::of(&record, &mut tables) {
                        Some(weighed) => Found::Field(Box::new(weighed)),
                        None => Found::Desk(Box::new(record)),
                    };
                    found.push((one, hash));
                }
                Err(why) => {
                    problem = Some(format!("record {}: {why}", row.seq));
                    break;
                }
            }
        }
        Ok(Self { rows, found, problem })
    }
}

fn follows(row: &Row<'_>, expected: i64, previous: Digest) -> Result<(), String> {
    if row.seq < expected {
        return Err("there is no such number in a logbook".to_owned());
    }
    if row.seq > expected {
        return Err(format!("number {expected} is missing"));
    }
    if row.previous != previous.0 {
        return Err("it does not follow the record before it".to_owned());
    }
    Ok(())
}

/// Weighs together what was weighed one by one, reading again what turned out to matter.
async fn together(store: &Store, mut weights: Weights<'_>) -> Result<Account, StoreError> {
    let mut tables = store.tables().clone();
    for name in weights.wanting() {
        if let Some(record) = named(store, name).await?
            && let Some(weighed) = Weighed::of(&record, &mut tables)
        {
            weights.take(weighed);
        }
    }
    let mut corrected = HashMap::new();
    for name in weights.corrected().collect::<Vec<_>>() {
        if let Some(record) = named(store, name).await? {
            corrected.insert(name, record);
        }
    }
    Ok(Account::weigh(weights, &|name| corrected.get(name), &mut tables))
}

async fn named(store: &Store, name: RecordRef) -> Result<Option<Record>, StoreError> {
    let all = store.variants(name.id).await?;
    Ok(all.into_iter().map(|kept| kept.record).find(|record| record.name == name))
}

/// Proves a row by itself.
fn check_row(row: &Row<'_>) -> Result<(Record, Digest), String> {
    let read = decode(row.bytes);
    // A record that can be read brings its hash along.
    let digest = read.as_ref().map_or_else(|_| Digest::of(row.bytes), |record| record.name.digest);
    if row.digest != digest.0 {
        return Err("its bytes were changed".to_owned());
    }
    let previous: [u8; 32] =
        row.previous.try_into().map_err(|_| "its link of the chain does not fit".to_owned())?;
    let seq = u64::try_from(row.seq).unwrap_or(0);
    let hash = link(&Digest(previous), seq, row.received_at, row.tablet, row.bytes);
    if row.hash != hash.0 {
        return Err("its link of the chain does not fit".to_owned());
    }
    let record = read.map_err(|e| e.to_string())?;
    let e = &record.envelope;
    let check = match &record.body {
        Body::Field(Field::Check(c)) => Some(c),
        _ => None,
    };
    let mut text = Uuid::encode_buffer();
    let same = row.id == e.id.hyphenated().encode_lower(&mut text)
        && row.kind == e.kind
        && row.version == i64::from(e.v)
        && row.tablet == e.tablet
        && row.incarnation == e.incarnation.map(|i| &*i.hyphenated().encode_lower(&mut text))
        && row.number == e.number.map(|n| i64::try_from(n).unwrap_or(i64::MAX))
        && row.event_at == e.time()
        && row.client == e.client
        && row.rules.map(str::parse) == check.map(|c| Ok(c.rules))
        && row.engine == check.map(|c| i64::from(c.engine))
        && row.profile == check.map(|c| c.profile.as_str());
    if same { Ok((record, hash)) } else { Err("a column does not say what the record says".to_owned()) }
}

async fn compare(
    store: &Store,
    now: Millis,
    account: &Account,
    report: &mut Report,
) -> Result<(), StoreError> {
    let clock = store.department().await?.clock;
    for asset in store.assets().await? {
        report.assets += 1;
        let fresh = account.standing(&asset, now);
        let kept = store.standing(&asset, &clock, now).await?;
        let keys = |s: &airmuster_domain::standing::Standing| {
            s.grounds.iter().map(|g| g.raise.key.clone()).collect::<std::collections::BTreeSet<_>>()
        };
        if (fresh.state, keys(&fresh), &fresh.last_check, fresh.until)
            != (kept.state, keys(&kept), &kept.last_check, kept.until)
        {
            report.problems.push(format!(
                "{asset}: kept as {}, recomputed as {}",
                kept.state.words(),
                fresh.state.words()
            ));
        }
    }
    for asset in account.assets() {
        if account.grounds(asset).next().is_some() && store.grounds(asset).await?.is_empty() {
            report.problems.push(format!("{asset}: its grounds are missing"));
        }
    }
    Ok(())
}
