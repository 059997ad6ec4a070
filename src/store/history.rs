//! What pages ask about one thing: everything that was recorded about it, where it is, which
//! record is which.

use airmuster_domain::record::{Asset, Digest, Place, RecordRef};
use uuid::Uuid;

use super::error::StoreError;
use super::logbook::{self, Kept, digest_of};
use super::open::Store;
use super::register::place_of;

/// A record's link in the chain.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Link {
    /// The link before.
    pub previous: Digest,
    /// This link.
    pub hash: Digest,
}

impl Store {
    /// Everything recorded about an asset, newest first: records about it, what happened on its
    /// tickets, and what the desk has said about its records.
    pub async fn history(&self, asset: &Asset, count: i64) -> Result<Vec<Kept>, StoreError> {
        let mut conn = self.read.acquire().await?;
        let seqs: Vec<i64> = sqlx::query_scalar(
            "select seq from logbook where seq in (
                 select seq from about where asset = $1
                 union select e.seq from ticket_entry e join ticket t on t.ticket = e.ticket where t.asset = $1
                 union select s.seq from said s where s.id in
                     (select l.id from about a join logbook l on l.seq = a.seq where a.asset = $1))
             order by event_at desc, seq desc limit $2",
        )
        .bind(asset.to_string())
        .bind(count)
        .fetch_all(&mut *conn)
        .await?;
        logbook::all_by_seq(&mut conn, seqs).await
    }

    /// What the desk has said about a record id, oldest first.
    pub async fn said(&self, id: Uuid) -> Result<Vec<Kept>, StoreError> {
        let mut conn = self.read.acquire().await?;
        let seqs: Vec<i64> = sqlx::query_scalar("select seq from said where id = $1 order by seq")
            .bind(id.hyphenated().to_string())
            .fetch_all(&mut *conn)
            .await?;
        logbook::all_by_seq(&mut conn, seqs).await
    }

    /// A record's number in the logbook.
    pub async fn seq_of(&self, name: &RecordRef) -> Result<Option<i64>, StoreError> {
        Ok(sqlx::query_scalar("select seq from logbook where id = $1 and digest = $2")
            .bind(name.id.hyphenated().to_string())
            .bind(&name.digest.0[..])
            .fetch_optional(&self.read)
            .await?)
    }

    /// A record's link in the chain.
    pub async fn link_of(&self, seq: i64) -> Result<Option<Link>, StoreError> {
        let row: Option<(Vec<u8>, Vec<u8>)> =
            sqlx::query_as("select previous, hash from logbook where seq = $1")
                .bind(seq)
                .fetch_optional(&self.read)
                .await?;
        let digest = |bytes: &[u8]| digest_of(bytes, "logbook", &seq.to_string());
        row.map(|(p, h)| Ok(Link { previous: digest(&p)?, hash: digest(&h)? })).transpose()
    }

    /// Where an asset is.
    pub async fn place(&self, asset: &Asset) -> Result<Option<Place>, StoreError> {
        let row: Option<(String, String)> = sqlx::query_as("select at, place from holder where asset = $1")
            .bind(asset.to_string())
            .fetch_optional(&self.read)
            .await?;
        Ok(row.and_then(|(at, place)| place_of(&at, place)))
    }
}
