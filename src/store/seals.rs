//! Sealed signatures that wait to be opened, and what came of them: beside the logbook.

use std::collections::HashMap;

use airmuster_domain::Millis;
use airmuster_domain::record::Digest;

use super::error::{StoreError, unreadable};
use super::open::Store;
use super::write::Write;

/// What came of a seal.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Opened {
    /// The PIN was the signer's.
    Proven,
    /// It was not.
    Wrong,
    /// It was made for another record or tablet, altered, or is no seal.
    Foreign,
    /// It was made for a key that this server does not have.
    OtherKey,
    /// The signature was proven or settled in another way before it was opened.
    LetGo,
}

impl Opened {
    const ALL: [Self; 5] = [Self::Proven, Self::Wrong, Self::Foreign, Self::OtherKey, Self::LetGo];

    const fn id(self) -> &'static str {
        match self {
            Self::Proven => "proven",
            Self::Wrong => "wrong",
            Self::Foreign => "foreign",
            Self::OtherKey => "other-key",
            Self::LetGo => "let-go",
        }
    }

    fn from_id(seq: i64, id: &str) -> Result<Self, StoreError> {
        let known = Self::ALL.into_iter().find(|o| o.id() == id);
        known.ok_or_else(|| unreadable("seal", &seq.to_string(), &"its outcome is not known"))
    }

    /// Whether an officer must hear of it.
    pub const fn raises(self) -> bool {
        matches!(self, Self::Wrong | Self::Foreign)
    }
}

/// A seal that waits, with the number of its record.
#[derive(Debug, Clone, PartialEq, Eq, sqlx::FromRow)]
pub struct Waiting {
    /// The record.
    pub seq: i64,
    /// The seal as it was sent.
    pub bytes: Vec<u8>,
    /// Whether its signature is still to be proven.
    pub wanted: bool,
}

impl Write {
    /// Keeps the seal of a check whose signature is to be proven. The first one stands: each check
    /// has one try. Answers whether this one is the first.
    pub async fn keep_seal(&mut self, seq: i64, seal: &[u8], now: Millis) -> Result<bool, StoreError> {
        let mark = Digest::of(seal);
        sqlx::query(
            "insert into seal (seq, received_at, mark, bytes)
             select $1, $2, $3, $4 where exists (select 1 from unproven where seq = $1)
             on conflict (seq) do nothing",
        )
        .bind(seq)
        .bind(now)
        .bind(&mark.0[..])
        .bind(seal)
        .execute(self.conn().await?)
        .await?;
        let first: Option<Vec<u8>> = sqlx::query_scalar("select mark from seal where seq = $1")
            .bind(seq)
            .fetch_optional(self.conn().await?)
            .await?;
        Ok(first.is_none_or(|m| m == mark.0))
    }

    /// Notes what came of a seal and throws it away.
    pub async fn end_seal(&mut self, seq: i64, outcome: Opened) -> Result<(), StoreError> {
        sqlx::query("update seal set bytes = null, outcome = $1, told = $2 where seq = $3")
            .bind(outcome.id())
            .bind(!outcome.raises())
            .bind(seq)
            .execute(self.conn().await?)
            .await?;
        Ok(())
    }

    /// Notes that the logbook knows what came of a seal.
    pub async fn told_of_seal(&mut self, seq: i64) -> Result<(), StoreError> {
        sqlx::query("update seal set told = 1 where seq = $1").bind(seq).execute(self.conn().await?).await?;
        Ok(())
    }
}

impl Store {
    /// Seals that wait, oldest first.
    pub async fn waiting_seals(&self) -> Result<Vec<Waiting>, StoreError> {
        Ok(sqlx::query_as(
            "select s.seq, s.bytes, exists (select 1 from unproven u where u.seq = s.seq) as wanted
             from seal s where s.bytes is not null order by s.seq",
        )
        .fetch_all(&self.read)
        .await?)
    }

    /// Seals of which the logbook should know what came of them, and does not yet.
    pub async fn untold_seals(&self) -> Result<Vec<(i64, Opened)>, StoreError> {
        let rows: Vec<(i64, String)> = sqlx::query_as(
            "select seq, outcome from seal where outcome is not null and told = 0 order by seq",
        )
        .fetch_all(&self.read)
        .await?;
        rows.into_iter().map(|(seq, id)| Ok((seq, Opened::from_id(seq, &id)?))).collect()
    }

    /// Of the checks whose signature is to be proven, those that came with a seal, and what came
    /// of it; nothing yet while it waits.
    pub async fn seals_of_unproven(&self) -> Result<HashMap<i64, Option<Opened>>, StoreError> {
        let rows: Vec<(i64, Option<String>)> =
            sqlx::query_as("select s.seq, s.outcome from seal s join unproven u on u.seq = s.seq")
                .fetch_all(&self.read)
                .await?;
        rows.into_iter()
            .map(|(seq, id)| Ok((seq, id.map(|id| Opened::from_id(seq, &id)).transpose()?)))
            .collect()
    }
}
