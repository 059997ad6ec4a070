//! What is known of upkeep, kept as the domain tells it, and the entries that it came from.

use std::collections::BTreeSet;
use std::sync::Arc;

use airmuster_domain::Millis;
use airmuster_domain::record::{Asset, Body, Desk, Fitting, Loan, LoanEnded, Record};
use airmuster_domain::upkeep::{Thing, Upkeep};
use sqlx::sqlite::SqliteConnection;

use super::error::{StoreError, unreadable};
use super::logbook::{self, Kept};
use super::open::Store;
use super::write::Write;

const PERIODS: &str = "periods";
const SOURCE: &str = "source/";
const MEMBER: &str = "member/";
const APPROVAL: &str = "approval/";
const NOTICE: &str = "notice/";

/// What a row of `upkeep` adds to the whole.
fn take(all: &mut Upkeep, (key, detail): &(String, String)) -> Result<(), StoreError> {
    let bad = |e: &dyn std::fmt::Display| unreadable("upkeep", key, &e.to_string());
    if key == PERIODS {
        all.periods = serde_json::from_str(detail).map_err(|e| bad(&e))?;
    } else if let Some(id) = key.strip_prefix(SOURCE) {
        all.sources.insert(id.to_owned(), serde_json::from_str(detail).map_err(|e| bad(&e))?);
    } else if let Some(id) = key.strip_prefix(MEMBER) {
        all.qualified.insert(id.to_owned(), serde_json::from_str(detail).map_err(|e| bad(&e))?);
    } else if let Some(id) = key.strip_prefix(APPROVAL) {
        all.approvals.insert(id.to_owned(), serde_json::from_str(detail).map_err(|e| bad(&e))?);
    } else if let Some(id) = key.strip_prefix(NOTICE) {
        all.notices.insert(id.to_owned(), serde_json::from_str(detail).map_err(|e| bad(&e))?);
    } else {
        let asset: Asset = key.parse().map_err(|e| bad(&e))?;
        all.things.insert(asset, serde_json::from_str(detail).map_err(|e| bad(&e))?);
    }
    Ok(())
}

/// The sources, the periods, the notices, one asset, and what is fitted to it.
pub(super) async fn about_one(conn: &mut SqliteConnection, asset: &Asset) -> Result<Upkeep, StoreError> {
    let rows: Vec<(String, String)> = sqlx::query_as(
        "select key, detail from upkeep where key = $1 or key = $3 or (key >= $4 and key < $4 || x'7f')
            or (key >= $5 and key < $5 || x'7f')
            or key in (select asset from holder where at = 'with' and place = $2)",
    )
    .bind(asset.to_string())
    .bind(&asset.number)
    .bind(PERIODS)
    .bind(SOURCE)
    .bind(NOTICE)
    .fetch_all(conn)
    .await?;
    gathered(&rows)
}

fn gathered(rows: &[(String, String)]) -> Result<Upkeep, StoreError> {
    let mut all = Upkeep::default();
    for row in rows {
        take(&mut all, row)?;
    }
    Ok(all)
}

/// The unit of a loan or its end.
fn loaned(desk: &Desk) -> Option<&String> {
    match desk {
        Desk::Loan(Loan::Lent { unit, .. }) | Desk::LoanEnded(LoanEnded { unit, .. }) => Some(unit),
        _ => None,
    }
}

impl Write {
    /// The unit on which a part of this serial is, but for one unit.
    pub async fn fitted_on(&mut self, f: &Fitting) -> Result<Option<String>, StoreError> {
        let Some(part) = &f.part else { return Ok(None) };
        let rows: Vec<(String, String)> = sqlx::query_as(
            "select key, detail from upkeep where key like 'unit:%' and instr(detail, $1) > 0",
        )
        .bind(part.serial.as_str())
        .fetch_all(self.conn().await?)
        .await?;
        let there = gathered(&rows)?.things.into_iter().find(|(a, t)| {
            let same = t.parts.get(&f.slot).is_some_and(|p| p.part.serial == part.serial);
            same && a.number != f.unit && !t.gone
        });
        Ok(there.map(|(a, _)| a.number))
    }

    /// What is known of one thing.
    pub(super) async fn thing(&mut self, asset: &Asset) -> Result<Option<Thing>, StoreError> {
        let row: Option<(String, String)> = sqlx::query_as("select key, detail from upkeep where key = $1")
            .bind(asset.to_string())
            .fetch_optional(self.conn().await?)
            .await?;
        let mut all = Upkeep::default();
        row.iter().try_for_each(|row| take(&mut all, row))?;
        Ok(all.things.remove(asset))
    }

    /// What is fitted to a unit.
    pub async fn with_unit(&mut self, unit: &str) -> Result<Vec<Asset>, StoreError> {
        let rows: Vec<String> =
            sqlx::query_scalar("select asset from holder where at = 'with' and place = $1")
                .bind(unit)
                .fetch_all(self.conn().await?)
                .await?;
        rows.iter().map(|a| a.parse().map_err(|e| unreadable("holder", a, &e))).collect()
    }

    /// What is known of the things and sources that a desk record speaks of.
    pub async fn upkeep_about(&mut self, desk: &Desk) -> Result<Upkeep, StoreError> {
        let rows: Vec<(String, String)> = sqlx::query_as(
            "select key, detail from upkeep
             where key = $1 or (key >= $2 and key < $2 || x'7f') or (key >= $3 and key < $3 || x'7f')
                or (key >= $4 and key < $4 || x'7f') or (key >= $5 and key < $5 || x'7f')",
        )
        .bind(PERIODS)
        .bind(SOURCE)
        .bind(MEMBER)
        .bind(APPROVAL)
        .bind(NOTICE)
        .fetch_all(self.conn().await?)
        .await?;
        let mut all = gathered(&rows)?;
        let mut about = all.about(desk).unwrap_or_default();
        if let Some(unit) = loaned(desk) {
            about.extend(self.with_unit(unit).await?);
        }
        for asset in about {
            let row: Option<(String, String)> =
                sqlx::query_as("select key, detail from upkeep where key = $1")
                    .bind(asset.to_string())
                    .fetch_optional(self.conn().await?)
                    .await?;
            row.iter().try_for_each(|row| take(&mut all, row))?;
        }
        Ok(all)
    }

    /// Brings what is known of upkeep up to date with a desk record.
    pub(super) async fn write_upkeep(
        &mut self,
        desk: &Desk,
        record: &Record,
        seq: i64,
    ) -> Result<(), StoreError> {
        if Upkeep::default().about(desk).is_none() {
            return Ok(());
        }
        let before = self.upkeep_about(desk).await?;
        let mut after = before.clone();
        after.hear(desk, record.envelope.time());
        self.keep_upkeep(&before, &after).await?;
        let about = match desk {
            Desk::Upkeep(u) => u.asset.to_string(),
            Desk::Fill(f) => Asset::cylinder(&f.cylinder).to_string(),
            Desk::AirSample(s) => format!("{SOURCE}{}", s.source),
            _ => return Ok(()),
        };
        sqlx::query("insert into upkeep_entry (seq, kind, about, at) values ($1, $2, $3, $4)")
            .bind(seq)
            .bind(&record.envelope.kind)
            .bind(about)
            .bind(record.envelope.time())
            .execute(self.conn().await?)
            .await?;
        Ok(())
    }

    async fn keep_upkeep(&mut self, before: &Upkeep, after: &Upkeep) -> Result<(), StoreError> {
        let bad = |key: &str, e: serde_json::Error| unreadable("upkeep", key, &e);
        let mut rows: Vec<(String, String)> = Vec::new();
        for (asset, thing) in after.things.iter().filter(|(a, t)| before.things.get(*a) != Some(*t)) {
            let key = asset.to_string();
            rows.push((key.clone(), serde_json::to_string(thing).map_err(|e| bad(&key, e))?));
        }
        for (id, source) in after.sources.iter().filter(|(i, s)| before.sources.get(*i) != Some(*s)) {
            let key = format!("{SOURCE}{id}");
            rows.push((key.clone(), serde_json::to_string(source).map_err(|e| bad(&key, e))?));
        }
        for (id, until) in after.qualified.iter().filter(|(i, u)| before.qualified.get(*i) != Some(*u)) {
            let key = format!("{MEMBER}{id}");
            rows.push((key.clone(), serde_json::to_string(until).map_err(|e| bad(&key, e))?));
        }
        for (id, names) in after.approvals.iter().filter(|(i, n)| before.approvals.get(*i) != Some(*n)) {
            let key = format!("{APPROVAL}{id}");
            rows.push((key.clone(), serde_json::to_string(names).map_err(|e| bad(&key, e))?));
        }
        for (id, noticed) in after.notices.iter().filter(|(i, n)| before.notices.get(*i) != Some(*n)) {
            let key = format!("{NOTICE}{id}");
            rows.push((key.clone(), serde_json::to_string(noticed).map_err(|e| bad(&key, e))?));
        }
        if before.periods != after.periods {
            let text = serde_json::to_string(&after.periods).map_err(|e| bad(PERIODS, e))?;
            rows.push((PERIODS.to_owned(), text));
        }
        for (key, detail) in rows {
            sqlx::query(
                "insert into upkeep (key, detail) values ($1, $2)
                 on conflict (key) do update set detail = excluded.detail",
            )
            .bind(key)
            .bind(detail)
            .execute(self.conn().await?)
            .await?;
        }
        Ok(())
    }
}

impl Store {
    /// Everything known of upkeep.
    pub async fn upkeep(&self) -> Result<Arc<Upkeep>, StoreError> {
        self.whole("upkeep", self.read_upkeep()).await
    }

    async fn read_upkeep(&self) -> Result<Upkeep, StoreError> {
        let rows: Vec<(String, String)> =
            sqlx::query_as("select key, detail from upkeep").fetch_all(&self.read).await?;
        gathered(&rows)
    }

    /// What is known of one thing.
    pub async fn thing(&self, asset: &Asset) -> Result<Thing, StoreError> {
        let row: Option<(String, String)> = sqlx::query_as("select key, detail from upkeep where key = $1")
            .bind(asset.to_string())
            .fetch_optional(&self.read)
            .await?;
        let mut all = Upkeep::default();
        row.iter().try_for_each(|row| take(&mut all, row))?;
        Ok(all.things.remove(asset).unwrap_or_default())
    }

    /// The last entries of these kinds, newest first: of one asset or source, or of all.
    pub async fn upkeep_entries(
        &self,
        kinds: &[&str],
        about: Option<&str>,
        count: i64,
    ) -> Result<Vec<Kept>, StoreError> {
        let mut conn = self.read.acquire().await?;
        let rows: Vec<(i64, String)> = sqlx::query_as(
            "select seq, kind from upkeep_entry where $1 is null or about = $1 order by at desc, seq desc limit 2000",
        )
        .bind(about)
        .fetch_all(&mut *conn)
        .await?;
        let wanted: BTreeSet<&str> = kinds.iter().copied().collect();
        let seqs = rows.into_iter().filter(|(_, kind)| wanted.contains(kind.as_str())).map(|(seq, _)| seq);
        logbook::all_by_seq(&mut conn, seqs.take(usize::try_from(count).unwrap_or(0))).await
    }

    /// All entries of a kind that were written from a moment on, oldest first.
    pub async fn upkeep_since(&self, kind: &str, from: Millis) -> Result<Vec<Kept>, StoreError> {
        let mut conn = self.read.acquire().await?;
        let seqs: Vec<i64> =
            sqlx::query_scalar("select seq from upkeep_entry where kind = $1 and at >= $2 order by at, seq")
                .bind(kind)
                .bind(from)
                .fetch_all(&mut *conn)
                .await?;
        logbook::all_by_seq(&mut conn, seqs).await
    }

    /// A logbook that is older than what is kept of upkeep has it made from its records.
    pub(super) async fn catch_up_with_upkeep(&self) -> Result<(), StoreError> {
        let mut write = self.begin().await?;
        let (kept, homes, records): (bool, bool, bool) = sqlx::query_as(
            "select exists (select 1 from upkeep), exists (select 1 from home), exists (select 1 from logbook)",
        )
        .fetch_one(write.conn().await?)
        .await?;
        if kept || !records {
            return Ok(());
        }
        let seqs: Vec<i64> = sqlx::query_scalar(
            "select seq from logbook where kind <> 'check' and kind in ('register', 'retired', 'condemned', 'upkeep', 'fill',
                    'cylinder_read', 'air_sample', 'moved', 'loan', 'loan_ended', 'fitting', 'notice', 'notice_done', 'notice_ended',
                    'left') order by seq",
        )
        .fetch_all(write.conn().await?)
        .await?;
        let mut all = Upkeep::default();
        for seq in seqs {
            if let Some(Kept { record, .. }) = logbook::by_seq(write.conn().await?, seq).await?
                && let Body::Desk(desk) = &record.body
            {
                all.hear(desk, record.envelope.time());
                for entry in desk.entries().iter().filter(|_| !homes) {
                    write.remember_home(entry).await?;
                }
            }
        }
        write.keep_upkeep(&Upkeep::default(), &all).await?;
        write.commit().await
    }
}
