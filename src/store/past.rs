//! What was: where each unit stood, who was on duty, and what answered a ground.

use std::collections::BTreeMap;

use airmuster_domain::Millis;
use airmuster_domain::ground::Raise;
use airmuster_domain::record::{Body, Desk, Place, Register};

use super::error::StoreError;
use super::logbook::{self, Kept};
use super::open::Store;
use super::register::place_of;

/// From when on a unit was somewhere.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Placed {
    /// Its number.
    pub unit: String,
    /// From when on.
    pub since: Millis,
    /// Where.
    pub place: Place,
}

/// A seat ridden in a shift.
#[derive(Debug, Clone, PartialEq, Eq, sqlx::FromRow)]
pub struct Ridden {
    /// When the shift began.
    pub shift: Millis,
    /// The rig.
    pub rig: String,
    /// Who was on it.
    pub member: String,
}

impl Store {
    /// Where all units were, the first first.
    pub async fn placed(&self) -> Result<Vec<Placed>, StoreError> {
        let rows: Vec<(String, Millis, String, String)> =
            sqlx::query_as("select unit, since, at, place from placed order by since, seq")
                .fetch_all(&self.read)
                .await?;
        let placed = |(unit, since, at, place): (String, Millis, String, String)| {
            Some(Placed { unit, since, place: place_of(&at, place)? })
        };
        Ok(rows.into_iter().filter_map(placed).collect())
    }

    /// When which check, made from a moment on and before another, was countersigned; by its number.
    pub async fn countersigned(
        &self,
        (from, to): (Millis, Millis),
    ) -> Result<BTreeMap<i64, Millis>, StoreError> {
        let rows: Vec<(i64, Millis)> = sqlx::query_as(
            "select c.seq, d.event_at from logbook d join said s on s.seq = d.seq join check_row c on c.id = s.id
             where d.kind = 'countersigned' and d.kind <> 'check' and d.event_at >= $1 - 120000
                   and c.at >= $1 and c.at < $2",
        )
        .bind(from)
        .bind(to)
        .fetch_all(&self.read)
        .await?;
        Ok(rows.into_iter().collect())
    }

    /// Who rode in the shifts from a moment on.
    pub async fn ridden_since(&self, from: Millis) -> Result<Vec<Ridden>, StoreError> {
        Ok(sqlx::query_as("select shift, rig, member from crew_seat where shift >= $1")
            .bind(from)
            .fetch_all(&self.read)
            .await?)
    }

    /// The records that answer a ground: a return that lists it, a check whose signer knew of it.
    pub async fn answers_to(&self, raise: &Raise) -> Result<Vec<Kept>, StoreError> {
        let mut conn = self.read.acquire().await?;
        let seqs: Vec<i64> =
            sqlx::query_scalar("select seq from claim where asset = $1 and key = $2 order by seq")
                .bind(raise.asset.to_string())
                .bind(&raise.key)
                .fetch_all(&mut *conn)
                .await?;
        logbook::all_by_seq(&mut conn, seqs).await
    }

    /// A logbook that is older than this memory has it made from its records.
    pub(super) async fn catch_up_with_places(&self) -> Result<(), StoreError> {
        let mut write = self.begin().await?;
        let (kept, records): (i64, i64) =
            sqlx::query_as("select (select count(*) from placed), (select count(*) from logbook)")
                .fetch_one(write.conn().await?)
                .await?;
        if kept > 0 || records == 0 {
            return Ok(());
        }
        let seqs: Vec<i64> = sqlx::query_scalar(
            "select seq from logbook where kind in ('register', 'moved', 'loan', 'loan_ended') order by seq",
        )
        .fetch_all(write.conn().await?)
        .await?;
        for seq in seqs {
            let Some(Kept { record, .. }) = logbook::by_seq(write.conn().await?, seq).await? else {
                continue;
            };
            let at = record.envelope.time();
            match &record.body {
                Body::Desk(Desk::Moved(m)) => {
                    for one in &m.moves {
                        write.write_placed(&one.asset, &one.to, at, seq).await?;
                    }
                }
                Body::Desk(desk) => {
                    for entry in desk.entries().iter() {
                        if let Register::Holder { asset, place } = entry {
                            write.write_placed(asset, place, at, seq).await?;
                        }
                    }
                }
                Body::Field(_) => {}
            }
        }
        write.commit().await
    }
}
