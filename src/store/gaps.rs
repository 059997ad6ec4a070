//! Where the records of a tablet do not follow one another.

use airmuster_domain::Millis;
use airmuster_domain::record::{GapDealt, Misfit};

use super::error::StoreError;
use super::logbook::Kept;
use super::open::Store;
use super::write::Write;

/// A record that does not follow the one before it on its tablet.
#[derive(Debug, Clone, PartialEq, Eq, sqlx::FromRow)]
pub struct Misstep {
    /// The tablet.
    pub tablet: String,
    /// Which life of its storage.
    pub incarnation: Option<String>,
    /// The tablet's own count of this record.
    pub number: i64,
    /// The next lower number that is here; 0 where there is none.
    pub prior: i64,
    /// Whether another record with the same number was here first.
    pub twice: bool,
    /// Whether it names a record before it which is not the one that is here.
    pub breaks: bool,
    /// When it was received.
    pub received: Millis,
}

/// One life of a tablet's storage.
#[derive(Debug, Clone, PartialEq, Eq, sqlx::FromRow)]
pub struct Life {
    /// The tablet.
    pub tablet: String,
    /// Which life.
    pub incarnation: Option<String>,
    /// The highest number that is here.
    pub last: i64,
    /// When its first record was received.
    pub began: Millis,
}

impl Write {
    /// Whether something has arrived of a tablet at which this gap can show.
    pub async fn can_show(&mut self, gap: &GapDealt) -> Result<bool, StoreError> {
        let least = match gap.what {
            Misfit::Missing { to, .. } => to.saturating_add(1),
            Misfit::Twice { number } | Misfit::Breaks { number } => number,
            Misfit::BeganAnew { .. } => 1,
        };
        Ok(sqlx::query_scalar(
            "select exists (select 1 from logbook where tablet = $1 and incarnation is $2 and number >= $3)",
        )
        .bind(&gap.tablet)
        .bind(gap.incarnation.map(|i| i.hyphenated().to_string()))
        .bind(i64::try_from(least).unwrap_or(i64::MAX))
        .fetch_one(self.conn().await?)
        .await?)
    }
}

impl Store {
    /// Every record that does not follow the one before it, oldest first.
    ///
    /// Numbers are compared within the index; only the name of the record before is read from the
    /// bytes, as these are what the tablet signed for.
    pub async fn missteps(&self) -> Result<Vec<Misstep>, StoreError> {
        Ok(sqlx::query_as(
            "with step as (
                 select tablet, incarnation, number, seq, received_at,
                        case when json_valid(cast(bytes as text))
                             then json_extract(cast(bytes as text), '$.before') end as before,
                        coalesce((select max(p.number) from logbook p
                                  where p.tablet = l.tablet and p.incarnation is l.incarnation
                                    and p.number < l.number), 0) as prior
                 from logbook l where number is not null
             ), weighed as (
                 select *,
                        exists (select 1 from logbook p
                                where p.tablet = s.tablet and p.incarnation is s.incarnation
                                  and p.number = s.number and p.seq < s.seq) as twice,
                        case when number = 1 then before is not null
                             when prior = number - 1 then before is null or not exists (
                                 select 1 from logbook p
                                 where p.tablet = s.tablet and p.incarnation is s.incarnation
                                   and p.number = s.prior and lower(hex(p.digest)) = s.before)
                             else 0 end as breaks
                 from step s
             )
             select tablet, incarnation, number, prior, twice, breaks, received_at as received
             from weighed where number - prior > 1 or twice or breaks order by seq",
        )
        .fetch_all(&self.read)
        .await?)
    }

    /// What was found out about gaps, newest first.
    pub async fn gaps_dealt(&self) -> Result<Vec<Kept>, StoreError> {
        let seqs: Vec<i64> =
            sqlx::query_scalar("select seq from gap_dealt order by seq desc").fetch_all(&self.read).await?;
        let mut out = Vec::with_capacity(seqs.len());
        for seq in seqs {
            out.extend(self.record(seq).await?);
        }
        Ok(out)
    }

    /// The lives of each tablet that had more than one, in the order in which they began.
    pub async fn tablet_lives(&self) -> Result<Vec<Life>, StoreError> {
        Ok(sqlx::query_as(
            "select tablet, incarnation, max(number) as last, min(received_at) as began
             from logbook where number is not null and tablet in (
                 select tablet from logbook where number is not null
                 group by tablet having count(distinct coalesce(incarnation, '')) > 1)
             group by tablet, incarnation order by tablet, began, min(seq)",
        )
        .fetch_all(&self.read)
        .await?)
    }
}
