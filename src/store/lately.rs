//! What pages need of a unit's last weeks: its complete checks in a few numbers each, and what stood against
//! it. A row of the database costs more than what it says, so that all of a unit's come as one.

use std::collections::HashSet;
use std::sync::{Arc, Mutex, PoisonError};

use airmuster_domain::Millis;
use airmuster_domain::drift::Taken;
use airmuster_domain::ground::{Forms as _, Kind, Raise};
use airmuster_domain::quantity::Pressure;
use airmuster_domain::readings::Readings;
use airmuster_domain::record::{Asset, Body, Check, Field};
use airmuster_domain::rules::{Form, Purpose};
use airmuster_domain::shortcuts::least;
use airmuster_domain::tally::Span;
use serde::Deserialize;
use serde::de::DeserializeOwned;
use tokio::sync::OwnedMutexGuard;

use super::error::{StoreError, undecodable, unreadable};
use super::kept::Shelf;
use super::open::Store;
use super::write::Write;

/// So far back is kept: a month, what can still decide about its first day, and some days more.
const KEPT: Millis = 66 * 24 * 60 * 60_000;

/// So many checks of an older logbook are looked at in one go.
const AT_ONCE: i64 = 1000;
/// And as many in one message to the database.
const TOGETHER: usize = 50;

/// A complete, signed check that stands, whatever it found.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Made {
    /// Its number in the logbook.
    pub seq: i64,
    /// When.
    pub at: Millis,
    /// From when on it releases, if it does: an officer may have had to countersign it.
    pub since: Millis,
    /// Who signed it.
    pub by: Option<Arc<str>>,
    /// The profile as which it was made.
    pub profile: Arc<str>,
    /// From the first step shown to the signature, in milliseconds; weeks are not told apart.
    pub took: i32,
    /// The least time that the steps answered take, in milliseconds; none where its form is not known.
    pub least: Option<i32>,
    /// The cylinder's pressure.
    pub pressure: Option<Pressure>,
    /// A technician's, by which something comes back or is accepted.
    pub of_bench: bool,
    /// It found nothing against the unit.
    pub clean: bool,
    /// It waits for an officer's countersignature, and clears nothing before.
    pub waits: bool,
}

/// A unit's checks and what stood against it, from a moment on.
#[derive(Debug)]
struct Lately {
    since: Millis,
    checks: Vec<Made>,
    against: Vec<(Kind, Span)>,
}

/// Who signs and what kinds of unit there are: many checks have them in common.
#[derive(Debug, Default)]
pub(super) struct Words(Mutex<HashSet<Arc<str>>>);

/// With more words than this, those that nothing has any more are thrown away.
const MANY: usize = 4000;

impl Words {
    pub(super) fn of(&self, word: &str) -> Arc<str> {
        let mut all = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(kept) = all.get(word) {
            return Arc::clone(kept);
        }
        if all.len() >= MANY {
            all.retain(|word| Arc::strong_count(word) > 1);
        }
        let kept: Arc<str> = word.into();
        all.insert(Arc::clone(&kept));
        kept
    }
}

/// A check as the database tells it, in this order.
#[derive(Deserialize)]
struct Told {
    seq: i64,
    at: Millis,
    by: Option<String>,
    profile: String,
    purpose: String,
    clean: u8,
    counts: u8,
    took: Option<Millis>,
    least: Option<Millis>,
    pressure: Option<String>,
    waits: u8,
    signed: Option<Millis>,
}

/// A reading as the database tells it: when, whether it counts, pressure, gauges, where the alarm started.
type ToldReading = (Millis, u8, Option<String>, Option<String>, Option<String>);

fn told<T: DeserializeOwned>(table: &'static str, unit: &str, json: &str) -> Result<T, StoreError> {
    serde_json::from_str(json).map_err(|e| unreadable(table, unit, &e))
}

fn narrow(ms: Millis) -> i32 {
    i32::try_from(ms).unwrap_or(if ms < 0 { i32::MIN } else { i32::MAX })
}

fn pressure(text: &str) -> Option<Pressure> {
    text.parse().ok()
}

/// How long a check took, and the least time that its answers take by its form.
pub(super) fn times(check: &Check, at: Millis, form: Option<&Form>) -> (Millis, Option<Millis>) {
    (at.saturating_sub(check.started), form.map(|f| least(f, &check.answers)))
}

impl Store {
    /// The last weeks of units, one after the other.
    pub async fn lately(&self) -> Result<Weeks<'_>, StoreError> {
        Ok(Weeks { store: self, shelf: self.shelf().await? })
    }

    async fn lately_of(&self, unit: &str, (from, to): (Millis, Millis)) -> Result<Lately, StoreError> {
        let words = &self.shelves.words;
        let (checks, against): (String, String) = sqlx::query_as(
            "select (select json_group_array(json_array(c.seq, c.at, c.by, c.profile, c.purpose, c.clean,
                         c.counts, c.took, c.least, c.pressure,
                         exists (select 1 from uncountersigned u where u.seq = c.seq),
                         (select max(d.event_at) from said s join logbook d on d.seq = s.seq
                          where s.id = c.id and d.kind = 'countersigned')) order by c.at, c.seq)
                     from check_row c
                     where c.unit = $1 and c.at >= $3 and c.at < $4 and c.outcome = 'complete'),
                    (select json_group_array(json_array(json(g.detail), g.cleared_at) order by g.key)
                     from ground g where g.asset = $2 and (g.cleared_at is null or g.cleared_at >= $3))",
        )
        .bind(unit)
        .bind(Asset::unit(unit).to_string())
        .bind(from)
        .bind(to)
        .fetch_one(&self.read)
        .await?;
        let mut made = Vec::new();
        for c in told::<Vec<Told>>("check_row", unit, &checks)? {
            let waits = c.counts == 0 && c.waits == 1 && self.stands_though_it_waits(c.seq).await?;
            if c.counts == 0 && !waits {
                continue;
            }
            made.push(Made {
                seq: c.seq,
                at: c.at,
                since: c.signed.map_or(c.at, |signed| signed.max(c.at)),
                by: c.by.map(|by| words.of(&by)),
                profile: words.of(&c.profile),
                took: narrow(c.took.unwrap_or_default()),
                least: c.least.map(narrow),
                pressure: c.pressure.as_deref().and_then(pressure),
                of_bench: [Purpose::Proving, Purpose::Acceptance].iter().any(|p| p.id() == c.purpose),
                clean: c.clean == 1,
                waits,
            });
        }
        made.shrink_to_fit();
        let against = told::<Vec<(Raise, Option<Millis>)>>("ground", unit, &against)?.into_iter();
        let against = against.map(|(raise, until)| (raise.kind, Span { from: raise.at, until })).collect();
        Ok(Lately { since: from, checks: made, against })
    }

    async fn stands_though_it_waits(&self, seq: i64) -> Result<bool, StoreError> {
        match self.check_row(seq).await? {
            Some(check) => self.stands(&check.name).await,
            None => Ok(false),
        }
    }

    /// The readings of a unit's last checks that count and were made by `now`, oldest first; and when the
    /// first of those was made that count and are later than `now`.
    pub async fn readings_of(
        &self,
        unit: &str,
        count: i64,
        now: Millis,
    ) -> Result<(Vec<Taken>, Option<Millis>), StoreError> {
        let rows: String = sqlx::query_scalar(
            "select json_group_array(json_array(at, counts, pressure, gauges, trip) order by at, seq)
             from (select at, seq, counts, pressure, gauges, trip from check_row
                   where unit = $1 order by at desc, seq desc limit $2)",
        )
        .bind(unit)
        .bind(count)
        .fetch_one(&self.read)
        .await?;
        let mut rows = told::<Vec<ToldReading>>("check_row", unit, &rows)?;
        rows.retain(|(_, counts, ..)| *counts == 1);
        let later = rows.partition_point(|(at, ..)| *at <= now);
        let next = rows.get(later).map(|(at, ..)| *at);
        let taken = rows.into_iter().take(later).map(|(at, _, read, gauges, trip)| {
            let gauges = gauges.as_deref().and_then(|g| g.split_once('|'));
            let readings = Readings {
                pressure: read.as_deref().and_then(pressure),
                gauges: gauges.and_then(|(a, b)| pressure(a).zip(pressure(b))),
                trip: trip.as_deref().and_then(pressure),
            };
            Taken { at, readings }
        });
        Ok((taken.collect(), next))
    }

    /// A logbook that is older than these columns has them filled from its records.
    pub(super) async fn catch_up_with_times(&self) -> Result<(), StoreError> {
        loop {
            let mut write = self.begin().await?;
            let rows: Vec<(i64, Vec<u8>)> = sqlx::query_as(
                "select c.seq, l.bytes from check_row c join logbook l on l.seq = c.seq
                 where c.took is null order by c.seq limit $1",
            )
            .bind(AT_ONCE)
            .fetch_all(write.conn().await?)
            .await?;
            if rows.is_empty() {
                return Ok(());
            }
            for some in rows.chunks(TOGETHER) {
                for (seq, bytes) in some {
                    write.fill_times(*seq, bytes)?;
                }
                write.settle().await?;
            }
            write.commit().await?;
        }
    }
}

impl Write {
    fn fill_times(&mut self, seq: i64, bytes: &[u8]) -> Result<(), StoreError> {
        let record = airmuster_domain::record::decode(bytes).map_err(|e| undecodable(seq, &e))?;
        let (took, least) = match &record.body {
            Body::Field(Field::Check(check)) => {
                let form = self.tables().form(&check.rules, &check.profile, check.purpose);
                times(check, record.envelope.time(), form.as_deref())
            }
            _ => (0, None),
        };
        self.later("update check_row set took = ?, least = ? where seq = ?").bind(took).bind(least).bind(seq);
        Ok(())
    }
}

/// The last weeks of units: kept ones, and those that are read because something was written about them.
pub struct Weeks<'a> {
    store: &'a Store,
    shelf: OwnedMutexGuard<Shelf<Lately>>,
}

impl Weeks<'_> {
    /// A unit's checks from a moment on and before another, and what stood against it since then. What lies
    /// further back than is kept is read, and not kept.
    pub async fn of(
        &mut self,
        unit: &str,
        (from, to): (Millis, Millis),
        now: Millis,
    ) -> Result<Week, StoreError> {
        let kept_from = now.saturating_sub(KEPT);
        if from < kept_from {
            let all = Arc::new(self.store.lately_of(unit, (from, to)).await?);
            return Ok(Week { all, from, to });
        }
        let what = Asset::unit(unit).to_string();
        let kept = self.shelf.get(&what).filter(|kept| kept.since <= from).map(Arc::clone);
        let all = match kept {
            Some(all) => all,
            None => self.shelf.put(&what, self.store.lately_of(unit, (kept_from, Millis::MAX)).await?),
        };
        Ok(Week { all, from, to })
    }
}

/// A unit's checks of some time, and what stood against it then or later.
#[derive(Debug, Clone)]
pub struct Week {
    all: Arc<Lately>,
    from: Millis,
    to: Millis,
}

impl Week {
    /// Its complete, signed checks that stand, in the order of their time.
    pub fn checks(&self) -> &[Made] {
        let place = |t: Millis| self.all.checks.partition_point(|c| c.at < t);
        self.all.checks.get(place(self.from)..place(self.to)).unwrap_or_default()
    }

    /// What stood against it then or later, and for how long.
    pub fn against(&self) -> impl Iterator<Item = (Kind, Span)> {
        let ended = |span: &Span| span.until.is_some_and(|until| until < self.from);
        self.all.against.iter().copied().filter(move |(_, span)| !ended(span))
    }
}
