//! Rule tables: those that were in force, from the logbook, and drafts beside it.

use airmuster_domain::Millis;
use airmuster_domain::record::{Body, Desk, Digest, RecordRef, RulesInForce};

use super::error::StoreError;
use super::logbook::{self, Kept, by_digest, kept};
use super::open::Store;
use super::write::Write;

/// A table that came into force at some time.
#[derive(Debug, Clone, PartialEq, Eq, sqlx::FromRow)]
pub struct RuleRow {
    /// SHA-256 of its text, in hexadecimal.
    pub digest: String,
    /// What the department calls it.
    pub name: String,
    /// Its edition.
    pub edition: String,
    /// Its text.
    pub text: String,
    /// The record that last put it in force.
    pub seq: i64,
    /// When that was.
    pub at: Millis,
    /// Who did.
    pub by: Option<String>,
}

/// A table that was uploaded.
#[derive(Debug, Clone, Default, PartialEq, Eq, sqlx::FromRow)]
pub struct RuleDraft {
    /// SHA-256 of its text, in hexadecimal.
    pub digest: String,
    /// Its text.
    pub text: String,
    /// Who uploaded it.
    pub by: String,
    /// When.
    pub at: Millis,
    /// When it is to come into force.
    pub starts_at: Option<Millis>,
    /// Whether last checks are looked at again then.
    pub again: bool,
    /// For how many hours checks made with another table still count then; for ever without.
    pub grace_hours: Option<i64>,
    /// Who said so.
    pub planned_by: Option<String>,
    /// Why it did not come into force.
    pub refused: Option<String>,
}

impl Write {
    /// Keeps a draft; the same text again takes the place of the first.
    pub async fn keep_draft(&mut self, d: &RuleDraft) -> Result<(), StoreError> {
        sqlx::query(
            "insert into rule_draft (digest, text, by, at, starts_at, again, planned_by, refused, grace_hours)
             values ($1, $2, $3, $4, $5, $6, $7, $8, $9)
             on conflict (digest) do update set by = excluded.by, at = excluded.at, starts_at = excluded.starts_at,
                 again = excluded.again, planned_by = excluded.planned_by, refused = excluded.refused,
                 grace_hours = excluded.grace_hours",
        )
        .bind(&d.digest)
        .bind(&d.text)
        .bind(&d.by)
        .bind(d.at)
        .bind(d.starts_at)
        .bind(d.again)
        .bind(&d.planned_by)
        .bind(&d.refused)
        .bind(d.grace_hours)
        .execute(self.conn().await?)
        .await?;
        Ok(())
    }

    /// Whether the time of a rule table was over at this moment: another one had come into force since it
    /// last did, and for longer than was granted then.
    pub async fn is_over(&mut self, table: &Digest, at: Millis) -> Result<bool, StoreError> {
        let last: Option<i64> = sqlx::query_scalar("select seq from rule_table where digest = $1")
            .bind(table.to_string())
            .fetch_optional(self.conn().await?)
            .await?;
        let next: Option<i64> = sqlx::query_scalar(
            "select seq from logbook where kind = 'rules' and seq > $1 order by seq limit 1",
        )
        .bind(last.unwrap_or(0))
        .fetch_optional(self.conn().await?)
        .await?;
        let Some(next) = next else { return Ok(false) };
        let replaced = logbook::all_by_seq(self.conn().await?, vec![next]).await?;
        Ok(replaced.iter().any(|k| match &k.record.body {
            Body::Desk(Desk::Rules(RulesInForce { grace_hours: Some(hours), .. })) => {
                at > k.record.envelope.time().saturating_add(i64::from(*hours) * 3_600_000)
            }
            _ => false,
        }))
    }

    /// Throws a draft away.
    pub async fn drop_draft(&mut self, digest: &str) -> Result<(), StoreError> {
        sqlx::query("delete from rule_draft where digest = $1")
            .bind(digest)
            .execute(self.conn().await?)
            .await?;
        Ok(())
    }
}

impl Store {
    /// Tables that were in force, the newest first.
    pub async fn rule_tables(&self) -> Result<Vec<RuleRow>, StoreError> {
        let rows: Vec<RuleRow> = sqlx::query_as(
            "select r.digest, r.name, r.edition, r.text, r.seq, l.event_at as at, null as by
             from rule_table r join logbook l on l.seq = r.seq order by r.seq desc",
        )
        .fetch_all(&self.read)
        .await?;
        let mut out = Vec::with_capacity(rows.len());
        for mut row in rows {
            row.by = self.record(row.seq).await?.and_then(|k| k.record.envelope.by);
            out.push(row);
        }
        Ok(out)
    }

    /// Drafts, the newest first.
    pub async fn rule_drafts(&self) -> Result<Vec<RuleDraft>, StoreError> {
        Ok(sqlx::query_as("select * from rule_draft order by at desc, digest").fetch_all(&self.read).await?)
    }

    /// Complete checks made since then, oldest first.
    pub async fn check_records_since(&self, at: Millis) -> Result<Vec<Kept>, StoreError> {
        let rows: Vec<(i64, Millis, Vec<u8>)> = sqlx::query_as(
            "select l.seq, l.received_at, l.bytes from check_row c join logbook l on l.seq = c.seq
             where c.at >= $1 and c.outcome = 'complete' order by c.at, c.seq",
        )
        .bind(at)
        .fetch_all(&self.read)
        .await?;
        rows.into_iter().map(kept).collect()
    }

    /// A check by its name.
    pub async fn check_named(&self, name: &RecordRef) -> Result<Option<Kept>, StoreError> {
        let mut conn = self.read.acquire().await?;
        Ok(by_digest(&mut conn, &name.digest).await?.filter(|k| k.record.name == *name))
    }
}
