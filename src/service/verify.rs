//! Proves the logbook and everything computed from it: each link of the chain, each record's
//! hash and columns, each kept standing against the domain's own account of all records, and each
//! computed table against one made anew from the logbook.

use std::fmt;

use airmuster_domain::Millis;
use airmuster_domain::record::{Body, CHAIN_START, Digest, Field, Record, decode, link};
use airmuster_domain::standing::Account;

use crate::store::{Anew, COMPUTED, Row, Store, StoreError};

/// How many rows are read at a time.
const PAGE: i64 = 2_000;

/// What was proved, or the first thing found wrong.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Report {
    /// Records read.
    pub records: i64,
    /// Assets whose standing was recomputed.
    pub assets: usize,
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
                self.records,
                self.assets,
                COMPUTED.len(),
                self.head
            )
        } else {
            write!(f, "{} records read; the logbook or what is computed from it was altered", self.records)
        }
    }
}

/// Reads everything anew. `head`, when given, must be a link of the chain: what came before it is
/// then proved not to have changed since it was written down.
///
/// # Errors
/// When the database cannot be read.
pub async fn verify(store: &Store, now: Millis, head: Option<Digest>) -> Result<Report, StoreError> {
    let end = store.head().await?;
    let mut report = Report { records: 0, assets: 0, head: CHAIN_START, problems: Vec::new() };
    if let Some(why) = store.damage().await? {
        report.problems.push(format!(
            "the database file is damaged ({why}); keep it as it is, and restore the last backup into another folder"
        ));
        return Ok(report);
    }
    let mut records: Vec<Record> = Vec::new();
    let anew = Anew::begin().await?;
    let mut passed = head.is_none_or(|h| h == CHAIN_START);
    // From the very first: a row slipped in before number 1 must not hide there.
    let mut after = i64::MIN;
    loop {
        let rows = store.rows_after(after, PAGE).await?;
        let Some(last) = rows.last() else { break };
        after = last.seq;
        for row in &rows {
            report.records += 1;
            match check_row(row, report.records, report.head) {
                Ok((record, hash)) => {
                    report.head = hash;
                    passed |= head == Some(hash);
                    records.push(record);
                }
                Err(why) => {
                    report.problems.push(format!("record {}: {why}", row.seq));
                    return Ok(report);
                }
            }
        }
        anew.take(&rows).await?;
    }
    if (report.records, report.head) != (end.seq, end.hash) {
        report.problems.push(format!(
            "the head says {} records ending in {}; the logbook has {} ending in {}",
            end.seq, end.hash, report.records, report.head
        ));
    }
    if !passed {
        report.problems.push("the head that was written down is not in this logbook".to_owned());
    }
    compare(store, now, &records, &mut report).await?;
    report.problems.extend(anew.differences(store).await?);
    Ok(report)
}

fn check_row(row: &Row, expected: i64, previous: Digest) -> Result<(Record, Digest), String> {
    if row.seq < expected {
        return Err("there is no such number in a logbook".to_owned());
    }
    if row.seq > expected {
        return Err(format!("number {expected} is missing"));
    }
    if row.previous != previous.0 {
        return Err("it does not follow the record before it".to_owned());
    }
    if row.digest != Digest::of(&row.bytes).0 {
        return Err("its bytes were changed".to_owned());
    }
    let hash = link(&previous, u64::try_from(row.seq).unwrap_or(0), row.received_at, &row.tablet, &row.bytes);
    if row.hash != hash.0 {
        return Err("its link of the chain does not fit".to_owned());
    }
    let record = decode(&row.bytes).map_err(|e| e.to_string())?;
    let e = &record.envelope;
    let check = match &record.body {
        Body::Field(Field::Check(c)) => Some(c),
        _ => None,
    };
    let same = row.id == e.id.hyphenated().to_string()
        && row.kind == e.kind
        && row.version == i64::from(e.v)
        && row.tablet == e.tablet
        && row.incarnation == e.incarnation.map(|i| i.hyphenated().to_string())
        && row.number == e.number.map(|n| i64::try_from(n).unwrap_or(i64::MAX))
        && row.event_at == e.time()
        && row.client == e.client
        && row.rules == check.map(|c| c.rules.to_string())
        && row.engine == check.map(|c| i64::from(c.engine))
        && row.profile == check.map(|c| c.profile.clone());
    if same { Ok((record, hash)) } else { Err("a column does not say what the record says".to_owned()) }
}

async fn compare(
    store: &Store,
    now: Millis,
    records: &[Record],
    report: &mut Report,
) -> Result<(), StoreError> {
    let fields = records.iter().filter(|r| matches!(r.body, Body::Field(_)));
    let desk: Vec<&Record> = records.iter().filter(|r| matches!(r.body, Body::Desk(_))).collect();
    let account = Account::of(fields, &desk);
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
