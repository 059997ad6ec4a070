//! What was: where each unit stood, who was on duty, and what answered a ground.

use std::collections::{BTreeMap, HashMap};
use std::sync::Arc;

use airmuster_domain::Millis;
use airmuster_domain::ground::Raise;
use airmuster_domain::record::{Body, Desk, Place, Register};

use super::error::{StoreError, unreadable};
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

/// Who rode in the shifts from a moment on, whoever was relieved in one included.
#[derive(Debug)]
pub struct Ridden {
    since: Millis,
    /// By rig and by when the shift began.
    pub rigs: HashMap<String, BTreeMap<Millis, Vec<Arc<str>>>>,
}

impl Store {
    /// Where all units were, the first first.
    pub async fn placed(&self) -> Result<Arc<Vec<Placed>>, StoreError> {
        self.whole("placed", self.read_placed()).await
    }

    async fn read_placed(&self) -> Result<Vec<Placed>, StoreError> {
        let rows: Vec<(String, Millis, String, String)> =
            sqlx::query_as("select unit, since, at, place from placed order by since, seq")
                .fetch_all(&self.read)
                .await?;
        let placed = |(unit, since, at, place): (String, Millis, String, String)| {
            Some(Placed { unit, since, place: place_of(&at, place)? })
        };
        Ok(rows.into_iter().filter_map(placed).collect())
    }

    /// Who rode in the shifts from a moment on.
    pub async fn ridden_since(&self, from: Millis) -> Result<Arc<Ridden>, StoreError> {
        let mut crews = self.shelf::<Ridden>().await?;
        // One that begins a little earlier does as well: what is kept is read anew when crews change.
        if let Some(kept) = crews.get("crews").filter(|kept| kept.since <= from) {
            return Ok(Arc::clone(kept));
        }
        let rows: String = sqlx::query_scalar(
            "select json_group_array(json_array(rig, shift, member)) from ridden where shift >= $1",
        )
        .bind(from)
        .fetch_one(&self.read)
        .await?;
        let rows: Vec<(String, Millis, String)> =
            serde_json::from_str(&rows).map_err(|e| unreadable("ridden", "all", &e))?;
        let mut rigs: HashMap<String, BTreeMap<Millis, Vec<Arc<str>>>> = HashMap::new();
        for (rig, shift, member) in rows {
            let member = self.shelves.words.of(&member);
            rigs.entry(rig).or_default().entry(shift).or_default().push(member);
        }
        Ok(crews.put("crews", Ridden { since: from, rigs }))
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

    /// The records that say which parts units have had, oldest first. Few among all: they are read at once.
    pub async fn parts_records(&self) -> Result<Vec<Kept>, StoreError> {
        let rows: Vec<(i64, Millis, Vec<u8>)> = sqlx::query_as(
            "select seq, received_at, bytes from logbook
             where kind <> 'check' and kind in ('register', 'fitting', 'loan') order by seq",
        )
        .fetch_all(&self.read)
        .await?;
        rows.into_iter().map(logbook::kept).collect()
    }

    /// A logbook that is older than this memory has it made from its records.
    pub(super) async fn catch_up_with_places(&self) -> Result<(), StoreError> {
        let mut write = self.begin().await?;
        let (kept, records): (bool, bool) =
            sqlx::query_as("select exists (select 1 from placed), exists (select 1 from logbook)")
                .fetch_one(write.conn().await?)
                .await?;
        if kept || !records {
            return Ok(());
        }
        let seqs: Vec<i64> = sqlx::query_scalar(
            "select seq from logbook where kind <> 'check' and kind in ('register', 'moved', 'loan', 'loan_ended') order by seq",
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
        // The migration that follows from where units stood found nothing to follow from.
        sqlx::raw_sql(include_str!("../../migrations/0019_ridden_meanwhile.sql"))
            .execute(write.conn().await?)
            .await?;
        write.commit().await
    }

    /// A logbook that is older than the memory of who rode has it made from its records.
    pub(super) async fn catch_up_with_crews(&self) -> Result<(), StoreError> {
        let mut write = self.begin().await?;
        let (kept, crews): (bool, bool) =
            sqlx::query_as("select exists (select 1 from ridden), exists (select 1 from crew_seat)")
                .fetch_one(write.conn().await?)
                .await?;
        if kept || !crews {
            return Ok(());
        }
        let seqs: Vec<i64> = sqlx::query_scalar(
            "select seq from logbook where kind <> 'check' and kind in ('crew', 'left') order by seq",
        )
        .fetch_all(write.conn().await?)
        .await?;
        for seq in seqs {
            let Some(Kept { record, .. }) = logbook::by_seq(write.conn().await?, seq).await? else {
                continue;
            };
            match &record.body {
                Body::Desk(Desk::Crew(c)) => write.write_ridden(c).await?,
                Body::Desk(Desk::Left(l)) => write.forget_ridden(l).await?,
                _ => {}
            }
        }
        write.commit().await
    }
}
